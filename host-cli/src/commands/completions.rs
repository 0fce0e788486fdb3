//! `completions`: what a shell or the manual reader wants to know, made from the one definition of
//! the options.

use crate::args::Cli;
use crate::context::Context;
use crate::exit::Outcome;
use crate::output;
use crate::refusal::{Refusal, clip};
use clap::{Command, CommandFactory, ValueEnum};
use std::path::PathBuf;

/// Arguments of `completions`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:\n  \
    takeup completions bash > takeup.bash\n  \
    takeup completions man measure reversal | man -l -\n  \
    takeup completions man --folder ~/.local/share/man/man1\n\n\
    Bash reads it with \"source takeup.bash\", or by itself as the file takeup in\n\
    ~/.local/share/bash-completion/completions.")]
pub struct Args {
    /// The shell to complete commands in, or "man" for a page of the manual
    #[arg(value_name = "KIND")]
    kind: Kind,
    /// With man: the command whose page is wanted, such as measure reversal
    #[arg(value_name = "COMMAND")]
    command: Vec<String>,
    /// With man: write the pages of all commands into this folder instead; it is made if need be
    #[arg(long, value_name = "FOLDER", conflicts_with = "command")]
    folder: Option<PathBuf>,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum Kind {
    Bash,
    Elvish,
    Fish,
    Powershell,
    Zsh,
    Man,
}

/// Prints them.
///
/// # Errors
/// When there is no such command, or the output cannot be written.
pub fn run(args: &Args, ctx: &Context) -> Result<Outcome, Refusal> {
    use clap_complete::{Shell, generate};
    if ctx.json() {
        return Err(Refusal::new(
            "completions and pages are no JSON",
            "Leave out --json; every other command knows it.",
        ));
    }
    let mut command = Cli::command();
    let shell = match args.kind {
        Kind::Bash => Shell::Bash,
        Kind::Elvish => Shell::Elvish,
        Kind::Fish => Shell::Fish,
        Kind::Powershell => Shell::PowerShell,
        Kind::Zsh => Shell::Zsh,
        Kind::Man => return manual(args, command, ctx),
    };
    if !args.command.is_empty() || args.folder.is_some() {
        return Err(Refusal::new("only man has a page for each command", "Give the shell alone."));
    }
    let mut text = Vec::new();
    generate(shell, &mut command, "takeup", &mut text);
    ctx.print(&String::from_utf8_lossy(&text))?;
    Ok(Outcome::Good)
}

fn manual(args: &Args, mut command: Command, ctx: &Context) -> Result<Outcome, Refusal> {
    command.build();
    if let Some(folder) = &args.folder {
        std::fs::create_dir_all(folder)
            .map_err(|error| Refusal::io(folder.display().to_string(), "make", &error))?;
        let mut pages = Vec::new();
        pages_of(&command, &mut pages)?;
        for (name, page) in &pages {
            output::write(&folder.join(format!("{name}.1")), page, ctx)?;
        }
        ctx.note(&format!("{} pages in {}", pages.len(), folder.display()));
        return Ok(Outcome::Good);
    }
    let mut wanted = &command;
    for name in &args.command {
        wanted = wanted.find_subcommand(name).ok_or_else(|| {
            let names: Vec<_> = wanted.get_subcommands().map(Command::get_name).collect();
            let way_out = if names.is_empty() {
                format!("{} has no commands of its own.", wanted.get_name())
            } else {
                format!("There are: {}.", names.join(", "))
            };
            Refusal::new(format!("there is no command \"{}\"", clip(name)), way_out)
        })?;
    }
    ctx.print(&String::from_utf8_lossy(&page(wanted)?))?;
    Ok(Outcome::Good)
}

/// The pages of a command and of all below it, with their names.
fn pages_of(command: &Command, pages: &mut Vec<(String, Vec<u8>)>) -> Result<(), Refusal> {
    let name = command.get_display_name().unwrap_or(command.get_name()).to_owned();
    pages.push((name, page(command)?));
    command
        .get_subcommands()
        .filter(|command| command.get_name() != "help")
        .try_for_each(|command| pages_of(command, pages))
}

fn page(command: &Command) -> Result<Vec<u8>, Refusal> {
    let mut text = Vec::new();
    clap_mangen::Man::new(command.clone())
        .render(&mut text)
        .map_err(|error| Refusal::io("the page", "write", &error))?;
    Ok(text)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_page_documents_every_flag_of_its_command() {
        fn walk(command: &Command) {
            let text = String::from_utf8(page(command).unwrap()).unwrap().replace('\\', "");
            assert!(text.contains("SYNOPSIS"), "{}", command.get_name());
            for argument in command.get_arguments() {
                let name = argument.get_long().map_or_else(
                    || argument.get_value_names().map_or_else(String::new, |names| names[0].to_string()),
                    |long| format!("--{long}"),
                );
                assert!(text.contains(&name), "{name} is not on the page of {}", command.get_name());
            }
            command.get_subcommands().for_each(walk);
        }
        let mut command = Cli::command();
        command.build();
        walk(&command);
    }
}

//! `completions`: what a shell or the manual reader wants to know, made from the one definition of
//! the options.

use crate::args::Cli;
use crate::context::Context;
use crate::exit::Outcome;
use crate::refusal::Refusal;
use clap::{CommandFactory, ValueEnum};

/// Arguments of `completions`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example:\n  takeup completions bash > ~/.local/share/bash-completion/completions/takeup"
)]
pub struct Args {
    /// The shell to complete commands in, or "man" for the manual page
    #[arg(value_name = "KIND")]
    kind: Kind,
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
/// When standard output cannot be written.
pub fn run(args: &Args, ctx: &Context) -> Result<Outcome, Refusal> {
    use clap_complete::{Shell, generate};
    let mut command = Cli::command();
    let mut text = Vec::new();
    let shell = match args.kind {
        Kind::Bash => Some(Shell::Bash),
        Kind::Elvish => Some(Shell::Elvish),
        Kind::Fish => Some(Shell::Fish),
        Kind::Powershell => Some(Shell::PowerShell),
        Kind::Zsh => Some(Shell::Zsh),
        Kind::Man => None,
    };
    match shell {
        Some(shell) => generate(shell, &mut command, "takeup", &mut text),
        None => clap_mangen::Man::new(command)
            .render(&mut text)
            .map_err(|error| Refusal::io("standard output", "write", &error))?,
    }
    ctx.print(&String::from_utf8_lossy(&text))?;
    Ok(Outcome::Good)
}

//! The command line as typed.

use crate::commands::Command;
use crate::context::Context;
use crate::exit::NOT_DONE;
use crate::refusal::Refusal;
use clap::error::ErrorKind;
use clap::{Parser, ValueEnum};
use std::ffi::OsString;
use std::process::ExitCode;
use takeup_core::length::Unit;

/// Measure, understand and correct the lost motion of a mill's axes
#[derive(Debug, Parser)]
#[command(
    name = "takeup",
    version,
    max_term_width = 80,
    subcommand_required = true,
    after_help = "Example:\n  takeup demo\n\n\
                  The examples of each command run as they stand in the folder that this leaves.\n\n\
                  Exit codes: 0 done; 1 done, and the answer is adverse (over the limit, worse,\n\
                  alarm, beyond tolerance); 2 not done, and nothing was written.\n\
                  \"-\" as a file is standard input or output."
)]
pub struct Cli {
    /// What every command understands
    #[command(flatten)]
    pub global: Global,
    /// What to do
    #[command(subcommand)]
    pub command: Command,
}

/// Options that every command understands.
#[derive(Clone, Debug, clap::Args)]
pub struct Global {
    /// Units of lengths given without one, and of lengths printed [default: mm]
    #[arg(long, global = true, value_name = "mm|in", ignore_case = true, hide_possible_values = true)]
    pub units: Option<UnitArg>,
    /// Print one JSON document and nothing else
    #[arg(long, global = true)]
    pub json: bool,
}

/// A unit of length on the command line.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum UnitArg {
    /// Millimetres
    Mm,
    /// Inches
    In,
}

impl From<UnitArg> for Unit {
    fn from(arg: UnitArg) -> Self {
        match arg {
            UnitArg::Mm => Unit::Mm,
            UnitArg::In => Unit::Inch,
        }
    }
}

/// Reads a command line, the program's name first.
///
/// # Errors
/// The exit code, when there is nothing to run: help was asked for and printed, or the usage is wrong
/// and that was said, in the form that `--json` asks for.
pub fn parse(arguments: &[OsString]) -> Result<Cli, ExitCode> {
    let error = match Cli::try_parse_from(arguments) {
        Ok(cli) => return Ok(cli),
        Err(error) => error,
    };
    if matches!(error.kind(), ErrorKind::DisplayHelp | ErrorKind::DisplayVersion) {
        // A reader that has gone away has had enough of the help.
        let _ = error.print();
        return Err(ExitCode::SUCCESS);
    }
    let json = arguments.iter().take_while(|word| *word != "--").any(|word| word == "--json");
    let context = Context::new(&Global { units: None, json });
    context.report(&usage_refusal(&error));
    Err(NOT_DONE.into())
}

/// The commands that a help lists.
fn commands(help: &str) -> Option<String> {
    let (_, list) = help.split_once("\nCommands:\n")?;
    let named = list.lines().take_while(|line| !line.trim().is_empty());
    let names =
        named.filter(|line| !line.starts_with("   ")).filter_map(|line| line.split_whitespace().next());
    let names: Vec<_> = names.filter(|name| *name != "help").collect();
    (!names.is_empty()).then(|| names.join(", "))
}

/// A usage error in the form of every other refusal.
fn usage_refusal(error: &clap::Error) -> Refusal {
    let text = error.render().to_string();
    if error.kind() == ErrorKind::DisplayHelpOnMissingArgumentOrSubcommand
        || error.kind() == ErrorKind::MissingSubcommand
    {
        let usage =
            text.lines().find(|line| line.starts_with("Usage: ")).unwrap_or("Usage: takeup <COMMAND>");
        let commands = commands(&text).map_or_else(String::new, |commands| format!(" Commands: {commands}."));
        return Refusal::new("no command was given", format!("{usage}.{commands} --help tells of each."));
    }
    let text = text.strip_prefix("error: ").unwrap_or(&text);
    let (mut reason, mut way_out) = (Vec::new(), Vec::new());
    for line in text.lines().map(str::trim).filter(|line| !line.is_empty()) {
        if let Some(tip) = line.strip_prefix("tip: ") {
            // Whoever mistypes an option does not mean a file of that name.
            if !tip.starts_with("to pass ") {
                way_out.push(format!("Tip: {tip}."));
            }
        } else if line.starts_with("Usage: ") {
            // "FILE..." ends in points already.
            way_out.push(format!("{}.", line.strip_suffix('.').unwrap_or(line)));
        } else if line.starts_with("For more information") {
            // Said below, in the words of the other refusals.
        } else {
            // The words of the standard library are those of programmers.
            reason.push(
                line.replace("invalid digit found in string", "a whole number was expected")
                    .replace("cannot parse integer from empty string", "a whole number was expected"),
            );
        }
    }
    if way_out.is_empty() {
        way_out.push("See --help.".to_owned());
    }
    Refusal::usage(reason.join(" "), Some(way_out.join(" ")))
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory;

    #[test]
    fn every_option_is_consistent_and_explained() {
        fn walk(command: &clap::Command) {
            let name = command.get_name();
            assert!(command.get_about().is_some(), "{name} has no help");
            for argument in command.get_arguments() {
                assert!(argument.get_help().is_some(), "{name} {} has no help", argument.get_id());
            }
            command.get_subcommands().for_each(walk);
        }
        let mut command = Cli::command();
        command.build();
        walk(&command);
        command.debug_assert();
    }
}

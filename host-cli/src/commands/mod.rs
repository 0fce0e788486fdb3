//! The commands, one file each: its `Args` and `run(&Args, &Context) -> Result<Outcome, Refusal>`.

pub mod completions;
pub mod table;

use crate::context::Context;
use crate::exit::Outcome;
use crate::refusal::Refusal;

/// A command with its arguments.
#[derive(Debug, clap::Subcommand)]
pub enum Command {
    /// Compensation tables: build, show, export
    Table(table::Args),
    /// Completions for a shell, or the manual page
    Completions(completions::Args),
}

impl Command {
    /// Runs the command.
    ///
    /// # Errors
    /// When it is not done.
    pub fn run(&self, ctx: &Context) -> Result<Outcome, Refusal> {
        match self {
            Command::Table(args) => table::run(args, ctx),
            Command::Completions(args) => completions::run(args, ctx),
        }
    }
}

//! The commands, one file each: its `Args` and `run(&Args, &Context) -> Result<Outcome, Refusal>`.

pub mod completions;

use crate::context::Context;
use crate::exit::Outcome;
use crate::refusal::Refusal;

/// A command with its arguments.
#[derive(Debug, clap::Subcommand)]
pub enum Command {
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
            Command::Completions(args) => completions::run(args, ctx),
        }
    }
}

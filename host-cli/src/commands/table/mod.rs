//! `table`: compensation tables, built from measurements, shown and exported.

mod build;
pub(crate) mod export;
mod show;

use crate::{context::Context, exit::Outcome, refusal::Refusal};

/// Arguments of `table`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  takeup table build z-before.csv -o z.table\n  takeup table show z.table"
)]
pub struct Args {
    /// What to do with it
    #[command(subcommand)]
    action: Action,
}

#[derive(Debug, clap::Subcommand)]
enum Action {
    /// Build a table from readings or assessments, one or more per axis
    Build(build::Args),
    /// Show a table
    Show(show::Args),
    /// Print a table as JSON or CSV for other programs
    Export(export::Args),
}

/// Runs the action.
///
/// # Errors
/// When it is not done.
pub fn run(args: &Args, ctx: &Context) -> Result<Outcome, Refusal> {
    match &args.action {
        Action::Build(args) => build::run(args, ctx),
        Action::Show(args) => show::run(args, ctx),
        Action::Export(args) => export::run(args, ctx),
    }
}

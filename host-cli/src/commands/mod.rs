//! The commands, one file each: its `Args` and `run(&Args, &Context) -> Result<Outcome, Refusal>`.

pub mod assess;
pub mod box_;
pub mod compare;
pub mod completions;
pub mod demo;
pub mod exposure;
pub mod log;
pub mod measure;
pub mod replay;
pub mod report;
pub mod rewrite;
pub mod routine;
pub mod table;

use crate::context::Context;
use crate::exit::Outcome;
use crate::refusal::Refusal;

/// A command with its arguments.
#[derive(Debug, clap::Subcommand)]
pub enum Command {
    /// Test program for the machine and reading sheet for the person
    Routine(routine::Args),
    /// Take readings, guided; each is on disk before the next
    Measure(Box<measure::Args>),
    /// Readings into lost motion, uncertainty, cause and decision
    #[command(long_about = assess::LONG_ABOUT)]
    Assess(assess::Args),
    /// Did the repair change it, and is it good enough?
    Compare(compare::Args),
    /// The whole job on a simulated mill, its files left in a folder
    Demo(demo::Args),
    /// Compensation tables: build, show, export
    Table(table::Args),
    /// Show what slack would do to a program: lifts, reversals, steps
    Exposure(exposure::Args),
    /// Prove a rewritten program: deviation of the tool before and after, on the slack machine
    Replay(replay::Args),
    /// Correct a program for the lost motion of the machine
    Rewrite(rewrite::Args),
    /// A page to read or print: verdict, plots, tables
    Report(report::Args),
    /// Completions for a shell, or the manual page
    Completions(completions::Args),
    /// The probe box: find, check, run a test, set a table
    Box(box_::Args),
    /// Sessions of the machines over time: log, trend, alarm, forecast
    Log(log::Args),
}

impl Command {
    /// Runs the command.
    ///
    /// # Errors
    /// When it is not done.
    pub fn run(&self, ctx: &Context) -> Result<Outcome, Refusal> {
        match self {
            Command::Routine(args) => routine::run(args, ctx),
            Command::Measure(args) => measure::run(args, ctx),
            Command::Assess(args) => assess::run(args, ctx),
            Command::Compare(args) => compare::run(args, ctx),
            Command::Demo(args) => demo::run(args, ctx),
            Command::Table(args) => table::run(args, ctx),
            Command::Exposure(args) => exposure::run(args, ctx),
            Command::Replay(args) => replay::run(args, ctx),
            Command::Rewrite(args) => rewrite::run(args, ctx),
            Command::Report(args) => report::run(args, ctx),
            Command::Completions(args) => completions::run(args, ctx),
            Command::Box(args) => box_::run(args, ctx),
            Command::Log(args) => log::run(args, ctx),
        }
    }
}

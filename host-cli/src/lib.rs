//! The `takeup` command line: flags, files and people around `takeup-core`.
//!
//! All knowledge of measuring and correcting is in `takeup-core`; here are
//!
//! - [`args`]: the command line as typed, and errors of its use;
//! - [`commands`]: one file per command, each with its `Args` and `run`;
//! - [`context`]: what holds for every command: units, `--json`, the terminal, standard input;
//! - [`exit`] and [`refusal`]: how a command ends;
//! - [`input`] and [`output`]: files in, and files out that appear whole or not at all;
//! - [`readings`]: the readings file;
//! - [`assessment`]: the assessment of readings, as a document and as a slip for people;
//! - [`units`]: lengths as people write and read them;
//! - [`slack_args`]: the slack of a machine on the command line;
//! - [`table_file`] and [`measured`]: compensation tables and assessments in files;
//! - [`program_args`]: how a program is read, and lines of programs from files;
//! - [`proof`]: a program replayed on the slack machine, judged and drawn;
//! - [`plan_view`]: cuts seen from above, as SVG;
//! - [`plan_args`], [`key_args`], [`pace_args`]: a test, what is known of indicator and machine, and the pace of a
//!   box, on the command line;
//! - [`sitting`]: readings taken one by one: the file that grows, the sources, the view;
//! - [`probe_box`]: a probe box over a serial port, a pseudo-terminal or TCP;
//! - [`screen`]: emphasis and line width on a terminal.
#![forbid(unsafe_code)]

pub mod ahead;
pub mod args;
pub mod assessment;
pub mod carrier;
pub mod commands;
pub mod context;
pub mod exit;
pub mod input;
pub mod key_args;
pub mod log;
pub mod measured;
pub mod output;
pub mod pace_args;
pub mod plan_args;
pub mod plan_view;
pub mod probe_box;
pub mod program_args;
pub mod proof;
pub mod readings;
pub mod refusal;
pub mod report;
pub mod screen;
pub mod sitting;
pub mod slack_args;
pub mod table_file;
pub mod terminal;
pub mod units;

use std::process::ExitCode;

/// Runs the command line of this process.
#[must_use]
pub fn main() -> ExitCode {
    let arguments: Vec<_> = std::env::args_os().collect();
    let cli = match args::parse(&arguments) {
        Ok(cli) => cli,
        Err(ended) => return ended,
    };
    let ctx = context::Context::new(&cli.global);
    let result = cli.command.run(&ctx);
    if let Err(refusal) = &result {
        ctx.report(refusal);
    }
    exit::code(&result)
}

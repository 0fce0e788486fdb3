//! `box`: the probe box, from finding it to the readings that it takes.

mod info;
mod list;
mod monitor;
mod run;
mod settings;
mod table;

use crate::context::Context;
use crate::exit::Outcome;
use crate::probe_box::{Session, Trouble};
use crate::refusal::Refusal;
use takeup_core::link::message::{Button, State};

/// Arguments of `box`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:\n  takeup box info /dev/ttyACM0\n  \
                        takeup box monitor /dev/ttyACM0 --count 50\n\n\
                        A port is a serial port (/dev/ttyACM0, COM5), a pseudo-terminal, or tcp:HOST:PORT.")]
pub struct Args {
    /// What to do with it
    #[command(subcommand)]
    action: Action,
}

#[derive(Debug, clap::Subcommand)]
enum Action {
    /// The serial ports, and which of them has a probe box
    List(list::Args),
    /// What a box is set up for, and how things stand with it
    Info(info::Args),
    /// Change settings of a box; it keeps them
    Set(settings::Args),
    /// Let the box run a test: it moves the axis, and its readings become a readings file
    Run(Box<run::Args>),
    /// The compensation table that a box holds: show, send, forget
    Table(table::Args),
    /// Watch the indicator and the commanded position
    Monitor(monitor::Args),
}

/// Runs the action.
///
/// # Errors
/// When it is not done.
pub fn run(args: &Args, ctx: &Context) -> Result<Outcome, Refusal> {
    match &args.action {
        Action::List(args) => list::run(args, ctx),
        Action::Info(args) => info::run(args, ctx),
        Action::Set(args) => settings::run(args, ctx),
        Action::Run(args) => run::run(args, ctx),
        Action::Table(args) => table::run(args, ctx),
        Action::Monitor(args) => monitor::run(args, ctx),
    }
}

/// A session on a port; what goes wrong names the port.
fn open(port: &str) -> Result<Session, Refusal> {
    Session::open(port).map_err(|trouble| trouble.refusal(port))
}

/// Makes refusals of trouble on a port.
fn on(port: &str) -> impl Fn(Trouble) -> Refusal {
    move |trouble| trouble.refusal(port)
}

/// The emergency stop, in a word.
fn button(state: &State) -> &'static str {
    match state.emergency {
        Button::Free => "free",
        Button::Pressed => "pressed",
    }
}

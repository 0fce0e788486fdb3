//! `box monitor`: the indicator and the commanded position, as they come.

use super::{on, open};
use crate::context::Context;
use crate::exit::Outcome;
use crate::probe_box::{Heard, Sample};
use crate::refusal::Refusal;
use serde::Serialize;
use std::io::Write as _;
use std::time::Duration;
use takeup_core::link::ToBox;

/// Arguments of `box monitor`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  takeup box monitor /dev/ttyACM0 --period 100 --count 50")]
pub struct Args {
    /// Serial port, or tcp:HOST:PORT
    #[arg(value_name = "PORT")]
    port: String,
    /// Milliseconds from one sample to the next
    #[arg(long, value_name = "MS", default_value_t = 200, value_parser = clap::value_parser!(u16).range(5..))]
    period: u16,
    /// End after so many samples [default: until Ctrl-C; with --json 10]
    #[arg(long, value_name = "NUMBER", value_parser = clap::value_parser!(u32).range(1..=100_000))]
    count: Option<u32>,
}

#[derive(Serialize)]
struct Document {
    schema: &'static str,
    port: String,
    axis: String,
    units: &'static str,
    /// Whether commands are positions, or only travel since the box started.
    position_known: bool,
    samples: Vec<SamplePart>,
}

#[derive(Serialize)]
struct SamplePart {
    command: f64,
    indicator: f64,
}

/// With --json the document comes at the end, so there must be one.
const JSON_SAMPLES: u32 = 10;

/// Watches.
///
/// # Errors
/// When the link is lost.
pub fn run(args: &Args, ctx: &Context) -> Result<Outcome, Refusal> {
    let mut session = open(&args.port)?;
    let state = session.state().map_err(on(&args.port))?;
    let axis = session.capabilities().axis;
    let unit = ctx.units();
    session.ask(ToBox::Monitor { period_ms: args.period }).map_err(on(&args.port))?;
    let most = args.count.or(ctx.json().then_some(JSON_SAMPLES));
    let mut samples = Vec::new();
    let mut seen = 0;
    if !ctx.json() {
        let travel = if state.position.is_some() { "" } else { " (travel since its start)" };
        ctx.print(&format!("{:>12} {:>12}   {unit}{travel}\n", axis.to_string(), "indicator"))?;
    }
    while most.is_none_or(|most| seen < most) {
        let Some(Heard::Sample(Sample { command, value })) =
            session.hear(Duration::from_millis(100)).map_err(on(&args.port))?
        else {
            continue;
        };
        seen += 1;
        if ctx.json() {
            samples.push(SamplePart { command: command.as_unit(unit), indicator: value.as_unit(unit) });
        } else {
            let (command, value) =
                (ctx.lengths().length(command.as_mm()), ctx.lengths().length(value.as_mm()));
            match writeln!(std::io::stdout(), "{command:>12} {value:>12}") {
                Ok(()) => {}
                // Whoever read has seen enough.
                Err(error) if error.kind() == std::io::ErrorKind::BrokenPipe => break,
                Err(error) => return Err(Refusal::io("standard output", "write", &error)),
            }
        }
    }
    if ctx.json() {
        ctx.print_json(&Document {
            schema: "takeup.box-monitor/1",
            port: args.port.clone(),
            axis: axis.to_string(),
            units: unit.symbol(),
            position_known: state.position.is_some(),
            samples,
        })?;
    }
    Ok(Outcome::Good)
}

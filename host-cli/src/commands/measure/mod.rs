//! `measure`: readings taken one by one, guided, each on disk before the next is asked for.

mod after;

use crate::context::Context;
use crate::exit::Outcome;
use crate::input;
use crate::key_args::KeyArgs;
use crate::output;
use crate::plan_args::{PlanArgs, Planned};
use crate::refusal::Refusal;
use crate::sitting::feed::serial::Serial;
use crate::sitting::feed::simulated::Simulated;
use crate::sitting::feed::{Feed, Take};
use crate::sitting::lines::Company;
use crate::sitting::{Sitting, lines, record, view};
use crate::units::LengthArg;
use std::io::{IsTerminal, stdin};
use std::path::PathBuf;

/// Arguments of `measure`.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The kind of test
    #[command(subcommand)]
    kind: Kind,
}

#[derive(Debug, clap::Subcommand)]
enum Kind {
    /// At each station, arrive from + and from - in turn
    #[command(long_about = LONG_ABOUT)]
    Reversal(Reversal),
}

const LONG_ABOUT: &str = "Take the readings of a reversal test, one after another.\n\n\
    On a terminal the whole screen tells what to do now, what the dial shows, and where the readings point; ? \
    shows the keys. Elsewhere, and with --plain, it asks in plain lines: \"u\" takes the last reading back, \"r\" \
    puts it back, \"q\" pauses. Every reading is on disk before the next is asked for; the same command goes on \
    where it was, after a crash too. At the end they are assessed.";

/// Arguments of `measure reversal`.
#[derive(Debug, clap::Args)]
#[command(
    override_usage = "takeup measure reversal [OPTIONS] --axis <AXIS> --station <AT> -o <FILE>",
    after_help = "Example:\n  takeup measure reversal --axis z --station 0 --station -40 -o z.csv"
)]
struct Reversal {
    /// Where and how often
    #[command(flatten)]
    plan: PlanArgs,
    #[command(flatten)]
    taking: Taking,
    /// What is known of the indicator and the machine
    #[command(flatten)]
    keys: KeyArgs,
}

/// How the readings are taken, whatever the test.
#[derive(Debug, clap::Args)]
struct Taking {
    /// Readings file to write, or to go on with
    #[arg(short, long, value_name = "FILE")]
    output: PathBuf,
    #[command(flatten)]
    source: SourceArgs,
    /// How the numbers of --serial become readings [default: enter on a whole screen, else each]
    #[arg(long, value_enum, value_name = "each|enter", hide_possible_values = true)]
    take: Option<Take>,
    /// Speed of the serial line in bits per second
    #[arg(long, value_name = "RATE", default_value_t = 9600, requires = "serial", value_parser = clap::value_parser!(u32).range(50..=4_000_000))]
    baud: u32,
    /// Lost motion of the simulated axis [default: 0.12 mm]
    #[arg(long, value_name = "LENGTH", requires = "simulate")]
    simulated_loss: Option<LengthArg>,
    /// Seed of the simulated axis
    #[arg(long, value_name = "NUMBER", default_value_t = 1, requires = "simulate")]
    seed: u64,
    /// Plain lines instead of a whole screen
    #[arg(long)]
    plain: bool,
    /// At the end, compare with these earlier readings or this assessment
    #[arg(long, value_name = "FILE")]
    compare: Option<PathBuf>,
    /// At the end, compare with the last session of this log and add to it [FILE default: as of "takeup log"]
    #[arg(long, value_name = "FILE", num_args = 0..=1)]
    log: Option<Option<PathBuf>>,
}

/// Where readings come from.
#[derive(Debug, clap::Args)]
#[group(multiple = false)]
struct SourceArgs {
    /// Readings are typed (the default)
    #[arg(long)]
    typed: bool,
    /// An indicator on a serial line sends them, one number a line
    #[arg(long, value_name = "PORT")]
    serial: Option<PathBuf>,
    /// Read a simulated axis instead, to try it out
    #[arg(long)]
    simulate: bool,
}

/// What is in front of the person.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Front {
    WholeScreen,
    Lines(Company),
}

/// Takes the readings.
///
/// # Errors
/// When it is paused, or the file holds another test, or cannot be written.
pub fn run(args: &Args, ctx: &Context) -> Result<Outcome, Refusal> {
    let Kind::Reversal(args) = &args.kind;
    let planned = args.plan.planned(ctx)?;
    take(&planned, &args.taking, &args.keys, ctx)
}

fn take(planned: &Planned, taking: &Taking, keys: &KeyArgs, ctx: &Context) -> Result<Outcome, Refusal> {
    if input::is_dash(&taking.output) {
        return Err(Refusal::new("readings cannot go to standard output", "Name a file with -o."));
    }
    keys.keys(planned.unit)?;
    let mut inputs = Vec::new();
    inputs.extend(taking.compare.as_deref());
    inputs.extend(taking.source.serial.as_deref());
    output::keep_apart(&[taking.output.as_path()], &inputs)?;
    // Whatever could stop it at the end stops it here, before anybody has moved an axis.
    let after = after::After::prepare(taking, ctx)?;
    let front = front(taking, ctx);
    let mut sitting = Sitting::open(&taking.output, &head(taking, keys, planned), planned, keys, ctx)?;
    let mut feed = feed(taking, planned, &sitting, front)?;
    if feed.is_none() {
        ctx.take_stdin()?;
    }
    // The data of a feed is as good as the assessment's: without it nothing is asked for again.
    let feed = feed.as_deref_mut().map(|feed| feed as &mut dyn Feed);
    if sitting.stop().is_some() {
        match front {
            Front::WholeScreen => view::run(&mut sitting, feed, ctx)?,
            Front::Lines(company) => lines::run(&mut sitting, feed, company, ctx)?,
        }
    }
    drop(sitting);
    after.run(&taking.output, planned, keys, ctx)
}

fn front(taking: &Taking, ctx: &Context) -> Front {
    let person = stdin().is_terminal() && ctx.side_screen().is_terminal();
    let dumb = std::env::var_os("TERM").is_none_or(|term| term == "dumb" || term.is_empty());
    match person {
        false => Front::Lines(Company::Nobody),
        true if taking.plain || dumb && !cfg!(windows) => Front::Lines(Company::Person),
        true => Front::WholeScreen,
    }
}

fn feed(
    taking: &Taking,
    planned: &Planned,
    sitting: &Sitting<'_>,
    front: Front,
) -> Result<Option<Box<dyn Feed>>, Refusal> {
    let take = taking.take.unwrap_or(match front {
        Front::WholeScreen => Take::Enter,
        Front::Lines(_) => Take::Each,
    });
    if taking.source.simulate {
        let clearance_mm = taking.simulated_loss.map_or(0.12, |loss| loss.mm(planned.unit));
        if !(0.0..=10.0).contains(&clearance_mm) {
            return Err(Refusal::new("--simulated-loss is out of range", "Give 0 to 10 mm."));
        }
        return Ok(Some(Box::new(Simulated::new(planned, &sitting.stops, clearance_mm, taking.seed, take))));
    }
    if let Some(port) = &taking.source.serial {
        return Ok(Some(Box::new(Serial::open(port, taking.baud, planned.unit, take)?)));
    }
    Ok(None)
}

/// What stands above the first row of a new file.
fn head(taking: &Taking, keys: &KeyArgs, planned: &Planned) -> String {
    let mut head = planned.keys();
    head.push_str(&keys.lines(planned.unit));
    if taking.source.simulate {
        head.push_str(&format!("# Simulated axis, seed {}\n", taking.seed));
    }
    head.push_str(&format!("# taken: {}\n", jiff::Timestamp::now().strftime("%Y-%m-%dT%H:%M:%SZ")));
    head.push_str(record::HEADER);
    head.push('\n');
    head
}

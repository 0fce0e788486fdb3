//! `measure`: readings taken one by one, guided, each on disk before the next is asked for.

mod after;

use crate::context::Context;
use crate::exit::Outcome;
use crate::input;
use crate::key_args::KeyArgs;
use crate::output;
use crate::pace_args::PaceArgs;
use crate::plan_args::{self, Of, face, positioning, pushes, returns, small_steps, warming};
use crate::refusal::Refusal;
use crate::sitting::feed::probe::Probe;
use crate::sitting::feed::serial::Serial;
use crate::sitting::feed::simulated::Simulated;
use crate::sitting::feed::stops::Stops;
use crate::sitting::feed::watched::Watched;
use crate::sitting::feed::{Feed, Take};
use crate::sitting::lines::Company;
use crate::sitting::plan::Plan;
use crate::sitting::{Sitting, head, lines, view};
use crate::units::{LengthArg, number};
use std::io::{IsTerminal, stdin};
use std::path::PathBuf;

/// Arguments of `measure`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  takeup measure reversal --axis z --station 0,-40 --simulate -o try.csv")]
pub struct Args {
    /// The kind of test
    #[command(subcommand)]
    kind: Kind,
}

#[derive(Debug, clap::Subcommand)]
enum Kind {
    /// At each station, arrive from + and from - in turn
    #[command(
        long_about = long_about("reversal"),
        override_usage = "takeup measure reversal [OPTIONS] --axis <AXIS> --station <AT> -o <FILE>",
        after_help = "Example:\n  takeup measure reversal --axis z --station 0,-40 -o z.csv"
    )]
    Reversal(Of<plan_args::PlanArgs, Taking>),
    /// Targets over the travel, runs up and runs down
    #[command(
        long_about = long_about("positioning"),
        override_usage = "takeup measure positioning [OPTIONS] --axis <AXIS> -o <FILE>",
        after_help = "Example:\n  takeup measure positioning --axis x --from 0 --to 400 --targets 9 -o x.csv"
    )]
    Positioning(Of<positioning::PlanArgs, Taking>),
    /// A staircase of small steps up, then down, then up
    #[command(
        long_about = long_about("small-steps"),
        override_usage = "takeup measure small-steps [OPTIONS] --axis <AXIS> --start <AT> -o <FILE>",
        after_help = "Example:\n  takeup measure small-steps --axis z --start -40 --expected 0.1 -o z.csv"
    )]
    SmallSteps(Of<small_steps::PlanArgs, Taking>),
    /// Many lifts and returns to one mark, some after a pause
    #[command(
        long_about = long_about("return"),
        override_usage = "takeup measure return [OPTIONS] --axis <AXIS> --mark <AT> -o <FILE>",
        after_help = "Example:\n  takeup measure return --axis z --mark -40 --lift 20 -o z.csv"
    )]
    Return(Of<returns::PlanArgs, Taking>),
    /// Known forces each way, the drive holding
    #[command(
        long_about = long_about("push-pull"),
        override_usage = "takeup measure push-pull [OPTIONS] --axis <AXIS> -o <FILE>",
        after_help = "Example:\n  takeup measure push-pull --axis z --force 150 --balance 300 -o z.csv"
    )]
    PushPull(Of<pushes::PlanArgs, Taking>),
    /// One place over time, the axis working between readings
    #[command(
        long_about = long_about("warm-up"),
        override_usage = "takeup measure warm-up [OPTIONS] --axis <AXIS> --mark <AT> -o <FILE>",
        after_help = "Example:\n  takeup measure warm-up --axis z --mark -40 --stroke 50 -o z.csv"
    )]
    WarmUp(Of<warming::PlanArgs, Taking>),
    /// The indicator against a fixed face
    #[command(
        long_about = long_about("indicator"),
        override_usage = "takeup measure indicator [OPTIONS] --axis <AXIS> -o <FILE>",
        after_help = "Example:\n  takeup measure indicator --axis z -o dial.csv"
    )]
    Indicator(Of<face::PlanArgs, Taking>),
}

fn long_about(kind: &str) -> String {
    format!(
        "Take the readings of a {kind} test, one after another; \"takeup routine {kind}\" tells more of it.\n\n\
         On a terminal the whole screen tells what to do now, what the dial shows, and where the readings point; \
         ? shows the keys. Elsewhere, and with --plain, it asks in plain lines: \"u\" takes the last reading back, \
         \"r\" puts it back, \"q\" pauses. Every reading is on disk before the next is asked for; the same command \
         goes on where it was, after a crash too. At the end they are assessed.\n\n\
         A program that is killed outright (kill -9) cannot give its terminal back: if nothing shows what you type, the \
         same command sets it right, and so do \"reset\" and \"stty sane\"."
    )
}

/// How the readings are taken, whatever the test.
#[derive(Debug, clap::Args)]
struct Taking {
    /// Readings file to write, or to go on with
    #[arg(short, long, value_name = "FILE")]
    output: PathBuf,
    #[command(flatten)]
    source: SourceArgs,
    /// How the numbers of --serial become readings: each is one (a data button), Enter takes one, or each of the plan's stops
    /// is found in them, hands free [default: enter on a whole screen, else each]
    ///
    /// With "stops" the indicator sends ten numbers a second or more, all the time, and the axis stands at each stop for twice
    /// the seconds of --still. The first reading, and that of each further station, is kept when the second shows that
    /// it was one. A stop that was missed has no row; one that is not in the plan is passed over.
    #[arg(long, value_enum, value_name = "each|enter|stops", hide_possible_values = true)]
    take: Option<Take>,
    /// Seconds for which the indicator must stand still at each stop, with --take stops
    #[arg(long, value_name = "SECONDS", default_value = "1", requires = "serial", value_parser = number)]
    still: f64,
    /// Speed of the serial line in bits per second
    #[arg(long, value_name = "RATE", default_value_t = 9600, requires = "serial", value_parser = clap::value_parser!(u32).range(50..=4_000_000))]
    baud: u32,
    #[command(flatten)]
    pace: PaceArgs,
    /// Lost motion of the simulated axis [default: 0.12 mm]
    #[arg(long, value_name = "LENGTH", requires = "simulate", allow_hyphen_values = true)]
    simulated_loss: Option<LengthArg>,
    /// Seed of the simulated axis
    #[arg(long, value_name = "NUMBER", default_value_t = 1, requires = "simulate")]
    seed: u64,
    /// Plain lines instead of a whole screen
    #[arg(long)]
    plain: bool,
    /// What is known of the indicator and the machine
    #[command(flatten)]
    keys: KeyArgs,
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
    /// A probe box moves the axis and reads it: a serial port, or tcp:HOST:PORT. In a push-pull or an indicator test
    /// nothing moves by itself: there the box only shows, and Enter takes what it shows
    #[arg(long = "box", value_name = "PORT")]
    probe_box: Option<String>,
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
    let (plan, taking) = match &args.kind {
        Kind::Reversal(args) => (Plan::of_reversal(&args.plan.planned(ctx)?)?, &args.how),
        Kind::Positioning(args) => {
            let pitch = args.how.keys.pitch(ctx.units());
            (Plan::of_positioning(&args.plan.planned(pitch, ctx)?)?, &args.how)
        }
        Kind::SmallSteps(args) => (Plan::of_small_steps(&args.plan.planned(ctx)?), &args.how),
        Kind::Return(args) => (Plan::of_returns(&args.plan.planned(ctx)?), &args.how),
        Kind::PushPull(args) => (Plan::of_pushes(&args.plan.planned(ctx)?), &args.how),
        Kind::WarmUp(args) => (Plan::of_warming(&args.plan.planned(ctx)?)?, &args.how),
        Kind::Indicator(args) => (Plan::of_face(&args.plan.planned(ctx)?), &args.how),
    };
    take(&plan, taking, ctx)
}

fn take(plan: &Plan, taking: &Taking, ctx: &Context) -> Result<Outcome, Refusal> {
    let keys = &taking.keys;
    if input::is_dash(&taking.output) {
        return Err(Refusal::new("readings cannot go to standard output", "Name a file with -o."));
    }
    keys.keys(plan.unit)?;
    let mut inputs = Vec::new();
    inputs.extend(taking.compare.as_deref());
    inputs.extend(taking.source.serial.as_deref());
    let mut outputs = vec![taking.output.as_path()];
    outputs.extend(taking.log.as_ref().and_then(Option::as_deref));
    output::keep_apart(&outputs, &inputs)?;
    // Whatever could stop it at the end stops it here, before anybody has moved an axis.
    let after = after::After::prepare(taking, plan, ctx)?;
    let front = front(taking, ctx);
    if front != Front::Lines(Company::Nobody) && crate::terminal::set_right() {
        ctx.note("the terminal was left without echo by a program that was killed; it is set right");
    }
    if taking.source.serial.is_none() && !taking.source.simulate {
        ctx.take_stdin()?;
    }
    // The source before the file: what is not begun leaves no file behind.
    let mut feed = feed(taking, plan, front)?;
    let (resolution, taken_by) = match &feed {
        None => (None, None),
        Some(feed) => (feed.resolution(), feed.taken_by()),
    };
    let head = head(plan, keys, resolution, taken_by.as_deref())?;
    let begun = !taking.output.exists();
    let mut sitting = Sitting::open(&taking.output, &head, plan, keys, ctx)?;
    let feed = feed.as_deref_mut().map(|feed| feed as &mut dyn Feed);
    let sat = match front {
        _ if sitting.stop().is_none() => Ok(()),
        Front::WholeScreen => view::run(&mut sitting, feed, ctx),
        Front::Lines(company) => lines::run(&mut sitting, feed, company, ctx),
    };
    let nothing_taken = sitting.taken() == 0;
    drop(sitting);
    if sat.is_err() && begun && nothing_taken {
        // A head without a reading is of no use to anybody; what was there before stays.
        let _ = std::fs::remove_file(&taking.output);
    }
    sat?;
    after.run(&taking.output, plan, keys, ctx)
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

fn feed(taking: &Taking, plan: &Plan, front: Front) -> Result<Option<Box<dyn Feed>>, Refusal> {
    let take = taking.take.unwrap_or(match front {
        Front::WholeScreen => Take::Enter,
        Front::Lines(_) => Take::Each,
    });
    if take == Take::Stops && taking.source.serial.is_none() {
        return Err(Refusal::new(
            "--take stops reads an indicator that sends all the time",
            "Name its port by --serial.",
        ));
    }
    if taking.source.simulate {
        let clearance_mm = taking.simulated_loss.map_or(0.12, |loss| loss.mm(plan.unit));
        if !(0.0..=10.0).contains(&clearance_mm) {
            return Err(Refusal::new("--simulated-loss is out of range", "Give 0 to 10 mm."));
        }
        return Ok(Some(Box::new(Simulated::new(plan, clearance_mm, taking.seed, take))));
    }
    if let Some(port) = &taking.source.serial {
        let serial = Serial::open(port, taking.baud, plan.unit, take)?;
        return Ok(Some(match take {
            Take::Each | Take::Enter => Box::new(serial),
            Take::Stops => {
                if !(0.2..=60.0).contains(&taking.still) {
                    return Err(Refusal::new(
                        format!("--still is {} seconds, 0.2 to 60 was expected", taking.still),
                        "Give the seconds for which the machine stands at each stop, or less.",
                    ));
                }
                let setup = taking.keys.keys(plan.unit)?.setup();
                Box::new(Stops::new(serial, plan, &setup, taking.still)?)
            }
        }));
    }
    if let Some(port) = &taking.source.probe_box {
        let pace = taking.pace.pace(plan.unit)?;
        return Ok(Some(match plan.routine {
            Some(_) => Box::new(Probe::open(port, plan, pace)?),
            // Nothing moves by itself: the box is the indicator.
            None => {
                if pace.stands_at.is_some() || pace.speed.is_some() {
                    return Err(Refusal::new(
                        format!(
                            "a box moves nothing in a {} test: --stands-at and --speed are of no use",
                            plan.kind
                        ),
                        "Leave them out.",
                    ));
                }
                Box::new(Watched::open(port)?)
            }
        }));
    }
    Ok(None)
}

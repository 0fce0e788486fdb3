//! `routine small-steps`.

use super::program::{Head, Program};
use super::{Test, Writing, sheet, word};
use crate::commands::assess::axis;
use crate::context::Context;
use crate::plan_args::{refused_plan, usual};
use crate::refusal::Refusal;
use crate::units::LengthArg;
use takeup_core::axis::Axis;
use takeup_core::length::Length;
use takeup_core::measure::Kind;
use takeup_core::measure::routine::{Purpose, StaircasePlan, Step};

pub(super) const LONG_ABOUT: &str = "The test of small steps: a staircase up, then down, then up. It tells a gap, in \
    which nothing moves, from wind-up, in which the table follows more and more, and shows ways that hold and jump.\n\n\
    The axis comes down to the start from above; then it makes --steps steps up, as many down, and up once \
    more. The whole rise must be several times the lost motion expected, a step a small part of it. \
    Lengths without a unit are in --units, the feed in --units per minute.";

/// Arguments of `routine small-steps`.
#[derive(Debug, clap::Args)]
#[command(
    override_usage = "takeup routine small-steps [OPTIONS] --axis <AXIS> --start <AT> -o <FILE>",
    after_help = "Example:\n  takeup routine small-steps --axis z --start -40 --expected 0.1 -o z.nc --sheet z.csv"
)]
pub(super) struct Args {
    /// Axis to test: x, y or z
    #[arg(long, value_parser = axis)]
    axis: Axis,
    /// Place at which the staircase begins; it rises in +
    #[arg(long, value_name = "POSITION", allow_hyphen_values = true)]
    start: LengthArg,
    /// Lost motion expected; steps and rise are made to fit it [default: 0.1 mm or 0.004 in]
    #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
    expected: Option<LengthArg>,
    /// Height of one step [default: a tenth of the lost motion expected]
    #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
    step: Option<LengthArg>,
    /// Steps each way
    #[arg(long, value_name = "COUNT", default_value_t = 30)]
    steps: u16,
    /// How often up and down
    #[arg(long, value_name = "COUNT", default_value_t = 3)]
    cycles: u16,
    /// Motion from above down to the start [default: 1 mm or 0.04 in]
    #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
    overrun: Option<LengthArg>,
    /// Pace and files
    #[command(flatten)]
    pub(super) writing: Writing,
}

/// The most readings that anybody takes by hand, many times over.
const MOST_READINGS: usize = 5000;

pub(super) fn test(args: &Args, ctx: &Context) -> Result<Test, Refusal> {
    let (axis, unit) = (args.axis, ctx.units());
    let length = |arg: Option<LengthArg>, mm, inch| {
        arg.map_or_else(|| usual(unit, mm, inch), |arg: LengthArg| arg.length(unit))
    };
    let expected = length(args.expected, 0.1, 0.004);
    if expected <= Length::ZERO {
        return Err(Refusal::new("--expected must be above 0", "Give the lost motion expected, roughly."));
    }
    let tenth = Length::from_counts(expected.counts() / 10);
    let step = args.step.map_or(tenth, |arg| arg.length(unit));
    let overrun = length(args.overrun, 1.0, 0.04);
    let start = args.start.length(unit);
    let plan = StaircasePlan::new(start, step, args.steps, args.cycles, overrun)
        .map_err(|bad| refused_plan(bad, unit))?;
    for (what, found) in [("the staircase rises", plan.rise()), ("the overrun is", overrun)] {
        if found < expected.saturating_add(expected) {
            return Err(Refusal::new(
                format!(
                    "{what} {} {unit}, less than twice the lost motion expected, {} {unit}",
                    word(found, unit),
                    word(expected, unit)
                ),
                "Give more --steps, larger steps by --step, or a larger --overrun.",
            ));
        }
    }
    let readings = plan.stops().count();
    if readings > MOST_READINGS {
        return Err(Refusal::new(
            format!("{readings} readings would be asked for, at most {MOST_READINGS} can be"),
            "Give fewer --steps or --cycles.",
        ));
    }
    let pace = args.writing.pace(unit)?;
    let head = Head {
        about: vec![
            format!("SMALL STEPS OF AXIS {axis}: {} STEPS OF {} EACH WAY", args.steps, word(step, unit)),
            format!("UP AND DOWN {} TIMES, AND UP ONCE MORE. NEVER OVERRUN", args.cycles),
            "A STEP: IF ONE IS MISSED, BEGIN AGAIN AT THE START".to_owned(),
        ],
        cautions: vec![format!(
            "ITS PLUNGER NEEDS MORE FREE TRAVEL THAN {}",
            word(travel_length(plan.travel()), unit)
        )],
    };
    let mut program = Program::begin(head, axis, unit, plan.travel(), pace);
    program.hold("INDICATOR CLEAR? THE NEXT MOVE MAY BE LONG");
    for step in plan.steps() {
        match step {
            Step::Move { to, purpose: Purpose::Overrun } => {
                program.feed_to(to, "ABOVE THE START, TO COME DOWN TO IT");
                program.hold("SET THE INDICATOR ON, IN THE MIDDLE OF ITS TRAVEL");
            }
            Step::Move { to, purpose: Purpose::Arrival } => program.feed_to(to, "STEP"),
            Step::Read(stop) => program.read(stop),
        }
    }
    let hints = [
        "Do not touch the indicator from the first row to the last.",
        "The axis moves on in one direction between its turns; the turning places are read once.",
    ];
    Ok(Test {
        kind: Kind::SmallSteps,
        axis,
        unit,
        title: format!(
            "Small steps of {axis}: {readings} readings, {} steps of {} {unit} each way from {} {unit}",
            args.steps,
            word(step, unit),
            word(start, unit)
        ),
        stations: vec![start],
        cycles: args.cycles,
        overrun: Some(overrun),
        readings,
        travel: plan.travel(),
        program: program.end(),
        sheet: sheet::head(Kind::SmallSteps, axis, unit, &hints)
            + &sheet::rows(plan.stops(), unit, sheet::Time::None),
    })
}

fn travel_length((low, high): (Length, Length)) -> Length {
    high.saturating_sub(low)
}

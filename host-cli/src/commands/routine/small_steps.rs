//! `routine small-steps`.

use super::program::{Head, Program};
use super::{Test, Writing, sheet, word};
use crate::context::Context;
use crate::plan_args::Of;
use crate::plan_args::small_steps::PlanArgs;
use crate::refusal::Refusal;
use takeup_core::length::Length;
use takeup_core::measure::Kind;
use takeup_core::measure::routine::{Purpose, Step};

pub(super) const LONG_ABOUT: &str = "The test of small steps: a staircase up, then down, then up. It tells a gap, in \
    which nothing moves, from wind-up, in which the table follows more and more, and shows ways that hold and jump.\n\n\
    The axis comes down to the start from above; then it makes --steps steps up, as many down, and up once \
    more. The whole rise must be several times the lost motion expected, a step a small part of it. \
    Lengths without a unit are in --units, the feed in --units per minute.";

pub(super) const USAGE: &str = "takeup routine small-steps [OPTIONS] --axis <AXIS> --start <AT> -o <FILE>";
pub(super) const EXAMPLE: &str = "Example:\n  takeup routine small-steps --axis z --start -40 --expected 0.1 \\\n    \
     -o z.nc --sheet z.csv";

pub(super) fn test(args: &Of<PlanArgs, Writing>, ctx: &Context) -> Result<Test, Refusal> {
    let planned = args.plan.planned(ctx)?;
    let (axis, unit, start, step, plan) =
        (planned.axis, planned.unit, planned.start, planned.step, planned.plan);
    let readings = plan.stops().count();
    let pace = args.how.pace(unit)?;
    let head = Head {
        about: vec![
            format!("SMALL STEPS OF AXIS {axis}: {} STEPS OF {} EACH WAY", planned.steps, word(step, unit)),
            format!("UP AND DOWN {} TIMES, AND UP ONCE MORE. NEVER OVERRUN", planned.cycles),
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
            planned.steps,
            word(step, unit),
            word(start, unit)
        ),
        stations: vec![start],
        cycles: planned.cycles,
        overrun: Some(planned.overrun),
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

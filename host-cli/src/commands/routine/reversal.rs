//! `routine reversal`.

use super::program::{Head, Program};
use super::{Test, Writing, sheet, word};
use crate::context::Context;
use crate::plan_args::{Of, PlanArgs, Planned};
use crate::refusal::Refusal;
use crate::units::Print;
use takeup_core::length::Length;
use takeup_core::measure::Kind;
use takeup_core::measure::routine::{Purpose, Step};

pub(super) const LONG_ABOUT: &str = "The reversal test: at each station the axis arrives from + and from - in turn.\n\n\
    The program moves at a feed only, with the spindle stopped, and at each place to be read makes a dwell and \
    an optional stop (M1). Before each arrival the axis overruns the place; the overrun must be larger than any \
    lost motion expected. Lengths without a unit are in --units, the feed in --units per minute.";

pub(super) const USAGE: &str = "takeup routine reversal [OPTIONS] --axis <AXIS> --station <AT> -o <FILE>";
pub(super) const EXAMPLE: &str =
    "Example:\n  takeup routine reversal --axis z --station 0,-40 -o z.nc --sheet z.csv";

pub(super) fn test(args: &Of<PlanArgs, Writing>, ctx: &Context) -> Result<Test, Refusal> {
    let planned = args.plan.planned(ctx)?;
    let (axis, unit, travel) = (planned.axis, planned.unit, planned.travel());
    let plan = planned.plan()?;
    let pace = args.how.pace(unit)?;
    let head = Head {
        about: vec![
            format!("REVERSAL TEST OF AXIS {axis}: {} CYCLES AT EACH STATION", planned.cycles),
            format!("EACH PLACE IS OVERRUN BY {}, WHICH MUST EXCEED THE", word(planned.overrun, unit)),
            "LOST MOTION EXPECTED".to_owned(),
        ],
        cautions: vec!["ITS PLUNGER NEEDS MORE FREE TRAVEL THAN TWO OVERRUNS".to_owned()],
    };
    let mut program = Program::begin(head, axis, unit, travel, pace);
    station_by_station(&mut program, plan.steps(), &planned);
    let stations: Vec<_> = planned.stations.iter().map(|at| Print { unit }.short(at.as_mm())).collect();
    let readings = plan.stops().count();
    Ok(Test {
        kind: Kind::Reversal,
        axis,
        unit,
        title: format!(
            "Reversal test of {axis}: {readings} readings, {} cycles at {} {unit}",
            planned.cycles,
            stations.join(" and ")
        ),
        cycles: planned.cycles,
        overrun: Some(planned.overrun),
        readings,
        travel,
        program: program.end(),
        sheet: sheet::head(Kind::Reversal, axis, unit, &[])
            + &sheet::rows(plan.stops(), unit, sheet::Time::None),
        stations: planned.stations,
    })
}

fn station_by_station(program: &mut Program, steps: impl Iterator<Item = Step>, planned: &Planned) {
    let (axis, unit) = (planned.axis, planned.unit);
    let mut station: Option<Length> = None;
    let mut steps = steps.peekable();
    while let Some(step) = steps.next() {
        match step {
            Step::Move { to, purpose: Purpose::Overrun } => {
                let next = steps.peek().map(|step| match step {
                    Step::Move { to, .. } => *to,
                    Step::Read(stop) => stop.target,
                });
                let new_station = next != station;
                if let (true, Some(at)) = (new_station, next) {
                    station = next;
                    program.comment(&format!("STATION {axis}{}", word(at, unit)));
                    program.hold("INDICATOR CLEAR? THE NEXT MOVE MAY BE LONG");
                }
                let side = if next.is_some_and(|next| to < next) { "BELOW" } else { "ABOVE" };
                program.feed_to(to, &format!("OVERRUN, TO ARRIVE FROM {side}"));
                if new_station {
                    program.hold("SET THE INDICATOR ON, IN THE MIDDLE OF ITS TRAVEL");
                }
            }
            Step::Move { to, purpose: Purpose::Arrival } => program.feed_to(to, "ARRIVE"),
            Step::Read(stop) => program.read(stop),
        }
    }
}

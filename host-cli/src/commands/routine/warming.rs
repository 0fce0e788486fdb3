//! `routine warm-up`.

use super::program::{Head, Program};
use super::{Test, Writing, sheet, word};
use crate::context::Context;
use crate::plan_args::Of;
use crate::plan_args::warming::PlanArgs;
use crate::refusal::Refusal;
use crate::units::trimmed;
use std::fmt::Write as _;
use takeup_core::length::Length;
use takeup_core::measure::Kind;
use takeup_core::measure::routine::{Purpose, Step};

pub(super) const LONG_ABOUT: &str = "The warm-up test: one place read over time, the axis working between readings. It shows how far \
    the machine grows, how fast, and what is left: when it is worth measuring.\n\n\
    Begin cold. Between readings the axis strokes away and comes back, always from the same side, as many times as fill the \
    interval at the feed. Lengths without a unit are in --units, the feed in --units per minute.";

pub(super) const USAGE: &str = "takeup routine warm-up [OPTIONS] --axis <AXIS> --mark <AT> -o <FILE>";
pub(super) const EXAMPLE: &str = "Example:\n  takeup routine warm-up --axis z --mark -40 --stroke 50 --feed 1000 \\\n    \
     -o z.nc --sheet z.csv";

pub(super) fn test(args: &Of<PlanArgs, Writing>, ctx: &Context) -> Result<Test, Refusal> {
    let planned = args.plan.planned(ctx)?;
    let (axis, unit, mark, stroke) = (planned.axis, planned.unit, planned.mark, planned.stroke);
    let pace = args.how.pace(unit)?;
    let interval_min = f64::from(planned.interval_s) / 60.0;
    let strokes = strokes(interval_min, stroke, pace.feed);
    let plan = planned.plan(strokes)?;
    let minutes = trimmed(interval_min, 1);
    let about = vec![
        format!("WARM-UP TEST OF AXIS {axis}: {} READINGS, ABOUT {minutes} MIN APART", planned.readings),
        format!("{strokes} STROKES OF {} BETWEEN READINGS", word(stroke, unit)),
        "WRITE DOWN THE TIME OF EACH READING IN SECONDS, BY ONE".to_owned(),
        "CLOCK, WITHOUT STOPPING IT. BEGIN COLD".to_owned(),
    ];
    let cautions = vec!["THE AXIS WORKS BY ITSELF FOR MINUTES: STAY WITH IT, GUARDS CLOSED".to_owned()];
    let mut program = Program::begin(Head { about, cautions }, axis, unit, plan.travel(), pace);
    program.hold("INDICATOR CLEAR? THE NEXT MOVE MAY BE LONG");
    let mut moved = false;
    for step in plan.steps() {
        match step {
            Step::Move { to, purpose: Purpose::Overrun } => {
                program.feed_to(to, "WORK");
                if !moved {
                    program.hold("SET THE INDICATOR SO THAT THE RETURN MEETS IT");
                }
                moved = true;
            }
            Step::Move { to, purpose: Purpose::Arrival } => program.feed_to(to, "BACK"),
            Step::Read(stop) => program.read(stop),
        }
    }
    let hints = [
        "Do not touch the indicator from the first row to the last.",
        "time: seconds from any moment on, by one clock that is not stopped.",
    ];
    let mut sheet = sheet::head(Kind::WarmUp, axis, unit, &hints);
    sheet.push_str("row,target,approach,reading,time,note\n");
    for stop in plan.stops() {
        let _ = writeln!(sheet, "{},{},{},,,", stop.row, word(stop.target, unit), stop.approach);
    }
    Ok(Test {
        kind: Kind::WarmUp,
        axis,
        unit,
        title: format!(
            "Warm-up test of {axis}: {} readings at {} {unit}, about {minutes} min apart",
            planned.readings,
            word(mark, unit)
        ),
        stations: vec![mark],
        cycles: planned.readings,
        overrun: None,
        readings: usize::from(planned.readings),
        travel: plan.travel(),
        program: program.end(),
        sheet,
    })
}

/// Strokes that fill an interval at a feed; at least one, at most what makes a program that a control can hold.
fn strokes(minutes: f64, stroke: Length, feed: Length) -> u16 {
    const MOST: f64 = 500.0;
    let one = 2.0 * stroke.as_mm().abs() / feed.as_mm();
    (minutes / one).clamp(1.0, MOST) as u16
}

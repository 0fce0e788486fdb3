//! `routine warm-up`.

use super::program::{Head, Program};
use super::{Test, Writing, sheet, word};
use crate::commands::assess::axis;
use crate::context::Context;
use crate::plan_args::{refused_plan, usual};
use crate::refusal::Refusal;
use crate::units::{LengthArg, decimals, number};
use std::fmt::Write as _;
use takeup_core::axis::Axis;
use takeup_core::length::Length;
use takeup_core::measure::Kind;
use takeup_core::measure::routine::{Purpose, Step, WarmUpPlan};

pub(super) const LONG_ABOUT: &str = "The warm-up test: one place read over time, the axis working between readings. It shows how far \
    the machine grows, how fast, and what is left: when it is worth measuring.\n\n\
    Begin cold. Between readings the axis strokes away and comes back, always from the same side, as many times as fill the \
    interval at the feed. Lengths without a unit are in --units, the feed in --units per minute.";

/// Arguments of `routine warm-up`.
#[derive(Debug, clap::Args)]
#[command(
    override_usage = "takeup routine warm-up [OPTIONS] --axis <AXIS> --mark <AT> -o <FILE>",
    after_help = "Example:\n  takeup routine warm-up --axis z --mark -40 --stroke 50 --feed 1000 -o z.nc --sheet z.csv"
)]
pub(super) struct Args {
    /// Axis to test: x, y or z
    #[arg(long, value_parser = axis)]
    axis: Axis,
    /// Place to read at
    #[arg(long, value_name = "POSITION", allow_hyphen_values = true)]
    mark: LengthArg,
    /// Distance of a working stroke; negative works in - [default: 50 mm or 2 in]
    #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
    stroke: Option<LengthArg>,
    /// Readings
    #[arg(long, value_name = "COUNT", default_value_t = 19)]
    readings: u16,
    /// Minutes from one reading to the next
    #[arg(long, value_name = "MINUTES", default_value = "5", allow_hyphen_values = true, value_parser = number)]
    interval: f64,
    /// Pace and files
    #[command(flatten)]
    pub(super) writing: Writing,
}

pub(super) fn test(args: &Args, ctx: &Context) -> Result<Test, Refusal> {
    let (axis, unit) = (args.axis, ctx.units());
    let mark = args.mark.length(unit);
    let stroke = args.stroke.map_or_else(|| usual(unit, 50.0, 2.0), |stroke| stroke.length(unit));
    let pace = args.writing.pace(unit)?;
    if !(args.interval > 0.0 && args.interval <= 120.0) {
        return Err(Refusal::new(
            format!("--interval is {} minutes, above 0 and up to 120 was expected", args.interval),
            "Give a few minutes, such as 5.",
        ));
    }
    let strokes = strokes(args.interval, stroke, pace.feed);
    let plan =
        WarmUpPlan::new(mark, stroke, args.readings, strokes).map_err(|bad| refused_plan(bad, unit))?;
    let minutes = decimals(args.interval, 1);
    let minutes = minutes.trim_end_matches('0').trim_end_matches('.');
    let about = vec![
        format!("WARM-UP TEST OF AXIS {axis}: {} READINGS, ABOUT {minutes} MIN APART", args.readings),
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
            args.readings,
            word(mark, unit)
        ),
        stations: vec![mark],
        cycles: args.readings,
        overrun: None,
        readings: usize::from(args.readings),
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

//! `routine return`.

use super::program::{Head, Program};
use super::{Test, Writing, sheet, word};
use crate::context::Context;
use crate::plan_args::Of;
use crate::plan_args::returns::PlanArgs;
use crate::refusal::Refusal;
use crate::units::trimmed;
use takeup_core::measure::Kind;
use takeup_core::measure::routine::{Pauses, Purpose, Step};

pub(super) const LONG_ABOUT: &str = "The return test: many lifts off one mark and returns to it. It shows a drive that \
    slips a little at each lift, and tells that from drift with time.\n\n\
    What is lost per lift and what drifts per hour look alike while lifts come evenly: only pauses tell them \
    apart, and the time of each reading in seconds, from any moment on, must be written down. \
    Lengths without a unit are in --units, the feed in --units per minute.";

pub(super) const USAGE: &str = "takeup routine return [OPTIONS] --axis <AXIS> --mark <AT> -o <FILE>";
pub(super) const EXAMPLE: &str =
    "Example:\n  takeup routine return --axis z --mark -40 --lift 20 -o z.nc --sheet z.csv";

pub(super) fn test(args: &Of<PlanArgs, Writing>, ctx: &Context) -> Result<Test, Refusal> {
    let planned = args.plan.planned(ctx)?;
    let (axis, unit, mark, lift, pauses, plan) =
        (planned.axis, planned.unit, planned.mark, planned.lift, planned.pauses, planned.plan);
    let pace = args.how.pace(unit)?;
    let mut about = vec![
        format!("RETURN TEST OF AXIS {axis}: {} LIFTS OF {} AND RETURNS", planned.returns, word(lift, unit)),
        "WRITE DOWN THE TIME OF EACH READING IN SECONDS, BY ONE".to_owned(),
        "CLOCK, WITHOUT STOPPING IT".to_owned(),
    ];
    if pauses == Pauses::None {
        about.push("NO PAUSES: SLIP AND DRIFT WILL NOT BE TOLD APART".to_owned());
    }
    let head = Head {
        about,
        cautions: vec!["THE INDICATOR IS MET AGAIN AND AGAIN: SET IT TO BE MET GENTLY".to_owned()],
    };
    let mut program = Program::begin(head, axis, unit, plan.travel(), pace);
    program.hold("INDICATOR CLEAR? THE NEXT MOVE MAY BE LONG");
    let mut row = 0;
    for step in plan.steps() {
        match step {
            Step::Move { to, purpose: Purpose::Overrun } => {
                row += 1;
                if let Some(seconds) = plan.pause_before(row) {
                    program.dwell(f64::from(seconds), "PAUSE: LEAVE EVERYTHING AS IT IS");
                }
                program.feed_to(to, "LIFT");
                if row == 1 {
                    program.hold("SET THE INDICATOR SO THAT THE RETURN MEETS IT");
                }
            }
            Step::Move { to, purpose: Purpose::Arrival } => program.feed_to(to, "RETURN"),
            Step::Read(stop) => program.read(stop),
        }
    }
    let hints = [
        "Do not touch the indicator from the first row to the last.",
        "time: seconds from any moment on, by one clock that is not stopped.",
    ];
    let between = match pauses {
        Pauses::None => "no pauses".to_owned(),
        Pauses::Every { returns, seconds } => {
            format!("a pause of {} min after every {returns}", trimmed(f64::from(seconds) / 60.0, 1))
        }
    };
    let readings = plan.stops().count();
    Ok(Test {
        kind: Kind::Return,
        axis,
        unit,
        title: format!(
            "Return test of {axis}: {readings} lifts of {} {unit} off {} {unit}, {between}",
            word(lift, unit),
            word(mark, unit)
        ),
        stations: vec![mark],
        cycles: planned.returns,
        overrun: None,
        readings,
        travel: plan.travel(),
        program: program.end(),
        sheet: sheet::head(Kind::Return, axis, unit, &hints)
            + &sheet::rows(plan.stops(), unit, sheet::Time::Wanted),
    })
}

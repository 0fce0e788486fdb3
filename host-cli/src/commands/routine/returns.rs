//! `routine return`.

use super::program::{Head, Program};
use super::{Test, Writing, sheet, word};
use crate::commands::assess::axis;
use crate::context::Context;
use crate::plan_args::{refused_plan, usual};
use crate::refusal::Refusal;
use crate::units::LengthArg;
use takeup_core::axis::Axis;
use takeup_core::measure::Kind;
use takeup_core::measure::routine::{LiftPlan, Pauses, Purpose, Step};

pub(super) const LONG_ABOUT: &str = "The return test: many lifts off one mark and returns to it. It shows a drive that \
    slips a little at each lift, and tells that from drift with time.\n\n\
    What is lost per lift and what drifts per hour look alike while lifts come evenly: only pauses tell them \
    apart, and the time of each reading in seconds, from any moment on, must be written down. \
    Lengths without a unit are in --units, the feed in --units per minute.";

/// Arguments of `routine return`.
#[derive(Debug, clap::Args)]
#[command(
    override_usage = "takeup routine return [OPTIONS] --axis <AXIS> --mark <AT> -o <FILE>",
    after_help = "Example:\n  takeup routine return --axis z --mark -40 --lift 20 -o z.nc --sheet z.csv"
)]
pub(super) struct Args {
    /// Axis to test: x, y or z
    #[arg(long, value_parser = axis)]
    axis: Axis,
    /// Place to return to
    #[arg(long, value_name = "POSITION", allow_hyphen_values = true)]
    mark: LengthArg,
    /// Distance of the lift; negative lifts in - [default: 5 mm or 0.2 in]
    #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
    lift: Option<LengthArg>,
    /// Lifts and returns
    #[arg(long, value_name = "COUNT", default_value_t = 20)]
    returns: u16,
    /// Returns between two pauses; 0 makes none
    #[arg(long, value_name = "COUNT", default_value_t = 5)]
    pause_every: u16,
    /// Minutes of a pause
    #[arg(long, value_name = "MINUTES", default_value_t = 5)]
    pause: u16,
    /// Pace and files
    #[command(flatten)]
    pub(super) writing: Writing,
}

pub(super) fn test(args: &Args, ctx: &Context) -> Result<Test, Refusal> {
    let (axis, unit) = (args.axis, ctx.units());
    let mark = args.mark.length(unit);
    let lift = args.lift.map_or_else(|| usual(unit, 5.0, 0.2), |lift| lift.length(unit));
    let pauses = match args.pause_every {
        0 => Pauses::None,
        returns => Pauses::Every { returns, seconds: 60 * u32::from(args.pause) },
    };
    let plan = LiftPlan::new(mark, lift, args.returns, pauses).map_err(|bad| refused_plan(bad, unit))?;
    let pace = args.writing.pace(unit)?;
    let mut about = vec![
        format!("RETURN TEST OF AXIS {axis}: {} LIFTS OF {} AND RETURNS", args.returns, word(lift, unit)),
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
        Pauses::Every { returns, .. } => format!("a pause of {} min after every {returns}", args.pause),
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
        cycles: args.returns,
        overrun: None,
        readings,
        travel: plan.travel(),
        program: program.end(),
        sheet: sheet::head(Kind::Return, axis, unit, &hints)
            + &sheet::rows(plan.stops(), unit, sheet::Time::Wanted),
    })
}

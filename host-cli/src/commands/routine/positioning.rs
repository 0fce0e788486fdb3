//! `routine positioning`.

use super::program::{Head, Program};
use super::{Test, Writing, sheet, word};
use crate::context::Context;
use crate::plan_args::Of;
use crate::plan_args::positioning::PlanArgs;
use crate::refusal::Refusal;
use crate::units::LengthArg;
use takeup_core::measure::Kind;
use takeup_core::measure::routine::{Purpose, Step};

pub(super) const LONG_ABOUT: &str = "The positioning test: targets over the travel, runs up and runs down, all \
    read on one long scale (a laser, a linear scale, or a row of gauge blocks with one zero).\n\n\
    Give the targets one by one, or the first, the last and their number. ISO 230-2 spreads them unevenly, so \
    that an error of the screw's pitch is not missed: with --pitch the targets are shifted by parts of a turn. \
    Lengths without a unit are in --units, the feed in --units per minute.";

pub(super) const USAGE: &str = "takeup routine positioning [OPTIONS] --axis <AXIS> -o <FILE>";
pub(super) const EXAMPLE: &str = "Example:\n  takeup routine positioning --axis x --from 0 --to 400 --targets 9 --pitch 5 \\\n    \
     -o x.nc --sheet x.csv";

/// Targets and runs, and the pitch.
#[derive(Debug, clap::Args)]
pub(super) struct Plan {
    #[command(flatten)]
    plan: PlanArgs,
    /// Pitch of the screw, so that targets fall on all parts of a turn
    #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
    pitch: Option<LengthArg>,
}

pub(super) fn test(args: &Of<Plan, Writing>, ctx: &Context) -> Result<Test, Refusal> {
    let planned = args.plan.plan.planned(args.plan.pitch.map(|pitch| pitch.length(ctx.units())), ctx)?;
    let (axis, unit, overrun, travel) = (planned.axis, planned.unit, planned.overrun, planned.travel());
    let plan = planned.plan()?;
    let pace = args.how.pace(unit)?;
    let head = Head {
        about: vec![
            format!("POSITIONING TEST OF AXIS {axis}: {} RUNS UP AND DOWN", planned.runs),
            format!("EACH END IS OVERRUN BY {}, WHICH MUST EXCEED THE", word(overrun, unit)),
            "LOST MOTION EXPECTED".to_owned(),
            "ONE LONG SCALE, ZEROED ONCE: DO NOT ZERO IT IN BETWEEN".to_owned(),
        ],
        cautions: Vec::new(),
    };
    let mut program = Program::begin(head, axis, unit, travel, pace);
    program.hold("SCALE SET UP AND CLEAR OVER THE WHOLE TRAVEL?");
    for step in plan.steps() {
        match step {
            Step::Move { to, purpose: Purpose::Overrun } => program.feed_to(to, "OVERRUN"),
            Step::Move { to, purpose: Purpose::Arrival } => program.feed_to(to, "ARRIVE"),
            Step::Read(stop) => program.read(stop),
        }
    }
    let readings = plan.stops().count();
    let mut keys = sheet::head(
        Kind::Positioning,
        axis,
        unit,
        &["One long scale with one zero: write down what it shows at each target."],
    );
    if let Some(pitch) = planned.pitch {
        keys.push_str(&format!("# pitch: {}\n", word(pitch, unit)));
    }
    Ok(Test {
        kind: Kind::Positioning,
        axis,
        unit,
        title: format!(
            "Positioning test of {axis}: {readings} readings, {} runs up and down over {} targets",
            planned.runs,
            planned.targets.len()
        ),
        cycles: planned.runs,
        overrun: Some(overrun),
        readings,
        travel,
        program: program.end(),
        sheet: keys + &sheet::rows(plan.stops(), unit, sheet::Time::None),
        stations: planned.targets,
    })
}

//! `routine positioning`.

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
use takeup_core::measure::routine::{PositioningPlan, Purpose, Step};

pub(super) const LONG_ABOUT: &str = "The positioning test: targets over the travel, runs up and runs down, all \
    read on one long scale (a laser, a linear scale, or a row of gauge blocks with one zero).\n\n\
    Give the targets one by one, or the first, the last and their number. ISO 230-2 spreads them unevenly, so \
    that an error of the screw's pitch is not missed: with --pitch the targets are shifted by parts of a turn. \
    Lengths without a unit are in --units, the feed in --units per minute.";

/// Arguments of `routine positioning`.
#[derive(Debug, clap::Args)]
#[command(
    override_usage = "takeup routine positioning [OPTIONS] --axis <AXIS> --target <AT> -o <FILE>",
    after_help = "Example:\n  takeup routine positioning --axis x --from 0 --to 400 --targets 9 --pitch 5 -o x.nc --sheet x.csv"
)]
pub(super) struct Args {
    /// Axis to test: x, y or z
    #[arg(long, value_parser = axis)]
    axis: Axis,
    /// Place to read at, by rising position; repeat for each
    #[arg(long, value_name = "POSITION", allow_hyphen_values = true, value_delimiter = ',', conflicts_with_all = ["from", "to"])]
    target: Vec<LengthArg>,
    /// First target
    #[arg(long, value_name = "POSITION", allow_hyphen_values = true, requires = "to")]
    from: Option<LengthArg>,
    /// Last target
    #[arg(long, value_name = "POSITION", allow_hyphen_values = true, requires = "from")]
    to: Option<LengthArg>,
    /// How many targets between --from and --to, both included
    #[arg(long, value_name = "COUNT", default_value_t = 9)]
    targets: u16,
    /// Pitch of the screw, so that targets fall on all parts of a turn
    #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
    pitch: Option<LengthArg>,
    /// Runs up and runs down
    #[arg(long, value_name = "COUNT", default_value_t = 5)]
    runs: u16,
    /// Motion beyond the ends before each run [default: 1 mm or 0.04 in]
    #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
    overrun: Option<LengthArg>,
    /// Pace and files
    #[command(flatten)]
    pub(super) writing: Writing,
}

/// The most targets of one test; an assessment has room for as many stations.
const MOST_TARGETS: u16 = 64;

impl Args {
    fn places(&self, unit: takeup_core::length::Unit) -> Result<Vec<Length>, Refusal> {
        let (Some(from), Some(to)) = (self.from, self.to) else {
            let places: Vec<_> = self.target.iter().map(|arg| arg.length(unit)).collect();
            return if places.is_empty() {
                Err(Refusal::new("no target is given", "Give --target for each, or --from and --to."))
            } else {
                Ok(places)
            };
        };
        if !(2..=MOST_TARGETS).contains(&self.targets) {
            return Err(Refusal::new(
                format!("--targets is {}, 2 to {MOST_TARGETS} was expected", self.targets),
                "Give --targets 9.",
            ));
        }
        let (from, to) = (from.length(unit), to.length(unit));
        let apart = to.saturating_sub(from).counts();
        let turn = match self.pitch.map(|pitch| pitch.length(unit)) {
            Some(pitch) if pitch <= Length::ZERO => {
                return Err(Refusal::new(
                    "--pitch must be above 0",
                    "Give the pitch of the screw, such as 5 mm.",
                ));
            }
            pitch => pitch.map_or(0, Length::counts),
        };
        let last = i64::from(self.targets) - 1;
        // To the nearest 0.001 mm or 0.0001 in, as a control and a person can use it.
        let grain = match unit {
            takeup_core::length::Unit::Mm => 10_000,
            takeup_core::length::Unit::Inch => 25_400,
        };
        let places = (0..=last).map(|n| {
            // The golden section spreads any number of places evenly over a turn (common practice of
            // sampling; that targets should not all fall on one part of it is of ISO 230-2, recalled from memory).
            let part = (n as f64 * 0.618_034).fract();
            let shift = if n == 0 || n == last { 0 } else { (part * turn as f64) as i64 };
            let even = from.counts() + (apart as f64 * n as f64 / last as f64) as i64;
            // Towards the start, so that none passes the last target.
            let place = if n == last { to.counts() } else { (even - shift) / grain * grain };
            if n == 0 { from } else { Length::from_counts(place) }
        });
        Ok(places.collect())
    }
}

pub(super) fn test(args: &Args, ctx: &Context) -> Result<Test, Refusal> {
    let (axis, unit) = (args.axis, ctx.units());
    let stations = args.places(unit)?;
    let overrun = args.overrun.map_or_else(|| usual(unit, 1.0, 0.04), |overrun| overrun.length(unit));
    if stations.len() > usize::from(MOST_TARGETS) {
        return Err(Refusal::new(
            format!("{} targets were given, at most {MOST_TARGETS} were expected", stations.len()),
            "Split the travel into two tests.",
        ));
    }
    let plan = PositioningPlan::new(&stations, args.runs, overrun).map_err(|bad| refused_plan(bad, unit))?;
    let pace = args.writing.pace(unit)?;
    let ends = |end: Option<&Length>| end.copied().unwrap_or_default();
    let travel =
        (ends(stations.first()).saturating_sub(overrun), ends(stations.last()).saturating_add(overrun));
    let head = Head {
        about: vec![
            format!("POSITIONING TEST OF AXIS {axis}: {} RUNS UP AND DOWN", args.runs),
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
    if let Some(pitch) = args.pitch {
        keys.push_str(&format!("# pitch: {}\n", word(pitch.length(unit), unit)));
    }
    Ok(Test {
        kind: Kind::Positioning,
        axis,
        unit,
        title: format!(
            "Positioning test of {axis}: {readings} readings, {} runs up and down over {} targets",
            args.runs,
            stations.len()
        ),
        cycles: args.runs,
        overrun: Some(overrun),
        readings,
        travel,
        program: program.end(),
        sheet: keys + &sheet::rows(plan.stops(), unit, sheet::Time::None),
        stations,
    })
}

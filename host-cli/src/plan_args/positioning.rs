//! A positioning test on the command line.

use super::{refused_plan, usual};
use crate::commands::assess::axis;
use crate::context::Context;
use crate::refusal::Refusal;
use crate::units::LengthArg;
use takeup_core::axis::Axis;
use takeup_core::length::{Length, Unit};
use takeup_core::measure::routine::PositioningPlan;

/// A positioning test, as typed; flatten it into the `Args` of a command.
#[derive(Clone, Debug, clap::Args)]
pub struct PlanArgs {
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
    /// Runs up and runs down
    #[arg(long, value_name = "COUNT", default_value_t = 5)]
    runs: u16,
    /// Motion beyond the ends before each run [default: 1 mm or 0.04 in]
    #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
    overrun: Option<LengthArg>,
}

/// A positioning test that can be carried out.
#[derive(Clone, Debug)]
pub struct Planned {
    /// The axis.
    pub axis: Axis,
    /// The unit in which the person thinks of it.
    pub unit: Unit,
    /// The targets, by rising position.
    pub targets: Vec<Length>,
    /// Runs up and runs down.
    pub runs: u16,
    /// Motion beyond the ends before each run.
    pub overrun: Length,
    /// The pitch of the screw, if it was given.
    pub pitch: Option<Length>,
}

/// The most targets of one test; an assessment has room for as many stations.
const MOST_TARGETS: u16 = 64;

impl PlanArgs {
    fn places(&self, pitch: Option<Length>, unit: Unit) -> Result<Vec<Length>, Refusal> {
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
        let turn = match pitch {
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
            Unit::Mm => 10_000,
            Unit::Inch => 25_400,
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

    /// The test, checked; with the pitch of the screw, if it is known, targets fall on all parts of a turn.
    ///
    /// # Errors
    /// When it could not be carried out.
    pub fn planned(&self, pitch: Option<Length>, ctx: &Context) -> Result<Planned, Refusal> {
        let unit = ctx.units();
        let targets = self.places(pitch, unit)?;
        if targets.len() > usize::from(MOST_TARGETS) {
            return Err(Refusal::new(
                format!("{} targets were given, at most {MOST_TARGETS} were expected", targets.len()),
                "Split the travel into two tests.",
            ));
        }
        let planned = Planned {
            axis: self.axis,
            unit,
            targets,
            runs: self.runs,
            overrun: self.overrun.map_or_else(|| usual(unit, 1.0, 0.04), |overrun| overrun.length(unit)),
            pitch,
        };
        planned.plan()?;
        Ok(planned)
    }
}

impl Planned {
    /// Its stops and moves.
    ///
    /// # Errors
    /// When it could not be carried out.
    pub fn plan(&self) -> Result<PositioningPlan<'_>, Refusal> {
        PositioningPlan::new(&self.targets, self.runs, self.overrun)
            .map_err(|bad| refused_plan(bad, self.unit))
    }

    /// The lowest and the highest command.
    #[must_use]
    pub fn travel(&self) -> (Length, Length) {
        let ends = |end: Option<&Length>| end.copied().unwrap_or_default();
        (
            ends(self.targets.first()).saturating_sub(self.overrun),
            ends(self.targets.last()).saturating_add(self.overrun),
        )
    }
}

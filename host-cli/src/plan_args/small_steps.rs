//! A test of small steps on the command line.

use super::{refused_plan, usual};
use crate::commands::assess::axis;
use crate::context::Context;
use crate::refusal::Refusal;
use crate::units::{LengthArg, word};
use takeup_core::axis::Axis;
use takeup_core::length::{Length, Unit};
use takeup_core::measure::routine::StaircasePlan;

/// A test of small steps, as typed; flatten it into the `Args` of a command.
#[derive(Clone, Debug, clap::Args)]
pub struct PlanArgs {
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
}

/// A test of small steps that can be carried out.
#[derive(Clone, Debug)]
pub struct Planned {
    /// The axis.
    pub axis: Axis,
    /// The unit in which the person thinks of it.
    pub unit: Unit,
    /// Where the staircase begins.
    pub start: Length,
    /// The height of one step.
    pub step: Length,
    /// Steps each way.
    pub steps: u16,
    /// How often up and down.
    pub cycles: u16,
    /// Motion from above down to the start.
    pub overrun: Length,
    /// Its stops and moves.
    pub plan: StaircasePlan,
}

/// The most readings that anybody takes by hand, many times over.
const MOST_READINGS: usize = 5000;

impl PlanArgs {
    /// The test, checked.
    ///
    /// # Errors
    /// When it could not tell lost motion.
    pub fn planned(&self, ctx: &Context) -> Result<Planned, Refusal> {
        let unit = ctx.units();
        let length = |arg: Option<LengthArg>, mm, inch| {
            arg.map_or_else(|| usual(unit, mm, inch), |arg: LengthArg| arg.length(unit))
        };
        let expected = length(self.expected, 0.1, 0.004);
        if expected <= Length::ZERO {
            return Err(Refusal::new(
                "--expected must be above 0",
                "Give the lost motion expected, roughly.",
            ));
        }
        let tenth = Length::from_counts(expected.counts() / 10);
        let step = self.step.map_or(tenth, |arg| arg.length(unit));
        let overrun = length(self.overrun, 1.0, 0.04);
        let start = self.start.length(unit);
        let plan = StaircasePlan::new(start, step, self.steps, self.cycles, overrun)
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
        Ok(Planned {
            axis: self.axis,
            unit,
            start,
            step,
            steps: self.steps,
            cycles: self.cycles,
            overrun,
            plan,
        })
    }
}

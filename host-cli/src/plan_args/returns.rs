//! A return test on the command line.

use super::{refused_plan, usual};
use crate::commands::assess::axis;
use crate::context::Context;
use crate::refusal::Refusal;
use crate::units::{LengthArg, number};
use takeup_core::axis::Axis;
use takeup_core::length::{Length, Unit};
use takeup_core::measure::routine::{LiftPlan, Pauses};

/// A return test, as typed; flatten it into the `Args` of a command.
#[derive(Clone, Debug, clap::Args)]
pub struct PlanArgs {
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
    #[arg(long, value_name = "MINUTES", default_value = "5", allow_hyphen_values = true, value_parser = number)]
    pause: f64,
}

/// A return test that can be carried out.
#[derive(Clone, Debug)]
pub struct Planned {
    /// The axis.
    pub axis: Axis,
    /// The unit in which the person thinks of it.
    pub unit: Unit,
    /// Place to return to.
    pub mark: Length,
    /// Distance of the lift, with its sign.
    pub lift: Length,
    /// Lifts and returns.
    pub returns: u16,
    /// Pauses between them.
    pub pauses: Pauses,
    /// Its stops and moves.
    pub plan: LiftPlan,
}

impl PlanArgs {
    /// The test, checked.
    ///
    /// # Errors
    /// When it could not tell slip.
    pub fn planned(&self, ctx: &Context) -> Result<Planned, Refusal> {
        let unit = ctx.units();
        let mark = self.mark.length(unit);
        let lift = self.lift.map_or_else(|| usual(unit, 5.0, 0.2), |lift| lift.length(unit));
        if !(0.0..=1000.0).contains(&self.pause) {
            return Err(Refusal::new(
                format!("--pause is {} minutes, up to 1000 was expected", self.pause),
                "Give a few minutes, such as 5.",
            ));
        }
        let pauses = match self.pause_every {
            0 => Pauses::None,
            returns => Pauses::Every { returns, seconds: (self.pause * 60.0).ceil() as u32 },
        };
        let plan = LiftPlan::new(mark, lift, self.returns, pauses).map_err(|bad| refused_plan(bad, unit))?;
        Ok(Planned { axis: self.axis, unit, mark, lift, returns: self.returns, pauses, plan })
    }
}

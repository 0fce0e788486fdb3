//! A test of the indicator itself on the command line.

use super::refused_plan;
use crate::commands::assess::axis;
use crate::context::Context;
use crate::refusal::Refusal;
use takeup_core::axis::Axis;
use takeup_core::length::Unit;
use takeup_core::measure::routine::FacePlan;

/// A test of the indicator, as typed; flatten it into the `Args` of a command.
#[derive(Clone, Debug, clap::Args)]
pub struct PlanArgs {
    /// Axis that the indicator stands along: x, y or z
    #[arg(long, value_parser = axis)]
    axis: Axis,
    /// Times from each side
    #[arg(long, value_name = "COUNT", default_value_t = 10)]
    cycles: u16,
}

/// A test of the indicator that can be carried out.
#[derive(Clone, Debug)]
pub struct Planned {
    /// The axis along which it stands.
    pub axis: Axis,
    /// The unit in which the person thinks of it.
    pub unit: Unit,
    /// Times from each side.
    pub cycles: u16,
    /// Its rows.
    pub plan: FacePlan,
}

impl PlanArgs {
    /// The test, checked.
    ///
    /// # Errors
    /// When it could not tell how the indicator repeats.
    pub fn planned(&self, ctx: &Context) -> Result<Planned, Refusal> {
        let unit = ctx.units();
        let plan = FacePlan::new(self.cycles).map_err(|bad| refused_plan(bad, unit))?;
        Ok(Planned { axis: self.axis, unit, cycles: self.cycles, plan })
    }
}

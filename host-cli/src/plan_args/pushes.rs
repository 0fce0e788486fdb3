//! A push-pull test on the command line.

use super::refused_plan;
use crate::commands::assess::axis;
use crate::context::Context;
use crate::refusal::Refusal;
use crate::units::number;
use takeup_core::axis::Axis;
use takeup_core::length::Unit;
use takeup_core::measure::routine::PushPlan;

/// A push-pull test, as typed; flatten it into the `Args` of a command.
#[derive(Clone, Debug, clap::Args)]
pub struct PlanArgs {
    /// Axis to test: x, y or z
    #[arg(long, value_parser = axis)]
    axis: Axis,
    /// Largest force each way, in newtons
    #[arg(long, value_name = "NEWTONS", default_value = "200", allow_hyphen_values = true, value_parser = number)]
    force: f64,
    /// Force that balances the weight of the axis, in newtons; positive pushes +
    #[arg(long, value_name = "NEWTONS", default_value = "0", allow_hyphen_values = true, value_parser = number)]
    balance: f64,
    /// Pushes and pulls
    #[arg(long, value_name = "COUNT", default_value_t = 12)]
    readings: u16,
}

/// A push-pull test that can be carried out.
#[derive(Clone, Debug)]
pub struct Planned {
    /// The axis.
    pub axis: Axis,
    /// The unit in which the person thinks of it.
    pub unit: Unit,
    /// Force that balances the weight of the axis, in newtons.
    pub balance_n: f64,
    /// Pushes and pulls.
    pub readings: u16,
    /// The forces.
    pub plan: PushPlan,
}

impl PlanArgs {
    /// The test, checked.
    ///
    /// # Errors
    /// When it could not tell clearance and stiffness.
    pub fn planned(&self, ctx: &Context) -> Result<Planned, Refusal> {
        let unit = ctx.units();
        let plan = PushPlan::new(self.force, self.readings).map_err(|bad| refused_plan(bad, unit))?;
        Ok(Planned { axis: self.axis, unit, balance_n: self.balance, readings: self.readings, plan })
    }
}

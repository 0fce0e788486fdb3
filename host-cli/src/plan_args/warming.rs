//! A warm-up test on the command line.

use super::{refused_plan, usual};
use crate::commands::assess::axis;
use crate::context::Context;
use crate::refusal::Refusal;
use crate::units::{LengthArg, number};
use takeup_core::axis::Axis;
use takeup_core::length::{Length, Unit};
use takeup_core::measure::routine::WarmUpPlan;

/// A warm-up test, as typed; flatten it into the `Args` of a command.
#[derive(Clone, Debug, clap::Args)]
pub struct PlanArgs {
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
}

/// A warm-up test that can be carried out.
#[derive(Clone, Debug)]
pub struct Planned {
    /// The axis.
    pub axis: Axis,
    /// The unit in which the person thinks of it.
    pub unit: Unit,
    /// Place to read at.
    pub mark: Length,
    /// Distance of a working stroke, with its sign.
    pub stroke: Length,
    /// Readings.
    pub readings: u16,
    /// Seconds from one reading to the next.
    pub interval_s: u32,
}

impl Planned {
    /// Its stops, with so many strokes between them.
    ///
    /// # Errors
    /// When it could not tell growth.
    pub fn plan(&self, strokes: u16) -> Result<WarmUpPlan, Refusal> {
        WarmUpPlan::new(self.mark, self.stroke, self.readings, strokes)
            .map_err(|bad| refused_plan(bad, self.unit))
    }
}

impl PlanArgs {
    /// The test, checked.
    ///
    /// # Errors
    /// When it could not tell growth.
    pub fn planned(&self, ctx: &Context) -> Result<Planned, Refusal> {
        let unit = ctx.units();
        if !(self.interval > 0.0 && self.interval <= 120.0) {
            return Err(Refusal::new(
                format!("--interval is {} minutes, above 0 and up to 120 was expected", self.interval),
                "Give a few minutes, such as 5.",
            ));
        }
        let mark = self.mark.length(unit);
        let stroke = self.stroke.map_or_else(|| usual(unit, 50.0, 2.0), |stroke| stroke.length(unit));
        let interval_s = (self.interval * 60.0).ceil() as u32;
        let planned = Planned { axis: self.axis, unit, mark, stroke, readings: self.readings, interval_s };
        planned.plan(1)?;
        Ok(planned)
    }
}

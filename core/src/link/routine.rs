//! The routines of messages as plans: host and box go by the same steps.

use super::message::Routine;
use crate::length::Length;
use crate::measure::routine::{BadPlan, Kind, PositioningPlan, ReversalPlan, Step};

impl Routine {
    /// Its kind.
    #[must_use]
    pub const fn kind(&self) -> Kind {
        match self {
            Routine::Reversal { .. } => Kind::Reversal,
            Routine::Positioning { .. } => Kind::Positioning,
        }
    }

    /// Lends the steps at some places, in order.
    ///
    /// ```
    /// use takeup_core::{length::Length, link::Routine, measure::routine::Step};
    /// let mm = |mm| Length::from_mm(mm).unwrap();
    /// let routine = Routine::Reversal { cycles: 5, overrun: mm(1.0) };
    /// let readings = routine.with_steps(&[mm(0.0), mm(-40.0)], |steps| {
    ///     steps.filter(|step| matches!(step, Step::Read(_))).count()
    /// });
    /// assert_eq!(readings, Ok(20));
    /// ```
    ///
    /// # Errors
    /// When the plan cannot be carried out.
    pub fn with_steps<R>(
        &self,
        places: &[Length],
        use_them: impl FnOnce(&mut dyn Iterator<Item = Step>) -> R,
    ) -> Result<R, BadPlan> {
        Ok(match *self {
            Routine::Reversal { cycles, overrun } => {
                use_them(&mut ReversalPlan::new(places, cycles, overrun)?.steps())
            }
            Routine::Positioning { runs, overrun } => {
                use_them(&mut PositioningPlan::new(places, runs, overrun)?.steps())
            }
        })
    }
}

//! The routines of messages as plans: host and box go by the same steps.

use super::message::Routine;
use crate::length::Length;
use crate::measure::routine::{
    BadPlan, Kind, LiftPlan, Pauses, PositioningPlan, ReversalPlan, StaircasePlan, Step, WarmUpPlan,
};

impl Routine {
    /// Its kind.
    #[must_use]
    pub const fn kind(&self) -> Kind {
        match self {
            Routine::Reversal { .. } => Kind::Reversal,
            Routine::Positioning { .. } => Kind::Positioning,
            Routine::SmallSteps { .. } => Kind::SmallSteps,
            Routine::Return { .. } => Kind::Return,
            Routine::WarmUp { .. } => Kind::WarmUp,
        }
    }

    /// A travel that every run of it makes in one go, in which an indicator that stands still is noticed.
    #[must_use]
    pub const fn longest_move(&self) -> Length {
        match self {
            Routine::Reversal { overrun, .. }
            | Routine::Positioning { overrun, .. }
            | Routine::SmallSteps { overrun, .. } => *overrun,
            Routine::Return { lift, .. } => lift.saturating_abs(),
            Routine::WarmUp { stroke, .. } => stroke.saturating_abs(),
        }
    }

    /// The seconds to wait before the moves to a row, counted from 1.
    #[must_use]
    pub fn pause_before(&self, row: u32) -> Option<u32> {
        match *self {
            // After the last there is nothing to pause for; the mark does not matter.
            Routine::Return { lift, returns, pause_every, pause_s } if row <= u32::from(returns) => {
                LiftPlan::new(Length::ZERO, lift, returns, pauses(pause_every, pause_s))
                    .ok()?
                    .pause_before(row)
            }
            Routine::Return { .. }
            | Routine::Reversal { .. }
            | Routine::Positioning { .. }
            | Routine::SmallSteps { .. }
            | Routine::WarmUp { .. } => None,
        }
    }

    /// The seconds of work between a row and the row before it: until they are over, the two moves before the row's reading
    /// are made again and again.
    #[must_use]
    pub const fn work_before(&self, row: u32) -> Option<u16> {
        match *self {
            Routine::WarmUp { work_s, .. } if row > 1 => Some(work_s),
            Routine::WarmUp { .. }
            | Routine::Reversal { .. }
            | Routine::Positioning { .. }
            | Routine::SmallSteps { .. }
            | Routine::Return { .. } => None,
        }
    }

    /// Lends the steps at some places, in order; of what is repeated for some time ([`Routine::work_before`]), once.
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
        let first = || places.first().copied().ok_or(BadPlan::NoStation);
        Ok(match *self {
            Routine::Reversal { cycles, overrun } => {
                use_them(&mut ReversalPlan::new(places, cycles, overrun)?.steps())
            }
            Routine::Positioning { runs, overrun } => {
                use_them(&mut PositioningPlan::new(places, runs, overrun)?.steps())
            }
            Routine::SmallSteps { step, steps, cycles, overrun } => {
                use_them(&mut StaircasePlan::new(first()?, step, steps, cycles, overrun)?.steps())
            }
            Routine::Return { lift, returns, pause_every, pause_s } => {
                use_them(&mut LiftPlan::new(first()?, lift, returns, pauses(pause_every, pause_s))?.steps())
            }
            Routine::WarmUp { stroke, readings, .. } => {
                use_them(&mut WarmUpPlan::new(first()?, stroke, readings, 1)?.steps())
            }
        })
    }
}

fn pauses(every: u16, seconds: u16) -> Pauses {
    match every {
        0 => Pauses::None,
        returns => Pauses::Every { returns, seconds: seconds.into() },
    }
}

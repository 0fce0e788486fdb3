//! The plan of a return test.

use super::{BadPlan, Purpose, Step, Stop};
use crate::axis::Direction;
use crate::length::Length;

/// Lifts off a mark and returns to it, one reading for each, some after a pause: what is lost per lift
/// and what drifts with time are told apart by the pauses alone.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LiftPlan {
    mark: Length,
    lift: Length,
    returns: u16,
    pauses: Pauses,
}

/// Pauses between the returns.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Pauses {
    /// None: slip and drift will not be told apart.
    None,
    /// A pause of so many seconds after every so many returns.
    Every {
        /// Returns from one pause to the next.
        returns: u16,
        /// The length of a pause.
        seconds: u32,
    },
}

impl LiftPlan {
    /// The fewest returns from which a trend and its scatter are seen.
    pub const FEWEST_RETURNS: u16 = 4;

    /// A plan. The lift is a distance with a sign: positive lifts in the machine's `+` and returns
    /// moving `-`. It must be larger than any lost motion expected.
    pub fn new(mark: Length, lift: Length, returns: u16, pauses: Pauses) -> Result<Self, BadPlan> {
        if lift == Length::ZERO {
            return Err(BadPlan::NoLift);
        }
        if returns < Self::FEWEST_RETURNS {
            return Err(BadPlan::TooFewReturns { found: returns, fewest: Self::FEWEST_RETURNS });
        }
        if matches!(pauses, Pauses::Every { returns: 0, .. } | Pauses::Every { seconds: 0, .. }) {
            return Err(BadPlan::NoPause);
        }
        if mark.checked_add(lift).is_none() {
            return Err(BadPlan::OutOfRange(mark));
        }
        Ok(Self { mark, lift, returns, pauses })
    }

    /// The lowest and the highest command.
    #[must_use]
    pub fn travel(&self) -> (Length, Length) {
        let lifted = self.mark.saturating_add(self.lift);
        (self.mark.min(lifted), self.mark.max(lifted))
    }

    /// The seconds to pause before the lift of a row, counted from 1.
    #[must_use]
    pub fn pause_before(&self, row: u32) -> Option<u32> {
        match self.pauses {
            Pauses::Every { returns, seconds } if row > 1 => {
                row.saturating_sub(1).is_multiple_of(u32::from(returns)).then_some(seconds)
            }
            Pauses::Every { .. } | Pauses::None => None,
        }
    }

    /// The stops, in order: one for each return.
    pub fn stops(&self) -> impl Iterator<Item = Stop> + use<> {
        let (target, lift) = (self.mark, self.lift);
        let approach = if lift > Length::ZERO { Direction::Minus } else { Direction::Plus };
        (1..=self.returns).map(move |cycle| Stop { row: u32::from(cycle), target, cycle, approach })
    }

    /// The steps, in order: a lift, a return and a reading for each stop.
    ///
    /// ```
    /// use takeup_core::{length::Length, measure::routine::{LiftPlan, Pauses, Purpose, Step}};
    /// let mm = |mm| Length::from_mm(mm).unwrap();
    /// let plan = LiftPlan::new(mm(0.0), mm(5.0), 8, Pauses::Every { returns: 4, seconds: 600 }).unwrap();
    /// assert_eq!(plan.steps().next(), Some(Step::Move { to: mm(5.0), purpose: Purpose::Overrun }));
    /// assert_eq!(plan.steps().count(), 24);
    /// assert_eq!((plan.pause_before(4), plan.pause_before(5)), (None, Some(600)));
    /// ```
    pub fn steps(&self) -> impl Iterator<Item = Step> + use<> {
        let lifted = self.mark.saturating_add(self.lift);
        self.stops().flat_map(move |stop| {
            [
                Step::Move { to: lifted, purpose: Purpose::Overrun },
                Step::Move { to: stop.target, purpose: Purpose::Arrival },
                Step::Read(stop),
            ]
        })
    }
}

//! The plan of a test of small steps.

use super::{BadPlan, Purpose, Step, Stop};
use crate::axis::Direction;
use crate::length::Length;

/// A staircase of small steps: seated moving `-` at the start, then up and down in turn, and up once
/// more at the end. The places where it turns are read once.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct StaircasePlan {
    start: Length,
    step: Length,
    steps: u16,
    cycles: u16,
    overrun: Length,
}

impl StaircasePlan {
    /// The fewest steps that show a curve.
    pub const FEWEST_STEPS: u16 = 6;

    /// A plan: `steps` of `step` each way, once up and down per cycle. Both the whole staircase and the
    /// overrun that seats the axis before it must be several times any lost motion expected.
    pub fn new(
        start: Length,
        step: Length,
        steps: u16,
        cycles: u16,
        overrun: Length,
    ) -> Result<Self, BadPlan> {
        if cycles < 1 {
            return Err(BadPlan::NoCycle);
        }
        if steps < Self::FEWEST_STEPS {
            return Err(BadPlan::TooFewSteps { found: steps, fewest: Self::FEWEST_STEPS });
        }
        if step < super::SAME_STATION {
            return Err(BadPlan::StepTooSmall(step));
        }
        if overrun <= Length::ZERO {
            return Err(BadPlan::NoOverrun);
        }
        // The start, up and down in each cycle, and up once more.
        let ways = u64::from(cycles).saturating_mul(2).saturating_add(1);
        super::numbered(ways.saturating_mul(u64::from(steps)).saturating_add(1))?;
        let top = step.counts().checked_mul(i64::from(steps)).map(Length::from_counts);
        let high = top.and_then(|top| start.checked_add(top));
        if high.is_none() || start.checked_add(overrun).is_none() {
            return Err(BadPlan::OutOfRange(start));
        }
        Ok(Self { start, step, steps, cycles, overrun })
    }

    /// The length of the staircase.
    #[must_use]
    pub fn rise(&self) -> Length {
        self.at(self.steps).saturating_sub(self.start)
    }

    /// The lowest and the highest command.
    #[must_use]
    pub fn travel(&self) -> (Length, Length) {
        (self.start, self.at(self.steps).max(self.start.saturating_add(self.overrun)))
    }

    /// The place of a step; `new` has checked that none leaves the range.
    fn at(&self, step: u16) -> Length {
        Length::from_counts(
            self.step.counts().saturating_mul(i64::from(step)).saturating_add(self.start.counts()),
        )
    }

    /// The stops, in order.
    ///
    /// ```
    /// use takeup_core::{length::Length, measure::routine::StaircasePlan};
    /// let mm = |mm| Length::from_mm(mm).unwrap();
    /// let plan = StaircasePlan::new(mm(0.0), mm(0.01), 6, 1, mm(1.0)).unwrap();
    /// // The start, six up, six down, six up.
    /// assert_eq!(plan.stops().count(), 19);
    /// ```
    pub fn stops(&self) -> impl Iterator<Item = Stop> + use<> {
        let plan = *self;
        let start = core::iter::once((plan.start, 1, Direction::Minus));
        let up = move |cycle| (1..=plan.steps).map(move |n| (plan.at(n), cycle, Direction::Plus));
        let down = move |cycle| (0..plan.steps).rev().map(move |n| (plan.at(n), cycle, Direction::Minus));
        let turns = (1..=plan.cycles).flat_map(move |cycle| up(cycle).chain(down(cycle)));
        let places = start.chain(turns).chain(up(plan.cycles));
        places.zip(1..).map(|((target, cycle, approach), row)| Stop { row, target, cycle, approach })
    }

    /// The steps, in order: from above down to the start, then the staircase without any overrun.
    pub fn steps(&self) -> impl Iterator<Item = Step> + use<> {
        let above = self.start.saturating_add(self.overrun);
        core::iter::once(Step::Move { to: above, purpose: Purpose::Overrun }).chain(
            self.stops().flat_map(|stop| {
                [Step::Move { to: stop.target, purpose: Purpose::Arrival }, Step::Read(stop)]
            }),
        )
    }
}

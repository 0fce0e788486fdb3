//! The plans of tests at one place: the axis stands, or works and comes back.

use super::{BadPlan, Purpose, Step, Stop};
use crate::axis::Direction;
use crate::length::Length;

/// Pushes and pulls in turn, the drive holding: some far, some near, none so weak that it would be lost near the balance.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PushPlan {
    largest_n: f64,
    readings: u16,
}

/// The shares of the largest force that are pushed, in order, each once each way.
const SHARES: [f64; 4] = [0.5, 1.0, 0.75, 0.35];

impl PushPlan {
    /// The fewest readings from which clearance and stiffness are told.
    pub const FEWEST: u16 = 6;

    /// A plan up to a force in newtons, each way.
    pub fn new(largest_n: f64, readings: u16) -> Result<Self, BadPlan> {
        if readings < Self::FEWEST {
            return Err(BadPlan::TooFewReadings { found: readings, fewest: Self::FEWEST });
        }
        if !(largest_n.is_finite() && largest_n > 0.0) {
            return Err(BadPlan::NoForce);
        }
        Ok(Self { largest_n, readings })
    }

    /// The rows from 1, each with its force in newtons; positive pushes `+`.
    pub fn pushes(&self) -> impl Iterator<Item = (u32, f64)> + use<> {
        let largest_n = self.largest_n;
        let shares = SHARES.into_iter().cycle().flat_map(|share| [share, -share]);
        (1..=u32::from(self.readings)).zip(shares).map(move |(row, share)| (row, share * largest_n))
    }
}

/// One place read over time; between readings the axis works by strokes away from it and back.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct WarmUpPlan {
    mark: Length,
    stroke: Length,
    readings: u16,
    strokes: u16,
}

impl WarmUpPlan {
    /// The fewest readings from which a curve of growth is told.
    pub const FEWEST: u16 = 6;

    /// A plan of so many readings, with so many strokes before each but the first, before which there is one. The stroke has
    /// a sign: positive works in the machine's `+` and comes back moving `-`.
    pub fn new(mark: Length, stroke: Length, readings: u16, strokes: u16) -> Result<Self, BadPlan> {
        if readings < Self::FEWEST {
            return Err(BadPlan::TooFewReadings { found: readings, fewest: Self::FEWEST });
        }
        if stroke == Length::ZERO || strokes == 0 {
            return Err(BadPlan::NoStroke);
        }
        if mark.checked_add(stroke).is_none() {
            return Err(BadPlan::OutOfRange(mark));
        }
        Ok(Self { mark, stroke, readings, strokes })
    }

    /// The lowest and the highest command.
    #[must_use]
    pub fn travel(&self) -> (Length, Length) {
        let away = self.mark.saturating_add(self.stroke);
        (self.mark.min(away), self.mark.max(away))
    }

    /// The stops, in order.
    pub fn stops(&self) -> impl Iterator<Item = Stop> + use<> {
        let approach = if self.stroke > Length::ZERO { Direction::Minus } else { Direction::Plus };
        let target = self.mark;
        (1..=self.readings).map(move |cycle| Stop { row: u32::from(cycle), target, cycle, approach })
    }

    /// The steps, in order: strokes away and back, then a reading.
    pub fn steps(&self) -> impl Iterator<Item = Step> + use<> {
        let Self { mark, stroke, strokes, .. } = *self;
        let away = mark.saturating_add(stroke);
        self.stops().flat_map(move |stop| {
            let strokes = if stop.row == 1 { 1 } else { strokes };
            let stroke = [
                Step::Move { to: away, purpose: Purpose::Overrun },
                Step::Move { to: mark, purpose: Purpose::Arrival },
            ];
            (0..strokes).flat_map(move |_| stroke).chain([Step::Read(stop)])
        })
    }
}

/// The indicator brought onto a fixed face from both sides in turn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct FacePlan {
    cycles: u16,
}

impl FacePlan {
    /// A plan of so many cycles.
    pub fn new(cycles: u16) -> Result<Self, BadPlan> {
        if cycles < 2 { Err(BadPlan::TooFewCycles(cycles)) } else { Ok(Self { cycles }) }
    }

    /// The rows from 1, each with its cycle and its approach.
    pub fn rows(&self) -> impl Iterator<Item = (u32, u16, Direction)> + use<> {
        let ways = [Direction::Plus, Direction::Minus];
        let rows = (1..=self.cycles).flat_map(move |cycle| ways.into_iter().map(move |way| (cycle, way)));
        rows.zip(1..).map(|((cycle, way), row)| (row, cycle, way))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pushes_alternate_and_reach_the_largest() {
        let forces: std::vec::Vec<f64> = PushPlan::new(200.0, 12).unwrap().pushes().map(|p| p.1).collect();
        assert!(forces.chunks(2).all(|pair| pair[0] > 0.0 && pair[0] + pair[1] == 0.0), "{forces:?}");
        assert!(forces.contains(&200.0) && forces.iter().all(|f| f.abs() >= 70.0), "{forces:?}");
        assert_eq!(PushPlan::new(200.0, 3), Err(BadPlan::TooFewReadings { found: 3, fewest: 6 }));
        assert_eq!(PushPlan::new(0.0, 8), Err(BadPlan::NoForce));
    }

    #[test]
    fn the_axis_works_between_readings_and_arrives_one_way() {
        let mm = |mm: f64| Length::from_mm(mm).unwrap();
        let plan = WarmUpPlan::new(mm(-10.0), mm(100.0), 6, 3).unwrap();
        let steps: std::vec::Vec<Step> = plan.steps().collect();
        assert_eq!(steps.len(), 2 + 5 * 6 + 6);
        let mut last = None;
        for step in steps {
            match step {
                Step::Move { to, .. } => last = Some(to),
                Step::Read(stop) => {
                    assert_eq!(last, Some(mm(-10.0)));
                    assert_eq!(stop.approach, Direction::Minus);
                }
            }
        }
        assert_eq!(plan.travel(), (mm(-10.0), mm(90.0)));
    }
}

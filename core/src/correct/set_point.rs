//! The table applied to set-points, inside a motion controller.
//!
//! The controller asks once per cycle of its position loop. While the set-points move on in one
//! direction the correction of that seat is added; at a reversal the correction changes to the
//! other seat's, spread over cycles so that the drive is never asked for more than a given step.
//! During those cycles the drive crosses the clearance and the table lags: choose the step as large
//! as the drive can follow.
//!
//! Not for set-points that tremble: each change of direction counts, so feed it the planner's output,
//! never a measured position. Costs one interpolation per call, no memory beyond the struct.

use crate::{
    axis::{Axis, Direction, PerAxis},
    correct::table::{AxisTable, Table},
    length::Length,
};

/// Corrects the set-points of one axis.
#[derive(Clone, Debug)]
pub struct Corrector<'t> {
    table: &'t AxisTable,
    most_per_step: Length,
    last: Option<Length>,
    seat: Direction,
    correction: Length,
}

impl<'t> Corrector<'t> {
    /// A corrector that changes its correction by at most a given length per call; a step of zero or
    /// less is taken as one count, so that a correction always arrives.
    ///
    /// The axis is taken to bear on its reference seat, as after zeroing the work.
    #[must_use]
    pub fn new(table: &'t AxisTable, most_per_step: Length) -> Self {
        let most_per_step = most_per_step.max(Length::from_counts(1));
        Self { table, most_per_step, last: None, seat: table.reference(), correction: Length::ZERO }
    }

    /// The seat on which the axis bears, or will once the change of correction is done.
    #[must_use]
    pub const fn seat(&self) -> Direction {
        self.seat
    }

    /// The command for a set-point, called once per cycle of the position loop.
    ///
    /// ```
    /// use takeup_core::{axis::Direction, correct::{AxisTable, Corrector}, length::Length};
    /// let mm = |v| Length::from_mm(v).unwrap();
    /// let table = AxisTable::uniform(Direction::Minus, mm(0.1)).unwrap();
    /// let mut z = Corrector::new(&table, mm(1.0));
    /// assert_eq!(z.command(mm(-1.0)), mm(-1.0)); // coming down: the reference seat
    /// assert_eq!(z.command(mm(-0.9)), mm(-0.8)); // going up: the clearance is crossed
    /// ```
    #[must_use]
    pub fn command(&mut self, set_point: Length) -> Length {
        match self.last {
            Some(last) if set_point > last => self.seat = Direction::Plus,
            Some(last) if set_point < last => self.seat = Direction::Minus,
            Some(_) => {}
            // The very first set-point is taken as it is: there is no motion yet to correct.
            None => self.correction = self.table.correction(set_point, self.seat),
        }
        self.last = Some(set_point);
        let wanted = self.table.correction(set_point, self.seat);
        let change = wanted.saturating_sub(self.correction);
        let least = Length::ZERO.saturating_sub(self.most_per_step);
        self.correction = self.correction.saturating_add(change.clamp(least, self.most_per_step));
        set_point.saturating_add(self.correction)
    }
}

/// The correctors of all axes of a table that have corrections.
#[must_use]
pub fn correctors(table: &Table, most_per_step: Length) -> PerAxis<Option<Corrector<'_>>> {
    PerAxis::from_fn(|axis: Axis| table.axes.get(axis).as_ref().map(|t| Corrector::new(t, most_per_step)))
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::slack::Play;

    fn mm(value: f64) -> Length {
        Length::from_mm(value).unwrap()
    }

    #[test]
    fn a_correction_arrives_in_steps_no_larger_than_allowed() {
        let table = AxisTable::uniform(Direction::Minus, mm(0.1)).unwrap();
        let mut z = Corrector::new(&table, mm(0.03));
        let _ = z.command(mm(0.0));
        let commands: std::vec::Vec<f64> = [1.0; 5].iter().map(|y| z.command(mm(*y)).as_mm()).collect();
        assert_eq!(commands, [1.03, 1.06, 1.09, 1.1, 1.1]);
    }

    proptest! {
        // The corrected command, played through the clearance it was made for, puts the table on the set-point.
        #[test]
        fn the_table_reaches_every_set_point(
            moves in prop::collection::vec(-5.0..5.0f64, 1..40), b in 0.0..0.4f64, up in any::<bool>(),
        ) {
            let reference = if up { Direction::Plus } else { Direction::Minus };
            let b = mm(b);
            let table = AxisTable::uniform(reference, b).unwrap();
            let play = Play::new(b.as_mm(), reference).unwrap();
            let mut corrector = Corrector::new(&table, mm(10.0));
            let mut set_point = mm(0.0);
            let mut y = play.follow_mm(0.0, corrector.command(set_point).as_mm());
            for step in moves {
                set_point = set_point.saturating_add(mm(step));
                y = play.follow_mm(y, corrector.command(set_point).as_mm());
                prop_assert!((y - set_point.as_mm()).abs() < 1e-9, "{y} {set_point:?}");
            }
        }
    }
}

//! What is known of one axis while a program runs.

use super::Strategy;
use crate::axis::{Axis, Direction};
use crate::correct::AxisTable;
use crate::length::Length;

/// An axis: where the program wants it, where the corrected program sends it, how the drive bears.
#[derive(Clone, Copy, Debug)]
pub(super) struct Track<'t> {
    pub table: Option<&'t AxisTable>,
    /// The corrections on `+` and `-`, where they are the same everywhere.
    uniform: Option<(Length, Length)>,
    strategy: Strategy,
    /// Added to a program coordinate to find its place in the table.
    offset: Length,
    /// The lost motion at most.
    pub width: Length,
    /// The place that the original program has reached.
    pub wanted: Length,
    /// The place that the corrected program has commanded.
    pub sent: Length,
    /// Whether those are coordinates in force, and not only good for differences.
    pub known: bool,
    pub seat: Option<Direction>,
    /// Whether the person was told of the unknown seat.
    pub told: bool,
}

/// The direction of a difference.
pub(super) fn direction(from: Length, to: Length) -> Option<Direction> {
    match to.cmp(&from) {
        core::cmp::Ordering::Greater => Some(Direction::Plus),
        core::cmp::Ordering::Less => Some(Direction::Minus),
        core::cmp::Ordering::Equal => None,
    }
}

impl<'t> Track<'t> {
    pub fn new(table: Option<&'t AxisTable>, strategy: Strategy, offset: Length) -> Self {
        let table = table.filter(|table| !table.is_zero());
        let uniform = table.filter(|table| table.is_uniform()).map(|table| {
            (
                table.correction(Length::ZERO, Direction::Plus),
                table.correction(Length::ZERO, Direction::Minus),
            )
        });
        Self {
            table,
            uniform,
            strategy,
            offset,
            width: table.map_or(Length::ZERO, AxisTable::largest_lost_motion),
            wanted: Length::ZERO,
            sent: Length::ZERO,
            known: false,
            seat: None,
            told: false,
        }
    }

    pub const fn corrected(&self) -> bool {
        self.table.is_some()
    }

    /// Whether reversals in the cut are corrected.
    pub const fn takes_up(&self) -> bool {
        self.table.is_some() && !matches!(self.strategy, Strategy::OneWay)
    }

    /// Whether entries are made from the reference direction where that is clear.
    pub const fn enters_one_way(&self) -> bool {
        self.table.is_some() && !matches!(self.strategy, Strategy::TakeUp)
    }

    pub const fn is_uniform(&self) -> bool {
        self.uniform.is_some()
    }

    pub fn reference(&self, axis: Axis) -> Direction {
        self.table.map_or(axis.usual_seat(), AxisTable::reference)
    }

    /// The command for a place, arriving in a direction.
    pub fn command(&self, place: Length, towards: Direction) -> Length {
        let Some(table) = self.table else { return place };
        let seat = if self.takes_up() { towards } else { table.reference() };
        let correction = match (self.uniform, seat) {
            (Some((plus, _)), Direction::Plus) => plus,
            (Some((_, minus)), Direction::Minus) => minus,
            (None, seat) => table.correction(place.saturating_add(self.offset), seat),
        };
        place.saturating_add(correction)
    }

    /// The seat after a move in a direction, by a command that goes from one place to another.
    ///
    /// The direction is the program's: a rounded command may tremble by a last digit against it.
    pub fn seat_after(&self, from: Length, to: Length, towards: Option<Direction>) -> Option<Direction> {
        if towards.is_none() || towards == self.seat {
            return self.seat;
        }
        // Rounded, the command may fall short of the clearance by a last digit at either end.
        let travel = to.saturating_sub(from).saturating_abs();
        let digits = Length::from_counts(20_000);
        if travel.saturating_add(digits) >= self.width && direction(from, to) == towards {
            towards
        } else {
            None
        }
    }

    /// An overrun that crosses the clearance with certainty: twice its width, half a millimetre at least.
    pub fn overrun(&self) -> Length {
        self.width.saturating_add(self.width).max(Length::from_counts(5_000_000))
    }

    /// Place and seat are in doubt.
    pub fn forget(&mut self) {
        self.known = false;
        self.seat = None;
        self.told = false;
    }
}

//! What is known of one axis while a program runs.

use crate::axis::{Axis, Direction};
use crate::correct::Corrections;
use crate::length::Length;

/// How the lost motion of an axis is kept out of the work.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Strategy {
    /// Arrive from the reference direction at every entry; leave reversals in the cut alone.
    OneWay,
    /// Shift the command on the other seat and take up the clearance where the cut reverses.
    TakeUp,
    /// One-way entries where they can be made in the clear, take-up everywhere else.
    #[default]
    Both,
}

/// What is known of the place of an axis.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Place {
    /// Nothing: its coordinates are only good for differences.
    Unknown,
    /// Nothing, and a return, a move in machine coordinates or a tool change may have taken the axis to the end of its
    /// travel.
    Returned,
    /// The program counts on it, but a tool change may have taken the axis elsewhere in between.
    Elsewhere,
    /// The program has told it.
    Known,
}

/// An axis: where the program wants it, where the corrected program sends it, how the drive bears.
#[derive(Clone, Copy, Debug)]
pub(super) struct Track<'t> {
    table: Option<Corrections<'t>>,
    /// The corrections on `+` and `-`, where they are the same everywhere.
    uniform: Option<(Length, Length)>,
    strategy: Strategy,
    /// Added to a program coordinate to find its place in the table.
    offset: Length,
    /// The last digit that is written: corrections are whole numbers of it, so that a corrected
    /// number is as exact as the one it replaces, and rounding cannot accumulate.
    step: Length,
    /// The lost motion at most.
    pub width: Length,
    /// The place that the original program has reached.
    pub wanted: Length,
    /// The place that the corrected program has commanded.
    pub sent: Length,
    pub place: Place,
    /// A place was told, in the coordinates that are in force or were.
    pub placed: bool,
    /// A block that may be skipped left the command at one of two shifts from the place.
    pub unsure: bool,
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

/// The nearest whole number of steps.
fn in_steps(length: Length, step: Length) -> Length {
    let (counts, step) = (length.counts(), step.counts().max(1));
    let half = (step / 2).saturating_mul(counts.signum());
    let whole = counts.saturating_add(half).checked_div(step).unwrap_or(0);
    Length::from_counts(whole.saturating_mul(step))
}

impl<'t> Track<'t> {
    pub fn new(table: Option<Corrections<'t>>, strategy: Strategy, offset: Length, step: Length) -> Self {
        let table = table.filter(|table| !table.is_zero());
        let mut track = Self {
            table,
            uniform: None,
            strategy,
            offset,
            step,
            width: table.map_or(Length::ZERO, Corrections::largest_lost_motion),
            wanted: Length::ZERO,
            sent: Length::ZERO,
            place: Place::Unknown,
            placed: false,
            unsure: false,
            seat: None,
            told: false,
        };
        track.write_in(step);
        track
    }

    /// Another last digit is written from now on.
    pub fn write_in(&mut self, step: Length) {
        self.step = step;
        // Stations that differ by less than the last digit shows are written alike, and so is all between them.
        let mut pairs = self.table.iter().flat_map(|table| table.stations()).map(|s| {
            let on = |correction| in_steps(correction, step);
            (on(s.plus), on(s.minus))
        });
        let first = pairs.next();
        self.uniform = first.filter(|first| pairs.all(|pair| pair == *first));
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

    /// Whether the correction is the same everywhere along the travel.
    pub const fn is_uniform(&self) -> bool {
        self.table.is_none() || self.uniform.is_some()
    }

    /// Whether a command can differ from the place that is wanted.
    pub fn shifts(&self) -> bool {
        let zero = |seat| match (self.uniform, seat) {
            (Some((plus, _)), Direction::Plus) => plus == Length::ZERO,
            (Some((_, minus)), Direction::Minus) => minus == Length::ZERO,
            (None, _) => false,
        };
        self.takes_up() || self.table.is_some_and(|table| !zero(table.reference()))
    }

    pub fn named(&self) -> bool {
        !matches!(self.place, Place::Unknown | Place::Returned)
    }

    /// Whether the program has told where it is.
    pub fn is_told(&self) -> bool {
        self.place == Place::Known
    }

    pub fn reference(&self, axis: Axis) -> Direction {
        self.table.map_or(axis.usual_seat(), Corrections::reference)
    }

    /// The command for a place, arriving in a direction.
    pub fn command(&self, place: Length, towards: Direction) -> Length {
        let correction = match (self.uniform, self.bears(towards)) {
            (Some((plus, _)), Direction::Plus) => plus,
            (Some((_, minus)), Direction::Minus) => minus,
            (None, _) => in_steps(self.correction(place, towards), self.step),
        };
        place.saturating_add(correction)
    }

    /// The correction at a place to all its digits.
    pub fn correction(&self, place: Length, towards: Direction) -> Length {
        let Some(table) = self.table else { return Length::ZERO };
        table.correction(place.saturating_add(self.offset), self.bears(towards))
    }

    /// The seat that a command is made for.
    fn bears(&self, towards: Direction) -> Direction {
        match self.table {
            Some(table) if !self.takes_up() => table.reference(),
            _ => towards,
        }
    }

    /// The next station on the way between two places, if the corrections on the way leave the straight
    /// line between those at its ends by more than a third of a micrometre.
    pub fn next_station(&self, from: Length, to: Length) -> Option<Length> {
        let table = self.table.filter(|_| self.uniform.is_none())?;
        let towards = direction(from, to)?;
        let (low, high) = (from.min(to), from.max(to));
        let places = table.stations().iter().map(|station| station.position.saturating_sub(self.offset));
        let between = places.filter(|place| *place > low && *place < high);
        let at = |place| self.correction(place, towards).counts() as f64;
        let (start, whole) = (at(from), to.saturating_sub(from).counts() as f64);
        let rise = at(to) - start;
        let bends = |place: Length| {
            let along = place.saturating_sub(from).counts() as f64 / whole;
            libm::fabs(at(place) - start - rise * along) > 3_000.0
        };
        if !between.clone().any(bends) {
            return None;
        }
        match towards {
            Direction::Plus => between.min(),
            Direction::Minus => between.max(),
        }
    }

    /// Whether the seat is known and the command is the one for it: behind the retract of a drilling cycle
    /// the table lags.
    pub fn settled(&self) -> bool {
        let off = |seat| self.command(self.wanted, seat).saturating_sub(self.sent).saturating_abs();
        self.seat.is_some_and(|seat| off(seat).saturating_add(off(seat)) <= self.width)
    }

    /// The seat after a move in a direction, by a command that goes from one place to another.
    ///
    /// The direction is the program's: a rounded command may tremble by a last digit against it.
    pub fn seat_after(&self, from: Length, to: Length, towards: Option<Direction>) -> Option<Direction> {
        if towards.is_none() || towards == self.seat {
            return self.seat;
        }
        // From an unknown seat it crosses what it travels.
        let travel = to.saturating_sub(from).saturating_abs();
        let crosses = if self.seat.is_some() { self.crosses(from, to) } else { travel >= self.width };
        towards.filter(|_| crosses && direction(from, to) == towards)
    }

    /// Whether a way of the command from the other seat crosses the clearance: rounded it may fall short of it by a last digit
    /// at either end.
    pub fn crosses(&self, from: Length, to: Length) -> bool {
        let travel = to.saturating_sub(from).saturating_abs();
        travel.saturating_add(self.step).saturating_add(self.step) >= self.width
    }

    /// An overrun that crosses the clearance with certainty: twice its width, half a millimetre at least.
    pub fn overrun(&self) -> Length {
        self.width.saturating_add(self.width).max(Length::from_counts(5_000_000))
    }

    /// Place and seat are in doubt.
    pub const fn forget(&mut self) {
        self.place = Place::Unknown;
        self.seat = None;
        self.told = false;
    }

    /// A tool change: the program counts on the place that it has told, the seat is in doubt.
    pub fn leave(&mut self) {
        self.place = if self.named() { Place::Elsewhere } else { Place::Returned };
        self.seat = None;
        self.told = false;
    }
}

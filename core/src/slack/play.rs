//! The play operator: a clearance of fixed width between drive and table.
//!
//! The drive is at the commanded position `u`, the table at `y`. On the reference seat both agree;
//! on the other seat the table trails by the width. Between the seats the table stands still.
//! This is the classical play (backlash) operator of hysteresis theory.
//!
//! Not for elastic drives: wind-up makes the table follow gradually, which this operator does not show.

use crate::axis::Direction;

/// A clearance: its width, and the seat on which command and position agree.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Play {
    width: f64,
    reference: Direction,
}

impl Play {
    /// A clearance of a width in millimetres; `None` unless it is finite and not negative.
    #[must_use]
    pub const fn new(width_mm: f64, reference: Direction) -> Option<Self> {
        if width_mm.is_finite() && width_mm >= 0.0 { Some(Self { width: width_mm, reference }) } else { None }
    }

    /// The width in millimetres.
    #[must_use]
    pub const fn width_mm(&self) -> f64 {
        self.width
    }

    /// The seat on which command and position agree.
    #[must_use]
    pub const fn reference(&self) -> Direction {
        self.reference
    }

    /// The places, lowest and highest, at which the table can be while the drive is at `u` (mm).
    #[must_use]
    pub const fn possible_mm(&self, u: f64) -> (f64, f64) {
        match self.reference {
            Direction::Minus => (u - self.width, u),
            Direction::Plus => (u, u + self.width),
        }
    }

    /// Where the table is after the drive moved straight to `u`, when it was at `y` before (mm).
    ///
    /// ```
    /// use takeup_core::{axis::Direction, slack::Play};
    /// let play = Play::new(0.1, Direction::Minus).unwrap();
    /// let lifted = play.follow_mm(0.0, 5.0);
    /// assert_eq!(lifted, 4.9); // bearing on the other seat, the table lags
    /// assert_eq!(play.follow_mm(lifted, 4.95), 4.9); // inside the clearance nothing moves
    /// assert_eq!(play.follow_mm(lifted, 0.0), 0.0); // back on the reference seat
    /// ```
    #[must_use]
    pub const fn follow_mm(&self, y: f64, u: f64) -> f64 {
        let (low, high) = self.possible_mm(u);
        y.max(low).min(high)
    }

    /// The command that brings the table to `y` while the drive bears on a seat (mm).
    #[must_use]
    pub const fn command_mm(&self, y: f64, seat: Direction) -> f64 {
        match (self.reference, seat) {
            (Direction::Minus, Direction::Plus) => y + self.width,
            (Direction::Plus, Direction::Minus) => y - self.width,
            (Direction::Plus, Direction::Plus) | (Direction::Minus, Direction::Minus) => y,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn any_play() -> impl Strategy<Value = Play> {
        (0.0..0.5f64, any::<bool>()).prop_map(|(width, up)| {
            Play::new(width, if up { Direction::Plus } else { Direction::Minus }).unwrap()
        })
    }

    #[test]
    fn impossible_widths_are_refused() {
        for width in [-0.001, f64::NAN, f64::INFINITY] {
            assert_eq!(Play::new(width, Direction::Plus), None);
        }
    }

    // Closed form: driven by a triangle wave of amplitude a > b/2, the table swings 2a - b from
    // end to end, and each flank begins with a flat of length b (play operator, e.g. Krasnosel'skii
    // and Pokrovskii, Systems with Hysteresis; recalled from memory).
    #[test]
    fn triangle_wave_gives_the_closed_form_of_the_hysteresis_loop() {
        let play = Play::new(0.3, Direction::Plus).unwrap();
        let (steps, mut y, mut track) = (1000, 0.0, std::vec::Vec::new());
        for i in 0..4 * steps {
            let phase = f64::from(i % (2 * steps)) / f64::from(steps);
            let u = if phase < 1.0 { phase } else { 2.0 - phase };
            y = play.follow_mm(y, u);
            track.push((u, y));
        }
        let second = &track[2000..];
        let low = second.iter().map(|p| p.1).fold(f64::INFINITY, f64::min);
        let high = second.iter().map(|p| p.1).fold(f64::NEG_INFINITY, f64::max);
        assert!((high - low - 0.7).abs() < 1e-12, "{low} {high}");
        let flat = second[1000..].iter().filter(|p| (p.1 - high).abs() < 1e-12).count();
        assert!((flat as f64 / 1000.0 - 0.3).abs() < 0.002, "{flat}");
    }

    proptest! {
        // Rate independence and the semigroup property: a monotone move in two parts ends where
        // the same move in one part ends.
        #[test]
        fn a_monotone_move_may_be_split(play in any_play(), y in -1.0..1.0f64, a in -2.0..2.0f64, t in 0.0..1.0f64, b in -2.0..2.0f64) {
            let start = play.follow_mm(y, a);
            let halfway = play.follow_mm(start, a + t * (b - a));
            prop_assert!((play.follow_mm(halfway, b) - play.follow_mm(start, b)).abs() < 1e-12);
        }

        #[test]
        fn a_command_on_a_seat_reaches_its_place(play in any_play(), y in -1.0..1.0f64, up in any::<bool>()) {
            let seat = if up { Direction::Plus } else { Direction::Minus };
            let command = play.command_mm(y, seat);
            let before = play.follow_mm(0.0, command - seat.signum() * 10.0);
            prop_assert!((play.follow_mm(before, command) - y).abs() < 1e-12);
        }
    }
}

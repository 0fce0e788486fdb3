//! The take-up curve, with its memory of earlier reversals.
//!
//! With s the commanded travel since a reversal, the table has moved 0 for s ≤ b, then
//! (s − b) − w·(1 − exp(−(s − b)/w)). That is many plays in parallel, of widths b plus an exponential
//! spread of mean w; so a partial reversal is remembered, and when the command comes back to where it
//! reversed the loop is closed and forgotten (E. Madelung's rules, Annalen der Physik 17, 1905; recalled
//! from memory).

use crate::axis::Direction;
use heapless::Vec;

/// How an axis takes up after a reversal.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Curve {
    /// Travel in which nothing moves, in mm; negative if the control adds more than is lost.
    pub dead_band_mm: f64,
    /// Wind-up in mm, never negative.
    pub wind_up_mm: f64,
}

/// How far the table has moved, and how that changes with each part of the curve.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Moved {
    pub table: f64,
    pub by_dead_band: f64,
    pub by_wind_up: f64,
}

impl Moved {
    /// This and `sign` times `other`.
    fn plus(self, sign: f64, other: Moved) -> Moved {
        Moved {
            table: self.table + sign * other.table,
            by_dead_band: self.by_dead_band + sign * other.by_dead_band,
            by_wind_up: self.by_wind_up + sign * other.by_wind_up,
        }
    }
}

impl Curve {
    /// How far the table has moved after a commanded travel since a reversal, both in mm.
    ///
    /// ```
    /// use takeup_core::measure::small_steps::Curve;
    /// let curve = Curve { dead_band_mm: 0.08, wind_up_mm: 0.03 };
    /// assert_eq!(curve.moved_mm(0.05), 0.0);
    /// assert!((curve.moved_mm(1.0) - (1.0 - 0.11)).abs() < 1e-12);
    /// ```
    #[must_use]
    pub fn moved_mm(&self, travel_mm: f64) -> f64 {
        self.moved(travel_mm).table
    }

    pub(super) fn moved(&self, travel: f64) -> Moved {
        let beyond = travel - self.dead_band_mm;
        if travel <= 0.0 || beyond <= 0.0 {
            return Moved::default();
        }
        let (left, ratio) = if self.wind_up_mm > 0.0 {
            let ratio = beyond / self.wind_up_mm;
            // Farther on nothing is left that a double holds beside 1.
            (if ratio < 40.0 { libm::exp(-ratio) } else { 0.0 }, ratio)
        } else {
            (0.0, 0.0)
        };
        let wound = 1.0 - left;
        Moved {
            table: beyond - self.wind_up_mm * wound,
            by_dead_band: -wound,
            by_wind_up: ratio * left - wound,
        }
    }
}

/// Reversals remembered; staircases close their loops, so few are open at once.
const MOST_TURNS: usize = 16;

/// The table's path under a curve, from a start at which the axis is seated `-`.
#[derive(Clone, Debug)]
pub(super) struct Path {
    curve: Curve,
    turns: Vec<(f64, Moved), MOST_TURNS>,
    command: f64,
    now: Moved,
}

impl Path {
    /// At the start, which is the command from which everything counts.
    pub fn new(curve: Curve) -> Self {
        Self { curve, turns: Vec::new(), command: 0.0, now: Moved::default() }
    }

    /// Goes straight to a command and answers where the table is, from its place at the start.
    pub fn follow(&mut self, command: f64) -> Moved {
        let way = command - self.command;
        if way == 0.0 {
            return self.now;
        }
        let direction = if way > 0.0 { Direction::Plus } else { Direction::Minus };
        let sign = direction.signum();
        // Seated -: with no turn open, or an even number of them, the axis is on its way -.
        let on_way_down = self.turns.len().is_multiple_of(2);
        if on_way_down == (direction == Direction::Plus) {
            if self.turns.is_full() {
                // The smallest loop matters least.
                self.turns.pop();
                self.turns.pop();
            }
            let _ = self.turns.push((self.command, self.now));
        }
        // Passing the place of an earlier reversal closes the loop inside it.
        while let Some(&(outer, there)) = self.turns.iter().rev().nth(1) {
            if (command - outer) * sign < 0.0 {
                break;
            }
            self.turns.pop();
            self.turns.pop();
            (self.command, self.now) = (outer, there);
        }
        self.now = match self.turns.last() {
            None => Moved { table: self.now.table + (command - self.command), ..self.now },
            Some(&(turn, there)) => there.plus(sign, self.curve.moved(libm::fabs(command - turn))),
        };
        self.command = command;
        self.now
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::slack::simulated::{Faults, Noise, SimulatedAxis};

    #[test]
    fn the_path_is_that_of_the_simulated_axis() {
        let mut noise = Noise::new(3);
        for (b, w) in [(0.05, 0.0), (0.0, 0.04), (0.05, 0.04), (0.0, 0.0)] {
            let faults = Faults { clearance_mm: b, wind_up_mm: w, ..Faults::default() };
            let mut axis = SimulatedAxis::new(faults, 0.0, Direction::Minus);
            let mut path = Path::new(Curve { dead_band_mm: b, wind_up_mm: w });
            for n in 0..400 {
                let command = noise.between(-0.2, 0.2);
                let one = axis.move_to_mm(command, 0.0, &mut Noise::new(0));
                let other = path.follow(command).table;
                assert!((one - other).abs() < 1e-9, "b {b} w {w} move {n}: {one} {other}");
            }
        }
    }

    #[test]
    fn the_derivatives_are_those_of_the_path() {
        let commands = [0.03, 0.1, 0.18, 0.12, 0.05, 0.09, 0.3, 0.0, -0.1, 0.2];
        let end = |b: f64, w: f64| {
            let mut path = Path::new(Curve { dead_band_mm: b, wind_up_mm: w });
            commands.map(|command| path.follow(command))
        };
        let (b, w, d) = (0.043, 0.021, 1e-6);
        let (by_b, by_w) = ((end(b + d, w), end(b - d, w)), (end(b, w + d), end(b, w - d)));
        for (n, here) in end(b, w).iter().enumerate() {
            let slope = |pair: &([Moved; 10], [Moved; 10])| (pair.0[n].table - pair.1[n].table) / (2.0 * d);
            assert!((here.by_dead_band - slope(&by_b)).abs() < 1e-6, "{n}");
            assert!((here.by_wind_up - slope(&by_w)).abs() < 1e-6, "{n}");
        }
    }
}

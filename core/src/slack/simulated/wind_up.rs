//! Wind-up with its memory of earlier reversals.
//!
//! After a reversal and a travel of s the table has moved s − w·(1 − exp(−s/w)). That is many plays in
//! parallel whose widths are spread exponentially about w, and so a partial reversal is remembered:
//! when the drive comes back to where it reversed, the table is where it was, and the loop is
//! forgotten (E. Madelung's rules, Annalen der Physik 17, 1905; recalled from memory).

use crate::axis::Direction;
use heapless::Vec;

/// Nested loops remembered; a deeper one replaces the innermost.
const LOOPS: usize = 32;

/// Beyond this many times the wind-up what is left of it is below the precision of a float.
const FULLY_WOUND: f64 = 40.0;

#[derive(Clone, Copy, Debug, PartialEq)]
struct Turn {
    drive: f64,
    table: f64,
}

/// An elastic drive, commanded step by step.
#[derive(Clone, Debug, PartialEq)]
pub struct WindUp {
    width: f64,
    settled: Direction,
    turns: Vec<Turn, LOOPS>,
    now: Turn,
}

impl WindUp {
    /// A drive of a wind-up in millimetres, at a place, fully wound by motion in a direction; the
    /// table agrees with the drive if that is the reference seat.
    #[must_use]
    pub fn new(width_mm: f64, reference: Direction, at_mm: f64, settled: Direction) -> Self {
        let lag = if settled == reference { 0.0 } else { width_mm };
        let table = at_mm - settled.signum() * lag;
        Self { width: width_mm, settled, turns: Vec::new(), now: Turn { drive: at_mm, table } }
    }

    /// Moves the drive straight to a place and answers where the table is (mm).
    pub fn follow_mm(&mut self, drive: f64) -> f64 {
        let way = drive - self.now.drive;
        if way == 0.0 {
            return self.now.table;
        }
        let direction = if way > 0.0 { Direction::Plus } else { Direction::Minus };
        if direction != self.branch() {
            // A full memory keeps the outer loops, which matter most.
            if self.turns.is_full() {
                self.turns.pop();
            }
            let _ = self.turns.push(self.now);
        }
        // Passing the place of an earlier reversal closes the loop inside it.
        while let Some(outer) = self.outer() {
            if (drive - outer.drive) * direction.signum() < 0.0 {
                break;
            }
            self.turns.pop();
            self.turns.pop();
            self.now = outer;
        }
        let table = match self.turns.last() {
            None => self.now.table + (drive - self.now.drive),
            Some(turn) => {
                let travel = libm::fabs(drive - turn.drive);
                turn.table + direction.signum() * self.moved(travel)
            }
        };
        self.now = Turn { drive, table };
        let far = self.turns.last().is_none_or(|t| libm::fabs(drive - t.drive) > FULLY_WOUND * self.width);
        if far && self.turns.len() == 1 {
            self.turns.clear();
            self.settled = direction;
        }
        table
    }

    /// How far the table moves within a travel of the drive after a reversal.
    fn moved(&self, travel: f64) -> f64 {
        if self.width <= 0.0 { travel } else { travel + self.width * libm::expm1(-travel / self.width) }
    }

    /// The direction of the branch the table is on.
    fn branch(&self) -> Direction {
        if self.turns.len().is_multiple_of(2) { self.settled } else { self.settled.reversed() }
    }

    /// The reversal before the last one.
    fn outer(&self) -> Option<Turn> {
        self.turns.iter().rev().nth(1).copied()
    }
}

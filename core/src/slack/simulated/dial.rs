//! A dial indicator that reads a simulated axis, and a person who may misread it.

use super::noise::Noise;
use crate::axis::Direction;

/// How an indicator reads. Lengths are millimetres on the dial.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Dial {
    /// The step to which readings are rounded; 0 reads without steps.
    pub resolution_mm: f64,
    /// Full width of the play in its own works.
    pub hysteresis_mm: f64,
    /// Degrees between stylus and axis.
    pub angle_deg: f64,
    /// The axis direction in which the reading grows.
    pub sense: Direction,
    /// Standard deviation of a reading before it is rounded.
    pub noise_mm: f64,
    /// What the dial shows with the axis at 0.
    pub zero_mm: f64,
    /// How often it is misread.
    pub misread: Misreading,
    /// The axis position that its works bear on; within half the hysteresis of the true one.
    pub works_mm: f64,
}

/// How often, and by how much, a person misreads.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Misreading {
    /// Never.
    Never,
    /// With a probability, by an amount between two bounds, in either direction.
    Amount {
        /// Probability of each reading.
        probability: f64,
        /// Smallest amount in millimetres.
        least_mm: f64,
        /// Largest amount in millimetres.
        most_mm: f64,
    },
    /// With a probability, the sign.
    Sign {
        /// Probability of each reading.
        probability: f64,
    },
    /// With a probability, one revolution of the dial.
    Revolution {
        /// Probability of each reading.
        probability: f64,
        /// One revolution in millimetres.
        turn_mm: f64,
    },
}

impl Default for Dial {
    fn default() -> Self {
        Self {
            resolution_mm: 0.0,
            hysteresis_mm: 0.0,
            angle_deg: 0.0,
            sense: Direction::Plus,
            noise_mm: 0.0,
            zero_mm: 0.0,
            misread: Misreading::Never,
            works_mm: 0.0,
        }
    }
}

impl Dial {
    /// What a person writes down with the axis at a place, having come there straight from the place
    /// of the call before, or from a place given to [`Dial::watch`].
    pub fn read_mm(&mut self, position_mm: f64, noise: &mut Noise) -> f64 {
        self.watch(position_mm);
        let cosine = libm::cos(self.angle_deg * core::f64::consts::PI / 180.0);
        let motion = self.sense.signum() * self.works_mm / cosine;
        let shown = round_to(self.zero_mm + motion + self.noise_mm * noise.normal(), self.resolution_mm);
        match self.misread {
            Misreading::Never => shown,
            Misreading::Amount { probability, least_mm, most_mm } => {
                if noise.chance(probability) {
                    let amount = noise.between(least_mm, most_mm);
                    let sign = if noise.chance(0.5) { 1.0 } else { -1.0 };
                    round_to(shown + sign * amount, self.resolution_mm)
                } else {
                    shown
                }
            }
            Misreading::Sign { probability } => {
                if noise.chance(probability) {
                    -shown
                } else {
                    shown
                }
            }
            Misreading::Revolution { probability, turn_mm } => {
                if noise.chance(probability) {
                    let sign = if noise.chance(0.5) { 1.0 } else { -1.0 };
                    shown + sign * turn_mm
                } else {
                    shown
                }
            }
        }
    }

    /// The axis passes a place where nobody reads.
    pub fn watch(&mut self, position_mm: f64) {
        let half = 0.5 * self.hysteresis_mm;
        self.works_mm = self.works_mm.max(position_mm - half).min(position_mm + half);
    }
}

fn round_to(value: f64, step: f64) -> f64 {
    if step > 0.0 { libm::round(value / step) * step } else { value }
}

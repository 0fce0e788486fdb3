//! Simulated tests of the indicator itself, the truth known.

use crate::scored::{Quantity, some_of};
use takeup_core::axis::Direction;
use takeup_core::measure::Setup;
use takeup_core::measure::indicator::{Reading, assess};
use takeup_core::slack::simulated::Noise;

/// A test of an indicator to be simulated.
#[derive(Clone, Copy, Debug)]
pub struct Dialling {
    /// Hysteresis in mm.
    pub hysteresis_mm: f64,
    /// Times from each side.
    pub cycles: usize,
    /// Standard deviation of a reading before rounding.
    pub noise_mm: f64,
    /// Step of the dial.
    pub resolution_mm: f64,
    /// So many of the readings are misread by 0.1 to 1 mm.
    pub misread: usize,
}

impl Dialling {
    /// Ten times from each side, a 0.001 mm dial that lags by 0.003 mm.
    pub const USUAL: Dialling =
        Dialling { hysteresis_mm: 0.003, cycles: 10, noise_mm: 0.001, resolution_mm: 0.001, misread: 0 };

    /// The readings under a seed.
    #[must_use]
    pub fn readings(&self, seed: u64) -> Vec<Reading> {
        let mut noise = Noise::new(seed);
        let zero = noise.between(-0.5, 0.5);
        let misread = some_of(2 * self.cycles, self.misread, &mut noise);
        (0..2 * self.cycles)
            .map(|index| {
                let approach = if index % 2 == 0 { Direction::Plus } else { Direction::Minus };
                let lag = 0.5 * self.hysteresis_mm * approach.signum();
                let mut value_mm = zero - lag + self.noise_mm * noise.normal();
                if misread.contains(&index) {
                    let sign = if noise.chance(0.5) { 1.0 } else { -1.0 };
                    value_mm += sign * noise.between(0.1, 1.0);
                }
                if self.resolution_mm > 0.0 {
                    value_mm = (value_mm / self.resolution_mm).round() * self.resolution_mm;
                }
                Reading { approach: Some(approach), value_mm }
            })
            .collect()
    }
}

/// How the estimator did on many tests.
#[derive(Clone, Copy, Debug, Default)]
pub struct Score {
    /// Standard deviation; its width is over that of the half width 1.96 s / sqrt(2 dof) of many readings.
    pub s: Quantity,
    /// Hysteresis.
    pub hysteresis: Quantity,
    /// Readings set aside per test.
    pub set_aside: f64,
}

/// Runs seeds of a test.
#[must_use]
pub fn score(dialling: &Dialling, seeds: u64) -> Score {
    let mut score = Score::default();
    let noise2 = dialling.noise_mm.powi(2);
    let s2 = noise2 + dialling.resolution_mm.powi(2) / 12.0;
    let n = dialling.cycles as f64 - 0.5 * dialling.misread as f64;
    let setup = Setup { resolution_mm: dialling.resolution_mm, ..Setup::default() };
    for seed in 0..seeds {
        // A refused seed counts as one that gave nothing.
        let result = assess(&dialling.readings(seed), &setup).ok();
        let s_half = 1.96 * (s2 / (4.0 * n - 4.0)).sqrt();
        score.s.take(result.as_ref().map(|result| result.s), dialling.noise_mm, s_half);
        let hysteresis = result.as_ref().and_then(|result| result.hysteresis);
        score.hysteresis.take(hysteresis, dialling.hysteresis_mm, 1.96 * (2.0 * s2 / n).sqrt());
        score.set_aside += result.map_or(0, |result| result.set_aside.len()) as f64 / seeds as f64;
    }
    score
}

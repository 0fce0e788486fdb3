//! Simulated push-pull tests, the truth known.

use crate::scored::{Quantity, some_of};
use takeup_core::measure::Setup;
use takeup_core::measure::push_pull::{Reading, assess};
use takeup_core::measure::regression::LeastSquares;
use takeup_core::slack::simulated::{Dial, Noise};

/// A push-pull test to be simulated.
#[derive(Clone, Copy, Debug)]
pub struct Pushing {
    /// Clearance in mm.
    pub clearance_mm: f64,
    /// Stiffness on either side.
    pub stiffness_n_per_mm: f64,
    /// The force that balances the weight, in newtons.
    pub balance_n: f64,
    /// The greatest force beyond the balance, each way, in newtons.
    pub reach_n: f64,
    /// Readings, alternately each way.
    pub readings: usize,
    /// Standard deviation of the error of a force, in newtons.
    pub force_noise_n: f64,
    /// Standard deviation of a reading before rounding.
    pub noise_mm: f64,
    /// Step of the dial.
    pub resolution_mm: f64,
    /// The most that the dial may lag, full width: it does by anything from nothing to this.
    pub lag_mm: f64,
    /// So many of the readings are misread by 0.1 to 1 mm.
    pub misread: usize,
}

impl Pushing {
    /// Twelve pulls by a luggage scale, up to 200 N each way, on an axis without weight.
    pub const USUAL: Pushing = Pushing {
        clearance_mm: 0.08,
        stiffness_n_per_mm: 4000.0,
        balance_n: 0.0,
        reach_n: 200.0,
        readings: 12,
        force_noise_n: 3.0,
        noise_mm: 0.002,
        resolution_mm: 0.01,
        lag_mm: 0.0,
        misread: 0,
    };

    /// The readings under a seed.
    #[must_use]
    pub fn readings(&self, seed: u64) -> Vec<Reading> {
        let mut noise = Noise::new(seed);
        let mut dial = Dial {
            zero_mm: noise.between(-0.5, 0.5),
            noise_mm: self.noise_mm,
            resolution_mm: self.resolution_mm,
            ..Dial::default()
        };
        if self.lag_mm > 0.0 {
            dial.hysteresis_mm = noise.between(0.0, self.lag_mm);
        }
        let misread = some_of(self.readings, self.misread, &mut noise);
        (0..self.readings)
            .map(|index| {
                let way = if index % 2 == 0 { 1.0 } else { -1.0 };
                let beyond = self.reach_n * noise.between(0.25, 1.0);
                let true_n = self.balance_n + way * beyond;
                let across = if way > 0.0 { self.clearance_mm } else { 0.0 };
                let mut value_mm = dial.read_mm(across + true_n / self.stiffness_n_per_mm, &mut noise);
                if misread.contains(&index) {
                    let sign = if noise.chance(0.5) { 1.0 } else { -1.0 };
                    value_mm += sign * noise.between(0.1, 1.0);
                }
                if self.resolution_mm > 0.0 {
                    value_mm = (value_mm / self.resolution_mm).round() * self.resolution_mm;
                }
                let force_n = (true_n + self.force_noise_n * noise.normal()).round();
                Reading { force_n, value_mm }
            })
            .collect()
    }

    /// What the estimator is told.
    #[must_use]
    pub fn setup(&self) -> Setup {
        Setup { resolution_mm: self.resolution_mm, hysteresis_mm: self.lag_mm, ..Setup::default() }
    }

    /// Half widths for clearance and stiffness of an estimator that knows the noise (that of rounding, of the forces and
    /// of the dial's lag too) and the side of each reading.
    fn informed(&self, readings: &[Reading]) -> [f64; 2] {
        let mut squares = LeastSquares::<3>::new();
        for (index, reading) in readings.iter().enumerate() {
            squares.add([1.0, reading.force_n, f64::from(u8::from(index % 2 == 0))], 0.0);
        }
        let fit = squares.solve().expect("distinct forces");
        let k = self.stiffness_n_per_mm;
        let s2 = self.noise_mm.powi(2) + self.resolution_mm.powi(2) / 12.0 + (self.force_noise_n / k).powi(2);
        let s2 = s2 / (1.0 - self.misread as f64 / self.readings as f64);
        let lag2 = self.lag_mm.powi(2) / 12.0;
        [1.96 * (s2 * fit.cofactor(2, 2) + lag2).sqrt(), 1.96 * (s2 * fit.cofactor(1, 1)).sqrt() * k * k]
    }
}

/// How the estimator did on many tests.
#[derive(Clone, Copy, Debug, Default)]
pub struct Score {
    /// Clearance.
    pub clearance: Quantity,
    /// Stiffness.
    pub stiffness: Quantity,
    /// Readings set aside per test.
    pub set_aside: f64,
}

/// Runs seeds of a test.
#[must_use]
pub fn score(pushing: &Pushing, seeds: u64) -> Score {
    let mut score = Score::default();
    for seed in 0..seeds {
        let readings = pushing.readings(seed);
        let [clearance, stiffness] = pushing.informed(&readings);
        // A few pushes all one way may be refused: then nothing is given.
        let result = assess(&readings, &pushing.setup()).ok();
        let of = result.as_ref();
        score.clearance.take(of.map(|r| r.clearance), pushing.clearance_mm, clearance);
        score.stiffness.take(of.and_then(|r| r.stiffness), pushing.stiffness_n_per_mm, stiffness);
        score.set_aside += of.map_or(0.0, |r| r.set_aside.len() as f64) / seeds as f64;
    }
    score
}

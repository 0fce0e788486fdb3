//! Simulated warm-up tests, the truth known.

use crate::scored::{Quantity, some_of};
use takeup_core::measure::Setup;
use takeup_core::measure::regression::LeastSquares;
use takeup_core::measure::warm_up::{Assessment, Course, Reading, assess};
use takeup_core::slack::simulated::Noise;

/// A warm-up to be simulated.
#[derive(Clone, Copy, Debug)]
pub struct Warming {
    /// Growth to the end of time, in mm.
    pub amplitude_mm: f64,
    /// Its time constant.
    pub time_constant_s: f64,
    /// The time watched.
    pub span_s: f64,
    /// Readings, evenly spaced.
    pub readings: usize,
    /// Standard deviation of a reading before rounding.
    pub noise_mm: f64,
    /// Step of the dial.
    pub resolution_mm: f64,
    /// So many of the readings are misread by 0.1 to 1 mm.
    pub misread: usize,
}

impl Warming {
    /// An hour and a half, a reading every five minutes, 0.04 mm of growth with a time constant of half an hour.
    pub const USUAL: Warming = Warming {
        amplitude_mm: 0.04,
        time_constant_s: 1800.0,
        span_s: 5400.0,
        readings: 19,
        noise_mm: 0.001,
        resolution_mm: 0.001,
        misread: 0,
    };

    fn times(&self) -> impl Iterator<Item = f64> + use<> {
        let (span, last) = (self.span_s, self.readings as f64 - 1.0);
        (0..self.readings).map(move |i| span * i as f64 / last)
    }

    /// The readings under a seed.
    #[must_use]
    pub fn readings(&self, seed: u64) -> Vec<Reading> {
        let mut noise = Noise::new(seed);
        let zero = noise.between(-0.5, 0.5);
        let misread = some_of(self.readings, self.misread, &mut noise);
        self.times()
            .enumerate()
            .map(|(index, time_s)| {
                let grown = -self.amplitude_mm * (-time_s / self.time_constant_s).exp_m1();
                let mut value_mm = zero + grown + self.noise_mm * noise.normal();
                if misread.contains(&index) {
                    let sign = if noise.chance(0.5) { 1.0 } else { -1.0 };
                    value_mm += sign * noise.between(0.1, 1.0);
                }
                if self.resolution_mm > 0.0 {
                    value_mm = (value_mm / self.resolution_mm).round() * self.resolution_mm;
                }
                Reading { time_s, value_mm }
            })
            .collect()
    }

    /// What the estimator is told.
    #[must_use]
    pub fn setup(&self) -> Setup {
        Setup { resolution_mm: self.resolution_mm, ..Setup::default() }
    }

    /// The result under a seed.
    ///
    /// # Panics
    /// If the readings are refused.
    #[must_use]
    pub fn assess(&self, seed: u64) -> Assessment {
        match assess(&self.readings(seed), &self.setup()) {
            Ok(result) => result,
            Err(refused) => panic!("seed {seed} of {self:?}: {refused}"),
        }
    }

    /// The growth still to come after the last reading.
    #[must_use]
    pub fn left_mm(&self) -> f64 {
        self.amplitude_mm * (-self.span_s / self.time_constant_s).exp()
    }

    /// Half widths for amplitude, time constant and left, of an estimator that knows the noise (that of rounding
    /// too): the model made linear at the truth.
    fn informed(&self) -> [f64; 3] {
        let (a, tau) = (self.amplitude_mm, self.time_constant_s);
        let mut squares = LeastSquares::<3>::new();
        for t in self.times() {
            let e = (-t / tau).exp();
            squares.add([1.0, 1.0 - e, -a * e * t / (tau * tau)], 0.0);
        }
        let fit = squares.solve().expect("distinct times");
        let good = 1.0 - self.misread as f64 / self.readings as f64;
        let s2 = (self.noise_mm.powi(2) + self.resolution_mm.powi(2) / 12.0) / good;
        let c = |i, j| fit.cofactor(i, j) * s2;
        let e = (-self.span_s / tau).exp();
        let d = a * e * self.span_s / (tau * tau);
        let left = e * e * c(1, 1) + 2.0 * e * d * c(1, 2) + d * d * c(2, 2);
        [c(1, 1), c(2, 2), left].map(|variance| 1.96 * variance.sqrt())
    }
}

/// How the estimator did on many warm-ups.
#[derive(Clone, Copy, Debug, Default)]
pub struct Score {
    /// Growth to the end of time.
    pub amplitude: Quantity,
    /// The time constant.
    pub time_constant: Quantity,
    /// Growth left.
    pub left: Quantity,
    /// Share of seeds in which the curve was said to bend.
    pub bends: f64,
    /// Readings set aside per test.
    pub set_aside: f64,
}

/// Runs seeds of a warm-up.
#[must_use]
pub fn score(warming: &Warming, seeds: u64) -> Score {
    let mut score = Score::default();
    let [amplitude, tau, left] = warming.informed();
    for seed in 0..seeds {
        let result = warming.assess(seed);
        score.amplitude.take(result.amplitude, warming.amplitude_mm, amplitude);
        score.time_constant.take(result.time_constant_s, warming.time_constant_s, tau);
        score.left.take(result.left, warming.left_mm(), left);
        score.bends += f64::from(u8::from(result.course == Course::Bends)) / seeds as f64;
        score.set_aside += result.set_aside.len() as f64 / seeds as f64;
    }
    score
}

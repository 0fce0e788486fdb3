//! Simulated sittings of a reversal test, the truth known, and how an estimator does on many of them.

use takeup_core::axis::Direction;
use takeup_core::length::Length;
use takeup_core::measure::Setup;
use takeup_core::measure::reversal::{Assessment, Reading, assess};
use takeup_core::slack::simulated::Noise;

/// How the place or the dial wanders from one reading to the next, in mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Wander {
    /// Not at all.
    None,
    /// Steadily.
    Steady(f64),
    /// As a machine warms up: the whole growth, half of it over the first third of the readings.
    WarmUp(f64),
    /// A random walk with this step.
    Walk(f64),
}

/// The order of approaches within a cycle.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Order {
    /// `+` then `-`.
    InTurn,
    /// Whichever comes.
    Random,
}

/// A sitting to be simulated.
#[derive(Clone, Copy, Debug)]
pub struct Sitting {
    /// Lost motion at the first station, in mm.
    pub lost_mm: f64,
    /// How much more at each further station.
    pub more_per_station_mm: f64,
    /// Stations, visited one after another.
    pub stations: usize,
    /// Cycles at each.
    pub cycles: u16,
    /// Standard deviation of a reading before rounding.
    pub noise_mm: f64,
    /// Step of the dial.
    pub resolution_mm: f64,
    /// Wandering.
    pub wander: Wander,
    /// Probability that a reading is misread by 0.1 to 1 mm.
    pub misread: f64,
    /// Order of approaches.
    pub order: Order,
}

impl Sitting {
    /// Two stations, five cycles, 0.118 mm lost, a 0.001 mm dial that repeats to 0.002 mm.
    pub const USUAL: Sitting = Sitting {
        lost_mm: 0.118,
        more_per_station_mm: 0.0,
        stations: 2,
        cycles: 5,
        noise_mm: 0.002,
        resolution_mm: 0.001,
        wander: Wander::None,
        misread: 0.0,
        order: Order::InTurn,
    };

    /// The readings under a seed.
    #[must_use]
    pub fn readings(&self, seed: u64) -> Vec<Reading> {
        let mut noise = Noise::new(seed);
        let mut readings = Vec::new();
        let total = self.stations as f64 * f64::from(self.cycles) * 2.0;
        let mut walked = 0.0;
        for station in 0..self.stations {
            let zero = noise.between(-0.5, 0.5);
            let lost = self.lost_mm + self.more_per_station_mm * station as f64;
            for cycle in 1..=self.cycles {
                let mut approaches = [Direction::Plus, Direction::Minus];
                if self.order == Order::Random && noise.chance(0.5) {
                    approaches.reverse();
                }
                for approach in approaches {
                    let done = readings.len() as f64;
                    let off = match self.wander {
                        Wander::None => 0.0,
                        Wander::Steady(step) => step * done,
                        Wander::WarmUp(growth) => growth * (1.0 - (-done / total * 2.08).exp()),
                        Wander::Walk(step) => {
                            walked += step * noise.normal();
                            walked
                        }
                    };
                    let lag = if approach == Direction::Plus { lost } else { 0.0 };
                    let true_mm = zero - lag + off + self.noise_mm * noise.normal();
                    let mut value_mm = true_mm;
                    if noise.chance(self.misread) {
                        let sign = if noise.chance(0.5) { 1.0 } else { -1.0 };
                        value_mm += sign * noise.between(0.1, 1.0);
                    }
                    if self.resolution_mm > 0.0 {
                        value_mm = (value_mm / self.resolution_mm).round() * self.resolution_mm;
                    }
                    let target = Length::from_mm(-20.0 * station as f64).unwrap_or(Length::ZERO);
                    readings.push(Reading { target, cycle, approach, value_mm, time_s: None });
                }
            }
        }
        readings
    }

    /// The mean lost motion over the stations.
    #[must_use]
    pub fn truth_mm(&self) -> f64 {
        self.lost_mm + self.more_per_station_mm * (self.stations as f64 - 1.0) / 2.0
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
    pub fn assess(&self, seed: u64) -> Assessment<10> {
        match assess::<10>(&self.readings(seed)[..], &self.setup()) {
            Ok(result) => result,
            Err(refused) => panic!("seed {seed} of {self:?}: {refused}"),
        }
    }
}

/// The reference: mean of the differences, as a spreadsheet takes it.
#[must_use]
pub fn mean_of_differences_mm(readings: &[Reading]) -> f64 {
    let mut targets: Vec<Length> = readings.iter().map(|r| r.target).collect();
    targets.dedup();
    let of = |target, approach| {
        let at = readings.iter().filter(|r| r.target == target && r.approach == approach);
        let (n, sum) = at.fold((0.0, 0.0), |(n, sum), r| (n + 1.0, sum + r.value_mm));
        sum / n
    };
    let lost: f64 = targets.iter().map(|&t| of(t, Direction::Minus) - of(t, Direction::Plus)).sum();
    lost / targets.len() as f64
}

/// How an estimator did on many sittings.
#[derive(Clone, Copy, Debug, Default)]
pub struct Score {
    /// Mean error in mm.
    pub bias_mm: f64,
    /// Root mean square error in mm.
    pub rms_mm: f64,
    /// Root mean square error of the mean of differences in mm.
    pub reference_rms_mm: f64,
    /// Share of 95 % intervals of the mean lost motion that hold the truth.
    pub coverage: f64,
    /// The same for single stations.
    pub station_coverage: f64,
    /// Mean half width of the intervals of the mean lost motion in mm.
    pub half_width_mm: f64,
    /// Readings set aside per sitting.
    pub set_aside: f64,
}

/// Runs seeds of a sitting.
#[must_use]
pub fn score(sitting: &Sitting, seeds: u64) -> Score {
    let truth = sitting.truth_mm();
    let mut score = Score::default();
    for seed in 0..seeds {
        let readings = sitting.readings(seed);
        let result = sitting.assess(seed);
        let error = result.lost_motion.value - truth;
        let reference = mean_of_differences_mm(&readings) - truth;
        score.bias_mm += error;
        score.rms_mm += error * error;
        score.reference_rms_mm += reference * reference;
        let half = result.lost_motion.expanded_95();
        score.half_width_mm += half;
        score.coverage += f64::from(u8::from(error.abs() <= half));
        score.set_aside += result.set_aside.len() as f64;
        for (i, station) in result.stations.iter().enumerate() {
            let true_mm = sitting.lost_mm + sitting.more_per_station_mm * i as f64;
            let held = (station.lost_motion.value - true_mm).abs() <= station.lost_motion.expanded_95();
            score.station_coverage += f64::from(u8::from(held)) / result.stations.len() as f64;
        }
    }
    let n = seeds as f64;
    Score {
        bias_mm: score.bias_mm / n,
        rms_mm: (score.rms_mm / n).sqrt(),
        reference_rms_mm: (score.reference_rms_mm / n).sqrt(),
        coverage: score.coverage / n,
        station_coverage: score.station_coverage / n,
        half_width_mm: score.half_width_mm / n,
        set_aside: score.set_aside / n,
    }
}

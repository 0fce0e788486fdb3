//! Simulated sittings of a reversal test, the truth known, and how an estimator does on many of them.

use takeup_core::axis::Direction;
use takeup_core::length::Length;
use takeup_core::measure::Setup;
use takeup_core::measure::regression::LeastSquares;
use takeup_core::measure::reversal::{Assessment, Reading, assess};
use takeup_core::slack::simulated::Noise;

/// How the place or the dial wanders from one reading to the next, in mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Wander {
    /// Not at all.
    None,
    /// Steadily, by this much give or take half: no drift keeps to a part of the dial's step.
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

/// When the stations are visited.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Visits {
    /// One after another, all cycles at each.
    Once,
    /// All of them in every cycle.
    EveryCycle,
    /// The same, the dial set to another zero at every visit.
    Rezeroed,
}

/// A reading with what is not known of it.
#[derive(Clone, Copy, Debug)]
pub struct Taken {
    /// The reading.
    pub reading: Reading,
    /// How far the place or the dial had wandered.
    pub wander_mm: f64,
    /// Whether it was misread.
    pub misread: bool,
    /// How often the dial was set before it.
    pub settings: usize,
    /// Its place in time.
    pub time: f64,
}

/// A sitting to be simulated.
#[derive(Clone, Copy, Debug)]
pub struct Sitting {
    /// Lost motion at the first station, in mm, give or take one step of the dial: where in a step it ends
    /// decides how the readings round, and one place would not stand for all.
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
    /// The most that are misread, as a share of the rows: few rows may have more than a tenth by chance.
    pub most_misread: f64,
    /// Order of approaches.
    pub order: Order,
    /// When the stations are visited.
    pub visits: Visits,
    /// Probability that a reading after the second cycle is missing.
    pub missing: f64,
    /// What the indicator itself may add to a reversal, full width; it adds some part of that.
    pub hysteresis_mm: f64,
    /// Angle of the stylus, known to 2 degrees.
    pub angle_deg: f64,
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
        most_misread: 1.0,
        order: Order::InTurn,
        visits: Visits::Once,
        missing: 0.0,
        hysteresis_mm: 0.0,
        angle_deg: 0.0,
    };

    /// The readings under a seed.
    #[must_use]
    pub fn readings(&self, seed: u64) -> Vec<Reading> {
        self.taken(seed).into_iter().map(|t| t.reading).collect()
    }

    /// The readings under a seed, with what is not known of them.
    #[must_use]
    pub fn taken(&self, seed: u64) -> Vec<Taken> {
        let mut noise = Noise::new(seed);
        let mut taken = Vec::new();
        let total = self.stations as f64 * f64::from(self.cycles) * 2.0;
        let zeros: Vec<f64> = (0..self.stations).map(|_| noise.between(-0.5, 0.5)).collect();
        let mut visits: Vec<(usize, u16)> =
            (0..self.stations).flat_map(|s| (1..=self.cycles).map(move |c| (s, c))).collect();
        if self.visits != Visits::Once {
            visits.sort_by_key(|v| v.1);
        }
        // Drawn only where they matter, so that seeds stay what they were without.
        let draw = |low, high, wanted: f64, noise: &mut Noise| {
            if wanted > 0.0 { noise.between(low, high) } else { 0.0 }
        };
        let hysteresis = draw(0.0, self.hysteresis_mm, self.hysteresis_mm, &mut noise);
        let angle = self.angle_deg + draw(-2.0, 2.0, self.angle_deg, &mut noise);
        let cosine = angle.to_radians().cos();
        let (_, share) = self.of_seed(seed);
        let mut walked = 0.0;
        let mut done = 0.0;
        let mut settings = 0;
        let mut may_be_misread = (self.most_misread * total + 1e-9) as usize;
        for (station, cycle) in visits {
            let mut zero = zeros[station];
            if self.visits == Visits::Rezeroed {
                zero = noise.between(-0.5, 0.5);
                settings += 1;
            }
            let lost = self.lost_at_mm(station, seed);
            let mut approaches = [Direction::Plus, Direction::Minus];
            if self.order == Order::Random && noise.chance(0.5) {
                approaches.reverse();
            }
            for approach in approaches {
                let wander_mm = match self.wander {
                    Wander::None => 0.0,
                    Wander::Steady(step) => step * share * done,
                    Wander::WarmUp(growth) => growth * (1.0 - (-done / total * 2.08).exp()),
                    Wander::Walk(step) => {
                        walked += step * noise.normal();
                        walked
                    }
                };
                let lag = if approach == Direction::Plus { lost + hysteresis } else { 0.0 };
                let mut value_mm = (zero - lag + wander_mm) / cosine + self.noise_mm * noise.normal();
                let misread = noise.chance(self.misread) && may_be_misread > 0;
                if misread {
                    let sign = if noise.chance(0.5) { 1.0 } else { -1.0 };
                    value_mm += sign * noise.between(0.1, 1.0);
                    may_be_misread -= 1;
                }
                if self.resolution_mm > 0.0 {
                    value_mm = (value_mm / self.resolution_mm).round() * self.resolution_mm;
                }
                done += 1.0;
                if cycle > 2 && self.missing > 0.0 && noise.chance(self.missing) {
                    continue;
                }
                let target = Length::from_mm(-20.0 * station as f64).unwrap_or(Length::ZERO);
                let reading = Reading { target, cycle, approach, value_mm, time_s: None };
                taken.push(Taken { reading, wander_mm, misread, settings, time: done });
            }
        }
        taken
    }

    /// The estimate of somebody told the truth: the drift, the size of the walk and of the noise, and which
    /// readings are misread.
    #[must_use]
    pub fn told_mm(&self, taken: &[Taken]) -> Option<f64> {
        let noise2 = self.noise_mm.powi(2) + self.resolution_mm.powi(2) / 12.0;
        let (walk2, known) = match self.wander {
            Wander::Walk(step) => (step * step / noise2, false),
            _ => (0.0, true),
        };
        let mut sum = 0.0;
        for station in 0..self.stations {
            let target = Length::from_mm(-20.0 * station as f64)?;
            let mut squares = LeastSquares::<2>::new();
            let (mut variance, mut before, mut setting, mut state) = (0.0, None, None, [0.0; 3]);
            for t in taken.iter().filter(|t| t.reading.target == target && !t.misread) {
                variance += walk2 * (t.time - before.unwrap_or(t.time));
                if setting.is_some_and(|s| s != t.settings) {
                    variance += 1e8;
                }
                (before, setting) = (Some(t.time), Some(t.settings));
                let gain = variance / (variance + 1.0);
                let y = t.reading.value_mm - if known { t.wander_mm } else { 0.0 };
                let mut row = [1.0, 0.5 * t.reading.approach.signum(), y];
                for (value, mean) in row.iter_mut().zip(&mut state) {
                    let innovation = *value - *mean;
                    *mean += gain * innovation;
                    *value = innovation / (variance + 1.0).sqrt();
                }
                variance = gain;
                squares.add([row[0], row[1]], row[2]);
            }
            sum -= squares.solve().ok()?.coefficient(1);
        }
        Some(sum / self.stations as f64 * self.angle_deg.to_radians().cos() - 0.5 * self.hysteresis_mm)
    }

    /// How far the lost motion of a seed is from the usual one, and the share of the usual drift. Drawn apart
    /// from the readings.
    fn of_seed(&self, seed: u64) -> (f64, f64) {
        let mut noise = Noise::new(!seed);
        (noise.between(-self.resolution_mm, self.resolution_mm), noise.between(0.5, 1.5))
    }

    /// Lost motion at a station under a seed.
    #[must_use]
    pub fn lost_at_mm(&self, station: usize, seed: u64) -> f64 {
        self.lost_mm + self.of_seed(seed).0 + self.more_per_station_mm * station as f64
    }

    /// The mean lost motion over the stations under a seed.
    #[must_use]
    pub fn truth_mm(&self, seed: u64) -> f64 {
        (self.lost_at_mm(0, seed) + self.lost_at_mm(self.stations.saturating_sub(1), seed)) / 2.0
    }

    /// What the estimator is told.
    #[must_use]
    pub fn setup(&self) -> Setup {
        Setup {
            resolution_mm: self.resolution_mm,
            hysteresis_mm: self.hysteresis_mm,
            angle_deg: self.angle_deg,
            ..Setup::default()
        }
    }

    /// The result under a seed.
    ///
    /// # Panics
    /// If the readings are refused.
    #[must_use]
    pub fn assess(&self, seed: u64) -> Assessment<10> {
        self.assess_readings(&self.readings(seed), seed)
    }

    fn assess_readings(&self, readings: &[Reading], seed: u64) -> Assessment<10> {
        match assess::<10>(readings, &self.setup()) {
            Ok(result) => result,
            Err(refused) => panic!("seed {seed} of {self:?}: {refused}"),
        }
    }
}

/// The reference: mean of the differences, as a spreadsheet takes it.
#[must_use]
pub fn mean_of_differences_mm(readings: &[Reading]) -> f64 {
    let mut targets: Vec<Length> = readings.iter().map(|r| r.target).collect();
    targets.sort();
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
    /// The half width that would hold the truth in 95 % of the sittings around the estimates of somebody told
    /// the truth about noise, drift and misreads, in mm.
    pub told_half_width_mm: f64,
    /// Share of the 95 % intervals of the slope along the travel that hold the truth; 1 with one station.
    pub slope_coverage: f64,
    /// Readings set aside per sitting.
    pub set_aside: f64,
}

/// Runs seeds of a sitting.
#[must_use]
pub fn score(sitting: &Sitting, seeds: u64) -> Score {
    let mut score = Score { slope_coverage: 0.0, ..Score::default() };
    let mut told = Vec::new();
    let share = |held: bool| f64::from(u8::from(held)) / seeds as f64;
    for seed in 0..seeds {
        let truth = sitting.truth_mm(seed);
        let taken = sitting.taken(seed);
        let readings: Vec<Reading> = taken.iter().map(|t| t.reading).collect();
        let result = sitting.assess_readings(&readings, seed);
        let error = result.lost_motion.value - truth;
        let reference = mean_of_differences_mm(&readings) - truth;
        score.bias_mm += error / seeds as f64;
        score.rms_mm += error * error / seeds as f64;
        score.reference_rms_mm += reference * reference / seeds as f64;
        let half = result.lost_motion.expanded_95();
        score.half_width_mm += half / seeds as f64;
        score.coverage += share(error.abs() <= half);
        score.set_aside += result.set_aside.len() as f64 / seeds as f64;
        for station in &result.stations {
            let place = (-station.target.as_mm() / 20.0).round() as usize;
            let true_mm = sitting.lost_at_mm(place, seed);
            let held = (station.lost_motion.value - true_mm).abs() <= station.lost_motion.expanded_95();
            score.station_coverage += share(held) / result.stations.len() as f64;
        }
        let slope = sitting.more_per_station_mm / -20.0;
        score.slope_coverage +=
            share(result.along_travel.is_none_or(|along| {
                (along.per_length.value - slope).abs() <= along.per_length.expanded_95()
            }));
        told.extend(sitting.told_mm(&taken).map(|told| (told - truth).abs()));
    }
    told.sort_by(f64::total_cmp);
    Score {
        rms_mm: score.rms_mm.sqrt(),
        reference_rms_mm: score.reference_rms_mm.sqrt(),
        told_half_width_mm: told.get(told.len() * 95 / 100).copied().unwrap_or(f64::NAN),
        ..score
    }
}

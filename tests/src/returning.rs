//! Simulated return tests, the truth known, and how the estimator does on many of them.

use crate::tally::Tally;
use takeup_core::axis::Direction;
use takeup_core::length::Length;
use takeup_core::measure::Setup;
use takeup_core::measure::regression::LeastSquares;
use takeup_core::measure::returns::{Assessment, Reading, Trend, assess};
use takeup_core::measure::routine::{LiftPlan, Pauses, Step};
use takeup_core::slack::simulated::{Dial, Faults, Misreading, Noise, SimulatedAxis};

/// A sitting to be simulated: a person with a stopwatch beside a machine that runs the program.
#[derive(Clone, Copy, Debug)]
pub struct Returning {
    /// Lifts and returns.
    pub returns: u16,
    /// Pauses.
    pub pauses: Pauses,
    /// Slip per lift, in mm; the position falls by it.
    pub slip_mm: f64,
    /// Standard deviation of the slip from lift to lift.
    pub slip_scatter_mm: f64,
    /// Drift in mm per hour.
    pub drift_mm_per_h: f64,
    /// Standard deviation of one return.
    pub noise_mm: f64,
    /// Step of the dial.
    pub resolution_mm: f64,
    /// Probability that a reading is misread by 0.1 to 1 mm.
    pub misread: f64,
}

/// From one return to the next, seconds.
const RETURN_S: f64 = 20.0;

impl Returning {
    /// Twenty returns, a pause of five minutes after every five, 0.01 mm slip, a 0.001 mm dial.
    pub const USUAL: Returning = Returning {
        returns: 20,
        pauses: Pauses::Every { returns: 5, seconds: 300 },
        slip_mm: 0.01,
        slip_scatter_mm: 0.0,
        drift_mm_per_h: 0.0,
        noise_mm: 0.003,
        resolution_mm: 0.001,
        misread: 0.0,
    };

    /// The readings under a seed.
    ///
    /// # Panics
    /// If the plan cannot be carried out.
    #[must_use]
    pub fn readings(&self, seed: u64) -> Vec<Reading> {
        let mut noise = Noise::new(seed);
        let faults = Faults {
            slip_mm: self.slip_mm,
            slip_scatter_mm: self.slip_scatter_mm,
            drift_mm_per_s: self.drift_mm_per_h / 3600.0,
            ..Faults::default()
        };
        let misread = match self.misread {
            0.0 => Misreading::Never,
            probability => Misreading::Amount { probability, least_mm: 0.1, most_mm: 1.0 },
        };
        let mut dial = Dial {
            resolution_mm: self.resolution_mm,
            noise_mm: self.noise_mm,
            zero_mm: noise.between(-0.5, 0.5),
            misread,
            ..Dial::default()
        };
        let mm = |mm| Length::from_mm(mm).expect("a length");
        let plan = LiftPlan::new(mm(0.0), mm(5.0), self.returns, self.pauses).expect("a plan");
        let mut axis = SimulatedAxis::new(faults, 0.0, Direction::Minus);
        let mut time = 0.0;
        let mut readings = Vec::new();
        for step in plan.steps() {
            match step {
                Step::Move { to, .. } => {
                    let row = readings.len() as u32 + 1;
                    if to > Length::ZERO {
                        time += plan.pause_before(row).map_or(0.0, f64::from);
                    }
                    time += 0.5 * RETURN_S * noise.between(0.9, 1.1);
                    axis.move_to_mm(to.as_mm(), time, &mut noise);
                }
                Step::Read(stop) => {
                    let value_mm = dial.read_mm(axis.position_mm(), &mut noise);
                    readings.push(Reading { lift: stop.cycle, value_mm, time_s: Some(time.round()) });
                }
            }
        }
        readings
    }

    /// The result under a seed.
    ///
    /// # Panics
    /// If the readings are refused.
    #[must_use]
    pub fn assess(&self, seed: u64) -> Assessment {
        let setup = Setup { resolution_mm: self.resolution_mm, ..Setup::default() };
        match assess(&self.readings(seed), &setup) {
            Ok(result) => result,
            Err(refused) => panic!("seed {seed} of {self:?}: {refused}"),
        }
    }
}

impl Returning {
    /// The standard deviation of one return about its trend: noise, and the walk that uneven slip makes. What the trend
    /// leaves of a walk is the mean over many.
    fn scatter_mm(&self) -> f64 {
        if self.slip_scatter_mm == 0.0 {
            return self.noise_mm;
        }
        let rows = self.readings(0);
        let mut noise = Noise::new(7);
        let (walks, mut squares, mut dof) = (4000, 0.0, 1.0);
        for _ in 0..walks {
            let (mut place, mut fit) = (0.0, LeastSquares::<3>::new());
            for row in &rows {
                place += self.slip_scatter_mm * noise.normal();
                fit.add([1.0, f64::from(row.lift), row.time_s.unwrap_or(0.0) / 3600.0], place);
            }
            if let Ok(fit) = fit.solve() {
                squares += fit.residual_sum / f64::from(walks);
                dof = fit.dof;
            }
        }
        (self.noise_mm.powi(2) + squares / dof).sqrt()
    }
}

/// How the estimator did on many sittings.
#[derive(Clone, Copy, Debug, Default)]
pub struct Score {
    /// Slip per lift in mm.
    pub per_cycle: Tally,
    /// Drift in mm per hour.
    pub per_hour: Tally,
    /// Scatter in mm.
    pub scatter: Tally,
    /// The half width of the interval of slip of an estimator that is told how readings scatter and wander
    /// (nothing else), of sittings without slip from lift to lift.
    pub told_mm: f64,
    /// Sittings in which slip and drift could not be told apart.
    pub together: u64,
}

/// Runs seeds of a sitting.
#[must_use]
pub fn score(sitting: &Returning, seeds: u64) -> Score {
    let mut score = Score::default();
    // Noise known: both trends by least squares.
    let noise = (sitting.noise_mm.powi(2) + sitting.resolution_mm.powi(2) / 12.0).sqrt();
    let mut squares = LeastSquares::<3>::new();
    for reading in sitting.readings(0) {
        squares.add([1.0, f64::from(reading.lift), reading.time_s.unwrap_or(0.0) / 3600.0], 0.0);
    }
    if let Ok(fit) = squares.solve() {
        score.told_mm = 1.96 * noise * fit.cofactor(1, 1).sqrt();
    }
    let scatter_mm = sitting.scatter_mm();
    for seed in 0..seeds {
        let result = sitting.assess(seed);
        match result.trend {
            Trend::Apart { per_cycle, per_hour } => {
                score.per_cycle.add(&per_cycle, -sitting.slip_mm);
                score.per_hour.add(&per_hour, sitting.drift_mm_per_h);
            }
            Trend::Together(_) => score.together += 1,
        }
        score.scatter.add(&result.scatter, scatter_mm);
    }
    score
}

//! Simulated tests of small steps, the truth known, and how the estimator does on many of them.

use crate::tally::Tally;
use takeup_core::axis::Direction;
use takeup_core::length::Length;
use takeup_core::measure::Setup;
use takeup_core::measure::regression::LeastSquares;
use takeup_core::measure::routine::{StaircasePlan, Step};
use takeup_core::measure::small_steps::{Assessment, Reading, assess};
use takeup_core::slack::simulated::{Dial, Faults, Misreading, Noise, SimulatedAxis};

/// A sitting to be simulated.
#[derive(Clone, Copy, Debug)]
pub struct Staircase {
    /// Clearance, in mm.
    pub clearance_mm: f64,
    /// Wind-up.
    pub wind_up_mm: f64,
    /// Ways hold until the drive pulls this far.
    pub sticking_mm: f64,
    /// What the control adds.
    pub compensation_mm: f64,
    /// Height of a step.
    pub step_mm: f64,
    /// Steps each way.
    pub steps: u16,
    /// Up and down.
    pub cycles: u16,
    /// Drift from one reading to the next, in mm.
    pub drift_mm: f64,
    /// Growth that settles within the test.
    pub growth_mm: f64,
    /// Standard deviation of a reading before rounding.
    pub noise_mm: f64,
    /// Step of the dial.
    pub resolution_mm: f64,
    /// Probability that a reading is misread by 0.1 to 1 mm.
    pub misread: f64,
}

impl Staircase {
    /// Thirty steps of 0.01 mm, three cycles, 0.08 mm of clearance and 0.03 mm of wind-up, a 0.001 mm dial.
    pub const USUAL: Staircase = Staircase {
        clearance_mm: 0.08,
        wind_up_mm: 0.03,
        sticking_mm: 0.0,
        compensation_mm: 0.0,
        step_mm: 0.01,
        steps: 30,
        cycles: 3,
        drift_mm: 0.0,
        growth_mm: 0.0,
        noise_mm: 0.002,
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
        let mm = |mm| Length::from_mm(mm).expect("a length");
        let start_mm = (noise.between(-0.05, 0.05) * 1e4).round() / 1e4;
        let plan = StaircasePlan::new(mm(start_mm), mm(self.step_mm), self.steps, self.cycles, mm(1.0));
        let plan = plan.expect("a plan");
        let rows = plan.stops().count() as f64;
        let faults = Faults {
            clearance_mm: self.clearance_mm,
            wind_up_mm: self.wind_up_mm,
            sticking_mm: self.sticking_mm,
            compensation_mm: self.compensation_mm,
            drift_mm_per_s: self.drift_mm,
            growth_mm: self.growth_mm,
            growth_time_s: 0.5 * rows,
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
        let mut axis = SimulatedAxis::new(faults, 5.0, Direction::Minus);
        let mut time = 0.0;
        let mut readings = Vec::new();
        for step in plan.steps() {
            match step {
                Step::Move { to, .. } => {
                    time += 1.0;
                    axis.move_to_mm(to.as_mm(), time, &mut noise);
                    dial.watch(axis.position_mm());
                }
                Step::Read(stop) => {
                    let value_mm = dial.read_mm(axis.position_mm(), &mut noise);
                    readings.push(Reading {
                        target: stop.target,
                        approach: stop.approach,
                        value_mm,
                        time_s: None,
                    });
                }
            }
        }
        readings
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
}

impl Staircase {
    /// Half widths for dead band, wind-up and lost motion of an estimator that knows the noise (that of rounding too): the
    /// model, with a drift that may bend, made linear at the truth.
    #[must_use]
    pub fn informed(&self) -> [f64; 3] {
        const STEP_MM: f64 = 1e-4;
        let still = Staircase { noise_mm: 0.0, resolution_mm: 0.0, misread: 0.0, ..*self };
        let base = still.readings(0);
        let gap = Staircase { clearance_mm: self.clearance_mm + STEP_MM, ..still }.readings(0);
        // A wind-up far below a step could not be told from a gap.
        let wound_mm = if self.wind_up_mm > 0.0 { STEP_MM } else { 0.3 * self.step_mm };
        let wound = Staircase { wind_up_mm: self.wind_up_mm + wound_mm, ..still }.readings(0);
        let rows = base.len() as f64;
        let mut squares = LeastSquares::<5>::new();
        for (row, ((base, gap), wound)) in base.iter().zip(&gap).zip(&wound).enumerate() {
            let time = row as f64 / rows;
            squares.add(
                [
                    1.0,
                    time,
                    time * time,
                    (gap.value_mm - base.value_mm) / STEP_MM,
                    (wound.value_mm - base.value_mm) / wound_mm,
                ],
                0.0,
            );
        }
        let fit = squares.solve().expect("readings on all parts of the curve");
        let s2 = (self.noise_mm.powi(2) + self.resolution_mm.powi(2) / 12.0) / (1.0 - self.misread);
        let both = fit.cofactor(3, 3) + 2.0 * fit.cofactor(3, 4) + fit.cofactor(4, 4);
        [fit.cofactor(3, 3), fit.cofactor(4, 4), both].map(|cofactor| 1.96 * (s2 * cofactor).sqrt())
    }
}

/// How the estimator did on many sittings.
#[derive(Clone, Copy, Debug, Default)]
pub struct Score {
    /// Dead band in mm.
    pub dead_band: Tally,
    /// Wind-up in mm.
    pub wind_up: Tally,
    /// Lost motion in mm.
    pub lost_motion: Tally,
    /// Sittings in which ways were said to stick.
    pub sticking: f64,
    /// Readings set aside per sitting.
    pub set_aside: f64,
}

/// Runs seeds of a sitting.
#[must_use]
pub fn score(sitting: &Staircase, seeds: u64) -> Score {
    let mut score = Score::default();
    let dead_band = sitting.clearance_mm - sitting.compensation_mm;
    for seed in 0..seeds {
        let result = sitting.assess(seed);
        score.dead_band.add(&result.dead_band, dead_band);
        score.wind_up.add(&result.wind_up, sitting.wind_up_mm);
        score.lost_motion.add(&result.lost_motion, dead_band + sitting.wind_up_mm);
        score.sticking += f64::from(u8::from(result.sticking.is_some())) / seeds as f64;
        score.set_aside += result.set_aside.len() as f64 / seeds as f64;
    }
    score
}

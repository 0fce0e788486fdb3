//! The push-pull test: the drive holding, a known force each way.
//!
//! The table gives elastically on either side of the clearance and steps across it:
//! reading = start + force / stiffness + clearance × (1 on the `+` side). It crosses not at no force but where the
//! force balances the weight that the axis carries, and friction can hold it on the side to which it was
//! pushed last. Both are unknown. So the readings are fitted, by linear least squares, under every pair of forces between
//! which the crossing may lie — up to the lower it stays below, from the upper it is across, between them it
//! stays where it was — and the answers are averaged with the likelihood of the readings under each (J. A.
//! Hoeting and others, "Bayesian model averaging: a tutorial", Statistical Science 14, 1999). An interval holds the
//! middle 95 % of that average; the value given is its middle.
//!
//! Forces are rough too: an error of the force moves the reading by error / stiffness, and so is seen in the scatter and
//! counted there. That it also flattens the slope, by the square of its ratio to the spread of the forces, is left
//! out: a tenth of the spread makes one per cent (W. A. Fuller, Measurement Error Models, 1987, chapter 1). An error of
//! the scale's calibration goes into the stiffness in full and cannot be seen here.
//!
//! Not for forces that make the drive give way: what holds must hold.

mod crossing;

use crate::measure::outlying;
use crate::measure::reversal::{MOST_SET_ASIDE, SetAside, Systematic};
use crate::measure::setup::OutOfRange;
use crate::measure::student::coverage_factor;
use crate::measure::uncertainty::{Contribution, Source, combine};
use crate::measure::{Estimate, Setup};
use core::fmt;
use crossing::Pushes;
use heapless::Vec;

/// One reading.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Reading {
    /// The force in newtons; positive pushes `+`.
    pub force_n: f64,
    /// What the dial showed, in millimetres, as read: neither sense nor angle applied.
    pub value_mm: f64,
}

/// The fewest readings that are assessed.
pub const FEWEST: usize = 5;

/// The most readings that are assessed.
pub const MOST: usize = 256;

/// The result of a push-pull test. Lengths are millimetres along the axis.
#[derive(Clone, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Assessment {
    /// The clearance crossed.
    pub clearance: Estimate,
    /// Whether it is shown: its interval leaves out zero.
    pub shown: bool,
    /// Newtons per millimetre of the drive on either side; `None` where the readings set it no upper bound.
    pub stiffness: Option<Estimate>,
    /// The stiffness is at least this (95 %).
    pub stiffness_at_least: f64,
    /// The forces between which the clearance was crossed, if it is shown, in newtons.
    pub crossed_n: Option<(f64, f64)>,
    /// The least and the greatest force used, in newtons.
    pub forces_n: (f64, f64),
    /// The standard deviation of one reading about the model, in millimetres.
    pub repeatability_mm: f64,
    /// Its degrees of freedom.
    pub repeatability_dof: f64,
    /// The parts of the standard uncertainty of the clearance.
    pub budget: Vec<Contribution, 6>,
    /// How many readings were used.
    pub used: u32,
    /// The readings set aside, by rising index.
    pub set_aside: Vec<SetAside, MOST_SET_ASIDE>,
}

/// Why a push-pull test cannot be assessed: what is missing.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum NotEnough {
    /// Fewer readings than are needed.
    TooFew {
        /// How many there are.
        found: usize,
        /// How many are needed.
        needed: usize,
    },
    /// More readings than can be used.
    TooMany {
        /// How many there are.
        found: usize,
        /// The most.
        room: usize,
    },
    /// A reading or its force is not a finite number.
    NotFinite {
        /// Its index, from 0.
        index: usize,
    },
    /// Fewer than three different forces, or fewer than two readings on each side of every gap between forces.
    TooFewForces,
    /// Every force pushes the same way, and no clearance was crossed.
    OneWay {
        /// The least force, in newtons.
        least_n: f64,
        /// The greatest force, in newtons.
        most_n: f64,
    },
    /// A value of the setup cannot be.
    Setup(OutOfRange),
}

impl fmt::Display for NotEnough {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            NotEnough::TooFew { found, needed } => {
                write!(f, "{found} readings; clearance and stiffness need {needed} or more")
            }
            NotEnough::TooMany { found, room } => write!(f, "{found} readings; at most {room} can be used"),
            NotEnough::NotFinite { index } => {
                write!(f, "reading {} is not a finite number", index.saturating_add(1))
            }
            NotEnough::TooFewForces => {
                f.write_str("three different forces or more are needed, and two readings or more each way")
            }
            NotEnough::OneWay { least_n, most_n } => write!(
                f,
                "all forces, from {least_n} to {most_n} N, push the same way, and no clearance was crossed"
            ),
            NotEnough::Setup(ref what) => what.fmt(f),
        }
    }
}

impl core::error::Error for NotEnough {}

impl From<OutOfRange> for NotEnough {
    fn from(what: OutOfRange) -> Self {
        NotEnough::Setup(what)
    }
}

/// An interval of the slope wider than this share of it says too little about its inverse.
const WIDEST: f64 = 0.7;

/// By how much the interval is wider where a slope is narrowly shown.
const WIDER: f64 = 1.4;

/// Assesses a push-pull test. The readings stand in the order in which they were taken.
///
/// ```
/// use takeup_core::measure::{Setup, push_pull::{Reading, assess}};
/// // 0.08 mm of clearance, 5000 N/mm, and a weight that a push of 120 N balances.
/// let readings: Vec<Reading> = [-200.0, 300.0, -100.0, 250.0, 0.0, 200.0, 50.0, 150.0]
///     .into_iter()
///     .map(|force_n| {
///         let across = if force_n > 120.0 { 0.08 } else { 0.0 };
///         Reading { force_n, value_mm: 0.3 + force_n / 5000.0 + across }
///     })
///     .collect();
/// let result = assess(&readings, &Setup::default()).unwrap();
/// assert!((result.clearance.value - 0.08).abs() < 1e-3);
/// assert!((result.stiffness.unwrap().value - 5000.0).abs() < 50.0);
/// assert_eq!(result.crossed_n, Some((50.0, 150.0)));
/// ```
pub fn assess(readings: &[Reading], setup: &Setup) -> Result<Assessment, NotEnough> {
    let setup = setup.checked()?;
    check(readings)?;
    let least_variance = setup.least_variance();
    let pushes = Pushes::new(readings, setup.motion_per_reading(), least_variance);
    let set_aside = outlying::find(&pushes, setup.resolution_mm);
    let average = pushes.average(&set_aside).ok_or(NotEnough::TooFewForces)?;
    let dof = average.dof;
    let t = coverage_factor(0.95, dof);
    let s_mm = libm::sqrt(average.variance);
    let systematic = Systematic::new(&setup, s_mm);

    let (low, high) = average.clearance();
    // A dial that lags stays behind by half its hysteresis each way, so that less is seen than was crossed.
    let value = 0.5 * (low + high) + systematic.correction;
    let repeatability =
        Contribution { source: Source::Repeatability, standard_uncertainty: 0.5 * (high - low) / t, dof };
    let mut budget = Vec::new();
    for part in [repeatability].into_iter().chain(systematic.parts(value)) {
        if part.source == Source::Repeatability || part.standard_uncertainty > 0.0 {
            // Fewer sources than there is room for.
            let _ = budget.push(part);
        }
    }
    let clearance = combine(value, budget.iter().map(|p| (p.standard_uncertainty, p.dof)));
    let shown = libm::fabs(clearance.value) > clearance.expanded_95();
    let forces_n = pushes.forces(&set_aside);
    if !shown && (forces_n.0 >= 0.0 || forces_n.1 <= 0.0) {
        return Err(NotEnough::OneWay { least_n: forces_n.0, most_n: forces_n.1 });
    }
    // What the indicator and its angle do to a slope they do to it over the whole span of the forces.
    let (least, most) = average.compliance();
    let middle = 0.5 * (least + most);
    let span = forces_n.1 - forces_n.0;
    let whole = systematic
        .parts(middle * span)
        .filter(|p| matches!(p.source, Source::Alignment | Source::IndicatorError | Source::Resolution));
    let statistical = 0.5 * (most - least) / t;
    let compliance = combine(
        middle,
        [(statistical, dof)].into_iter().chain(whole.map(|p| (p.standard_uncertainty / span, p.dof))),
    );
    // A stiffness is given only where the slope is steep enough: where that was narrowly so, chance is likely to have
    // had a hand in it, and the interval is taken wider.
    let steep = libm::fabs(compliance.value) / compliance.expanded_95();
    let half = compliance.expanded_95() * (WIDER - 0.25 * (steep - WIDER)).clamp(1.0, WIDER);
    let (least, most) = (compliance.value - half, compliance.value + half);
    let stiffness = (half <= WIDEST * compliance.value).then(|| {
        let (low, high) = (1.0 / most, 1.0 / least);
        let factor = coverage_factor(0.95, compliance.dof);
        Estimate {
            value: 0.5 * (high + low),
            standard_uncertainty: 0.5 * (high - low) / factor,
            dof: compliance.dof,
        }
    });
    Ok(Assessment {
        clearance,
        shown,
        stiffness,
        stiffness_at_least: if most > 0.0 { 1.0 / most } else { f64::INFINITY },
        crossed_n: if shown { average.crossed_n } else { None },
        forces_n,
        repeatability_mm: s_mm,
        repeatability_dof: dof,
        budget,
        used: readings.len().saturating_sub(set_aside.len()) as u32,
        set_aside,
    })
}

fn check(readings: &[Reading]) -> Result<(), NotEnough> {
    let found = readings.len();
    if found < FEWEST {
        return Err(NotEnough::TooFew { found, needed: FEWEST });
    }
    if found > MOST {
        return Err(NotEnough::TooMany { found, room: MOST });
    }
    match readings.iter().position(|r| !r.value_mm.is_finite() || !r.force_n.is_finite()) {
        Some(index) => Err(NotEnough::NotFinite { index }),
        None => Ok(()),
    }
}

#[cfg(test)]
mod tests;

//! The warm-up test: one place over time, the machine working between readings.
//!
//! The place grows as a body does that is warmed evenly: reading = start + amplitude × (1 − exp(−t/τ)), t from
//! the first reading. With κ = T/τ, T the time from the first reading to the last, and the growth V seen within T,
//! that is start + V·g(t/T), g(x) = (1 − exp(−κx)) / (1 − exp(−κ)): linear in start and V, and smooth through
//! κ = 0, a straight line, where the curve does not bend. So the fit is linear least squares for each κ of a fine grid.
//!
//! Intervals are likelihood regions: all values for which some fit leaves a sum of squares within
//! s²·t² of the least (the profile t of D. M. Bates and D. G. Watts, Nonlinear Regression Analysis and Its
//! Applications, 1988, chapter 6). They lie as they must, wide to the side on which the readings say little, and are open where
//! they say nothing; the value given is the middle of its interval. While straight lines lie within the
//! region, the time constant and what it implies are not given, only what they are at least.
//!
//! Not for a machine that is loaded now more, now less: the curve is that of one steady load.

mod curve;

use crate::measure::outlying;
use crate::measure::reversal::{MOST_SET_ASIDE, SetAside, Systematic};
use crate::measure::setup::OutOfRange;
use crate::measure::student::coverage_factor;
use crate::measure::uncertainty::{Contribution, Source, combine, rectangular};
use crate::measure::{Estimate, Setup};
use core::f64::consts::SQRT_2;
use core::fmt;
use curve::{Curve, Region};
use heapless::Vec;

/// One reading.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Reading {
    /// Seconds since any fixed moment, not decreasing.
    pub time_s: f64,
    /// What the dial showed, in millimetres, as read: neither sense nor angle applied.
    pub value_mm: f64,
}

/// The fewest readings that are assessed: the curve takes three of them, and three degrees of freedom are left for the noise.
pub const FEWEST: usize = 6;

/// The most readings that are assessed.
pub const MOST: usize = 4096;

/// How far the curve has been seen.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Course {
    /// It bends: amplitude and what is left are known.
    Bends,
    /// It grows, and does not bend yet; what the readings allow is one-sided.
    Straight {
        /// The time constant is at least this, in seconds (95 %).
        time_constant_at_least_s: f64,
        /// What is left is at least this size, in millimetres (95 %).
        left_at_least_mm: f64,
    },
    /// It grows faster and faster: the curve is not that of a steady load, and its end is not known.
    Faster,
    /// No growth is shown. Amplitude and what is left are bounds for a growth with a time constant of at most
    /// [`LONGEST_TIMES_SPAN`] times the time watched: a slower one would not be seen. They are not given where the
    /// readings leave no room for such a growth.
    NotShown,
}

/// The longest time constant, as a multiple of the time watched, that bounds a growth that is not shown.
pub const LONGEST_TIMES_SPAN: f64 = 2.0;

/// The result of a warm-up test. Lengths are millimetres along the axis in the machine's own sense.
#[derive(Clone, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Assessment {
    /// How far the curve has been seen.
    pub course: Course,
    /// Growth from the first reading until nothing more is to come.
    pub amplitude: Option<Estimate>,
    /// The time constant in seconds.
    pub time_constant_s: Option<Estimate>,
    /// Growth still to come after the last reading.
    pub left: Option<Estimate>,
    /// The rate of growth at the last reading, in millimetres per second.
    pub rate_now: Estimate,
    /// Growth from the first reading to the last.
    pub seen: Estimate,
    /// The time from the first reading to the last, in seconds.
    pub span_s: f64,
    /// The standard deviation of one reading about the curve, in millimetres.
    pub repeatability_mm: f64,
    /// Its degrees of freedom.
    pub repeatability_dof: f64,
    /// The parts of the standard uncertainty of the growth left, or where that is not given of the growth seen.
    pub budget: Vec<Contribution, 5>,
    /// How many readings were used.
    pub used: u32,
    /// The readings set aside, by rising index.
    pub set_aside: Vec<SetAside, MOST_SET_ASIDE>,
}

/// Why a warm-up test cannot be assessed: what is missing.
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
    /// A reading or its time is not a finite number.
    NotFinite {
        /// Its index, from 0.
        index: usize,
    },
    /// A time is less than the time before it.
    TimeRunsBack {
        /// Its index, from 0.
        index: usize,
    },
    /// Fewer than four different times.
    NoTime,
    /// A value of the setup cannot be.
    Setup(OutOfRange),
}

impl fmt::Display for NotEnough {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            NotEnough::TooFew { found, needed } => {
                write!(f, "{found} readings; a curve of growth needs {needed} or more")
            }
            NotEnough::TooMany { found, room } => write!(f, "{found} readings; at most {room} can be used"),
            NotEnough::NotFinite { index } => {
                write!(f, "reading {} is not a finite number", index.saturating_add(1))
            }
            NotEnough::TimeRunsBack { index } => {
                write!(
                    f,
                    "the time of reading {} is before that of the reading above it",
                    index.saturating_add(1)
                )
            }
            NotEnough::NoTime => f.write_str("the readings were taken at fewer than four different times"),
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

/// An interval wider than this share of its middle says too little about a time constant to be one.
const WIDEST: f64 = 0.75;

/// Assesses a warm-up test.
///
/// ```
/// use takeup_core::measure::{Setup, warm_up::{Reading, assess}};
/// let readings: Vec<Reading> = (0..12)
///     .map(|i| f64::from(i) * 300.0)
///     .map(|time_s| Reading { time_s, value_mm: 0.04 * (1.0 - (-time_s / 1200.0).exp()) })
///     .collect();
/// let result = assess(&readings, &Setup::default()).unwrap();
/// assert!((result.time_constant_s.unwrap().value - 1200.0).abs() < 10.0);
/// assert!((result.left.unwrap().value - 0.04 * (-2.75_f64).exp()).abs() < 1e-4);
/// ```
pub fn assess(readings: &[Reading], setup: &Setup) -> Result<Assessment, NotEnough> {
    let setup = setup.checked()?;
    check(readings)?;
    let cosine = setup.cosine();
    let rounding = rectangular(0.5 * setup.resolution_mm) * cosine;
    let least_variance = setup.least_variance();
    let mut curve =
        Curve::new(readings, setup.motion_per_reading(), least_variance).ok_or(NotEnough::NoTime)?;
    let set_aside = outlying::find(&curve, setup.resolution_mm);
    let best = curve.best(&set_aside).ok_or(NotEnough::NoTime)?;
    let dof = best.fit.dof;
    let s2 = libm::fmax(best.fit.variance(), least_variance);
    let t = coverage_factor(0.95, dof);
    let systematic = Systematic::new(&setup, libm::sqrt(s2));
    // Readings that round alike share their rounding error: fewer of them count.
    curve.alike = if rounding > 0.0 { ALIKE * systematic.resolution / (SQRT_2 * rounding) } else { 0.0 };
    let best = curve.best(&set_aside).ok_or(NotEnough::NoTime)?;
    // What is to come is given only where the curve bends enough: where that was narrowly so, chance is likely to have
    // had a hand in it, and the region is taken wider.
    let from_straight = curve.away_from_straight(&set_aside, &best, LEAST_BEND, s2) / t;
    let wider = (WIDER - (from_straight - WIDER) * 0.25).clamp(1.0, WIDER);
    let region = Region::new(&curve, &set_aside, &best, t * t * s2 * wider * wider);

    let whole = curve.span_s;
    let interval = |value: (f64, f64)| {
        let half = 0.5 * (value.1 - value.0);
        Estimate { value: 0.5 * (value.1 + value.0), standard_uncertainty: half / t, dof }
    };
    // A rounding error that the last readings share moves all that is still to come in proportion.
    let length = |value: (f64, f64), share: f64| {
        let estimate = interval(value);
        let parts = budget(&estimate, &systematic, share);
        combine(estimate.value, parts.iter().map(|p| (p.standard_uncertainty, p.dof)))
    };
    let seen_range = region.over(|_| 1.0);
    let seen = length(seen_range, 1.0);
    let left_share = libm::fmin(4.0 * curve::left(best.kappa), 1.0);
    let rate_now = interval(region.over(|kappa| curve::rate(kappa) / whole));
    let shown = curve.growth_shown(&set_aside, &best, s2);
    let amplitude_range = region.over(curve::amplitude);
    let left_range = region.over(curve::left);
    let (course, amplitude_range, left_range) = if !shown {
        let bounded = region.bent_by(1.0 / LONGEST_TIMES_SPAN);
        let about_zero = |factor: fn(f64) -> f64| {
            let (low, high) = bounded.as_ref()?.over(factor);
            Some((libm::fmin(low, 0.0), libm::fmax(high, 0.0)))
        };
        (Course::NotShown, about_zero(curve::amplitude), about_zero(curve::left))
    } else if region.low > LEAST_BEND {
        (Course::Bends, Some(amplitude_range), Some(left_range))
    } else {
        let smallest = |(low, high): (f64, f64)| {
            if low > 0.0 {
                low
            } else if high < 0.0 {
                -high
            } else {
                0.0
            }
        };
        // A curve that is straight or bends the other way has no end to speak of.
        let course = match region.bent_by(curve::STRAIGHT) {
            Some(bounded) => Course::Straight {
                time_constant_at_least_s: whole / bounded.high,
                left_at_least_mm: smallest(bounded.over(curve::left)),
            },
            None => Course::Faster,
        };
        (course, None, None)
    };
    let time_constant_s = (course == Course::Bends && region.high < curve.most_kappa)
        .then(|| interval((whole / region.high, whole / region.low)))
        .filter(|tau| tau.expanded_95() <= WIDEST * tau.value);
    let (of, share) = left_range.map_or((seen_range, 1.0), |left| (left, left_share));
    Ok(Assessment {
        course,
        amplitude: amplitude_range.map(|range| length(range, 1.0)),
        time_constant_s,
        left: left_range.map(|range| length(range, left_share)),
        rate_now,
        seen,
        span_s: whole,
        repeatability_mm: libm::sqrt(s2),
        repeatability_dof: dof,
        budget: budget(&interval(of), &systematic, share),
        used: readings.len().saturating_sub(set_aside.len()) as u32,
        set_aside,
    })
}

impl Assessment {
    /// How long after the last reading a test of some length grows by no more than what matters; `None` where
    /// that is not known. Growth and its time constant are taken at their values.
    #[must_use]
    pub fn worth_measuring_after_s(&self, test_s: f64, matters_mm: f64) -> Option<f64> {
        match self.course {
            Course::NotShown => Some(0.0),
            Course::Straight { .. } | Course::Faster => {
                (libm::fabs(self.rate_now.value) * test_s <= matters_mm).then_some(0.0)
            }
            Course::Bends => {
                let left = libm::fabs(self.left?.value);
                let Some(tau) = self.time_constant_s else { return (left <= matters_mm).then_some(0.0) };
                let during = -left * libm::expm1(-test_s / tau.value);
                Some(if during > matters_mm { tau.value * libm::log(during / matters_mm) } else { 0.0 })
            }
        }
    }
}

/// Below this bend over the time watched, in time constants, what is left is a guess.
const LEAST_BEND: f64 = 0.3;

/// How much of the rounding error is shared by readings in a row that read the same, found by simulation (the coverage
/// of the intervals with dials of 0.01 mm and 0.0005 in).
const ALIKE: f64 = 0.2;

/// By how much the region is wider where the bend is narrowly shown, and how far beyond narrowly it must be shown.
const WIDER: f64 = 1.4;

/// What makes up the uncertainty of a length: the readings, and what does not average out, of the resolution a share.
fn budget(statistical: &Estimate, systematic: &Systematic, share: f64) -> Vec<Contribution, 5> {
    let repeatability = Contribution {
        source: Source::Repeatability,
        standard_uncertainty: statistical.standard_uncertainty,
        dof: statistical.dof,
    };
    let mut parts = Vec::new();
    // What the dial adds on a reversal is not in it: the place grows one way.
    for mut part in [repeatability].into_iter().chain(systematic.parts(statistical.value)) {
        if part.source == Source::Resolution {
            // One end of the growth rounds by itself, the other is on the way: half the variance of a difference.
            part.standard_uncertainty *= 0.5 * share / SQRT_2;
        }
        let counts = part.source == Source::Repeatability || part.standard_uncertainty > 0.0;
        if counts && part.source != Source::IndicatorHysteresis {
            // Fewer sources than there is room for.
            let _ = parts.push(part);
        }
    }
    parts
}

fn check(readings: &[Reading]) -> Result<(), NotEnough> {
    let found = readings.len();
    if found < FEWEST {
        return Err(NotEnough::TooFew { found, needed: FEWEST });
    }
    if found > MOST {
        return Err(NotEnough::TooMany { found, room: MOST });
    }
    let mut before = f64::NEG_INFINITY;
    let mut times: usize = 0;
    for (index, reading) in readings.iter().enumerate() {
        if !reading.value_mm.is_finite() || !reading.time_s.is_finite() {
            return Err(NotEnough::NotFinite { index });
        }
        if reading.time_s < before {
            return Err(NotEnough::TimeRunsBack { index });
        }
        if reading.time_s > before {
            times = times.saturating_add(1);
        }
        before = reading.time_s;
    }
    if times < 4 { Err(NotEnough::NoTime) } else { Ok(()) }
}

#[cfg(test)]
mod tests;

//! The return test: many lifts off one mark and returns to it, some after a pause.
//!
//! A drive that slips loses a little at each lift; a machine that grows or a stand that gives moves
//! with time. Both are trends, over the count of lifts and over the clock, and only pauses tell
//! them apart: where lifts come evenly, the answer is that they cannot be told.
//!
//! reading = zero + slip × lift + drift × time + a random walk over the lifts + noise
//!
//! The walk is slip that is not the same at each lift. How much of it there is is not known beforehand: the
//! fit is made for a grid of its size over the noise and averaged by likelihood, with the same filter as
//! the [reversal test](crate::measure::reversal).

mod causes;
mod manner;
mod model;

pub use causes::of as causes;
pub use manner::{Manner, Manners};

use crate::measure::misreads::{self, Aside, LEAST_STEPS, Limits};
use crate::measure::setup::OutOfRange;
use crate::measure::uncertainty::Contribution;
use crate::measure::{Estimate, Setup};
use core::fmt;
use heapless::Vec;
use model::Sitting;

/// One reading, after a lift and a return.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Reading {
    /// The count of lifts so far.
    pub lift: u16,
    /// What the dial showed, in millimetres, as read: neither sense nor angle applied.
    pub value_mm: f64,
    /// Seconds since any fixed moment, not decreasing; used only if every reading has one.
    pub time_s: Option<f64>,
}

/// The trends, in the machine's own sense.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Trend {
    /// Lifts and time are told apart.
    Apart {
        /// Slip in millimetres per lift.
        per_cycle: Estimate,
        /// Drift in millimetres per hour.
        per_hour: Estimate,
    },
    /// They are not.
    Together(Why),
}

/// Why slip and drift are not told apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Why {
    /// The readings have no times.
    NoTimes,
    /// The lifts came evenly in time, so lifts and hours say the same.
    Even,
    /// Too few readings for both trends.
    TooFew,
}

/// A return test, assessed.
#[derive(Clone, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Assessment {
    /// Slip and drift.
    pub trend: Trend,
    /// Slip and drift together: what a return is off from the one before it on average, in millimetres.
    pub per_return: Estimate,
    /// The standard deviation of one return about its trend, in millimetres; slip that differs from lift to lift is in it.
    pub scatter: Estimate,
    /// The standard deviation of one return apart from that, in millimetres.
    pub repeatability_mm: f64,
    /// The standard deviation of slip from lift to lift, in millimetres.
    pub wander_mm: f64,
    /// How much likelier the readings are if it differs from lift to lift, as a logarithm.
    pub wander_log_odds: f64,
    /// How likely the readings are under each manner of wandering.
    pub manners: Manners,
    /// From the first lift to the last.
    pub lifts: u16,
    /// From the first reading to the last, if every reading has a time.
    pub hours: Option<f64>,
    /// The parts of the uncertainty of slip per lift, or of both together where they are not told apart.
    pub budget: Vec<Contribution, 6>,
    /// How many readings were used.
    pub used: u32,
    /// The readings set aside, by rising index.
    pub set_aside: Aside,
}

/// Why a return test cannot be assessed: what is missing.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum NotEnough {
    /// Fewer readings than a trend and its scatter need.
    TooFewReturns {
        /// How many there are.
        found: usize,
        /// The fewest.
        fewest: usize,
    },
    /// More readings than can be numbered.
    TooManyReadings {
        /// How many there are.
        found: usize,
        /// The most.
        room: usize,
    },
    /// The count of lifts does not rise.
    LiftsNotRising {
        /// The index of the reading, from 0.
        index: usize,
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
    /// A value of the setup cannot be.
    Setup(OutOfRange),
}

impl fmt::Display for NotEnough {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let row = |index: usize| index.saturating_add(1);
        match *self {
            NotEnough::TooFewReturns { found, fewest } => {
                write!(f, "{found} returns; {fewest} or more are needed to tell a trend from scatter")
            }
            NotEnough::TooManyReadings { found, room } => {
                write!(f, "{found} readings; at most {room} can be used")
            }
            NotEnough::LiftsNotRising { index } => {
                write!(f, "the count of lifts of reading {} is not above the one before it", row(index))
            }
            NotEnough::NotFinite { index } => write!(f, "reading {} is not a finite number", row(index)),
            NotEnough::TimeRunsBack { index } => {
                write!(f, "the time of reading {} is before that of the reading above it", row(index))
            }
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

/// Fewer returns than this say nothing: two for the line, one for the scatter, one to be sure of.
pub const FEWEST_RETURNS: usize = 4;
/// How far the search for misreads goes.
const LIMITS: Limits = Limits { one_in: 4, patience: 4 };

/// Assesses a return test.
///
/// ```
/// use takeup_core::measure::{Setup, returns::{Reading, Trend, assess}};
/// // 0.01 mm lost at each lift; a pause after the fourth shows that nothing drifts meanwhile.
/// let readings: Vec<Reading> = (0..8)
///     .map(|n| Reading {
///         lift: n + 1,
///         value_mm: -0.01 * f64::from(n),
///         time_s: Some(20.0 * f64::from(n) + if n > 3 { 300.0 } else { 0.0 }),
///     })
///     .collect();
/// let result = assess(&readings, &Setup::default()).unwrap();
/// let Trend::Apart { per_cycle, per_hour } = result.trend else { panic!() };
/// assert!((per_cycle.value + 0.01).abs() < 1e-9 && per_hour.value.abs() < 1e-6);
/// ```
pub fn assess(readings: &[Reading], setup: &Setup) -> Result<Assessment, NotEnough> {
    let setup = setup.checked()?;
    check(readings)?;
    let sitting = Sitting::new(readings, &setup);
    let least_mm = LEAST_STEPS * setup.resolution_mm;
    let mut set_aside = misreads::search(
        readings.len(),
        LIMITS,
        |found| sitting.most_likely(found),
        |found| sitting.worst(found, least_mm),
    );
    let few = NotEnough::TooFewReturns { found: readings.len(), fewest: FEWEST_RETURNS };
    let averages = sitting.average(&set_aside).ok_or(few)?;
    let out = set_aside.clone();
    misreads::name_all(&mut set_aside, setup.resolution_mm, |index| {
        let shown = readings.get(index)?.value_mm;
        Some((shown, shown - sitting.off_mm(index, &out)? / sitting.motion))
    });
    let manners = manner::weigh(&sitting, &out);
    Ok(sitting.result(&averages, manners, set_aside, &setup))
}

fn check(readings: &[Reading]) -> Result<(), NotEnough> {
    let (found, room) = (readings.len(), usize::from(u16::MAX));
    if found < FEWEST_RETURNS {
        return Err(NotEnough::TooFewReturns { found, fewest: FEWEST_RETURNS });
    }
    if found > room {
        return Err(NotEnough::TooManyReadings { found, room });
    }
    let (mut before, mut lift) = (f64::NEG_INFINITY, None);
    for (index, reading) in readings.iter().enumerate() {
        if !reading.value_mm.is_finite() || reading.time_s.is_some_and(|t| !t.is_finite()) {
            return Err(NotEnough::NotFinite { index });
        }
        if lift.is_some_and(|lift| reading.lift <= lift) {
            return Err(NotEnough::LiftsNotRising { index });
        }
        lift = Some(reading.lift);
        if let Some(time) = reading.time_s {
            if time < before {
                return Err(NotEnough::TimeRunsBack { index });
            }
            before = time;
        }
    }
    Ok(())
}

//! The test of small steps: a staircase up, then down, then up.
//!
//! After a reversal the table first stands still and then follows more and more: the take-up
//! [`Curve`] has a dead band (a gap: nothing moves) and a wind-up (friction against a springy drive). Both
//! reversals are fitted at once by non-linear least squares, with drift as a term; where the table holds and
//! jumps, ways that stick are a model of their own. What a drive that slips, or an error within a turn of the screw, leaves of
//! the readings is told beside it ([`Told`]), to be weighed with other tests.
//!
//! The intervals are those of the likelihood with its noise and linear terms integrated out, over all
//! values that can be: a wind-up is not negative, so close to nothing its interval is that of a value known
//! not to be. Values and intervals are even: value ± U.
//!
//! The axis starts seated `-` at the first reading. Not for a staircase shorter than what is lost.

mod causes;
mod curve;
mod fit;
mod posterior;
mod sticking;
mod told;

pub use causes::of as causes;
pub use curve::Curve;
pub use sticking::Sticking;
pub use told::Told;

use crate::axis::Direction;
use crate::length::Length;
use crate::measure::decision::{self, Decision};
use crate::measure::misreads::{self, Aside, LEAST_STEPS, Limits};
use crate::measure::reversal::{Group, Station, undithered};
use crate::measure::routine::SAME_STATION;
use crate::measure::setup::OutOfRange;
use crate::measure::uncertainty::{Contribution, Source, combine, rectangular};
use crate::measure::{Estimate, Setup};
use core::fmt;
use fit::Sitting;
use heapless::Vec;

/// One reading of the indicator.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Reading {
    /// The commanded position.
    pub target: Length,
    /// The direction in which the axis moved last.
    pub approach: Direction,
    /// What the dial showed, in millimetres, as read: neither sense nor angle applied.
    pub value_mm: f64,
    /// Seconds since any fixed moment, not decreasing; used only if every reading has one.
    pub time_s: Option<f64>,
}

/// A test of small steps, assessed. Lengths are millimetres.
#[derive(Clone, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Assessment {
    /// The travel in which nothing moves.
    pub dead_band: Estimate,
    /// The travel lost to wind-up.
    pub wind_up: Estimate,
    /// Both together: its value is the sum of theirs.
    pub lost_motion: Estimate,
    /// The standard deviation of one reading about the curve and drift.
    pub repeatability_mm: f64,
    /// Its degrees of freedom.
    pub repeatability_dof: f64,
    /// Steady drift from the first reading to the last.
    pub drift_mm: Estimate,
    /// Ways that hold and jump, if they are shown.
    pub sticking: Option<Sticking>,
    /// How much likelier the readings are under each explanation, as logarithms.
    pub evidence: Evidence,
    /// What the ways down tell by themselves, where no slip has a part; by [`assess_beside_others`] alone.
    pub down: Option<Told>,
    /// What all readings tell with an error of the place taken out; by the same, where the pitch of the screw is known.
    pub by_place: Option<Told>,
    /// The height of the staircase.
    pub rise_mm: f64,
    /// The mean move from one reading to the next.
    pub step_mm: f64,
    /// How often the axis turned around.
    pub turns: u16,
    /// The parts of the uncertainty of the lost motion.
    pub budget: Vec<Contribution, 6>,
    /// How many readings were used.
    pub used: u32,
    /// The readings set aside, by rising index.
    pub set_aside: Aside,
    /// The decision, if the setup has a limit.
    pub decision: Option<Decision>,
}

/// The log likelihood of the readings under each explanation, all unknown sizes integrated out; only
/// differences mean something.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Evidence {
    /// Nothing is lost.
    pub none: f64,
    /// A gap alone.
    pub clearance: f64,
    /// Wind-up alone.
    pub wind_up: f64,
    /// Both.
    pub both: f64,
    /// A control that adds too much.
    pub over_corrected: f64,
    /// Ways that hold and jump, with any of these.
    pub sticking: f64,
    /// Ways that follow smoothly.
    pub smooth: f64,
}

/// Why a test of small steps cannot be assessed: what is missing.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum NotEnough {
    /// Fewer readings than the curve needs.
    TooFewReadings {
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
    /// The first reading was not approached in the `-` direction, so the axis is not known to be seated there.
    NotSeated,
    /// The axis never turned around.
    NoReversal,
    /// The approach of a reading is not the way from the reading before it.
    AgainstTheWay {
        /// Its index, from 0.
        index: usize,
    },
    /// The table hardly moved after it turned: the staircase is shorter than what is lost.
    TooShort {
        /// The height of the staircase, in mm.
        rise_mm: f64,
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
            NotEnough::TooFewReadings { found, fewest } => {
                write!(f, "{found} readings; {fewest} or more are needed to show the curve")
            }
            NotEnough::TooManyReadings { found, room } => {
                write!(f, "{found} readings; at most {room} can be used")
            }
            NotEnough::NotSeated => f.write_str(
                "the first reading was not approached in the - direction, so the axis is not known to be seated",
            ),
            NotEnough::NoReversal => f.write_str("the axis never turned around"),
            NotEnough::AgainstTheWay { index } => write!(
                f,
                "the approach of reading {} is not the way from the reading before it",
                row(index)
            ),
            NotEnough::TooShort { rise_mm } => write!(
                f,
                "the table hardly moved after it turned: the staircase of {rise_mm} mm is shorter than what is lost"
            ),
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

/// Zero, two terms of drift, dead band, wind-up, and a few to see the scatter.
pub const FEWEST_READINGS: usize = 10;
/// How far the search for misreads goes.
const LIMITS: Limits = Limits { one_in: 4, patience: 4 };
/// Rounds in which misreads and curve are found in turn.
const ROUNDS: usize = 3;

/// Assesses a test of small steps.
///
/// ```
/// use takeup_core::axis::Direction::{Minus, Plus};
/// use takeup_core::length::Length;
/// use takeup_core::measure::{Setup, small_steps::{Curve, Reading, assess}};
/// // Twenty steps of 0.02 mm up and down again; 0.1 mm of clearance.
/// let curve = Curve { dead_band_mm: 0.1, wind_up_mm: 0.0 };
/// let place = |n: i32| Length::from_mm(0.02 * f64::from(n)).unwrap();
/// let read = |n: i32, approach, value_mm| Reading { target: place(n), approach, value_mm, time_s: None };
/// let mut readings = vec![read(0, Minus, 0.0)];
/// readings.extend((1..=20).map(|n| read(n, Plus, curve.moved_mm(0.02 * f64::from(n)))));
/// let top = curve.moved_mm(0.4);
/// readings.extend((0..20).rev().map(|n| read(n, Minus, top - curve.moved_mm(0.02 * f64::from(20 - n)))));
/// let result = assess(&readings, &Setup::default()).unwrap();
/// assert!((result.lost_motion.value - 0.1).abs() < 1e-3, "{:?}", result.lost_motion);
/// ```
pub fn assess(readings: &[Reading], setup: &Setup) -> Result<Assessment, NotEnough> {
    assessed(readings, &setup.checked()?).map(|(result, _)| result)
}

/// Assesses as [`assess`] does, and tells as well what is wanted where other tests of the same axis are
/// [weighed with it](crate::measure::cause::joint): [`Assessment::down`] and [`Assessment::by_place`]. It takes about twice
/// as long.
pub fn assess_beside_others(readings: &[Reading], setup: &Setup) -> Result<Assessment, NotEnough> {
    let setup = setup.checked()?;
    let (result, likeliest) = assessed(readings, &setup)?;
    // Without a pitch no test speaks of an error within a turn.
    let by_place = setup.pitch_mm.and_then(|_| told::by_place(readings, likeliest, &setup));
    Ok(Assessment { down: told::ways_down(readings, &setup), by_place, ..result })
}

/// The assessment, and the likeliest curve without ways that stick.
fn assessed(readings: &[Reading], setup: &Setup) -> Result<(Assessment, Curve), NotEnough> {
    check(readings)?;
    let mut sitting = Sitting::new(readings, setup);
    let too_short = NotEnough::TooShort { rise_mm: sitting.rise };
    let start = sitting.robust_start();
    let (curve, mut out) = begin(&mut sitting, start, setup);
    // A table that never moved tells nothing of where it would.
    if sitting.reached(&out) < 0.1 * sitting.rise {
        return Err(too_short);
    }
    let smooth = posterior::of(&sitting, &out, curve).ok_or(too_short)?;
    if smooth.lost_motion.value > 0.9 * sitting.rise {
        return Err(too_short);
    }
    let stuck = sticking::of(&mut sitting, &out, smooth.curve);
    let copy = out.clone();
    misreads::name_all(&mut out, setup.resolution_mm, |index| {
        let shown = readings.get(index)?.value_mm;
        Some((shown, shown - sitting.off_mm(index, smooth.curve, &copy)? / sitting.motion))
    });
    Ok((result(&sitting, &smooth, stuck, out, setup), smooth.curve))
}

/// The likeliest curve and the misread readings, from a curve to begin with.
fn begin(sitting: &mut Sitting<'_>, mut curve: Curve, setup: &Setup) -> (Curve, Aside) {
    let least_mm = LEAST_STEPS * setup.resolution_mm;
    let mut out = Aside::new();
    for _ in 0..ROUNDS {
        let found = misreads::search(
            sitting.count(),
            LIMITS,
            |out| Some(sitting.log_likelihood(&sitting.trial(curve, out)?)),
            |out| sitting.worst(curve, out, least_mm),
        );
        let same = found == out;
        out = found;
        curve = sitting.likeliest(&out, curve);
        if same {
            break;
        }
    }
    sitting.set_repeats(curve, &out);
    (curve, out)
}

fn result(
    sitting: &Sitting<'_>,
    smooth: &posterior::Posterior,
    stuck: Option<sticking::Stuck>,
    set_aside: Aside,
    setup: &Setup,
) -> Assessment {
    let shown = stuck.as_ref().filter(|stuck| stuck.log_likelihood > smooth.smooth_log_likelihood);
    let fit = shown.map_or(smooth, |stuck| &stuck.fit);
    let (lost, s, dof) = (fit.lost_motion, fit.s_mm, fit.dof);
    let cosine = setup.cosine();
    // Half of what the indicator itself may add is taken off, as for the reversal test.
    let own = 0.5 * setup.hysteresis_mm * cosine;
    let resolution = core::f64::consts::SQRT_2 * undithered(sitting.shared_step(), s);
    let parts = |value: f64, repeatability: f64| {
        let mut parts: Vec<Contribution, 6> = Vec::new();
        let mut part = |source, standard_uncertainty: f64, dof| {
            if standard_uncertainty > 0.0 || source == Source::Repeatability {
                // Fewer sources than there is room for.
                let _ = parts.push(Contribution { source, standard_uncertainty, dof });
            }
        };
        part(Source::Repeatability, repeatability, dof);
        part(Source::Resolution, resolution, f64::INFINITY);
        part(Source::IndicatorError, rectangular(setup.indicator_error_mm) * cosine, f64::INFINITY);
        part(Source::IndicatorHysteresis, rectangular(own), f64::INFINITY);
        part(Source::Alignment, setup.alignment_share() * libm::fabs(value), f64::INFINITY);
        parts
    };
    // Where ways hold and jump, what happens within a step is not seen, and within a jump nothing of the bend between dead
    // band and wind-up (0.7 of a jump by simulation: with half of one the interval misses a wind-up of nothing too often);
    // and a dial that rounds all places alike bends the curve as well as it shifts it.
    let (within_step, within_jump) = match shown {
        Some(stuck) => (rectangular(0.5 * sitting.step), rectangular(0.7 * stuck.sticking.jump_mm)),
        None => (0.0, resolution),
    };
    let with = |estimate: Estimate, off: f64, unseen: f64| {
        let value = estimate.value - off;
        let own = libm::hypot(estimate.standard_uncertainty, unseen);
        combine(value, parts(value, own).iter().map(|p| (p.standard_uncertainty, p.dof)))
    };
    let lost = Estimate { standard_uncertainty: libm::hypot(lost.standard_uncertainty, within_step), ..lost };
    let lost_motion = with(lost, own, 0.0);
    let turns = sitting.turns;
    let cycles = u32::from(turns).div_ceil(2).max(1);
    let station = Station {
        target: sitting.start,
        reversal_mm: -lost_motion.value,
        plus: Group { n: cycles, ..Group::default() },
        minus: Group { n: cycles, ..Group::default() },
        lost_motion,
        repeatability_mm: lost.standard_uncertainty,
        rounding_mm: 0.0,
        slipping_mm: (0.0, 0.0),
    };
    let mut evidence = fit.evidence;
    evidence.sticking = stuck.as_ref().map_or(f64::NEG_INFINITY, |stuck| stuck.log_likelihood);
    evidence.smooth = smooth.smooth_log_likelihood;
    Assessment {
        dead_band: with(fit.dead_band, own, within_jump),
        wind_up: with(fit.wind_up, 0.0, within_jump),
        lost_motion,
        repeatability_mm: s,
        repeatability_dof: dof,
        drift_mm: sitting.drift(fit.curve, &set_aside),
        sticking: shown.map(|stuck| stuck.sticking),
        evidence,
        down: None,
        by_place: None,
        rise_mm: sitting.rise,
        step_mm: sitting.step,
        turns,
        budget: parts(lost_motion.value, lost.standard_uncertainty),
        used: sitting.count().saturating_sub(set_aside.len()) as u32,
        set_aside,
        decision: setup.limit_mm.map(|limit| decision::decide(limit, &[station])),
    }
}

fn check(readings: &[Reading]) -> Result<(), NotEnough> {
    let (found, room) = (readings.len(), usize::from(u16::MAX));
    if found < FEWEST_READINGS {
        return Err(NotEnough::TooFewReadings { found, fewest: FEWEST_READINGS });
    }
    if found > room {
        return Err(NotEnough::TooManyReadings { found, room });
    }
    let mut time = f64::NEG_INFINITY;
    let mut before: Option<&Reading> = None;
    let mut turned = false;
    for (index, reading) in readings.iter().enumerate() {
        if !reading.value_mm.is_finite() || reading.time_s.is_some_and(|t| !t.is_finite()) {
            return Err(NotEnough::NotFinite { index });
        }
        if let Some(now) = reading.time_s {
            if now < time {
                return Err(NotEnough::TimeRunsBack { index });
            }
            time = now;
        }
        match before {
            None if reading.approach != Direction::Minus => return Err(NotEnough::NotSeated),
            None => {}
            Some(before) => {
                let way = reading.target.saturating_sub(before.target);
                let stood = way.saturating_abs() < SAME_STATION;
                let up = way > Length::ZERO;
                if !stood && up != (reading.approach == Direction::Plus) {
                    return Err(NotEnough::AgainstTheWay { index });
                }
                turned |= reading.approach != before.approach;
            }
        }
        before = Some(reading);
    }
    if turned { Ok(()) } else { Err(NotEnough::NoReversal) }
}

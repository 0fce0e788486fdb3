//! The reversal test: lost motion at stations along the travel.
//!
//! At each station the axis arrives from `+` and from `-` several times. Lost motion is the mean
//! deviation approached `-` minus the mean deviation approached `+` (the negative of ISO 230-2's
//! reversal value), here estimated apart from drift of the place and the dial, from misread dials,
//! and from half of what the indicator itself may add.
//!
//! The caller owns the readings, as a slice or packed in any way that implements [`Series`];
//! [`assess`] reads them several times over and holds nothing but its result.
//!
//! Not for readings from one long scale over many targets: that is a positioning test.

mod average;
mod coarse;
pub(in crate::measure) mod evidence;
mod manner;
mod misread;
mod model;
mod refusal;
mod rounding;
mod running;

pub use manner::Manners;
pub use refusal::NotEnough;
pub use running::Running;

use crate::axis::Direction;
use crate::length::Length;
use crate::measure::decision::{self, Decision};
use crate::measure::routine::SAME_STATION;
use crate::measure::uncertainty::{Contribution, Source, combine, rectangular};
use crate::measure::{Estimate, Setup};
use heapless::Vec;

/// One reading of the indicator.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Reading {
    /// The commanded position.
    pub target: Length,
    /// The cycle, from 1.
    pub cycle: u16,
    /// The direction in which the axis moved last.
    pub approach: Direction,
    /// What the dial showed, in millimetres, as read: neither sense nor angle applied.
    pub value_mm: f64,
    /// Seconds since any fixed moment, not decreasing; used only if every reading has one.
    pub time_s: Option<f64>,
}

/// Readings in the order in which they were taken, however they are stored.
pub trait Series {
    /// How many there are.
    fn count(&self) -> usize;
    /// The reading at an index from 0; `None` beyond the last.
    fn reading(&self, index: usize) -> Option<Reading>;
}

impl<T: Series + ?Sized> Series for &T {
    fn count(&self) -> usize {
        (**self).count()
    }

    fn reading(&self, index: usize) -> Option<Reading> {
        (**self).reading(index)
    }
}

impl Series for [Reading] {
    fn count(&self) -> usize {
        self.len()
    }

    fn reading(&self, index: usize) -> Option<Reading> {
        self.get(index).copied()
    }
}

/// The plain statistics of the readings used at one station from one approach.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Group {
    /// Readings used.
    pub n: u32,
    /// Their mean in millimetres along the axis, from the station's first used reading.
    pub mean_mm: f64,
    /// Their standard deviation in millimetres (divisor n - 1); `None` with one reading.
    pub s_mm: Option<f64>,
}

/// What is known of one station.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Station {
    /// The commanded position.
    pub target: Length,
    /// The reversal value of ISO 230-2, plain: mean approached `+` minus mean approached `-`.
    pub reversal_mm: f64,
    /// Readings approached in the positive direction.
    pub plus: Group,
    /// Readings approached in the negative direction.
    pub minus: Group,
    /// The estimate of lost motion in millimetres.
    pub lost_motion: Estimate,
    /// The part of its standard uncertainty that more cycles would reduce.
    pub repeatability_mm: f64,
    /// The part that the step of the dial leaves however often it is read, as far as readings round alike.
    pub rounding_mm: f64,
    /// Lost motion in millimetres if the drive slips at each lift, and its standard uncertainty by
    /// repeatability; for arguing the cause, and in few bytes.
    pub slipping_mm: (f32, f32),
}

/// How lost motion changes along the travel.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct AlongTravel {
    /// The slope of a straight line: lost motion per length of travel, a ratio.
    pub per_length: Estimate,
    /// Whether the slope is shown to be there: its 95 % interval leaves out zero.
    pub shown: bool,
}

/// How the place or the dial wandered while the readings were taken.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Drift {
    /// The mean steady drift from one reading to the next, in millimetres.
    pub per_reading: Estimate,
    /// The steady drift from the first reading to the last, in millimetres.
    pub over_test_mm: f64,
    /// The standard deviation of a random step from one reading to the next, in millimetres.
    pub wander_mm: f64,
    /// The mean time from one reading to the next, if every reading had a time.
    pub step_s: Option<f64>,
    /// How likely the readings are under each manner of wandering.
    pub manners: Manners,
}

/// What a reading that was set aside probably is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Misread {
    /// The sign was dropped or written by mistake.
    Sign,
    /// One digit is off: by about this many micrometres (10, 100, 200, 1000 …).
    Digit {
        /// The reading less what was expected, in micrometres.
        off_um: i16,
    },
    /// The revolutions of the dial were miscounted.
    Revolution {
        /// The reading less what was expected, in micrometres.
        off_um: i16,
    },
    /// Exchanged with another row.
    Swapped {
        /// The index of the other row, from 0.
        with: u16,
    },
    /// Far from its fellows, with no pattern to it.
    Unexplained,
}

/// A reading that was set aside.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct SetAside {
    /// Its index among the readings, from 0.
    pub index: u16,
    /// What it probably is.
    pub probably: Misread,
}

/// The most readings that are set aside; with more, the readings are noise, not misreads.
pub const MOST_SET_ASIDE: usize = 64;

/// The result of a reversal test with at most `S` stations.
#[derive(Clone, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Assessment<const S: usize> {
    /// The stations, in the order in which they were first visited.
    pub stations: Vec<Station, S>,
    /// The mean over the stations of the estimated lost motion, in millimetres.
    pub lost_motion: Estimate,
    /// The lost motion that is largest in size, with its sign, in millimetres.
    pub largest_mm: f64,
    /// How it changes along the travel; with two stations or more.
    pub along_travel: Option<AlongTravel>,
    /// The parts of the standard uncertainty of the mean lost motion.
    pub budget: Vec<Contribution, 6>,
    /// The standard deviation of one reading about its station, approach and drift, in millimetres.
    pub repeatability_mm: f64,
    /// The degrees of freedom of the repeatability.
    pub repeatability_dof: f64,
    /// Drift while the readings were taken.
    pub drift: Drift,
    /// How many readings were used.
    pub used: u32,
    /// The readings set aside, by rising index.
    pub set_aside: Vec<SetAside, MOST_SET_ASIDE>,
    /// The decision, if the setup has a limit.
    pub decision: Option<Decision>,
}

/// Assesses a reversal test.
///
/// ```
/// use takeup_core::axis::Direction::{Minus, Plus};
/// use takeup_core::length::Length;
/// use takeup_core::measure::{Setup, reversal::{Reading, assess}};
///
/// // Common practice, no source: 0.25 mm commanded and 0.20 mm shown is 0.05 mm lost.
/// let mut readings = Vec::new();
/// for cycle in 1..=3 {
///     for (approach, value_mm) in [(Minus, 0.25), (Plus, 0.20)] {
///         readings.push(Reading { target: Length::ZERO, cycle, approach, value_mm, time_s: None });
///     }
/// }
/// let result = assess::<4>(&readings[..], &Setup::default()).unwrap();
/// assert!((result.lost_motion.value - 0.05).abs() < 1e-12);
/// ```
pub fn assess<const S: usize>(
    readings: &(impl Series + ?Sized),
    setup: &Setup,
) -> Result<Assessment<S>, NotEnough> {
    let readings: &dyn Series = &readings;
    let setup = setup.checked()?;
    check(readings)?;
    let mut stations = find_stations::<S>(readings)?;
    for station in &stations {
        enough(readings, station.target)?;
    }
    let motion = setup.motion_per_reading();
    let step_s = mean_step_s(readings);
    let least = setup.least_variance();
    let beforehand = evidence::Beforehand::new(USUAL_NOISE_MM * USUAL_NOISE_MM, least);
    let misread::Found { set_aside, zeros, .. } =
        misread::find(readings, &setup, step_s, beforehand, &stations);
    if let Some((first, second)) = one_of_two(readings, &set_aside) {
        return Err(NotEnough::OneOfTwo { first, second });
    }
    let is_used = |index: usize| !set_aside.iter().any(|s| usize::from(s.index) == index);
    for station in &mut stations {
        plain_statistics(readings, motion, &is_used, station);
    }
    let mut sitting = model::Sitting {
        readings,
        used: model::Used { out: &set_aside, one: model::One::None },
        motion,
        step_s,
        beforehand,
        step_mm: setup.resolution_mm * setup.cosine(),
        zeros,
        clock: model::Clock::Rows,
    };
    let averages = average::fit_all(&sitting, &mut stations).ok_or(NotEnough::NoReadings)?;

    let dof = averages.dof;
    let systematic = Systematic::new(&setup, libm::sqrt(averages.noise.0));
    let mut largest = 0.0;
    for station in &mut stations {
        let value = station.lost_motion.value - systematic.correction;
        let repeatability = (station.repeatability_mm, dof);
        let others = systematic
            .with_rounding(station.rounding_mm)
            .parts(value)
            .map(|p| (p.standard_uncertainty, p.dof));
        station.lost_motion = combine(value, [repeatability].into_iter().chain(others));
        if libm::fabs(value) > libm::fabs(largest) {
            largest = value;
        }
    }
    let mean = -averages.mean.value - systematic.correction;
    let repeatability = Contribution {
        source: Source::Repeatability,
        standard_uncertainty: averages.mean.repeatability,
        dof,
    };
    let mut budget = Vec::new();
    for part in
        [repeatability].into_iter().chain(systematic.with_rounding(averages.mean.rounding).parts(mean))
    {
        if part.standard_uncertainty > 0.0 || part.source == Source::Repeatability {
            // Fewer sources than there is room for.
            let _ = budget.push(part);
        }
    }
    let lost_motion = combine(mean, budget.iter().map(|p| (p.standard_uncertainty, p.dof)));
    let used = readings.count().saturating_sub(set_aside.len());
    let along_travel = along_travel(&stations, dof);
    let decision = setup.limit_mm.map(|limit| decision::decide(limit, &stations));
    let per_reading = average::common_rate(&sitting, &stations).unwrap_or(Estimate::ZERO);
    let drift = Drift {
        per_reading,
        over_test_mm: per_reading.value * (readings.count() as f64 - 1.0),
        wander_mm: libm::sqrt(averages.walk),
        step_s,
        manners: manner::weigh(&mut sitting, &mut stations),
    };
    Ok(Assessment {
        along_travel,
        lost_motion,
        largest_mm: largest,
        budget,
        repeatability_mm: libm::sqrt(averages.noise.0),
        repeatability_dof: averages.noise.1,
        drift,
        used: used as u32,
        set_aside,
        decision,
        stations,
    })
}

/// What a dial that is read with care scatters by (common practice, no source).
pub(in crate::measure) const USUAL_NOISE_MM: f64 = 0.002;

/// The mean time from one reading to the next, if every reading has a time and they differ.
pub(in crate::measure) fn mean_step_s(readings: &dyn Series) -> Option<f64> {
    let (mut first, mut last) = (None, None);
    for (_, reading) in all(readings) {
        last = Some(reading.time_s?);
        first = first.or(last);
    }
    let step = (last? - first?) / (readings.count() as f64 - 1.0);
    (step > 0.0).then_some(step)
}

/// What does not average out, however many readings are taken.
pub(in crate::measure) struct Systematic {
    pub correction: f64,
    pub resolution: f64,
    pub error: f64,
    pub hysteresis: f64,
    pub alignment: f64,
}

impl Systematic {
    pub fn new(setup: &Setup, s_mm: f64) -> Self {
        let cosine = setup.cosine();
        Self {
            correction: 0.5 * setup.hysteresis_mm * cosine,
            resolution: libm::sqrt(2.0) * undithered(setup.resolution_mm * cosine, s_mm),
            error: rectangular(setup.indicator_error_mm) * cosine,
            hysteresis: rectangular(0.5 * setup.hysteresis_mm) * cosine,
            alignment: setup.alignment_share(),
        }
    }

    /// The same, with what rounding is known to leave.
    fn with_rounding(&self, resolution: f64) -> Self {
        Self { resolution, ..*self }
    }

    /// The parts of the uncertainty of a value.
    pub fn parts(&self, value: f64) -> impl Iterator<Item = Contribution> + use<> {
        let Self { resolution, error, hysteresis, alignment, .. } = *self;
        [
            (Source::Resolution, resolution),
            (Source::IndicatorError, error),
            (Source::IndicatorHysteresis, hysteresis),
            (Source::Alignment, alignment * libm::fabs(value)),
        ]
        .into_iter()
        .map(|(source, standard_uncertainty)| Contribution {
            source,
            standard_uncertainty,
            dof: f64::INFINITY,
        })
    }
}

/// What rounding to a step leaves in the mean of many readings that scatter by `s_mm` about their mean.
///
/// Readings that all round alike share one rounding error, rectangular over the step (JCGM 100,
/// F.2.2.1). Scatter wider than the step spreads the roundings, and their mean tends to the truth: the
/// error left falls with the characteristic function of the scatter (B. Widrow and I. Kollár,
/// Quantization Noise, 2008; recalled from memory). As the scatter seen holds the rounding itself,
/// which is in the repeatability already, the fall is taken a little faster than the theory's 2 (π s / step)².
pub(in crate::measure) fn undithered(step: f64, s_mm: f64) -> f64 {
    if step <= 0.0 {
        return 0.0;
    }
    let ratio = s_mm / step;
    rectangular(0.5 * step) * libm::exp(-DITHER * ratio * ratio)
}

const DITHER: f64 = 9.0;

/// A straight line through the stations, each with the same weight.
fn along_travel(stations: &[Station], dof: f64) -> Option<AlongTravel> {
    if stations.len() < 2 {
        return None;
    }
    let count = stations.len() as f64;
    let centre = stations.iter().map(|s| s.target.as_mm()).sum::<f64>() / count;
    let (mut spread, mut slope, mut variance) = (0.0, 0.0, 0.0);
    for station in stations {
        let away = station.target.as_mm() - centre;
        spread += away * away;
        slope += away * station.lost_motion.value;
        let own =
            station.repeatability_mm * station.repeatability_mm + station.rounding_mm * station.rounding_mm;
        variance += away * away * own;
    }
    let per_length =
        Estimate { value: slope / spread, standard_uncertainty: libm::sqrt(variance) / spread, dof };
    let shown = libm::fabs(per_length.value) > per_length.expanded_95();
    Some(AlongTravel { per_length, shown })
}

pub(in crate::measure) fn check(readings: &dyn Series) -> Result<(), NotEnough> {
    let found = readings.count();
    if found == 0 {
        return Err(NotEnough::NoReadings);
    }
    let room = usize::from(u16::MAX);
    if found > room {
        return Err(NotEnough::TooManyReadings { found, room });
    }
    let mut before = f64::NEG_INFINITY;
    for (index, reading) in all(readings) {
        if !reading.value_mm.is_finite() || reading.time_s.is_some_and(|t| !t.is_finite()) {
            return Err(NotEnough::NotFinite { index });
        }
        if let Some(time) = reading.time_s {
            if time < before {
                return Err(NotEnough::TimeRunsBack { index });
            }
            before = time;
        }
    }
    Ok(())
}

pub(in crate::measure) fn find_stations<const S: usize>(
    readings: &dyn Series,
) -> Result<Vec<Station, S>, NotEnough> {
    let mut stations: Vec<Station, S> = Vec::new();
    for (_, reading) in all(readings) {
        if !stations.iter().any(|s| same_station(s.target, reading.target)) {
            let station = Station {
                target: reading.target,
                reversal_mm: 0.0,
                plus: Group::default(),
                minus: Group::default(),
                lost_motion: Estimate::ZERO,
                repeatability_mm: 0.0,
                rounding_mm: 0.0,
                slipping_mm: (0.0, 0.0),
            };
            stations.push(station).map_err(|_| NotEnough::TooManyStations { room: S })?;
        }
    }
    Ok(stations)
}

/// The readings with their indices.
pub(in crate::measure) fn all<'a>(readings: &'a dyn Series) -> impl Iterator<Item = (usize, Reading)> + 'a {
    (0..readings.count()).filter_map(|i| readings.reading(i).map(|r| (i, r)))
}

/// The used readings at a station, with their indices.
pub(in crate::measure) fn used_at<'a>(
    readings: &'a dyn Series,
    is_used: &'a impl Fn(usize) -> bool,
    target: Length,
) -> impl Iterator<Item = (usize, Reading)> + 'a {
    all(readings).filter(move |(i, r)| same_station(r.target, target) && is_used(*i))
}

pub(super) fn same_station(a: Length, b: Length) -> bool {
    a.saturating_sub(b).saturating_abs() < SAME_STATION
}

/// Whether a station has two readings from each approach, as two cycles give.
fn enough(readings: &dyn Series, target: Length) -> Result<(), NotEnough> {
    for approach in [Direction::Plus, Direction::Minus] {
        match used_at(readings, &|_| true, target).filter(|(_, r)| r.approach == approach).count() {
            0 => return Err(NotEnough::OneApproach { target, missing: approach }),
            1 => return Err(NotEnough::OneCycle { target, approach }),
            _ => {}
        }
    }
    Ok(())
}

/// The two readings of which one was to be set aside, where there are no others at their station from their approach.
fn one_of_two(readings: &dyn Series, set_aside: &[SetAside]) -> Option<(usize, usize)> {
    set_aside.iter().find_map(|out| {
        let own = readings.reading(usize::from(out.index))?;
        let mut alike = used_at(readings, &|_| true, own.target).filter(|(_, r)| r.approach == own.approach);
        let (first, second) = (alike.next()?.0, alike.next()?.0);
        alike.next().is_none().then_some((first, second))
    })
}

/// Means and standard deviations by approach, from the station's first used reading.
pub(in crate::measure) fn plain_statistics(
    readings: &dyn Series,
    motion: f64,
    is_used: &impl Fn(usize) -> bool,
    station: &mut Station,
) {
    let at = || used_at(readings, is_used, station.target);
    let first = at().next().map_or(0.0, |(_, r)| r.value_mm);
    let group = |approach: Direction| {
        let values = || {
            at().filter(move |(_, r)| r.approach == approach).map(move |(_, r)| motion * (r.value_mm - first))
        };
        let n = values().count() as u32;
        let mean_mm = values().sum::<f64>() / f64::from(n.max(1));
        let squares = values().map(|v| (v - mean_mm) * (v - mean_mm)).sum::<f64>();
        let s_mm = (n > 1).then(|| libm::sqrt(squares / (f64::from(n) - 1.0)));
        Group { n, mean_mm, s_mm }
    };
    let (plus, minus) = (group(Direction::Plus), group(Direction::Minus));
    station.reversal_mm = plus.mean_mm - minus.mean_mm;
    station.plus = plus;
    station.minus = minus;
}

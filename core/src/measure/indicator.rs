//! The indicator test: the indicator brought again and again onto a fixed face.
//!
//! The standard deviation of its readings is its own repeatability, its hysteresis the mean reading approached `-` less the
//! mean reading approached `+`, in the sense in which it reads: positive when the dial lags. The
//! hysteresis is what a reversal test would find of an axis without lost motion, and is estimated as there,
//! apart from drift of the stand and from misread dials.
//!
//! ISO 463 (dial gauges) and ISO 9493 (lever-type indicators) limit these errors; they name hysteresis and
//! repeatability as characteristics and define how to find them (recalled from memory). The limits are the maker's.
//!
//! The interval of a standard deviation is lopsided: here it is the deviation ± as much of itself as makes the
//! chi-square distribution leave out 5 % in all.

use crate::axis::Direction;
use crate::length::Length;
use crate::measure::chi_square;
use crate::measure::misreads::is_out;
use crate::measure::outlying::{self, Model, Out};
use crate::measure::regression::LeastSquares;
use crate::measure::reversal::{self, MOST_SET_ASIDE, Series, SetAside, undithered};
use crate::measure::setup::OutOfRange;
use crate::measure::uncertainty::{Contribution, Source, combine};
use crate::measure::{Estimate, Setup};
use core::fmt;
use heapless::Vec;

/// One reading.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Reading {
    /// The direction in which the axis moved last; the hysteresis is given only if every reading has it.
    pub approach: Option<Direction>,
    /// What the dial showed, in millimetres.
    pub value_mm: f64,
}

/// The fewest readings that are assessed.
pub const FEWEST: usize = 4;

/// The result of an indicator test. Lengths are millimetres on the dial: no angle enters.
#[derive(Clone, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Assessment {
    /// The standard deviation of one reading about its approach's mean, or about the one mean of all where approaches
    /// are not given: then the hysteresis is within it.
    pub s: Estimate,
    /// The hysteresis, positive when the dial lags; with approaches from both sides.
    pub hysteresis: Option<Estimate>,
    /// The parts of the standard uncertainty of the hysteresis, or without one of the standard deviation.
    pub budget: Vec<Contribution, 6>,
    /// How many readings were used.
    pub used: u32,
    /// The readings set aside, by rising index.
    pub set_aside: Vec<SetAside, MOST_SET_ASIDE>,
}

/// Why an indicator test cannot be assessed: what is missing.
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
    /// Approaches are given, but from one side only one reading or none.
    OneApproach {
        /// The approach of which there are too few.
        missing: Direction,
    },
    /// Of the only two readings from an approach one is misread, and two do not tell which.
    OneOfTwo {
        /// The index of the first, from 0.
        first: usize,
        /// The index of the second.
        second: usize,
    },
    /// More readings than can be used.
    TooMany {
        /// How many there are.
        found: usize,
        /// The most.
        room: usize,
    },
    /// A reading is not a finite number.
    NotFinite {
        /// Its index, from 0.
        index: usize,
    },
    /// A value of the setup cannot be.
    Setup(OutOfRange),
}

impl fmt::Display for NotEnough {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            NotEnough::TooFew { found, needed } => {
                write!(f, "{found} readings; the indicator's repeatability needs {needed} or more")
            }
            NotEnough::OneApproach { missing } => {
                write!(f, "fewer than two readings were approached in the {missing} direction")
            }
            NotEnough::OneOfTwo { first, second } => write!(
                f,
                "readings {} and {}, the only two from their approach, are so far apart that one is misread, and two do \
                 not tell which",
                first.saturating_add(1),
                second.saturating_add(1)
            ),
            NotEnough::TooMany { found, room } => write!(f, "{found} readings; at most {room} can be used"),
            NotEnough::NotFinite { index } => {
                write!(f, "reading {} is not a finite number", index.saturating_add(1))
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

/// Assesses an indicator test.
///
/// ```
/// use takeup_core::axis::Direction::{Minus, Plus};
/// use takeup_core::measure::{Setup, indicator::{Reading, assess}};
/// let up = [0.100, 0.101, 0.100, 0.099].map(|value_mm| Reading { approach: Some(Plus), value_mm });
/// let down = [0.104, 0.103, 0.104, 0.105].map(|value_mm| Reading { approach: Some(Minus), value_mm });
/// let readings: Vec<Reading> = up.into_iter().zip(down).flat_map(|(a, b)| [a, b]).collect();
/// let result = assess(&readings, &Setup::default()).unwrap();
/// assert!((result.hysteresis.unwrap().value - 0.004).abs() < 2e-4);
/// assert!((result.s.value - 0.000_816).abs() < 1e-6);
/// ```
pub fn assess(readings: &[Reading], setup: &Setup) -> Result<Assessment, NotEnough> {
    let setup = setup.checked()?;
    let found = readings.len();
    if found < FEWEST {
        return Err(NotEnough::TooFew { found, needed: FEWEST });
    }
    let room = usize::from(u16::MAX);
    if found > room {
        return Err(NotEnough::TooMany { found, room });
    }
    if let Some(index) = readings.iter().position(|r| !r.value_mm.is_finite()) {
        return Err(NotEnough::NotFinite { index });
    }
    // Of the indicator alone: nothing that stands for its error, its hysteresis or its angle is asked.
    let bare = Setup { resolution_mm: setup.resolution_mm, sense: setup.sense, ..Setup::default() };
    if readings.iter().all(|r| r.approach.is_some()) {
        return both_ways(readings, &bare);
    }
    let mean = Mean { readings, least_variance: bare.least_variance() };
    let set_aside = outlying::find(&mean, setup.resolution_mm);
    let (_, squares, dof) = mean.of(&set_aside);
    let s = deviation(libm::sqrt(squares / dof), dof, bare.resolution_mm);
    Ok(Assessment {
        s: combine(s.value, s.parts.iter().map(|p| (p.standard_uncertainty, p.dof))),
        hysteresis: None,
        budget: s.parts,
        used: found.saturating_sub(set_aside.len()) as u32,
        set_aside,
    })
}

fn both_ways(readings: &[Reading], bare: &Setup) -> Result<Assessment, NotEnough> {
    for missing in [Direction::Plus, Direction::Minus] {
        if readings.iter().filter(|r| r.approach == Some(missing)).count() < 2 {
            return Err(NotEnough::OneApproach { missing });
        }
    }
    let result = reversal::assess::<1>(&Reversals(readings), bare).map_err(|error| match error {
        reversal::NotEnough::NotFinite { index } => NotEnough::NotFinite { index },
        reversal::NotEnough::OneOfTwo { first, second } => NotEnough::OneOfTwo { first, second },
        reversal::NotEnough::Setup(what) => NotEnough::Setup(what),
        reversal::NotEnough::TooManyReadings { found, room } => NotEnough::TooMany { found, room },
        // The readings were counted above.
        _ => NotEnough::TooFew { found: readings.len(), needed: FEWEST },
    })?;
    let (mut squares, mut dof) = (0.0, 0.0);
    for station in &result.stations {
        for group in [station.plus, station.minus] {
            if let Some(s) = group.s_mm {
                let own = f64::from(group.n) - 1.0;
                squares += own * s * s;
                dof += own;
            }
        }
    }
    let dof = libm::fmax(dof, 1.0);
    let s = deviation(libm::sqrt(squares / dof), dof, bare.resolution_mm);
    Ok(Assessment {
        s: combine(s.value, s.parts.iter().map(|p| (p.standard_uncertainty, p.dof))),
        hysteresis: Some(result.lost_motion),
        budget: result.budget,
        used: result.used,
        set_aside: result.set_aside,
    })
}

/// A standard deviation with what makes up its uncertainty.
struct Deviation {
    value: f64,
    parts: Vec<Contribution, 6>,
}

fn deviation(s: f64, dof: f64, resolution_mm: f64) -> Deviation {
    let mut parts = Vec::new();
    for (source, standard_uncertainty, dof) in [
        (Source::Repeatability, chi_square::spread(s, dof).standard_uncertainty, dof),
        // Scatter that spreads over steps holds their rounding; scatter within a step does not show.
        (Source::Resolution, undithered(resolution_mm, s), f64::INFINITY),
    ] {
        if source == Source::Repeatability || standard_uncertainty > 0.0 {
            // Two sources, room for six.
            let _ = parts.push(Contribution { source, standard_uncertainty, dof });
        }
    }
    Deviation { value: s, parts }
}

/// The readings as those of a reversal test at one station.
struct Reversals<'a>(&'a [Reading]);

impl Series for Reversals<'_> {
    fn count(&self) -> usize {
        self.0.len()
    }

    fn reading(&self, index: usize) -> Option<reversal::Reading> {
        let reading = self.0.get(index)?;
        let approach = reading.approach?;
        let cycle = (index / 2).saturating_add(1) as u16;
        let value_mm = reading.value_mm;
        Some(reversal::Reading { target: Length::ZERO, cycle, approach, value_mm, time_s: None })
    }
}

/// One mean for all readings.
struct Mean<'a> {
    readings: &'a [Reading],
    least_variance: f64,
}

impl Mean<'_> {
    /// The mean, the sum of squares about it and its degrees of freedom.
    fn of(&self, out: &Out) -> (f64, f64, f64) {
        let used =
            || self.readings.iter().enumerate().filter(|(i, _)| !is_out(out, *i)).map(|(_, r)| r.value_mm);
        let n = used().count() as f64;
        let mean = used().sum::<f64>() / n;
        (mean, used().map(|v| (v - mean) * (v - mean)).sum(), libm::fmax(n - 1.0, 1.0))
    }
}

impl Model for Mean<'_> {
    fn count(&self) -> usize {
        self.readings.len()
    }

    fn log_likelihood(&self, out: &Out) -> Option<f64> {
        let mut squares = LeastSquares::<1>::new();
        let first = self.readings.first()?.value_mm;
        for (index, reading) in self.readings.iter().enumerate() {
            if !is_out(out, index) {
                squares.add([1.0], reading.value_mm - first);
            }
        }
        let fit = squares.solve().ok()?;
        (fit.dof >= 2.0).then(|| outlying::log_likelihood(&fit, self.least_variance * fit.dof))
    }

    fn expected(&self, out: &Out, mut take: impl FnMut(usize, f64, f64)) {
        let (mean, _, _) = self.of(out);
        for (index, reading) in self.readings.iter().enumerate() {
            take(index, reading.value_mm, mean);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_lagging_dial_is_positive_whichever_way_it_reads() {
        for sense in [Direction::Plus, Direction::Minus] {
            let readings: std::vec::Vec<Reading> = (0..10)
                .map(|i| {
                    let approach = if i % 2 == 0 { Direction::Plus } else { Direction::Minus };
                    // The dial lags by 0.004 mm the way it moves.
                    let lag = 0.002 * approach.signum() * sense.signum();
                    Reading { approach: Some(approach), value_mm: 0.2 - lag }
                })
                .collect();
            let result = assess(&readings, &Setup { sense, angle_deg: 30.0, ..Setup::default() }).unwrap();
            assert!((result.hysteresis.unwrap().value - 0.004).abs() < 1e-9, "{result:?}");
        }
    }

    #[test]
    fn too_little_is_refused() {
        let one = Reading { approach: None, value_mm: 0.1 };
        assert_eq!(assess(&[one; 3], &Setup::default()), Err(NotEnough::TooFew { found: 3, needed: FEWEST }));
        let plus = Reading { approach: Some(Direction::Plus), value_mm: 0.1 };
        assert_eq!(
            assess(&[plus; 6], &Setup::default()),
            Err(NotEnough::OneApproach { missing: Direction::Minus })
        );
        assert_eq!(
            assess(&[Reading { value_mm: f64::NAN, ..one }; 6], &Setup::default()),
            Err(NotEnough::NotFinite { index: 0 })
        );
    }
}

//! Why a reversal test is refused.

use crate::axis::Direction;
use crate::length::Length;
use crate::measure::setup::OutOfRange;
use core::fmt;

/// Why a reversal test cannot be assessed: what is missing.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum NotEnough {
    /// There are no readings.
    NoReadings,
    /// No reading at this station was approached this way.
    OneApproach {
        /// The station.
        target: Length,
        /// The approach that is missing.
        missing: Direction,
    },
    /// A station has one reading from an approach, so how well it repeats is not known.
    OneCycle {
        /// The station.
        target: Length,
        /// The approach.
        approach: Direction,
    },
    /// Of the only two readings at a station from an approach one is misread, and two do not tell which.
    OneOfTwo {
        /// The index of the first, from 0.
        first: usize,
        /// The index of the second.
        second: usize,
    },
    /// More stations than there is room for.
    TooManyStations {
        /// The most.
        room: usize,
    },
    /// More readings than can be numbered.
    TooManyReadings {
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
    /// A value of the setup cannot be.
    Setup(OutOfRange),
}

impl fmt::Display for NotEnough {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            NotEnough::NoReadings => f.write_str("there are no readings"),
            NotEnough::OneApproach { target, missing } => {
                write!(f, "no reading at {} mm was approached in the {missing} direction", target.as_mm())
            }
            NotEnough::OneCycle { target, approach } => write!(
                f,
                "only one reading at {} mm was approached in the {approach} direction; two cycles or more are needed",
                target.as_mm()
            ),
            NotEnough::OneOfTwo { first, second } => write!(
                f,
                "readings {} and {}, the only two at their station from their approach, are so far apart that one is \
                 misread, and two do not tell which",
                first.saturating_add(1),
                second.saturating_add(1)
            ),
            NotEnough::TooManyStations { room } => write!(f, "more than {room} stations"),
            NotEnough::TooManyReadings { found, room } => {
                write!(f, "{found} readings; at most {room} can be used")
            }
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

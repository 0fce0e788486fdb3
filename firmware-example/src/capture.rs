//! Readings of a reversal test, taken through an [`Indicator`] as the axis goes through its plan.

use crate::indicator::{Fault, Indicator};
use core::fmt;
use heapless::Vec;
use takeup_core::length::Length;
use takeup_core::measure::reversal::Reading;
use takeup_core::measure::routine::{ReversalPlan, Step};

/// What moves the axis, and waits until it has settled.
pub trait Drive {
    /// Moves to a commanded position and returns when the axis stands there, looking at the
    /// indicator often enough on the way that no count is missed.
    fn go(&mut self, to: Length, indicator: &mut impl Indicator) -> Result<(), Fault>;
}

/// Why the readings could not be taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Error {
    /// The indicator failed.
    Indicator(Fault),
    /// The plan has more readings than there is room for.
    NoRoom {
        /// The most readings.
        room: usize,
    },
}

impl From<Fault> for Error {
    fn from(fault: Fault) -> Self {
        Error::Indicator(fault)
    }
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Error::Indicator(fault) => fault.fmt(f),
            Error::NoRoom { room } => {
                write!(f, "the plan has more than the {room} readings there is room for")
            }
        }
    }
}

impl core::error::Error for Error {}

/// Goes through a plan and takes its readings, at most `N`.
pub fn reversal<const N: usize>(
    plan: &ReversalPlan<'_>,
    drive: &mut impl Drive,
    indicator: &mut impl Indicator,
) -> Result<Vec<Reading, N>, Error> {
    let mut readings = Vec::new();
    for step in plan.steps() {
        match step {
            Step::Move { to, .. } => drive.go(to, indicator)?,
            Step::Read(stop) => {
                let reading = Reading {
                    target: stop.target,
                    cycle: stop.cycle,
                    approach: stop.approach,
                    value_mm: f64::from(indicator.poll(0)?.counts) * indicator.count_mm(),
                    time_s: None,
                };
                readings.push(reading).map_err(|_| Error::NoRoom { room: N })?;
            }
        }
    }
    Ok(readings)
}

//! The indicator as the box sees it: counts that arrive over wires.

mod quadrature;
mod scale;

use core::fmt;

pub use quadrature::Quadrature;
pub use scale::Scale;

/// Where readings come from.
pub trait Indicator {
    /// Looks at the wires once. Call it more often than the wires change.
    ///
    /// Gives the position in the indicator's own counts, from wherever it stood at the start.
    fn poll(&mut self, now_us: u64) -> Result<Look, Fault>;

    /// The length of one count in millimetres.
    fn count_mm(&self) -> f64;

    /// The longest time from a motion to the look that shows it.
    fn delay_us(&self) -> u64;
}

/// What the indicator showed, and when.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Look {
    /// The position in counts.
    pub counts: i32,
    /// When the indicator took it; it does not show what moved later.
    pub taken_us: u64,
}

/// Why the indicator cannot be believed. It stays so until the indicator is set up again.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Fault {
    /// Both signals changed between two looks: at least one count was missed.
    Missed,
    /// More counts than can be held.
    OutOfRange,
    /// A pin could not be read.
    Pin,
    /// Nothing whole has come for too long.
    Silent,
    /// It was switched to inches.
    OtherUnits,
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Fault::Missed => "a count of the indicator was missed: it moved faster than it is looked at",
            Fault::OutOfRange => "the indicator left the range of its counter",
            Fault::Pin => "a pin of the indicator cannot be read",
            Fault::Silent => "the indicator has sent nothing whole for too long",
            Fault::OtherUnits => "the indicator shows inches: switch it to millimetres",
        })
    }
}

impl core::error::Error for Fault {}

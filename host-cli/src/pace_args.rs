//! How a probe box goes about a test, on the command line.

use crate::refusal::Refusal;
use crate::units::{LengthArg, number};
use takeup_core::length::{Length, Unit};

/// The pace, as typed; flatten it into the `Args` of a command whose box has the id `probe_box`.
#[derive(Clone, Debug, clap::Args)]
pub struct PaceArgs {
    /// Where the axis stands now, as you have looked; needed after each start of the box
    #[arg(long, value_name = "POSITION", allow_hyphen_values = true, requires = "probe_box")]
    stands_at: Option<LengthArg>,
    /// Highest speed of the box, in --units per second [default: that of the box]
    #[arg(long, value_name = "SPEED", allow_hyphen_values = true, requires = "probe_box")]
    speed: Option<LengthArg>,
    /// Seconds for which the indicator must stand still before the box reads it
    #[arg(long, value_name = "SECONDS", default_value = "1", requires = "probe_box", value_parser = number)]
    settle: f64,
}

/// How a box is to go about a test.
#[derive(Clone, Copy, Debug)]
pub struct Pace {
    /// How long the indicator must stand still before each reading, in milliseconds.
    pub settle_ms: u16,
    /// The highest speed per second; that of the box where it is not given.
    pub speed: Option<Length>,
    /// Where the person says the axis stands, if the box does not know.
    pub stands_at: Option<Length>,
}

impl PaceArgs {
    /// The pace, where lengths without a unit are in `unit`.
    ///
    /// # Errors
    /// When it is out of range.
    pub fn pace(&self, unit: Unit) -> Result<Pace, Refusal> {
        if !(0.0..=60.0).contains(&self.settle) {
            return Err(Refusal::new(
                format!("--settle is {} seconds, 0 to 60 was expected", self.settle),
                "Give the seconds that the axis needs to settle, such as 1.",
            ));
        }
        Ok(Pace {
            settle_ms: (self.settle * 1000.0) as u16,
            speed: self.speed.map(|speed| speed.length(unit)),
            stands_at: self.stands_at.map(|at| at.length(unit)),
        })
    }
}

//! Condition over time: did a repair change the axis, is it getting worse, and when is the limit reached?
//!
//! A tour of the files:
//!
//! - [`compare`]: one assessment before and one after; the change with its interval, the ratio of repeatabilities.
//! - [`cusum`] and [`ewma`]: two control charts on standardised values, each designed from a stated shift and a stated
//!   run length between false alarms.
//! - [`run_length`]: how long each chart runs before it signals, computed rather than looked up.
//! - [`watch`]: sessions in the order they were taken, unevenly spaced and of unequal uncertainty, through both charts;
//!   restarted at events that change the machine; alarms with their reason.
//! - [`forecast`]: a straight line through the sessions since the last such event, and when it reaches the limit.
//!
//! Times are numbers of days from any origin the caller likes. Values are lengths in any one unit; the results come in
//! the same unit. Nothing here allocates or keeps a history: a watch is a few sums, whatever the number of sessions.

pub mod compare;
pub mod cusum;
pub mod ewma;
pub mod forecast;
pub mod run_length;
pub mod watch;

/// One session as the trend sees it: when, how much, and how well known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Session {
    /// Days from the caller's origin.
    pub day: f64,
    /// The quantity watched, for example lost motion.
    pub value: f64,
    /// Its standard uncertainty, in the unit of the value.
    pub standard_uncertainty: f64,
    /// Degrees of freedom of that uncertainty; infinity where it is known exactly.
    pub dof: f64,
}

/// Why a session cannot enter a trend.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum SessionError {
    /// The day or the value is not a finite number.
    NotFinite,
    /// A standard uncertainty is a positive number.
    Uncertainty {
        /// What was given.
        found: f64,
    },
    /// Degrees of freedom are positive.
    DegreesOfFreedom {
        /// What was given.
        found: f64,
    },
}

impl core::fmt::Display for SessionError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::NotFinite => f.write_str("the day and the value of a session must be finite numbers"),
            Self::Uncertainty { found } => {
                write!(f, "a standard uncertainty must be positive and finite, found {found}")
            }
            Self::DegreesOfFreedom { found } => {
                write!(f, "degrees of freedom must be positive, found {found}")
            }
        }
    }
}

impl core::error::Error for SessionError {}

impl Session {
    /// Whether every number can be used.
    ///
    /// # Errors
    /// Says which number cannot.
    pub fn check(&self) -> Result<(), SessionError> {
        if !self.day.is_finite() || !self.value.is_finite() {
            return Err(SessionError::NotFinite);
        }
        if !(self.standard_uncertainty > 0.0 && self.standard_uncertainty.is_finite()) {
            return Err(SessionError::Uncertainty { found: self.standard_uncertainty });
        }
        if self.dof > 0.0 { Ok(()) } else { Err(SessionError::DegreesOfFreedom { found: self.dof }) }
    }
}

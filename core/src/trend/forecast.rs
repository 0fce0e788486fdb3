//! A straight line through the sessions since the last event, and when it reaches the limit.
//!
//! Weighted least squares; the uncertainties of the line go with the ratio of the scatter found to the scatter
//! expected (R. T. Birge, Physical Review 40 (1932) 207-227). When the limit is reached follows by inverse
//! prediction: all times at which the band of the line contains it (E. C. Fieller, J. Royal Statistical Society B 16 (1954)
//! 175-185). The answer is withheld where the data do not carry it, with what is missing.

use super::{Session, SessionError};
use crate::measure::Estimate;
use crate::measure::regression::{Fit, LeastSquares};
use crate::measure::student;

/// Fewest sessions for a forecast.
pub const FEWEST_SESSIONS: u32 = 6;
/// A forecast reaches ahead at most this many times the span of the sessions.
pub const REACH: f64 = 2.0;

/// The sessions so far, condensed.
#[derive(Debug, Clone, Copy)]
pub struct Line {
    straight: LeastSquares<2>,
    curved: LeastSquares<3>,
    first: f64,
    last: f64,
}

/// The line through the sessions.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Slope {
    /// Change per day.
    pub per_day: Estimate,
    /// Value of the line at the day of the last session.
    pub now: Estimate,
}

/// When the line reaches the limit, in days of the sessions' count; 95 %.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reaches {
    /// Earliest.
    pub from: f64,
    /// Where the line itself crosses.
    pub expected: f64,
    /// Latest.
    pub to: f64,
}

/// Why no forecast is made.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Missing {
    /// Too few sessions since the last event.
    Sessions {
        /// How many there are.
        found: u32,
        /// How many it takes.
        needed: u32,
    },
    /// All sessions are at the same time.
    Span,
    /// No change towards the limit is shown.
    Change {
        /// Change per day with its uncertainty.
        per_day: Estimate,
    },
    /// The change is not along a straight line: it bends, and a line would mislead.
    Straightness {
        /// The bend, per day and day, with its uncertainty.
        bend: Estimate,
    },
    /// The line is already at the limit or beyond.
    AlreadyThere {
        /// The line now.
        now: Estimate,
    },
    /// The limit is further ahead than the data reach.
    TooFarAhead {
        /// The furthest day the data support.
        supported: f64,
    },
}

impl Line {
    /// No sessions yet.
    #[must_use]
    pub fn new() -> Self {
        Self { straight: LeastSquares::new(), curved: LeastSquares::new(), first: f64::NAN, last: f64::NAN }
    }

    /// Takes a session, with what a fresh set-up adds beside its own uncertainty.
    ///
    /// # Errors
    /// If its numbers cannot be used.
    pub fn push(&mut self, session: Session, set_up: f64) -> Result<(), SessionError> {
        session.check()?;
        if self.straight.rows() == 0 {
            self.first = session.day;
        }
        self.last = session.day;
        let t = session.day - self.first;
        let root = 1.0 / libm::hypot(session.standard_uncertainty, set_up);
        self.straight.add([root, root * t], root * session.value);
        self.curved.add([root, root * t, root * t * t], root * session.value);
        Ok(())
    }

    /// Sessions taken.
    #[must_use]
    pub const fn sessions(&self) -> u32 {
        self.straight.rows()
    }

    /// The slope with its uncertainty; none with fewer than three sessions or no span.
    #[must_use]
    pub fn slope(&self) -> Option<Slope> {
        let fit = self.straight.solve().ok().filter(|fit| fit.dof >= 1.0)?;
        let scale = scale(&fit);
        let t = self.last - self.first;
        let now = fit.coefficient(0) + fit.coefficient(1) * t;
        let var = fit.cofactor(0, 0) + 2.0 * t * fit.cofactor(0, 1) + t * t * fit.cofactor(1, 1);
        let u = |cofactor: f64| libm::sqrt((scale * cofactor).max(0.0));
        Some(Slope {
            per_day: Estimate {
                value: fit.coefficient(1),
                standard_uncertainty: u(fit.cofactor(1, 1)),
                dof: fit.dof,
            },
            now: Estimate { value: now, standard_uncertainty: u(var), dof: fit.dof },
        })
    }

    /// When the line rises to `limit`.
    ///
    /// # Errors
    /// What is missing for a forecast.
    pub fn reaches(&self, limit: f64) -> Result<Reaches, Missing> {
        let found = self.sessions();
        if found < FEWEST_SESSIONS {
            return Err(Missing::Sessions { found, needed: FEWEST_SESSIONS });
        }
        let fit = self.straight.solve().map_err(|_| Missing::Span)?;
        let slope = self.slope().ok_or(Missing::Span)?;
        if let Ok(curved) = self.curved.solve() {
            let bend = Estimate {
                value: curved.coefficient(2),
                standard_uncertainty: libm::sqrt((scale(&curved) * curved.cofactor(2, 2)).max(0.0)),
                dof: curved.dof,
            };
            // 99 %: a straight line is the usual case, and this is asked after every session.
            if libm::fabs(bend.value) > bend.expanded(0.99) {
                return Err(Missing::Straightness { bend });
            }
        }
        if slope.now.value >= limit {
            return Err(Missing::AlreadyThere { now: slope.now });
        }
        // (a + b·t − L)² = q²·Var(a + b·t) is a quadratic in t, with two roots around the crossing where the slope is shown.
        let factor = student::coverage_factor(0.95, fit.dof);
        let q2 = factor * factor * scale(&fit);
        let (a, b) = (fit.coefficient(0) - limit, fit.coefficient(1));
        let square = b * b - q2 * fit.cofactor(1, 1);
        // A slope just beyond its interval has been picked for being too steep: half as much again is asked for.
        if b <= 1.5 * slope.per_day.expanded_95() || square <= 0.0 {
            return Err(Missing::Change { per_day: slope.per_day });
        }
        let half = a * b - q2 * fit.cofactor(0, 1);
        let rest = a * a - q2 * fit.cofactor(0, 0);
        let root = libm::sqrt((half * half - square * rest).max(0.0));
        let (from, to) = ((-half - root) / square, (-half + root) / square);
        let expected = -a / b;
        let span = self.last - self.first;
        if expected - span > REACH * span {
            return Err(Missing::TooFarAhead { supported: self.last + REACH * span });
        }
        Ok(Reaches { from: self.first + from, expected: self.first + expected, to: self.first + to })
    }
}

impl Default for Line {
    fn default() -> Self {
        Self::new()
    }
}

/// The square of Birge's ratio. Below 1 too: part of a session's uncertainty is common to all and bends no line; but not
/// below a quarter of the uncertainty, however well a few sessions happen to agree.
fn scale<const P: usize>(fit: &Fit<P>) -> f64 {
    fit.variance().max(0.0625)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(sessions: impl Iterator<Item = (f64, f64)>) -> Line {
        let mut line = Line::new();
        for (day, value) in sessions {
            line.push(Session { day, value, standard_uncertainty: 0.001, dof: 8.0 }, 0.0).unwrap();
        }
        line
    }

    #[test]
    fn exact_line_crosses_where_it_must() {
        // 0.02 mm growing 0.001 mm a day reaches 0.05 mm on day 30, counted from day 100.
        let found =
            line((0..20).map(|i| (100.0 + f64::from(i), 0.02 + 0.001 * f64::from(i)))).reaches(0.05).unwrap();
        assert!((found.expected - 130.0).abs() < 1e-9, "{found:?}");
        assert!(found.from < 130.0 && 130.0 < found.to && found.to - found.from < 4.0, "{found:?}");
    }

    #[test]
    fn says_what_is_missing() {
        let few = line((0..4).map(|i| (f64::from(i), 0.02)));
        assert_eq!(few.reaches(0.05), Err(Missing::Sessions { found: 4, needed: FEWEST_SESSIONS }));
        let flat = line((0..12).map(|i| (f64::from(i), 0.02)));
        assert!(matches!(flat.reaches(0.05), Err(Missing::Change { .. })));
        let bent = line((0..20).map(|i| (f64::from(i), 0.02 + 0.0001 * f64::from(i * i))));
        assert!(matches!(bent.reaches(0.2), Err(Missing::Straightness { .. })));
        let beyond = line((0..12).map(|i| (f64::from(i), 0.05 + 0.001 * f64::from(i))));
        assert!(matches!(beyond.reaches(0.05), Err(Missing::AlreadyThere { .. })));
        let far = line((0..12).map(|i| (f64::from(i), 0.02 + 0.001 * f64::from(i))));
        assert!(matches!(far.reaches(5.0), Err(Missing::TooFarAhead { .. })));
        assert_eq!(line((0..8).map(|_| (1.0, 0.02))).reaches(0.05), Err(Missing::Span));
    }
}

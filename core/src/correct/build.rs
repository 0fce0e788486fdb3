//! A table from measured lost motion.
//!
//! Never correct what was not shown to be there: a station whose lost motion is no larger than its
//! uncertainty is left uncorrected, and an axis without any station that shows lost motion is refused.
//! So is an axis whose loss does not repeat: a correction would move the tool by an amount that is
//! different the next time.
//!
//! The limits here are this project's own: the expanded uncertainty at 95 % for "shown", and twice
//! the standard deviation of a single loss for "repeats".

use core::fmt;

use heapless::Vec;

use super::table::{AxisTable, Invalid, MAX_STATIONS, Station};
use crate::{axis::Direction, length::Length, measure::Estimate};

/// Lost motion measured at one station.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Measured {
    /// Where, as commanded.
    pub position: Length,
    /// The lost motion in millimetres.
    pub lost: Estimate,
}

/// Why measured lost motion does not make a table.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Refusal {
    /// No station shows lost motion beyond its uncertainty.
    NotShown {
        /// The largest lost motion found (mm).
        largest_mm: f64,
        /// Its expanded uncertainty at 95 % (mm).
        uncertainty_mm: f64,
    },
    /// The loss does not repeat: one loss differs from the next by too much of itself.
    DoesNotRepeat {
        /// The mean lost motion (mm).
        lost_mm: f64,
        /// The standard deviation of a single loss (mm).
        scatter_mm: f64,
    },
    /// A station shows negative lost motion: something already corrects too much.
    OverCorrected {
        /// The position of the station.
        position: Length,
        /// The lost motion there (mm).
        lost_mm: f64,
    },
    /// A measured number is not finite.
    NotANumber,
    /// The stations break a rule of tables.
    Invalid(Invalid),
}

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotShown { largest_mm, uncertainty_mm } => write!(
                f,
                "no lost motion is shown: the largest is {largest_mm:.4} mm with an uncertainty of {uncertainty_mm:.4} mm"
            ),
            Self::DoesNotRepeat { lost_mm, scatter_mm } => write!(
                f,
                "the loss does not repeat: {lost_mm:.4} mm on average, but one differs from the next by {scatter_mm:.4} mm (standard deviation)"
            ),
            Self::OverCorrected { position, lost_mm } => write!(
                f,
                "at {} mm the lost motion is {lost_mm:.4} mm: something already corrects too much",
                position.as_mm()
            ),
            Self::NotANumber => write!(f, "a measured number is not finite"),
            Self::Invalid(rule) => rule.fmt(f),
        }
    }
}

impl core::error::Error for Refusal {}

/// Builds the table of an axis from its measured stations, given in any order.
///
/// `repeatability_mm` is the standard deviation of a single reading from one direction; a single
/// loss is the difference of two such readings. Stations whose loss is not shown stay in the table
/// with a correction of zero.
///
/// # Errors
/// [`Refusal`] with the numbers that decided.
pub fn axis_table(
    reference: Direction,
    measured: &[Measured],
    repeatability_mm: f64,
) -> Result<AxisTable, Refusal> {
    let mut stations: Vec<Station, MAX_STATIONS> = Vec::new();
    let (mut sum, mut shown) = (0.0, 0.0);
    let mut largest: Option<Estimate> = None;
    for Measured { position, lost } in measured {
        let uncertainty = lost.expanded_95();
        let to_length = |mm: f64| Length::from_mm(mm).ok_or(Refusal::NotANumber);
        let (value, half_width) = (to_length(lost.value)?, to_length(uncertainty)?);
        if largest.is_none_or(|l| libm::fabs(l.value) < libm::fabs(lost.value)) {
            largest = Some(*lost);
        }
        let is_shown = libm::fabs(lost.value) > uncertainty;
        if is_shown && lost.value < 0.0 {
            return Err(Refusal::OverCorrected { position: *position, lost_mm: lost.value });
        }
        if is_shown {
            sum += lost.value;
            shown += 1.0;
        }
        let correction = if is_shown { value } else { Length::ZERO };
        stations
            .push(Station::of_lost_motion(*position, correction, half_width, reference))
            .map_err(|_| Refusal::Invalid(Invalid::TooMany))?;
    }
    let Some(largest) = largest else { return Err(Refusal::Invalid(Invalid::Empty)) };
    if shown == 0.0 {
        return Err(Refusal::NotShown { largest_mm: largest.value, uncertainty_mm: largest.expanded_95() });
    }
    let lost_mm = sum / shown;
    let scatter_mm = repeatability_mm * core::f64::consts::SQRT_2;
    // A repeatability that is not a number must not pass as a good one.
    if !scatter_mm.is_finite() || 2.0 * scatter_mm >= lost_mm {
        return Err(Refusal::DoesNotRepeat { lost_mm, scatter_mm });
    }
    stations.sort_unstable_by_key(|s| s.position);
    AxisTable::new(reference, &stations).map_err(Refusal::Invalid)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(position_mm: f64, value: f64, standard_uncertainty: f64) -> Measured {
        Measured {
            position: Length::from_mm(position_mm).unwrap(),
            lost: Estimate { value, standard_uncertainty, dof: f64::INFINITY },
        }
    }

    #[test]
    fn stations_are_sorted_and_those_not_shown_stay_uncorrected() {
        let measured = [at(0.0, 0.12, 0.002), at(-80.0, 0.001, 0.002), at(-40.0, 0.10, 0.002)];
        let table = axis_table(Direction::Minus, &measured, 0.003).unwrap();
        let found: std::vec::Vec<_> =
            table.stations().iter().map(|s| (s.position.as_mm(), s.plus.as_mm(), s.minus.as_mm())).collect();
        assert_eq!(found, [(-80.0, 0.0, 0.0), (-40.0, 0.10, 0.0), (0.0, 0.12, 0.0)]);
        assert!((table.stations()[2].uncertainty.as_mm() - 1.96 * 0.002).abs() < 1e-5);
    }

    #[test]
    fn what_was_not_shown_is_not_corrected() {
        let refused = |measured: &[Measured], s| axis_table(Direction::Minus, measured, s).unwrap_err();
        assert!(matches!(refused(&[at(0.0, 0.003, 0.002)], 0.001), Refusal::NotShown { .. }));
        assert!(matches!(refused(&[at(0.0, -0.02, 0.002)], 0.001), Refusal::OverCorrected { .. }));
        assert!(matches!(refused(&[at(0.0, 0.05, 0.002)], 0.02), Refusal::DoesNotRepeat { .. }));
        assert!(matches!(refused(&[at(0.0, 0.05, 0.002)], f64::NAN), Refusal::DoesNotRepeat { .. }));
        assert_eq!(refused(&[at(0.0, f64::NAN, 0.002)], 0.001), Refusal::NotANumber);
        assert_eq!(refused(&[], 0.001), Refusal::Invalid(Invalid::Empty));
        let twice = [at(0.0, 0.05, 0.001), at(0.0, 0.06, 0.001)];
        assert!(matches!(refused(&twice, 0.001), Refusal::Invalid(Invalid::Order { .. })));
    }
}

//! The exponentially weighted moving average chart.
//!
//! Read beforehand: J. M. Lucas and M. S. Saccucci, "Exponentially weighted moving average control schemes", Technometrics
//! 32 (1990) 1-12; NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.4.
//!
//! Values come in standardised. The average forgets with weight λ; it signals beyond L of its own standard deviations,
//! the exact one for the number of values so far, so that a shift in the first sessions is found too.

use super::cusum::Side;
use super::run_length::{self, DesignError};

/// Weight of the newest value, and the limit in standard deviations of the average.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Design {
    /// Weight of the newest value, over 0 to 1.
    pub lambda: f64,
    /// Width of the limits, in standard deviations of the average.
    pub width: f64,
}

impl Design {
    /// The width with which a healthy machine runs `in_control_run_length` sessions on average between false alarms.
    ///
    /// # Errors
    /// If `lambda` is outside 0.1 to 1 or the run length outside 50 to 10 000.
    pub fn for_weight(lambda: f64, in_control_run_length: f64) -> Result<Self, DesignError> {
        let lambda = run_length::checked_weight(lambda)?;
        let width = run_length::limit_for(in_control_run_length, |width| {
            run_length::ewma(Self { lambda, width }, 0.0)
        })?;
        Ok(Self { lambda, width })
    }
}

/// The running average.
///
/// ```
/// use takeup_core::trend::ewma::{Design, Ewma};
/// let mut chart = Ewma::new(Design { lambda: 0.2, width: 2.962 });
/// assert_eq!(chart.push(0.5), None);
/// assert!((chart.average() - 0.1).abs() < 1e-12);
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ewma {
    design: Design,
    average: f64,
    /// (1 − λ)^(2·count): the part of the starting value still in the average, squared.
    start_left: f64,
}

impl Ewma {
    /// The average at the target.
    pub const fn new(design: Design) -> Self {
        Self { design, average: 0.0, start_left: 1.0 }
    }

    /// Takes one standardised value; tells the side on which the average is beyond its limit now. A value that is not
    /// finite changes nothing.
    pub fn push(&mut self, z: f64) -> Option<Side> {
        if z.is_finite() {
            let keep = 1.0 - self.design.lambda;
            self.average = self.design.lambda * z + keep * self.average;
            self.start_left *= keep * keep;
        }
        if self.average > self.limit() {
            Some(Side::Above)
        } else if self.average < -self.limit() {
            Some(Side::Below)
        } else {
            None
        }
    }

    /// The average now, in standard deviations of one value.
    pub const fn average(&self) -> f64 {
        self.average
    }

    /// The limit now, either way from the target, in standard deviations of one value.
    pub fn limit(&self) -> f64 {
        let lambda = self.design.lambda;
        self.design.width * libm::sqrt(lambda / (2.0 - lambda) * (1.0 - self.start_left))
    }

    /// The design it runs on.
    pub const fn design(&self) -> Design {
        self.design
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// NIST/SEMATECH e-Handbook, section 6.3.2.4, worked example: target 50, s = 2.0539, λ = 0.3, steady limits 52.5884
    /// and 47.4115 (recalled from memory: data, averages to two decimals, limits).
    #[test]
    fn handbook_example() {
        let data = [
            52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2,
            52.6, 52.4, 53.6, 52.1,
        ];
        let averages = [
            50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05,
            49.38, 49.92, 50.73, 51.23, 51.94, 51.99,
        ];
        let s = 2.0539;
        let mut chart = Ewma::new(Design { lambda: 0.3, width: 3.0 });
        for (i, x) in data.into_iter().enumerate() {
            let signal = chart.push((x - 50.0) / s);
            let average = 50.0 + s * chart.average();
            assert!(
                (average - averages[i]).abs() < 0.0101,
                "value {}: {average} against {}",
                i + 1,
                averages[i]
            );
            assert_eq!(signal, None, "value {}", i + 1);
        }
        assert!((50.0 + s * chart.limit() - 52.5884).abs() < 2e-3, "{}", 50.0 + s * chart.limit());
    }

    #[test]
    fn limits_start_narrow() {
        // One value: the average is λ·z, its standard deviation λ.
        let mut chart = Ewma::new(Design { lambda: 0.25, width: 3.0 });
        chart.push(0.0);
        assert!((chart.limit() - 0.75).abs() < 1e-12);
        assert_eq!(Ewma::new(chart.design()).push(3.01), Some(Side::Above));
        assert_eq!(Ewma::new(chart.design()).push(-3.01), Some(Side::Below));
    }
}

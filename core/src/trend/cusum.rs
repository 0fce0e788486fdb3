//! The two-sided tabular CUSUM.
//!
//! Read beforehand: D. C. Montgomery, *Introduction to Statistical Quality Control*, chapter on CUSUM charts; NIST/SEMATECH
//! e-Handbook of Statistical Methods, section 6.3.2.3.
//!
//! Each side adds what a value lies beyond the reference value `k` and never falls below zero; a side above `h` signals.
//! Values come in standardised: (value − target) / standard deviation. It finds small lasting shifts sooner than any
//! chart of single values; it is the wrong chart for a rare single outlier, which a plain limit finds at once.

use super::run_length::{self, DesignError};

/// Reference value and decision interval, both in standard deviations.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Design {
    /// Reference value: half the shift that the chart is to find soonest.
    pub k: f64,
    /// Decision interval: the sum that signals.
    pub h: f64,
}

impl Design {
    /// The design that finds a lasting shift of `shift` standard deviations soonest while a healthy machine runs
    /// `in_control_run_length` sessions on average between false alarms of either side.
    ///
    /// # Errors
    /// If the shift is outside 0.2 to 4 or the run length outside 50 to 10 000.
    pub fn for_shift(shift: f64, in_control_run_length: f64) -> Result<Self, DesignError> {
        let k = 0.5 * run_length::checked_shift(shift)?;
        let h = run_length::limit_for(in_control_run_length, |h| run_length::cusum(Self { k, h }, 0.0))?;
        Ok(Self { k, h })
    }
}

/// Which way the values moved.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// Above the target.
    Above,
    /// Below the target.
    Below,
}

/// Running sums of both sides.
///
/// ```
/// use takeup_core::trend::cusum::{Cusum, Design, Side};
/// let mut chart = Cusum::new(Design { k: 0.5, h: 5.0 });
/// let shifted = [0.1, 1.8, 2.2, 1.9, 2.4];
/// let signal = shifted.into_iter().filter_map(|z| chart.push(z)).next();
/// assert_eq!(signal, Some(Side::Above));
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cusum {
    design: Design,
    above: f64,
    below: f64,
}

impl Cusum {
    /// Both sums at zero.
    pub const fn new(design: Design) -> Self {
        Self { design, above: 0.0, below: 0.0 }
    }

    /// Takes one standardised value; tells the side that is beyond `h` now. A value that is not finite changes nothing.
    pub fn push(&mut self, z: f64) -> Option<Side> {
        if z.is_finite() {
            self.above = (self.above + z - self.design.k).max(0.0);
            self.below = (self.below - z - self.design.k).max(0.0);
        }
        if self.above > self.design.h {
            Some(Side::Above)
        } else if self.below > self.design.h {
            Some(Side::Below)
        } else {
            None
        }
    }

    /// Sum of the side above, in standard deviations.
    pub const fn above(&self) -> f64 {
        self.above
    }

    /// Sum of the side below, in standard deviations, positive.
    pub const fn below(&self) -> f64 {
        self.below
    }

    /// The design it runs on.
    pub const fn design(&self) -> Design {
        self.design
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// NIST/SEMATECH e-Handbook, section 6.3.2.3, worked example: target 325, k = 0.3175, h = 4.1959, both in the unit of
    /// the data (recalled from memory: data and the sums to two decimals).
    #[test]
    fn handbook_example() {
        let data = [
            324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600,
            324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350,
        ];
        let above = [
            0.00, 0.00, 0.00, 0.00, 0.03, 0.00, 0.00, 0.00, 0.00, 0.00, 0.00, 0.00, 3.01, 4.94, 7.45, 10.63,
            11.99, 14.44, 16.00, 19.04,
        ];
        let below = [
            0.00, 0.01, 0.00, 0.33, 0.00, 0.00, 0.56, 0.72, 0.17, 0.25, 0.31, 0.00, 0.00, 0.00, 0.00, 0.00,
            0.00, 0.00, 0.00, 0.00,
        ];
        let mut chart = Cusum::new(Design { k: 0.3175, h: 4.1959 });
        for (i, x) in data.into_iter().enumerate() {
            let signal = chart.push(x - 325.0);
            assert!(
                (chart.above() - above[i]).abs() < 0.0101,
                "group {}: {} against {}",
                i + 1,
                chart.above(),
                above[i]
            );
            assert!(
                (chart.below() - below[i]).abs() < 0.0101,
                "group {}: {} against {}",
                i + 1,
                chart.below(),
                below[i]
            );
            assert_eq!(signal, (i >= 13).then_some(Side::Above), "group {}", i + 1);
        }
    }

    #[test]
    fn mirror_image_signals_below() {
        let mut chart = Cusum::new(Design { k: 0.5, h: 4.0 });
        let signal = (0..20).find_map(|_| chart.push(-1.5));
        assert_eq!(signal, Some(Side::Below));
        assert_eq!(chart.above(), 0.0);
    }

    #[test]
    fn not_a_number_changes_nothing() {
        let mut chart = Cusum::new(Design { k: 0.5, h: 4.0 });
        chart.push(2.0);
        let before = chart;
        for z in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            assert_eq!(chart.push(z), None);
            assert_eq!(chart, before);
        }
    }
}

//! A value with its standard uncertainty and the degrees of freedom behind it (JCGM 100).

use crate::measure::student;

/// A measured value and what is known of its error.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Estimate {
    /// The value, in the unit of what is measured.
    pub value: f64,
    /// Its standard uncertainty, in the same unit; never negative.
    pub standard_uncertainty: f64,
    /// Degrees of freedom of the standard uncertainty; may be infinite.
    pub dof: f64,
}

impl Estimate {
    /// Nothing measured: zero, with no uncertainty.
    pub const ZERO: Estimate = Estimate { value: 0.0, standard_uncertainty: 0.0, dof: f64::INFINITY };

    /// The half width of the interval that holds the true value with a probability between 0 and 1,
    /// by Student's t (JCGM 100 clause 6.3 and annex G).
    #[must_use]
    pub fn expanded(&self, probability: f64) -> f64 {
        if self.standard_uncertainty == 0.0 {
            return 0.0;
        }
        student::coverage_factor(probability, self.dof) * self.standard_uncertainty
    }

    /// The half width of the 95 % interval.
    ///
    /// ```
    /// use takeup_core::measure::Estimate;
    /// // Student's t for 8 degrees of freedom, NIST/SEMATECH e-Handbook, table 1.3.6.7.2 (recalled from memory).
    /// let lost = Estimate { value: 0.118, standard_uncertainty: 0.002, dof: 8.0 };
    /// assert!((lost.expanded_95() - 2.306 * 0.002).abs() < 1e-6);
    /// ```
    #[must_use]
    pub fn expanded_95(&self) -> f64 {
        self.expanded(0.95)
    }

    /// The lower end of the 95 % interval.
    #[must_use]
    pub fn low_95(&self) -> f64 {
        self.value - self.expanded_95()
    }

    /// The upper end of the 95 % interval.
    #[must_use]
    pub fn high_95(&self) -> f64 {
        self.value + self.expanded_95()
    }

    /// The same estimate in another unit, or with another sign.
    #[must_use]
    pub fn scaled(&self, factor: f64) -> Self {
        Self {
            value: self.value * factor,
            standard_uncertainty: self.standard_uncertainty * libm::fabs(factor),
            dof: self.dof,
        }
    }
}

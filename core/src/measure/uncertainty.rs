//! How standard uncertainties combine: the budget of a measurement (JCGM 100 clauses 5 and G.4).

use crate::measure::Estimate;

/// Where a part of the uncertainty comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Source {
    /// The scatter of the readings themselves.
    Repeatability,
    /// The steps in which the indicator can be read.
    Resolution,
    /// The error of the indicator over the span used.
    IndicatorError,
    /// What the indicator itself adds to a reversal.
    IndicatorHysteresis,
    /// The angle between the stylus and the axis.
    Alignment,
    /// Growth by temperature while the readings were taken.
    Temperature,
}

impl Source {
    /// The name in documents and tables.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Source::Repeatability => "repeatability",
            Source::Resolution => "resolution",
            Source::IndicatorError => "indicator error",
            Source::IndicatorHysteresis => "indicator hysteresis",
            Source::Alignment => "alignment",
            Source::Temperature => "temperature",
        }
    }
}

/// One part of a budget.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Contribution {
    /// Where it comes from.
    pub source: Source,
    /// What it contributes to the standard uncertainty of the result, in the unit of the result.
    pub standard_uncertainty: f64,
    /// Its degrees of freedom; infinite where limits were given.
    pub dof: f64,
}

/// The standard uncertainty of a quantity that lies anywhere within ± a half width (JCGM 100, 4.3.7).
#[must_use]
pub fn rectangular(half_width: f64) -> f64 {
    libm::fabs(half_width) / SQRT_3
}

const SQRT_3: f64 = 1.732_050_807_568_877_2;

/// The value with the combined standard uncertainty of independent parts and its effective degrees
/// of freedom by the Welch–Satterthwaite formula (JCGM 100, equations 10 and G.2b).
///
/// Each part is a standard uncertainty, in the unit of the result, with its degrees of freedom.
///
/// ```
/// use takeup_core::measure::uncertainty::combine;
/// let sum = combine(0.118, [(0.003, 8.0), (0.004, f64::INFINITY)]);
/// assert!((sum.standard_uncertainty - 0.005).abs() < 1e-15);
/// assert!((sum.dof - 8.0 * 625.0 / 81.0).abs() < 1e-9);
/// ```
#[must_use]
pub fn combine(value: f64, parts: impl IntoIterator<Item = (f64, f64)>) -> Estimate {
    let (mut variance, mut fourth) = (0.0, 0.0);
    for (u, dof) in parts {
        let square = u * u;
        variance += square;
        fourth += square * square / dof;
    }
    let dof = if fourth > 0.0 { variance * variance / fourth } else { f64::INFINITY };
    Estimate { value, standard_uncertainty: libm::sqrt(variance), dof }
}

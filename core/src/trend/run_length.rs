//! Average run length of both charts: how many values until a signal.
//!
//! The run length from a given state of a chart obeys an integral equation, solved here at Gauss-Legendre nodes:
//! E. S. Page, "Continuous inspection schemes", Biometrika 41 (1954) 100-115, for the CUSUM; S. V. Crowder, "A simple
//! method for studying run-length distributions of exponentially weighted moving average charts", Technometrics 29 (1987)
//! 401-407, for the EWMA. Values are independent and normal with standard deviation 1.
//!
//! Cost: one dense system of 24 unknowns, about 10 kB of stack. It is for choosing a design, not for every value.

use nalgebra::{SMatrix, SVector};

use super::{cusum, ewma};
use crate::measure::root::crossing;
use crate::measure::student::{normal_cdf, normal_density};

/// Nodes of the quadrature: run lengths up to 10 000 are right to three figures (held by tests).
const NODES: usize = 24;

/// Why a chart cannot be designed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum DesignError {
    /// The shift to detect must be between 0.2 and 4 standard deviations.
    Shift {
        /// What was asked for.
        found: f64,
    },
    /// The weight of the newest value must be between 0.1 and 1.
    Weight {
        /// What was asked for.
        found: f64,
    },
    /// The run length between false alarms must be between 50 and 10 000.
    RunLength {
        /// What was asked for.
        found: f64,
    },
}

impl core::fmt::Display for DesignError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::Shift { found } => {
                write!(f, "the shift to detect must be 0.2 to 4 standard deviations, found {found}")
            }
            Self::Weight { found } => {
                write!(f, "the weight of the newest value must be 0.1 to 1, found {found}")
            }
            Self::RunLength { found } => {
                write!(f, "the run length between false alarms must be 50 to 10000, found {found}")
            }
        }
    }
}

impl core::error::Error for DesignError {}

/// The shift, if a chart can be designed for it.
pub(super) fn checked_shift(shift: f64) -> Result<f64, DesignError> {
    if (0.2..=4.0).contains(&shift) { Ok(shift) } else { Err(DesignError::Shift { found: shift }) }
}

/// The weight, if a chart can be designed with it.
pub(super) fn checked_weight(weight: f64) -> Result<f64, DesignError> {
    if (0.1..=1.0).contains(&weight) { Ok(weight) } else { Err(DesignError::Weight { found: weight }) }
}

/// Average run length of the two-sided CUSUM after a lasting shift of the mean, from sums at zero.
///
/// ```
/// use takeup_core::trend::{cusum::Design, run_length};
/// let healthy = run_length::cusum(Design { k: 0.5, h: 5.0 }, 0.0);
/// assert!((healthy - 465.0).abs() < 1.0);
/// ```
pub fn cusum(design: cusum::Design, shift: f64) -> f64 {
    // Van Dobben de Bruyn (1968): both sides together signal at the sum of their rates.
    let towards = 1.0 / cusum_one_side(design, shift);
    let away = if shift == 0.0 { towards } else { 1.0 / cusum_one_side(design, -shift) };
    1.0 / (towards + away)
}

/// Average run length of one side of the CUSUM, the side towards which `shift` is positive.
pub fn cusum_one_side(design: cusum::Design, shift: f64) -> f64 {
    let cusum::Design { k, h } = design;
    let k = k - shift;
    let (nodes, weights) = gauss_legendre(0.0, h);
    // L(z) = 1 + L(0)·Φ(k − z) + ∫₀ʰ L(x)·φ(x + k − z) dx: first with L(0) = 0 and a source 1, then with a source
    // Φ(k − z); L(0) follows from both.
    let kernel = SMatrix::<f64, NODES, NODES>::from_fn(|i, j| {
        let identity = if i == j { 1.0 } else { 0.0 };
        identity - at(&weights, j) * normal_density(at(&nodes, j) + k - at(&nodes, i))
    });
    let lu = kernel.lu();
    let ones = SVector::<f64, NODES>::repeat(1.0);
    let returns = SVector::<f64, NODES>::from_fn(|i, _| normal_cdf(k - at(&nodes, i)));
    let (Some(from_one), Some(from_zero)) = (lu.solve(&ones), lu.solve(&returns)) else {
        return f64::INFINITY;
    };
    let density_at_zero =
        SVector::<f64, NODES>::from_fn(|j, _| at(&weights, j) * normal_density(at(&nodes, j) + k));
    let (a, b) = (density_at_zero.dot(&from_one), density_at_zero.dot(&from_zero));
    let left = 1.0 - normal_cdf(k) - b;
    if left > 0.0 { (1.0 + a) / left } else { f64::INFINITY }
}

/// Average run length of the EWMA with steady limits after a lasting shift of the mean, from the target.
pub fn ewma(design: ewma::Design, shift: f64) -> f64 {
    let ewma::Design { lambda, width } = design;
    let limit = width * libm::sqrt(lambda / (2.0 - lambda));
    let (nodes, weights) = gauss_legendre(-limit, limit);
    // L(u) = 1 + (1/λ)·∫ L(y)·φ((y − (1 − λ)·u)/λ − shift) dy over the limits.
    let part = |from: f64, j: usize| {
        at(&weights, j) / lambda * normal_density((at(&nodes, j) - (1.0 - lambda) * from) / lambda - shift)
    };
    let kernel = SMatrix::<f64, NODES, NODES>::from_fn(|i, j| {
        let identity = if i == j { 1.0 } else { 0.0 };
        identity - part(at(&nodes, i), j)
    });
    let Some(lengths) = kernel.lu().solve(&SVector::<f64, NODES>::repeat(1.0)) else {
        return f64::INFINITY;
    };
    let from_target = SVector::<f64, NODES>::from_fn(|j, _| part(0.0, j));
    1.0 + from_target.dot(&lengths)
}

/// The limit at which `length_of` gives the run length asked for; run length grows with the limit.
pub(super) fn limit_for(run_length: f64, length_of: impl Fn(f64) -> f64) -> Result<f64, DesignError> {
    if !(50.0..=10_000.0).contains(&run_length) {
        return Err(DesignError::RunLength { found: run_length });
    }
    // Upwards in small steps: far above the run length asked for the system is singular and its answer means nothing.
    let (mut low, mut high) = (0.0, 0.25);
    while high < 40.0 && length_of(high) < run_length {
        (low, high) = (high, high + 0.25);
    }
    // Its logarithm is nearly a straight line.
    Ok(crossing(low, high, 1e-9, &|limit| libm::log(length_of(limit) / run_length)))
}

/// Element `i`, which is below the length wherever this is called: indices come from the matrix being filled.
fn at(v: &SVector<f64, NODES>, i: usize) -> f64 {
    v.get(i).copied().unwrap_or(0.0)
}

/// Nodes and weights of Gauss-Legendre quadrature over `from..to`, by Newton's method on the Legendre polynomial.
fn gauss_legendre(from: f64, to: f64) -> (SVector<f64, NODES>, SVector<f64, NODES>) {
    let (middle, half) = (0.5 * (to + from), 0.5 * (to - from));
    let n = NODES as f64;
    let mut nodes = SVector::<f64, NODES>::zeros();
    let mut weights = SVector::<f64, NODES>::zeros();
    // The nodes lie evenly about the middle: one half tells the other.
    for i in 0..NODES / 2 {
        let mut x = libm::cos(core::f64::consts::PI * (i as f64 + 0.75) / (n + 0.5));
        let mut slope = 1.0;
        for _ in 0..8 {
            let (mut previous, mut value) = (1.0, x);
            for degree in 2..=NODES {
                let d = degree as f64;
                (previous, value) = (value, ((2.0 * d - 1.0) * x * value - (d - 1.0) * previous) / d);
            }
            slope = n * (x * value - previous) / (x * x - 1.0);
            let step = value / slope;
            x -= step;
            if libm::fabs(step) < 1e-15 {
                break;
            }
        }
        let weight = 2.0 * half / ((1.0 - x * x) * slope * slope);
        for (place, x) in [(i, -x), (NODES.saturating_sub(i.saturating_add(1)), x)] {
            if let (Some(node), Some(slot)) = (nodes.get_mut(place), weights.get_mut(place)) {
                (*node, *slot) = (middle + half * x, weight);
            }
        }
    }
    (nodes, weights)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::format;

    const SHIFTS: [f64; 10] = [0.0, 0.25, 0.5, 0.75, 1.0, 1.5, 2.0, 2.5, 3.0, 4.0];

    /// D. C. Montgomery, *Introduction to Statistical Quality Control*, table of run lengths of the tabular CUSUM with
    /// k = 1/2 and h = 4 or 5 (recalled from memory).
    #[test]
    fn cusum_against_published_table() {
        let table = [
            (4.0, [168.0, 74.2, 26.6, 13.3, 8.38, 4.75, 3.34, 2.62, 2.19, 1.71]),
            (5.0, [465.0, 139.0, 38.0, 17.0, 10.4, 5.75, 4.01, 3.11, 2.57, 2.01]),
        ];
        for (h, lengths) in table {
            for (shift, published) in SHIFTS.into_iter().zip(lengths) {
                let found = cusum(cusum::Design { k: 0.5, h }, shift);
                assert!(
                    (found / published - 1.0).abs() < 0.006,
                    "h {h} shift {shift}: {found} against {published}"
                );
            }
        }
    }

    /// Lucas and Saccucci (1990), the schemes with an in-control run length of 500 as reprinted by Montgomery (recalled from
    /// memory). Printed to one decimal: half a unit of that is allowed besides one per cent.
    #[test]
    fn ewma_against_published_table() {
        let table = [
            (0.40, 3.054, [500.0, 224.0, 71.2, 28.4, 14.3, 5.9, 3.5, 2.5, 2.0, 1.4]),
            (0.25, 2.998, [500.0, 170.0, 48.2, 20.1, 11.1, 5.5, 3.6, 2.7, 2.3, 1.7]),
            (0.20, 2.962, [500.0, 150.0, 41.8, 18.2, 10.5, 5.5, 3.7, 2.9, 2.4, 1.9]),
            (0.10, 2.814, [500.0, 106.0, 31.3, 15.9, 10.3, 6.1, 4.4, 3.4, 2.9, 2.2]),
            (0.05, 2.615, [500.0, 84.1, 28.8, 16.4, 11.4, 7.1, 5.2, 4.2, 3.5, 2.7]),
        ];
        for (lambda, width, lengths) in table {
            for (shift, published) in SHIFTS.into_iter().zip(lengths) {
                let found = ewma(ewma::Design { lambda, width }, shift);
                assert!(
                    (found - published).abs() < 0.051 + 0.01 * published,
                    "λ {lambda} shift {shift}: {found} against {published}"
                );
            }
        }
    }

    #[test]
    fn designs_meet_the_run_length_asked_for() {
        for wanted in [50.0, 370.0, 1000.0, 10_000.0] {
            for shift in [0.2, 1.0, 2.0, 4.0] {
                let design = cusum::Design::for_shift(shift, wanted).unwrap();
                let found = cusum(design, 0.0);
                assert!((found / wanted - 1.0).abs() < 1e-3, "{design:?}: {found} against {wanted}");
            }
            for lambda in [0.1, 0.2, 1.0] {
                let design = ewma::Design::for_weight(lambda, wanted).unwrap();
                let found = ewma(design, 0.0);
                assert!((found / wanted - 1.0).abs() < 1e-3, "{design:?}: {found} against {wanted}");
            }
        }
        // With λ = 1 the EWMA is the chart of single values: 3 standard deviations give 370.4 (Montgomery, from memory).
        let single = ewma(ewma::Design { lambda: 1.0, width: 3.0 }, 0.0);
        assert!((single - 370.4).abs() < 0.1, "{single}");
    }

    #[test]
    fn impossible_designs_are_refused() {
        assert_eq!(cusum::Design::for_shift(0.0, 500.0), Err(DesignError::Shift { found: 0.0 }));
        assert_eq!(ewma::Design::for_weight(1.5, 500.0), Err(DesignError::Weight { found: 1.5 }));
        assert_eq!(cusum::Design::for_shift(1.0, 1.0), Err(DesignError::RunLength { found: 1.0 }));
        assert!(cusum::Design::for_shift(f64::NAN, 500.0).is_err());
        assert!(format!("{}", DesignError::Weight { found: 1.5 }).contains("1.5"));
    }
}

//! The model of the readings at one station, and its fit.
//!
//! Deviation = zero + half the reversal value (its sign by the approach) + drift × time + noise.

use super::{Series, used_at};
use crate::axis::Direction;
use crate::length::Length;
use crate::measure::regression::LeastSquares;

/// The fit of one station.
pub(super) struct StationFit {
    /// The reversal value in millimetres.
    pub reversal: f64,
    /// Drift in millimetres from one reading to the next.
    pub rate: f64,
    /// The variance of the reversal value over the variance of one reading.
    pub cofactor: f64,
    /// The sum of squared residuals.
    pub residual_sum: f64,
    /// Its degrees of freedom.
    pub dof: f64,
}

/// Residuals of all stations taken together.
#[derive(Default)]
pub(super) struct Noise {
    sum: f64,
    dof: f64,
}

impl Noise {
    pub fn take(&mut self, fit: &StationFit) {
        self.sum += fit.residual_sum;
        self.dof += fit.dof;
    }

    pub fn standard_deviation(&self) -> (f64, f64) {
        if self.dof > 0.0 { (libm::sqrt(self.sum / self.dof), self.dof) } else { (0.0, f64::INFINITY) }
    }
}

/// Fits a station by least squares.
pub(super) fn fit<R: Series + ?Sized>(
    readings: &R,
    motion: f64,
    is_used: &impl Fn(usize) -> bool,
    target: Length,
) -> StationFit {
    let at = || used_at(readings, is_used, target);
    let first = at().next().map_or(0.0, |(_, r)| r.value_mm);
    let mut steady = LeastSquares::<3>::new();
    let mut plain = LeastSquares::<2>::new();
    for (index, reading) in at() {
        let half = match reading.approach {
            Direction::Plus => 0.5,
            Direction::Minus => -0.5,
        };
        let y = motion * (reading.value_mm - first);
        steady.add([1.0, half, index as f64], y);
        plain.add([1.0, half], y);
    }
    match steady.solve() {
        Ok(fit) if fit.dof > 0.0 => StationFit {
            reversal: fit.coefficient(1),
            rate: fit.coefficient(2),
            cofactor: fit.cofactor(1, 1),
            residual_sum: fit.residual_sum,
            dof: fit.dof,
        },
        _ => match plain.solve() {
            Ok(fit) => StationFit {
                reversal: fit.coefficient(1),
                rate: 0.0,
                cofactor: fit.cofactor(1, 1),
                residual_sum: fit.residual_sum,
                dof: fit.dof,
            },
            Err(_) => StationFit { reversal: 0.0, rate: 0.0, cofactor: 0.0, residual_sum: 0.0, dof: 0.0 },
        },
    }
}

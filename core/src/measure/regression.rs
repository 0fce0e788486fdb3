//! Linear least squares, row by row, in fixed memory.
//!
//! Each row is turned into an upper triangle by Givens rotations (W. M. Gentleman, "Least squares
//! computations by Givens transformations without square roots", J. Inst. Maths Applics 12, 1973;
//! here with square roots). That is as accurate as a QR decomposition of all rows, and unlike
//! sums of products loses no digits to nearly dependent columns; it costs `P²` operations a row.
//!
//! Not for outliers: every row counts with the square of its residual.

use core::fmt;
use nalgebra::{SMatrix, SVector};

/// Rows taken so far, condensed to a triangle. `P` is the number of coefficients.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LeastSquares<const P: usize> {
    triangle: SMatrix<f64, P, P>,
    right: SVector<f64, P>,
    residual: f64,
    rows: u32,
}

/// Least squares cannot answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Unsolvable {
    /// Fewer rows than coefficients.
    TooFewRows {
        /// Rows given.
        rows: u32,
        /// Coefficients wanted.
        coefficients: u32,
    },
    /// A column says nothing that the columns before it do not say.
    Dependent {
        /// The column, counted from 0.
        column: u32,
    },
}

impl fmt::Display for Unsolvable {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Unsolvable::TooFewRows { rows, coefficients } => {
                write!(f, "{rows} rows cannot determine {coefficients} coefficients")
            }
            Unsolvable::Dependent { column } => write!(f, "column {column} depends on those before it"),
        }
    }
}

impl core::error::Error for Unsolvable {}

/// The solution of a least-squares problem.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fit<const P: usize> {
    /// The coefficients.
    pub coefficients: SVector<f64, P>,
    /// The inverse of `XᵀX`: times the residual variance it is the covariance of the coefficients.
    pub cofactors: SMatrix<f64, P, P>,
    /// The sum of squared residuals.
    pub residual_sum: f64,
    /// Rows less coefficients.
    pub dof: f64,
    /// The natural logarithm of the determinant of `XᵀX`.
    pub log_determinant: f64,
}

impl<const P: usize> LeastSquares<P> {
    /// No rows yet.
    #[must_use]
    pub fn new() -> Self {
        Self { triangle: SMatrix::zeros(), right: SVector::zeros(), residual: 0.0, rows: 0 }
    }

    /// Takes a row: the regressors and the observation, each already multiplied by the square root of
    /// its weight.
    pub fn add(&mut self, regressors: [f64; P], observation: f64) {
        let mut row = SVector::from(regressors);
        let mut y = observation;
        for i in 0..P {
            let x = at(&row, i);
            if x == 0.0 {
                continue;
            }
            let diagonal = entry(&self.triangle, i, i);
            let length = libm::hypot(diagonal, x);
            let (c, s) = (diagonal / length, x / length);
            for j in i..P {
                let (old, new) = (entry(&self.triangle, i, j), at(&row, j));
                put(&mut self.triangle, i, j, c * old + s * new);
                if let Some(slot) = row.get_mut(j) {
                    *slot = c * new - s * old;
                }
            }
            let old = at(&self.right, i);
            if let Some(slot) = self.right.get_mut(i) {
                *slot = c * old + s * y;
            }
            y = c * y - s * old;
        }
        self.residual += y * y;
        self.rows = self.rows.saturating_add(1);
    }

    /// The rows taken so far.
    #[must_use]
    pub const fn rows(&self) -> u32 {
        self.rows
    }

    /// The coefficients and their cofactors.
    pub fn solve(&self) -> Result<Fit<P>, Unsolvable> {
        if (self.rows as usize) < P {
            return Err(Unsolvable::TooFewRows { rows: self.rows, coefficients: P as u32 });
        }
        // A diagonal element that is only rounding beside its column's length means dependence.
        let mut log_determinant = 0.0;
        for i in 0..P {
            let column = self.triangle.column(i).norm();
            let diagonal = libm::fabs(entry(&self.triangle, i, i));
            if diagonal.is_nan() || diagonal <= 1e-13 * column || diagonal == 0.0 {
                return Err(Unsolvable::Dependent { column: i as u32 });
            }
            log_determinant += 2.0 * libm::log(diagonal);
        }
        let dependent = Unsolvable::Dependent { column: 0 };
        let coefficients = self.triangle.solve_upper_triangular(&self.right).ok_or(dependent)?;
        let inverse =
            self.triangle.solve_upper_triangular(&SMatrix::<f64, P, P>::identity()).ok_or(dependent)?;
        let mut cofactors = SMatrix::<f64, P, P>::zeros();
        cofactors.gemm(1.0, &inverse, &inverse.transpose(), 0.0);
        Ok(Fit {
            coefficients,
            cofactors,
            residual_sum: self.residual,
            dof: f64::from(self.rows) - P as f64,
            log_determinant,
        })
    }
}

impl<const P: usize> Default for LeastSquares<P> {
    fn default() -> Self {
        Self::new()
    }
}

impl<const P: usize> Fit<P> {
    /// The residual variance; zero where no degree of freedom is left to tell it.
    #[must_use]
    pub fn variance(&self) -> f64 {
        if self.dof > 0.0 { self.residual_sum / self.dof } else { 0.0 }
    }

    /// One coefficient, counted from 0; zero beyond the last.
    #[must_use]
    pub fn coefficient(&self, i: usize) -> f64 {
        at(&self.coefficients, i)
    }

    /// An entry of the cofactors; zero beyond the last.
    #[must_use]
    pub fn cofactor(&self, i: usize, j: usize) -> f64 {
        entry(&self.cofactors, i, j)
    }

    /// A coefficient with its uncertainty, by the residual variance.
    #[must_use]
    pub fn estimate(&self, i: usize) -> crate::measure::Estimate {
        crate::measure::Estimate {
            value: self.coefficient(i),
            standard_uncertainty: libm::sqrt(self.variance() * self.cofactor(i, i)),
            dof: self.dof,
        }
    }
}

// Every index above stays below P by its loop; these still answer without a panic.
fn at<const P: usize>(vector: &SVector<f64, P>, i: usize) -> f64 {
    vector.get(i).copied().unwrap_or(0.0)
}

fn entry<const P: usize>(matrix: &SMatrix<f64, P, P>, i: usize, j: usize) -> f64 {
    matrix.get((i, j)).copied().unwrap_or(0.0)
}

fn put<const P: usize>(matrix: &mut SMatrix<f64, P, P>, i: usize, j: usize, value: f64) {
    if let Some(slot) = matrix.get_mut((i, j)) {
        *slot = value;
    }
}

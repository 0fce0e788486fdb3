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
    /// Transposed: a row of the triangle is a column here, whose entries lie side by side.
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
        let mut row = regressors;
        let mut y = observation;
        for (i, (pivots, right)) in self.triangle.data.0.iter_mut().zip(&mut self.right).enumerate() {
            let (Some(pivots), Some(rest)) = (pivots.get_mut(i..), row.get_mut(i..)) else { continue };
            let (Some(&diagonal), Some(&x)) = (pivots.first(), rest.first()) else { continue };
            if x == 0.0 {
                continue;
            }
            let length = length(diagonal, x);
            let (c, s) = (diagonal / length, x / length);
            for (old, new) in pivots.iter_mut().zip(rest) {
                (*old, *new) = (c * *old + s * *new, c * *new - s * *old);
            }
            (*right, y) = (c * *right + s * y, c * y - s * *right);
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
        let triangle = &self.triangle.data.0;
        // A diagonal element that is only rounding beside its column's length means dependence.
        let mut squares = [0.0; P];
        let mut determinant = LogProduct::ONE;
        for (i, row) in triangle.iter().enumerate() {
            squares.iter_mut().zip(row).for_each(|(sum, x)| *sum += x * x);
            let column = libm::sqrt(at(&squares, i));
            let diagonal = libm::fabs(at(row, i));
            if diagonal.is_nan() || diagonal <= 1e-13 * column || diagonal == 0.0 {
                return Err(Unsolvable::Dependent { column: i as u32 });
            }
            determinant.take(diagonal);
        }
        // From the last row up: the inverse of the triangle, and the coefficients.
        let mut inverse = [[0.0; P]; P];
        let mut coefficients = SVector::<f64, P>::zeros();
        for (i, row) in triangle.iter().enumerate().rev() {
            let mut own = [0.0; P];
            if let Some(slot) = own.get_mut(i) {
                *slot = 1.0;
            }
            let mut value = at(self.right.as_slice(), i);
            let next = i.saturating_add(1);
            let below = row.get(next..).into_iter().flatten().zip(inverse.get(next..).into_iter().flatten());
            for ((factor, inverse), coefficient) in
                below.zip(coefficients.as_slice().get(next..).into_iter().flatten())
            {
                own.iter_mut().zip(inverse).for_each(|(slot, x)| *slot -= factor * x);
                value -= factor * coefficient;
            }
            let diagonal = at(row, i);
            if let (Some(place), Some(coefficient)) = (inverse.get_mut(i), coefficients.get_mut(i)) {
                *place = own.map(|x| x / diagonal);
                *coefficient = value / diagonal;
            }
        }
        let mut cofactors = SMatrix::<f64, P, P>::zeros();
        for (column, a) in cofactors.data.0.iter_mut().zip(&inverse) {
            for (slot, b) in column.iter_mut().zip(&inverse) {
                *slot = a.iter().zip(b).map(|(a, b)| a * b).sum();
            }
        }
        Ok(Fit {
            coefficients,
            cofactors,
            residual_sum: self.residual,
            dof: f64::from(self.rows) - P as f64,
            log_determinant: 2.0 * determinant.log(),
        })
    }
}

/// The length of a vector of two; the plain root wherever the squares neither overflow nor drown.
#[inline]
fn length(a: f64, b: f64) -> f64 {
    let square = a * a + b * b;
    if (1e-280..1e280).contains(&square) { libm::sqrt(square) } else { libm::hypot(a, b) }
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
        at(self.coefficients.as_slice(), i)
    }

    /// An entry of the cofactors; zero beyond the last.
    #[must_use]
    pub fn cofactor(&self, i: usize, j: usize) -> f64 {
        self.cofactors.get((i, j)).copied().unwrap_or(0.0)
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

// Every index above stays below P by its loop; this still answers without a panic.
fn at(values: &[f64], i: usize) -> f64 {
    values.get(i).copied().unwrap_or(0.0)
}

/// The logarithm of a product of positive factors, at the price of one logarithm for many.
pub(crate) struct LogProduct {
    product: f64,
    log: f64,
}

impl LogProduct {
    /// No factors yet.
    pub const ONE: Self = Self { product: 1.0, log: 0.0 };

    /// One more factor.
    pub fn take(&mut self, factor: f64) {
        let product = self.product * factor;
        if (1e-250..1e250).contains(&product) {
            self.product = product;
        } else {
            self.log += libm::log(self.product) + libm::log(factor);
            self.product = 1.0;
        }
    }

    /// The natural logarithm of the product.
    pub fn log(&self) -> f64 {
        self.log + libm::log(self.product)
    }
}

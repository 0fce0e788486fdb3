//! Linear least squares, row by row, in fixed memory.
//!
//! Each row is turned into an upper triangle by Givens rotations (W. M. Gentleman, "Least squares
//! computations by Givens transformations without square roots", J. Inst. Maths Applics 12, 1973).
//! That is as accurate as a QR decomposition of all rows, and unlike sums of products loses no digits
//! to nearly dependent columns; it costs `P²` operations a row. The triangle's rows are kept apart from
//! their scales, `XᵀX = Rᵀ D R` with ones on the diagonal of `R`: a root of 64 bits is long work for a small processor.
//!
//! Not for outliers: every row counts with the square of its residual.

use core::fmt;
use nalgebra::SVector;

/// Rows taken so far, condensed to a triangle. `P` is the number of coefficients.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LeastSquares<const P: usize> {
    /// The rows of `R`. What lies on and before the diagonal is not used.
    triangle: [[f64; P]; P],
    /// `D`: zero where nothing has been said yet.
    scales: [f64; P],
    right: [f64; P],
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
    /// The rows of `R⁻¹`, and `D⁻¹`: all that the cofactors are made of, of which few are ever asked for.
    inverse: [[f64; P]; P],
    reciprocals: [f64; P],
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
        Self { triangle: [[0.0; P]; P], scales: [0.0; P], right: [0.0; P], residual: 0.0, rows: 0 }
    }

    /// Takes a row: the regressors and the observation, each already multiplied by the square root of
    /// its weight.
    pub fn add(&mut self, regressors: [f64; P], observation: f64) {
        self.rows = self.rows.saturating_add(1);
        let mut row = regressors;
        let mut y = observation;
        // What is left of the row's weight.
        let mut weight = 1.0;
        let pivots = self.triangle.iter_mut().zip(&mut self.scales).zip(&mut self.right);
        for (i, ((pivots, scale), right)) in pivots.enumerate() {
            let Some(&x) = row.get(i) else { continue };
            let weighted = weight * x;
            let whole = *scale + weighted * x;
            // Nothing is said of this coefficient, or the square of it drowns.
            if whole == 0.0 || weighted == 0.0 {
                continue;
            }
            let (c, s) = (*scale / whole, weighted / whole);
            *scale = whole;
            weight *= c;
            for (k, (old, new)) in pivots.iter_mut().zip(&mut row).enumerate() {
                if k > i {
                    (*old, *new) = (c * *old + s * *new, *new - x * *old);
                }
            }
            (*right, y) = (c * *right + s * y, y - x * *right);
        }
        self.residual += weight * y * y;
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
        // A scale that is only rounding beside its column's square means dependence.
        let mut squares = [0.0; P];
        let mut determinant = LogProduct::ONE;
        for (i, (row, scale)) in self.triangle.iter().zip(&self.scales).enumerate() {
            let next = i.saturating_add(1);
            let later = squares.iter_mut().zip(row).skip(next);
            later.for_each(|(sum, x)| *sum += scale * x * x);
            if scale.is_nan() || *scale <= 1e-26 * (at(&squares, i) + scale) || *scale == 0.0 {
                return Err(Unsolvable::Dependent { column: i as u32 });
            }
            determinant.take(*scale);
        }
        // From the last row up: the inverse of the triangle, and the coefficients.
        let mut inverse = [[0.0; P]; P];
        let mut coefficients = SVector::<f64, P>::zeros();
        for (i, row) in self.triangle.iter().enumerate().rev() {
            let mut own = [0.0; P];
            if let Some(slot) = own.get_mut(i) {
                *slot = 1.0;
            }
            let mut value = at(&self.right, i);
            let next = i.saturating_add(1);
            let below = row.get(next..).into_iter().flatten().zip(inverse.get(next..).into_iter().flatten());
            for ((factor, inverse), coefficient) in
                below.zip(coefficients.as_slice().get(next..).into_iter().flatten())
            {
                own.iter_mut().zip(inverse).for_each(|(slot, x)| *slot -= factor * x);
                value -= factor * coefficient;
            }
            if let (Some(place), Some(coefficient)) = (inverse.get_mut(i), coefficients.get_mut(i)) {
                *place = own;
                *coefficient = value;
            }
        }
        Ok(Fit {
            coefficients,
            inverse,
            reciprocals: self.scales.map(|scale| 1.0 / scale),
            residual_sum: self.residual,
            dof: f64::from(self.rows) - P as f64,
            log_determinant: determinant.log(),
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
        at(self.coefficients.as_slice(), i)
    }

    /// An entry of the inverse of `XᵀX`, which times the residual variance is the covariance of the coefficients; zero
    /// beyond the last.
    #[must_use]
    pub fn cofactor(&self, i: usize, j: usize) -> f64 {
        let (Some(a), Some(b)) = (self.inverse.get(i), self.inverse.get(j)) else { return 0.0 };
        a.iter().zip(b).zip(&self.reciprocals).map(|((a, b), reciprocal)| a * b * reciprocal).sum()
    }

    /// The same for a sum of the coefficients, each with a weight.
    #[must_use]
    pub fn cofactor_of_sum(&self, weights: &[f64; P]) -> f64 {
        let mut sums = [0.0; P];
        for (weight, row) in weights.iter().zip(&self.inverse) {
            sums.iter_mut().zip(row).for_each(|(sum, x)| *sum += weight * x);
        }
        sums.iter().zip(&self.reciprocals).map(|(sum, reciprocal)| sum * sum * reciprocal).sum()
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

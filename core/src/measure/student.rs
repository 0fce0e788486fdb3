//! Student's t distribution for any real number of degrees of freedom, and the normal distribution.
//!
//! The tail comes from the regularised incomplete beta function by its continued fraction
//! (NIST Digital Library of Mathematical Functions, 8.17.22); beyond 100 000 degrees of freedom from
//! the expansion around the normal distribution (R. A. Fisher, Metron 5, 1926; as Abramowitz and
//! Stegun 26.7.10, recalled from memory). Quantiles invert the tail by Newton steps kept within a bracket, from a first
//! guess (Abramowitz and Stegun 26.2.23 and 26.7.5, recalled from memory: a poor one costs steps and no digits).

use core::f64::consts::{FRAC_1_SQRT_2, PI};

/// Beyond this many degrees of freedom the normal expansion is used: its first term left out is of
/// order (t⁴ / dof)³, below 1e-8 of the tail for |t| up to 4, and 0.2 % of it at 20.
const MANY: f64 = 1.0e5;

/// The probability that a normal deviate exceeds `z`.
#[must_use]
pub fn normal_tail(z: f64) -> f64 {
    0.5 * libm::erfc(z * FRAC_1_SQRT_2)
}

/// The probability that a normal deviate is at most `z`.
#[must_use]
pub fn normal_cdf(z: f64) -> f64 {
    normal_tail(-z)
}

/// The density of the normal distribution.
#[must_use]
pub fn normal_density(z: f64) -> f64 {
    libm::exp(-0.5 * z * z) / libm::sqrt(2.0 * PI)
}

/// The normal deviate that is not exceeded with probability `p`; NaN unless `0 <= p <= 1`.
///
/// ```
/// use takeup_core::measure::student;
/// assert!((student::normal_quantile(0.975) - 1.959_963_984_540_054).abs() < 1e-12);
/// ```
#[must_use]
pub fn normal_quantile(p: f64) -> f64 {
    invert(p, normal_tail, normal_density, |z| z)
}

/// The probability that Student's t with `dof` degrees of freedom exceeds `t`; NaN unless `dof > 0`.
#[must_use]
pub fn tail(t: f64, dof: f64) -> f64 {
    Tail::new(dof).beyond(t, 2.0 * f64::EPSILON)
}

/// The tail of Student's t, with what depends on the degrees of freedom alone worked out once.
pub(crate) struct Tail {
    dof: f64,
    /// Of `B(dof/2, 1/2)`, between the ends of the degrees of freedom.
    log_beta: f64,
}

impl Tail {
    pub fn new(dof: f64) -> Self {
        let log_beta = if dof > 0.0 && dof <= MANY { log_beta(0.5 * dof, 0.5) } else { 0.0 };
        Self { dof, log_beta }
    }

    /// The probability of more than `t`, to a relative tolerance.
    pub fn beyond(&self, t: f64, tolerance: f64) -> f64 {
        let dof = self.dof;
        if t.is_nan() || dof.is_nan() || dof <= 0.0 {
            return f64::NAN;
        }
        if dof == f64::INFINITY {
            return normal_tail(t);
        }
        if t < 0.0 {
            return 1.0 - self.beyond(-t, tolerance);
        }
        if t == f64::INFINITY {
            return 0.0;
        }
        if dof > MANY {
            return normal_tail(t) + normal_density(t) * expansion(t, dof);
        }
        let t2 = t * t;
        // Near the middle the tail is what a half leaves; farther out that would cancel.
        if t2 < 1.0 {
            0.5 - 0.5 * beta_within(0.5, 0.5 * dof, t2 / (dof + t2), self.log_beta, tolerance)
        } else {
            0.5 * beta_within(0.5 * dof, 0.5, dof / (dof + t2), self.log_beta, tolerance)
        }
    }

    fn density(&self, t: f64) -> f64 {
        let dof = self.dof;
        if dof > MANY {
            return normal_density(t);
        }
        if dof.is_nan() || dof <= 0.0 {
            return f64::NAN;
        }
        let half = 0.5 * (dof + 1.0);
        libm::exp(-self.log_beta - half * libm::log1p(t * t / dof)) / libm::sqrt(dof)
    }
}

/// The density of Student's t; NaN unless `dof > 0`.
#[must_use]
pub fn density(t: f64, dof: f64) -> f64 {
    Tail::new(dof).density(t)
}

/// The value of Student's t that is not exceeded with probability `p`; NaN unless `0 <= p <= 1`
/// and `dof > 0`.
#[must_use]
pub fn quantile(p: f64, dof: f64) -> f64 {
    if dof.is_nan() || dof <= 0.0 {
        return f64::NAN;
    }
    let student = Tail::new(dof);
    let guess = |z: f64| z + z * (z * z + 1.0) / (4.0 * dof);
    invert(p, |t| student.beyond(t, 2.0 * f64::EPSILON), |t| student.density(t), guess)
}

/// The factor by which a standard uncertainty becomes the half width of an interval that holds the
/// true value with a probability (JCGM 100 annex G.3).
///
/// ```
/// use takeup_core::measure::student;
/// // NIST/SEMATECH e-Handbook, table 1.3.6.7.2 (recalled from memory).
/// assert!((student::coverage_factor(0.95, 10.0) - 2.228).abs() < 5e-4);
/// ```
#[must_use]
pub fn coverage_factor(probability: f64, dof: f64) -> f64 {
    quantile(0.5 + 0.5 * probability, dof)
}

/// Fisher's expansion: what the tail of t has more than the normal tail, over the normal density.
fn expansion(t: f64, dof: f64) -> f64 {
    let t2 = t * t;
    let first = t * (t2 + 1.0) / 4.0;
    let second = t * (((3.0 * t2 - 7.0) * t2 - 5.0) * t2 - 3.0) / 96.0;
    (first + second / dof) / dof
}

/// Finds where a decreasing tail, symmetric about zero, leaves `1 - p` above; `guess` makes a first value of
/// that of the normal distribution.
fn invert(
    p: f64,
    tail: impl Fn(f64) -> f64,
    density: impl Fn(f64) -> f64,
    guess: impl Fn(f64) -> f64,
) -> f64 {
    if !(0.0..=1.0).contains(&p) {
        return f64::NAN;
    }
    let above = if p < 0.5 { p } else { 1.0 - p };
    let sign = if p < 0.5 { -1.0 } else { 1.0 };
    if above == 0.5 {
        return 0.0;
    }
    if above == 0.0 {
        return sign * f64::INFINITY;
    }
    let mut t = guess(about_normal_quantile(above));
    if !t.is_finite() {
        t = 1.0;
    }
    let (mut low, mut high) = (0.0, f64::INFINITY);
    for _ in 0..1000 {
        let excess = tail(t) - above;
        if excess > 0.0 {
            low = t;
        } else {
            high = t;
        }
        // Where the tail is convex, as beyond zero, steps from below never pass the answer.
        let next = t + excess / density(t);
        if libm::fabs(next - t) <= NEAR * next {
            return sign * next;
        }
        if next > low && next < high {
            t = next;
        } else if high < f64::INFINITY {
            t = 0.5 * (low + high);
            if t <= low || t >= high {
                break;
            }
        } else if t > 1e300 {
            return sign * f64::INFINITY;
        } else {
            t *= 2.0;
        }
    }
    sign * t
}

/// A Newton step below this part of a value leaves an error of about its square.
const NEAR: f64 = 1e-9;

/// The normal deviate that is exceeded with a probability up to one half, to about 5e-4.
fn about_normal_quantile(above: f64) -> f64 {
    let s = libm::sqrt(-2.0 * libm::log(above));
    let over = 2.515_517 + s * (0.802_853 + s * 0.010_328);
    let under = 1.0 + s * (1.432_788 + s * (0.189_269 + s * 0.001_308));
    s - over / under
}

/// The regularised incomplete beta function `I_x(a, b)`, for `x` on the side where the continued
/// fraction converges fast (`x` below about `a/(a+b)`), else through its complement.
pub(crate) fn beta_lower(a: f64, b: f64, x: f64) -> f64 {
    beta_within(a, b, x, log_beta(a, b), 2.0 * f64::EPSILON)
}

/// The logarithm of the beta function.
fn log_beta(a: f64, b: f64) -> f64 {
    libm::lgamma(a) + libm::lgamma(b) - libm::lgamma(a + b)
}

fn beta_within(a: f64, b: f64, x: f64, log_beta: f64, tolerance: f64) -> f64 {
    if x <= 0.0 {
        return 0.0;
    }
    if x >= 1.0 {
        return 1.0;
    }
    if x > (a + 1.0) / (a + b + 2.0) {
        return 1.0 - beta_fraction(b, a, 1.0 - x, log_beta, tolerance);
    }
    beta_fraction(a, b, x, log_beta, tolerance)
}

/// The continued fraction of DLMF 8.17.22, evaluated by Lentz's method until it changes by less than a tolerance.
fn beta_fraction(a: f64, b: f64, x: f64, log_beta: f64, tolerance: f64) -> f64 {
    const SMALL: f64 = 1e-300;
    let keep_away = |v: f64| if libm::fabs(v) < SMALL { SMALL } else { v };
    let front = libm::exp(a * libm::log(x) + b * libm::log1p(-x) - log_beta) / a;
    let mut c = 1.0;
    let mut d = 1.0 / keep_away(1.0 - (a + b) * x / (a + 1.0));
    let mut value = d;
    for m in 1..10_000_u32 {
        let m = f64::from(m);
        let even = m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m));
        d = 1.0 / keep_away(1.0 + even * d);
        c = keep_away(1.0 + even / c);
        value *= d * c;
        let odd = -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0));
        d = 1.0 / keep_away(1.0 + odd * d);
        c = keep_away(1.0 + odd / c);
        let change = d * c;
        value *= change;
        if libm::fabs(change - 1.0) < tolerance {
            break;
        }
    }
    front * value
}

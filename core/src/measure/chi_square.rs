//! The χ² distribution for any real number of degrees of freedom, and what it says of a standard deviation.
//!
//! The tail is the regularised incomplete gamma function, by its series below the middle and by its
//! continued fraction above (NIST Digital Library of Mathematical Functions, 8.7.1 and 8.9.2).

use super::root::crossing;

/// The probability that χ² with `dof` degrees of freedom is at most `x`; NaN unless `dof > 0`.
///
/// ```
/// use takeup_core::measure::chi_square;
/// // Two degrees of freedom are an exponential distribution of mean 2.
/// assert!((chi_square::cdf(3.0, 2.0) - (1.0 - (-1.5_f64).exp())).abs() < 1e-14);
/// ```
#[must_use]
pub fn cdf(x: f64, dof: f64) -> f64 {
    if x.is_nan() || dof.is_nan() || dof <= 0.0 {
        return f64::NAN;
    }
    if x <= 0.0 {
        return 0.0;
    }
    if x == f64::INFINITY {
        return 1.0;
    }
    let (a, x) = (0.5 * dof, 0.5 * x);
    let front = libm::exp(a * libm::log(x) - x - libm::lgamma(a));
    if x < a + 1.0 { (front * series(a, x)).min(1.0) } else { (1.0 - front * fraction(a, x)).max(0.0) }
}

/// Enough terms for a hundred thousand degrees of freedom.
const MOST_TERMS: u32 = 3000;

fn series(a: f64, x: f64) -> f64 {
    let mut term = 1.0 / a;
    let mut sum = term;
    for n in 1..MOST_TERMS {
        term *= x / (a + f64::from(n));
        sum += term;
        if term < 1e-17 * sum {
            break;
        }
    }
    sum
}

/// Lentz's method, as for the beta function of Student's t.
fn fraction(a: f64, x: f64) -> f64 {
    const SMALL: f64 = 1e-300;
    let mut b = x + 1.0 - a;
    let mut c = 1.0 / SMALL;
    let mut d = 1.0 / if libm::fabs(b) < SMALL { SMALL } else { b };
    let mut value = d;
    for n in 1..MOST_TERMS {
        let n = f64::from(n);
        let numerator = -n * (n - a);
        b += 2.0;
        d = numerator * d + b;
        d = 1.0 / if libm::fabs(d) < SMALL { SMALL } else { d };
        c = b + numerator / c;
        if libm::fabs(c) < SMALL {
            c = SMALL;
        }
        let change = c * d;
        value *= change;
        if libm::fabs(change - 1.0) < 1e-16 {
            break;
        }
    }
    value
}

/// Beyond this many degrees of freedom the interval is that of a normal deviate.
const MANY: f64 = 20_000.0;

/// The half width, as a share of a standard deviation found with `dof` degrees of freedom, of the
/// interval about it that holds the true one in 95 of 100 cases; NaN unless `dof > 0`.
///
/// The interval is even about what was found, so with few degrees of freedom the share is above 1 and
/// only its upper end means something.
///
/// ```
/// use takeup_core::measure::chi_square::{cdf, share_95};
/// let k = share_95(9.0);
/// let holds = cdf(9.0 / ((1.0 - k) * (1.0 - k)), 9.0) - cdf(9.0 / ((1.0 + k) * (1.0 + k)), 9.0);
/// assert!((holds - 0.95).abs() < 1e-9);
/// ```
#[must_use]
pub fn share_95(dof: f64) -> f64 {
    if dof.is_nan() || dof <= 0.0 {
        return f64::NAN;
    }
    if dof > MANY {
        return 1.959_964 / libm::sqrt(2.0 * dof.min(1e12));
    }
    let holds = |k: f64| {
        let at = |share: f64| cdf(dof / (share * share), dof);
        let below = if k < 1.0 { at(1.0 - k) } else { 1.0 };
        below - at(1.0 + k)
    };
    let (mut low, mut high) = (0.0, 1.0);
    while holds(high) < 0.95 && high < 1e12 {
        low = high;
        high *= 2.0;
    }
    crossing(low, high, 1e-14, &|k| holds(k) - 0.95)
}

/// A standard deviation as an estimate whose 95 % interval is that of χ².
#[must_use]
pub fn spread(s: f64, dof: f64) -> crate::measure::Estimate {
    let standard_uncertainty = s * share_95(dof) / crate::measure::student::coverage_factor(0.95, dof);
    crate::measure::Estimate { value: s, standard_uncertainty, dof }
}

#[cfg(test)]
mod tests {
    use super::*;

    // NIST/SEMATECH e-Handbook of Statistical Methods, table 1.3.6.7.4 (recalled from memory): upper 5 % points.
    #[test]
    fn upper_five_per_cent_points() {
        for (dof, x) in
            [(1.0, 3.841), (2.0, 5.991), (5.0, 11.070), (10.0, 18.307), (30.0, 43.773), (100.0, 124.342)]
        {
            assert!((cdf(x, dof) - 0.95).abs() < 2e-5, "{dof}: {}", cdf(x, dof));
        }
    }

    // NIST/SEMATECH e-Handbook, table 1.3.6.7.4 (recalled from memory): of 9 degrees of freedom 5 % lie below 3.325. With
    // so few, the upper side adds next to nothing; with very many a standard deviation is normal, 1.96 / sqrt(2 dof).
    #[test]
    fn shares_are_those_of_the_table() {
        assert!((share_95(9.0) - ((9.0_f64 / 3.325).sqrt() - 1.0)).abs() < 0.01, "{}", share_95(9.0));
        assert!((share_95(2000.0) / (1.96 / 4000.0_f64.sqrt()) - 1.0).abs() < 0.03, "{}", share_95(2000.0));
    }

    #[test]
    fn a_sweep_stays_a_distribution() {
        for dof in [0.01, 0.5, 1.0, 3.0, 50.0, 1000.0, 1e5] {
            let mut before = 0.0;
            for n in 0..400 {
                let now = cdf(dof * 0.01 * f64::from(n), dof);
                assert!(
                    (0.0..=1.0).contains(&now) && now >= before - 1e-12,
                    "{dof} {n}: {now} after {before}"
                );
                before = now;
            }
            assert!(share_95(dof) > 0.0, "{dof}");
        }
        for wrong in [f64::NAN, 0.0, -1.0] {
            assert!(cdf(1.0, wrong).is_nan() && share_95(wrong).is_nan());
        }
        assert_eq!((cdf(f64::INFINITY, 3.0), cdf(-1.0, 3.0), cdf(5e-324, 3.0)), (1.0, 0.0, 0.0));
    }
}

//! One assessment before, one after: did it change, and does it repeat better?

use crate::measure::Estimate;
use crate::measure::chi_square::share_95;
use crate::measure::root::crossing;
use crate::measure::student::beta_lower;

/// What is known after a comparison about the size of lost motion.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Answer {
    /// It is smaller, and the interval shows it.
    Reduced,
    /// It is larger, and the interval shows it.
    Increased,
    /// The interval leaves both open.
    NoChangeShown,
}

impl Answer {
    /// The word in documents.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Reduced => "reduced",
            Self::Increased => "increased",
            Self::NoChangeShown => "no-change-shown",
        }
    }
}

/// After less before, of two independent estimates with unequal uncertainties.
///
/// Degrees of freedom by B. L. Welch, "The generalization of 'Student's' problem when several different population
/// variances are involved", Biometrika 34 (1947) 28-35, which is the Welch-Satterthwaite formula of JCGM 100, G.4.
/// An indicator error common to both cancels in truth and is counted twice here: the interval errs on the wide side.
///
/// ```
/// use takeup_core::{measure::Estimate, trend::compare};
/// let before = Estimate { value: 0.118, standard_uncertainty: 0.002, dof: 8.0 };
/// let after = Estimate { value: 0.021, standard_uncertainty: 0.001, dof: 8.0 };
/// let change = compare::change(before, after);
/// assert!((change.value + 0.097).abs() < 1e-12);
/// assert_eq!(compare::answer(before, after, &change), compare::Answer::Reduced);
/// ```
#[must_use]
pub fn change(before: Estimate, after: Estimate) -> Estimate {
    let (b, a) = (square(before.standard_uncertainty), square(after.standard_uncertainty));
    let spread = square(b) / before.dof + square(a) / after.dof;
    let dof = if spread > 0.0 { square(a + b) / spread } else { f64::INFINITY };
    Estimate { value: after.value - before.value, standard_uncertainty: libm::sqrt(a + b), dof }
}

/// After less before at the same stations, paired: the mean of the differences, its uncertainty from how much they
/// differ from one station to the next. `None` with fewer than two pairs.
///
/// It fits where the loss varies along the travel; it is poor with two or three stations (few degrees of freedom).
pub fn paired(differences: impl Iterator<Item = f64>) -> Option<Estimate> {
    let (mut n, mut mean, mut sum) = (0.0, 0.0, 0.0);
    for d in differences {
        // Welford's update: no digits lost where the differences are alike.
        n += 1.0;
        let step = d - mean;
        mean += step / n;
        sum += step * (d - mean);
    }
    let dof = n - 1.0;
    (dof >= 1.0).then(|| Estimate { value: mean, standard_uncertainty: libm::sqrt(sum / dof / n), dof })
}

/// What the interval of a change rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Model {
    /// The uncertainties of the two estimates (Welch).
    Independent,
    /// How much the change differs from one station to the next (paired).
    Paired,
}

impl Model {
    /// The word in documents.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Independent => "welch",
            Self::Paired => "paired",
        }
    }
}

/// How sure it must be that the stations differ. A preliminary test as strict as the interval itself would too often keep
/// the narrow interval where the wide one is due; a level of about a quarter is the usual advice (T. A. Bancroft, Biometrics 20
/// (1964) 427-442, recalled from memory).
pub const PRELIMINARY: f64 = 0.75;

/// Fewest stations for the paired model: with two its interval would be thirteen standard uncertainties wide.
pub const FEWEST_PAIRS: usize = 3;

/// After less before, where both were measured at the same stations: `stations` are the two estimates at each.
///
/// The paired model is taken where the changes differ from station to station by more than the uncertainties of the
/// stations explain, by Fisher's F at [`PRELIMINARY`]: the dial was set up anew at each, or the repair did not act alike everywhere. Its
/// interval is then the wider one; else the two estimates are independent and [`change`] holds.
pub fn change_at(
    before: Estimate,
    after: Estimate,
    stations: impl Iterator<Item = (Estimate, Estimate)> + Clone,
) -> (Estimate, Model) {
    let independent = change(before, after);
    let (mut n, mut variance, mut spread) = (0_usize, 0.0, 0.0);
    for (b, a) in stations.clone() {
        n = n.saturating_add(1);
        for e in [b, a] {
            let own = square(e.standard_uncertainty);
            variance += own;
            spread += square(own) / e.dof;
        }
    }
    if n < FEWEST_PAIRS || variance <= 0.0 {
        return (independent, Model::Independent);
    }
    let Some(paired) = paired(stations.map(|(b, a)| a.value - b.value)) else {
        return (independent, Model::Independent);
    };
    // The variance of one difference as found, over the mean one expected; degrees of freedom by Welch and Satterthwaite.
    let count = n as f64;
    let ratio = square(paired.standard_uncertainty) * count / (variance / count);
    let dof = if spread > 0.0 { square(variance) / spread } else { f64::INFINITY };
    // Beyond some thousands of degrees of freedom F no longer changes.
    if ratio <= f_quantile(PRELIMINARY, paired.dof, dof.min(1e4))
        || paired.expanded_95() <= independent.expanded_95()
    {
        return (independent, Model::Independent);
    }
    (Estimate { value: independent.value, ..paired }, Model::Paired)
}

/// Whether the size of the lost motion changed by as much as `change` says. Sizes, since a loss that a repair turned into a small over-correction is
/// reduced.
#[must_use]
pub fn answer(before: Estimate, after: Estimate, change: &Estimate) -> Answer {
    let step = libm::fabs(after.value) - libm::fabs(before.value);
    let expanded = change.expanded_95();
    if step + expanded < 0.0 {
        Answer::Reduced
    } else if step - expanded > 0.0 {
        Answer::Increased
    } else {
        Answer::NoChangeShown
    }
}

/// A standard deviation and the degrees of freedom behind it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Repeatability {
    /// The standard deviation of one reading.
    pub s: f64,
    /// Its degrees of freedom.
    pub dof: f64,
}

impl Repeatability {
    /// What an estimate of a standard deviation says: the degrees of freedom are those with which χ² would give an interval as
    /// wide, so that what a coarse dial or uneven slip adds to its uncertainty counts. `None` where the interval is so wide, or
    /// the standard deviation so small, that less than half a degree of freedom is left.
    #[must_use]
    pub fn of(found: &Estimate) -> Option<Self> {
        let share = found.expanded_95() / found.value;
        let (mut low, mut high) = LEAST_AND_MOST_DOF;
        if !(found.value > 0.0 && share > 0.0 && share <= share_95(low)) {
            return None;
        }
        // The share falls as the degrees of freedom rise; halved in proportion, since they span decades.
        for _ in 0..60 {
            let middle = libm::sqrt(low * high);
            if share_95(middle) > share {
                low = middle;
            } else {
                high = middle;
            }
        }
        Some(Self { s: found.value, dof: high })
    }
}

/// The degrees of freedom between which [`Repeatability::of`] looks.
const LEAST_AND_MOST_DOF: (f64, f64) = (0.5, 1e4);

/// A ratio with its 95 % interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ratio {
    /// After over before: below 1 is better.
    pub value: f64,
    /// Lower end of the interval.
    pub low_95: f64,
    /// Upper end of the interval.
    pub high_95: f64,
}

/// Repeatability after over repeatability before, by Fisher's F. `None` where a standard deviation is zero: an indicator
/// whose steps hide the scatter tells no ratio.
#[must_use]
pub fn repeatability_ratio(before: Repeatability, after: Repeatability) -> Option<Ratio> {
    let usable = |r: Repeatability| r.s > 0.0 && r.s.is_finite() && r.dof > 0.0 && r.dof.is_finite();
    if !usable(before) || !usable(after) {
        return None;
    }
    let value = after.s / before.s;
    let f = |p| libm::sqrt(f_quantile(p, after.dof, before.dof));
    Some(Ratio { value, low_95: value / f(0.975), high_95: value / f(0.025) })
}

/// Whether a standard deviation changed as a ratio says.
#[must_use]
pub fn answer_of_ratio(ratio: &Ratio) -> Answer {
    if ratio.high_95 < 1.0 {
        Answer::Reduced
    } else if ratio.low_95 > 1.0 {
        Answer::Increased
    } else {
        Answer::NoChangeShown
    }
}

/// The value of Fisher's F not exceeded with probability `p`, `over` and `under` degrees of freedom.
#[must_use]
pub fn f_quantile(p: f64, over: f64, under: f64) -> f64 {
    let below = |log: f64| {
        let x = libm::exp(log);
        beta_lower(0.5 * over, 0.5 * under, over * x / (over * x + under))
    };
    libm::exp(crossing(-40.0, 40.0, 1e-13, &|log| below(log) - p))
}

fn square(x: f64) -> f64 {
    x * x
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn f_against_printed_tables() {
        // Upper 2.5 % and 5 % points of F, printed tables (recalled from memory).
        for (p, over, under, printed) in [
            (0.975, 4.0, 4.0, 9.60),
            (0.95, 5.0, 10.0, 3.33),
            (0.975, 10.0, 10.0, 3.72),
            (0.95, 1.0, 1.0, 161.4),
        ] {
            let found = f_quantile(p, over, under);
            assert!((found / printed - 1.0).abs() < 2e-3, "F {p} {over} {under}: {found} against {printed}");
            let mirrored = 1.0 / f_quantile(1.0 - p, under, over);
            assert!((found / mirrored - 1.0).abs() < 1e-9);
        }
    }

    #[test]
    fn welch_by_hand() {
        // u 3 and 4 with 4 and 9 degrees of freedom: u = 5, dof = 625/(81/4 + 256/9) = 12.83.
        let before = Estimate { value: 10.0, standard_uncertainty: 3.0, dof: 4.0 };
        let after = Estimate { value: 12.0, standard_uncertainty: 4.0, dof: 9.0 };
        let found = change(before, after);
        assert_eq!((found.value, found.standard_uncertainty), (2.0, 5.0));
        assert!((found.dof - 625.0 / (81.0 / 4.0 + 256.0 / 9.0)).abs() < 1e-12);
        assert_eq!(answer(before, after, &found), Answer::NoChangeShown);
    }

    #[test]
    fn paired_where_stations_differ_more_than_they_may() {
        let e = |value: f64, u: f64| Estimate { value, standard_uncertainty: u, dof: 8.0 };
        let alike = [0.100, 0.101, 0.099, 0.100].map(|loss| (e(loss, 0.001), e(loss - 0.080, 0.001)));
        let (found, model) = change_at(e(0.1, 0.0005), e(0.02, 0.0005), alike.iter().copied());
        assert_eq!((found, model), (change(e(0.1, 0.0005), e(0.02, 0.0005)), Model::Independent));
        // By hand: changes -0.09, -0.07, -0.09, -0.07: s = 0.011547, u = s/2.
        let unlike = [0.01, 0.03, 0.01, 0.03].map(|left| (e(0.1, 0.001), e(left, 0.001)));
        let (found, model) = change_at(e(0.1, 0.0005), e(0.02, 0.0005), unlike.iter().copied());
        assert_eq!(model, Model::Paired);
        assert!((found.standard_uncertainty - 0.011547 / 2.0).abs() < 1e-6, "{found:?}");
        assert!((found.value + 0.08).abs() < 1e-12);
        // Two stations are too few, none at all too.
        let (_, model) = change_at(e(0.1, 0.0005), e(0.02, 0.0005), unlike.iter().copied().take(2));
        assert_eq!(model, Model::Independent);
        let (_, model) = change_at(e(0.1, 0.0005), e(0.02, 0.0005), core::iter::empty());
        assert_eq!(model, Model::Independent);
    }

    #[test]
    fn sizes_decide_and_zero_scatter_tells_no_ratio() {
        let e = |value| Estimate { value, standard_uncertainty: 0.001, dof: 8.0 };
        let says = |b, a| answer(b, a, &change(b, a));
        assert_eq!(says(e(0.12), e(-0.02)), Answer::Reduced);
        assert_eq!(says(e(0.02), e(-0.06)), Answer::Increased);
        assert_eq!(says(e(0.05), e(-0.05)), Answer::NoChangeShown);
        let r = |s| Repeatability { s, dof: 8.0 };
        assert_eq!(repeatability_ratio(r(0.0), r(0.001)), None);
        let ratio = repeatability_ratio(r(0.002), r(0.001)).unwrap();
        assert!(ratio.low_95 < 0.5 && 0.5 < ratio.high_95);
    }

    #[test]
    fn the_degrees_of_freedom_of_a_standard_deviation_are_found_again() {
        for dof in [1.0, 4.5, 9.0, 40.0, 900.0] {
            let found = Repeatability::of(&crate::measure::chi_square::spread(0.002, dof)).unwrap();
            assert!((found.dof / dof - 1.0).abs() < 1e-6, "{dof}: {found:?}");
        }
        let e = |value, u| Estimate { value, standard_uncertainty: u, dof: f64::INFINITY };
        // A coarse dial: as wide an interval, whatever its degrees of freedom, tells as little.
        let coarse = Repeatability::of(&e(0.001, 0.001)).unwrap();
        assert!(coarse.dof < 3.0, "{coarse:?}");
        for none in [e(0.0, 0.001), e(0.001, 0.0), e(0.001, 1.0), e(f64::NAN, 0.001), e(0.001, f64::NAN)] {
            assert_eq!(Repeatability::of(&none), None, "{none:?}");
        }
        let says = |low_95, high_95| answer_of_ratio(&Ratio { value: 1.0, low_95, high_95 });
        assert_eq!(
            [says(0.5, 0.9), says(0.9, 1.1), says(1.1, 2.0)],
            [Answer::Reduced, Answer::NoChangeShown, Answer::Increased]
        );
    }

    #[test]
    fn paired_by_hand() {
        let found = paired([1.0, 2.0, 3.0].into_iter()).unwrap();
        assert_eq!((found.value, found.dof), (2.0, 2.0));
        assert!((found.standard_uncertainty - (1.0_f64 / 3.0).sqrt()).abs() < 1e-15);
        assert_eq!(paired([1.0].into_iter()), None);
    }
}

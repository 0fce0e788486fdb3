//! Finding misread dials under any model that can be fitted without some of the readings.
//!
//! The mean-shift outlier model (R. D. Cook and S. Weisberg, Residuals and Influence in Regression, 1982, chapter
//! 2), as for the [reversal test](crate::measure::reversal): a reading is good, or misread with a small
//! probability and then anywhere within a millimetre. Setting readings aside is worth it where the likelihood
//! of the rest, noise integrated out, grows by more than misreads are rare. The worst is set aside in each
//! round, a few rounds beyond the best, since misreads can hide each other; then what need not be out is taken back.

use crate::measure::reversal::misread::{LEAST_TOLERANCE_MM, pattern};
use crate::measure::reversal::{Misread, SetAside};
use heapless::Vec;

/// How often a dial is misread, beforehand.
const PROBABILITY: f64 = 0.05;
/// The range over which misreads scatter, in mm.
const RANGE_MM: f64 = 2.0;
/// Nothing smaller than so many steps of the dial is called a misread.
pub(crate) const LEAST_STEPS: f64 = 2.5;

/// The most readings that are set aside from small steps and returns.
pub const MOST_SET_ASIDE: usize = 128;

/// The readings set aside from small steps and returns.
pub type Aside = Vec<SetAside, MOST_SET_ASIDE>;

/// How far a search goes.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Limits {
    /// At most one reading in so many is set aside.
    pub one_in: usize,
    /// Rounds without gain before the search ends.
    pub patience: usize,
}

/// Whether a reading is set aside.
pub(crate) fn is_out(found: &[SetAside], index: usize) -> bool {
    found.iter().any(|s| usize::from(s.index) == index)
}

/// The readings to set aside, by rising index. `log_likelihood` is that of the readings left, noise and linear
/// coefficients integrated out, `None` where they are too few; `worst` is the one of them that fits worst, if
/// it may be set aside.
pub(crate) fn search<const N: usize>(
    count: usize,
    limits: Limits,
    log_likelihood: impl Fn(&Vec<SetAside, N>) -> Option<f64>,
    worst: impl Fn(&Vec<SetAside, N>) -> Option<usize>,
) -> Vec<SetAside, N> {
    let penalty = libm::log(PROBABILITY / (1.0 - PROBABILITY) / RANGE_MM);
    let likelihood = |found: &Vec<SetAside, N>| Some(log_likelihood(found)? + found.len() as f64 * penalty);
    let mut found = Vec::new();
    let Some(mut highest) = likelihood(&found) else { return found };
    let most = count.div_ceil(limits.one_in).min(N);
    let mut keep = 0;
    while found.len() < most && found.len().saturating_sub(keep) < limits.patience {
        let Some(index) = worst(&found) else { break };
        let _ = found.push(SetAside { index: index as u16, probably: Misread::Unexplained });
        let Some(now) = likelihood(&found) else { break };
        if now > highest {
            highest = now;
            keep = found.len();
        }
    }
    found.truncate(keep);
    // A good reading may have looked bad beside one set aside later.
    let mut place = 0;
    while place < found.len() {
        let out = found.swap_remove(place);
        match likelihood(&found) {
            Some(now) if now >= highest => {
                highest = now;
                place = 0;
            }
            _ => {
                let _ = found.insert(place, out);
                place = place.saturating_add(1);
            }
        }
    }
    found.sort_unstable_by_key(|s| s.index);
    found
}

/// Says of each reading set aside what it probably is; `read` tells what the dial showed and what the other
/// readings let expect, both in mm as read.
pub(crate) fn name_all(
    found: &mut [SetAside],
    resolution_mm: f64,
    read: impl Fn(usize) -> Option<(f64, f64)>,
) {
    let tolerance = libm::fmax(2.0 * resolution_mm, LEAST_TOLERANCE_MM);
    let close = |a: f64, b: f64| libm::fabs(a - b) <= tolerance;
    for place in 0..found.len() {
        let Some(index) = found.get(place).map(|one| one.index) else { continue };
        let Some((shown, expected)) = read(usize::from(index)) else { continue };
        let exchanged = |other: &&SetAside| {
            other.index != index
                && read(usize::from(other.index)).is_some_and(|(other_shown, other_expected)| {
                    close(shown, other_expected) && close(other_shown, expected)
                })
        };
        let name = match found.iter().find(exchanged) {
            Some(other) => Misread::Swapped { with: other.index },
            None => pattern(shown, expected, tolerance),
        };
        if let Some(one) = found.get_mut(place) {
            one.probably = name;
        }
    }
}

//! Finding misread dials under any model that can be fitted without some of the readings.
//!
//! The mean-shift outlier model, as for the [reversal test](crate::measure::reversal): a reading is
//! good, or misread with a small probability and then anywhere within a millimetre. The worst is set aside in
//! each round, a few rounds beyond the best, since misreads can hide each other; then what need not be
//! out is taken back.

use crate::measure::Setup;
use crate::measure::reversal::{Misread, SetAside, misread::pattern};
use heapless::Vec;

/// How often a dial is misread, beforehand.
const PROBABILITY: f64 = 0.05;
/// The range over which misreads scatter, in mm.
const RANGE_MM: f64 = 2.0;
/// Rounds without gain before the search ends.
const PATIENCE: usize = 4;

/// The most readings that are set aside.
pub const MOST_SET_ASIDE: usize = 128;

/// The readings set aside.
pub type Aside = Vec<SetAside, MOST_SET_ASIDE>;

/// What a fit without some readings says.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Trial {
    /// The log likelihood of the readings left, noise and linear coefficients integrated out.
    pub log_likelihood: f64,
    /// The reading that fits worst, of those left that may be set aside.
    pub worst: Option<usize>,
}

/// Whether a reading is set aside.
pub(crate) fn is_out(found: &[SetAside], index: usize) -> bool {
    found.iter().any(|s| usize::from(s.index) == index)
}

/// The readings to set aside, at most a quarter of `count`, by rising index; `fit` tries it without some.
pub(crate) fn search(count: usize, mut fit: impl FnMut(&[SetAside]) -> Option<Trial>) -> Aside {
    let penalty = libm::log(PROBABILITY / (1.0 - PROBABILITY) / RANGE_MM);
    let mut found = Aside::new();
    let most = count.div_ceil(4).min(MOST_SET_ASIDE);
    let mut likelihood = |found: &Aside| {
        let trial = fit(found)?;
        Some((trial.log_likelihood + found.len() as f64 * penalty, trial.worst))
    };
    let Some((mut highest, mut worst)) = likelihood(&found) else { return found };
    let mut keep = 0;
    while found.len() < most && found.len().saturating_sub(keep) < PATIENCE {
        let Some(index) = worst else { break };
        let _ = found.push(SetAside { index: index as u16, probably: Misread::Unexplained });
        let Some((now, next)) = likelihood(&found) else { break };
        worst = next;
        if now > highest {
            highest = now;
            keep = found.len();
        }
    }
    found.truncate(keep);
    let mut place = 0;
    while place < found.len() {
        let out = found.swap_remove(place);
        match likelihood(&found) {
            Some((now, _)) if now >= highest => {
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

/// Says of each reading set aside what it probably is; `off_mm` tells how far one is off on the dial, and what
/// it shows, both in mm as read.
pub(crate) fn name_all(found: &mut Aside, off_mm: impl Fn(usize) -> Option<(f64, f64)>, setup: &Setup) {
    let tolerance = libm::fmax(2.0 * setup.resolution_mm, 0.01);
    let close = |a: f64, b: f64| libm::fabs(a - b) <= tolerance;
    for place in 0..found.len() {
        let Some(index) = found.get(place).map(|one| one.index) else { continue };
        let Some((off, shown)) = off_mm(usize::from(index)) else { continue };
        let exchanged = |other: &&SetAside| {
            other.index != index
                && off_mm(usize::from(other.index)).is_some_and(|(other_off, other_shown)| {
                    close(shown, other_shown - other_off) && close(other_shown, shown - off)
                })
        };
        let name = match found.iter().find(exchanged) {
            Some(other) => Misread::Swapped { with: other.index },
            None => pattern(shown, shown - off, tolerance),
        };
        if let Some(one) = found.get_mut(place) {
            one.probably = name;
        }
    }
}

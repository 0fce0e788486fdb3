//! Finding misread dials under any model that can be fitted without some of the readings.
//!
//! The mean-shift outlier model (R. D. Cook and S. Weisberg, Residuals and Influence in Regression, 1982, chapter
//! 2): a reading is good, or misread with a small
//! probability and then anywhere within a millimetre. Setting readings aside is worth it where the likelihood
//! of the rest, noise integrated out, grows by more than misreads are rare. The worst is set aside in each
//! round, a few rounds beyond the best, since misreads can hide each other; then what need not be out is taken back.

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

/// Readings looked at closely in each round.
pub(crate) const SUSPECTS: usize = 16;

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
    search_by_rounds(count, limits, log_likelihood, |found| worst(found).into_iter().collect()).0
}

/// The same, several readings being set aside in a round as long as they may; with the log likelihood of what
/// is left and how rare so many misreads are.
pub(crate) fn search_by_rounds<const N: usize>(
    count: usize,
    limits: Limits,
    log_likelihood: impl Fn(&Vec<SetAside, N>) -> Option<f64>,
    worst: impl Fn(&Vec<SetAside, N>) -> Vec<usize, SUSPECTS>,
) -> (Vec<SetAside, N>, f64) {
    let penalty = libm::log(PROBABILITY / (1.0 - PROBABILITY) / RANGE_MM);
    let likelihood = |found: &Vec<SetAside, N>| Some(log_likelihood(found)? + found.len() as f64 * penalty);
    let mut found = Vec::new();
    let Some(mut highest) = likelihood(&found) else { return (found, f64::NEG_INFINITY) };
    let most = count.div_ceil(limits.one_in).min(N);
    let mut keep = 0;
    while found.len() < most && found.len().saturating_sub(keep) < limits.patience {
        let out = worst(&found);
        if out.is_empty() {
            break;
        }
        for index in out.into_iter().take(most.saturating_sub(found.len())) {
            let _ = found.push(SetAside { index: index as u16, probably: Misread::Unexplained });
        }
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
    put_in_order(&mut found);
    (found, highest)
}

/// By rising index. Misreads are few; sorting as for many takes thousands of bytes of flash.
fn put_in_order(found: &mut [SetAside]) {
    for end in 1..found.len() {
        for place in (1..=end).rev() {
            let before = place.saturating_sub(1);
            if let (Some(a), Some(b)) = (found.get(before), found.get(place))
                && a.index > b.index
            {
                found.swap(before, place);
            }
        }
    }
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

/// Within this a misread fits a pattern, in mm.
const LEAST_TOLERANCE_MM: f64 = 0.01;
/// What a pointer turns once for: dials of 1 mm, 0.2 mm, 0.1 in and 0.5 mm a turn are common
/// (common practice, no source).
const TURNS_MM: [f64; 2] = [1.0, 2.54];

fn pattern(shown: f64, expected: f64, tolerance: f64) -> Misread {
    let off = shown - expected;
    let size = libm::fabs(off);
    // Beyond 32 mm no dial reads: the conversion holds at its ends.
    let off_um = libm::round(1000.0 * off) as i16;
    if libm::fabs(shown + expected) <= tolerance && size > 2.0 * tolerance {
        return Misread::Sign;
    }
    if TURNS_MM.iter().any(|turn| libm::fabs(size - turn) <= tolerance) {
        return Misread::Revolution { off_um };
    }
    // One digit wrong: off by a whole number of tenths, or of hundredths where the scatter allows to tell.
    let is_digit = |unit: f64| {
        let times = libm::round(size / unit);
        (1.0..=9.0).contains(&times) && libm::fabs(size - times * unit) <= tolerance.min(0.2 * unit)
    };
    if is_digit(0.1) || is_digit(1.0) { Misread::Digit { off_um } } else { Misread::Unexplained }
}

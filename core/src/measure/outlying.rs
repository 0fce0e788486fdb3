//! Misread dials in any test that is a model fitted to readings.
//!
//! The rule is that of the reversal test (the mean-shift outlier model; R. D. Cook and S. Weisberg, Residuals
//! and Influence in Regression, 1982, chapter 2): a reading is good, or misread with a small probability and
//! then anywhere within a millimetre or so. Setting readings aside is worth it where the likelihood of the rest,
//! noise integrated out, grows by more than misreads are rare. The worst is set aside in each round, a few
//! rounds beyond the best, since misreads can hide each other; then what need not be out is taken back.
//!
//! Costs a fit of the model for each of at most eight suspects in each round.

use crate::measure::regression::Fit;
use crate::measure::reversal::misread::{LEAST_TOLERANCE_MM, pattern};
use crate::measure::reversal::{MOST_SET_ASIDE, Misread, SetAside};
use heapless::Vec;

/// How often a dial is misread, beforehand.
const PROBABILITY: f64 = 0.05;
/// The range over which misreads scatter, in mm.
const RANGE_MM: f64 = 2.0;
/// Readings looked at closely in each round.
const SUSPECTS: usize = 8;
/// Nothing smaller than so many steps of the dial is called a misread.
const LEAST_STEPS: f64 = 2.5;
/// Rounds without gain before the search ends.
const PATIENCE: usize = 3;

/// Indices of readings left out, in no order.
pub(crate) type Out = Vec<SetAside, MOST_SET_ASIDE>;

/// A model that can be fitted to some of its readings.
pub(crate) trait Model {
    /// The readings there are.
    fn count(&self) -> usize;

    /// The log likelihood of the readings not left out, noise integrated out, under the fit that makes it
    /// highest; `None` where they are too few.
    fn log_likelihood(&self, out: &Out) -> Option<f64>;

    /// Hands on, of every reading, the index, what was read and what the fit to those not left out expects,
    /// in millimetres on the dial.
    fn expected(&self, out: &Out, take: impl FnMut(usize, f64, f64));
}

/// The log likelihood of a fit, noise integrated out; the sum of squares is not believed to be below a least one.
pub(crate) fn log_likelihood<const P: usize>(fit: &Fit<P>, least_sum: f64) -> f64 {
    let half = 0.5 * fit.dof;
    libm::lgamma(half)
        - half * libm::log(core::f64::consts::PI * (fit.residual_sum + least_sum))
        - 0.5 * fit.log_determinant
}

/// Whether a reading is left out.
pub(crate) fn is_out(out: &Out, index: usize) -> bool {
    out.iter().any(|s| usize::from(s.index) == index)
}

/// The readings to set aside, by rising index, each with what it probably is.
pub(crate) fn find(model: &impl Model, resolution_mm: f64) -> Out {
    let penalty = libm::log(PROBABILITY / (1.0 - PROBABILITY) / RANGE_MM);
    let likelihood = |out: &Out| Some(model.log_likelihood(out)? + out.len() as f64 * penalty);
    let mut out = Out::new();
    let Some(mut highest) = likelihood(&out) else { return out };
    let most = model.count().div_ceil(5).min(MOST_SET_ASIDE);
    let mut keep = 0;
    while out.len() < most && out.len().saturating_sub(keep) < PATIENCE {
        let Some(index) = worst(model, &out, LEAST_STEPS * resolution_mm) else { break };
        let _ = out.push(SetAside { index, probably: Misread::Unexplained });
        let Some(now) = likelihood(&out) else { break };
        if now > highest {
            highest = now;
            keep = out.len();
        }
    }
    out.truncate(keep);
    // A good reading may have looked bad beside one set aside later.
    let mut place = 0;
    while place < out.len() {
        let one = out.swap_remove(place);
        match likelihood(&out) {
            Some(now) if now >= highest => {
                highest = now;
                place = 0;
            }
            _ => {
                let _ = out.insert(place, one);
                place = place.saturating_add(1);
            }
        }
    }
    out.sort_unstable_by_key(|s| s.index);
    name_all(model, &mut out, resolution_mm);
    out
}

/// The reading without which the rest is likeliest, if it is then off by at least so much.
fn worst(model: &impl Model, out: &Out, least_mm: f64) -> Option<u16> {
    let mut suspects: Vec<(f64, u16), SUSPECTS> = Vec::new();
    model.expected(out, |index, shown, expected| {
        let size = libm::fabs(shown - expected);
        if is_out(out, index) {
            return;
        }
        let place = suspects.iter().position(|s| size > s.0).unwrap_or(suspects.len());
        if suspects.is_full() {
            if place == suspects.len() {
                return;
            }
            suspects.pop();
        }
        let _ = suspects.insert(place, (size, index as u16));
    });
    let mut best: Option<(u16, f64)> = None;
    for &(_, index) in &suspects {
        let mut without = out.clone();
        if without.push(SetAside { index, probably: Misread::Unexplained }).is_err() {
            continue;
        }
        let Some(log) = model.log_likelihood(&without) else { continue };
        if best.is_some_and(|(_, most)| log <= most) {
            continue;
        }
        let mut off = 0.0;
        model.expected(&without, |i, shown, expected| {
            if i == usize::from(index) {
                off = libm::fabs(shown - expected);
            }
        });
        if off >= least_mm {
            best = Some((index, log));
        }
    }
    best.map(|(index, _)| index)
}

/// Says of each reading set aside what it probably is.
fn name_all(model: &impl Model, out: &mut Out, resolution_mm: f64) {
    let tolerance = libm::fmax(2.0 * resolution_mm, LEAST_TOLERANCE_MM);
    let close = |a: f64, b: f64| libm::fabs(a - b) <= tolerance;
    let mut known: Vec<(u16, f64, f64), MOST_SET_ASIDE> = Vec::new();
    model.expected(out, |index, shown, expected| {
        if is_out(out, index) {
            let _ = known.push((index as u16, shown, expected));
        }
    });
    for one in out.iter_mut() {
        let Some(&(index, shown, expected)) = known.iter().find(|k| k.0 == one.index) else { continue };
        let other = known.iter().find(|k| k.0 != index && close(shown, k.2) && close(k.1, expected));
        one.probably = match other {
            Some(other) => Misread::Swapped { with: other.0 },
            None => pattern(shown, expected, tolerance),
        };
    }
}

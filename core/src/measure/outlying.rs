//! Misread dials in a test whose few coefficients are fitted to its readings: [`misreads`] by refitting.
//!
//! Costs a fit of the model for each of at most ten suspects in each round.

use crate::measure::misreads::{self, LEAST_STEPS, Limits, is_out};
use crate::measure::regression::Fit;
use crate::measure::reversal::{MOST_SET_ASIDE, Misread, SetAside};
use heapless::Vec;

/// Readings looked at closely in each round; the first and the last besides, to which a curve may bend so that they do not
/// look off.
const SUSPECTS: usize = 8;
/// Few readings stand behind few coefficients.
const LIMITS: Limits = Limits { one_in: 5, patience: 3 };

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

/// The readings to set aside, by rising index, each with what it probably is.
pub(crate) fn find(model: &impl Model, resolution_mm: f64) -> Out {
    let least_mm = LEAST_STEPS * resolution_mm;
    let likelihood = |out: &Out| model.log_likelihood(out);
    let mut out = misreads::search(model.count(), LIMITS, likelihood, |out| worst(model, out, least_mm));
    let mut known: Vec<(usize, f64, f64), MOST_SET_ASIDE> = Vec::new();
    model.expected(&out, |index, shown, expected| {
        if is_out(&out, index) {
            let _ = known.push((index, shown, expected));
        }
    });
    misreads::name_all(&mut out, resolution_mm, |index| {
        known.iter().find(|one| one.0 == index).map(|&(_, shown, expected)| (shown, expected))
    });
    out
}

/// The reading without which the rest is likeliest, if it is then off by at least so much.
fn worst(model: &impl Model, out: &Out, least_mm: f64) -> Option<usize> {
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
    let last = model.count().saturating_sub(1) as u16;
    let ends = [0, last].into_iter().filter(|end| !is_out(out, usize::from(*end)));
    for index in suspects.iter().map(|suspect| suspect.1).chain(ends) {
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
    best.map(|(index, _)| usize::from(index))
}

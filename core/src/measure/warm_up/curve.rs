//! The curve of growth, fitted for each bend κ of a grid, and the region of fits that the readings allow.

use super::Reading;
use crate::measure::misreads::is_out;
use crate::measure::outlying::{self, Model, Out};
use crate::measure::regression::{Fit, LeastSquares};
use crate::measure::root::held;
use heapless::Vec;

/// Bends tried while misreads are looked for.
const COARSE: usize = 12;
/// Bends tried for the answer.
const FINE: usize = 64;
/// A curve may also bend the other way, growing ever faster: then nothing is known of its end.
const LEAST_KAPPA: f64 = -3.0;
/// Bends no sharper than this are straight lines.
pub(super) const STRAIGHT: f64 = 1e-9;

/// Readings with all that is needed to fit them.
pub(super) struct Curve<'a> {
    readings: &'a [Reading],
    motion: f64,
    least_variance: f64,
    start_s: f64,
    pub span_s: f64,
    /// From 0 to 1: how far readings in a row that read the same share one rounding error.
    pub alike: f64,
    /// The sharpest bend that the spacing of the readings allows to see.
    pub most_kappa: f64,
}

/// The fit for one bend.
#[derive(Clone, Copy)]
pub(super) struct Bent {
    pub kappa: f64,
    pub fit: Fit<2>,
}

/// The growth within a part x of the time watched, as a share of it: (1 − exp(−κx)) / (1 − exp(−κ)).
fn share(kappa: f64) -> impl Fn(f64) -> f64 {
    let whole = libm::expm1(-kappa);
    move |x| if libm::fabs(kappa) <= STRAIGHT { x } else { libm::expm1(-kappa * x) / whole }
}

/// Growth from the first reading until nothing more is to come, over the growth seen; infinite where it never ends.
pub(super) fn amplitude(kappa: f64) -> f64 {
    if kappa <= STRAIGHT { f64::INFINITY } else { -1.0 / libm::expm1(-kappa) }
}

/// Growth still to come, over the growth seen.
pub(super) fn left(kappa: f64) -> f64 {
    if kappa <= STRAIGHT { f64::INFINITY } else { 1.0 / libm::expm1(kappa) }
}

/// The rate at the last reading, times the time watched, over the growth seen.
pub(super) fn rate(kappa: f64) -> f64 {
    if libm::fabs(kappa) <= STRAIGHT { 1.0 } else { kappa / libm::expm1(kappa) }
}

impl<'a> Curve<'a> {
    /// `None` without a time between first and last.
    pub fn new(readings: &'a [Reading], motion: f64, least_variance: f64) -> Option<Self> {
        let start_s = readings.first()?.time_s;
        let span_s = readings.last()?.time_s - start_s;
        if !(span_s > 0.0 && span_s.is_finite()) {
            return None;
        }
        // Growth that is over within one mean spacing is a step.
        let most_kappa = libm::fmax(readings.len() as f64 - 1.0, 3.0);
        Some(Self { readings, motion, least_variance, start_s, span_s, alike: 0.0, most_kappa })
    }

    fn x(&self, reading: &Reading) -> f64 {
        (reading.time_s - self.start_s) / self.span_s
    }

    fn fit(&self, out: &Out, kappa: f64) -> Option<Bent> {
        let zero = self.readings.first()?.value_mm;
        let mut squares = LeastSquares::<2>::new();
        let share = share(kappa);
        let (mut root, mut run_ends) = (1.0, 0);
        for (index, reading) in self.readings.iter().enumerate() {
            if self.alike > 0.0 && index >= run_ends {
                let run = self.readings.iter().skip(index);
                let length = run.take_while(|r| r.value_mm == reading.value_mm).count();
                run_ends = index.saturating_add(length);
                root = 1.0 / libm::sqrt(1.0 + self.alike * (length as f64 - 1.0));
            }
            if !is_out(out, index) {
                let y = self.motion * (reading.value_mm - zero);
                squares.add([root, root * share(self.x(reading))], root * y);
            }
        }
        let mut fit = squares.solve().ok()?;
        // The bend is a coefficient too.
        fit.dof -= 1.0;
        (fit.dof > 0.0).then_some(Bent { kappa, fit })
    }

    /// Bends from the least to the most, evenly on a scale that is even near zero and in proportion far out.
    fn grid(&self, count: usize) -> impl Iterator<Item = f64> + use<> {
        let (low, high) = (libm::asinh(LEAST_KAPPA), libm::asinh(self.most_kappa));
        let step = (high - low) / (count as f64 - 1.0);
        (0..count).map(move |i| libm::sinh(low + step * i as f64))
    }

    fn best_of(&self, out: &Out, count: usize) -> Option<Bent> {
        let fits = self.grid(count).filter_map(|kappa| self.fit(out, kappa));
        fits.min_by(|a, b| a.fit.residual_sum.total_cmp(&b.fit.residual_sum))
    }

    /// The fit with the least sum of squares.
    pub fn best(&self, out: &Out) -> Option<Bent> {
        let start = self.best_of(out, FINE)?;
        let step = (libm::asinh(self.most_kappa) - libm::asinh(LEAST_KAPPA)) / (FINE as f64 - 1.0);
        let middle = libm::asinh(start.kappa);
        let (mut low, mut high) = (middle - step, middle + step);
        let mut best = start;
        // Thirds of the bracket, until it is far below what noise allows to tell.
        for _ in 0..24 {
            let third = (high - low) / 3.0;
            let at = |place: f64| {
                let kappa = held(libm::sinh(place), LEAST_KAPPA, self.most_kappa);
                self.fit(out, kappa)
            };
            let (Some(a), Some(b)) = (at(low + third), at(high - third)) else { break };
            if a.fit.residual_sum <= b.fit.residual_sum {
                high -= third;
            } else {
                low += third;
            }
            for one in [a, b] {
                if one.fit.residual_sum < best.fit.residual_sum {
                    best = one;
                }
            }
        }
        Some(best)
    }

    /// How far a straight line, or nearly one, is from the best fit: the root of the excess of its sum of squares
    /// over that of the best, in standard deviations of a reading.
    pub fn away_from_straight(&self, out: &Out, best: &Bent, least_bend: f64, s2: f64) -> f64 {
        if best.kappa <= least_bend {
            return 0.0;
        }
        let straight = self.fit(out, least_bend).map_or(0.0, |bent| bent.fit.residual_sum);
        libm::sqrt(libm::fmax(straight - best.fit.residual_sum, 0.0) / s2)
    }

    /// Whether some growth explains the readings better than none, by the F test with two coefficients more
    /// (for which the 95 % point has the closed form used here).
    pub fn growth_shown(&self, out: &Out, best: &Bent, s2: f64) -> bool {
        let (mut n, mut mean, mut sum) = (0.0, 0.0, 0.0);
        for (index, reading) in self.readings.iter().enumerate() {
            if !is_out(out, index) {
                n += 1.0;
                let off = self.motion * reading.value_mm - mean;
                mean += off / n;
                sum += off * (self.motion * reading.value_mm - mean);
            }
        }
        let dof = best.fit.dof;
        let f = 0.5 * dof * libm::expm1(2.0 / dof * libm::log(20.0));
        sum - best.fit.residual_sum > 2.0 * f * s2
    }
}

impl Model for Curve<'_> {
    fn count(&self) -> usize {
        self.readings.len()
    }

    fn log_likelihood(&self, out: &Out) -> Option<f64> {
        let fit = self.best_of(out, COARSE)?.fit;
        if fit.dof < 2.0 {
            return None;
        }
        Some(outlying::log_likelihood(&fit, self.least_variance * fit.dof))
    }

    fn expected(&self, out: &Out, mut take: impl FnMut(usize, f64, f64)) {
        let Some(best) = self.best_of(out, COARSE) else { return };
        let zero = self.readings.first().map_or(0.0, |r| r.value_mm);
        let share = share(best.kappa);
        for (index, reading) in self.readings.iter().enumerate() {
            let motion = best.fit.coefficient(0) + best.fit.coefficient(1) * share(self.x(reading));
            take(index, reading.value_mm, zero + motion / self.motion);
        }
    }
}

/// The bends whose best fit is within the allowed sum of squares.
pub(super) struct Region {
    /// The least bend.
    pub low: f64,
    /// The sharpest bend.
    pub high: f64,
    /// Fits between, with what each leaves free for the growth: half the width of its interval.
    fits: Vec<(f64, f64, f64), 128>,
}

impl Region {
    /// The region in which the sum of squares exceeds the least by no more than an allowance.
    pub fn new(curve: &Curve<'_>, out: &Out, best: &Bent, allowance: f64) -> Self {
        let most = best.fit.residual_sum + allowance;
        let slack = |kappa: f64| curve.fit(out, kappa).map(|bent| most - bent.fit.residual_sum);
        let inside = |kappa: f64| slack(kappa).is_some_and(|s| s >= 0.0);
        let best = best.kappa;
        let (mut low, mut high) = (best, best);
        let (mut below, mut above) = (None, None);
        let mut before: Option<f64> = None;
        for kappa in curve.grid(FINE) {
            if inside(kappa) {
                if kappa <= low {
                    low = kappa;
                    below = before;
                }
                high = libm::fmax(high, kappa);
            }
            before = Some(kappa);
        }
        for kappa in curve.grid(FINE) {
            if kappa > high {
                above = Some(kappa);
                break;
            }
            if kappa < low {
                below = Some(kappa);
            }
        }
        let edge = |inner: f64, outer: Option<f64>| {
            let Some(mut outer) = outer else { return inner };
            let mut inner = inner;
            for _ in 0..30 {
                let middle = 0.5 * (inner + outer);
                if inside(middle) {
                    inner = middle;
                } else {
                    outer = middle;
                }
            }
            inner
        };
        let (low, high) = (edge(low, below), edge(high, above));
        let mut region = Self { low, high, fits: Vec::new() };
        let (start, end) = (libm::asinh(low), libm::asinh(high));
        let places = (0..=100).map(|i| libm::sinh(start + (end - start) * f64::from(i) / 100.0));
        for kappa in places.chain([best]) {
            if let Some(bent) = curve.fit(out, kappa) {
                let free = libm::fmax(most - bent.fit.residual_sum, 0.0);
                let half = libm::sqrt(free * bent.fit.cofactor(1, 1));
                // Fewer fits than there is room for.
                let _ = region.fits.push((kappa, bent.fit.coefficient(1), half));
            }
        }
        region
    }

    /// The part of the region that bends more than so much, if any does.
    pub fn bent_by(&self, kappa: f64) -> Option<Self> {
        let fits: Vec<_, 128> = self.fits.iter().copied().filter(|f| f.0 > kappa).collect();
        (!fits.is_empty()).then(|| Self { low: libm::fmax(self.low, kappa), high: self.high, fits })
    }

    /// The least and the greatest that a multiple of the growth seen can be, the factor depending on the bend.
    pub fn over(&self, factor: impl Fn(f64) -> f64) -> (f64, f64) {
        self.fits.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), &(kappa, growth, half)| {
            let f = factor(kappa);
            (libm::fmin(low, f * (growth - half)), libm::fmax(high, f * (growth + half)))
        })
    }
}

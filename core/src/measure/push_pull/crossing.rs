//! The readings under every crossing that they allow, and the average over crossings.

use super::Reading;
use crate::measure::misreads::is_out;
use crate::measure::outlying::{self, Model, Out};
use crate::measure::regression::{Fit, LeastSquares};
use crate::measure::{root, student};
use heapless::Vec;

/// Different forces looked between; with more, those evenly spread over them.
const MOST_FORCES: usize = 24;
/// Forces that friction may hold between, at most.
const MOST_HELD: usize = 3;
/// Crossings kept for the average.
const MOST_KEPT: usize = 48;
/// How likely friction is to hold the table over a force that was tried, beforehand.
const FRICTION: f64 = 0.2;
/// How likely the axis is to carry no weight to speak of, beforehand.
const NO_WEIGHT: f64 = 0.5;

/// The forces up to which the table stays on the `-` side, and from which it is across.
#[derive(Clone, Copy)]
struct Crossing {
    below: f64,
    across: f64,
    log_prior: f64,
}

/// Readings with all that is needed to fit them.
pub(super) struct Pushes<'a> {
    readings: &'a [Reading],
    motion: f64,
    least_variance: f64,
    /// Different forces, rising.
    forces: Vec<f64, MOST_FORCES>,
}

/// One crossing of the average.
#[derive(Clone, Copy)]
struct Kept {
    log: f64,
    clearance: (f64, f64),
    compliance: (f64, f64),
    crossing: Crossing,
    variance: f64,
}

/// The average over crossings.
pub(super) struct Average {
    kept: Vec<Kept, MOST_KEPT>,
    pub dof: f64,
    /// The variance of a reading.
    pub variance: f64,
    /// The forces between which the likeliest crossing lies.
    pub crossed_n: Option<(f64, f64)>,
}

impl<'a> Pushes<'a> {
    pub fn new(readings: &'a [Reading], motion: f64, least_variance: f64) -> Self {
        let above = |bound: f64| {
            readings.iter().map(|r| r.force_n).filter(|&f| f > bound).fold(f64::INFINITY, f64::min)
        };
        let mut count: usize = 0;
        let mut force = f64::NEG_INFINITY;
        loop {
            force = above(force);
            if force == f64::INFINITY {
                break;
            }
            count = count.saturating_add(1);
        }
        let mut forces = Vec::new();
        let last = count.saturating_sub(1);
        let (mut index, mut force) = (0_usize, above(f64::NEG_INFINITY));
        while force < f64::INFINITY {
            // Evenly spread over all, the first and the last among them.
            let wanted = forces.len().saturating_mul(last).checked_div(MOST_FORCES.saturating_sub(1));
            if count <= MOST_FORCES || wanted.is_some_and(|w| index >= w) {
                // As many as there is room for.
                let _ = forces.push(force);
            }
            index = index.saturating_add(1);
            force = above(force);
        }
        Self { readings, motion, least_variance, forces }
    }

    /// The least and the greatest force used.
    pub fn forces(&self, out: &Out) -> (f64, f64) {
        let used = self.readings.iter().enumerate().filter(|(index, _)| !is_out(out, *index));
        used.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), (_, r)| {
            (libm::fmin(low, r.force_n), libm::fmax(high, r.force_n))
        })
    }

    /// Crossings, each with its probability beforehand: anywhere between the forces tried, most likely at no force.
    fn crossings(&self) -> impl Iterator<Item = Crossing> + '_ {
        let at = |i: usize| self.forces.get(i).copied();
        let span = match (self.forces.first(), self.forces.last()) {
            (Some(&first), Some(&last)) if last > first => last - first,
            _ => 1.0,
        };
        let share = move |low: f64, high: f64| {
            let balanced = match (low <= 0.0, high >= 0.0, low == 0.0 || high == 0.0) {
                (true, true, false) => NO_WEIGHT,
                (true, true, true) => 0.5 * NO_WEIGHT,
                _ => 0.0,
            };
            balanced + (1.0 - NO_WEIGHT) * (high - low) / span
        };
        let gaps = move |i: usize| Some((at(i)?, at(i.saturating_add(1))?));
        (0..self.forces.len()).flat_map(move |i| {
            (0..=MOST_HELD).filter_map(move |held| {
                let (low, mid) = gaps(i)?;
                let (other, high) = gaps(i.saturating_add(held))?;
                let prior = if held == 0 {
                    (1.0 - FRICTION) * share(low, high)
                } else {
                    FRICTION * share(low, mid) * share(other, high)
                };
                Some(Crossing { below: low, across: high, log_prior: libm::log(prior) })
            })
        })
    }

    /// Hands on each reading with the side it is on: 0 or 1.
    fn sides(&self, crossing: Crossing, mut take: impl FnMut(usize, &Reading, f64)) {
        let middle = 0.5 * (crossing.below + crossing.across);
        let mut side: Option<f64> = None;
        for (index, reading) in self.readings.iter().enumerate() {
            // A dial misread tells no less where the force was.
            let force = reading.force_n;
            let now = if force <= crossing.below {
                0.0
            } else if force >= crossing.across {
                1.0
            } else {
                // Held by friction where it was; where that is not known, the nearer side.
                side.unwrap_or(if force > middle { 1.0 } else { 0.0 })
            };
            side = Some(now);
            take(index, reading, now);
        }
    }

    fn fit(&self, crossing: Crossing, out: &Out) -> Option<Fit<3>> {
        let zero = self.readings.first()?.value_mm;
        let mut squares = LeastSquares::<3>::new();
        let mut on = [0_u32; 2];
        self.sides(crossing, |index, reading, side| {
            if !is_out(out, index) {
                if let Some(count) = on.get_mut(usize::from(side > 0.5)) {
                    *count = count.saturating_add(1);
                }
                squares.add([1.0, reading.force_n, side], self.motion * (reading.value_mm - zero));
            }
        });
        if on.iter().any(|&count| count < 2) {
            return None;
        }
        let fit = squares.solve().ok()?;
        (fit.dof > 0.0).then_some(fit)
    }

    fn log_likelihood_of(&self, crossing: Crossing, fit: &Fit<3>) -> f64 {
        crossing.log_prior + outlying::log_likelihood(fit, self.least_variance * fit.dof)
    }

    fn best(&self, out: &Out) -> Option<(Crossing, Fit<3>, f64)> {
        self.crossings()
            .filter_map(|crossing| {
                let fit = self.fit(crossing, out)?;
                Some((crossing, fit, self.log_likelihood_of(crossing, &fit)))
            })
            .max_by(|a, b| a.2.total_cmp(&b.2))
    }

    /// The average over crossings; `None` where no crossing leaves two readings on each side and one to spare.
    pub fn average(&self, out: &Out) -> Option<Average> {
        let mut kept: Vec<Kept, MOST_KEPT> = Vec::new();
        let mut dof = 1.0;
        for crossing in self.crossings() {
            let Some(fit) = self.fit(crossing, out) else { continue };
            dof = fit.dof;
            let variance = libm::fmax(fit.variance(), self.least_variance);
            let spread = |i| libm::sqrt(variance * fit.cofactor(i, i));
            let one = Kept {
                log: self.log_likelihood_of(crossing, &fit),
                clearance: (fit.coefficient(2), spread(2)),
                compliance: (fit.coefficient(1), spread(1)),
                crossing,
                variance,
            };
            let place = kept.iter().position(|k| one.log > k.log).unwrap_or(kept.len());
            if kept.is_full() {
                if place == kept.len() {
                    continue;
                }
                kept.pop();
            }
            let _ = kept.insert(place, one);
        }
        let best = *kept.first()?;
        let (mut total, mut variance) = (0.0, 0.0);
        for one in &mut kept {
            // From here on the weight.
            one.log = libm::exp(one.log - best.log);
            total += one.log;
            variance += one.log * one.variance;
        }
        for one in &mut kept {
            one.log /= total;
        }
        let crossed_n = Some((best.crossing.below, best.crossing.across));
        Some(Average { kept, dof, variance: variance / total, crossed_n })
    }
}

impl Model for Pushes<'_> {
    fn count(&self) -> usize {
        self.readings.len()
    }

    fn log_likelihood(&self, out: &Out) -> Option<f64> {
        let (_, fit, log) = self.best(out)?;
        (fit.dof >= 2.0).then_some(log)
    }

    fn expected(&self, out: &Out, mut take: impl FnMut(usize, f64, f64)) {
        let Some((crossing, fit, _)) = self.best(out) else { return };
        let zero = self.readings.first().map_or(0.0, |r| r.value_mm);
        self.sides(crossing, |index, reading, side| {
            let motion =
                fit.coefficient(0) + fit.coefficient(1) * reading.force_n + fit.coefficient(2) * side;
            take(index, reading.value_mm, zero + motion / self.motion);
        });
    }
}

impl Average {
    /// The middle 95 % of the clearance.
    pub fn clearance(&self) -> (f64, f64) {
        self.middle(|one| one.clearance)
    }

    /// The middle 95 % of the length that the drive gives for each newton.
    pub fn compliance(&self) -> (f64, f64) {
        self.middle(|one| one.compliance)
    }

    fn middle(&self, of: impl Fn(&Kept) -> (f64, f64)) -> (f64, f64) {
        (self.quantile(0.025, &of), self.quantile(0.975, &of))
    }

    /// Where the weighted average of the t distributions leaves a share below.
    fn quantile(&self, share: f64, of: &impl Fn(&Kept) -> (f64, f64)) -> f64 {
        let student = student::Tail::new(self.dof);
        let below = |place: f64| -> f64 {
            let part = |one: &Kept| {
                let (value, spread) = of(one);
                // A share to so many digits is a place to as many.
                one.log * student.beyond((value - place) / spread, 1e-11)
            };
            self.kept.iter().map(part).sum()
        };
        let factor = student::quantile(0.9995, self.dof);
        let (low, high) = self.kept.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), one| {
            let (value, spread) = of(one);
            (libm::fmin(a, value - factor * spread), libm::fmax(b, value + factor * spread))
        });
        root::crossing(low, high, 1e-10, &|place| below(place) - share)
    }
}

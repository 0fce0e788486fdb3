//! The model of the readings, and its fit.
//!
//! At a station: deviation = zero + reversal value × (± one half, by the approach) + drift × time
//! + a random walk + noise.
//!
//! How much of a sitting is steady drift, wandering or noise is not known beforehand. So the fit is
//! made for a grid of ratios — the walk's variance per step, the drift's standard deviation, both in units of
//! the noise — and the answers are averaged with the likelihood of the readings under each
//! (J. A. Hoeting and others, "Bayesian model averaging: a tutorial", Statistical Science 14, 1999). The
//! walk is taken out by a Kalman filter that whitens every column alike (P. de Jong, "The likelihood
//! for a state space model", Biometrika 75, 1988); the drift's spread enters as one more row.
//! Stations share the ratios and the noise, nothing else.

use super::{Series, Station, used_at};
use crate::axis::Direction;
use crate::length::Length;
use crate::measure::Estimate;
use crate::measure::regression::{Fit, LeastSquares};

/// The walk's variance from one reading to the next, over the variance of the noise.
const WALKS: [f64; 8] = [0.0, 0.03, 0.1, 0.3, 1.0, 4.0, 30.0, 1000.0];
/// The standard deviation of steady drift from one reading to the next, over that of the noise.
const DRIFTS: [f64; 6] = [0.0, 0.1, 0.3, 1.0, 5.0, 50.0];
/// No walk, and no drift, are each beforehand six times as likely as any one other ratio, as a logarithm: about as
/// likely as all of its other ratios together, seven and five.
const NONE_LOG_PRIOR: f64 = 1.8;

/// Readings with all that is needed to fit them.
pub(super) struct Sitting<'a, R: Series + ?Sized, U: Fn(usize) -> bool> {
    pub readings: &'a R,
    pub is_used: U,
    /// Motion per reading.
    pub motion: f64,
    /// The mean time from one reading to the next, or `None` where times are not known.
    pub step_s: Option<f64>,
    /// Below this the variance of a reading is not believed, in mm².
    pub least_variance: f64,
}

/// One pair of ratios.
#[derive(Clone, Copy)]
pub(super) struct Ratios {
    pub walk: f64,
    pub drift: f64,
}

/// What one pair of ratios makes of all stations.
#[derive(Clone, Copy, Default)]
pub(super) struct Evidence {
    residual_sum: f64,
    log_determinant: f64,
    dof: f64,
    drift_dof: f64,
}

/// A station condensed for one walk: the least-squares triangle and the filter's log variances.
#[derive(Clone, Copy)]
struct Condensed {
    squares: LeastSquares<3>,
    log_variances: f64,
    rows: f64,
}

/// A station under one pair of ratios.
struct StationFit {
    reversal: f64,
    rate: f64,
    cofactor: f64,
    rate_cofactor: f64,
    evidence: Evidence,
}

impl<R: Series + ?Sized, U: Fn(usize) -> bool> Sitting<'_, R, U> {
    fn rows(&self, target: Length) -> impl Iterator<Item = (usize, f64, f64, f64)> + '_ {
        let first = used_at(self.readings, &self.is_used, target).next().map_or(0.0, |(_, r)| r.value_mm);
        used_at(self.readings, &self.is_used, target).map(move |(index, reading)| {
            let half = match reading.approach {
                Direction::Plus => 0.5,
                Direction::Minus => -0.5,
            };
            let time = match (self.step_s, reading.time_s) {
                (Some(step), Some(time)) => time / step,
                _ => index as f64,
            };
            (index, time, half, self.motion * (reading.value_mm - first))
        })
    }

    /// Whitens the rows of a station and hands each on: index, regressors, observation, variance.
    fn whiten(&self, target: Length, walk: f64, mut row: impl FnMut(usize, [f64; 3], f64, f64)) {
        let (mut variance, mut before) = (0.0, None);
        let start = self.rows(target).next().map_or(0.0, |r| r.1);
        let mut state = [0.0; 4];
        for (index, time, half, y) in self.rows(target) {
            variance += walk * (time - before.unwrap_or(time));
            before = Some(time);
            let total = variance + 1.0;
            let gain = variance / total;
            let scale = 1.0 / libm::sqrt(total);
            let mut white = [1.0, half, time - start, y];
            for (value, mean) in white.iter_mut().zip(&mut state) {
                let innovation = *value - *mean;
                *mean += gain * innovation;
                *value = scale * innovation;
            }
            variance = gain;
            let [one, half, time, y] = white;
            row(index, [one, half, time], y, total);
        }
    }

    fn condense(&self, target: Length, walk: f64) -> Condensed {
        let mut all = Condensed { squares: LeastSquares::new(), log_variances: 0.0, rows: 0.0 };
        self.whiten(target, walk, |_, regressors, y, total| {
            all.squares.add(regressors, y);
            all.log_variances += libm::log(total);
            all.rows += 1.0;
        });
        all
    }

    /// What a pair of ratios makes of the stations given, of all readings used.
    pub fn evidence(&self, stations: &[Station], ratios: Ratios) -> Option<Evidence> {
        let mut sum = Evidence::default();
        for station in stations {
            sum = sum.plus(self.condense(station.target, ratios.walk).fit(ratios.drift)?.evidence);
        }
        Some(sum)
    }

    /// The same for one station.
    pub fn station_evidence(&self, target: Length, ratios: Ratios) -> Option<Evidence> {
        Some(self.condense(target, ratios.walk).fit(ratios.drift)?.evidence)
    }

    /// The likeliest pair of ratios, with its log likelihood.
    pub fn likeliest(&self, stations: &[Station]) -> Option<(Ratios, f64)> {
        let mut best: Option<(Ratios, f64)> = None;
        for ratios in grid() {
            let Some(evidence) = self.evidence(stations, ratios) else { continue };
            let log = evidence.log_likelihood(self.least_variance) + log_prior(ratios, &evidence);
            if best.is_none_or(|(_, most)| log > most) {
                best = Some((ratios, log));
            }
        }
        best
    }

    /// The sizes of the whitened residuals of a station under a pair of ratios.
    pub fn residuals(&self, target: Length, ratios: Ratios, mut take: impl FnMut(usize, f64)) {
        let condensed = self.condense(target, ratios.walk);
        let Some(fit) = condensed.solve(ratios.drift) else { return };
        self.whiten(target, ratios.walk, |index, x, y, _| {
            let model: f64 = x.iter().enumerate().map(|(i, x)| x * fit.coefficient(i)).sum();
            take(index, libm::fabs(y - model));
        });
    }

    /// By how much a reading is off from what the others at its station say, in mm of motion:
    /// the mean-shift model, the reading having a column of its own.
    pub fn off_mm(&self, target: Length, suspect: usize, ratios: Ratios) -> Option<f64> {
        let mut squares = LeastSquares::<4>::new();
        let mut own = 0.0;
        let mut variance = 0.0;
        let mut before: Option<f64> = None;
        // The same filter as in `whiten`, on the extra column alone.
        self.whiten(target, ratios.walk, |index, [one, half, time], y, total| {
            if before.is_none() {
                variance = 0.0;
            }
            before = Some(time);
            let gain = (total - 1.0) / total;
            let innovation = if index == suspect { 1.0 } else { 0.0 } - own;
            own += gain * innovation;
            squares.add([one, half, time, innovation / libm::sqrt(total)], y);
        });
        if ratios.drift > 0.0 {
            squares.add([0.0, 0.0, 1.0 / ratios.drift, 0.0], 0.0);
        } else {
            squares.add([0.0, 0.0, 1e6, 0.0], 0.0);
        }
        Some(squares.solve().ok()?.coefficient(3))
    }
}

impl Condensed {
    fn solve(&self, drift: f64) -> Option<Fit<3>> {
        let mut squares = self.squares;
        // No drift at all is a spread far below anything that could be seen.
        let spread = if drift > 0.0 { drift } else { 1e-6 };
        squares.add([0.0, 0.0, 1.0 / spread], 0.0);
        squares.solve().ok()
    }

    fn fit(&self, drift: f64) -> Option<StationFit> {
        let fit = self.solve(drift)?;
        let spread = if drift > 0.0 { drift } else { 1e-6 };
        let drift_dof = 1.0 - libm::fmin(fit.cofactor(2, 2) / (spread * spread), 1.0);
        Some(StationFit {
            reversal: fit.coefficient(1),
            rate: fit.coefficient(2),
            cofactor: fit.cofactor(1, 1),
            rate_cofactor: fit.cofactor(2, 2),
            evidence: Evidence {
                residual_sum: fit.residual_sum,
                log_determinant: self.log_variances + fit.log_determinant + 2.0 * libm::log(spread),
                dof: self.rows - 2.0,
                drift_dof,
            },
        })
    }
}

impl Evidence {
    fn plus(self, other: Evidence) -> Evidence {
        Evidence {
            residual_sum: self.residual_sum + other.residual_sum,
            log_determinant: self.log_determinant + other.log_determinant,
            dof: self.dof + other.dof,
            drift_dof: self.drift_dof + other.drift_dof,
        }
    }

    /// This with one station's part exchanged.
    pub fn exchanged(self, old: Evidence, new: Evidence) -> Evidence {
        Evidence {
            residual_sum: libm::fmax(self.residual_sum - old.residual_sum, 0.0) + new.residual_sum,
            log_determinant: self.log_determinant - old.log_determinant + new.log_determinant,
            dof: self.dof - old.dof + new.dof,
            drift_dof: self.drift_dof - old.drift_dof + new.drift_dof,
        }
    }

    /// The log likelihood of the readings, noise, zeros and reversal values integrated out.
    pub fn log_likelihood(&self, least_variance: f64) -> f64 {
        let sum = self.residual_sum + least_variance;
        let half = 0.5 * self.dof;
        libm::lgamma(half) - half * libm::log(core::f64::consts::PI * sum) - 0.5 * self.log_determinant
    }

    /// The variance of the noise, and its degrees of freedom.
    ///
    /// Choosing the ratios uses up some of what the readings tell; how much was found by simulation
    /// (the coverage of the intervals at 4 to 60 degrees of freedom).
    fn noise(&self) -> (f64, f64) {
        let choosing = 1.5 * self.dof / (self.dof + 8.0);
        let dof = libm::fmax(self.dof - self.drift_dof - choosing, 1.0);
        (self.residual_sum / dof, dof)
    }
}

fn grid() -> impl Iterator<Item = Ratios> {
    WALKS.into_iter().flat_map(|walk| DRIFTS.into_iter().map(move |drift| Ratios { walk, drift }))
}

/// How likely the ratios are beforehand: none at all, or steps far below what a machine or a stand
/// that is worth measuring makes from one reading to the next.
fn log_prior(ratios: Ratios, evidence: &Evidence) -> f64 {
    let none = |value: f64| if value == 0.0 { NONE_LOG_PRIOR } else { 0.0 };
    let step =
        (ratios.walk + ratios.drift * ratios.drift) * evidence.noise().0 / (USUAL_STEP_MM * USUAL_STEP_MM);
    none(ratios.walk) + none(ratios.drift) - 2.0 * libm::log1p(step)
}

/// Wandering from one reading to the next beyond this is unusual, in mm.
const USUAL_STEP_MM: f64 = 0.01;

/// The averages over the grid.
pub(super) struct Averages {
    /// The mean reversal value of all stations: value and variance.
    pub mean: (f64, f64),
    /// The variance of one reading, and its degrees of freedom.
    pub noise: (f64, f64),
    /// The variance of the walk from one reading to the next.
    pub walk: f64,
}

/// Steady drift from one reading to the next, the same at all stations, averaged over the walks.
pub(super) fn common_rate<R: Series + ?Sized, U: Fn(usize) -> bool>(
    sitting: &Sitting<'_, R, U>,
    stations: &[Station],
) -> Option<Estimate> {
    // So wide a spread leaves each station's own rate as it is.
    const FREE: f64 = 1e6;
    let mut highest = f64::NEG_INFINITY;
    let (mut total, mut mean, mut square, mut dof) = (0.0, 0.0, 0.0, 1.0);
    'walks: for walk in WALKS {
        let mut sum = Evidence::default();
        let (mut weight, mut rate, mut rates) = (0.0, 0.0, 0.0);
        for station in stations {
            let Some(fit) = sitting.condense(station.target, walk).fit(FREE) else { continue 'walks };
            let w = 1.0 / fit.rate_cofactor;
            weight += w;
            rate += w * fit.rate;
            rates += w * fit.rate * fit.rate;
            sum = sum.plus(fit.evidence);
            sum.log_determinant -= libm::log(w);
        }
        let value = rate / weight;
        sum.residual_sum += libm::fmax(rates - weight * value * value, 0.0);
        sum.log_determinant += libm::log(weight);
        sum.drift_dof = 1.0;
        let (variance, own_dof) = sum.noise();
        let log = sum.log_likelihood(sitting.least_variance) + log_prior(Ratios { walk, drift: 0.0 }, &sum);
        if log > highest {
            let shrink = libm::exp(highest - log);
            highest = log;
            total *= shrink;
            mean *= shrink;
            square *= shrink;
        }
        let likely = libm::exp(log - highest);
        total += likely;
        mean += likely * value;
        square += likely * (variance / weight + value * value);
        dof = own_dof;
    }
    if total <= 0.0 {
        return None;
    }
    let value = mean / total;
    let variance = libm::fmax(square / total - value * value, 0.0);
    Some(Estimate { value, standard_uncertainty: libm::sqrt(variance), dof })
}

/// Fits all stations; leaves in each its reversal value (as the negative of lost motion) and the
/// standard uncertainty by repeatability.
///
/// Two passes over the readings for each walk; the running sums live in the stations, so no grid is stored.
pub(super) fn fit_all<R: Series + ?Sized, U: Fn(usize) -> bool>(
    sitting: &Sitting<'_, R, U>,
    stations: &mut [Station],
) -> Option<Averages> {
    let count = stations.len() as f64;
    let mut highest = f64::NEG_INFINITY;
    let mut total = 0.0;
    let mut mean = (0.0, 0.0);
    let mut noise = (0.0, 0.0);
    let mut walked = (0.0, 0.0);
    for station in stations.iter_mut() {
        station.lost_motion = Estimate::ZERO;
    }
    for walk in WALKS {
        let mut sums = [Some(Evidence::default()); DRIFTS.len()];
        for station in stations.iter() {
            let condensed = sitting.condense(station.target, walk);
            for (sum, drift) in sums.iter_mut().zip(DRIFTS) {
                *sum = sum.and_then(|s| Some(s.plus(condensed.fit(drift)?.evidence)));
            }
        }
        let log = |sum: &Option<Evidence>, drift| {
            sum.as_ref().map_or(f64::NEG_INFINITY, |s| {
                s.log_likelihood(sitting.least_variance) + log_prior(Ratios { walk, drift }, s)
            })
        };
        let best = sums.iter().zip(DRIFTS).map(|(s, d)| log(s, d)).fold(f64::NEG_INFINITY, f64::max);
        if best == f64::NEG_INFINITY {
            continue;
        }
        if best > highest {
            let shrink = libm::exp(highest - best);
            highest = best;
            total *= shrink;
            for pair in [&mut mean, &mut noise, &mut walked] {
                pair.0 *= shrink;
                pair.1 *= shrink;
            }
            for station in stations.iter_mut() {
                station.lost_motion.value *= shrink;
                station.lost_motion.standard_uncertainty *= shrink;
            }
        }
        let mut at_mean = [(0.0, 0.0); DRIFTS.len()];
        for station in stations.iter_mut() {
            let condensed = sitting.condense(station.target, walk);
            for ((sum, drift), at_mean) in sums.iter().zip(DRIFTS).zip(&mut at_mean) {
                let weight = libm::exp(log(sum, drift) - highest);
                let (Some(sum), Some(fit)) = (sum, condensed.fit(drift)) else { continue };
                let variance = sum.noise().0;
                let own = fit.cofactor * variance;
                station.lost_motion.value += weight * fit.reversal;
                station.lost_motion.standard_uncertainty += weight * (own + fit.reversal * fit.reversal);
                at_mean.0 += fit.reversal / count;
                at_mean.1 += own / (count * count);
            }
        }
        for ((sum, drift), (value, variance)) in sums.iter().zip(DRIFTS).zip(at_mean) {
            let weight = libm::exp(log(sum, drift) - highest);
            let Some(sum) = sum else { continue };
            let (s2, dof) = sum.noise();
            total += weight;
            mean.0 += weight * value;
            mean.1 += weight * (variance + value * value);
            noise.0 += weight * s2;
            noise.1 += weight * dof;
            walked.0 += weight * walk * s2;
        }
    }
    if total <= 0.0 {
        return None;
    }
    for station in stations.iter_mut() {
        let value = station.lost_motion.value / total;
        let square = station.lost_motion.standard_uncertainty / total;
        station.lost_motion.value = -value;
        station.repeatability_mm = libm::sqrt(libm::fmax(square - value * value, 0.0));
    }
    let value = mean.0 / total;
    let dof = noise.1 / total;
    Some(Averages {
        mean: (value, libm::fmax(mean.1 / total - value * value, 0.0)),
        noise: (noise.0 / total, dof),
        walk: walked.0 / total,
    })
}

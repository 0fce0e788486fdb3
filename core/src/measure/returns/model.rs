//! The model of the returns, and its fit.

use super::{Assessment, Manners, Reading, Trend, Why};
use crate::measure::chi_square;
use crate::measure::misreads::{Aside, is_out};
use crate::measure::regression::{Fit, LeastSquares};
use crate::measure::reversal::{SetAside, undithered};
use crate::measure::student::coverage_factor;
use crate::measure::uncertainty::{Contribution, Source, combine, rectangular};
use crate::measure::{Estimate, Setup};
use heapless::Vec;

/// The walk's variance from one lift to the next, over the variance of the noise.
const WALKS: [f64; 9] = [0.0, 0.03, 0.1, 0.3, 1.0, 3.0, 10.0, 30.0, 1000.0];
/// No walk is beforehand six times as likely as any one of the seven other sizes of it, as a logarithm: nearly as
/// likely as all of them together.
const NONE_LOG_PRIOR: f64 = 1.8;
/// If less than this share of the spread of the times is left when the count of lifts is taken out of
/// them, lifts and hours say the same.
const LEAST_SHARE_APART: f64 = 0.003;

/// The readings, with the scales of their trends: over the test each is from 0 to about 1.
pub(super) struct Sitting<'a> {
    readings: &'a [Reading],
    /// Motion per reading.
    pub motion: f64,
    pub why: Option<Why>,
    first: f64,
    pub lifts: f64,
    start_s: f64,
    span_s: f64,
    resolution: f64,
    pub least_variance: f64,
}

/// The fit averaged over the sizes of the walk.
pub(super) struct Averages {
    /// By lift, by time (both over the whole test), and by lift alone: value and variance.
    slopes: [(f64, f64); 3],
    dof: [f64; 3],
    /// The standard deviation of one return apart from the walk.
    s: f64,
    walk: f64,
    walk_log_odds: f64,
    /// The standard deviation of one return about the trend, walk and all, and the degrees of freedom of noise there.
    about_trend: (f64, f64),
    /// The square of the walk's share in that variance.
    walk_share2: f64,
}

/// One size of the walk.
struct Whitened {
    /// Zero, lifts, time.
    both: LeastSquares<3>,
    /// Zero, lifts.
    one: LeastSquares<2>,
    log_variances: f64,
}

impl<'a> Sitting<'a> {
    pub fn new(readings: &'a [Reading], setup: &Setup) -> Self {
        let ends = (readings.first(), readings.last());
        let of = |end: Option<&Reading>, part: fn(&Reading) -> f64| end.map_or(0.0, part);
        let lift = |r: &Reading| f64::from(r.lift);
        let time = |r: &Reading| r.time_s.unwrap_or(0.0);
        let resolution = setup.resolution_mm * setup.cosine();
        let mut sitting = Self {
            readings,
            motion: setup.motion_per_reading(),
            why: None,
            first: of(ends.0, |r| r.value_mm),
            lifts: of(ends.1, lift) - of(ends.0, lift),
            start_s: of(ends.0, time),
            span_s: of(ends.1, time) - of(ends.0, time),
            resolution,
            least_variance: setup.least_variance(),
        };
        sitting.why = sitting.why_together();
        sitting
    }

    /// Whether the pauses leave lifts and time too much alike.
    fn why_together(&self) -> Option<Why> {
        if self.readings.iter().any(|r| r.time_s.is_none()) {
            return Some(Why::NoTimes);
        }
        if self.readings.len() <= super::FEWEST_RETURNS {
            return Some(Why::TooFew);
        }
        let mut line = LeastSquares::<2>::new();
        let mut level = LeastSquares::<1>::new();
        for reading in self.readings {
            let [one, lift, time, _] = self.row(reading);
            line.add([one, lift], time);
            level.add([one], time);
        }
        match (line.solve(), level.solve()) {
            (Ok(line), Ok(level)) if line.residual_sum > LEAST_SHARE_APART * level.residual_sum => None,
            _ => Some(Why::Even),
        }
    }

    /// Zero, lifts and time as shares of the whole test, and the deviation.
    pub fn row(&self, reading: &Reading) -> [f64; 4] {
        let first = self.readings.first().map_or(0.0, |r| f64::from(r.lift));
        let lift = (f64::from(reading.lift) - first) / self.lifts.max(1.0);
        let time = match reading.time_s {
            Some(time) if self.span_s > 0.0 => (time - self.start_s) / self.span_s,
            _ => 0.0,
        };
        [1.0, lift, time, self.motion * (reading.value_mm - self.first)]
    }

    /// Whitens the readings that are left under one size of the walk (P. de Jong, "The likelihood for a
    /// state space model", Biometrika 75, 1988) and hands each on: row, variance.
    pub fn each<const N: usize>(
        &self,
        out: &[SetAside],
        walk: f64,
        row: impl Fn(&Reading) -> [f64; N],
        mut take: impl FnMut([f64; N], f64),
    ) {
        let (mut variance, mut before) = (0.0, None);
        let mut state = [0.0; N];
        for (index, reading) in self.readings.iter().enumerate() {
            if is_out(out, index) {
                continue;
            }
            let lift = f64::from(reading.lift);
            variance += walk * (lift - before.unwrap_or(lift));
            before = Some(lift);
            let total = variance + 1.0;
            let gain = variance / total;
            let scale = 1.0 / libm::sqrt(total);
            let mut white = row(reading);
            for (value, mean) in white.iter_mut().zip(&mut state) {
                let innovation = *value - *mean;
                *mean += gain * innovation;
                *value = scale * innovation;
            }
            variance = gain;
            take(white, total);
        }
    }

    fn whiten(&self, out: &[SetAside], walk: f64) -> Whitened {
        let mut all = Whitened { both: LeastSquares::new(), one: LeastSquares::new(), log_variances: 0.0 };
        self.each(
            out,
            walk,
            |reading| self.row(reading),
            |[one, lift, time, y], total| {
                all.both.add([one, lift, time], y);
                all.one.add([one, lift], y);
                all.log_variances += libm::log(total);
            },
        );
        all
    }

    /// The log likelihood of a fit, noise and coefficients integrated out, and how likely its walk is beforehand.
    fn log_likelihood<const P: usize>(&self, fit: &Fit<P>, log_variances: f64, walk: f64) -> f64 {
        let sum = fit.residual_sum + self.least_variance;
        let half = 0.5 * fit.dof;
        let prior = if walk == 0.0 { NONE_LOG_PRIOR } else { 0.0 };
        libm::lgamma(half)
            - half * libm::log(core::f64::consts::PI * sum)
            - 0.5 * (log_variances + fit.log_determinant)
            + prior
    }

    /// The log likelihood of the readings left, under the walk that makes it highest.
    pub fn most_likely(&self, out: &[SetAside]) -> Option<f64> {
        let mut highest: Option<f64> = None;
        for walk in WALKS {
            let white = self.whiten(out, walk);
            let log = match (self.why, white.both.solve(), white.one.solve()) {
                (None, Ok(fit), _) if fit.dof >= 1.0 => self.log_likelihood(&fit, white.log_variances, walk),
                (Some(_), _, Ok(fit)) if fit.dof >= 1.0 => {
                    self.log_likelihood(&fit, white.log_variances, walk)
                }
                _ => return None,
            };
            highest = Some(highest.map_or(log, |most| libm::fmax(most, log)));
        }
        highest
    }

    /// The reading farthest from its neighbours, if by at least so much: misreads look like a walk and hide
    /// under it.
    pub fn worst(&self, out: &[SetAside], least_mm: f64) -> Option<usize> {
        let mut worst: Option<(usize, f64)> = None;
        for index in (0..self.readings.len()).filter(|index| !is_out(out, *index)) {
            let Some(off) = self.off_mm(index, out).map(libm::fabs) else { continue };
            if off >= least_mm && worst.is_none_or(|(_, most)| off > most) {
                worst = Some((index, off));
            }
        }
        worst.map(|(index, _)| index)
    }

    /// How far a reading is from what its neighbours that are left say, in mm of motion: the median of the
    /// nearest two before it and two after it.
    pub fn off_mm(&self, index: usize, out: &[SetAside]) -> Option<f64> {
        let here = self.readings.get(index)?;
        let y = |i: usize| self.readings.get(i).map(|r| self.row(r)[3]);
        let left = |i: &usize| !is_out(out, *i);
        let before = (0..index).rev().filter(left).take(2);
        let after = (index.saturating_add(1)..self.readings.len()).filter(left).take(2);
        let mut near: Vec<f64, 4> = before.chain(after).filter_map(y).collect();
        near.sort_unstable_by(f64::total_cmp);
        let middle = near.len() / 2;
        let upper = *near.get(middle)?;
        let lower = *near.get(near.len().saturating_sub(1) / 2)?;
        Some(self.row(here)[3] - 0.5 * (lower + upper))
    }

    /// The averages over the sizes of the walk.
    pub fn average(&self, out: &[SetAside]) -> Option<Averages> {
        let mut all = Averages {
            slopes: [(0.0, 0.0); 3],
            dof: [0.0; 3],
            s: 0.0,
            walk: 0.0,
            walk_log_odds: 0.0,
            about_trend: self.about_trend(out)?,
            walk_share2: 0.0,
        };
        let walks = self.walk_about_trend(out)?;
        // Slopes and scatter come from the model that is published: both trends, or one.
        let mut total = (0.0, 0.0);
        let (mut highest, mut highest_one) = (f64::NEG_INFINITY, f64::NEG_INFINITY);
        let logs = |walk: f64| {
            let white = self.whiten(out, walk);
            let both = white.both.solve().ok().filter(|fit| fit.dof >= 1.0 && self.why.is_none());
            let one = white.one.solve().ok().filter(|fit| fit.dof >= 1.0);
            let log_both = both.as_ref().map(|fit| self.log_likelihood(fit, white.log_variances, walk));
            let log_one = one.as_ref().map(|fit| self.log_likelihood(fit, white.log_variances, walk));
            (both.zip(log_both), one.zip(log_one))
        };
        for walk in WALKS {
            let (both, one) = logs(walk);
            highest = both.map_or(highest, |(_, log)| libm::fmax(log, highest));
            highest_one = one.map_or(highest_one, |(_, log)| libm::fmax(log, highest_one));
        }
        let mut add = |place: usize, weight: f64, value: f64, variance: f64, dof: f64| {
            if let (Some(slope), Some(freedom)) = (all.slopes.get_mut(place), all.dof.get_mut(place)) {
                slope.0 += weight * value;
                slope.1 += weight * (variance + value * value);
                *freedom += weight * dof;
            }
        };
        let (mut s_mean, mut walked, mut still, mut shares2) = (0.0, 0.0, 0.0, 0.0);
        let mut spread = |walk: f64, weight: f64, s2: f64| {
            if walk == 0.0 {
                still += weight;
            }
            s_mean += weight * libm::sqrt(s2);
            walked += weight * walk * s2;
            let share = walk * walks / (1.0 + walk * walks);
            shares2 += weight * share * share;
        };
        for walk in WALKS {
            let (both, one) = logs(walk);
            if let Some((fit, log)) = both {
                let weight = libm::exp(log - highest);
                let (s2, dof) = self.noise(fit.residual_sum, fit.dof, walk);
                total.0 += weight;
                let at_least = libm::fmax(s2, self.least_variance);
                add(0, weight, fit.coefficient(1), fit.cofactor(1, 1) * at_least, dof);
                add(1, weight, fit.coefficient(2), fit.cofactor(2, 2) * at_least, dof);
                spread(walk, weight, s2);
            }
            if let Some((fit, log)) = one {
                let weight = libm::exp(log - highest_one);
                let (s2, dof) = self.noise(fit.residual_sum, fit.dof, walk);
                total.1 += weight;
                let at_least = libm::fmax(s2, self.least_variance);
                add(2, weight, fit.coefficient(1), fit.cofactor(1, 1) * at_least, dof);
                if self.why.is_some() {
                    spread(walk, weight, s2);
                }
            }
        }
        let published = if self.why.is_none() { total.0 } else { total.1 };
        if published <= 0.0 || total.1 <= 0.0 {
            return None;
        }
        for ((slope, dof), total) in
            all.slopes.iter_mut().zip(&mut all.dof).zip([published, published, total.1])
        {
            slope.0 /= total;
            slope.1 = libm::fmax(slope.1 / total - slope.0 * slope.0, 0.0);
            *dof /= total;
        }
        all.s = s_mean / published;
        all.walk_share2 = shares2 / published;
        all.walk = walked / published;
        let still = still / published;
        all.walk_log_odds = libm::log((1.0 - still + 1e-12) / (still + 1e-12));
        Some(all)
    }

    /// The standard deviation about the trend that is published, by plain least squares, and its degrees of freedom.
    fn about_trend(&self, out: &[SetAside]) -> Option<(f64, f64)> {
        let white = self.whiten(out, 0.0);
        let (squares, dof) = match self.why {
            None => white.both.solve().map(|fit| (fit.residual_sum, fit.dof)).ok()?,
            Some(_) => white.one.solve().map(|fit| (fit.residual_sum, fit.dof)).ok()?,
        };
        (dof >= 1.0).then(|| (libm::sqrt(squares / dof), dof))
    }

    /// How far a walk goes from the trend that is published: what it adds to the variance about the trend, over its
    /// variance from one lift to the next.
    ///
    /// A walk is a sum of steps, each of which shifts all readings after it: what the trend leaves of such a shift.
    fn walk_about_trend(&self, out: &[SetAside]) -> Option<f64> {
        let white = self.whiten(out, 0.0);
        let both = white.both.solve().ok().filter(|_| self.why.is_none());
        let one = white.one.solve().ok();
        let cofactor = |i: usize, j: usize| match (&both, &one) {
            (Some(fit), _) => fit.cofactor(i, j),
            (None, Some(fit)) => fit.cofactor(i, j),
            (None, None) => 0.0,
        };
        let (mut sums, mut all, mut after) = ([0.0; 3], 0.0, None);
        for (index, reading) in self.readings.iter().enumerate().rev() {
            if is_out(out, index) {
                continue;
            }
            let lift = f64::from(reading.lift);
            // The readings summed so far are those after the step from here to the next.
            let [count, ..] = sums;
            let mut left = count;
            for (i, a) in sums.iter().enumerate() {
                for (j, b) in sums.iter().enumerate() {
                    left -= a * b * cofactor(i, j);
                }
            }
            all += (after.unwrap_or(lift) - lift) * libm::fmax(left, 0.0);
            after = Some(lift);
            for (sum, x) in sums.iter_mut().zip(self.row(reading)) {
                *sum += x;
            }
        }
        let dof = both.map(|fit| fit.dof).or(one.map(|fit| fit.dof))?;
        Some(all / libm::fmax(dof, 1.0))
    }

    /// The variance of a reading and its degrees of freedom, some of which choosing the walk uses up, more where there
    /// is one (found by simulation: the coverage of slip per lift at 10 to 40 returns, even and uneven).
    fn noise(&self, residual_sum: f64, dof: f64, walk: f64) -> (f64, f64) {
        let choosing = if walk > 0.0 { 4.0 } else { 1.0 } * dof / (dof + 8.0);
        let dof = libm::fmax(dof - choosing, 1.0);
        (residual_sum / dof, dof)
    }

    pub fn result(
        &self,
        averages: &Averages,
        manners: Manners,
        set_aside: Aside,
        setup: &Setup,
    ) -> Assessment {
        let s = averages.s;
        let rounding = undithered(self.resolution, s);
        let lifts = self.lifts.max(1.0);
        let apart = self.why.is_none();
        let [by_lift, by_time, alone] = averages.slopes;
        let [lift_dof, time_dof, alone_dof] = averages.dof;
        // Readings that all round alike hide a trend of up to one step over the test; told apart, the
        // trends hide it in proportion to how uncertain they are.
        // Readings that agree to the last digit are no surer than their rounding: the variance holds that too.
        let scatter = libm::fmax(s, libm::sqrt(setup.least_variance()));
        let hidden = |variance: f64| {
            let least = libm::sqrt(12.0 / self.readings.len() as f64) * scatter;
            let spread = libm::sqrt(variance);
            let times = if least > 0.0 { libm::fmax(spread / least, 1.0) } else { 1.0 };
            core::f64::consts::SQRT_2 * rounding * times.min(30.0)
        };
        let error = rectangular(setup.indicator_error_mm) * setup.cosine();
        let parts = |(value, variance): (f64, f64), dof: f64| {
            let mut parts: Vec<Contribution, 6> = Vec::new();
            let mut part = |source, standard_uncertainty: f64, dof| {
                if standard_uncertainty > 0.0 || source == Source::Repeatability {
                    // Fewer sources than there is room for.
                    let _ = parts.push(Contribution { source, standard_uncertainty, dof });
                }
            };
            part(Source::Repeatability, libm::sqrt(variance), dof);
            part(Source::Resolution, hidden(variance), f64::INFINITY);
            part(Source::IndicatorError, error, f64::INFINITY);
            part(Source::Alignment, setup.alignment_share() * libm::fabs(value), f64::INFINITY);
            parts
        };
        let estimate = |slope: (f64, f64), dof: f64, per: f64| {
            combine(slope.0, parts(slope, dof).iter().map(|p| (p.standard_uncertainty, p.dof))).scaled(per)
        };
        let hours = self.span_s / 3600.0;
        let trend = match self.why {
            None => Trend::Apart {
                per_cycle: estimate(by_lift, lift_dof, 1.0 / lifts),
                per_hour: estimate(by_time, time_dof, 1.0 / hours),
            },
            Some(why) => Trend::Together(why),
        };
        let mut budget = if apart { parts(by_lift, lift_dof) } else { parts(alone, alone_dof) };
        for part in &mut budget {
            part.standard_uncertainty /= lifts;
        }
        let with_times = self.readings.iter().all(|r| r.time_s.is_some());
        Assessment {
            trend,
            per_return: estimate(alone, alone_dof, 1.0 / lifts),
            scatter: self.scatter(averages),
            repeatability_mm: self.apart_from_rounding(s),
            wander_mm: libm::sqrt(averages.walk),
            wander_log_odds: averages.walk_log_odds,
            manners,
            lifts: libm::fmin(self.lifts, f64::from(u16::MAX)) as u16,
            hours: with_times.then_some(hours),
            budget,
            used: self.readings.len().saturating_sub(set_aside.len()) as u32,
            set_aside,
        }
    }

    /// A standard deviation, the rounding of the dial taken out as far as it is seen in the readings.
    fn apart_from_rounding(&self, s: f64) -> f64 {
        let own = rectangular(0.5 * self.resolution);
        libm::sqrt(libm::fmax(s * s - own * own, 0.0))
    }

    /// The scatter of the place.
    ///
    /// Neighbours on a walk are off alike, so that they tell less of how far it goes: with f the share of the walk in the
    /// variance, that of the variance is (1 - f²) of noise alone and f² of a walk alone (their mixed term is that of noise).
    fn scatter(&self, averages: &Averages) -> Estimate {
        let ((s, dof), share2) = (averages.about_trend, averages.walk_share2);
        let of = |dof| chi_square::spread(s, dof).expanded_95();
        let (noise, walk) = (of(dof), of(libm::fmin(WALK_DOF, dof)));
        let half = libm::sqrt((1.0 - share2) * noise * noise + share2 * walk * walk);
        let value = self.apart_from_rounding(s);
        // What was taken out makes the rest no surer.
        let steeper = if value > 0.0 { (s / value).min(3.0) } else { 1.0 };
        let seen = half * steeper / coverage_factor(0.95, dof);
        // Readings that flicker between two steps of the dial say little of the scatter below it.
        let ratio = if self.resolution > 0.0 { s / self.resolution } else { 0.0 };
        let rounding = rectangular(0.5 * self.resolution) * libm::exp(-FLICKER * ratio * ratio);
        combine(value, [(seen, dof), (rounding, f64::INFINITY)])
    }
}

/// The degrees of freedom of the variance of a walk about its own straight line: the integral of a squared Brownian motion
/// less its line has mean 1/15 and variance 11/6300 (I. B. MacNeill, "Properties of sequences of partial sums of
/// polynomial regression residuals", Annals of Statistics 6, 1978; recalled from memory), which is 5.1 of them. A little
/// fewer, since the walk's share is not known either (found by simulation: the coverage of the scatter of uneven slip).
const WALK_DOF: f64 = 4.5;

/// How fast the steps of a dial cease to hide scatter as that grows; found by simulation.
const FLICKER: f64 = 3.0;

//! The fits under all ratios, averaged.
//!
//! Each pair of ratios has the weight of its likelihood (J. A. Hoeting and others, "Bayesian model averaging: a
//! tutorial", Statistical Science 14, 1999). Under each pair and each kind of noise the reversal value has a
//! t distribution; the 95 % interval is that of their mixture. Three passes over the readings for each walk;
//! the running sums live in the stations, and the grid keeps two numbers a place.

use super::Station;
use super::coarse::WIDE_NOISE;
use super::evidence::{Beforehand, Evidence, KINDS, Noise};
use super::model::{DRIFTS, Drift, Ratios, Sitting, WALKS, log_prior, no_walk_log_prior};
use crate::measure::uncertainty::combine;
use crate::measure::{Estimate, student};

/// The averages over the grid.
pub(super) struct Averages {
    /// The mean reversal value of all stations.
    pub mean: Mixed,
    /// The variance of one reading by the readings alone, and its degrees of freedom.
    pub noise: (f64, f64),
    /// The degrees of freedom of the standard uncertainties.
    pub dof: f64,
    /// The variance of the walk from one reading to the next.
    pub walk: f64,
}

/// A weighted mean whose weights are given as logarithms.
pub(super) struct Mean<const N: usize> {
    highest: f64,
    total: f64,
    sums: [f64; N],
}

impl<const N: usize> Mean<N> {
    pub const fn new() -> Self {
        Self { highest: f64::NEG_INFINITY, total: 0.0, sums: [0.0; N] }
    }

    pub fn take(&mut self, log: f64, values: [f64; N]) {
        if log > self.highest {
            let shrink = libm::exp(self.highest - log);
            self.highest = log;
            self.total *= shrink;
            self.sums.iter_mut().for_each(|s| *s *= shrink);
        }
        let weight = libm::exp(log - self.highest);
        self.total += weight;
        self.sums.iter_mut().zip(values).for_each(|(s, v)| *s += weight * v);
    }

    /// The logarithm of the sum of the weights.
    pub fn log_total(&self) -> f64 {
        self.highest + libm::log(self.total)
    }

    fn means(&self) -> Option<[f64; N]> {
        (self.total > 0.0).then(|| self.sums.map(|s| s / self.total))
    }
}

/// Places of the grid less likely than this, beside the likeliest, do not count.
const LEAST_WEIGHT: f64 = 1e-3;

type Table = [[f64; DRIFTS.len()]; WALKS.len()];

/// The likelihoods of all ratios.
struct Grid {
    /// Logarithms, the highest 0.
    logs: Table,
    /// The highest as it was.
    highest: f64,
    /// The sums of squared residuals.
    residual_sums: Table,
    /// Readings less zeros and reversal values.
    dof: f64,
    beforehand: Beforehand,
    /// The variance by the readings alone, its degrees of freedom, the walk, and the degrees of freedom with what was
    /// known of the noise beforehand.
    plain: [f64; 4],
}

impl Grid {
    fn new(sitting: &Sitting<'_>, stations: &[Station]) -> Option<Self> {
        let mut logs = [[f64::NEG_INFINITY; DRIFTS.len()]; WALKS.len()];
        let mut residual_sums = [[0.0; DRIFTS.len()]; WALKS.len()];
        let mut dof = 0.0;
        let mut plain = Mean::<4>::new();
        for ((walk, logs), squares) in WALKS.into_iter().zip(&mut logs).zip(&mut residual_sums) {
            let sums = sitting.under_all_drifts(stations, walk);
            for (((sum, drift), log), square) in sums.iter().zip(DRIFTS).zip(logs).zip(squares) {
                let Some(sum) = sum else { continue };
                *log = sum.log_likelihood(sitting.beforehand) + log_prior(Ratios { walk, drift }, sum);
                *square = sum.residual_sum;
                dof = sum.dof;
                let (s2, own_dof) = sum.plain();
                plain.take(*log, [s2, own_dof, walk * s2, sum.believed_dof(sitting.beforehand)]);
            }
        }
        let plain_means = plain.means()?;
        logs.iter_mut().flatten().for_each(|log| *log -= plain.highest);
        Some(Self {
            logs,
            highest: plain.highest,
            residual_sums,
            dof,
            beforehand: sitting.beforehand,
            plain: plain_means,
        })
    }

    /// Whether any place with a walk counts.
    fn counts(&self, walk: usize) -> bool {
        let least = libm::log(LEAST_WEIGHT);
        self.logs.get(walk).is_some_and(|row| row.iter().any(|log| *log >= least))
    }

    /// The variance of a reading at a place of the grid; `None` where the place does not count.
    fn variance(&self, walk: usize, drift: usize) -> Option<f64> {
        let (mut total, mut variance) = (0.0, 0.0);
        for noise in self.noises(walk, drift) {
            total += noise.log;
            variance += noise.log * noise.variance;
        }
        (total > 0.0).then(|| variance / total)
    }

    /// Hands on the parts of the mixture for the mean of the stations given, all under the same ratios and noise.
    fn parts(&self, sitting: &Sitting<'_>, stations: &[Station], take: &mut dyn FnMut(Part)) {
        let count = stations.len() as f64;
        for (w, walk) in WALKS.into_iter().enumerate() {
            if !self.counts(w) {
                continue;
            }
            let mut variances = [None; DRIFTS.len()];
            variances.iter_mut().enumerate().for_each(|(d, variance)| *variance = self.variance(w, d));
            let mut at = [(0.0, 0.0, 0.0); DRIFTS.len()];
            for station in stations {
                let condensed = sitting.condense(station.target, walk);
                for ((at, drift), variance) in at.iter_mut().zip(DRIFTS).zip(variances) {
                    let Some(variance) = variance else { continue };
                    let Some(fit) = condensed.fit(drift) else { continue };
                    at.0 += fit.reversal / count;
                    at.1 += fit.cofactor / (count * count);
                    at.2 += sitting.rounding(station.target, variance, walk * variance, fit.rate)
                        / (count * count);
                }
            }
            for (d, (value, cofactor, rounding)) in at.into_iter().enumerate() {
                for noise in self.noises(w, d) {
                    take(Part {
                        weight: noise.log,
                        value,
                        variance: cofactor * noise.variance,
                        dof: noise.dof,
                        rounding,
                    });
                }
            }
        }
    }

    /// The kinds of noise at a place of the grid, with weights in place of logarithms; none where the place
    /// does not count.
    fn noises(&self, walk: usize, drift: usize) -> impl Iterator<Item = Noise> + use<> {
        self.counted(walk, drift).into_iter().flatten().filter(|n| n.log >= LEAST_WEIGHT)
    }

    fn counted(&self, walk: usize, drift: usize) -> Option<[Noise; KINDS.len()]> {
        let at = |table: &Table| table.get(walk).and_then(|row| row.get(drift)).copied();
        let weight = libm::exp(at(&self.logs)?);
        if weight < LEAST_WEIGHT {
            return None;
        }
        let evidence =
            Evidence { residual_sum: at(&self.residual_sums)?, dof: self.dof, ..Evidence::default() };
        let noises = evidence.noise(self.beforehand);
        let high = noises.iter().fold(f64::NEG_INFINITY, |high, n| libm::fmax(high, n.log));
        let whole: f64 = noises.iter().map(|n| libm::exp(n.log - high)).sum();
        Some(noises.map(|n| Noise { log: weight * libm::exp(n.log - high) / whole, ..n }))
    }
}

/// Multiples of a spread at which the tails of a mixture are summed: 95 % mostly lie between the first; for all
/// other mixtures the others are looked at too.
const MULTIPLES: &[f64] = &[1.5, 2.0, 2.6];
const WIDE_MULTIPLES: &[f64] = &[2.6, 3.5, 5.0, 9.0];

/// The tails of a mixture beyond multiples of its spread.
struct Tails {
    multiples: &'static [f64],
    sums: [f64; 4],
    total: f64,
}

impl Tails {
    const fn new(multiples: &'static [f64]) -> Self {
        Self { multiples, sums: [0.0; 4], total: 0.0 }
    }

    /// A part: how far its middle is from that of the mixture, and its scale, in spreads.
    fn take(&mut self, weight: f64, off: f64, scale: f64, dof: f64) {
        self.total += weight;
        // Between few multiples the width is known to a thousandth: more digits of a tail say nothing.
        let student = student::Tail::new(dof);
        let tail = |beyond: f64| student.beyond(beyond / scale, 1e-7);
        for (sum, &multiple) in self.sums.iter_mut().zip(self.multiples) {
            *sum += weight * (tail(multiple - off) + tail(multiple + off));
        }
    }

    /// The multiple beyond which 5 % lie, where that is below the last.
    fn half_width(&self) -> Option<f64> {
        let mut before = None;
        for (sum, &multiple) in self.sums.iter().zip(self.multiples) {
            let (at, log) = (libm::log(multiple), libm::log(libm::fmax(sum / self.total, 1e-300)));
            if log <= LOG_5_PERCENT {
                let Some((then, more)) = before else { return Some(multiple) };
                return Some(libm::exp(then + (more - LOG_5_PERCENT) / (more - log) * (at - then)));
            }
            before = Some((at, log));
        }
        None
    }
}

const LOG_5_PERCENT: f64 = -2.995_732_273_553_991;

/// The rounded readings of a sitting in which nothing walked stand in for the first row of the grid, which
/// takes them for places with a normal error. Leaves in each station the mean and variance, and answers the weight.
fn coarse(sitting: &Sitting<'_>, stations: &mut [Station], grid: &mut Grid) -> Option<f64> {
    let wide = WIDE_NOISE * sitting.step_mm;
    if grid.plain.first().is_none_or(|s2| *s2 >= wide * wide + sitting.beforehand.least) {
        return None;
    }
    let mut logs = [0.0; 3];
    for station in stations {
        let posterior = sitting.coarse(station.target)?;
        station.lost_motion.value = posterior.mean;
        station.lost_motion.standard_uncertainty = libm::sqrt(posterior.variance);
        logs.iter_mut().zip(posterior.logs).for_each(|(sum, log)| *sum += log);
    }
    let high = logs.iter().fold(f64::NEG_INFINITY, |high, log| libm::fmax(high, *log));
    let mean = logs.iter().map(|log| libm::exp(log - high)).sum::<f64>() / logs.len() as f64;
    let log = no_walk_log_prior() - grid.highest + high + libm::log(mean);
    grid.logs.first_mut()?.fill(f64::NEG_INFINITY);
    let rest = grid.logs.iter().flatten().fold(f64::NEG_INFINITY, |high, log| libm::fmax(high, *log));
    let high = libm::fmax(log, rest);
    grid.logs.iter_mut().flatten().for_each(|log| *log -= high);
    Some(libm::exp(log - high))
}

/// A part of a mixture: its weight, middle, variance by repeatability, degrees of freedom of that, and the
/// variance that rounding keeps.
#[derive(Clone, Copy)]
struct Part {
    weight: f64,
    value: f64,
    variance: f64,
    dof: f64,
    rounding: f64,
}

/// The most rounds in which what repeats is told from what rounding keeps.
const SHARINGS: u32 = 6;

/// A mixture in a few numbers.
#[derive(Clone, Copy)]
pub(super) struct Mixed {
    /// Its mean.
    pub value: f64,
    /// The standard uncertainty by repeatability.
    pub repeatability: f64,
    /// That which rounding keeps.
    pub rounding: f64,
}

/// Hands on parts of a mixture.
type Parts<'a> = dyn FnMut(&mut dyn FnMut(Part)) + 'a;

/// The mean of a mixture, and standard uncertainties that, combined, give its 95 % interval; `parts` hands
/// on every part, and is asked twice or three times.
fn mix(dof: f64, parts: &mut Parts<'_>) -> Option<Mixed> {
    let (mut total, mut sum, mut square, mut rounding) = (0.0, 0.0, 0.0, 0.0);
    // Squares are taken from the first part: from zero they would drown the spread where readings are far apart.
    let mut first = None;
    parts(&mut |p| {
        let off = p.value - *first.get_or_insert(p.value);
        total += p.weight;
        sum += p.weight * off;
        square += p.weight * (p.variance + p.rounding + off * off);
        rounding += p.weight * p.rounding;
    });
    if total <= 0.0 {
        return None;
    }
    let off = sum / total;
    let value = first? + off;
    let rounding = rounding / total;
    let u = libm::sqrt(libm::fmax(square / total - off * off, f64::MIN_POSITIVE));
    let half = u * match half_width(Tails::new(MULTIPLES), (value, u), parts) {
        Some(multiple) => multiple,
        None => half_width(Tails::new(WIDE_MULTIPLES), (value, u), parts).unwrap_or(12.0),
    };
    // What repeats and what rounding keeps, combined, have the half width of the mixture; the coverage factor hardly
    // depends on how they share it.
    let mut repeatability = u;
    for _ in 0..SHARINGS {
        let parts = [(repeatability, dof), (libm::sqrt(rounding), f64::INFINITY)];
        let combined = half / student::coverage_factor(0.95, combine(0.0, parts).dof);
        let before = repeatability;
        repeatability = libm::sqrt(libm::fmax(combined * combined - rounding, f64::MIN_POSITIVE));
        if rounding <= 0.0 || libm::fabs(repeatability - before) <= 1e-6 * before {
            break;
        }
    }
    Some(Mixed { value, repeatability, rounding: libm::sqrt(rounding) })
}

/// The multiple of a mixture's spread beyond which 5 % lie, given its mean and spread.
fn half_width(mut tails: Tails, (value, u): (f64, f64), parts: &mut Parts<'_>) -> Option<f64> {
    parts(&mut |p| {
        let scale = libm::sqrt(p.variance + p.rounding) / u;
        // The part that is rounding is known without degrees of freedom (Welch and Satterthwaite).
        let share = p.variance / (p.variance + p.rounding);
        tails.take(p.weight, (p.value - value) / u, libm::fmax(scale, 1e-9), p.dof / (share * share));
    });
    tails.half_width()
}

/// Fits all stations; leaves in each its reversal value (as the negative of lost motion), and the
/// standard uncertainties by repeatability and by rounding.
pub(super) fn fit_all(sitting: &Sitting<'_>, stations: &mut [Station]) -> Option<Averages> {
    let mut grid = Grid::new(sitting, stations)?;
    let coarse = coarse(sitting, stations, &mut grid);
    let grid = grid;
    let [s2, own_dof, walk, dof] = grid.plain;
    let mixed = |stations: &[Station]| {
        let rounded = coarse.map(|weight| rounded(sitting, stations, weight, s2));
        mix(dof, &mut |take| {
            if let Some(part) = rounded {
                take(part);
            }
            grid.parts(sitting, stations, take);
        })
    };
    let mean = mixed(stations)?;
    let alone = stations.len() == 1;
    for station in stations.iter_mut() {
        let own = if alone { mean } else { mixed(core::slice::from_ref(station))? };
        station.lost_motion.value = -own.value;
        station.repeatability_mm = own.repeatability;
        station.rounding_mm = own.rounding;
    }
    Some(Averages { mean, noise: (s2, own_dof), dof, walk })
}

/// What rounded readings make of the mean of the stations given, each of which holds its own mean and variance.
fn rounded(sitting: &Sitting<'_>, stations: &[Station], weight: f64, s2: f64) -> Part {
    let count = stations.len() as f64;
    let (mut value, mut variance, mut kept) = (0.0, 0.0, 0.0);
    for station in stations {
        let u = station.lost_motion.standard_uncertainty;
        value += station.lost_motion.value / count;
        variance += u * u / (count * count);
        kept += sitting.rounding(station.target, s2, 0.0, 0.0) / (count * count);
    }
    let rounding = libm::fmin(kept, KEPT * variance);
    Part { weight, value, variance: variance - rounding, dof: f64::INFINITY, rounding }
}

/// The most of the variance of rounded readings that is called rounding, so that something is left to repeat.
const KEPT: f64 = 0.9;

/// Steady drift from one reading to the next, the same at all stations, averaged over the walks.
pub(super) fn common_rate(sitting: &Sitting<'_>, stations: &[Station]) -> Option<Estimate> {
    // So wide a spread leaves each station's own rate as it is.
    const FREE: f64 = 1e6;
    let mut averages = Mean::<2>::new();
    let mut dof = 1.0;
    'walks: for walk in WALKS {
        let mut sum = Evidence::default();
        let (mut weight, mut rate, mut rates) = (0.0, 0.0, 0.0);
        for station in stations {
            let Some(fit) = sitting.condense(station.target, walk).fit(Drift::steady(FREE)) else {
                continue 'walks;
            };
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
        let (variance, own_dof) = sum.plain();
        let log = sum.log_likelihood(sitting.beforehand)
            + log_prior(Ratios { walk, drift: Drift::steady(0.0) }, &sum);
        averages.take(log, [value, variance / weight + value * value]);
        dof = own_dof;
    }
    let [value, square] = averages.means()?;
    let variance = libm::fmax(square - value * value, 0.0);
    Some(Estimate { value, standard_uncertainty: libm::sqrt(variance), dof })
}

//! The model of the readings, and its fit.
//!
//! At a station: deviation = zero + reversal value × (± one half, by the approach) + drift × time
//! + a random walk + noise.
//!
//! How much of a sitting is steady drift, wandering or noise is not known beforehand. So the fit is
//! made for a grid of ratios — the walk's variance per step, the drift's standard deviation, both in units of
//! the noise — and the answers are averaged ([`average`](super::average)). The
//! walk is taken out by a Kalman filter that whitens every column alike (P. de Jong, "The likelihood
//! for a state space model", Biometrika 75, 1988); the drift's spread enters as one more row.
//! Stations share the ratios and the noise, nothing else.

use super::coarse;
use super::evidence::{Beforehand, Evidence};
use super::rounding::Rounding;
use super::{Reading, Series, SetAside, Station, all, same_station, used_at};
use crate::axis::Direction;
use crate::length::Length;
use crate::measure::misreads::is_out;
use crate::measure::regression::{Fit, LeastSquares, LogProduct};

/// The walk's variance from one reading to the next, over the variance of the noise.
pub(super) const WALKS: [f64; 8] = [0.0, 0.03, 0.1, 0.3, 1.0, 4.0, 30.0, 1000.0];
/// Drifts: the standard deviation of the drift from one reading to the next, over that of the noise; and by
/// how much of itself it changes over the readings of a station, as a machine that warms up does.
pub(super) const DRIFTS: [Drift; 8] = [
    Drift::steady(0.0),
    Drift::steady(0.1),
    Drift::steady(0.3),
    Drift::steady(1.0),
    Drift::steady(5.0),
    Drift::steady(50.0),
    Drift { size: 1.0, bend: 0.7 },
    Drift { size: 5.0, bend: 0.7 },
];
/// How likely the drifts of no walk are beforehand, all together, beside one walk with one drift.
pub(super) fn no_walk_log_prior() -> f64 {
    NO_WALK_LOG_PRIOR + libm::log(libm::exp(NO_DRIFT_LOG_PRIOR) + DRIFTS.len() as f64 - 1.0)
}

/// No walk is beforehand six times as likely as any one other, as a logarithm: about as likely as all of them.
const NO_WALK_LOG_PRIOR: f64 = 1.8;
/// The same of no drift.
const NO_DRIFT_LOG_PRIOR: f64 = 1.8;

/// Whether the dial kept its zero between visits of a station.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Zeros {
    /// It did.
    Kept,
    /// It was set to another zero at every visit.
    SetAnew,
}

/// What time goes by.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Clock {
    /// The readings, or their own times.
    Rows,
    /// The lifts: how often the axis turned from `-` to `+`.
    Lifts,
}

/// A reading at a station.
pub(super) struct Visit {
    pub index: usize,
    pub reading: Reading,
    /// The visit in which it was taken: a visit ends with a reading at another station.
    pub visit: u32,
    /// How often the axis turned from `-` to `+` before it.
    pub lifts: f64,
}

/// The variance of a zero set anew, over that of the noise: anywhere. So wide that zeros many millimetres apart add
/// nothing to the noise, and far beyond any walk of the grid over all readings.
const ANY_ZERO: f64 = 1e12;

/// A reading as the fit takes it.
struct Row {
    index: usize,
    /// Counts the visits of the station.
    visit: u32,
    time: f64,
    half: f64,
    y: f64,
}

/// The readings at a station, with what went before them.
pub(super) fn visits(readings: &dyn Series, target: Length) -> impl Iterator<Item = Visit> + '_ {
    let (mut visit, mut away) = (0_u32, false);
    let (mut lifts, mut last) = (0.0, Direction::Plus);
    all(readings).filter_map(move |(index, reading)| {
        if last == Direction::Minus && reading.approach == Direction::Plus {
            lifts += 1.0;
        }
        last = reading.approach;
        if !same_station(reading.target, target) {
            away = true;
            return None;
        }
        if away {
            visit = visit.saturating_add(1);
            away = false;
        }
        Some(Visit { index, reading, visit, lifts })
    })
}

/// Whether stations are visited more than once, both approaches being read in most visits: only then can
/// zeros set anew be told from lost motion.
pub(super) fn visits_are_whole(readings: &dyn Series, stations: &[Station]) -> bool {
    let (mut whole, mut all, mut revisited) = (0_u32, 0_u32, false);
    for station in stations {
        let mut seen = (false, false, 0);
        for Visit { reading, visit, .. } in visits(readings, station.target) {
            if visit != seen.2 {
                revisited = true;
                seen = (false, false, visit);
            }
            let was_whole = seen.0 && seen.1;
            if !(seen.0 || seen.1) {
                all = all.saturating_add(1);
            }
            match reading.approach {
                Direction::Plus => seen.0 = true,
                Direction::Minus => seen.1 = true,
            }
            if seen.0 && seen.1 && !was_whole {
                whole = whole.saturating_add(1);
            }
        }
    }
    revisited && whole.saturating_mul(3) >= all.saturating_mul(2)
}

/// A reading looked at by itself.
#[derive(Clone, Copy)]
pub(super) enum One {
    /// None is.
    None,
    /// It is left out like those set aside.
    Out(usize),
    /// It is taken although it is set aside.
    Back(usize),
}

/// The readings that a fit takes: a type of its own, so that the fit is compiled once.
#[derive(Clone, Copy)]
pub(super) struct Used<'a> {
    /// Those set aside.
    pub out: &'a [SetAside],
    /// One looked at by itself.
    pub one: One,
}

impl Used<'_> {
    /// Whether the fit takes a reading.
    pub fn holds(&self, index: usize) -> bool {
        match self.one {
            One::Out(one) if one == index => false,
            One::Back(one) if one == index => true,
            _ => !is_out(self.out, index),
        }
    }
}

/// Readings with all that is needed to fit them.
pub(super) struct Sitting<'a> {
    pub readings: &'a dyn Series,
    pub used: Used<'a>,
    /// Motion per reading.
    pub motion: f64,
    /// The mean time from one reading to the next, or `None` where times are not known.
    pub step_s: Option<f64>,
    /// What is known of the variance of a reading.
    pub beforehand: Beforehand,
    /// The step of the dial, in mm of motion; 0 if not known.
    pub step_mm: f64,
    /// Whether the dial kept its zero between visits of a station.
    pub zeros: Zeros,
    /// What time goes by.
    pub clock: Clock,
}

/// How large a drift is, in standard deviations of the noise, and how much it bends.
#[derive(Clone, Copy)]
pub(super) struct Drift {
    pub size: f64,
    pub bend: f64,
}

impl Drift {
    /// A drift that does not bend.
    pub const fn steady(size: f64) -> Self {
        Self { size, bend: 0.0 }
    }

    /// What the drift and its bend are believed to be: the last two rows of the fit. None at all is a spread
    /// far below anything that could be seen.
    fn spreads(self) -> (f64, f64) {
        const NONE: f64 = 1e-6;
        (libm::fmax(self.size, NONE), libm::fmax(self.size * self.bend, NONE))
    }
}

/// A row, whitened.
struct White {
    index: usize,
    regressors: [f64; 4],
    y: f64,
    /// The variance of what was new in it, over that of the noise.
    total: f64,
    /// The share of it that is believed.
    gain: f64,
    /// By what the row was multiplied.
    scale: f64,
}

/// A station with all its readings.
pub(super) struct Whole<'a> {
    sitting: &'a Sitting<'a>,
    target: Length,
    walk: f64,
    fit: Fit<4>,
}

/// What becomes of a station without one of its readings.
pub(super) struct Without {
    /// By how much the reading is off from what the others say, in mm of motion.
    pub off_mm: f64,
    /// By how much the sum of squared residuals falls.
    pub fall: f64,
    /// What the logarithm of the determinant grows by.
    pub log_determinant: f64,
}

/// One set of ratios.
#[derive(Clone, Copy)]
pub(super) struct Ratios {
    pub walk: f64,
    pub drift: Drift,
}

/// A station condensed for one walk: the least-squares triangle and the filter's log variances.
#[derive(Clone, Copy)]
pub(super) struct Condensed {
    squares: LeastSquares<4>,
    log_variances: f64,
    rows: f64,
}

/// A station under one pair of ratios.
pub(super) struct StationFit {
    pub reversal: f64,
    pub rate: f64,
    pub cofactor: f64,
    pub rate_cofactor: f64,
    pub evidence: Evidence,
}

impl Sitting<'_> {
    fn rows(&self, target: Length) -> impl Iterator<Item = Row> + '_ {
        let is_used = |index| self.used.holds(index);
        let first = used_at(self.readings, &is_used, target).next().map_or(0.0, |(_, r)| r.value_mm);
        visits(self.readings, target).filter(|v| self.used.holds(v.index)).map(
            move |Visit { index, reading, visit, lifts }| {
                let half = match reading.approach {
                    Direction::Plus => 0.5,
                    Direction::Minus => -0.5,
                };
                let time = match (self.clock, self.step_s, reading.time_s) {
                    (Clock::Lifts, ..) => lifts,
                    (Clock::Rows, Some(step), Some(time)) => time / step,
                    (Clock::Rows, ..) => index as f64,
                };
                Row { index, visit, time, half, y: self.motion * (reading.value_mm - first) }
            },
        )
    }

    /// Whitens the rows of a station and hands each on.
    fn whiten(&self, target: Length, walk: f64, mut take: impl FnMut(White)) {
        let mut variance = 0.0;
        let mut before: Option<(f64, u32)> = None;
        let start = self.rows(target).next().map_or(0.0, |r| r.time);
        let span = libm::fmax(self.rows(target).last().map_or(0.0, |r| r.time) - start, 1.0);
        let mut state = [0.0; 5];
        for Row { index, visit, time, half, y } in self.rows(target) {
            let (then, last_visit) = before.unwrap_or((time, visit));
            variance += walk * (time - then);
            if self.zeros == Zeros::SetAnew && visit != last_visit {
                variance += ANY_ZERO;
            }
            before = Some((time, visit));
            let total = variance + 1.0;
            let gain = variance / total;
            let scale = 1.0 / libm::sqrt(total);
            let away = time - start;
            let mut white = [1.0, half, away, away * (away / span - 1.0), y];
            for (value, mean) in white.iter_mut().zip(&mut state) {
                let innovation = *value - *mean;
                *mean += gain * innovation;
                *value = scale * innovation;
            }
            variance = gain;
            let [one, half, time, bend, y] = white;
            take(White { index, regressors: [one, half, time, bend], y, total, gain, scale });
        }
    }

    pub fn condense(&self, target: Length, walk: f64) -> Condensed {
        let mut all = Condensed { squares: LeastSquares::new(), log_variances: 0.0, rows: 0.0 };
        let mut variances = LogProduct::ONE;
        self.whiten(target, walk, |White { regressors, y, total, .. }| {
            all.squares.add(regressors, y);
            // A zero set anew is one more unknown, anywhere within a millimetre: its reading tells nothing else.
            if total < ANY_ZERO {
                variances.take(total);
                all.rows += 1.0;
            }
        });
        all.log_variances = variances.log();
        all
    }

    /// The variance that rounding leaves in a reversal value beyond independent roundings, given the
    /// variance of a reading, that of the walk and the drift, all from one reading to the next.
    pub fn rounding(&self, target: Length, variance: f64, walk: f64, rate: f64) -> f64 {
        if self.step_mm <= 0.0 {
            return 0.0;
        }
        // The scatter seen holds the rounding itself.
        let noise = libm::fmax(variance - self.beforehand.least, 0.0);
        if Rounding::is_nothing(self.step_mm, noise) {
            return 0.0;
        }
        let mut plus = Rounding::new(self.step_mm, noise, walk, rate);
        let mut minus = plus;
        let mut last_visit = None;
        for row in self.rows(target) {
            if self.zeros == Zeros::SetAnew && last_visit.is_some_and(|last| last != row.visit) {
                plus.part();
                minus.part();
            }
            last_visit = Some(row.visit);
            if row.half > 0.0 { plus.take(row.time) } else { minus.take(row.time) }
        }
        plus.kept() + minus.kept()
    }

    /// What a station tells if nothing walked, on a dial coarser than the noise; `None` where that does not apply.
    pub fn coarse(&self, target: Length) -> Option<coarse::Posterior> {
        if self.zeros == Zeros::SetAnew {
            return None;
        }
        let (mut plus, mut minus) = (coarse::Group::new(), coarse::Group::new());
        let start = self.rows(target).next().map_or(0.0, |r| r.time);
        for row in self.rows(target) {
            let group = if row.half > 0.0 { &mut plus } else { &mut minus };
            group.push((row.time - start, row.y)).ok()?;
        }
        let fit = self.condense(target, 0.0).fit(Drift::steady(50.0))?;
        coarse::posterior(&plus, &minus, self.step_mm, fit.rate)
    }

    /// What a pair of ratios makes of the stations given, of all readings used.
    pub fn evidence(&self, stations: &[Station], ratios: Ratios) -> Option<Evidence> {
        let mut sum = Evidence::default();
        for station in stations {
            sum = sum.plus(self.condense(station.target, ratios.walk).fit(ratios.drift)?.evidence);
        }
        Some(sum)
    }

    /// What one walk with each of the drifts makes of the stations given; condensed once for all drifts.
    pub fn under_all_drifts(&self, stations: &[Station], walk: f64) -> [Option<Evidence>; DRIFTS.len()] {
        let mut sums = [Some(Evidence::default()); DRIFTS.len()];
        for station in stations {
            let condensed = self.condense(station.target, walk);
            for (sum, drift) in sums.iter_mut().zip(DRIFTS) {
                *sum = sum.and_then(|s| Some(s.plus(condensed.fit(drift)?.evidence)));
            }
        }
        sums
    }

    /// The likeliest pair of ratios, with its log likelihood.
    pub fn likeliest(&self, stations: &[Station]) -> Option<(Ratios, f64)> {
        let mut best: Option<(Ratios, f64)> = None;
        for walk in WALKS {
            let sums = self.under_all_drifts(stations, walk);
            for (sum, drift) in sums.iter().zip(DRIFTS) {
                let (Some(sum), ratios) = (sum, Ratios { walk, drift }) else { continue };
                let log = sum.log_likelihood(self.beforehand) + log_prior(ratios, sum);
                if best.is_none_or(|(_, most)| log > most) {
                    best = Some((ratios, log));
                }
            }
        }
        best
    }

    /// A station under a pair of ratios, to look at its readings one by one.
    pub fn whole(&self, target: Length, ratios: Ratios) -> Option<Whole<'_>> {
        let fit = self.condense(target, ratios.walk).solve(ratios.drift)?;
        Some(Whole { sitting: self, target, walk: ratios.walk, fit })
    }
}

impl Whole<'_> {
    /// The sizes of the whitened residuals.
    pub fn residuals(&self, mut take: impl FnMut(usize, f64)) {
        self.sitting.whiten(self.target, self.walk, |row| take(row.index, libm::fabs(self.residual(&row))));
    }

    fn residual(&self, row: &White) -> f64 {
        let model: f64 = row.regressors.iter().enumerate().map(|(i, x)| x * self.fit.coefficient(i)).sum();
        row.y - model
    }

    /// The station without one of its readings, by the mean-shift model: as if that reading had a column of its own, through
    /// the same filter. (Deletion of one case in generalised least squares: R. J. Martin, "Leverage, influence and residuals
    /// in regression models when observations are correlated", Comm. Statist. Theory Meth. 21, 1992; recalled from memory.)
    /// `None` where the others say nothing of it, or it says nothing of them.
    pub fn without(&self, suspect: usize) -> Option<Without> {
        let (mut mean, mut squares, mut product) = (0.0, 0.0, 0.0);
        let mut products = [0.0; 4];
        self.sitting.whiten(self.target, self.walk, |row| {
            let innovation = if row.index == suspect { 1.0 } else { 0.0 } - mean;
            mean += row.gain * innovation;
            let own = row.scale * innovation;
            squares += own * own;
            product += own * self.residual(&row);
            products.iter_mut().zip(row.regressors).for_each(|(sum, x)| *sum += own * x);
        });
        let left = squares - self.fit.cofactor_of_sum(&products);
        // A reading that alone knows a coefficient, or is the only one after its dial was set anew.
        if left <= 1e-9 * squares || squares < 1e3 / ANY_ZERO {
            return None;
        }
        Some(Without {
            off_mm: product / left,
            fall: product * product / left,
            log_determinant: libm::log(left),
        })
    }
}

impl Condensed {
    fn solve(&self, drift: Drift) -> Option<Fit<4>> {
        let mut squares = self.squares;
        let (spread, bend) = drift.spreads();
        squares.add([0.0, 0.0, 1.0 / spread, 0.0], 0.0);
        squares.add([0.0, 0.0, 0.0, 1.0 / bend], 0.0);
        squares.solve().ok()
    }

    pub fn fit(&self, drift: Drift) -> Option<StationFit> {
        let fit = self.solve(drift)?;
        let (spread, bend) = drift.spreads();
        let taken = |i: usize, spread: f64| 1.0 - libm::fmin(fit.cofactor(i, i) / (spread * spread), 1.0);
        Some(StationFit {
            reversal: fit.coefficient(1),
            rate: fit.coefficient(2),
            cofactor: fit.cofactor(1, 1),
            rate_cofactor: fit.cofactor(2, 2),
            evidence: Evidence {
                residual_sum: fit.residual_sum,
                log_determinant: self.log_variances + fit.log_determinant + 2.0 * libm::log(spread * bend),
                dof: self.rows - 2.0,
                drift_dof: taken(2, spread) + taken(3, bend),
            },
        })
    }
}

/// How likely the ratios are beforehand: none at all, or steps far below what a machine or a stand
/// that is worth measuring makes from one reading to the next.
pub(super) fn log_prior(ratios: Ratios, evidence: &Evidence) -> f64 {
    let none = |value: f64, log: f64| if value == 0.0 { log } else { 0.0 };
    let step = (ratios.walk + ratios.drift.size * ratios.drift.size) * evidence.plain().0
        / (USUAL_STEP_MM * USUAL_STEP_MM);
    none(ratios.walk, NO_WALK_LOG_PRIOR) + none(ratios.drift.size, NO_DRIFT_LOG_PRIOR)
        - 2.0 * libm::log1p(step)
}

/// Wandering from one reading to the next beyond this is unusual, in mm.
const USUAL_STEP_MM: f64 = 0.01;

#[cfg(test)]
mod tests {
    use super::{Clock, Drift, One, Ratios, Sitting, Used, Zeros};
    use crate::axis::Direction::{Minus, Plus};
    use crate::length::Length;
    use crate::measure::reversal::Reading;
    use crate::measure::reversal::evidence::Beforehand;

    // Looking at a station without a reading says what a fit without that reading says.
    #[test]
    fn a_reading_left_out_by_the_formula_and_in_earnest() {
        let readings: [Reading; 14] = core::array::from_fn(|i| {
            let approach = if i % 2 == 0 { Plus } else { Minus };
            let scatter = 0.001 * ((i * i * 7 + 3 * i) % 11) as f64;
            let misread = if i == 5 { 0.5 } else { 0.0 };
            let value_mm = if approach == Plus { -0.1 } else { 0.0 } + scatter + misread;
            Reading { target: Length::ZERO, cycle: 1, approach, value_mm, time_s: None }
        });
        let series = &readings[..];
        let sitting = |one| Sitting {
            readings: &series,
            used: Used { out: &[], one },
            motion: 1.0,
            step_s: None,
            beforehand: Beforehand::new(4e-6, 0.0),
            step_mm: 0.0,
            zeros: Zeros::Kept,
            clock: Clock::Rows,
        };
        for (walk, size) in [(0.0, 0.0), (0.0, 1.0), (0.3, 0.1), (30.0, 5.0)] {
            let ratios = Ratios { walk, drift: Drift::steady(size) };
            let all = sitting(One::None);
            let whole = all.whole(Length::ZERO, ratios).unwrap();
            let evidence = all.condense(Length::ZERO, walk).fit(ratios.drift).unwrap().evidence;
            for index in 0..readings.len() {
                let left = sitting(One::Out(index));
                let earnest = left.condense(Length::ZERO, walk).fit(ratios.drift).unwrap().evidence;
                let formula = evidence.without(&whole.without(index).unwrap());
                let near = |a: f64, b: f64| (a - b).abs() < 1e-7 * b.abs().max(1e-3);
                assert!(near(formula.residual_sum, earnest.residual_sum), "{walk} {size} {index}");
                assert!(near(formula.log_determinant, earnest.log_determinant), "{walk} {size} {index}");
                assert_eq!(formula.dof, earnest.dof);
            }
            let off = whole.without(5).unwrap().off_mm;
            assert!((off - 0.5).abs() < 0.03, "{walk} {size}: {off}");
        }
    }
}

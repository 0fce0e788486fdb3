//! Readings and the take-up curve: residuals, drift taken out, and Gauss-Newton steps.

use super::Reading;
use super::curve::{Curve, Moved, Path};
use crate::length::Length;
use crate::measure::misreads::is_out;
use crate::measure::regression::{Fit, LeastSquares};
use crate::measure::reversal::SetAside;
use crate::measure::root::held;
use crate::measure::{Estimate, Setup};

/// The readings of a staircase.
pub(super) struct Sitting<'a> {
    readings: &'a [Reading],
    pub motion: f64,
    /// 1, or -1 where it begins seated `+`: such a staircase is the mirror image.
    sign: f64,
    pub start: Length,
    /// How far the axis had gone since it turned, before the first reading.
    pub since_turn: f64,
    /// An error of the place that is taken out of the table: by its place, the square and the cube of that.
    by_place: [f64; 3],
    /// Height of the staircase, and the mean move from one reading to the next.
    pub rise: f64,
    pub step: f64,
    pub turns: u16,
    first: f64,
    begin: f64,
    span: f64,
    timed: bool,
    pub resolution: f64,
    pub least_variance: f64,
    /// By what variances grow because the dial rounds the same way each time a place is visited.
    pub repeats: f64,
    /// Where ways stick: zero and drift by which each reading is told to be held or free.
    pub holding: Option<Holding>,
}

/// What an error of the place leaves of a move at least.
const STEEP: f64 = 0.5;
/// Steps in which an error of the place is found.
const STEPS: usize = 6;

/// After so many heights of a staircase no wind-up of the search is left.
const FAR: f64 = 100.0;

/// Zero and drift of ways that stick, from time -1 to 1.
#[derive(Clone, Copy)]
pub(super) struct Holding {
    pub zero: f64,
    pub drift: f64,
    /// The pull at which the table jumps.
    pub pull: f64,
    /// How much the logarithm of the odds to be held grows for each length by which the drive pulls less; zero as long
    /// as nothing is known of the pull.
    pub sure: f64,
    /// The variance of a reading.
    pub variance: f64,
}

/// One reading: where the command is from the start, the deviation of the table, and the time from -1 to 1.
#[derive(Clone, Copy)]
pub(super) struct Row {
    pub index: usize,
    pub command: f64,
    pub table: f64,
    pub time: f64,
}

/// Terms of drift, made independent of each other over the readings used.
#[derive(Clone, Copy, Default)]
pub(super) struct Drift {
    centre: f64,
    skew: f64,
    /// The mean square of the times about their centre.
    spread: f64,
    /// What brings each term to unit length; zero where there is no such term.
    factors: [f64; 3],
}

/// Sums of products with the drift taken out.
#[derive(Clone, Copy, Default)]
struct Cleared {
    product: f64,
    a: [f64; 3],
    b: [f64; 3],
}

impl Cleared {
    fn add(&mut self, terms: [f64; 3], a: f64, b: f64) {
        self.product += a * b;
        for ((sum_a, sum_b), term) in self.a.iter_mut().zip(&mut self.b).zip(terms) {
            *sum_a += term * a;
            *sum_b += term * b;
        }
    }

    fn value(&self) -> f64 {
        self.product - self.a.iter().zip(&self.b).map(|(a, b)| a * b).sum::<f64>()
    }
}

impl Drift {
    /// The terms at a time; of unit length over the readings.
    fn terms(&self, time: f64) -> [f64; 3] {
        let t = time - self.centre;
        let [level, slope, bend] = self.factors;
        [level, slope * t, bend * (t * t - self.skew * t - self.spread)]
    }
}

/// The part of the variance of a reading by which a step lessens the misfit at most to be taken on trust: it is a
/// hundredth of what the noise leaves unknown, and ends nearer by far to the best than it is long.
const TRUSTED: f64 = 1e-4;

/// One step of Gauss and Newton along the dead band: the misfit, its slope and its curvature.
#[derive(Clone, Copy)]
pub(super) struct Along {
    pub misfit: f64,
    pub slope: f64,
    pub curvature: f64,
}

/// The fit without some readings.
#[derive(Debug)]
pub struct Trial {
    fit: Fit<5>,
    /// The degrees of freedom that the readings give.
    dof: f64,
}

/// The columns of a trial: place, drift and its bend, and the two parts of the curve.
fn columns(row: &Row, moved: &Moved) -> [f64; 5] {
    [1.0, row.time, row.time * row.time, moved.by_dead_band, moved.by_wind_up]
}

impl<'a> Sitting<'a> {
    pub fn new(readings: &'a [Reading], setup: &Setup) -> Self {
        let start = readings.first().map_or(Length::ZERO, |r| r.target);
        let sign = readings.first().map_or(1.0, |r| -r.approach.signum());
        let timed = readings.iter().all(|r| r.time_s.is_some());
        let time = |r: Option<&Reading>| r.and_then(|r| r.time_s).unwrap_or(0.0);
        let (begin, end) = if timed {
            (time(readings.first()), time(readings.last()))
        } else {
            (0.0, readings.len() as f64 - 1.0)
        };
        let resolution = setup.resolution_mm * setup.cosine();
        let (mut low, mut high, mut turns) = (0.0, 0.0, 0_u16);
        let (mut travel, mut moves) = (0.0, 0.0);
        for pair in readings.windows(2) {
            let [before, here] = pair else { continue };
            let place = here.target.saturating_sub(start).as_mm();
            low = libm::fmin(low, place);
            high = libm::fmax(high, place);
            turns = turns.saturating_add(u16::from(before.approach != here.approach));
            travel += libm::fabs(here.target.saturating_sub(before.target).as_mm());
            moves += 1.0;
        }
        let (timed, span) =
            if end > begin { (timed, end - begin) } else { (false, readings.len() as f64 - 1.0) };
        Self {
            readings,
            motion: sign * setup.motion_per_reading(),
            sign,
            start,
            since_turn: f64::INFINITY,
            by_place: [0.0; 3],
            rise: high - low,
            step: travel / libm::fmax(moves, 1.0),
            turns,
            first: readings.first().map_or(0.0, |r| r.value_mm),
            begin,
            span: libm::fmax(span, 1e-9),
            timed,
            resolution,
            least_variance: setup.least_variance(),
            repeats: 1.0,
            holding: None,
        }
    }

    pub fn count(&self) -> usize {
        self.readings.len()
    }

    /// Finds an error of the place and the curve together, takes the one out, and answers with the other: steps of Gauss and
    /// Newton, from no wind-up, a little and much, of which the best counts.
    pub fn take_out_place(&mut self, start: Curve, out: &[SetAside]) -> Option<Curve> {
        let lost = start.dead_band_mm + start.wind_up_mm;
        let drift = self.terms_of_drift(out);
        let mut best: Option<(f64, Curve, [f64; 3])> = None;
        for share in [0.0, 0.07, 0.25] {
            let wind_up_mm = share * self.rise;
            let mut curve = Curve { dead_band_mm: lost - wind_up_mm, wind_up_mm };
            for _ in 0..STEPS {
                curve = self.beside_place(curve, out)?;
                let misfit = self.along(out, &drift, curve).misfit;
                // What takes the readings away takes their scatter away too: so steep is no error of a screw.
                let [slope, bend, twist] = self.by_place;
                let left = 1.0 - slope - self.rise * (bend + self.rise * twist);
                if left >= STEEP && best.is_none_or(|(least, ..)| misfit < least) {
                    best = Some((misfit, curve, self.by_place));
                }
            }
        }
        let (_, curve, by_place) = best?;
        self.by_place = by_place;
        Some(curve)
    }

    /// One step of it.
    fn beside_place(&mut self, curve: Curve, out: &[SetAside]) -> Option<Curve> {
        // The error is one of the place as it is seen.
        self.by_place = [0.0; 3];
        let mut squares = LeastSquares::<7>::new();
        // Held so weakly that nothing but a missing column feels it; where nothing winds up, that stays so: close to nothing
        // a wind-up is no more than a gap.
        let winds = if curve.wind_up_mm > 0.0 { 1e-3 } else { 1e6 };
        squares.add([0.0, 0.0, 0.0, 0.0, 0.0, 1e-3, 0.0], 0.0);
        squares.add([0.0, 0.0, 0.0, 0.0, 0.0, 0.0, winds], 0.0);
        for (row, moved) in self.used(out, curve) {
            let place = row.table / self.rise;
            let (square, cube) = (place * place, place * place * place);
            let columns = [1.0, row.time, place, square, cube, moved.by_dead_band, moved.by_wind_up];
            squares.add(columns, row.table - moved.table);
        }
        let fit = squares.solve().ok()?;
        let most = self.rise;
        let square = most * most;
        self.by_place =
            [fit.coefficient(2) / most, fit.coefficient(3) / square, fit.coefficient(4) / (square * most)];
        Some(Curve {
            dead_band_mm: held(curve.dead_band_mm + fit.coefficient(5), -most, most),
            wind_up_mm: held(curve.wind_up_mm + fit.coefficient(6), 0.0, most),
        })
    }

    /// The path of a table under a curve, at the first reading; from where it is there, or from anywhere, since the zero is
    /// free.
    pub fn path(&self, curve: Curve) -> Path {
        let mut path = Path::new(curve);
        if self.since_turn.is_finite() {
            // Far enough for all that is lost to be taken up, and back by as much as was gone before the first reading.
            path.follow(-FAR * self.rise);
            path.follow(self.since_turn);
            path.follow(0.0);
        }
        path
    }

    /// All rows, in order; those set aside are passed through by the command as well.
    pub fn rows(&self) -> impl Iterator<Item = Row> + '_ {
        self.readings.iter().enumerate().map(move |(index, reading)| {
            let table = self.motion * (reading.value_mm - self.first);
            let [slope, bend, twist] = self.by_place;
            let since = match reading.time_s {
                Some(time) if self.timed => time - self.begin,
                _ => index as f64,
            };
            Row {
                index,
                command: self.sign * reading.target.saturating_sub(self.start).as_mm(),
                table: table - table * (slope + table * (bend + table * twist)),
                time: 2.0 * since / self.span - 1.0,
            }
        })
    }

    /// The rows used, with the table's path under a curve.
    pub fn used<'b>(&'b self, out: &'b [SetAside], curve: Curve) -> impl Iterator<Item = (Row, Moved)> + 'b {
        let mut path = self.path(curve);
        let mut table = Moved::default();
        self.rows().filter_map(move |row| {
            let pulled = path.follow(row.command);
            if is_out(out, row.index) {
                return None;
            }
            table = match self.holding {
                Some(holding) if self.holds(&row, holding, pulled, table) => table,
                _ => pulled,
            };
            Some((row, table))
        })
    }

    /// Whether a reading looks held at the table's last place, and not where the drive pulls it.
    pub fn holds(&self, row: &Row, holding: Holding, pulled: Moved, table: Moved) -> bool {
        let seen = row.table - holding.zero - holding.drift * row.time;
        let away = libm::fabs(pulled.table - table.table);
        let square = |off: f64| off * off;
        let nearer = square(seen - table.table) - square(seen - pulled.table);
        // What pulls by less than can be told does not yet make a table jump that sticks.
        let short = holding.sure * (holding.pull - away);
        away <= 0.3 * self.step || nearer < 2.0 * holding.variance * short
    }

    /// How far the table got from one end of the staircase to the other, by the readings at both ends.
    pub fn reached(&self, out: &[SetAside]) -> f64 {
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        for row in self.rows() {
            low = libm::fmin(low, row.command);
            high = libm::fmax(high, row.command);
        }
        let mean = |at: f64| {
            let near = |row: &Row| libm::fabs(row.command - at) < 1.5 * self.step && !is_out(out, row.index);
            let (sum, n) =
                self.rows().filter(near).fold((0.0, 0.0), |(sum, n), row| (sum + row.table, n + 1.0));
            (n > 0.0).then_some(sum / n)
        };
        // Where all readings at an end are misread nothing is known: the curve has to tell.
        mean(high).zip(mean(low)).map_or(self.rise, |(top, bottom)| top - bottom)
    }

    pub fn terms_of_drift(&self, out: &[SetAside]) -> Drift {
        let times = || self.rows().filter(|row| !is_out(out, row.index)).map(|row| row.time);
        let n = libm::fmax(times().count() as f64, 1.0);
        let centre = times().sum::<f64>() / n;
        let moment = |power: i32| {
            times().map(|t| (0..power).fold(1.0, |product, _| product * (t - centre))).sum::<f64>()
        };
        let second = moment(2);
        let skew = if second > 0.0 { moment(3) / second } else { 0.0 };
        let unit = |square: f64| if square > 0.0 { 1.0 / libm::sqrt(square) } else { 0.0 };
        let mut drift = Drift { centre, skew, spread: second / n, factors: [unit(n), unit(second), 1.0] };
        // One reversal alone leaves too little to tell a bent drift from the curve.
        let bend = if self.turns > 1 {
            let bent = |t: f64| drift.terms(t).last().copied().unwrap_or(0.0);
            unit(times().map(|t| bent(t) * bent(t)).sum::<f64>())
        } else {
            0.0
        };
        drift.factors = [unit(n), unit(second), bend];
        drift
    }

    /// How many linear terms there are.
    pub fn linear_terms(&self) -> f64 {
        if self.turns > 1 { 3.0 } else { 2.0 }
    }

    /// The misfit and how it changes with the dead band.
    pub fn along(&self, out: &[SetAside], drift: &Drift, curve: Curve) -> Along {
        let (mut rr, mut rg, mut gg) = (Cleared::default(), Cleared::default(), Cleared::default());
        for (row, moved) in self.used(out, curve) {
            let terms = drift.terms(row.time);
            let residual = row.table - moved.table;
            rr.add(terms, residual, residual);
            rg.add(terms, residual, moved.by_dead_band);
            gg.add(terms, moved.by_dead_band, moved.by_dead_band);
        }
        Along {
            misfit: libm::fmax(rr.value(), 0.0),
            slope: rg.value(),
            curvature: libm::fmax(gg.value(), 0.0),
        }
    }

    /// The dead band that fits best with a wind-up, from a first guess.
    pub fn best_dead_band(
        &self,
        out: &[SetAside],
        drift: &Drift,
        wind_up_mm: f64,
        guess: f64,
    ) -> (f64, Along) {
        let at = |dead_band_mm| self.along(out, drift, Curve { dead_band_mm, wind_up_mm });
        let mut here = held(guess, -self.rise, self.rise);
        let mut now = at(here);
        for _ in 0..12 {
            if now.curvature <= 1e-12 {
                // Nothing moved at all: a smaller dead band lets something move.
                here *= 0.5;
                now = at(here);
                continue;
            }
            let mut step = held(now.slope / now.curvature, -0.5 * self.rise, 0.5 * self.rise);
            let gain = step * step * now.curvature;
            // A step that hardly makes the misfit less, beside the variance of a reading, needs no look at where it ends.
            if gain < TRUSTED * now.misfit / self.readings.len() as f64 {
                here = held(here + step, -self.rise, self.rise);
                now.misfit -= gain;
                break;
            }
            if libm::fabs(step) < 1e-7 + 1e-5 * self.step {
                break;
            }
            let mut better = None;
            for _ in 0..5 {
                let next = held(here + step, -self.rise, self.rise);
                let there = at(next);
                if there.misfit < now.misfit {
                    better = Some((next, there));
                    break;
                }
                step *= 0.4;
            }
            let Some((next, there)) = better else { break };
            (here, now) = (next, there);
        }
        (here, now)
    }

    /// A curve to begin with that misreads and drift do not disturb: the one under which the table moves
    /// least beside it from one reading to the next, large moves counting no more than small ones.
    pub fn robust_start(&self) -> Curve {
        let mut best: Option<(f64, Curve)> = None;
        let grid = |n: u32, of: f64, most: f64| f64::from(n) * f64::from(n) / (of * of) * most;
        for wind in 0..=7 {
            for dead in 0..=16 {
                let curve = Curve {
                    dead_band_mm: grid(dead, 16.0, self.rise),
                    wind_up_mm: grid(wind, 7.0, 0.4 * self.rise),
                };
                let mut path = self.path(curve);
                let (mut before, mut sum) = (None, 0.0);
                for row in self.rows() {
                    let off = row.table - path.follow(row.command).table;
                    sum += libm::fmin(libm::fabs(off - before.unwrap_or(off)), self.step);
                    before = Some(off);
                }
                if best.is_none_or(|(least, _)| sum < least) {
                    best = Some((sum, curve));
                }
            }
        }
        best.map_or(Curve::default(), |(_, curve)| curve)
    }

    /// The fit without some readings, the curve free to move a little from where it is.
    pub fn trial(&self, curve: Curve, out: &[SetAside]) -> Option<Trial> {
        // Held so weakly that nothing but a missing column feels it.
        self.near(curve, out, 1e-3, 1.0 / self.rise)
    }

    /// The same with the bend of the drift and the parts of the curve held by so much.
    fn near(&self, curve: Curve, out: &[SetAside], bend: f64, parts: f64) -> Option<Trial> {
        let mut squares = LeastSquares::<5>::new();
        squares.add([0.0, 0.0, 0.0, parts, 0.0], 0.0);
        squares.add([0.0, 0.0, 0.0, 0.0, parts], 0.0);
        squares.add([0.0, 0.0, bend, 0.0, 0.0], 0.0);
        for (row, moved) in self.used(out, curve) {
            squares.add(columns(&row, &moved), row.table - moved.table);
        }
        let fit = squares.solve().ok()?;
        // The three weak rows count as readings.
        let dof = fit.dof - 3.0;
        (dof >= 1.0).then_some(Trial { fit, dof })
    }

    /// The log likelihood of the readings left, noise and coefficients integrated out.
    pub fn log_likelihood(&self, trial: &Trial) -> f64 {
        let sum = trial.fit.residual_sum + self.least_variance;
        libm::lgamma(0.5 * trial.dof)
            - 0.5 * trial.dof * libm::log(core::f64::consts::PI * sum)
            - 0.5 * trial.fit.log_determinant
    }

    /// The reading that fits worst, of those left, if it is off by at least so much.
    pub fn worst(&self, curve: Curve, out: &[SetAside], least_mm: f64) -> Option<usize> {
        let Trial { fit, .. } = self.trial(curve, out)?;
        let mut worst: Option<(usize, f64)> = None;
        for (row, moved) in self.used(out, curve) {
            let model: f64 =
                columns(&row, &moved).iter().enumerate().map(|(i, x)| x * fit.coefficient(i)).sum();
            let off = libm::fabs(row.table - moved.table - model);
            if off >= least_mm && worst.is_none_or(|(_, most)| off > most) {
                worst = Some((row.index, off));
            }
        }
        worst.map(|(index, _)| index)
    }

    /// The likeliest curve near a first guess, by Gauss and Newton in both parts in turn.
    pub fn likeliest(&self, out: &[SetAside], guess: Curve) -> Curve {
        let drift = self.terms_of_drift(out);
        let mut best: Option<(f64, Curve)> = None;
        let mut dead = guess.dead_band_mm + guess.wind_up_mm;
        for n in 0..=14 {
            let share = f64::from(n) / 14.0;
            let wind_up_mm = share * share * 0.6 * self.rise;
            let (here, along) = self.best_dead_band(out, &drift, wind_up_mm, dead - wind_up_mm);
            dead = here + wind_up_mm;
            if best.is_none_or(|(least, _)| along.misfit < least) {
                best = Some((along.misfit, Curve { dead_band_mm: here, wind_up_mm }));
            }
        }
        best.map_or(guess, |(_, curve)| curve)
    }

    /// The dial rounds a place the same way each time it shows it: neither more cycles nor, where the table stands still in
    /// the dead band, more steps make that any smaller. How many readings a reading shares its rounding with, itself among
    /// them, on average; drift that has moved the place by a part of the dial's step has parted them.
    pub fn set_repeats(&mut self, curve: Curve, out: &[SetAside]) {
        const ALIKE: f64 = 0.25;
        if self.resolution <= 0.0 {
            return;
        }
        let drift = self.linear(curve, out).map_or(0.0, |line| line.coefficient(1));
        let approach = |row: &Row| self.readings.get(row.index).map(|reading| reading.approach);
        let (mut pairs, mut count) = (0.0, 0.0);
        for (row, moved) in self.used(out, curve) {
            let shares = |(other, there): &(Row, Moved)| {
                let apart = there.table - moved.table + drift * (other.time - row.time);
                approach(other) == approach(&row) && libm::fabs(apart) < ALIKE * self.resolution
            };
            pairs += self.used(out, curve).filter(shares).count() as f64;
            count += 1.0;
        }
        self.repeats = libm::fmax(pairs / libm::fmax(count, 1.0), 1.0);
    }

    /// The step of the dial that all readings share: targets that fall on different parts of a step make it
    /// smaller.
    pub fn shared_step(&self) -> f64 {
        if self.resolution <= 0.0 {
            return 0.0;
        }
        let part = |reading: &Reading| {
            let steps = reading.target.saturating_sub(self.start).as_mm() / self.resolution;
            steps - libm::floor(steps)
        };
        let mut phases: heapless::Vec<f64, 10> = heapless::Vec::new();
        for reading in self.readings {
            let phase = part(reading);
            let near = |other: &f64| {
                let apart = libm::fabs(phase - other);
                libm::fmin(apart, 1.0 - apart) < 0.09
            };
            if !phases.iter().any(near) && phases.push(phase).is_err() {
                break;
            }
        }
        self.resolution / libm::fmax(phases.len() as f64, 1.0)
    }

    /// How far a reading is off from the curve and drift of those left, in mm of motion.
    pub fn off_mm(&self, index: usize, curve: Curve, out: &[SetAside]) -> Option<f64> {
        let fit = self.linear(curve, out)?;
        let mut path = self.path(curve);
        let (row, moved) =
            self.rows().map(|row| (row, path.follow(row.command))).find(|(row, _)| row.index == index)?;
        Some(row.table - moved.table - fit.coefficient(0) - fit.coefficient(1) * row.time)
    }

    pub fn linear(&self, curve: Curve, out: &[SetAside]) -> Option<Fit<2>> {
        let mut line = LeastSquares::<2>::new();
        for (row, moved) in self.used(out, curve) {
            line.add([1.0, row.time], row.table - moved.table);
        }
        line.solve().ok()
    }

    /// The same as far as it is told from the curve: on one way alone a wind-up that ends late looks like drift.
    pub fn drift_beside_curve(&self, curve: Curve, out: &[SetAside]) -> Estimate {
        self.near(curve, out, 1e6, 1e-3).map_or(Estimate::ZERO, |trial| {
            let drift = trial.fit.estimate(1).scaled(2.0);
            // The rows that hold are no readings.
            let wider = libm::sqrt(trial.fit.dof / trial.dof);
            Estimate { standard_uncertainty: wider * drift.standard_uncertainty, dof: trial.dof, ..drift }
        })
    }

    /// Steady drift from the first reading to the last.
    pub fn drift(&self, curve: Curve, out: &[SetAside]) -> Estimate {
        self.linear(curve, out).map_or(Estimate::ZERO, |fit| fit.estimate(1).scaled(2.0))
    }
}

//! What the readings say of dead band and wind-up: their joint likelihood, noise and drift integrated
//! out, over every wind-up that can be.
//!
//! For each wind-up of a grid, refined to where the likelihood lies, the dead band follows a normal
//! distribution about its best value (Laplace's approximation; L. Tierney and J. B. Kadane, "Accurate approximations
//! for posterior moments and marginal densities", Journal of the American Statistical Association 81, 1986). Each
//! quantity's likelihood then is a mixture of these, over the values that can be. The values of lost motion and wind-up
//! are the likeliest, that of the dead band is their difference, and U reaches as far as the likelihood of a 95 %
//! interval does on its longer side.

use super::Evidence;
use super::curve::Curve;
use super::fit::{Drift, Sitting};
use crate::measure::Estimate;
use crate::measure::cause::SIZES_MM;
use crate::measure::reversal::{SetAside, undithered};
use crate::measure::student::{coverage_factor, normal_cdf, normal_density};
use crate::measure::uncertainty::rectangular;
use heapless::Vec;

/// Points of the final grid.
const POINTS: usize = 25;
/// Points of a grid on the way to it.
const COARSE: u32 = 12;
/// Below this the logarithm of the likelihood counts for nothing.
const DEEP: f64 = 9.0;

/// A likelihood flattened by no more than this is as good as not flattened.
const HARDLY: f64 = 1e-3;

/// By so much a lead must be likelier than a lag, as a logarithm: two quantities more fit so much better by chance in 3 of
/// 10 000 tests.
const DECISIVE: f64 = 8.0;

/// One wind-up of the grid.
#[derive(Clone, Copy)]
struct Point {
    wind_up: f64,
    dead_band: f64,
    misfit: f64,
    /// The standard deviation of the dead band for a noise of 1.
    unit_sd: f64,
    log: f64,
    weight: f64,
}

/// What the readings say.
pub(super) struct Posterior {
    pub dead_band: Estimate,
    pub wind_up: Estimate,
    pub lost_motion: Estimate,
    /// The likeliest curve, and its sum of squared residuals.
    pub curve: Curve,
    pub misfit: f64,
    pub s_mm: f64,
    pub dof: f64,
    pub evidence: Evidence,
    /// The log likelihood by the misfit alone, to be held against ways that stick.
    pub smooth_log_likelihood: f64,
}

/// Whether a dead band may be negative.
#[derive(Clone, Copy, PartialEq)]
enum Side {
    Lag,
    Lead,
}

impl Side {
    fn sign(self) -> f64 {
        match self {
            Side::Lag => 1.0,
            Side::Lead => -1.0,
        }
    }
}

struct Search<'a, 'b> {
    sitting: &'a Sitting<'b>,
    out: &'a [SetAside],
    drift: Drift,
    /// Readings less linear terms.
    freedom: f64,
    /// By what the likelihood is flattened because roundings repeat.
    flat: f64,
    /// Dead bands below this cannot be.
    least_dead_band: f64,
}

pub(super) fn of(sitting: &Sitting<'_>, out: &[SetAside], guess: Curve) -> Option<Posterior> {
    let used = sitting.count().saturating_sub(out.len()) as f64;
    let mut search = Search {
        sitting,
        out,
        drift: sitting.terms_of_drift(out),
        freedom: used - sitting.linear_terms(),
        flat: 1.0,
        least_dead_band: f64::NEG_INFINITY,
    };
    let dof = search.freedom - 2.0;
    if dof < 1.0 {
        return None;
    }
    let grid = search.grid(guess);
    let best = grid.iter().max_by(|a, b| a.log.total_cmp(&b.log)).copied()?;
    let variance = (best.misfit / dof).max(sitting.least_variance * 1e-6);
    let s = libm::sqrt(variance);
    // The part of the variance that is rounding, and the same each time a place is visited.
    let rounding = undithered(sitting.resolution, s);
    let shared = (rounding * rounding / variance).min(1.0);
    search.flat = 1.0 + (sitting.repeats - 1.0) * shared;
    let mut grid = grid;
    if search.flat > 1.0 + HARDLY {
        grid = search.grid(Curve { dead_band_mm: best.dead_band, wind_up_mm: best.wind_up });
    }
    let sd = |point: &Point| point.unit_sd * libm::sqrt(variance * search.flat);
    let lead = grid.iter().map(|p| p.weight * normal_cdf(-p.dead_band / sd(p))).sum::<f64>()
        / grid.iter().map(|p| p.weight).sum::<f64>();
    let mut side = Side::Lag;
    if lead > 0.999 {
        // A dead band below nothing and a wind-up that makes up for it bend the first readings after a reversal, as chance
        // does: only what is much likelier than all that lags is a lead.
        search.least_dead_band = 0.0;
        let lags = search.grid(Curve { dead_band_mm: 0.0, wind_up_mm: 0.0 });
        let top = |grid: &[Point]| grid.iter().map(|p| p.log).fold(f64::NEG_INFINITY, f64::max);
        if top(&grid) > top(&lags) + DECISIVE {
            side = Side::Lead;
            search.least_dead_band = f64::NEG_INFINITY;
        } else {
            grid = lags;
        }
    }
    let cell = cell(&grid);
    let mut parts: Vec<Part, POINTS> = Vec::new();
    for point in &grid {
        let own_spread = sd(point);
        let part = Part {
            weight: point.weight,
            log: libm::log(point.weight + LEAST),
            centre: point.dead_band,
            spread: libm::hypot(own_spread, 0.29 * cell),
            own_spread,
            wind_up: point.wind_up,
        };
        // As many parts as points.
        let _ = parts.push(part);
    }
    // Fewer degrees of freedom make every interval wider, as Student's t does.
    let dof = libm::fmax(dof / search.flat, 1.0);
    let range = |centre: &dyn Fn(&Part) -> f64, spread: &dyn Fn(&Part) -> f64| {
        let counts = || parts.iter().filter(|p| p.weight > 1e-4);
        let low = counts().map(|p| centre(p) - 5.0 * spread(p)).fold(f64::INFINITY, f64::min);
        let high = counts().map(|p| centre(p) + 5.0 * spread(p)).fold(f64::NEG_INFINITY, f64::max);
        (low, high)
    };
    let possible = |low: f64, high: f64| match side {
        Side::Lag => (libm::fmax(low, 0.0), libm::fmax(high, 1e-9)),
        Side::Lead => (libm::fmin(low, -1e-9), libm::fmin(high, 0.0)),
    };
    let (low, high) = range(&|p| p.centre, &|p| p.spread);
    let (low, high) = possible(low, high);
    let of_dead_band = Profile::new(low, high, |x| {
        let of = |p: &Part| {
            let off = (x - p.centre) / p.spread;
            // Farther out it adds nothing that a double holds beside the peak.
            if libm::fabs(off) < 9.0 { p.weight * normal_density(off) / p.spread } else { 0.0 }
        };
        libm::log(parts.iter().map(of).sum::<f64>() + LEAST)
    });
    let (low, high) = range(&|p| p.centre + p.wind_up, &|p| p.own_spread);
    // Where the dead band cannot be negative, neither can both together.
    let low = if side == Side::Lag { libm::fmax(low, 0.0) } else { low };
    // Both together: the highest over all wind-ups, since their sum would favour what many pairs make up.
    let of_lost_motion = Profile::new(low, libm::fmax(high, low + 1e-9), |x| {
        let of = |p: &Part| {
            let dead_band = x - p.wind_up;
            let may_be = dead_band * side.sign() >= -0.5 * p.own_spread;
            let off = (dead_band - p.centre) / p.own_spread;
            if may_be { p.log - 0.5 * off * off } else { f64::NEG_INFINITY }
        };
        parts.iter().map(of).fold(LOG_LEAST, f64::max)
    });
    let (low, high) = range(&|p| p.wind_up, &|_| 0.0);
    let of_wind_up = Profile::new(low, libm::fmax(high, low + 1e-9), |x| {
        // Between two points of the grid the logarithm runs straight.
        let place = if cell > 0.0 { (x - low_of(&parts)) / cell } else { 0.0 };
        let n = libm::floor(place.max(0.0));
        let log = |n: usize| parts.get(n).map(|p| log_possible(p, side));
        let below = log(n as usize);
        let above = log((n as usize).saturating_add(1)).or(below);
        match (below, above) {
            (Some(below), Some(above)) => below + (above - below) * (place - n).clamp(0.0, 1.0),
            _ => LOG_LEAST,
        }
    });
    // Both together are known best, and the wind-up by the bend; the dead band is what it leaves of them.
    let lost = of_lost_motion.mode;
    let wound = if side == Side::Lag { libm::fmin(of_wind_up.mode, lost) } else { of_wind_up.mode };
    let likeliest = grid.iter().max_by(|a, b| a.log.total_cmp(&b.log)).copied()?;
    Some(Posterior {
        dead_band: of_dead_band.about(lost - wound, dof),
        wind_up: of_wind_up.about(wound, dof),
        lost_motion: of_lost_motion.about(lost, dof),
        curve: Curve { dead_band_mm: likeliest.dead_band, wind_up_mm: likeliest.wind_up },
        misfit: likeliest.misfit,
        s_mm: s,
        dof,
        evidence: search.evidence(&grid, sd(&likeliest)),
        smooth_log_likelihood: smooth_log_likelihood(sitting, likeliest.misfit, used),
    })
}

/// The log likelihood of a misfit over `used` readings, no finer than the dial.
pub(super) fn smooth_log_likelihood(sitting: &Sitting<'_>, misfit: f64, used: f64) -> f64 {
    -0.5 * used * libm::log(misfit / used + sitting.least_variance)
}

/// The width of one cell of an even grid.
fn cell(grid: &[Point]) -> f64 {
    match (grid.first(), grid.last()) {
        (Some(first), Some(last)) if grid.len() > 1 => {
            (last.wind_up - first.wind_up) / (grid.len() as f64 - 1.0)
        }
        _ => 0.0,
    }
}

/// One wind-up as a part of a mixture.
#[derive(Clone, Copy)]
struct Part {
    weight: f64,
    /// The logarithm of the weight.
    log: f64,
    /// The dead band's centre, and its spread with that of the cell.
    centre: f64,
    spread: f64,
    own_spread: f64,
    wind_up: f64,
}

fn low_of(parts: &[Part]) -> f64 {
    parts.first().map_or(0.0, |p| p.wind_up)
}

/// The logarithm of a wind-up's likelihood with the likeliest dead band that can be.
fn log_possible(part: &Part, side: Side) -> f64 {
    let beyond = libm::fmin(side.sign() * part.centre / part.own_spread, 0.0);
    part.log - 0.5 * beyond * beyond
}

/// Places at which a likelihood is looked at.
const SCAN: u32 = 160;
/// The logarithm of the likelihood falls by this to the ends of a 95 % interval: half the square of 1.96.
const FALL: f64 = 1.920_729;

/// A likelihood beside which none counts, and its logarithm.
const LEAST: f64 = 1e-300;
const LOG_LEAST: f64 = -690.775_527_898_213_7;

/// The likelihood of a quantity between two bounds, as a logarithm that may lack a constant.
struct Profile<L: Fn(f64) -> f64> {
    log: L,
    low: f64,
    high: f64,
    /// The likeliest value, and the logarithm of its likelihood.
    mode: f64,
    top: f64,
}

impl<L: Fn(f64) -> f64> Profile<L> {
    fn new(low: f64, high: f64, log: L) -> Self {
        let mut all = Self { log, low, high, mode: low, top: f64::NEG_INFINITY };
        let step = all.step();
        for n in 0..=SCAN {
            let here = (all.log)(all.at(n));
            if here > all.top {
                (all.top, all.mode) = (here, all.at(n));
            }
        }
        // The peak between the places looked at, as that of a parabola.
        let (left, right) = ((all.log)(all.mode - step), (all.log)(all.mode + step));
        let bend = left - 2.0 * all.top + right;
        if all.mode > low + 0.5 * step && all.mode < high - 0.5 * step && bend < 0.0 {
            let shift = 0.5 * (left - right) / bend;
            all.mode += step * shift.clamp(-0.5, 0.5);
            all.top = libm::fmax(all.top, (all.log)(all.mode));
        }
        all
    }

    fn step(&self) -> f64 {
        (self.high - self.low) / f64::from(SCAN)
    }

    fn at(&self, n: u32) -> f64 {
        self.low + self.step() * f64::from(n)
    }

    /// A value, and the farther of its distances from the places at which the likelihood has fallen to that of the ends
    /// of a 95 % interval (profile likelihood; W. Q. Meeker and L. A. Escobar, "Teaching about approximate confidence
    /// regions based on maximum likelihood estimation", The American Statistician 49, 1995).
    fn about(&self, value: f64, dof: f64) -> Estimate {
        let step = self.step();
        let mut far: f64 = 0.0;
        let mut before: Option<f64> = None;
        for n in 0..=SCAN {
            let (x, fall) = (self.at(n), self.top - (self.log)(self.at(n)));
            if let Some(earlier) = before
                && (earlier > FALL) != (fall > FALL)
            {
                let crossing = x - step * (fall - FALL) / (fall - earlier);
                far = libm::fmax(far, libm::fabs(crossing - value));
            }
            let at_end = (n == 0 && self.low > 0.0) || n == SCAN;
            if at_end && fall <= FALL {
                far = libm::fmax(far, libm::fabs(x - value));
            }
            before = Some(fall);
        }
        Estimate { value, standard_uncertainty: far / coverage_factor(0.95, f64::INFINITY), dof }
    }
}

/// Where the next wind-up of an even grid will have its best dead band: both together change little, and evenly.
struct Ahead {
    lost: f64,
    last: Option<f64>,
}

impl Ahead {
    const fn new(lost: f64) -> Self {
        Self { lost, last: None }
    }

    fn follow(&mut self, point: Point) -> Point {
        let lost = point.dead_band + point.wind_up;
        self.lost = lost + self.last.map_or(0.0, |last| lost - last);
        self.last = Some(lost);
        point
    }
}

impl Search<'_, '_> {
    fn point(&self, wind_up: f64, guess: f64) -> Point {
        let (mut dead_band, mut along) = self.sitting.best_dead_band(self.out, &self.drift, wind_up, guess);
        if dead_band < self.least_dead_band {
            dead_band = self.least_dead_band;
            let curve = Curve { dead_band_mm: dead_band, wind_up_mm: wind_up };
            along = self.sitting.along(self.out, &self.drift, curve);
        }
        let misfit = along.misfit + self.sitting.least_variance;
        let curvature = libm::fmax(along.curvature, 1e-9);
        let log = -0.5 * self.freedom / self.flat * libm::log(misfit) - 0.5 * libm::log(curvature);
        Point { wind_up, dead_band, misfit, unit_sd: 1.0 / libm::sqrt(curvature), log, weight: 0.0 }
    }

    /// An even grid over the wind-ups that count.
    fn grid(&self, guess: Curve) -> Vec<Point, POINTS> {
        let start = guess.dead_band_mm + guess.wind_up_mm;
        let (mut low, mut high) = (0.0, 0.7 * self.sitting.rise);
        for _ in 0..12 {
            let width = (high - low) / f64::from(COARSE);
            let (mut top, mut first, mut last, mut inside) = (f64::NEG_INFINITY, low, high, 0_u32);
            let mut logs: Vec<(f64, f64), 16> = Vec::new();
            let mut ahead = Ahead::new(start);
            for n in 0..=COARSE {
                let wind_up = low + width * f64::from(n);
                let point = ahead.follow(self.point(wind_up, ahead.lost - wind_up));
                top = libm::fmax(top, point.log);
                let _ = logs.push((wind_up, point.log));
            }
            let mut any = false;
            for &(wind_up, log) in &logs {
                if log > top - DEEP {
                    if !any {
                        first = wind_up;
                        any = true;
                    }
                    last = wind_up;
                    inside = inside.saturating_add(1);
                }
            }
            low = libm::fmax(first - width, 0.0);
            high = last + width;
            if inside >= 6 || width < 1e-6 {
                break;
            }
        }
        let width = (high - low) / (POINTS as f64 - 1.0);
        let mut grid: Vec<Point, POINTS> = Vec::new();
        let mut top = f64::NEG_INFINITY;
        let mut ahead = Ahead::new(start);
        for n in 0..POINTS {
            let wind_up = low + width * n as f64;
            let point = ahead.follow(self.point(wind_up, ahead.lost - wind_up));
            top = libm::fmax(top, point.log);
            let _ = grid.push(point);
        }
        for point in &mut grid {
            point.weight = libm::exp(point.log - top);
        }
        grid
    }

    /// The log likelihood of each explanation, sizes integrated out over what is usual.
    fn evidence(&self, grid: &[Point], sd: f64) -> Evidence {
        let used = self.freedom + self.sitting.linear_terms();
        let likelihood = |misfit: f64| {
            -0.5 * self.freedom / self.flat * libm::log(misfit / used + self.sitting.least_variance)
        };
        let usual = |size: f64| -libm::log(libm::fmax(size, SIZES_MM.0) * libm::log(SIZES_MM.1 / SIZES_MM.0));
        let width = |spread: f64| libm::log(libm::fmax(2.507 * spread, 1e-6));
        let misfit = |dead_band_mm: f64, wind_up_mm: f64| {
            self.sitting.along(self.out, &self.drift, Curve { dead_band_mm, wind_up_mm }).misfit
        };
        let none = likelihood(misfit(0.0, 0.0));
        let gap = self.point(0.0, grid.first().map_or(0.0, |p| p.dead_band + p.wind_up));
        let floor = rectangular(0.5 * self.sitting.resolution) * 0.3;
        let sd = libm::fmax(sd, floor);
        let gap_log = likelihood(gap.misfit) + width(sd);
        let clearance = if gap.dead_band > 0.0 { gap_log + usual(gap.dead_band) } else { f64::NEG_INFINITY };
        let over_corrected =
            if gap.dead_band < 0.0 { gap_log + usual(-gap.dead_band) } else { f64::NEG_INFINITY };
        // Wind-up alone: the wind-up that fits best with no gap.
        let (mut low, mut high) = (0.0, 0.7 * self.sitting.rise);
        let third = |low: f64, high: f64, n: f64| low + (high - low) * n / 3.0;
        for _ in 0..24 {
            let (a, b) = (third(low, high, 1.0), third(low, high, 2.0));
            if misfit(0.0, a) < misfit(0.0, b) { high = b } else { low = a }
        }
        let wound = 0.5 * (low + high);
        let wind_up = likelihood(misfit(0.0, wound)) + width(sd) + usual(wound);
        // Both: summed over the grid.
        let cell = cell(grid);
        let mut both = f64::NEG_INFINITY;
        for point in grid.iter().filter(|p| p.dead_band > 0.0 && p.wind_up > 0.0) {
            let one = likelihood(point.misfit)
                + width(sd)
                + usual(point.dead_band)
                + usual(point.wind_up)
                + libm::log(libm::fmax(cell, 1e-9));
            let (more, less) = (libm::fmax(both, one), libm::fmin(both, one));
            both = more + libm::log1p(libm::exp(less - more));
        }
        Evidence { none, clearance, wind_up, both, over_corrected, sticking: f64::NEG_INFINITY, smooth: 0.0 }
    }
}

//! Ways that hold and jump.
//!
//! The drive pulls along the take-up curve, but the table stays where it is until the pull has grown
//! enough, and then jumps. Each reading is either held, at the place of the last jump, or free, on the
//! curve; which it is, is decided reading by reading and counts as one choice of two in the likelihood. The curve is
//! fitted to both, classes and curve in turn.

use super::curve::{Curve, Moved};
use super::fit::{Holding, Row, Sitting};
use super::posterior::{self, Posterior, smooth_log_likelihood};
use crate::measure::misreads::is_out;
use crate::measure::regression::LeastSquares;
use crate::measure::reversal::SetAside;
use crate::measure::root::held;

/// How the table holds and jumps.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Sticking {
    /// Steps at which the table stayed although the drive pulled.
    pub held: u32,
    /// Steps at which the drive pulled, so that the table could stay or follow.
    pub of: u32,
    /// The mean jump in mm.
    pub jump_mm: f64,
}

/// The fit of such ways.
pub(super) struct Stuck {
    pub sticking: Sticking,
    pub fit: Posterior,
    pub log_likelihood: f64,
}

/// Where the search stands.
#[derive(Clone, Copy)]
struct State {
    curve: Curve,
    holding: Holding,
}

#[derive(Clone, Copy, Default)]
struct Count {
    misfit: f64,
    held: u32,
    of: u32,
    jumps: u32,
    jumped: f64,
    /// How unlikely it is that just these readings are held, as a logarithm.
    choices: f64,
}

/// Lags that are tried, in quarters of a step.
const LAGS: u32 = 12;
const ROUNDS: usize = 4;
/// How often the pull at which the table jumps is learnt from the jumps found.
const LEARNT: usize = 2;
/// The odds of a reading to be held are e times as high for each part of a step by which the pull is short of that at
/// which the table jumps: it does not jump at the same pull each time.
const SURE: f64 = 4.0;

/// The fit of ways that stick, if any readings look held; leaves in the sitting how they are told.
pub(super) fn of(sitting: &mut Sitting<'_>, out: &[SetAside], smooth: Curve) -> Option<Stuck> {
    let line = sitting.linear(smooth, out)?;
    // Held, the table lags by half a jump on average on either way: what looks like lost motion is less by
    // two lags, and zero is off by one.
    let mut best: Option<(f64, State)> = None;
    for n in 0..LAGS {
        let lag = 0.25 * f64::from(n) * sitting.step;
        let lost = smooth.dead_band_mm - 2.0 * lag;
        let (zero, drift) = (line.coefficient(0) - lag, line.coefficient(1));
        let holding = Holding { zero, drift, pull: 0.0, sure: 0.0, variance: 0.0 };
        for curve in [
            Curve { dead_band_mm: lost, wind_up_mm: smooth.wind_up_mm },
            Curve { dead_band_mm: lost + smooth.wind_up_mm, wind_up_mm: 0.0 },
        ] {
            let mut state = settled(sitting, out, State { curve, holding });
            for _ in 0..LEARNT {
                let holding = learn(sitting, out, state);
                state = settled(sitting, out, State { holding, ..state });
            }
            let misfit = count(sitting, out, state).misfit;
            if best.is_none_or(|(least, _)| misfit < least) {
                best = Some((misfit, state));
            }
        }
    }
    let (_, state) = best?;
    let count = count(sitting, out, state);
    // Two or three readings held are chance, or a slow hand on the dial.
    if count.held < 4 || count.jumps < 2 {
        return None;
    }
    let jump_mm = count.jumped / f64::from(count.jumps);
    if jump_mm < 2.0 * sitting.resolution || jump_mm < 1.3 * sitting.step {
        return None;
    }
    let used = sitting.count().saturating_sub(out.len()) as f64;
    sitting.holding = Some(state.holding);
    let fit = posterior::of(sitting, out, state.curve);
    sitting.holding = None;
    let fit = fit?;
    let misfit = libm::fmin(count.misfit, fit.misfit);
    Some(Stuck {
        sticking: Sticking { held: count.held, of: count.of, jump_mm },
        log_likelihood: smooth_log_likelihood(sitting, misfit, used) - count.choices,
        fit,
    })
}

/// Classes and curve in turn, until a fit fails or the rounds are over.
fn settled(sitting: &Sitting<'_>, out: &[SetAside], mut state: State) -> State {
    for _ in 0..ROUNDS {
        let Some(next) = refit(sitting, out, state) else { break };
        state = next;
    }
    state
}

/// What the jumps found tell of the next: on average the pull has grown by half a step beyond what it takes.
fn learn(sitting: &Sitting<'_>, out: &[SetAside], state: State) -> Holding {
    let count = count(sitting, out, state);
    if count.jumps < 2 {
        return state.holding;
    }
    let used = sitting.count().saturating_sub(out.len()) as f64;
    let pull = count.jumped / f64::from(count.jumps) - 0.5 * sitting.step;
    Holding { pull, sure: SURE / sitting.step, variance: count.misfit / used, ..state.holding }
}

/// How many readings are held, and how far the table jumps in between.
fn count(sitting: &Sitting<'_>, out: &[SetAside], state: State) -> Count {
    let mut count = Count::default();
    walk(sitting, out, state, |row, pulled, before, table| {
        let away = libm::fabs(pulled.table - before.table);
        if away > 0.3 * sitting.step {
            count.of = count.of.saturating_add(1);
            let short = state.holding.sure * (state.holding.pull - away);
            count.choices += libm::log1p(libm::exp(if table == before { -short } else { short }));
            if table == before {
                count.held = count.held.saturating_add(1);
            } else if away > 1.3 * sitting.step {
                count.jumps = count.jumps.saturating_add(1);
                count.jumped += away;
            }
        }
        let off = row.table - state.holding.zero - state.holding.drift * row.time - table.table;
        count.misfit += off * off;
    });
    count
}

/// Walks through the readings used; hands on the row, where the drive pulls, and the table before and after.
fn walk(
    sitting: &Sitting<'_>,
    out: &[SetAside],
    state: State,
    mut take: impl FnMut(&Row, Moved, Moved, Moved),
) {
    let mut path = sitting.path(state.curve);
    let mut table = Moved::default();
    for row in sitting.rows() {
        let pulled = path.follow(row.command);
        if is_out(out, row.index) {
            continue;
        }
        let before = table;
        if !sitting.holds(&row, state.holding, pulled, table) {
            table = pulled;
        }
        take(&row, pulled, before, table);
    }
}

/// Curve, zero and drift from the readings as they are held or free now.
fn refit(sitting: &Sitting<'_>, out: &[SetAside], state: State) -> Option<State> {
    let mut squares = LeastSquares::<4>::new();
    // Held so weakly that nothing but a missing column feels it.
    squares.add([0.0, 0.0, 1e-2 / sitting.rise, 0.0], 0.0);
    squares.add([0.0, 0.0, 0.0, 1e-2 / sitting.rise], 0.0);
    walk(sitting, out, state, |row, _, _, table| {
        squares.add([1.0, row.time, table.by_dead_band, table.by_wind_up], row.table - table.table);
    });
    let fit = squares.solve().ok()?;
    let most = sitting.rise;
    let dead_band_mm = held(state.curve.dead_band_mm + fit.coefficient(2), -most, most);
    let wind_up_mm = held(state.curve.wind_up_mm + fit.coefficient(3), 0.0, most);
    let holding = Holding { zero: fit.coefficient(0), drift: fit.coefficient(1), ..state.holding };
    Some(State { curve: Curve { dead_band_mm, wind_up_mm }, holding })
}

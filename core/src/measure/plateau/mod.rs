//! Plateaus: a stream of indicator samples cut into readings, sample by sample, in fixed memory.
//!
//! - [`Cutter`]: samples in; a [`Plateau`] out each time the dial has stood still and moved on.
//! - [`Layout`]: plateaus in; rows of a plan out, with a missed or an extra stop tolerated.
//!
//! A dial stands still when four blocks of samples in a row, each a quarter of the still time long, agree: their means lie
//! within a quarter of the smallest step, and the last two no farther apart than their noise or a thirty-second of it
//! explains, so that settling is over. The noise is that of differences from sample to sample (J. von
//! Neumann and others, "The mean square successive difference", Annals of Mathematical Statistics 12, 1941), which
//! neither drift nor settling enlarges. The reading is the mean of all samples from the last two of these blocks on. It ends when
//! samples stay away from that mean by half a step for a quarter of a block; a single one that is far off is passed over.
//!
//! Not for a dial that does not move between two stops, as inside a dead band: there is nothing to cut at, and the
//! box that moves the axis must say when it has moved.

mod layout;

pub use layout::{Laid, Layout, Zero};

use crate::axis::Direction;
use core::fmt;

/// What counts as standing still.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Settings {
    /// The dial must stand still for so many seconds; ten samples or more should fall into it.
    pub still_s: f64,
    /// The smallest motion of the dial between two stops, in millimetres; several times the noise of a sample.
    pub step_mm: f64,
}

/// Settings that cannot be.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct BadSettings {
    /// What was found.
    pub found: Settings,
}

impl fmt::Display for BadSettings {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Settings { still_s, step_mm } = self.found;
        write!(f, "still for {still_s} s and a step of {step_mm} mm were asked for, both must be above 0")
    }
}

impl core::error::Error for BadSettings {}

/// A sample that cannot be used; those before and after it can.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum BadSample {
    /// Value or time is not a finite number.
    NotFinite,
    /// Its time is before that of the sample before it.
    TimeRunsBack,
}

impl fmt::Display for BadSample {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            BadSample::NotFinite => "a sample is not a finite number",
            BadSample::TimeRunsBack => "a sample is older than the one before it",
        })
    }
}

impl core::error::Error for BadSample {}

/// A time during which the dial stood still. Lengths are millimetres on the dial.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Plateau {
    /// The mean of its samples.
    pub value_mm: f64,
    /// Their standard deviation.
    pub s_mm: f64,
    /// How many they were.
    pub samples: u32,
    /// The time of the first of them, in seconds.
    pub start_s: f64,
    /// The time of the last.
    pub end_s: f64,
    /// The lowest that the dial went on the way from the plateau before.
    pub low_mm: f64,
    /// The highest.
    pub high_mm: f64,
    /// `+` if the dial came to it rising, `-` if falling; `None` if it hardly moved.
    pub came: Option<Direction>,
}

/// Samples condensed to what a mean and a spread need.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Block {
    count: u32,
    mean: f64,
    squares: f64,
    /// Sum of squared differences from one sample to the next.
    differences: f64,
    last: f64,
    start_s: f64,
    end_s: f64,
}

impl Block {
    const EMPTY: Block =
        Block { count: 0, mean: 0.0, squares: 0.0, differences: 0.0, last: 0.0, start_s: 0.0, end_s: 0.0 };

    /// B. P. Welford's update (Technometrics 4, 1962).
    fn take(&mut self, time_s: f64, value: f64) {
        if self.count == 0 {
            *self = Block { start_s: time_s, last: value, ..Block::EMPTY };
        }
        self.count = self.count.saturating_add(1);
        let off = value - self.mean;
        self.mean += off / f64::from(self.count);
        self.squares += off * (value - self.mean);
        self.differences += (value - self.last) * (value - self.last);
        self.last = value;
        self.end_s = time_s;
    }

    fn joined(&self, later: &Block) -> Block {
        let (a, b) = (f64::from(self.count), f64::from(later.count));
        let off = later.mean - self.mean;
        Block {
            count: self.count.saturating_add(later.count),
            mean: self.mean + off * b / (a + b),
            squares: self.squares + later.squares + off * off * a * b / (a + b),
            differences: self.differences + later.differences,
            last: later.last,
            start_s: self.start_s,
            end_s: later.end_s,
        }
    }
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum State {
    /// Moving, or not yet still for long enough: the last blocks, oldest first, and the one being filled.
    Moving { blocks: [Block; 4], filling: Block },
    /// Still: all samples so far, and those since the first of a row that are away.
    Still { all: Block, away: Block, gone: Way },
}

impl State {
    const START: State = State::Moving { blocks: [Block::EMPTY; 4], filling: Block::EMPTY };
}

/// Cuts a stream of samples into plateaus.
///
/// ```
/// use takeup_core::measure::plateau::{Cutter, Settings};
/// let mut cutter = Cutter::new(Settings { still_s: 1.0, step_mm: 0.5 }).unwrap();
/// let mut readings = Vec::new();
/// for i in 0..200 {
///     let time_s = f64::from(i) * 0.05; // 20 samples a second
///     let value_mm = if time_s < 4.0 { 0.1 } else { 1.1 };
///     readings.extend(cutter.take(time_s, value_mm).unwrap());
/// }
/// readings.extend(cutter.finish());
/// assert_eq!(readings.len(), 2);
/// assert!((readings[1].value_mm - 1.1).abs() < 1e-12);
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct Cutter {
    settings: Settings,
    state: State,
    before_s: f64,
    way: Way,
}

/// How far the dial went since the last plateau, and when.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Way {
    low: f64,
    low_s: f64,
    high: f64,
    high_s: f64,
}

impl Way {
    const NONE: Way = Way { low: f64::INFINITY, low_s: 0.0, high: f64::NEG_INFINITY, high_s: 0.0 };

    fn take(&mut self, time_s: f64, value: f64) {
        if value < self.low {
            (self.low, self.low_s) = (value, time_s);
        }
        if value > self.high {
            (self.high, self.high_s) = (value, time_s);
        }
    }

    /// The direction in which the dial came to a value: away from the turn that it made last.
    fn came(&self, value: f64, step_mm: f64) -> Option<Direction> {
        let (from_low, from_high) = (value - self.low > 0.5 * step_mm, self.high - value > 0.5 * step_mm);
        match (from_low, from_high) {
            (false, false) => None,
            (true, false) => Some(Direction::Plus),
            (false, true) => Some(Direction::Minus),
            (true, true) if self.low_s > self.high_s => Some(Direction::Plus),
            (true, true) => Some(Direction::Minus),
        }
    }
}

impl Cutter {
    /// A cutter that has seen nothing yet.
    pub fn new(settings: Settings) -> Result<Self, BadSettings> {
        let above_zero = |value: f64| value.is_finite() && value > 0.0;
        if !(above_zero(settings.still_s) && above_zero(settings.step_mm)) {
            return Err(BadSettings { found: settings });
        }
        Ok(Self { settings, state: State::START, before_s: f64::NEG_INFINITY, way: Way::NONE })
    }

    /// Takes a sample, and gives the plateau that it shows to be over. Times are seconds since any fixed moment.
    pub fn take(&mut self, time_s: f64, value_mm: f64) -> Result<Option<Plateau>, BadSample> {
        if !(time_s.is_finite() && value_mm.is_finite()) {
            return Err(BadSample::NotFinite);
        }
        if time_s < self.before_s {
            return Err(BadSample::TimeRunsBack);
        }
        self.before_s = time_s;
        let block_s = 0.25 * self.settings.still_s;
        match &mut self.state {
            State::Moving { blocks, filling } => {
                self.way.take(time_s, value_mm);
                filling.take(time_s, value_mm);
                if filling.count >= 2 && time_s - filling.start_s >= block_s {
                    blocks.rotate_left(1);
                    if let Some(last) = blocks.last_mut() {
                        *last = *filling;
                    }
                    *filling = Block::EMPTY;
                    if let Some(all) = settled(blocks, self.settings.step_mm) {
                        self.state = State::Still { all, away: Block::EMPTY, gone: Way::NONE };
                    }
                }
                Ok(None)
            }
            State::Still { all, away, gone } => {
                if libm::fabs(value_mm - all.mean) <= 0.5 * self.settings.step_mm {
                    // What was away was a spike.
                    *away = Block::EMPTY;
                    *gone = Way::NONE;
                    all.take(time_s, value_mm);
                    return Ok(None);
                }
                away.take(time_s, value_mm);
                gone.take(time_s, value_mm);
                if away.count < 2 || time_s - away.start_s < 0.25 * block_s {
                    return Ok(None);
                }
                let plateau = plateau(all, &self.way, self.settings.step_mm);
                self.way = *gone;
                // What was away was moving, most likely: it begins no new plateau.
                self.state = State::START;
                Ok(Some(plateau))
            }
        }
    }

    /// The plateau on which the stream ended, if the dial stood still.
    pub fn finish(&mut self) -> Option<Plateau> {
        let state = core::mem::replace(&mut self.state, State::START);
        let way = core::mem::replace(&mut self.way, Way::NONE);
        match state {
            State::Moving { .. } => None,
            State::Still { all, .. } => Some(plateau(&all, &way, self.settings.step_mm)),
        }
    }

    /// The mean of the samples so far, while the dial stands still.
    #[must_use]
    pub fn still_mm(&self) -> Option<f64> {
        match &self.state {
            State::Moving { .. } => None,
            State::Still { all, .. } => Some(all.mean),
        }
    }
}

fn plateau(all: &Block, way: &Way, step_mm: f64) -> Plateau {
    let s_mm = libm::sqrt(all.squares / libm::fmax(f64::from(all.count) - 1.0, 1.0));
    let (samples, start_s, end_s) = (all.count, all.start_s, all.end_s);
    let came = way.came(all.mean, step_mm);
    Plateau { value_mm: all.mean, s_mm, samples, start_s, end_s, low_mm: way.low, high_mm: way.high, came }
}

/// The last two of four blocks as one, if all four are there and agree.
fn settled(blocks: &[Block; 4], step_mm: f64) -> Option<Block> {
    let [first, second, third, last] = blocks;
    if first.count == 0 {
        return None;
    }
    let means = [first, second, third, last].map(|block| block.mean);
    let low = means.into_iter().fold(f64::INFINITY, f64::min);
    let high = means.into_iter().fold(f64::NEG_INFINITY, f64::max);
    let pairs = f64::from(third.count) + f64::from(last.count) - 2.0;
    let variance = 0.5 * (third.differences + last.differences) / libm::fmax(pairs, 1.0);
    let noise = libm::sqrt(variance * (1.0 / f64::from(third.count) + 1.0 / f64::from(last.count)));
    let allowed = libm::fmax(3.0 * noise, step_mm / 32.0);
    let still = high - low <= 0.25 * step_mm && libm::fabs(last.mean - third.mean) <= allowed;
    still.then(|| third.joined(last))
}

#[cfg(test)]
mod tests;

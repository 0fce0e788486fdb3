//! Where the tool may leave the path sideways: by a person's word, or by what the original shows of the work.
//!
//! Work is wherever the original feeds. Where it feeds down, the work reaches no higher than the place that it
//! begins from, but it may reach that high, also beside the path; where it feeds sideways, work is there. So
//! nothing is clear below the one or at the other, by all that was fed so far and is next. From a height that
//! is not told, nothing is.

use super::feed::Action;
use super::geometry::Shape;
use super::interpret::Rate;

/// The heights of the work (mm), in the coordinates in force.
#[derive(Clone, Copy, Debug)]
pub struct Clear {
    word: Option<f64>,
    /// The highest place from which it fed down, minus infinity before any.
    above: f64,
    /// The highest place at which it fed sideways.
    work: f64,
    /// The tool fed down from a height that is not told.
    hidden: bool,
    frame: f64,
    /// The program has told a height: a new name for it is then one for the clear height, too.
    placed: bool,
}

impl Clear {
    /// Nothing fed yet; with the height that a person has said to be clear.
    #[must_use]
    pub const fn new(word_mm: Option<f64>) -> Self {
        Self {
            word: word_mm,
            above: f64::NEG_INFINITY,
            work: f64::NEG_INFINITY,
            hidden: false,
            frame: 0.0,
            placed: false,
        }
    }

    /// Follows an action of the original.
    pub fn follow(&mut self, action: &Action) {
        let by = if self.placed { action.frame.z - self.frame } else { 0.0 };
        self.frame = action.frame.z;
        self.placed |= action.told.axes.z;
        self.word = self.word.map(|word| word + by);
        self.work += by;
        self.above += by;
        let motion = &action.motion;
        if motion.rate == Rate::Rapid {
            return;
        }
        if motion.from_unknown.z {
            self.hidden = true;
            return;
        }
        let (start, end) = (&motion.curve.start, &motion.curve.end);
        let unknown = motion.from_unknown.x || motion.from_unknown.y;
        let straight_up_or_down = start.x == end.x && start.y == end.y && motion.curve.shape == Shape::Line;
        if unknown || !straight_up_or_down {
            // An arc may reach above its ends.
            let parts = (0..=16).map(|k| motion.curve.at(f64::from(k) / 16.0).z);
            self.work = parts.fold(self.work, f64::max);
        } else if end.z < start.z {
            self.above = self.above.max(start.z);
        }
    }

    /// How far the heights of an action are named from those of the last that was followed.
    #[must_use]
    pub fn renamed_since(&self, action: &Action) -> f64 {
        self.frame - action.frame.z
    }

    /// Whether a tool at a height is clear of the work; it may lag below its command by some of an amount.
    #[must_use]
    pub fn at(&self, height: f64, lag: f64) -> bool {
        self.word.is_some_and(|word| height + lag >= word)
            || (!self.hidden && height + lag >= self.above && height > self.work)
    }
}

//! Two programs on a slack machine: how far the tool is from the path that the original intends.
//!
//! The original's commanded path is the path intended. The tool's path is what a [`Machine`] makes of
//! a program: of the original (*before*) and of the rewritten one (*after*). Nothing is shared with
//! the rewriter but the reader of words, and its marks are not looked at.
//!
//! # What is measured
//! - Cutting is every motion at a feed rate of the original (also the feed strokes of cycles); rapids
//!   are not judged. Motions of the rewritten program are paired with the original's by [`align`].
//! - The deviation is taken both ways and locally, see [`track`]: of places of the tool from the cut
//!   intended, and of places intended from what the tool does there. The mean and the percentile
//!   weigh both by their lengths. A lag along a line therefore counts at the end that the tool does not
//!   reach, not along the line that it traces well.
//! - Take-up moves, at which the tool stands still, weigh nothing. An inserted motion that moves the
//!   tool counts as an excursion, and not as deviation, only when it is clear: straight up from the
//!   place reached and down to it, or sideways no lower than the rapids before the cut. Any other
//!   inserted motion that leaves the path counts with its distance from it.
//! - The upper end of a straight plunge behind a rapid, and of a straight way out before one, may be missed
//!   by the clearance of Z and no more: nothing is left to cut there.
//! - What the original cuts and the rewritten program goes along in rapid is no deviation, but the answer
//!   is not good ([`Report::hurried_mm`]).
//! - Where the original has not told where an axis is, the rewritten program must not send it to a place by its
//!   coordinate either, whatever the original counts on ([`Report::untold`]); pairs may be off by a few motions, which is allowed for.
//! - While a seat is not known (at the start, after a reference return, a tool change, another
//!   offset, a block that may have been skipped) the place of the tool is not known either: such cuts are
//!   not judged, their length is `unseated`. A cut from a place that the program never told is unseated
//!   as a whole, for which way its axes moved is not known. Where nothing else was cut the answer is
//!   never [`Answer::Good`].
//!
//! # Cost
//! Memory is constant, about 120 KB: windows of both programs, and histograms. Each motion of the
//! rewritten program is compared with a window of the original's.
//!
//! ```
//! use takeup_core::axis::{Direction, PerAxis};
//! use takeup_core::program::replay::{Answer, AxisSlack, Replay, Settings, Source, Want};
//! use takeup_core::slack::Play;
//!
//! let z = AxisSlack::of_play(&Play::new(0.1, Direction::Minus).unwrap());
//! let slack = PerAxis { x: AxisSlack::NONE, y: AxisSlack::NONE, z };
//! let mut replay = Replay::new(Settings::new(slack));
//! let program = ["G0 Z5", "G1 Z-1 F100", "X10 Z0", "G0 Z5"];
//! let (mut original, mut rewritten) = (program.iter(), program.iter());
//! loop {
//!     let (source, line) = match replay.advance(&mut |_| {}).unwrap() {
//!         Want::Done => break,
//!         Want::Line(Source::Original) => (Source::Original, original.next()),
//!         Want::Line(Source::Rewritten) => (Source::Rewritten, rewritten.next()),
//!     };
//!     match line {
//!         Some(line) => replay.read(source, line.as_bytes()).unwrap(),
//!         None => replay.end(source),
//!     }
//! }
//! let report = replay.report(0.005);
//! assert_eq!(report.answer, Answer::BeyondTolerance);
//! // On its way up the tool is too low by the clearance, measured square to the slope.
//! assert!(report.after.max_mm > 0.099 && report.after.max_mm < 0.1001);
//! ```

pub mod align;
pub mod block;
mod clear;
pub mod cycle;
pub mod figures;
pub mod geometry;
pub mod interpret;
pub mod machine;
pub mod refusal;
pub mod track;

mod engine;
mod feed;

pub use engine::{Answer, Failure, Replay, Report, Sample, Settings, Source, Untold, Want};
pub use figures::{Figures, Worst};
pub use interpret::{Event, Interpreter, Motion, Rate, Reading};
pub use machine::{AxisSlack, Machine, Piece, SeatStation, Slack};
pub use refusal::{Reason, Refusal};

#[cfg(test)]
mod tests;

//! The short way for most lines of a program that cuts surfaces: those that only go on with a straight cut.
//!
//! Such a line has axis words and nothing else that matters, no axis turns round in it, and nothing is in
//! doubt before it. It comes out as by the long way, which takes all other lines; a test sends both ways.

use super::Rewriter;
use super::emit::{Patches, Text, dimension};
use super::track::{Place, direction};
use crate::axis::{Axis, PerAxis};
use crate::length::Length;
use crate::program::modal::{Distance, Feed, Motion};
use crate::program::words::{Token, Word, Words};

/// What stands in such a line.
struct Stride {
    axes: PerAxis<Option<Word>>,
    feed: bool,
}

impl Stride {
    /// The words of a line; `None` if there are others, or none that moves.
    fn read(line: &[u8]) -> Option<Self> {
        let mut stride = Self { axes: PerAxis { x: None, y: None, z: None }, feed: false };
        for token in Words::new(line) {
            let Ok(Token::Word(word)) = token else { return None };
            let slot = match word.letter {
                b'X' => &mut stride.axes.x,
                b'Y' => &mut stride.axes.y,
                b'Z' => &mut stride.axes.z,
                b'F' if !stride.feed => {
                    stride.feed = true;
                    continue;
                }
                b'N' => continue,
                _ => return None,
            };
            if slot.replace(word).is_some() {
                return None;
            }
        }
        let moves = stride.axes.x.is_some() || stride.axes.y.is_some() || stride.axes.z.is_some();
        moves.then_some(stride)
    }
}

impl Rewriter<'_> {
    /// Whether nothing is in doubt and nothing is to be looked at but the words of a line.
    fn in_stride(&self) -> bool {
        let modal = &self.modal;
        modal.motion == Motion::Line
            && modal.distance == Distance::Absolute
            && modal.feed != Feed::InverseTime
            && self.marked
            && self.after_cut
            && !self.ended
            && self.skipped.is_none()
            && Axis::ALL.into_iter().all(|axis| {
                let track = self.axes.get(axis);
                let told = track.place == Place::Known && !track.unsure;
                let settled = told && track.seat.is_some() && track.is_uniform();
                self.limits.get(axis).is_none() && (settled || !track.corrected())
            })
    }

    /// Takes a line that goes on with a cut; `false` if it is none and nothing was done.
    #[inline(never)]
    pub(super) fn stride(&mut self, line: &[u8], sink: &mut impl FnMut(&[u8])) -> bool {
        if !self.in_stride() {
            return false;
        }
        let Some(stride) = Stride::read(line) else { return false };
        let mut sent = PerAxis::from_fn(|_| (Length::ZERO, Length::ZERO));
        for axis in Axis::ALL {
            let Some(word) = stride.axes.get(axis) else { continue };
            let Ok(target) = self.length(word) else { return false };
            let track = self.axes.get(axis);
            let command = match (direction(track.wanted, target), track.seat) {
                _ if !track.corrected() => target,
                (None, _) => track.sent,
                (Some(towards), Some(seat)) if towards == seat => track.command(target, towards),
                _ => return false,
            };
            *sent.get_mut(axis) = (target, command);
        }
        let mut patches = Patches::new();
        for axis in Axis::ALL {
            let Some(word) = stride.axes.get(axis) else { continue };
            let (target, mut command) = *sent.get(axis);
            if command != target {
                let mut text = Text::new();
                command = dimension(&mut text, axis.letter() as u8, command, Some(&word.number), &self.modal);
                patches.replace(word.span, text);
            }
            let seat = self.axes.get(axis).seat;
            self.axes.get_mut(axis).sent = command;
            self.settle(axis, target, seat);
        }
        self.fed |= stride.feed;
        self.write_line(line, &patches, None, sink);
        true
    }
}

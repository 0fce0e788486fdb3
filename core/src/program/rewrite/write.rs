//! Commands written into lines: the words of a line changed, lines put before and after it.

use super::Rewriter;
use super::block::Block;
use super::emit::{Patches, Text, dimension, put};
use super::refusal::{Reason, Stop};
use crate::axis::{Axis, PerAxis};
use crate::length::{Length, Unit};
use crate::program::modal::{Distance, Feed, Plane};
use crate::program::words::{Span, Word};

/// A hundred kilometres in counts: sums of a few such lengths stay within the range.
const FARTHEST: i64 = 1_000_000_000_000_000;

/// A line without its line end, and the line end.
pub(super) fn split_end(line: &[u8]) -> (&[u8], &[u8]) {
    let mut body = line;
    while let [head @ .., b'\n' | b'\r'] = body {
        body = head;
    }
    line.split_at_checked(body.len()).unwrap_or((line, &[]))
}

impl Rewriter<'_> {
    pub(super) const fn line_end(&self) -> &'static [u8] {
        if self.crlf { b"\r\n" } else { b"\n" }
    }

    pub(super) fn length(&self, word: &Word) -> Result<Length, Stop> {
        let length = word.number.length(self.modal.unit, self.modal.integers);
        length
            .filter(|length| length.saturating_abs().counts() < FARTHEST)
            .ok_or(Stop(Some(word.span), Reason::OutOfRange))
    }

    /// Where a block wants an axis.
    pub(super) fn target(&self, block: &Block, axis: Axis) -> Result<Length, Stop> {
        let track = self.axes.get(axis);
        let Some(word) = block.axes.get(axis) else { return Ok(track.wanted) };
        let value = self.length(word)?;
        self.refuse_unsure(axis, word)?;
        match self.modal.distance {
            Distance::Absolute => Ok(value),
            Distance::Incremental => {
                let sum = track.wanted.saturating_add(value);
                if sum.saturating_abs().counts() < FARTHEST {
                    Ok(sum)
                } else {
                    Err(Stop(Some(word.span), Reason::OutOfRange))
                }
            }
        }
    }

    pub(super) fn targets(&self, block: &Block) -> Result<PerAxis<Length>, Stop> {
        Ok(PerAxis {
            x: self.target(block, Axis::X)?,
            y: self.target(block, Axis::Y)?,
            z: self.target(block, Axis::Z)?,
        })
    }

    /// The number that an axis word needs for a command: the place, or the way to it.
    pub(super) fn number_for(&self, axis: Axis, command: Length) -> Length {
        match self.modal.distance {
            Distance::Absolute => command,
            Distance::Incremental => command.saturating_sub(self.axes.get(axis).sent),
        }
    }

    /// Sends an axis to a command by writing its word; the command becomes what the word says. `place`
    /// is what the program wants there.
    pub(super) fn write_axis<const N: usize>(
        &mut self,
        text: &mut heapless::Vec<u8, N>,
        axis: Axis,
        command: Length,
        place: Length,
        style: Option<&Word>,
    ) -> Result<(), Stop> {
        self.keep_within(axis, command, place)?;
        let wanted = self.number_for(axis, command);
        let style = style.map(|word| &word.number);
        let written = dimension(text, axis.letter() as u8, wanted, style, &self.modal);
        let track = self.axes.get_mut(axis);
        match self.modal.distance {
            Distance::Absolute => (track.sent, track.unsure) = (written, false),
            Distance::Incremental => track.sent = track.sent.saturating_add(written),
        }
        Ok(())
    }

    /// Makes the word of an axis in a line say a command, changing it only if it says something else.
    #[inline(never)]
    pub(super) fn patch_axis<const N: usize>(
        &mut self,
        block: &Block,
        axis: Axis,
        command: Length,
        place: Length,
        patches: &mut Patches<N>,
    ) -> Result<(), Stop> {
        if let Some(word) = block.axes.get(axis) {
            let said = self.length(word)?;
            if said == self.number_for(axis, command) {
                self.keep_within(axis, command, place)?;
                let track = self.axes.get_mut(axis);
                track.sent = command;
                track.unsure &= self.modal.distance == Distance::Incremental;
                return Ok(());
            }
            let mut text = Text::new();
            self.write_axis(&mut text, axis, command, place, Some(word))?;
            patches.replace(word.span, text);
        } else if command != self.axes.get(axis).sent {
            let mut text = Text::new();
            self.write_axis(&mut text, axis, command, place, None)?;
            put(&mut text, b" ");
            patches.insert(block.first_dimension(), &text);
        }
        Ok(())
    }

    /// The head of an inserted line: the modes that its block chooses, and a motion word.
    pub(super) fn begin(&self, block: &Block, motion: &[u8], sink: &mut impl FnMut(&[u8])) {
        if block.skip.is_some() {
            sink(b"/");
            // Another switch would leave the inserted line in when its block is skipped, or out when it is not.
            if let Some(digit) = block.switch {
                sink(&[digit, b' ']);
            }
        }
        let (modal, chosen) = (&self.modal, &block.chosen);
        let words: [(bool, &[u8]); 5] = [
            (
                chosen.unit,
                match modal.unit {
                    Unit::Mm => b"G21 ",
                    Unit::Inch => b"G20 ",
                },
            ),
            (
                chosen.distance,
                match modal.distance {
                    Distance::Absolute => b"G90 ",
                    Distance::Incremental => b"G91 ",
                },
            ),
            (
                chosen.plane,
                match modal.plane {
                    Plane::Xy => b"G17 ",
                    Plane::Zx => b"G18 ",
                    Plane::Yz => b"G19 ",
                },
            ),
            (
                chosen.centre,
                match modal.centre {
                    Distance::Absolute => b"G90.1 ",
                    Distance::Incremental => b"G91.1 ",
                },
            ),
            (
                chosen.feed,
                match modal.feed {
                    Feed::InverseTime => b"G93 ",
                    Feed::PerMinute => b"G94 ",
                    Feed::PerRevolution => b"G95 ",
                },
            ),
        ];
        for (chosen, word) in words {
            if chosen {
                sink(word);
            }
        }
        sink(motion);
    }

    /// Sends an axis to a command by a word of an inserted line, behind a blank.
    pub(super) fn insert_axis(
        &mut self,
        axis: Axis,
        command: Length,
        place: Length,
        style: Option<&Word>,
        sink: &mut impl FnMut(&[u8]),
    ) -> Result<(), Stop> {
        let mut text = Text::new();
        put(&mut text, b" ");
        self.write_axis(&mut text, axis, command, place, style)?;
        sink(&text);
        Ok(())
    }

    /// The end of an inserted line.
    pub(super) fn end_inserted(&mut self, sink: &mut impl FnMut(&[u8])) {
        sink(self.line_end());
        self.counts.lines_out = self.counts.lines_out.saturating_add(1);
    }

    /// Writes the line in hand with its changes.
    pub(super) fn write_line<const N: usize>(
        &mut self,
        line: &[u8],
        patches: &Patches<N>,
        sink: &mut impl FnMut(&[u8]),
    ) {
        self.write_without(line, patches, &[], sink);
    }

    /// The same without some words.
    pub(super) fn write_without<const N: usize>(
        &mut self,
        line: &[u8],
        patches: &Patches<N>,
        without: &[Span],
        sink: &mut impl FnMut(&[u8]),
    ) {
        if !(patches.is_empty() && without.is_empty()) {
            self.counts.lines_changed = self.counts.lines_changed.saturating_add(1);
        }
        patches.write(line, without, sink);
    }

    /// The block's own motion word, for a line before which another motion was put in force.
    #[inline(never)]
    pub(super) fn restore_motion<const N: usize>(&self, block: &Block, patches: &mut Patches<N>) {
        let mut text = Text::new();
        put(&mut text, self.modal.motion.word());
        put(&mut text, b" ");
        patches.insert(block.first_dimension(), &text);
    }
}

//! The words of a drilling cycle that say how deep it goes, from where and how: as they must be commanded, and all of them
//! where a cycle that was interrupted is taken up again.

use super::{BACK_BORE, Changes, FINE_BORE, pecks, trouble};
use crate::axis::{Axis, Direction};
use crate::length::Length;
use crate::program::modal::Distance;
use crate::program::number::Number;
use crate::program::rewrite::Rewriter;
use crate::program::rewrite::block::Block;
use crate::program::rewrite::emit::{Text, dimension, put, put_number};
use crate::program::rewrite::refusal::{CycleTrouble, Reason, Stop};
use crate::program::rewrite::track::direction;

/// I, J or K.
const fn centre_letter(axis: Axis) -> u8 {
    match axis {
        Axis::X => b'I',
        Axis::Y => b'J',
        Axis::Z => b'K',
    }
}

/// Puts a word before those of the move.
fn before_the_move(block: &Block, mut word: Text, patches: &mut Changes) {
    put(&mut word, b" ");
    patches.insert(block.first_dimension(), &word);
}

impl Rewriter<'_> {
    /// How often a block drills: by L, or by K where that is nothing else. With I and without Q the three are pecks, the
    /// first, by how much less each is than the one before, and the least; J beside a tap is how much faster it comes
    /// out (common practice, no source).
    pub(super) fn repeats(&self, code: u16, block: &Block) -> Result<i64, Stop> {
        let (_, _, third) = self.modal.plane.axes();
        let k_counts = !pecks(code) && !matches!(code, BACK_BORE | FINE_BORE);
        for (axis, word) in block.centre.iter() {
            let defined = match code {
                BACK_BORE => true,
                FINE_BORE => axis != third,
                code if pecks(code) => self.drilling.pecks_by_centre(),
                _ if axis == Axis::Z => block.l.is_none(),
                740 | 840..=843 | 1840 => axis == Axis::Y,
                _ => false,
            };
            if word.is_some() && !defined {
                return Err(trouble(*word, CycleTrouble::Foreign));
            }
        }
        let Some(word) = block.l.or(block.centre.z.filter(|_| k_counts)) else { return Ok(1) };
        let whole = word.number.whole().filter(|whole| (0..1_000_000).contains(whole));
        whole.ok_or(trouble(Some(word), CycleTrouble::Repeats))
    }

    /// The words with which a block takes the cycle up again, as far as it has none itself.
    #[inline(never)]
    pub(super) fn take_up_again(
        &self,
        code: u16,
        block: &Block,
        third: Axis,
        patches: &mut Changes,
    ) -> Result<(), Stop> {
        if block.motion_word.is_none() {
            let mut text = Text::new();
            put(&mut text, b"G");
            for digit in
                [code / 1000, code / 100 % 10, code / 10 % 10].into_iter().skip(usize::from(code < 1000))
            {
                put(&mut text, &[digit as u8 | b'0']);
            }
            if !code.is_multiple_of(10) {
                put(&mut text, &[b'.', (code % 10) as u8 | b'0']);
            }
            before_the_move(block, text, patches);
        }
        let drilling = &self.drilling;
        let (steps, bores, dwells) = (
            pecks(code) || matches!(code, 740 | FINE_BORE | 841..=843),
            code == BACK_BORE,
            !matches!(code, 730 | 810 | 830 | 850),
        );
        let [depth, plane, top] = self.heights(third)?;
        let heights = [
            (third.letter() as u8, drilling.depth, block.axes.get(third).is_none(), depth),
            (b'R', drilling.plane, block.radius.is_none(), plane),
            (
                centre_letter(third),
                *drilling.centre.get(third),
                bores && block.centre.get(third).is_none(),
                top,
            ),
        ];
        for (letter, number, lacks, command) in heights {
            let Some(number) = number.filter(|_| lacks) else { continue };
            let mut text = Text::new();
            if command == self.in_length(&number)? {
                put_number(&mut text, letter, &number);
            } else {
                dimension(&mut text, letter, command, Some(&number), &self.modal);
            }
            before_the_move(block, text, patches);
        }
        let others = [
            (b'Q', drilling.peck, steps && block.q.is_none()),
            (b'P', drilling.dwell, dwells && block.p.is_none()),
        ];
        for (letter, number, lacks) in others {
            let Some(number) = number.filter(|_| lacks) else { continue };
            let mut text = Text::new();
            put_number(&mut text, letter, &number);
            before_the_move(block, text, patches);
        }
        for axis in Axis::ALL {
            let number = *drilling.centre.get(axis);
            let aside = bores || code == FINE_BORE;
            let defined = (aside && axis != third) || (pecks(code) && drilling.pecks_by_centre());
            let lacks = defined && block.centre.get(axis).is_none();
            let Some(number) = number.filter(|_| lacks) else { continue };
            let mut text = Text::new();
            self.put_aside(&mut text, axis, &number)?;
            before_the_move(block, text, patches);
        }
        Ok(())
    }

    pub(super) fn is_back_bore(&self) -> bool {
        self.modal.cycle.is_some_and(|code| code.get() == BACK_BORE)
    }

    /// The direction in which a back bore comes back to the hole along a corrected axis, if it steps aside along it.
    pub(super) fn comes_back(&self, axis: Axis) -> Option<Direction> {
        let (first, second, _) = self.modal.plane.axes();
        let bores = self.is_back_bore() && (axis == first || axis == second);
        let aside = self.drilling.centre.get(axis).filter(|_| bores && self.axes.get(axis).corrected())?;
        Some(direction(Length::ZERO, Length::from_counts(aside.mantissa()))?.reversed())
    }

    /// Writes the step aside of a back bore: the drive crosses the clearance, too.
    fn put_aside(&self, text: &mut Text, axis: Axis, number: &Number) -> Result<(), Stop> {
        let Some(back) = self.comes_back(axis) else {
            put_number(text, centre_letter(axis), number);
            return Ok(());
        };
        let track = self.axes.get(axis);
        if !track.is_uniform() {
            return Err(Stop(None, Reason::Cycle(CycleTrouble::StepAside)));
        }
        let aside = track.command(self.in_length(number)?, back.reversed());
        let step = aside.saturating_sub(track.command(Length::ZERO, back));
        dimension(text, centre_letter(axis), step, Some(number), &self.modal);
        Ok(())
    }

    /// The numbers that depth, R plane and top of a back bore need: the drill comes down onto the first two, and cuts
    /// upward from there unless its top lies below its depth. What the cycle has not is zero.
    #[inline(never)]
    fn heights(&self, third: Axis) -> Result<[Length; 3], Stop> {
        let (depth, plane) = self.depth_and_plane()?;
        let top = match self.drilling.centre.get(third) {
            Some(number) => self.in_length(number)?,
            None => Length::ZERO,
        };
        let track = self.axes.get(third);
        let down = |place| track.command(place, Direction::Minus);
        let bored =
            |from, place| track.command(place, if place < from { Direction::Minus } else { Direction::Plus });
        Ok(match self.modal.distance {
            Distance::Absolute => [down(depth), down(plane), bored(depth, top)],
            Distance::Incremental => {
                let level = if track.is_uniform() { Length::ZERO } else { self.counts_from(third).0 };
                let plane = level.saturating_add(plane);
                let depth = plane.saturating_add(depth);
                let top = bored(depth, depth.saturating_add(top));
                [
                    down(depth).saturating_sub(down(plane)),
                    down(plane).saturating_sub(down(level)),
                    top.saturating_sub(down(depth)),
                ]
            }
        })
    }

    /// Depth, R plane and what a back bore needs besides, as they must be commanded.
    #[inline(never)]
    pub(super) fn patch_strokes(
        &self,
        code: u16,
        block: &Block,
        third: Axis,
        patches: &mut Changes,
    ) -> Result<(), Stop> {
        let bores = code == BACK_BORE;
        let back = block.centre.get(third).filter(|_| bores);
        let [depth, plane, top] = self.heights(third)?;
        for (word, command) in [(*block.axes.get(third), depth), (block.radius, plane), (back, top)] {
            let Some(word) = word else { continue };
            if command != self.length(&word)? {
                let mut text = Text::new();
                dimension(&mut text, word.letter, command, Some(&word.number), &self.modal);
                patches.replace(word.span, text);
            }
        }
        for axis in Axis::ALL.into_iter().filter(|axis| bores && *axis != third) {
            if let Some(word) = block.centre.get(axis)
                && self.comes_back(axis).is_some()
            {
                let mut text = Text::new();
                self.put_aside(&mut text, axis, &word.number)?;
                patches.replace(word.span, text);
            }
        }
        Ok(())
    }
}

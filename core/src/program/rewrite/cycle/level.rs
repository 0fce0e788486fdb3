//! The level at which a cycle began, to which its holes come out with G98, and what the control takes for it.
//!
//! After NISTIR 6556, section 3.5.16, the control keeps where the axis of the drill stands when a cycle begins. A cycle
//! that is taken up again begins anew for it.

use super::Drilling;
use crate::axis::{Axis, Direction};
use crate::length::Length;
use crate::program::rewrite::Rewriter;
use crate::program::rewrite::refusal::CycleTrouble;

impl Drilling {
    /// Where the cycle began: wanted and sent, where that is known.
    pub(super) fn level(&self) -> Option<(Length, Length)> {
        self.knows_level.then_some(self.level)
    }

    /// The cycle begins at a level, wanted and sent.
    pub(super) fn begin_at(&mut self, level: (Length, Length)) {
        (self.knows_level, self.level) = (true, level);
    }

    /// The axis along which it goes is forgotten, or has other coordinates.
    pub const fn lose_level(&mut self) {
        self.knows_level = false;
    }

    /// What the control keeps instead, and the direction for which that was commanded.
    pub(super) fn kept(&self) -> Option<(Length, Direction)> {
        self.kept_for.map(|towards| (self.kept, towards))
    }

    /// The cycle is taken up again at a height that is not known.
    pub(super) fn keep_unknown(&mut self) {
        // Below every level, so that none is taken for it.
        (self.kept, self.kept_for) = (Length::from_counts(i64::MIN), Some(Direction::Minus));
    }
}

impl Rewriter<'_> {
    /// Taken up here, the control keeps this as the level of the cycle.
    pub(super) fn stand_at_level(&mut self, third: Axis, stands: Length) {
        let track = self.axes.get(third);
        let drilling = &mut self.drilling;
        if drilling.level().is_some_and(|(wanted, _)| wanted == stands) {
            drilling.begin_at((stands, track.sent));
            drilling.kept_for = None;
        } else {
            let down = track.sent == track.command(stands, Direction::Minus);
            drilling.kept = stands;
            drilling.kept_for = Some(if down { Direction::Minus } else { Direction::Plus });
        }
    }

    /// Where the control comes out with G98: wanted and sent.
    pub(super) fn comes_out_to(&self, third: Axis) -> Option<(Length, Length)> {
        let kept = self.drilling.kept();
        let sent = |(kept, towards): (Length, Direction)| (kept, self.axes.get(third).command(kept, towards));
        kept.map(sent).or(self.drilling.level())
    }

    /// With G98 the level to which the holes of a block come out, wanted and sent, where the control keeps another.
    ///
    /// # Errors
    /// [`CycleTrouble::Level`] where it is not known, or to be reached where that was not shown to be clear.
    pub(super) fn level_to_restore(
        &self,
        third: Axis,
        plane: Length,
    ) -> Result<Option<(Length, Length)>, CycleTrouble> {
        let Some((kept, _)) = self.drilling.kept().filter(|_| !self.modal.to_r_plane) else {
            return Ok(None);
        };
        let (began, sent) = self.drilling.level().ok_or(CycleTrouble::Level)?;
        let out = began.max(plane);
        if out == kept.max(plane) {
            return Ok(None);
        }
        if !self.reaches_level(third, plane, out) {
            return Err(CycleTrouble::Level);
        }
        let sent = if out == began { sent } else { self.axes.get(third).command(out, Direction::Minus) };
        Ok(Some((out, sent)))
    }

    /// Whether the level of a cycle can be reached from where the drill stands: where that is clear, or over the hole, where the
    /// cycle comes down or out to it anyway. But a back bore does so beside it, and below its R plane the cycle would
    /// rise before it goes there.
    pub(super) fn reaches_level(&self, third: Axis, plane: Length, level: Length) -> bool {
        let here = self.axes.get(third).wanted;
        let clear = third == Axis::Z && self.is_clear(here);
        if self.is_back_bore() { clear && level > here } else { clear || plane <= here }
    }
}

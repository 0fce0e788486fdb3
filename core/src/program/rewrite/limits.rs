//! Travel limits: what the correction would do beyond them is refused, what the program itself does is told.

use super::Rewriter;
use super::block::Block;
use super::refusal::{Reason, Stop};
use super::settings::Past;
use crate::axis::Axis;
use crate::length::Length;
use crate::program::arc::Arc;
use crate::program::modal::Distance;

impl Rewriter<'_> {
    /// Refuses a command beyond a travel limit, unless the program itself wants the axis beyond it.
    pub(super) fn keep_within(&self, axis: Axis, command: Length, place: Length) -> Result<(), Stop> {
        // From an unknown place differences lead to unknown places.
        let told = self.modal.distance == Distance::Absolute || self.axes.get(axis).is_told();
        let Some((low, high)) = self.limits.get(axis).filter(|_| told) else {
            return Ok(());
        };
        let passes = |limit| Err(Stop(None, Reason::PastLimit { axis, command, limit }));
        if command < low && place >= low {
            return passes(low);
        }
        if command > high && place <= high {
            return passes(high);
        }
        Ok(())
    }

    /// A place past a limit of its axis.
    fn past(&self, axis: Axis, place: Length) -> Option<Past> {
        let (low, high) = (*self.limits.get(axis))?;
        let limit = if place < low { low } else { high };
        (place < low || place > high).then_some(Past { axis, place, limit })
    }

    /// Where the arc or the hole of a block, from where the axes stand, will pass a travel limit, be it between its
    /// ends. Told and not refused: it is not the correction that does it.
    #[inline(never)] // few blocks need its room
    pub(super) fn passes_on_the_way(&self, block: &Block) -> Option<Past> {
        let (first, second, third) = self.modal.plane.axes();
        if self.modal.drills() {
            self.limits.get(third).as_ref()?;
            return self.strokes(block)?.into_iter().find_map(|end| self.past(third, end));
        }
        let known = |axis: Axis| self.axes.get(axis).is_told();
        let limited = self.limits.get(first).is_some() || self.limits.get(second).is_some();
        let bulges = self.modal.is_arc() && limited && known(first) && known(second);
        if bulges { self.bulge(block, first, second) } else { None }
    }

    #[inline(never)] // as above
    fn bulge(&self, block: &Block, first: Axis, second: Axis) -> Option<Past> {
        let mut arc = Arc::NONE;
        self.read_arc(block, &self.targets(block).ok()?, &mut arc).ok()?;
        if block.p.is_some_and(|turns| turns.number.whole() != Some(1)) {
            arc.end = arc.start;
        }
        let to_length = |counts: f64| Length::from_counts(libm::round(counts) as i64);
        let parts = arc.parts(true, true, 0.0);
        parts.iter().find_map(|part| {
            let (x, y) = part.end;
            self.past(first, to_length(x)).or_else(|| self.past(second, to_length(y)))
        })
    }

    /// Where a block by itself has left an axis beyond a travel limit.
    #[inline(never)] // as above
    pub(super) fn ends_past(&self, block: &Block) -> Option<Past> {
        Axis::ALL.into_iter().find_map(|axis| {
            let track = self.axes.get(axis);
            block.axes.get(axis).filter(|_| track.is_told())?;
            self.past(axis, track.wanted)
        })
    }
}

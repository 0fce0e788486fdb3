//! The shape of an arc to be cut, apart from what is written of it.

use heapless::Vec;

use crate::axis::Axis;
use crate::length::Length;
use crate::program::arc::{Arc, Part, Place, Sense};

/// An arc to be cut: its geometry, and the parts in which no corrected axis turns round.
pub(super) struct Course {
    pub arc: Arc,
    /// The size of the radius, of an arc in radius form.
    pub radius: Option<f64>,
    /// First, second and third axis.
    pub axes: (Axis, Axis, Axis),
    /// Where the third axis starts and ends.
    pub climb: (Length, Length),
    /// Neither axis of the plane has a correction that changes along the travel, nor the third.
    pub uniform: bool,
    /// The share of this turn in the arc of the block.
    pub share: f64,
}

impl Course {
    /// The place of the arc at a share of its sweep.
    pub fn at(&self, share: f64) -> Place {
        let (start, centre) = (self.arc.start, self.arc.centre);
        let (dx, dy) = (start.0 - centre.0, start.1 - centre.1);
        let angle = share * self.arc.sweep();
        let angle = if self.arc.sense == Sense::Clockwise { -angle } else { angle };
        let grown = self.arc.radius(share) / self.arc.radius(0.0);
        let (sin, cos) = (grown * libm::sin(angle), grown * libm::cos(angle));
        (centre.0 + dx * cos - dy * sin, centre.1 + dx * sin + dy * cos)
    }
}

/// The centre nearest to a place from which two ends are equally far.
pub(super) fn centre_between(start: Place, end: Place, near: Place) -> Place {
    let (dx, dy) = (end.0 - start.0, end.1 - start.1);
    let square = dx * dx + dy * dy;
    if square <= 0.0 {
        return near;
    }
    let off = ((near.0 - (start.0 + end.0) / 2.0) * dx + (near.1 - (start.1 + end.1) / 2.0) * dy) / square;
    (near.0 - off * dx, near.1 - off * dy)
}

/// Leaves out turns so near to the start, to each other or to the end that rounding could close the
/// part between them to a full circle.
#[inline(never)] // the frames of what one arc needs must not add up
pub(super) fn tidy(parts: &mut Vec<Part, 6>, start: Place, least: f64) {
    let (mut from, mut share, mut kept) = (start, 0.0, 0_usize);
    let end = parts.last().map_or(start, |part| part.end);
    let count = parts.len();
    for index in 0..count {
        let Some(part) = parts.get(index).copied() else { break };
        let last = index.saturating_add(1) == count;
        share += part.share;
        let chord = |a: Place, b: Place| libm::hypot(a.0 - b.0, a.1 - b.1);
        if !last && (chord(from, part.end) < least || chord(part.end, end) < least) {
            // On a full circle start and end are one place: half way round is far from neither.
            continue;
        }
        if let Some(slot) = parts.get_mut(kept) {
            *slot = Part { end: part.end, share };
        }
        (from, share, kept) = (part.end, 0.0, kept.saturating_add(1));
    }
    parts.truncate(kept);
}

//! Where it is clear of the work: for X and Y to overrun there.
//!
//! [`Heights`] reads a program once before it is rewritten. A height is clear where the program itself
//! goes sideways in rapid, and nowhere cuts sideways as high or higher; a ramp that begins at that
//! height, reached in rapid, and the R plane of a cycle lie at it and not above it. Where a program
//! never goes sideways in rapid at a known height, the highest place of its rapids takes its place.
//!
//! `Near` follows the rapids since the last cut: an overrun before a cut, or before the way down to it, is
//! made no lower than they went sideways. One at the end of a rapid, or on the way to a hole, asks for the
//! clear height alone.

use super::block::{Block, Purpose};
use super::settings::Settings;
use crate::axis::PerAxis;
use crate::length::Length;
use crate::program::modal::{Distance, Modal, Motion, Plane};
use heapless::Vec;

/// Heights of rapids that are remembered.
const MOST_HEIGHTS: usize = 16;

/// Follows the heights of a program.
#[derive(Clone, Debug)]
pub struct Heights {
    modal: Modal,
    z: Option<Length>,
    after_rapid: bool,
    /// The highest sideways cut.
    cut: Option<Length>,
    /// The highest place reached in rapid.
    top: Option<Length>,
    /// Heights of rapids that went sideways, rising; the lowest is given up when there are too many.
    rapids: Vec<Length, MOST_HEIGHTS>,
    lost: bool,
}

fn just_below(height: Length) -> Length {
    height.saturating_sub(Length::from_counts(1))
}

impl Heights {
    /// Before the first line.
    #[must_use]
    pub const fn new(settings: &Settings) -> Self {
        Self {
            modal: Modal::new(settings.unit, settings.integers),
            z: None,
            after_rapid: false,
            cut: None,
            top: None,
            rapids: Vec::new(),
            lost: false,
        }
    }

    /// Takes a line. What cannot be read is left to the rewriter, which refuses it.
    pub fn line(&mut self, line: &[u8]) {
        const NONE: PerAxis<bool> = PerAxis { x: false, y: false, z: false };
        let mut block = Block::EMPTY;
        if block.read(line, &mut self.modal, &NONE).is_err() {
            return;
        }
        // A tool change is no reason to forget: the program counts on its heights.
        if block.doubt.z || block.offset.is_some() {
            self.z = None;
        }
        let length = |word: crate::program::Word| word.number.length(self.modal.unit, self.modal.integers);
        match block.purpose {
            Purpose::Move => {}
            Purpose::Rename => {
                // Other coordinates: what was found before does not count in them.
                if let Some(value) = block.axes.z.and_then(length) {
                    self.lost |= self.cut.is_some() && self.z != Some(value);
                    self.z = Some(value);
                }
                return;
            }
            _ => return,
        }
        let before = self.z;
        if let Motion::Cycle(_) = self.modal.motion {
            // A drill that goes sideways has its work beside it, at heights that it does not tell.
            self.lost |= self.modal.plane != Plane::Xy;
            if self.modal.distance == Distance::Incremental {
                // Relative heights are followed only where the drill returns to where it began.
                match block.radius.and_then(length) {
                    Some(down) if !self.modal.to_r_plane && down <= Length::ZERO => {
                        self.cut = self.cut.max(before.map(|z| just_below(z.saturating_add(down))));
                        self.lost |= before.is_none();
                    }
                    Some(_) => self.lost = true,
                    None => self.lost |= self.modal.to_r_plane && block.names_axis(),
                }
            } else if let Some(height) = block.radius.and_then(length) {
                self.cut = self.cut.max(Some(just_below(height)));
                if self.modal.to_r_plane {
                    self.z = Some(height);
                    self.went_sideways(height);
                } else if before.is_some_and(|z| z < height) {
                    self.z = Some(height);
                }
            }
            if let Some(height) = self.z.filter(|_| block.axes.x.is_some() || block.axes.y.is_some()) {
                self.went_sideways(height);
            }
            self.after_rapid = true;
            return;
        }
        if let Some(value) = block.axes.z.and_then(length) {
            self.z = match self.modal.distance {
                Distance::Absolute => Some(value),
                Distance::Incremental => before.map(|z| z.saturating_add(value)),
            };
        }
        let sideways = block.axes.x.is_some() || block.axes.y.is_some() || self.modal.motion.is_arc();
        if self.modal.motion == Motion::Rapid {
            if let (true, Some(from), Some(to)) = (sideways, before, self.z) {
                self.went_sideways(from.min(to));
            }
            if block.axes.z.is_some() {
                self.top = self.top.max(self.z);
            }
            self.after_rapid |= block.names_axis();
        } else if self.modal.motion.cuts() {
            if sideways {
                match (before, self.z) {
                    (None, None) => self.lost |= self.modal.distance == Distance::Incremental,
                    (Some(from), Some(to)) if self.after_rapid && from > to => {
                        self.cut = self.cut.max(Some(just_below(from)));
                    }
                    (before, after) => self.cut = self.cut.max(before).max(after),
                }
            }
            self.after_rapid &= !block.names_axis();
        }
    }

    fn went_sideways(&mut self, height: Length) {
        let Err(at) = self.rapids.binary_search(&height) else { return };
        if self.rapids.is_full() {
            if at == 0 {
                return;
            }
            self.rapids.remove(0);
            let _ = self.rapids.insert(at.saturating_sub(1), height);
        } else {
            let _ = self.rapids.insert(at, height);
        }
    }

    /// The lowest height that is clear; `None` if the program does not show one.
    #[must_use]
    pub fn clear(&self) -> Option<Length> {
        if self.lost {
            return None;
        }
        let above = |height: &Length| self.cut.is_none_or(|cut| *height > cut);
        self.rapids.iter().copied().find(above).or(self.top.filter(above))
    }
}

/// The rapids since the last cut.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Near {
    /// The lowest height at which they went sideways.
    sideways: Option<Length>,
    /// Their highest place.
    highest: Option<Length>,
}

impl Near {
    /// A rapid from one height to another, where those are known.
    pub fn rapid(&mut self, from: Option<Length>, to: Option<Length>, sideways: bool) {
        self.highest = self.highest.max(from).max(to);
        if let (true, Some(low)) = (sideways, from.into_iter().chain(to).min()) {
            self.sideways = Some(self.sideways.map_or(low, |height| height.min(low)));
        }
    }

    /// Whether they show a height to be clear.
    pub fn clears(&self, height: Length) -> bool {
        self.sideways.or(self.highest).is_none_or(|least| height >= least)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn clear(program: &str) -> Option<f64> {
        let mut heights = Heights::new(&Settings::DEFAULT);
        program.lines().for_each(|line| heights.line(line.as_bytes()));
        heights.clear().map(Length::as_mm)
    }

    #[test]
    fn a_height_is_clear_where_rapids_go_sideways_above_every_cut() {
        assert_eq!(clear("G0 Z15\nX0 Y0\nZ5\nG1 Z-1\nX10\nG0 Z5\nX20\nG1 Z-1\nX30\n"), Some(5.0));
        // Inside a pocket rapids go sideways below the top of the work.
        assert_eq!(clear("G0 Z15\nX0\nG1 Z-1\nX10\nG0 Z-0.5\nX20\nG1 Z-3\nX30\nG1 Z0\nX40\n"), Some(15.0));
        assert_eq!(clear("G0 X0 Y0\nG0 Z10\nZ1\nG1 Z-1\nX5\n"), Some(10.0));
        // Feeding sideways at the height of the rapids makes that height doubtful.
        assert_eq!(clear("G0 Z15\nX0\nG1 Z-1\nX9\nZ15\nX20\nZ-1\nX30\n"), None);
        // A ramp that begins there does not.
        assert_eq!(clear("G0 X0 Y0\nZ5\nG1 X20 Z-1\nG0 Z5\nX40\nG2 I3 Z-1\n"), Some(5.0));
    }

    #[test]
    fn the_r_plane_of_a_cycle_is_clear_where_the_drill_stays_at_it() {
        assert_eq!(clear("G0 Z25\nG99 G81 X1 Y1 Z-5 R2\nX9\nG80\n"), Some(2.0));
        assert_eq!(clear("G0 Z25\nG98 G81 X1 Y1 Z-5 R2\nX9\nG80\n"), Some(25.0));
        assert_eq!(clear("G0 Z25\nG91 G98 G81 X1 Y1 Z-5 R-20\n"), Some(25.0));
        assert_eq!(clear("G0 Z25\nG91 G99 G81 X1 Y1 Z-5 R-20\n"), None);
    }
}

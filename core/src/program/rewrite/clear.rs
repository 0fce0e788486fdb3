//! Where it is clear of the work: for X and Y to overrun there.
//!
//! [`Heights`] reads a program once before it is rewritten. Clear is the highest place at which the program
//! itself goes sideways in rapid, where that lies above every cut sideways and above every place from which
//! it feeds down: from lower ones it may go down between walls. Where it does not, the highest place of its
//! rapids stands in. A program that works in a cavity all the time, with all its rapids between the walls,
//! looks like one above a plane: its clear height is for a person to say.

use super::block::{Block, Purpose};
use super::settings::Settings;
use crate::axis::{Axis, PerAxis};
use crate::length::Length;
use crate::program::modal::{Distance, Modal, Motion, Plane};
use crate::program::words::Word;

/// Follows the heights of a program.
#[derive(Clone, Debug)]
pub struct Heights {
    modal: Modal,
    z: Option<Length>,
    /// The highest place of cuts: where they go sideways, and from where they go down.
    cut: Option<Length>,
    /// The highest end of a cut that goes sideways.
    cut_sideways: Option<Length>,
    /// The highest place at which a rapid went sideways.
    sideways: Option<Length>,
    /// The highest place reached in rapid.
    top: Option<Length>,
    lost: bool,
    /// M2 or M30 was read.
    ended: bool,
}

impl Heights {
    /// Before the first line.
    #[must_use]
    pub const fn new(settings: &Settings) -> Self {
        Self {
            modal: Modal::new(settings.unit, settings.integers),
            z: None,
            cut: None,
            cut_sideways: None,
            sideways: None,
            top: None,
            lost: false,
            ended: false,
        }
    }

    /// Takes a line. What cannot be read is left to the rewriter, which refuses it.
    pub fn line(&mut self, line: &[u8]) {
        const NONE: PerAxis<bool> = PerAxis { x: false, y: false, z: false };
        let mut block = Block::EMPTY;
        if block.read(line, &mut self.modal, &NONE).is_err() {
            return;
        }
        let found = self.cut.is_some() || self.sideways.is_some() || self.top.is_some();
        // What was found does not count in other coordinates. Work offsets are chosen for one part after
        // another, which lie alike; what holds for all of them holds for each.
        self.lost |= found && block.shifts_coordinates(Axis::Z);
        if block.doubt.z || block.offset.is_some() {
            self.z = None;
        }
        self.ended |= block.ends && block.skip.is_none();
        if self.ended && block.acts() && !block.ends {
            // Another program begins, wherever the axes are.
            (self.z, self.ended) = (None, false);
        }
        match block.purpose {
            Purpose::Move => {}
            Purpose::Rename => {
                if let Some(value) = self.length(*block.axes.get(Axis::Z)) {
                    self.lost |= found && self.z != Some(value);
                    self.z = Some(value);
                }
                return;
            }
            _ => return,
        }
        let sideways = block.axes.x.is_some() || block.axes.y.is_some() || self.modal.is_arc();
        if self.modal.drills() {
            self.drill(&block, sideways);
            return;
        }
        let before = self.z;
        if let Some(value) = self.length(block.axes.z) {
            self.z = match self.modal.distance {
                Distance::Absolute => Some(value),
                Distance::Incremental => before.map(|z| z.saturating_add(value)),
            };
        }
        if self.modal.motion == Motion::Rapid {
            if let (true, Some(from), Some(to)) = (sideways, before, self.z) {
                self.sideways = self.sideways.max(Some(from.min(to)));
            }
            if block.axes.z.is_some() {
                self.top = self.top.max(self.z);
            }
        } else if self.modal.cuts() {
            let down = block.axes.z.is_some() && before.is_none_or(|z| self.z.is_none_or(|to| to < z));
            if sideways || down {
                self.lost |= before.is_none();
                self.cut = self.cut.max(before);
            }
            if sideways {
                self.cut = self.cut.max(self.z);
                self.cut_sideways = self.cut_sideways.max(before).max(self.z);
            }
        }
    }

    fn length(&self, word: Option<Word>) -> Option<Length> {
        word.and_then(|word| word.number.length(self.modal.unit, self.modal.integers))
    }

    fn drill(&mut self, block: &Block, sideways: bool) {
        let before = self.z;
        let radius = self.length(block.radius);
        // A drill that goes sideways has its work beside it, at heights that it does not tell.
        self.lost |= self.modal.plane != Plane::Xy;
        if self.modal.distance == Distance::Incremental {
            // Relative heights are followed only where the drill returns to where it began.
            match radius {
                Some(down) if !self.modal.to_r_plane && down <= Length::ZERO => {
                    self.cut = self.cut.max(before.map(|z| z.saturating_add(down)));
                    self.lost |= before.is_none();
                }
                Some(_) => self.lost = true,
                None => self.lost |= self.modal.to_r_plane && block.names_axis(),
            }
        } else if let Some(height) = radius {
            self.cut = self.cut.max(Some(height));
            if self.modal.to_r_plane || before.is_some_and(|z| z < height) {
                self.z = Some(height);
            }
        }
        if sideways {
            self.sideways = self.sideways.max(before).max(self.z);
        }
    }

    /// The lowest height that is clear; `None` if the program does not show one.
    #[must_use]
    pub fn clear(&self) -> Option<Length> {
        let above = |height: &Length| !self.lost && self.cut.is_none_or(|cut| *height > cut);
        self.sideways.filter(above).or(self.top.filter(above))
    }

    /// The highest place from or to which a cut goes sideways: nothing is clear below it.
    #[must_use]
    pub const fn cut_sideways(&self) -> Option<Length> {
        self.cut_sideways
    }

    /// The highest place reached in rapid, whether it is clear or not.
    #[must_use]
    pub const fn top(&self) -> Option<Length> {
        self.top
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
    fn the_highest_way_sideways_is_clear_above_every_cut() {
        // Not at the height from which the tool feeds down: this may be between walls.
        assert_eq!(clear("G0 Z15\nX0 Y0\nZ5\nG1 Z-1\nX10\nG0 Z5\nX20\nG1 Z-1\nX30\n"), Some(15.0));
        assert_eq!(clear("G0 Z5\nX0\nG1 Z-1\nX10\nG0 Z5\nX20\nG1 Z-1\nX30\n"), None);
        // Inside a pocket rapids go sideways below the top of the work.
        assert_eq!(clear("G0 Z15\nX0\nG1 Z-1\nX10\nG0 Z-0.5\nX20\nG1 Z-3\nX30\nG1 Z0\nX40\n"), None);
        assert_eq!(clear("G0 Z15\nX0\nZ2\nG1 Z-1\nX10\nG0 Z-0.5\nX20\nZ-0.8\nG1 Z-3\nX30\n"), Some(15.0));
        assert_eq!(clear("G0 X0 Y0\nG0 Z10\nZ1\nG1 Z-1\nX5\n"), Some(10.0));
        // Feeding sideways at the height of the rapids makes that height doubtful.
        assert_eq!(clear("G0 Z15\nX0\nG1 Z-1\nX9\nZ15\nX20\nZ-1\nX30\n"), None);
        // So does a ramp that begins there.
        assert_eq!(clear("G0 X0 Y0\nZ5\nG1 X20 Z-1\nG0 Z5\nX40\nG2 I3 Z-1\n"), None);
        assert_eq!(clear("G0 Z9\nX0 Y0\nZ5\nG1 X20 Z-1\nG0 Z9\nX40\n"), Some(9.0));
    }

    #[test]
    fn a_slot_shows_no_clear_height() {
        // From a height that is not told the tool went down: how high the walls are is not known.
        assert_eq!(clear("G0 X0\nG1 Z-1\nX20\nG0 Z-0.5\nX0\nG1 Z-2\nX20\n"), None);
        assert_eq!(clear("G0 X0\nZ5\nG1 Z-1\nX20\nG0 Z-0.5\nX0\nG1 Z-2\nX20\n"), None);
    }

    #[test]
    fn other_coordinates_show_none() {
        let program = |line: &str| std::format!("G0 Z15\nX0\nZ2\nG1 Z-1\nX9\nG0 Z15\n{line}\nG0 X5\n");
        for line in ["G92 Z9", "G52 Z3", "G10 L2 P1 Z4", "G92.1"] {
            assert_eq!(clear(&program(line)), None, "{line}");
        }
        for line in ["G92 Z15", "G92 X4", "G52 X3", "G91 G28 Z0\nG90", "G43 H2", "G55"] {
            assert_eq!(clear(&program(line)), Some(15.0), "{line}");
        }
        assert_eq!(clear(&std::format!("G92 Z50\n{}", program(""))), Some(15.0));
    }

    #[test]
    fn the_level_of_a_cycle_is_clear_and_its_r_plane_is_not() {
        assert_eq!(clear("G0 Z25\nG99 G81 X1 Y1 Z-5 R2\nX9\nG80\n"), Some(25.0));
        assert_eq!(clear("G0 Z25\nG98 G81 X1 Y1 Z-5 R2\nX9\nG80\n"), Some(25.0));
        assert_eq!(clear("G0 Z25\nG91 G98 G81 X1 Y1 Z-5 R-20\n"), Some(25.0));
        assert_eq!(clear("G0 Z25\nG91 G99 G81 X1 Y1 Z-5 R-20\n"), None);
        assert_eq!(clear("G0 Z25\nG18 G98 G81 X1 Z1 Y-5 R2\n"), None);
    }
}

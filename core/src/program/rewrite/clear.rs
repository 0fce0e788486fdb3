//! The height above the work, found by reading a program once before it is rewritten.
//!
//! Above every place at which the program cuts while X or Y moves, and above every R plane of its
//! cycles, X and Y may overrun. Where a program feeds sideways at its retract height, that height does
//! not count as clear; the take-up shift is used there instead.

use super::Settings;
use super::block::{Block, Purpose};
use crate::axis::PerAxis;
use crate::length::Length;
use crate::program::modal::{Distance, Modal, Motion};

/// Follows the heights of a program.
#[derive(Clone, Debug)]
pub struct Heights {
    modal: Modal,
    z: Option<Length>,
    highest: Option<Length>,
    lost: bool,
}

impl Heights {
    /// Before the first line.
    #[must_use]
    pub const fn new(settings: &Settings) -> Self {
        Self { modal: Modal::new(settings.unit, settings.integers), z: None, highest: None, lost: false }
    }

    /// Takes a line. What cannot be read is left to the rewriter, which refuses it.
    pub fn line(&mut self, line: &[u8]) {
        const NONE: PerAxis<bool> = PerAxis { x: false, y: false, z: false };
        let Ok(block) = Block::read(line, &mut self.modal, &NONE) else { return };
        if block.forgets || !matches!(block.purpose, Purpose::Move | Purpose::Dwell) {
            self.z = None;
        }
        if block.purpose != Purpose::Move {
            return;
        }
        let before = self.z;
        let length = |word: crate::program::Word| word.number.length(self.modal.unit, self.modal.integers);
        if let Motion::Cycle(_) = self.modal.motion {
            // Relative heights of cycles are not followed.
            if self.modal.distance == Distance::Incremental {
                self.lost |= block.names_axis();
            } else if let Some(height) = block.radius.and_then(length) {
                self.highest = self.highest.max(Some(height));
            }
            return;
        }
        if let Some(value) = block.axes.z.and_then(length) {
            self.z = match self.modal.distance {
                Distance::Absolute => Some(value),
                Distance::Incremental => before.map(|z| z.saturating_add(value)),
            };
        }
        let sideways = block.axes.x.is_some() || block.axes.y.is_some() || self.modal.motion.is_arc();
        if self.modal.motion.cuts() && sideways {
            match (before, self.z) {
                (None, None) => self.lost |= self.modal.distance == Distance::Incremental,
                (before, after) => self.highest = self.highest.max(before).max(after),
            }
        }
    }

    /// The lowest height that is clear; `None` if the program does not show one.
    #[must_use]
    pub fn clear(&self) -> Option<Length> {
        let highest = self.highest.filter(|_| !self.lost)?;
        highest.checked_add(Length::from_counts(1))
    }
}

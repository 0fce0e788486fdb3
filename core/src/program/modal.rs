//! The modal state of a program, as far as a rewriter needs it.
//!
//! Groups and their words follow NISTIR 6556 (RS274/NGC), table 4.

use super::number::Integers;
use crate::axis::Axis;
use crate::length::Unit;
use core::num::NonZeroU16;

/// What a block of axis words does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Motion {
    /// Nothing was chosen yet.
    None,
    /// G0.
    Rapid,
    /// G1.
    Line,
    /// G2.
    ArcClockwise,
    /// G3.
    ArcCounterclockwise,
}

impl Motion {
    /// Whether the motion removes material.
    #[must_use]
    pub const fn cuts(self) -> bool {
        matches!(self, Motion::Line | Motion::ArcClockwise | Motion::ArcCounterclockwise)
    }

    /// Whether it is an arc.
    #[must_use]
    pub const fn is_arc(self) -> bool {
        matches!(self, Motion::ArcClockwise | Motion::ArcCounterclockwise)
    }

    /// The word that chooses the motion, for those that inserted moves leave and come back to.
    #[must_use]
    pub const fn word(self) -> &'static [u8] {
        match self {
            Motion::Rapid => b"G0",
            Motion::Line => b"G1",
            Motion::ArcClockwise => b"G2",
            Motion::ArcCounterclockwise => b"G3",
            Motion::None => b"",
        }
    }
}

/// The plane of arcs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Plane {
    /// G17.
    Xy,
    /// G18.
    Zx,
    /// G19.
    Yz,
}

impl Plane {
    /// Its first and second axis, and the axis square to it, right-handed.
    #[must_use]
    pub const fn axes(self) -> (Axis, Axis, Axis) {
        match self {
            Plane::Xy => (Axis::X, Axis::Y, Axis::Z),
            Plane::Zx => (Axis::Z, Axis::X, Axis::Y),
            Plane::Yz => (Axis::Y, Axis::Z, Axis::X),
        }
    }
}

/// Absolute or incremental.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Distance {
    /// From the origin.
    Absolute,
    /// From where the axis is.
    Incremental,
}

/// What F means.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Feed {
    /// G94.
    PerMinute,
    /// G95.
    PerRevolution,
    /// G93: the reciprocal of the minutes that the block takes.
    InverseTime,
}

/// The modal state.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Modal {
    /// The motion of blocks without a motion word. A cycle puts it aside, and it comes back when the cycle ends (G80):
    /// NISTIR 6556 wants a motion word there (recalled from memory), other controls keep cycles in a group of their own
    /// (common practice, no source).
    pub motion: Motion,
    /// The drilling cycle in force, G73, G74, G76 and G81 to G89: the tenths of its code.
    pub cycle: Option<NonZeroU16>,
    /// The plane of arcs.
    pub plane: Plane,
    /// The unit of lengths.
    pub unit: Unit,
    /// What words without a point mean.
    pub integers: Integers,
    /// What axis words mean.
    pub distance: Distance,
    /// What I, J and K mean.
    pub centre: Distance,
    /// What F means.
    pub feed: Feed,
    /// Whether cycles return to the R plane (G99) rather than to the initial level (G98).
    pub to_r_plane: bool,
}

impl Modal {
    /// The state at the start of a program: what NISTIR 6556 gives as defaults, in the unit that
    /// is passed.
    #[must_use]
    pub const fn new(unit: Unit, integers: Integers) -> Self {
        Self {
            motion: Motion::None,
            cycle: None,
            plane: Plane::Xy,
            unit,
            integers,
            distance: Distance::Absolute,
            centre: Distance::Incremental,
            feed: Feed::PerMinute,
            to_r_plane: false,
        }
    }

    const fn move_by(&mut self, motion: Motion) {
        (self.motion, self.cycle) = (motion, None);
    }

    /// Whether a drilling cycle is in force.
    #[must_use]
    pub const fn drills(&self) -> bool {
        self.cycle.is_some()
    }

    /// Whether blocks of axis words cut along lines or arcs.
    #[must_use]
    pub const fn cuts(&self) -> bool {
        !self.drills() && self.motion.cuts()
    }

    /// Whether blocks of axis words are arcs.
    #[must_use]
    pub const fn is_arc(&self) -> bool {
        !self.drills() && self.motion.is_arc()
    }

    /// Applies the modal effect of a G word given in tenths; `false` if the word has none here.
    pub fn apply(&mut self, tenths: i64) -> bool {
        match tenths {
            0 => self.move_by(Motion::Rapid),
            10 => self.move_by(Motion::Line),
            20 => self.move_by(Motion::ArcClockwise),
            30 => self.move_by(Motion::ArcCounterclockwise),
            730 | 810..=890 if tenths % 10 == 0 => self.cycle = NonZeroU16::new(tenths as u16),
            // Tapping left-hand or in step with the spindle, fine boring: common practice, no source.
            740 | 760 | 841..=843 | 1840 => self.cycle = NonZeroU16::new(tenths as u16),
            800 => self.cycle = None,
            170 => self.plane = Plane::Xy,
            180 => self.plane = Plane::Zx,
            190 => self.plane = Plane::Yz,
            // G700 and G710: common practice, no source.
            200 | 700 | 7000 => self.unit = Unit::Inch,
            210 | 710 | 7100 => self.unit = Unit::Mm,
            900 => self.distance = Distance::Absolute,
            910 => self.distance = Distance::Incremental,
            901 => self.centre = Distance::Absolute,
            911 => self.centre = Distance::Incremental,
            930 => self.feed = Feed::InverseTime,
            940 => self.feed = Feed::PerMinute,
            950 => self.feed = Feed::PerRevolution,
            980 => self.to_r_plane = false,
            990 => self.to_r_plane = true,
            _ => return false,
        }
        true
    }
}

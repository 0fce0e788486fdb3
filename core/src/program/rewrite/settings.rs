//! What a person decides about a rewriting, and what is told of it.

use super::track::Strategy;
use crate::axis::{Axis, PerAxis};
use crate::length::{Length, Unit};
use crate::program::number::Integers;

/// What a person decides about a rewriting.
#[derive(Clone, Copy, Debug)]
pub struct Settings {
    /// The strategy of each axis.
    pub strategy: PerAxis<Strategy>,
    /// The unit in force until the program chooses one.
    pub unit: Unit,
    /// What numbers without a point mean.
    pub integers: Integers,
    /// The height at and above which X and Y may overrun; without it they never do.
    pub clear: Option<Length>,
    /// Machine coordinate of the program's zero on each axis, where corrections change along the travel.
    pub offset: PerAxis<Length>,
    /// How far each axis may be sent, lowest and highest place in the program's coordinates.
    pub limits: PerAxis<Option<(Length, Length)>>,
    /// Whether a cut that begins unseated is refused.
    pub unseated: Unseated,
}

impl Settings {
    /// The settings that need no decision.
    pub const DEFAULT: Settings = Settings {
        strategy: PerAxis { x: Strategy::Both, y: Strategy::Both, z: Strategy::Both },
        unit: Unit::Mm,
        integers: Integers::Units,
        clear: None,
        offset: PerAxis { x: Length::ZERO, y: Length::ZERO, z: Length::ZERO },
        limits: PerAxis { x: None, y: None, z: None },
        unseated: Unseated::Told,
    };
}

/// What happens when a cut begins while a seat is unknown.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Unseated {
    /// It is told in the [`Note`] of the line.
    Told,
    /// The program is refused.
    Refused,
}

/// Counts of what was done.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Counts {
    /// Lines read.
    pub lines_in: u64,
    /// Lines written.
    pub lines_out: u64,
    /// Lines of the original that came out different.
    pub lines_changed: u64,
    /// Clearances crossed at a reversal in the cut, and entries of X or Y made on the other seat by
    /// the shifted command because an overrun was not clear.
    pub take_ups: u64,
    /// Overruns made to arrive from the reference direction, and drills sent up before they come down.
    pub one_way_moves: u64,
    /// Arcs that became several.
    pub arcs_split: u64,
}

/// What a person should know about a line.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Note {
    /// An axis whose seat is unknown while a cut begins.
    pub unseated: Option<Axis>,
    /// Path blending that may swallow take-up moves.
    pub blending: Option<Blending>,
    /// Something about a correction that changes along the travel.
    pub along_travel: Option<AlongTravel>,
    /// The travel limits hold for other coordinates than those now in force: they are not looked at
    /// any more.
    pub limits_lost: bool,
    /// The program itself sends an axis past a travel limit; one such axis.
    pub past: Option<Past>,
    /// The clear height holds for other coordinates than those now in force: X and Y overrun no more.
    pub clear_lost: bool,
    /// The first move, and no word has told the unit: that of the settings is taken.
    pub unit_assumed: bool,
}

/// Path blending (G64) wide enough to swallow a take-up move.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Blending {
    /// Its tolerance; `None` if the word has none.
    pub tolerance: Option<Length>,
    /// The corrected axis with the smallest clearance.
    pub axis: Axis,
    /// That clearance.
    pub width: Length,
}

/// A place of the program that lies past a travel limit without any correction.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Past {
    /// The axis.
    pub axis: Axis,
    /// Where the program wants it.
    pub place: Length,
    /// The limit.
    pub limit: Length,
}

/// What limits a correction that changes along the travel.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum AlongTravel {
    /// The tool length moves Z along its travel by an amount that the program does not tell.
    ToolLength,
    /// A line with a rotary word is not divided: between its ends the correction is not exact.
    Rotary,
}

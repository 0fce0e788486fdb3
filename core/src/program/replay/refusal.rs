//! Why a program cannot be followed: the line, the word, the reason and the way out.

use super::geometry::ArcError;
use crate::{
    axis::Axis,
    program::{FaultKind, Span},
};
use core::fmt;

/// Why a block is not followed.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Reason {
    /// It is no plain word.
    Spelling(FaultKind),
    /// A letter stands twice in the block.
    Twice(u8),
    /// Two words of the block exclude each other.
    Conflict,
    /// A G word that is not understood, in tenths of its code.
    UnknownG(i64),
    /// A number that its word cannot have.
    BadNumber(u8),
    /// A position beyond the range of lengths.
    OutOfRange,
    /// An arc that cannot be drawn.
    Arc(ArcError),
    /// An arc without centre or radius.
    ArcUndefined,
    /// A cycle lacks a word that it needs.
    CycleLacks(u8),
    /// A word that the cycle does not define.
    CycleWord(u8),
    /// A cycle asks for more strokes than anybody waits for.
    TooManyStrokes,
    /// A subprogram call or a loop.
    Subprogram,
    /// Cutter compensation in a plane with a slack axis.
    CutterCompensation,
    /// Polar coordinates, scaling, rotation or mirror on a slack axis.
    Transformed,
    /// Tool-point control.
    ToolPoint,
    /// Threading or splines.
    Curved,
    /// A probing move on a slack axis.
    Probing(Axis),
    /// U, V or W: the axis parallel to a slack one, or its increment.
    Parallel(Axis),
    /// A motion behind M2 or M30, and behind text that is no program.
    AfterEnd,
}

impl fmt::Display for Reason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let letter = |letter: &u8| char::from(*letter);
        match self {
            Reason::Spelling(kind) => kind.fmt(f),
            Reason::Twice(l) => write!(f, "{} stands twice in the block", letter(l)),
            Reason::Conflict => f.write_str("two words of the block exclude each other"),
            Reason::UnknownG(_) => f.write_str("a G word that is not understood"),
            Reason::BadNumber(l) => write!(f, "a number that {} cannot have", letter(l)),
            Reason::OutOfRange => f.write_str("a position beyond the range of lengths"),
            Reason::Arc(ArcError::NoRadius) => f.write_str("the centre of the arc is its start"),
            Reason::Arc(ArcError::RadiiDiffer { start_mm, end_mm }) => {
                write!(f, "the arc starts {start_mm:.4} mm and ends {end_mm:.4} mm from its centre")
            }
            Reason::Arc(ArcError::RadiusTooShort { radius_mm, half_chord_mm }) => {
                write!(f, "a radius of {radius_mm:.4} mm does not span half a chord of {half_chord_mm:.4} mm")
            }
            Reason::Arc(ArcError::FullCircleByRadius) => {
                f.write_str("an arc in radius form ends where it starts")
            }
            Reason::ArcUndefined => f.write_str("an arc without centre or radius"),
            Reason::CycleLacks(l) => write!(f, "the drilling cycle has no {} word", letter(l)),
            Reason::CycleWord(l) => write!(f, "the drilling cycle does not define {}", letter(l)),
            Reason::TooManyStrokes => f.write_str("a cycle of more than 20000 strokes"),
            Reason::Subprogram => f.write_str("a subprogram call"),
            Reason::CutterCompensation => f.write_str("cutter compensation in a plane with a slack axis"),
            Reason::Transformed => f.write_str("polar, scaled, rotated or mirrored motion of a slack axis"),
            Reason::ToolPoint => f.write_str("tool-point control with rotary axes"),
            Reason::Curved => f.write_str("threading or spline motion"),
            Reason::Probing(axis) => write!(f, "a probing move of the slack axis {axis}"),
            Reason::Parallel(axis) => write!(f, "a word of the axis parallel to {axis}, or of its increment"),
            Reason::AfterEnd => {
                f.write_str("a motion behind the end of the program and text that is no program")
            }
        }
    }
}

impl Reason {
    /// What a person can do about it.
    #[must_use]
    pub const fn way_out(&self) -> &'static str {
        match self {
            Reason::Spelling(FaultKind::Variable | FaultKind::Expression | FaultKind::Keyword)
            | Reason::Subprogram => "Post the program without variables, calls and loops.",
            Reason::Spelling(FaultKind::Unexpected(b',')) => {
                "Post the corner as moves, or the number with a point."
            }
            Reason::Spelling(FaultKind::Text) => "Put remarks into ( ), or take the word out.",
            Reason::Spelling(kind) => match kind.way_out_of_file() {
                Some(way_out) => way_out,
                None => "Correct the block.",
            },
            Reason::CutterCompensation => "Post the program with the compensated path of the tool's centre.",
            Reason::Transformed => "Post the program with plain coordinates.",
            Reason::ToolPoint
            | Reason::Curved
            | Reason::Probing(_)
            | Reason::UnknownG(_)
            | Reason::Parallel(_) => "Take these blocks out, or keep them in a program of their own.",
            Reason::TooManyStrokes => "Check Q, the depth and L; was the unit meant?",
            Reason::AfterEnd => "Put each program into a file of its own.",
            Reason::Arc(_) | Reason::ArcUndefined => {
                "Post the arc with a centre that fits, or as straight moves."
            }
            _ => "Correct the block.",
        }
    }
}

/// A refusal with its place.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Refusal {
    /// The line, counted from 1.
    pub line: u64,
    /// The word, as bytes of that line.
    pub word: Span,
    /// Why.
    pub reason: Reason,
}

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}: {}", self.line, self.reason)
    }
}

impl core::error::Error for Refusal {}

//! Why a program is not rewritten, and the way out.

use crate::axis::Axis;
use crate::length::{Length, Unit};
use crate::program::words::{Fault, FaultKind, Span};
use core::fmt;

/// What the rewriter will not do.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Reason {
    /// The line cannot be read.
    Unreadable(FaultKind),
    /// The program carries the mark of a corrected one.
    AlreadyCorrected,
    /// A word whose meaning is not known.
    UnknownCode,
    /// U, V or W: the axis parallel to a corrected one, or its increment.
    Parallel(Axis),
    /// The same letter twice in a block.
    Twice,
    /// Two words in a block that exclude each other.
    Conflict,
    /// A subprogram call or return.
    Subprogram,
    /// Cutter compensation that covers a corrected axis.
    CutterCompensation,
    /// Polar coordinates, scaling, rotation or mirror that cover a corrected axis.
    Transformed,
    /// Tool-point control with rotary axes.
    ToolPoint,
    /// Threading.
    Threading,
    /// A probing move or skip of a corrected axis.
    Probing,
    /// A spline.
    Spline,
    /// An axis word before any word says how to move.
    NoMotion,
    /// A cut in inverse time (G93) without an F word.
    NoTime,
    /// A length beyond any machine.
    OutOfRange,
    /// An arc without centre or radius, or with a radius too short for its end.
    Arc,
    /// An arc from a place that the program has not named.
    ArcFromUnknown,
    /// A cut from a place that is not known, by an axis whose correction changes along the travel.
    TravelUnknown(Axis),
    /// Another work offset, with a correction that changes along the travel of an axis.
    OtherOffset(Axis),
    /// An arc of several turns.
    Turns,
    /// An arc with a rotary word that would have to be divided.
    RotaryArc,
    /// A cycle that cannot be corrected as it is written.
    Cycle(CycleTrouble),
    /// A command would be sent beyond a travel limit.
    PastLimit {
        /// The axis.
        axis: Axis,
        /// Where the correction would send it.
        command: Length,
        /// The limit.
        limit: Length,
    },
    /// A block that may be skipped and moves a corrected axis incrementally.
    Skipped,
    /// A block that may be skipped changes a mode that this block relies on.
    SkippedMode,
    /// A cut that begins before the seat is known.
    Unseated(Axis),
    /// An offset is set from where an axis stands (G10 L20), while its command is shifted.
    Shifted(Axis),
    /// Something moves behind the end of the program, with modes from before it, or behind other text.
    AfterEnd,
}

/// Why a cycle cannot be corrected as it is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum CycleTrouble {
    /// In incremental distances, with a correction that changes along the travel.
    Incremental,
    /// Incremental holes behind others of their cycle, with a return to the R plane or from one above the level at which
    /// the cycle began: controls count them from there or from that level.
    CountsFromR,
    /// A back bore that steps aside along an axis whose correction changes along the travel.
    StepAside,
    /// No depth, or no R plane.
    Incomplete,
    /// Its depth lies above its R plane.
    Upward,
    /// It was interrupted, and the level to which it returns is not known or cannot be reached.
    Level,
    /// Repeated in incremental distances, it turns round above the level at which it began and to which it returns:
    /// interrupted for the take-up, it would return to where it was interrupted.
    TurnsAbove,
    /// G74 and G76 without the depth and R plane of a tap or a fine bore, or with words that these have not: threading or
    /// something else, by the control.
    Ambiguous,
    /// L, or K where that counts them, is no whole number of repeats.
    Repeats,
    /// I, J or K in a cycle that has no such word.
    Foreign,
}

impl Reason {
    /// What to do about it.
    #[must_use]
    pub const fn way_out(self) -> &'static str {
        match self {
            Reason::Unreadable(FaultKind::Variable | FaultKind::Expression | FaultKind::Keyword) => {
                "Post the program with plain numbers: without variables, expressions and flow."
            }
            Reason::Unreadable(FaultKind::Unexpected(b',')) => {
                "Post corners as lines and arcs, and numbers with a point."
            }
            Reason::Unreadable(FaultKind::Text) => {
                "Put remarks into ( ), and post the program without words of one control's own."
            }
            Reason::Unreadable(FaultKind::Exponent) => {
                "Write the number with a point and without an exponent."
            }
            Reason::AlreadyCorrected => "Rewrite the original program, not the corrected one.",
            Reason::UnknownCode => "Take the word out, or keep the block in a program of its own.",
            Reason::Parallel(_) => {
                "Take the word out, or correct only the axes that it does not concern (--play of the others 0)."
            }
            Reason::Twice => "Write each word once in a block.",
            Reason::Conflict => "Write the two in blocks of their own.",
            Reason::Subprogram => "Post the program in one piece, without subprograms, and end it with M30.",
            Reason::CutterCompensation => "Let the CAM system compensate the cutter radius.",
            Reason::Transformed => "Post the program with the final coordinates.",
            Reason::Unreadable(kind) => match kind.way_out_of_file() {
                Some(way_out) => way_out,
                None => "Check that the file is a program and that the line is whole.",
            },
            Reason::ToolPoint => "Post the program without tool-point control.",
            Reason::Threading => "Keep threading in a program of its own.",
            Reason::Probing => "Keep probing in a program of its own.",
            Reason::Spline => "Post splines as lines or arcs.",
            Reason::NoMotion => "Write G0 or G1 before the first axis word.",
            Reason::NoTime => "Give the block its F, or post the program with G94.",
            Reason::OutOfRange => "Check the number and the unit (G20, G21).",
            Reason::Arc => "Give the arc its centre (I, J, K) or a radius that reaches its end.",
            Reason::ArcFromUnknown => "Go to the start of the arc first, with a word for each of its axes.",
            Reason::TravelUnknown(_) => {
                "Send the axis to a place in absolute coordinates (G90) first, or give one clearance with --play."
            }
            Reason::OtherOffset(_) => {
                "Make a program for each work offset, with its own --work-offset, or give one clearance with --play."
            }
            Reason::RotaryArc => "Post the arc as lines, or without the rotary word.",
            Reason::Turns => {
                "Write one block for each turn, with a centre; give a P that belongs to another word a block with that word."
            }
            Reason::Cycle(CycleTrouble::Level) => {
                "Put G80 and a move to a clear height in absolute coordinates before this hole, and begin the cycle anew."
            }
            Reason::Cycle(CycleTrouble::Upward) => {
                "Check depth and R plane; post what is drilled upward as plain moves."
            }
            Reason::Cycle(_) => "Post the holes in absolute coordinates, one block each, or as plain moves.",
            Reason::PastLimit { .. } => {
                "Clamp the work further from the end of the travel, or choose another --strategy for the axis."
            }
            Reason::Skipped => "Remove the / or post the block in absolute coordinates.",
            Reason::SkippedMode => "Remove the / or write the modes again in this block.",
            Reason::Shifted(_) => "Set the offset before the program, or by G92.",
            Reason::AfterEnd => "Put each program into a file of its own.",
            Reason::Unseated(_) => {
                "Move the axis in the clear before the cut, say by --clear-z where that is, or leave out --strict."
            }
        }
    }
}

impl fmt::Display for Reason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Reason::Unreadable(kind) => kind.fmt(f),
            Reason::AlreadyCorrected => f.write_str("the program was corrected already"),
            Reason::UnknownCode => f.write_str("a word whose effect on the axes is not known"),
            Reason::Parallel(axis) => write!(f, "a word of the axis parallel to {axis}, or of its increment"),
            Reason::Twice => f.write_str("a word stands twice in the block"),
            Reason::Conflict => f.write_str("two words of the block exclude each other"),
            Reason::Subprogram => f.write_str("a subprogram call or return"),
            Reason::CutterCompensation => f.write_str("cutter compensation in the plane of a corrected axis"),
            Reason::Transformed => {
                f.write_str("polar coordinates, scaling, rotation or mirror of a corrected axis")
            }
            Reason::ToolPoint => f.write_str("tool-point control with rotary axes"),
            Reason::Threading => f.write_str("threading"),
            Reason::Probing => f.write_str("a probing move"),
            Reason::Spline => f.write_str("a spline"),
            Reason::NoMotion => f.write_str("an axis word before any motion word"),
            Reason::NoTime => f.write_str("a cut in inverse time (G93) without an F word"),
            Reason::OutOfRange => f.write_str("a length out of range"),
            Reason::Arc => f.write_str("an arc whose centre or radius does not fit its ends"),
            Reason::ArcFromUnknown => f.write_str("an arc from a place that is not known"),
            Reason::TravelUnknown(axis) => {
                write!(f, "{axis} cuts from an unknown place and its correction changes along the travel")
            }
            Reason::OtherOffset(axis) => {
                write!(f, "another work offset, and the correction of {axis} changes along the travel")
            }
            Reason::RotaryArc => f.write_str("an arc with a rotary word, which must be divided here"),
            Reason::Turns => f.write_str("an arc of several turns by its radius, or beside another word that claims P"),
            Reason::Cycle(CycleTrouble::Incremental) => f.write_str(
                "an incremental cycle, and a correction that changes along the travel",
            ),
            Reason::Cycle(CycleTrouble::CountsFromR) => {
                f.write_str("incremental holes behind others of their cycle, where controls count R from different places")
            }
            Reason::Cycle(CycleTrouble::StepAside) => {
                f.write_str("a back bore that steps aside along an axis whose correction changes along the travel")
            }
            Reason::Cycle(CycleTrouble::Incomplete) => f.write_str("a cycle without depth or R plane"),
            Reason::Cycle(CycleTrouble::Upward) => f.write_str("a cycle whose depth lies above its R plane"),
            Reason::Cycle(CycleTrouble::Foreign) => f.write_str("a cycle with an I, J or K that it does not define"),
            Reason::Cycle(CycleTrouble::Level) => {
                f.write_str("a cycle that was taken up again and whose level for G98 is not known or not to be reached")
            }
            Reason::Cycle(CycleTrouble::TurnsAbove) => {
                f.write_str("repeats of a cycle that turn round above the level at which it began")
            }
            Reason::Cycle(CycleTrouble::Ambiguous) => {
                f.write_str("a cycle that taps, bores or threads, by the control")
            }
            Reason::Cycle(CycleTrouble::Repeats) => f.write_str("a cycle whose repeats are no whole number"),
            Reason::PastLimit { axis, command, limit } => write!(
                f,
                "the correction would send {axis} to {} mm ({:.5} in), past the travel limit of {} mm ({:.5} in)",
                command.as_mm(),
                command.as_unit(Unit::Inch),
                limit.as_mm(),
                limit.as_unit(Unit::Inch)
            ),
            Reason::Skipped => {
                f.write_str("a block that may be skipped moves a corrected axis incrementally")
            }
            Reason::SkippedMode => {
                f.write_str("a block that may be skipped changes a mode that this block relies on")
            }
            Reason::Shifted(axis) => {
                write!(f, "an offset is set from where {axis} stands, and its command is shifted there")
            }
            Reason::AfterEnd => f.write_str(
                "a motion behind the end of the program, with modes from before it or behind text that is no program",
            ),
            Reason::Unseated(axis) => write!(f, "a cut begins while the seat of {axis} is unknown"),
        }
    }
}

/// A program that is not rewritten: where, and why.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Refusal {
    /// The line, counted from 1.
    pub line: u64,
    /// The word in the line; absent if the whole line is meant.
    pub word: Option<Span>,
    /// Why.
    pub reason: Reason,
}

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}", self.line)?;
        if let Some(word) = self.word {
            write!(f, ", column {}", word.start.saturating_add(1))?;
        }
        write!(f, ": {}. {}", self.reason, self.reason.way_out())
    }
}

impl core::error::Error for Refusal {}

/// A refusal of a line, before its number is known.
#[derive(Clone, Copy, Debug)]
pub(super) struct Stop(pub Option<Span>, pub Reason);

impl From<Fault> for Stop {
    fn from(fault: Fault) -> Self {
        Stop(Some(fault.span), Reason::Unreadable(fault.kind))
    }
}

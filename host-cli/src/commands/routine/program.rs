//! A test program in words of ISO 6983 that every mill control of the common core knows: a head with
//! the cautions, moves at a feed only, the spindle stopped, a dwell and an optional stop per reading.

use super::{Pace, word};
use crate::units::trimmed;
use std::fmt::Write as _;
use takeup_core::axis::{Axis, Direction};
use takeup_core::length::{Length, Unit};
use takeup_core::measure::routine::Stop;

/// A program while it is written.
pub(super) struct Program {
    text: String,
    axis: Axis,
    unit: Unit,
    pace: Pace,
}

/// What a test program says at its head of itself.
pub(super) struct Head {
    /// What test it is, and how it moves; upper case, lines short.
    pub about: Vec<String>,
    /// Cautions of this kind of test beside those of all.
    pub cautions: Vec<String>,
}

impl Program {
    /// The head: what it does, the cautions, the modes.
    pub(super) fn begin(head: Head, axis: Axis, unit: Unit, travel: (Length, Length), pace: Pace) -> Self {
        let mut program = Self { text: String::new(), axis, unit, pace };
        program.put("%");
        let mut about = head.about;
        about.insert(
            1.min(about.len()),
            format!("UNITS: {}, ABSOLUTE POSITIONS", unit.symbol().to_uppercase()),
        );
        let (low, high) = travel;
        let moves = if low == high {
            format!("THE COMMAND OF {axis} STAYS WHERE IT IS")
        } else {
            format!("THE COMMAND RUNS FROM {axis}{} TO {axis}{}", word(low, unit), word(high, unit))
        };
        about.insert(2.min(about.len()), moves);
        about.push("CAUTIONS".to_owned());
        about.push("SPINDLE OFF AND LOCKED OUT. NO TOOL NEAR THE TABLE".to_owned());
        if low != high {
            about.push("CHECK THAT ALL OF THIS TRAVEL IS FREE, SOFT LIMITS ON".to_owned());
        }
        let always = [
            "FIRST RUN: INDICATOR OFF, SINGLE BLOCK, LOW OVERRIDE",
            "HAND ON THE EMERGENCY STOP. NOBODY REACHES IN WHILE",
            "DRIVES ARE LIVE. INDICATOR CLEAR BEFORE EVERY LONG MOVE",
        ];
        about.extend(always.map(str::to_owned));
        about.extend(head.cautions);
        let last = [
            "DWELL G4 P IS IN SECONDS HERE: CHECK YOUR CONTROL",
            "OPTIONAL STOP M1: SWITCH IT ON TO READ WITHOUT HASTE",
            "MAKER'S MANUAL AND LOCAL RULES COME FIRST",
        ];
        about.extend(last.map(str::to_owned));
        for line in about {
            program.comment(&line);
        }
        program.put("M5 (SPINDLE STOPPED)");
        program.put(match unit {
            Unit::Mm => "G21 (MILLIMETRES)",
            Unit::Inch => "G20 (INCHES)",
        });
        program.put("G90 (ABSOLUTE)");
        program.put("G94 (FEED PER MINUTE)");
        program
    }

    fn put(&mut self, line: &str) {
        self.text.push_str(line);
        self.text.push('\n');
    }

    /// A comment on a line of its own.
    pub(super) fn comment(&mut self, text: &str) {
        let _ = writeln!(self.text, "({text})");
    }

    /// A stop that is not optional: the person has something to do.
    pub(super) fn hold(&mut self, what: &str) {
        let _ = writeln!(self.text, "M0 ({what})");
    }

    /// A move at the feed.
    pub(super) fn feed_to(&mut self, to: Length, what: &str) {
        let (axis, unit) = (self.axis, self.unit);
        let (to, feed) = (word(to, unit), word(self.pace.feed, unit));
        let _ = writeln!(self.text, "G1 {axis}{to} F{feed} ({what})");
    }

    /// A wait of some seconds.
    pub(super) fn dwell(&mut self, seconds: f64, what: &str) {
        let seconds = trimmed(seconds, 3);
        let _ = writeln!(self.text, "G4 P{seconds} ({what})");
    }

    /// Settles, and stops for the person to read.
    pub(super) fn read(&mut self, stop: Stop) {
        self.dwell(self.pace.dwell_s, "SETTLE");
        let side = match stop.approach {
            Direction::Plus => "MOVED IN + LAST",
            Direction::Minus => "MOVED IN - LAST",
        };
        let _ = writeln!(self.text, "M1 (READ ROW {}: CYCLE {}, {side})", stop.row, stop.cycle);
    }

    /// The whole program.
    pub(super) fn end(mut self) -> String {
        self.put("M30 (END: THE AXIS STAYS WHERE IT IS)");
        self.put("%");
        self.text
    }
}

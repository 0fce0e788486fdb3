//! How words, numbers and lines are written.

use super::{Feed, Language, Writer};
use std::fmt::Write;

impl Writer<'_> {
    /// A line of words, spelled as some post would.
    pub(super) fn line(&mut self, words: &str) {
        self.line_from("", words);
    }

    /// A line with a mark at its head.
    pub(super) fn line_from(&mut self, mark: &str, words: &str) {
        self.text.push_str(mark);
        if let Some(number) = &mut self.number {
            let _ = write!(self.text, "N{number} ");
            *number += 5;
        }
        let mut words = words.to_owned();
        if self.language == Language::Whole {
            match self.dice.below(24) {
                0 | 1 => words = words.replace(' ', ""),
                2 => words = words.replace(' ', "\t  "),
                3 => words = words.chars().flat_map(|c| [c, ' ']).collect(),
                4 if !words.contains('(') => words = words.replace(' ', " (x) "),
                _ => {}
            }
        }
        if self.lower {
            words = words.to_lowercase();
        }
        self.text.push_str(&words);
        if self.language == Language::Whole && self.dice.once_in(15) {
            let comment =
                self.dice.one_of(&[" (rib 3)", " ; wall", " (G0 Z-50 is not meant)", ";g1 x9", " (a) (b)"]);
            self.text.push_str(comment);
        }
        self.text.push_str(self.end);
        if self.language == Language::Whole && self.dice.once_in(40) {
            let blank = self.dice.one_of(&["", "  ", "(between)", "; between"]);
            self.text.push_str(blank);
            self.text.push_str(self.end);
        }
    }

    /// A number of thousandths as posts write it.
    pub(super) fn decimal(&mut self, thousandths: i64) -> String {
        let sign = if thousandths < 0 { "-" } else { "" };
        let (whole, part) = (thousandths.abs() / 1000, thousandths.abs() % 1000);
        let mut text = format!("{whole}.{part:03}");
        if self.dice.once_in(2) {
            text = text.trim_end_matches('0').to_owned();
        }
        if part == 0 && self.dice.once_in(4) {
            text = format!("{whole}");
        } else if whole == 0 && text.len() > 2 && self.dice.once_in(3) {
            text.remove(0);
        }
        if self.language == Language::Whole {
            match self.dice.below(40) {
                0 if sign.is_empty() => return format!("+{text}"),
                1 if whole > 0 => return format!("{sign}00{text}"),
                2 if text.contains('.') => return format!("{sign}{text}00"),
                _ => {}
            }
        }
        format!("{sign}{text}")
    }

    /// An axis word that leads to a place.
    pub(super) fn word(&mut self, axis: usize, to: i64) -> String {
        let said = if self.incremental { to - self.at[axis] } else { to };
        if !self.incremental && self.untold == Some(axis) {
            self.untold = None;
        }
        format!("{}{}", ["X", "Y", "Z"][axis], self.decimal(said))
    }

    /// A line that says where to go, with the motion word that it needs or could do without.
    pub(super) fn motion(&mut self, mark: &str, motion: &'static str, words: &str) {
        let may_leave_out = self.language == Language::Whole && self.motion == motion && self.dice.once_in(3);
        self.motion = motion;
        let feed = if motion == "G0" { String::new() } else { self.feed_word() };
        let mut head = if may_leave_out { String::new() } else { format!("{motion} ") };
        if self.language == Language::Whole && matches!(motion, "G0" | "G1") && self.dice.once_in(60) {
            // The spindle comes up to speed before the move.
            head = format!("G4 P0.5 {motion} ");
        }
        let cuts = self.language == Language::Whole && motion != "G0";
        // Words that act before the move.
        let ahead = if cuts && self.dice.once_in(30) {
            self.dice.one_of(&[" S900", " M8", " M3 S1200", " M4"])
        } else {
            ""
        };
        self.line_from(mark, &format!("{head}{words}{feed}{ahead}"));
    }

    pub(super) fn rapid(&mut self, words: &str) {
        self.motion("", "G0", words);
    }

    /// The feed, where the mode demands it in every block, or now and then.
    fn feed_word(&mut self) -> String {
        match self.feed {
            Feed::InverseTime => format!(" F{}", 1 + self.dice.below(400)),
            Feed::PerRevolution if self.dice.once_in(5) => format!(" F0.{}", 1 + self.dice.below(9)),
            Feed::PerMinute if self.dice.once_in(5) => format!(" F{}", 100 + self.dice.below(400)),
            _ => String::new(),
        }
    }

    /// Lengths in thousandths of the unit: inch programs are as large as millimetre programs.
    pub(super) fn scaled(&self, mm: i64) -> i64 {
        if self.inch { mm / 25 } else { mm }
    }
}

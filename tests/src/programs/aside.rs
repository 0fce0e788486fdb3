//! What is not motion, and what changes how motion is told.

use super::{Feed, Part, Writer};

impl Writer<'_> {
    pub(super) fn aside(&mut self) {
        match self.dice.below(16) {
            0 => self.other_words(),
            1 | 2 if self.has(Part::ToolChanges) => self.tool_change(),
            3 | 4 if self.has(Part::MachinePlaces) => self.machine_place(),
            5 if self.has(Part::LengthOffsets) => self.length_offset(),
            6 if self.has(Part::WorkOffsets) => self.work_offset(),
            7 | 8 if self.has(Part::Renaming) => self.rename(),
            9 if self.has(Part::Feeds) => self.feed_mode(),
            10 | 11 if self.has(Part::AbsoluteCentres) => {
                self.absolute_centres = !self.absolute_centres;
                self.line(if self.absolute_centres { "G90.1" } else { "G91.1" });
            }
            12 | 13 if self.has(Part::Rotary) => self.rotary(),
            14 | 15 if self.has(Part::BlockDelete) => self.block_delete(),
            _ => self.other_words(),
        }
    }

    fn other_words(&mut self) {
        let words = self.dice.one_of(&[
            "G4 P0.5",
            "G4 X.5",
            "M8",
            "M9",
            "S5000",
            "G61",
            "G64",
            "G64 P0.001",
            "G40",
            "M0",
            "M1",
            "M3 S900",
            "T7",
            "G94",
            "G97 S3000",
            "D3",
            "G9",
        ]);
        if words != "G94" || self.feed == Feed::PerMinute {
            self.line(words);
        }
    }

    fn up(&mut self) {
        self.absolute();
        let high = self.scaled(30_000);
        let z = self.word(2, high);
        self.at[2] = high;
        self.rapid(&z);
    }

    /// Back to work after places were forgotten: every axis is told again, or the program counts on Z.
    fn again(&mut self) {
        match self.dice.below(7) {
            0..=2 => self.enter(),
            3..=5 => self.enter_in_a_hurry(),
            _ if self.has(Part::Counted) => self.tell_all_but(2),
            _ => self.enter(),
        }
    }

    fn tool_change(&mut self) {
        self.up();
        let words = self.dice.one_of(&["T4 M6", "M6 T4", "M06"]);
        self.line(words);
        self.again();
    }

    fn machine_place(&mut self) {
        match self.dice.below(6) {
            0 => self.line("G91 G28 Z0"),
            1 => self.line("G28 G91 X0. Y0. Z0."),
            2 => {
                self.up();
                self.line("G28");
            }
            3 => self.line("G91 G30 Z0"),
            4 => self.line("G53 G0 Z0"),
            _ => self.line("G90 G0 G53 Z-5."),
        }
        self.motion = "";
        self.line("G90");
        self.incremental = false;
        // Not even the program counts on where this was.
        if self.dice.once_in(2) { self.enter() } else { self.enter_in_a_hurry() }
    }

    fn length_offset(&mut self) {
        self.up();
        let words = self.dice.one_of(&["G43 H3", "G49", "G44 H2", "G43 H1 G0", "G43.1 Z1.25"]);
        self.line(words);
        self.motion = "";
        self.again();
    }

    fn work_offset(&mut self) {
        self.up();
        // The offset that may be in force already, and the data of another one, too.
        let words = self.dice.one_of(&[
            "G54",
            "G55",
            "G59.3",
            "G54.1 P4",
            "G10 L2 P0 X1. Y2. Z3.",
            "G10 L2 P5 X1. Y2. Z3.",
            "G10 L1 P3 R2.5",
            "G10 L10 P3 R2.5",
            "G52 X5. Y0. Z0.",
        ]);
        self.line(words);
        self.motion = "";
        self.again();
    }

    /// G92 gives the place where the tool is a new name.
    fn rename(&mut self) {
        self.up();
        match self.dice.below(5) {
            // Of a rotary axis alone.
            1 => self.line("G92.4 A0 S0"),
            0 => {
                self.line(if self.dice.clone().once_in(2) { "G92.1" } else { "G92.2" });
                self.again();
            }
            _ => {
                let to = [self.place(0) / 4, self.place(1) / 4, self.at[2]];
                let words = [0, 1, 2].map(|axis| self.word(axis, to[axis]));
                self.at = to;
                self.line(&format!("G92 {}", words.join(" ")));
                self.again();
            }
        }
    }

    fn feed_mode(&mut self) {
        (self.feed, _) = match self.dice.below(3) {
            0 => (Feed::PerMinute, self.line("G94 F250.")),
            1 => (Feed::PerRevolution, self.line("G95 F.2")),
            _ => (Feed::InverseTime, self.line("G93")),
        };
    }

    fn rotary(&mut self) {
        let angle = self.dice.below(720) as i64 * 500;
        let letter = self.dice.one_of(&["A", "B", "C"]);
        let word = format!("{letter}{}", self.decimal(angle));
        if self.dice.once_in(3) {
            // Round in the clear, or where it is.
            self.rapid(&word);
        } else {
            let words = self.cut_words();
            self.motion("", "G1", &format!("{words} {word}"));
        }
    }

    /// A cut that may be skipped; behind it every axis is told again.
    fn block_delete(&mut self) {
        self.absolute();
        let mark = self.dice.one_of(&["/", "/ ", "/2 "]);
        match self.dice.below(3) {
            0 => self.line_from(mark, "M8"),
            1 => {
                let words = self.cut_words();
                self.motion(mark, "G1", &format!("G1 {words}").replace("G1 G1", "G1"));
            }
            _ => {
                let words = self.cut_words();
                self.motion = "";
                self.motion(mark, "G1", &words);
            }
        }
        self.motion = "";
        self.lift();
    }
}

//! Random milling programs over the whole language, from a seed.
//!
//! Every program is one that a control would run: positions are known before they are needed, arcs fit,
//! cycles have their words. Spelling varies as posts vary it: case, blanks, points, block numbers,
//! comments, line ends. The same seed gives the same program on every machine.

use std::fmt::Write;

/// A small generator of random numbers (splitmix64, recalled from memory).
#[derive(Clone, Debug)]
pub struct Dice(u64);

impl Dice {
    /// From a seed.
    pub fn new(seed: u64) -> Self {
        Self(seed)
    }

    /// The next number.
    pub fn roll(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// A whole number below a limit.
    pub fn below(&mut self, limit: u64) -> u64 {
        self.roll() % limit
    }

    /// True once in a while.
    pub fn once_in(&mut self, times: u64) -> bool {
        self.below(times) == 0
    }
}

/// What a program may contain.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Language {
    /// G0 and G1, absolute and incremental, millimetres.
    Straight,
    /// Arcs, helices, planes, inches, cycles, offsets, tool changes, spelling.
    Whole,
}

/// A program being written. Positions are whole thousandths of the program's unit.
struct Writer {
    dice: Dice,
    language: Language,
    text: String,
    at: [i64; 3],
    incremental: bool,
    inch: bool,
    lower: bool,
    number: Option<u32>,
    end: &'static str,
}

/// A program of about `blocks` blocks.
pub fn program(seed: u64, language: Language, blocks: usize) -> String {
    let mut dice = Dice::new(seed);
    let whole = language == Language::Whole;
    let mut writer = Writer {
        language,
        text: String::new(),
        at: [0; 3],
        incremental: false,
        inch: whole && dice.once_in(5),
        lower: whole && dice.once_in(6),
        number: (whole && dice.once_in(3)).then_some(10),
        end: if whole && dice.once_in(4) { "\r\n" } else { "\n" },
        dice,
    };
    writer.head();
    for _ in 0..blocks {
        writer.something();
    }
    writer.tail();
    writer.text
}

impl Writer {
    fn line(&mut self, words: &str) {
        if let Some(number) = &mut self.number {
            let _ = write!(self.text, "N{number} ");
            *number += 5;
        }
        let mut words = words.to_owned();
        if self.language == Language::Whole && self.dice.once_in(12) {
            words = words.replace(' ', "");
        }
        if self.lower {
            words = words.to_lowercase();
        }
        self.text.push_str(&words);
        if self.language == Language::Whole && self.dice.once_in(15) {
            self.text.push_str(if self.dice.once_in(2) { " (rib 3)" } else { " ; wall" });
        }
        self.text.push_str(self.end);
    }

    /// A number of thousandths as posts write it.
    fn decimal(&mut self, thousandths: i64) -> String {
        let sign = if thousandths < 0 { "-" } else { "" };
        let (whole, part) = (thousandths.abs() / 1000, thousandths.abs() % 1000);
        let mut text = format!("{whole}.{part:03}");
        if self.dice.once_in(2) {
            text = text.trim_end_matches('0').to_owned();
        }
        if part == 0 && self.dice.once_in(4) {
            return format!("{sign}{whole}");
        }
        if whole == 0 && text.len() > 2 && self.dice.once_in(3) {
            text.remove(0);
        }
        format!("{sign}{text}")
    }

    fn word(&mut self, axis: usize, to: i64) -> String {
        let said = if self.incremental { to - self.at[axis] } else { to };
        format!("{}{}", ["X", "Y", "Z"][axis], self.decimal(said))
    }

    fn head(&mut self) {
        if self.language == Language::Whole {
            self.text.push_str(if self.dice.once_in(2) { "%\n" } else { "" });
            self.line("O17 (core box)");
            self.line(if self.inch { "G20 G90 G17" } else { "G21 G90 G17" });
            if self.dice.once_in(2) {
                self.line("G54 G94 G40 G49 G80");
            }
            self.line("T3 M6");
            self.line("S4000 M3");
        }
        match self.dice.below(3) {
            0 => self.enter(),
            1 => self.begin_at_the_height_of_a_rapid(),
            _ => self.begin_without_a_rapid(),
        }
    }

    /// The first cut goes sideways from where the last rapid ended: nothing plunges.
    fn begin_at_the_height_of_a_rapid(&mut self) {
        let to = [self.place(0), self.place(1), self.scaled(5_000)];
        let words = [0, 1, 2].map(|axis| self.word(axis, to[axis]));
        self.line(&format!("G90 G0 {}", words.join(" ")));
        self.at = to;
        if self.dice.once_in(2) {
            let low = 1_000 + self.dice.below(2_000) as i64;
            let low = self.scaled(low);
            let z = self.word(2, low);
            self.line(&z);
            self.at[2] = low;
        }
        if self.language == Language::Whole && self.dice.once_in(2) {
            self.circle();
        }
    }

    /// The first motion of all cuts: no place where an axis could be seated.
    fn begin_without_a_rapid(&mut self) {
        let to = [self.place(0) / 4, self.place(1) / 4, -self.scaled(1_000)];
        let mut chosen = if self.language == Language::Whole { 7 } else { 1 + self.dice.below(7) };
        while chosen != 0 {
            // In one block, or axis after axis: what an axis reaches first is told in its own block.
            let now = if self.dice.once_in(2) { chosen } else { 1 + self.dice.below(7) };
            let words: Vec<String> =
                (0..3).filter(|axis| now & (1 << axis) != 0).map(|axis| self.word(axis, to[axis])).collect();
            self.line(&format!("G1 {} F300", words.join(" ")));
            (0..3).filter(|axis| now & (1 << axis) != 0).for_each(|axis| self.at[axis] = to[axis]);
            chosen &= !now;
        }
    }

    /// Lengths in thousandths of the unit: inch programs are as large as millimetre programs.
    fn scaled(&self, mm: i64) -> i64 {
        if self.inch { mm / 25 } else { mm }
    }

    /// Into the clear, moving every axis far enough both ways that its seat is known, then down.
    fn enter(&mut self) {
        self.incremental = false;
        let (high, wide) = (self.scaled(30_000), self.scaled(40_000));
        for (z, xy) in [(high, 0), (high + self.scaled(2_000), wide), (self.scaled(5_000), 0)] {
            let to = [xy, xy, z];
            let (up, x, y) = (self.word(2, z), self.word(0, xy), self.word(1, xy));
            self.line(&format!("G90 G0 {up}"));
            self.line(&format!("{x} {y}"));
            self.at = to;
        }
        self.plunge();
    }

    fn plunge(&mut self) {
        let deep = self.dice.below(6) as i64;
        let depth = -self.scaled(1_000 + 500 * deep);
        let z = self.word(2, depth);
        self.at[2] = depth;
        self.line(&format!("G1 {z} F200."));
    }

    fn lift(&mut self) {
        let high = self.scaled(5_000);
        let z = self.word(2, high);
        self.at[2] = high;
        self.line(&format!("G0 {z}"));
        let to = [self.place(0), self.place(1)];
        let (x, y) = (self.word(0, to[0]), self.word(1, to[1]));
        (self.at[0], self.at[1]) = (to[0], to[1]);
        self.line(&format!("{x} {y}"));
        self.plunge();
    }

    fn place(&mut self, _axis: usize) -> i64 {
        let range = self.scaled(60_000);
        self.dice.below(2 * range as u64) as i64 - range
    }

    /// A step from where an axis is: mostly small, sometimes a few thousandths.
    fn step(&mut self) -> i64 {
        let most = [20, 300, 3_000, 15_000][self.dice.below(4) as usize];
        let most = self.scaled(most).max(2);
        self.dice.below(2 * most as u64 + 1) as i64 - most
    }

    fn something(&mut self) {
        let whole = self.language == Language::Whole;
        match self.dice.below(if whole { 20 } else { 12 }) {
            0 => self.lift(),
            1 => {
                self.incremental = !self.incremental;
                self.line(if self.incremental { "G91" } else { "G90" });
            }
            2..=11 => self.cut(),
            12..=15 => self.arc(),
            16 => self.helix_or_other_plane(),
            17 => self.cycle(),
            18 => self.aside(),
            _ => self.circle(),
        }
    }

    fn cut(&mut self) {
        let mut words = String::from("G1");
        let chosen = 1 + self.dice.below(7);
        let mut to = self.at;
        for (axis, place) in to.iter_mut().enumerate() {
            if chosen & (1 << axis) != 0 {
                let step = self.step();
                *place += if axis == 2 { step / 3 } else { step };
                if axis == 2 {
                    *place = (*place).clamp(-self.scaled(20_000), -self.scaled(100));
                }
                let word = self.word(axis, *place);
                words.push(' ');
                words.push_str(&word);
            }
        }
        if self.dice.once_in(5) {
            let _ = write!(words, " F{}", 100 + self.dice.below(400));
        }
        self.at = to;
        self.line(&words);
    }

    fn turn(&mut self) -> &'static str {
        if self.dice.once_in(2) { "G2" } else { "G3" }
    }

    /// A quarter or half circle in a plane: exact in thousandths.
    fn round(&mut self, first: usize, second: usize, letters: [&str; 2], extra: Option<usize>) {
        let size = self.dice.below(9_000) as i64;
        let radius = self.scaled(200 + size).max(4);
        let turn = self.turn();
        // From the centre the start lies at one of the four quadrants.
        let quadrants = [(1, 0), (0, 1), (-1, 0), (0, -1)];
        let start = self.dice.below(4) as usize;
        let quarters = 1 + self.dice.below(3) as usize;
        let end = if turn == "G3" { (start + quarters) % 4 } else { (start + 4 - quarters) % 4 };
        let centre =
            [self.at[first] - quadrants[start].0 * radius, self.at[second] - quadrants[start].1 * radius];
        let mut to = self.at;
        to[first] = centre[0] + quadrants[end].0 * radius;
        to[second] = centre[1] + quadrants[end].1 * radius;
        if let Some(third) = extra {
            to[third] += self.step() / 2;
        }
        let mut words = vec![turn.to_owned(), self.word(first, to[first]), self.word(second, to[second])];
        if let Some(third) = extra {
            words.push(self.word(third, to[third]));
        }
        if self.dice.once_in(3) {
            let radius = self.decimal(if quarters == 3 { -radius } else { radius });
            words.push(format!("R{radius}"));
        } else {
            let offsets = [-quadrants[start].0 * radius, -quadrants[start].1 * radius];
            for (letter, offset) in letters.iter().zip(offsets) {
                let offset = self.decimal(offset);
                words.push(format!("{letter}{offset}"));
            }
        }
        self.at = to;
        self.line(&words.join(" "));
    }

    fn arc(&mut self) {
        self.round(0, 1, ["I", "J"], None);
    }

    fn helix_or_other_plane(&mut self) {
        match self.dice.below(3) {
            0 => self.round(0, 1, ["I", "J"], Some(2)),
            1 => {
                self.line("G18");
                self.round(2, 0, ["K", "I"], None);
                self.line("G17");
            }
            _ => {
                self.line("G19");
                self.round(1, 2, ["J", "K"], None);
                self.line("G17");
            }
        }
    }

    fn circle(&mut self) {
        let size = self.dice.below(5_000) as i64;
        let radius = self.scaled(500 + size);
        let turn = self.turn();
        let x = self.word(0, self.at[0]);
        let i = self.decimal(radius);
        self.line(&format!("{turn} {x} I{i}"));
    }

    fn cycle(&mut self) {
        let high = self.scaled(5_000);
        let z = self.word(2, high);
        self.at[2] = high;
        self.line(&format!("G0 {z}"));
        self.incremental = false;
        let cycle = ["G81", "G82", "G83", "G73", "G85"][self.dice.below(5) as usize];
        let back = if self.dice.once_in(2) { "G98" } else { "G99" };
        let (retract, depth) = (self.scaled(2_000), -self.scaled(3_000));
        let (depth, plane, peck) = (self.decimal(depth), self.decimal(retract), self.scaled(1_250));
        let peck = match cycle {
            "G83" | "G73" => format!(" Q{}", self.decimal(peck)),
            "G82" => " P0.2".to_owned(),
            _ => String::new(),
        };
        for hole in 0..1 + self.dice.below(4) {
            let to = [self.place(0), self.place(1)];
            let (x, y) = (self.word(0, to[0]), self.word(1, to[1]));
            (self.at[0], self.at[1]) = (to[0], to[1]);
            if hole == 0 {
                self.line(&format!("G90 {back} {cycle} {x} {y} Z{depth} R{plane}{peck} F120"));
            } else {
                self.line(&format!("{x} {y}"));
            }
        }
        self.line("G80");
        let z = self.word(2, high);
        self.at[2] = high;
        self.line(&format!("G0 {z}"));
        self.plunge();
    }

    /// What is not motion, and what forgets the seats.
    fn aside(&mut self) {
        match self.dice.below(6) {
            0 => self.line("G4 P0.5"),
            1 => self.line("M8"),
            2 => self.line("S5000"),
            3 => self.line("G61"),
            4 => {
                let high = self.scaled(30_000);
                let z = self.word(2, high);
                self.at[2] = high;
                self.line(&format!("G0 {z}"));
                self.line("T4 M6");
                self.enter();
            }
            _ => {
                self.line("G91 G28 Z0");
                self.line("G90");
                // Behind it the place of Z is told again before it matters.
                self.enter();
            }
        }
    }

    fn tail(&mut self) {
        self.incremental = false;
        let high = self.scaled(30_000);
        let z = self.word(2, high);
        self.at[2] = high;
        self.line(&format!("G90 G0 {z}"));
        if self.language == Language::Whole {
            self.line("M5");
            self.line("M30");
        }
    }
}

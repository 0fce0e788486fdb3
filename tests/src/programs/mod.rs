//! Random milling programs over the whole language, from a seed.
//!
//! Every program is one that a control would run: arcs fit, cycles have their words, and positions are known before
//! they are needed, or counted on. Spelling varies as posts vary it: case, blanks, points, block numbers,
//! comments, line ends. The same seed gives the same program on every machine.

mod aside;
mod cycles;
mod dice;
mod motions;
mod refused;
mod spelling;

pub use dice::Dice;
pub use refused::{CONSTRUCTS, Construct, refused};

/// What a program may contain.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Language {
    /// G0 and G1, absolute and incremental, millimetres.
    Straight,
    /// Everything, with what is ready of the parts that can be left out.
    Whole,
}

/// A part of the language that a program may be made without.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Part {
    /// Arcs, helices and full circles.
    Arcs,
    /// Arcs of more than one turn (P).
    Turns,
    /// G18 and G19.
    Planes,
    /// G90.1: centres are places.
    AbsoluteCentres,
    /// G93 and G95.
    Feeds,
    /// G73 and G81 to G86, G88, G89 in G17, absolute.
    Cycles,
    /// Cycles in G91.
    IncrementalCycles,
    /// Cycles with L.
    RepeatedCycles,
    /// Cycles in G18 and G19.
    CyclesInPlanes,
    /// G87.
    BackBoring,
    /// Words of rotary axes.
    Rotary,
    /// Blocks that may be skipped.
    BlockDelete,
    /// G43, G43.1, G44, G49.
    LengthOffsets,
    /// G54 to G59.3, G10 L2, G52.
    WorkOffsets,
    /// G92 and its family.
    Renaming,
    /// G28, G30, G53.
    MachinePlaces,
    /// M6.
    ToolChanges,
    /// Axes of which the program counts on where they are.
    Counted,
}

/// All parts.
pub const ALL: [Part; 18] = [
    Part::Arcs,
    Part::Turns,
    Part::Planes,
    Part::AbsoluteCentres,
    Part::Feeds,
    Part::Cycles,
    Part::IncrementalCycles,
    Part::RepeatedCycles,
    Part::CyclesInPlanes,
    Part::BackBoring,
    Part::Rotary,
    Part::BlockDelete,
    Part::LengthOffsets,
    Part::WorkOffsets,
    Part::Renaming,
    Part::MachinePlaces,
    Part::ToolChanges,
    Part::Counted,
];

/// The parts that are rewritten: all but arcs of several turns, which are plainly refused (`Reason::Turns`).
pub fn ready() -> Vec<Part> {
    ALL.into_iter().filter(|part| *part != Part::Turns).collect()
}

/// A program being written. Positions are whole thousandths of the program's unit.
struct Writer<'p> {
    dice: Dice,
    language: Language,
    parts: &'p [Part],
    text: String,
    at: [i64; 3],
    /// R plane and depth as the last cycle said them, but of a back bore, which has a top besides.
    strokes: Option<(i64, i64)>,
    /// The axis on whose place the program counts.
    untold: Option<usize>,
    /// The motion word in force.
    motion: &'static str,
    incremental: bool,
    absolute_centres: bool,
    feed: Feed,
    inch: bool,
    lower: bool,
    number: Option<u32>,
    end: &'static str,
}

/// What F means.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Feed {
    PerMinute,
    PerRevolution,
    InverseTime,
}

/// A program of about `blocks` blocks.
pub fn program(seed: u64, language: Language, blocks: usize) -> String {
    program_of(seed, language, blocks, &ready())
}

/// A program of about `blocks` blocks with some parts of the language.
pub fn program_of(seed: u64, language: Language, blocks: usize, parts: &[Part]) -> String {
    let mut dice = Dice::new(seed);
    let whole = language == Language::Whole;
    let mut writer = Writer {
        language,
        parts: if whole { parts } else { &[] },
        text: String::new(),
        at: [0; 3],
        strokes: None,
        untold: None,
        motion: "",
        incremental: false,
        absolute_centres: false,
        feed: Feed::PerMinute,
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

impl Writer<'_> {
    fn whole(&self) -> bool {
        self.language == Language::Whole
    }

    fn has(&self, part: Part) -> bool {
        self.parts.contains(&part)
    }

    fn head(&mut self) {
        if self.whole() {
            self.text.push_str(if self.dice.once_in(2) { "%\n" } else { "" });
            self.line("O17 (core box)");
            self.line(if self.inch { "G20 G90 G17" } else { "G21 G90 G17" });
            if self.dice.once_in(2) {
                self.line("G54 G94 G40 G49 G80");
            }
            self.line("T3 M6");
            self.line("S4000 M3");
        }
        match self.dice.below(7) {
            0 | 1 => self.enter(),
            2 | 3 => self.begin_at_the_height_of_a_rapid(),
            4 if !self.whole() || self.has(Part::Counted) => {
                let untold = self.dice.one_of(&[0, 1, 2, 2, 2]);
                self.tell_all_but(untold);
            }
            _ => self.begin_without_a_rapid(),
        }
    }

    fn something(&mut self) {
        match self.dice.below(if self.whole() { 20 } else { 12 }) {
            0 => self.lift(),
            1 => {
                self.incremental = !self.incremental;
                self.line(if self.incremental { "G91" } else { "G90" });
            }
            12..=15 if self.has(Part::Arcs) => self.arc(),
            16 if self.has(Part::Arcs) => self.helix_or_other_plane(),
            17 if self.has(Part::Cycles) => self.cycle(),
            18 => self.aside(),
            19 if self.has(Part::Arcs) => self.circle(),
            _ => self.cut(),
        }
    }

    fn tail(&mut self) {
        self.absolute();
        let high = self.scaled(30_000);
        let z = self.word(2, high);
        self.rapid(&z);
        self.at[2] = high;
        if self.whole() {
            self.line("M5");
            let end = self.dice.one_of(&["M30", "M2", "M02"]);
            self.line(end);
            if self.dice.once_in(3) {
                self.text.push_str("%\n");
            }
        }
    }
}

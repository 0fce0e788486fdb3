//! Where every block ends, by replay's interpreter and by a general-purpose reader of the language from
//! the package registry (`gcode`) under a tracker of G90 and G91 that knows nothing of ours.

use gcode::core::{
    BlockVisitor, CommandVisitor, ControlFlow, Diagnostics, Number, ProgramVisitor, Span, Value,
};
use takeup_core::axis::Axis;
use takeup_core::program::replay::{Interpreter, Reading};
use takeup_tests::programs::{ALL, Language, Part, program_of};

use super::over_seeds;

/// The words of a line, as the other reader gives them.
#[derive(Default)]
struct Line {
    words: Vec<(char, f64)>,
    /// Codes in tenths.
    general: Vec<u32>,
    miscellaneous: Vec<u32>,
    wrong: Option<String>,
}

impl Line {
    fn read(text: &str) -> Self {
        // The other reader knows no block delete and no blanks inside a number.
        let mut plain: String = text.chars().filter(|c| !matches!(c, ' ' | '\t')).collect();
        plain.make_ascii_uppercase();
        let plain = plain.strip_prefix('/').unwrap_or(&plain);
        let mut line = Self::default();
        gcode::core::parse(plain, &mut line);
        line
    }

    fn number(&self, letter: char) -> Option<f64> {
        self.words.iter().find(|word| word.0 == letter).map(|word| word.1)
    }

    fn has(&self, code: u32) -> bool {
        self.general.contains(&code)
    }
}

impl Diagnostics for Line {
    fn emit_unknown_content(&mut self, text: &str, _: Span) {
        self.wrong = Some(text.to_owned());
    }
}

impl ProgramVisitor for Line {
    fn start_block(&mut self) -> ControlFlow<impl BlockVisitor + '_> {
        ControlFlow::Continue(Words(self))
    }
}

struct Words<'l>(&'l mut Line);

impl Diagnostics for Words<'_> {
    fn emit_unknown_content(&mut self, text: &str, _: Span) {
        self.0.wrong = Some(text.to_owned());
    }
}

impl Words<'_> {
    fn word(&mut self, letter: char, value: Value<'_>) {
        if let Value::Literal(number) = value {
            self.0.words.push((letter, f64::from(number)));
        }
    }
}

impl BlockVisitor for Words<'_> {
    fn word_address(&mut self, letter: char, value: Value<'_>, _: Span) {
        self.word(letter, value);
    }

    fn start_general_code(&mut self, number: Number) -> ControlFlow<impl CommandVisitor + '_> {
        self.0.general.push(10 * number.major() + number.minor().map_or(0, u32::from));
        ControlFlow::Continue(Words(self.0))
    }

    fn start_miscellaneous_code(&mut self, number: Number) -> ControlFlow<impl CommandVisitor + '_> {
        self.0.miscellaneous.push(number.major());
        ControlFlow::Continue(Words(self.0))
    }

    fn start_tool_change_code(&mut self, _: Number) -> ControlFlow<impl CommandVisitor + '_> {
        ControlFlow::Continue(Words(self.0))
    }
}

impl CommandVisitor for Words<'_> {
    fn argument(&mut self, letter: char, value: Value<'_>, _: Span) {
        self.word(letter, value);
    }
}

/// G90 and G91, G20 and G21, and what a cycle leaves behind.
struct Tracker {
    at: [f64; 3],
    incremental: bool,
    scale: f64,
    plane: usize,
    cycling: bool,
    /// K counts repeats.
    counts_by_k: bool,
    to_r: bool,
    level: f64,
    /// R and depth of the cycle.
    sticky: [Option<f64>; 2],
}

impl Tracker {
    fn follow(&mut self, line: &Line) {
        for code in &line.general {
            match code {
                900 => self.incremental = false,
                910 => self.incremental = true,
                200 => self.scale = 25.4,
                210 => self.scale = 1.0,
                170 => self.plane = 2,
                180 => self.plane = 1,
                190 => self.plane = 0,
                980 => self.to_r = false,
                990 => self.to_r = true,
                730 | 740 | 760 | 810..=890 | 1840 => {
                    if !self.cycling {
                        (self.level, self.sticky) = (self.at[self.plane], [None; 2]);
                    }
                    self.cycling = true;
                    self.counts_by_k = !matches!(code, 730 | 760 | 830 | 870);
                }
                0 | 10 | 20 | 30 | 800 => self.cycling = false,
                _ => {}
            }
        }
        let places = [('X', 0), ('Y', 1), ('Z', 2)];
        let said = places.map(|(letter, axis)| (axis, line.number(letter).map(|number| number * self.scale)));
        if line.has(920) {
            for (axis, place) in said {
                self.at[axis] = place.unwrap_or(self.at[axis]);
            }
            return;
        }
        // A dwell before a move in its block.
        let dwells = line.has(40) && !(line.has(0) || line.has(10));
        // Dwells, machine places, offsets: these words are no way to go.
        if dwells || [100, 280, 300, 431, 520, 530].iter().any(|code| line.has(*code)) {
            return;
        }
        if self.cycling {
            return self.drill(line, &said);
        }
        for (axis, place) in said {
            let Some(place) = place else { continue };
            self.at[axis] = if self.incremental { self.at[axis] + place } else { place };
        }
    }

    fn drill(&mut self, line: &Line, said: &[(usize, Option<f64>); 3]) {
        let words = [line.number('R').map(|number| number * self.scale), said[self.plane].1];
        for (kept, new) in self.sticky.iter_mut().zip(words) {
            *kept = new.or(*kept);
        }
        if said.iter().all(|(_, place)| place.is_none()) && words[0].is_none() {
            return;
        }
        let counts = |letter| line.number(letter).filter(|_| letter == 'L' || self.counts_by_k);
        let repeats = counts('L').or(counts('K')).unwrap_or(1.0);
        for (axis, place) in said {
            if let (Some(place), true) = (place, *axis != self.plane) {
                let at = &mut self.at[*axis];
                *at = if self.incremental { *at + repeats * place } else { *place };
            }
        }
        if let [Some(r), Some(_)] = self.sticky {
            let third = &mut self.at[self.plane];
            let from = if self.to_r { *third } else { self.level };
            let r = if self.incremental { from + r } else { r };
            *third = if self.to_r { r } else { self.level.max(r) };
        }
    }
}

#[test]
fn every_block_ends_where_another_reader_says() {
    let parts: Vec<Part> = ALL.into_iter().collect();
    over_seeds(40_000..44_000, |seed| {
        let text = program_of(seed, Language::Whole, 12, &parts);
        let mut ours = Interpreter::new(Reading::default());
        let mut theirs = Tracker {
            at: [0.0; 3],
            incremental: false,
            scale: 1.0,
            plane: 2,
            cycling: false,
            counts_by_k: false,
            to_r: false,
            level: 0.0,
            sticky: [None; 2],
        };
        let mut compared = 0;
        for (index, line) in text.lines().enumerate() {
            let told = |what: &str| format!("line {}: {line}: {what}\n{text}", index + 1);
            ours.read(line.as_bytes()).map_err(|refusal| told(&format!("{refusal:?}")))?;
            while ours.next().map_err(|refusal| told(&format!("{refusal:?}")))?.is_some() {}
            if ours.ended() {
                break;
            }
            let read = Line::read(line);
            if let Some(wrong) = &read.wrong {
                return Err(told(&format!("the other reader stops at {wrong:?}")));
            }
            theirs.follow(&read);
            for (axis, place) in Axis::ALL.into_iter().zip(theirs.at) {
                if ours.is_known(axis) {
                    compared += 1;
                    let ours = *ours.position().get(axis);
                    // The other reader's numbers have seven digits.
                    if (ours - place).abs() > 2e-4 {
                        return Err(told(&format!("{axis} at {ours}, by the other reader at {place}")));
                    }
                }
            }
        }
        if compared > 20 { Ok(()) } else { Err(format!("only {compared} places compared\n{text}")) }
    });
}

//! Constructs that no program may have on a corrected axis, put into programs that are otherwise sound.

use super::{Dice, Language, Part, program_of, ready};

/// A construct, with what names it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Construct {
    /// The line.
    pub line: &'static str,
    /// The word that the refusal names.
    pub word: &'static str,
}

const fn construct(line: &'static str, word: &'static str) -> Construct {
    Construct { line, word }
}

/// Refused whichever axis is corrected.
pub const CONSTRUCTS: [Construct; 30] = [
    construct("G1 X#1", "X#"),
    construct("#5 = 3", "#"),
    construct("G1 X[1+2]", "X["),
    construct("G1 Z=R1", "Z="),
    construct("IF [#1 GT 2] GOTO 9", "IF"),
    construct("WHILE [#1 LT 3] DO1", "WHILE"),
    construct("M98 P1000", "M98"),
    construct("M99", "M99"),
    construct("M97 P20", "M97"),
    construct("G65 P9010", "G65"),
    construct("G66 P9010", "G66"),
    construct("G43.4 H1", "G43.4"),
    construct("G234", "G234"),
    construct("G68.2 X0 Y0 Z0 I0 J30 K0", "G68.2"),
    construct("G141", "G141"),
    construct("G112", "G112"),
    construct("G60 X5", "G60"),
    construct("G33.3 K1", "G33.3"),
    construct("G37 X5 Y5 Z-5", "G37"),
    construct("G0 @1 ^30", "@1"),
    construct("G33 X5 Y5 Z-5 K1", "G33"),
    construct("G76 X5 Z-5 P1", "G76"),
    construct("G38.2 X5 Y5 Z-5 F10", "G38.2"),
    construct("G31 X5 Y5 Z-5 F10", "G31"),
    construct("G51 X0 Y0 Z0 I2 J2 K2", "G51"),
    construct("G999", "G999"),
    construct("G1 X1 X2", "X2"),
    construct("G1 X", "X"),
    construct("(LOST MOTION TAKEN UP)", "(LOST MOTION TAKEN UP)"),
    construct("G1 X1 (open", "(open"),
];

/// A program with one construct in it, and the line of it, counted from 1.
pub fn refused(seed: u64) -> (String, Construct, u64) {
    let mut dice = Dice::new(seed ^ 0x7e4a);
    // Nothing that is refused itself where X, Y or Z is corrected.
    let mut parts = ready();
    parts.retain(|part| !matches!(part, Part::IncrementalCycles | Part::Counted));
    let text = program_of(seed, Language::Whole, 6, &parts);
    let construct = dice.one_of(&CONSTRUCTS);
    let mut lines: Vec<&str> = text.lines().collect();
    let ends = |line: &str| {
        let plain: String = line.to_uppercase().split_whitespace().collect();
        ["M2", "M02", "M30"].iter().any(|word| plain.contains(word))
    };
    // Behind the end may stand whatever somebody has to say.
    let end = lines.iter().rposition(|line| ends(line)).unwrap_or(lines.len() - 1);
    let at = 1 + dice.below(end as u64) as usize;
    lines.insert(at, construct.line);
    (lines.join("\n") + "\n", construct, at as u64 + 1)
}

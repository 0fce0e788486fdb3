//! A line of a program taken apart into words, comments and marks.
//!
//! The reader knows spelling only, not meaning: words come in any order and case with spaces
//! anywhere outside comments (NISTIR 6556, section 3.3), and it is for others to say what they do. What
//! is no plain word (variables, expressions, keywords of flow) is a [`Fault`] with its place.
//!
//! Cost: one pass over the bytes, nothing copied, nothing allocated.

use super::number::{MOST_DIGITS, Number, Point, Sign};
use core::fmt;

/// The longest line that is read, in bytes without its line end. NISTIR 6556 (section 3.3) allows
/// 256 characters; long comments are common, a line beyond this limit is no program.
pub const LONGEST_LINE: usize = 65_536;

/// A range of bytes in a line.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Span {
    /// The first byte.
    pub start: usize,
    /// One after the last byte.
    pub end: usize,
}

impl Span {
    /// The bytes of the range in its line; nothing if the line is another one and too short.
    #[must_use]
    pub fn of<'a>(&self, line: &'a [u8]) -> &'a [u8] {
        line.get(self.start..self.end).unwrap_or(&[])
    }
}

/// A letter and its number.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Word {
    /// The letter, upper case; `:` for a program number written so, `@` and `^` for a place in polar coordinates.
    pub letter: u8,
    /// The number.
    pub number: Number,
    /// From the letter to the last digit.
    pub span: Span,
}

/// One thing found in a line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Token {
    /// A word.
    Word(Word),
    /// A comment, with its brackets or from its `;` to the end of the line.
    Comment(Span),
    /// `/` at the head of the line, with the digit of its switch if there is one.
    BlockDelete(Span),
    /// `%`, which opens and closes a tape, with the name of the program if it is at the head of a line.
    Percent(Span),
}

/// What kind of thing the reader could not take for a word.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum FaultKind {
    /// A line longer than [`LONGEST_LINE`].
    LineTooLong,
    /// `(` without `)`.
    UnclosedComment,
    /// `#`: a variable.
    Variable,
    /// `[`, `=` and other signs of an expression.
    Expression,
    /// A word of flow or of subprograms: `IF`, `WHILE`, `GOTO`, `SUB`, or a call with its arguments in brackets.
    Keyword,
    /// A letter without a number.
    NoNumber,
    /// Three letters or more: a keyword of the control's own language, or a remark that stands in no brackets.
    Text,
    /// A number with an exponent, as programs of other kinds print it: controls read E as a word of its own.
    Exponent,
    /// A number of more than 18 digits.
    NumberTooLong,
    /// A byte that has no place outside a comment.
    Unexpected(u8),
}

impl FaultKind {
    /// What to do where the file was saved in a way that no line of it can be read.
    pub(super) const fn way_out_of_file(self) -> Option<&'static str> {
        match self {
            FaultKind::Unexpected(b'\r') => {
                Some("Save the program with LF or CR LF at the end of each line.")
            }
            FaultKind::Unexpected(0x00) => Some(
                "Save or copy the program anew, in ASCII or UTF-8: zeros stand in UTF-16 and in broken copies.",
            ),
            // UTF-16 begins with these.
            FaultKind::Unexpected(0xfe | 0xff) => Some("Save the program in ASCII or UTF-8, not in UTF-16."),
            _ => None,
        }
    }
}

impl fmt::Display for FaultKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            FaultKind::LineTooLong => write!(f, "the line is longer than {LONGEST_LINE} bytes"),
            FaultKind::UnclosedComment => f.write_str("a comment is opened and not closed"),
            FaultKind::Variable => f.write_str("a variable stands in place of a number"),
            FaultKind::Expression => f.write_str("an expression stands in place of a number"),
            FaultKind::Keyword => f.write_str("a keyword of flow or of a subprogram"),
            FaultKind::NoNumber => f.write_str("a letter without a number"),
            FaultKind::Text => {
                f.write_str("a keyword of the control's own language, or a remark outside of ( )")
            }
            FaultKind::Exponent => f.write_str("a number with an exponent, which controls read otherwise"),
            FaultKind::NumberTooLong => write!(f, "a number of more than {MOST_DIGITS} digits"),
            FaultKind::Unexpected(b',') => {
                f.write_str("a comma, as of a corner by the control (,C ,R) or in place of a decimal point")
            }
            FaultKind::Unexpected(b'\r') => f.write_str("a carriage return without a line feed behind it"),
            FaultKind::Unexpected(byte @ 0x21..=0x7e) => {
                write!(f, "unexpected character {}", char::from(*byte))
            }
            FaultKind::Unexpected(byte) => write!(f, "unexpected byte 0x{byte:02x}"),
        }
    }
}

/// Something in a line that is no word, and where.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Fault {
    /// What it is.
    pub kind: FaultKind,
    /// Where it stands.
    pub span: Span,
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} at column {}", self.kind, self.span.start.saturating_add(1))
    }
}

impl core::error::Error for Fault {}

/// The words, comments and marks of a line, in their order. After a fault nothing more comes.
///
/// The line may carry its line end (LF, CRLF); it belongs to no token.
///
/// ```
/// use takeup_core::program::{Token, Words};
/// let line = b"N10 g1 x-.5 (edge) F200\r\n";
/// let letters: Vec<char> = Words::new(line)
///     .filter_map(|token| match token {
///         Ok(Token::Word(word)) => Some(char::from(word.letter)),
///         _ => None,
///     })
///     .collect();
/// assert_eq!(letters, ['N', 'G', 'X', 'F']);
/// ```
#[derive(Clone, Debug)]
pub struct Words<'a> {
    line: &'a [u8],
    at: usize,
}

/// A code that no text has: one that switches a tape reader on or off, a form feed, an end-of-file mark, or a stray one.
/// Between words it is passed over and stays where it is. Zeros are not: they are what a broken disk leaves of a file.
const fn is_stray(byte: u8) -> bool {
    matches!(byte, 0x01..=0x08 | 0x0b | 0x0c | 0x0e..=0x1f)
}

/// What may stand before and behind a line besides blanks. Some systems end a line the other way round, LF before CR.
const fn of_the_tape(byte: u8) -> bool {
    is_stray(byte) || byte == b'\r'
}

/// A line without its line end, and the blanks and codes of tapes before it.
fn trimmed(line: &[u8]) -> &[u8] {
    let mut rest = line;
    while let [head @ .., last] = rest
        && (matches!(last, b'\n' | b' ' | b'\t') || of_the_tape(*last))
    {
        rest = head;
    }
    rest
}

/// Where a line begins behind codes of tapes.
#[cold]
fn behind_the_tape(line: &[u8]) -> usize {
    line.iter().take_while(|byte| of_the_tape(**byte)).count()
}

impl<'a> Words<'a> {
    /// Reads a line.
    #[must_use]
    #[inline]
    pub fn new(line: &'a [u8]) -> Self {
        // A byte-order mark is no part of the language; editors put it before the first line.
        let at = match line {
            [0xef, 0xbb, 0xbf, ..] => 3,
            [first, ..] if of_the_tape(*first) => behind_the_tape(line),
            _ => 0,
        };
        Self { line: trimmed(line), at }
    }

    fn fault(&mut self, kind: FaultKind, start: usize, end: usize) -> Option<Result<Token, Fault>> {
        self.at = self.line.len();
        Some(Err(Fault { kind, span: Span { start, end } }))
    }

    #[inline]
    fn skip_blanks(&mut self) {
        while let Some(b' ' | b'\t') = self.line.get(self.at) {
            self.at = self.at.wrapping_add(1);
        }
    }

    #[inline]
    fn word(&mut self, start: usize, letter: u8) -> Option<Result<Token, Fault>> {
        let line = self.line;
        let mut at = start.wrapping_add(1);
        while let Some(b' ' | b'\t') = line.get(at) {
            at = at.wrapping_add(1);
        }
        let sign = match line.get(at) {
            Some(b'-') => Sign::Minus,
            Some(b'+') => Sign::Plus,
            _ => Sign::Absent,
        };
        if !matches!(sign, Sign::Absent) {
            at = at.wrapping_add(1);
        }
        // Eighteen digits stay below 10^18, so that the wrapping steps cannot wrap.
        let (mut mantissa, mut digits, mut whole_digits) = (0_i64, 0_usize, usize::MAX);
        let mut end = at;
        loop {
            match line.get(at) {
                Some(byte @ b'0'..=b'9') => {
                    mantissa = mantissa.wrapping_mul(10).wrapping_add(i64::from(byte & 0x0f));
                    digits = digits.wrapping_add(1);
                    at = at.wrapping_add(1);
                    end = at;
                }
                Some(b'.') if whole_digits == usize::MAX => {
                    whole_digits = digits;
                    at = at.wrapping_add(1);
                    end = at;
                }
                Some(b' ' | b'\t') => at = at.wrapping_add(1),
                _ => break,
            }
        }
        if digits == 0 {
            return self.no_number(start);
        }
        if digits > usize::from(MOST_DIGITS) {
            return self.fault(FaultKind::NumberTooLong, start, end);
        }
        let point = if whole_digits == usize::MAX { Point::Absent } else { Point::Present };
        let whole = whole_digits.min(digits);
        self.at = at;
        Some(Ok(Token::Word(Word {
            letter,
            number: Number::new(
                if matches!(sign, Sign::Minus) { mantissa.wrapping_neg() } else { mantissa },
                whole as u8,
                digits.wrapping_sub(whole) as u8,
                point,
                sign,
            ),
            span: Span { start, end },
        })))
    }

    /// What stands where a letter has no number.
    #[cold]
    fn no_number(&mut self, start: usize) -> Option<Result<Token, Fault>> {
        let rest = self.line.get(start..).unwrap_or(&[]);
        let letters = rest.iter().take_while(|byte| byte.is_ascii_alphabetic()).count();
        let run = rest.get(..letters).unwrap_or(&[]);
        const KEYWORDS: [&[u8]; 24] = [
            b"IF",
            b"THEN",
            b"ELSE",
            b"ELSEIF",
            b"ENDIF",
            b"WHILE",
            b"ENDWHILE",
            b"DO",
            b"END",
            b"GOTO",
            b"SUB",
            b"ENDSUB",
            b"CALL",
            b"RETURN",
            b"REPEAT",
            b"ENDREPEAT",
            b"BREAK",
            b"CONTINUE",
            b"FOR",
            b"UNTIL",
            b"GOTOF",
            b"GOTOB",
            b"POPEN",
            b"DPRNT",
        ];
        let end = start.saturating_add(letters.max(1));
        let behind = rest.get(letters..).unwrap_or(&[]);
        if run.eq_ignore_ascii_case(b"MSG") && behind.first() == Some(&b'(') {
            // Shows its text and does nothing else (common practice, no source).
            return match self.comment_end(end) {
                Some(end) => self.comment(start, end),
                None => self.fault(FaultKind::UnclosedComment, start, self.line.len()),
            };
        }
        let calls = letters > 1 && behind.iter().find(|byte| !byte.is_ascii_digit()) == Some(&b'(');
        if calls || KEYWORDS.iter().any(|keyword| keyword.eq_ignore_ascii_case(run)) {
            return self.fault(FaultKind::Keyword, start, end);
        }
        let after = rest
            .get(1..)
            .unwrap_or(&[])
            .iter()
            .copied()
            .find(|byte| !matches!(byte, b' ' | b'\t' | b'+' | b'-'));
        match after {
            Some(b'#') => self.fault(FaultKind::Variable, start, start.saturating_add(2)),
            Some(b'[' | b'<' | b'=') => self.fault(FaultKind::Expression, start, start.saturating_add(2)),
            _ if letters > 2 => self.fault(FaultKind::Text, start, end),
            _ => self.fault(FaultKind::NoNumber, start, end),
        }
    }

    /// Whether an E belongs to the number that ends before it: sign and two digits follow, as where a rest of 1e-05 was
    /// printed.
    #[cold]
    fn is_exponent(&self, start: usize) -> bool {
        let before = start.checked_sub(1).and_then(|at| self.line.get(at));
        let behind = self.line.get(start..).unwrap_or(&[]);
        matches!(before, Some(b'0'..=b'9' | b'.'))
            && matches!(behind, [_, b'-' | b'+', b'0'..=b'9', b'0'..=b'9', rest @ ..]
                if !matches!(rest.first(), Some(b'0'..=b'9' | b'.')))
    }

    fn comment(&mut self, start: usize, end: usize) -> Option<Result<Token, Fault>> {
        self.passed_over(Token::Comment, start, end)
    }

    /// What is not read, within one line: where lines end with a carriage return alone, it would be all the rest of a program.
    fn passed_over(
        &mut self,
        token: fn(Span) -> Token,
        start: usize,
        end: usize,
    ) -> Option<Result<Token, Fault>> {
        let passed = self.line.get(start..end).unwrap_or(&[]);
        if let Some(at) = passed.iter().position(|byte| *byte == b'\r') {
            let at = start.saturating_add(at);
            return self.fault(FaultKind::Unexpected(b'\r'), at, at.saturating_add(1));
        }
        self.at = end;
        Some(Ok(token(Span { start, end })))
    }

    /// The end of a comment opened at `start`. Brackets inside it are part of it when they pair up;
    /// else the first `)` ends it, as the controls do that know no nesting.
    fn comment_end(&self, start: usize) -> Option<usize> {
        let rest = self.line.get(start..)?;
        let (mut depth, mut first) = (0_usize, None);
        for (offset, byte) in rest.iter().enumerate() {
            match byte {
                b'(' => depth = depth.saturating_add(1),
                b')' => {
                    depth = depth.saturating_sub(1);
                    let end = start.saturating_add(offset).saturating_add(1);
                    first = first.or(Some(end));
                    if depth == 0 {
                        return Some(end);
                    }
                }
                _ => {}
            }
        }
        first
    }

    #[cold]
    fn other(&mut self, start: usize, byte: u8) -> Option<Result<Token, Fault>> {
        let next = start.saturating_add(1);
        match byte {
            b'(' => match self.comment_end(start) {
                Some(end) => self.comment(start, end),
                None => self.fault(FaultKind::UnclosedComment, start, self.line.len()),
            },
            b';' => self.comment(start, self.line.len()),
            // The name of the program, alone on its line (recalled from memory: common on newer controls).
            b'<' if self.line.last() == Some(&b'>') && self.line.get(..start).is_some_and(blank) => {
                self.comment(start, self.line.len())
            }
            b'/' if self.line.get(..start).is_some_and(|head| blank(head) || numbers(head)) => {
                self.at = next;
                self.skip_blanks();
                // A digit right after it names one of several switches.
                let end = if let Some(b'1'..=b'9') = self.line.get(self.at) {
                    self.at.saturating_add(1)
                } else {
                    next
                };
                self.at = end;
                Some(Ok(Token::BlockDelete(Span { start, end })))
            }
            b'%' => {
                // What follows it at the head of a line names the program (ISO 6983-1 and DIN 66025, recalled from memory).
                let line = self.line.get(..start).filter(|head| blank(head)).and(Some(self.line));
                let end = line.map_or(next, |line| line.trim_ascii_end().len().max(next));
                self.passed_over(Token::Percent, start, end)
            }
            // Distance and angle of a place in polar coordinates, on some controls: common practice, no source.
            b':' | b'@' | b'^' => self.word(start, byte),
            b'#' => self.fault(FaultKind::Variable, start, next),
            b'[' | b']' | b'=' | b'*' | b'/' | b'<' | b'>' => self.fault(FaultKind::Expression, start, next),
            _ => self.fault(FaultKind::Unexpected(byte), start, next),
        }
    }
}

/// Whether nothing that is read stands before a place in a line.
fn blank(head: &[u8]) -> bool {
    head.iter().all(|byte| matches!(byte, b' ' | b'\t' | 0x80..) || of_the_tape(*byte))
}

/// Whether nothing but the number of the line stands before a place in it: some posts write it first.
fn numbers(head: &[u8]) -> bool {
    let mut words = Words::new(head);
    let number = words.next();
    matches!(number, Some(Ok(Token::Word(word))) if word.letter == b'N') && words.next().is_none()
}

impl Iterator for Words<'_> {
    type Item = Result<Token, Fault>;

    #[inline]
    fn next(&mut self) -> Option<Self::Item> {
        self.skip_blanks();
        while self.line.get(self.at).is_some_and(|byte| is_stray(*byte)) {
            self.at = self.at.wrapping_add(1);
            self.skip_blanks();
        }
        let start = self.at;
        let byte = *self.line.get(start)?;
        if self.line.len() > LONGEST_LINE {
            return self.fault(FaultKind::LineTooLong, LONGEST_LINE, self.line.len());
        }
        let letter = byte & 0xdf;
        if letter == b'E' && self.is_exponent(start) {
            return self.fault(FaultKind::Exponent, start, start.saturating_add(1));
        }
        if letter.is_ascii_uppercase() { self.word(start, letter) } else { self.other(start, byte) }
    }
}

#[cfg(test)]
mod tests;

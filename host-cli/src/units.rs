//! Lengths as people write and read them.

use std::str::FromStr;
use takeup_core::length::{Length, Unit};

/// A length on the command line: a number, and a unit if it was written (`0.12`, `0.12mm`, `.005in`).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LengthArg {
    value: f64,
    unit: Option<Unit>,
}

impl LengthArg {
    /// The length in millimetres, where a number without a unit is in `usual`.
    #[must_use]
    pub fn mm(self, usual: Unit) -> f64 {
        self.length(usual).as_mm()
    }

    /// Whether it is below zero, in any unit.
    #[must_use]
    pub fn is_negative(self) -> bool {
        self.value < 0.0
    }

    /// Whether it is above zero, in any unit.
    #[must_use]
    pub fn is_positive(self) -> bool {
        self.value > 0.0
    }

    /// The exact length, where a number without a unit is in `usual`.
    #[must_use]
    pub fn length(self, usual: Unit) -> Length {
        // Parsing checked that the length is within the range in either unit.
        Length::from_unit(self.value, self.unit.unwrap_or(usual)).unwrap_or_default()
    }
}

impl FromStr for LengthArg {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let text = text.trim();
        let digits = text.trim_end_matches(|c: char| c.is_ascii_alphabetic());
        let unit = match &text[digits.len()..] {
            "" => None,
            // Not even a number before it.
            _ if digits.is_empty() => None,
            symbol => Some(
                Unit::from_symbol(symbol)
                    .ok_or_else(|| format!("\"{symbol}\" is no unit of length: mm or in was expected"))?,
            ),
        };
        let value = number(if digits.is_empty() { text } else { digits.trim_end() })?;
        if Length::from_unit(value, Unit::Inch).is_none() {
            return Err(format!("{value} is beyond any machine"));
        }
        Ok(Self { value, unit })
    }
}

/// A finite decimal number, with the advice that a person needs who wrote something else.
///
/// # Errors
/// In the words of a person: what was found, and what was expected.
pub fn number(text: &str) -> Result<f64, String> {
    let shown = crate::refusal::clip(text);
    if text.is_empty() {
        return Err("nothing was found where a number was expected".to_owned());
    }
    // Without this, "inf", "nan" and "infinity" would be numbers too.
    let plain = text.bytes().all(|b| b.is_ascii_digit() || matches!(b, b'.' | b'-' | b'+' | b'e' | b'E'));
    if let Some(value) = plain.then(|| text.parse::<f64>().ok()).flatten().filter(|value| value.is_finite()) {
        return Ok(value);
    }
    // What a text program makes of a minus.
    if text.starts_with(['\u{2212}', '\u{2013}', '\u{2014}']) {
        return Err(format!(
            "\"{shown}\" begins with a typographic minus, the plain - of the keyboard was expected"
        ));
    }
    if text.contains(',') && text.replacen(',', ".", 1).parse::<f64>().is_ok() {
        return Err(format!("\"{shown}\" has a decimal comma, a decimal point was expected"));
    }
    Err(format!("\"{shown}\" was found where a number was expected"))
}

/// How lengths are printed: in a unit, with the decimals that its users are used to.
#[derive(Clone, Copy, Debug)]
pub struct Print {
    /// The unit.
    pub unit: Unit,
}

impl Print {
    /// A length given in millimetres: 0.001 mm or 0.0001 in is the last digit.
    #[must_use]
    pub fn length(self, mm: f64) -> String {
        decimals(mm / self.unit.as_mm(), self.coarse())
    }

    /// A length given in millimetres with one digit more, for uncertainties and small differences.
    #[must_use]
    pub fn fine(self, mm: f64) -> String {
        decimals(mm / self.unit.as_mm(), self.coarse() + 1)
    }

    /// A part of an uncertainty, as [`Print::fine`] writes it; one too small for the last digit is said to be below that, so
    /// that it is not taken for none.
    #[must_use]
    pub fn part(self, mm: f64) -> String {
        let text = self.fine(mm);
        let shows = text.bytes().any(|byte| byte.is_ascii_digit() && byte != b'0');
        if shows || mm == 0.0 { text } else { format!("<{}1", text.strip_suffix('0').unwrap_or(&text)) }
    }

    /// A length with its unit, `0.118 mm`.
    #[must_use]
    pub fn with_unit(self, mm: f64) -> String {
        format!("{} {}", self.length(mm), self.unit)
    }

    /// The name of the unit in running text, where `in` would be read as the word.
    #[must_use]
    pub fn unit_name(self) -> &'static str {
        match self.unit {
            Unit::Mm => "mm",
            Unit::Inch => "inches",
        }
    }

    /// A length as short as it can be written without loss of a program step: `-40`, `0.5`.
    #[must_use]
    pub fn short(self, mm: f64) -> String {
        trimmed(mm / self.unit.as_mm(), self.coarse() + 1)
    }

    /// A length given in millimetres as a number in the unit, for documents.
    #[must_use]
    pub fn value(self, mm: f64) -> f64 {
        mm / self.unit.as_mm()
    }

    fn coarse(self) -> usize {
        match self.unit {
            Unit::Mm => 3,
            Unit::Inch => 4,
        }
    }
}

/// A length as a word of a program or a cell of a sheet: no digit lost that a control could use, none too many.
#[must_use]
pub fn word(length: Length, unit: Unit) -> String {
    trimmed(length.as_unit(unit), 6)
}

/// A number with so many decimals, less the zeros at its end.
#[must_use]
pub fn trimmed(value: f64, places: usize) -> String {
    let text = decimals(value, places);
    if places == 0 { text } else { text.trim_end_matches('0').trim_end_matches('.').to_owned() }
}

/// A number with a fixed count of decimals, and never `-0.000`.
#[must_use]
pub fn decimals(value: f64, places: usize) -> String {
    let text = format!("{value:.places$}");
    match text.strip_prefix('-') {
        Some(size) if size.bytes().all(|b| matches!(b, b'0' | b'.')) => size.to_owned(),
        _ => text,
    }
}

/// A number of things: `1 move`, `2 moves`.
#[must_use]
pub fn counted(number: u64, thing: &str) -> String {
    format!("{number} {thing}{}", if number == 1 { "" } else { "s" })
}

/// A space at which no line is broken.
pub const NO_BREAK: char = '\u{a0}';

/// The text with numbers that stay on the line of their unit, by spaces at which no line is broken.
#[must_use]
pub fn tight(text: &str) -> String {
    let mut tight = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(at) = rest.find(' ') {
        let (before, after) = rest.split_at(at);
        let after = &after[1..];
        let unit = after.split([' ', '.', ',', ')', ':', ';']).next().unwrap_or("");
        let number = before.ends_with(|c: char| c.is_ascii_digit());
        tight.push_str(before);
        tight.push(if (number && ["%", "mm", "in", "±"].contains(&unit)) || before.ends_with('±') {
            NO_BREAK
        } else {
            ' '
        });
        rest = after;
    }
    tight + rest
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lengths_are_read_with_and_without_a_unit() {
        let read = |text: &str, usual| text.parse::<LengthArg>().map(|arg| arg.mm(usual));
        assert_eq!(read("0.12", Unit::Mm), Ok(0.12));
        assert_eq!(read("-40", Unit::Inch), Ok(-1016.0));
        assert_eq!(read(".005in", Unit::Mm), Ok(0.127));
        assert_eq!(read("1 MM", Unit::Inch), Ok(1.0));
        for wrong in ["", "nan", "inf", "-infinity", "1e99", "0,12", "12 furlong", "1.2.3", "x"] {
            assert!(read(wrong, Unit::Mm).is_err(), "{wrong}");
        }
        assert!(read("0,12", Unit::Mm).unwrap_err().contains("decimal comma"));
        assert!(read("nan", Unit::Mm).unwrap_err().contains("where a number was expected"));
    }

    #[test]
    fn lengths_are_printed_as_the_trade_writes_them() {
        let (mm, inch) = (Print { unit: Unit::Mm }, Print { unit: Unit::Inch });
        assert_eq!(mm.with_unit(0.1184), "0.118 mm");
        assert_eq!(inch.with_unit(0.127), "0.0050 in");
        assert_eq!(inch.fine(0.001), "0.00004");
        assert_eq!(mm.length(-0.0001), "0.000");
        assert_eq!([0.0029, 0.00004, 0.0].map(|part| mm.part(part)), ["0.0029", "<0.0001", "0.0000"]);
        assert_eq!(inch.part(0.0001), "<0.00001");
        assert_eq!(mm.short(-40.0), "-40");
        assert_eq!(mm.short(0.0), "0");
    }

    #[test]
    fn numbers_stay_with_their_units() {
        let text = "loses 0.116 mm (95 %: 0.108 to 0.124) in 3 sessions ± 2";
        assert_eq!(tight(text), "loses 0.116\u{a0}mm (95\u{a0}%: 0.108 to 0.124) in 3 sessions ±\u{a0}2");
        assert_eq!(tight(""), "");
        assert_eq!(tight(" a  b "), " a  b ");
    }
}

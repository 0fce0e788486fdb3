//! The readings file: keys, a header, and one row per reading, as CSV (RFC 4180) in UTF-8.
//!
//! - [`records`]: bytes into records that know the line they began in;
//! - [`keys`]: what is said of the set-up before the header;
//! - [`revolution`]: a dial that is read within one revolution;
//! - here: the rows, and the refusal of whatever cannot be meant.
//!
//! Lines starting with `#` are comments. Before the header `# key: value` sets a key. Columns come
//! by name, in any order and case; unknown ones are kept and ignored. Messages count lines from 1.

pub mod keys;
pub mod records;
pub mod revolution;

use crate::refusal::{Refusal, clip};
use crate::units::number;
use keys::Keys;
use records::{Record, Records};
use takeup_core::axis::Direction;
use takeup_core::length::{Length, Unit};
use takeup_core::measure::reversal::Reading;
use takeup_core::measure::routine::SAME_STATION;

/// The most bytes a readings file may have; a day of a fast indicator is far less.
pub const MOST_BYTES: u64 = 64_000_000;

/// A readings file, read and checked.
#[derive(Clone, Debug)]
pub struct Sheet {
    /// Its name in messages.
    pub file: String,
    /// The unit of every length in it.
    pub units: Unit,
    /// The keys.
    pub keys: Keys,
    /// What looks like a key and is none.
    pub doubts: Vec<String>,
    /// The line of the header.
    pub header_line: u64,
    /// The names of the columns, trimmed, lower case.
    pub columns: Vec<String>,
    /// The rows, in order.
    pub rows: Vec<Row>,
}

/// Whether these are the bytes of a sheet in which readings are filled in. It may be in any hand: saved with
/// semicolons, in another encoding, or broken below its header.
#[must_use]
pub fn are_filled_in(bytes: &[u8]) -> bool {
    let text = String::from_utf8_lossy(bytes).replace([';', '\t'], ",");
    let Ok(mut records) = Records::new(text.as_bytes()) else { return false };
    let mut column = None;
    loop {
        match (records.next_record(), column) {
            (Ok(Some(Record::Comment { .. })), _) => {}
            (Ok(Some(Record::Fields { fields, .. })), None) => {
                column = fields.iter().position(|field| field.trim().eq_ignore_ascii_case("reading"));
                if column.is_none() {
                    return false;
                }
            }
            (Ok(Some(Record::Fields { fields, .. })), Some(index)) => {
                if fields.get(index).is_some_and(|field| !field.trim().is_empty()) {
                    return true;
                }
            }
            (Ok(None), _) | (Err(_), None) => return false,
            (Err(_), Some(_)) => return true,
        }
    }
}

/// One row: one reading. Lengths are millimetres.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// The line it began in.
    pub line: u64,
    /// Commanded position.
    pub target: Option<Length>,
    /// Direction in which the axis moved last.
    pub approach: Option<Direction>,
    /// What the indicator showed.
    pub reading_mm: f64,
    /// The cycle, from 1, if given.
    pub cycle: Option<u16>,
    /// Seconds.
    pub time_s: Option<f64>,
    /// Newtons, positive pushes `+`.
    pub force_n: Option<f64>,
    /// °C.
    pub temperature_c: Option<f64>,
}

impl Sheet {
    /// Reads a file. Lengths are in `usual` where the file does not say.
    ///
    /// # Errors
    /// With file and line, whatever cannot be meant.
    pub fn parse(bytes: &[u8], file: &str, usual: Unit) -> Result<Self, Refusal> {
        Self::parse_lines(bytes, usual).map_err(|refusal| refusal.file(file)).map(|mut sheet| {
            file.clone_into(&mut sheet.file);
            sheet
        })
    }

    fn parse_lines(bytes: &[u8], usual: Unit) -> Result<Self, Refusal> {
        let mut records = Records::new(bytes)?;
        let mut raw_keys = keys::RawKeys::default();
        let header = loop {
            match records.next_record()? {
                Some(Record::Comment { line, text }) => raw_keys.take(line, &text)?,
                Some(Record::Fields { line, fields }) => break Header::read(line, &fields)?,
                None => {
                    return Err(Refusal::new(
                        "no header row was found; a row such as target,approach,reading was expected",
                        "Start from a sheet that \"takeup routine\" writes.",
                    ));
                }
            }
        };
        let (keys, units) = raw_keys.checked(usual)?;
        let mut rows: Vec<Row> = Vec::new();
        while let Some(record) = records.next_record()? {
            let Record::Fields { line, fields } = record else { continue };
            let row = header.row(line, &fields, units)?;
            if let (Some(time), Some(earlier)) = (row.time_s, rows.iter().rev().find_map(|row| row.time_s))
                && time < earlier
            {
                return Err(Refusal::new(
                    format!("{time} is before the time {earlier} of a row above"),
                    "Give seconds that do not decrease, in the order in which readings were taken.",
                )
                .line(line)
                .word("time"));
            }
            rows.push(row);
        }
        if rows.is_empty() {
            return Err(Refusal::new(
                "there are no readings below the header",
                "Fill in one row per reading.",
            )
            .line(header.line));
        }
        let sheet = Self {
            file: String::new(),
            units,
            keys,
            doubts: raw_keys.doubts,
            header_line: header.line,
            columns: header.columns,
            rows,
        };
        sheet.whole("cycle", |row| row.cycle.is_some())?;
        Ok(sheet)
    }

    /// Checks that a column is there.
    ///
    /// # Errors
    /// With the line of the header and the columns found.
    pub fn require(&self, column: &str) -> Result<(), Refusal> {
        if self.columns.iter().any(|name| name == column) {
            return Ok(());
        }
        let found = self.columns.join(", ");
        Err(Refusal::new(
            format!("column \"{column}\" is missing; the header has: {}", clip(&found)),
            "Name the columns in the header, separated by commas.",
        )
        .file(&self.file)
        .line(self.header_line))
    }

    /// Checks that a column that is there at all has a value in every row or in none.
    fn whole(&self, column: &str, has: impl Fn(&Row) -> bool) -> Result<(), Refusal> {
        match self.rows.iter().find(|row| !has(row)) {
            Some(empty) if self.rows.iter().any(&has) => Err(Refusal::new(
                "empty in this row but given in others",
                format!("Fill in {column} in every row, or leave the column out."),
            )
            .line(empty.line)
            .word(column)),
            _ => Ok(()),
        }
    }

    /// The rows as readings of a reversal test; cycles come from the order of rows where none are given.
    ///
    /// # Errors
    /// When a column or a value that the test needs is missing.
    pub fn reversal_readings(&self) -> Result<Vec<Reading>, Refusal> {
        for column in ["target", "approach", "reading"] {
            self.require(column)?;
        }
        let mut seen: Vec<(Length, Direction, u16)> = Vec::new();
        self.rows
            .iter()
            .map(|row| {
                let target = self.filled(row, "target", row.target)?;
                let approach = self.filled(row, "approach", row.approach)?;
                let count = seen.iter_mut().find(|(at, way, _)| {
                    *way == approach && at.saturating_sub(target).saturating_abs() < SAME_STATION
                });
                let in_order = match count {
                    Some((_, _, n)) => {
                        *n = n.saturating_add(1);
                        *n
                    }
                    None => {
                        seen.push((target, approach, 1));
                        1
                    }
                };
                Ok(Reading {
                    target,
                    cycle: row.cycle.unwrap_or(in_order),
                    approach,
                    value_mm: row.reading_mm,
                    time_s: row.time_s,
                })
            })
            .collect()
    }

    /// A value that the test needs in every row, such as `filled(row, "force", row.force_n)`.
    ///
    /// # Errors
    /// With the line, when the cell is empty.
    pub fn filled<T>(&self, row: &Row, column: &str, value: Option<T>) -> Result<T, Refusal> {
        value.ok_or_else(|| empty_cell(column).line(row.line).file(&self.file))
    }

    /// Checks that a column, if it is there at all, has a value in every row or in none; answers whether
    /// it has.
    ///
    /// # Errors
    /// With the line of the first empty cell.
    pub fn all_or_none(&self, column: &str, has: impl Fn(&Row) -> bool) -> Result<bool, Refusal> {
        self.whole(column, &has).map_err(|refusal| refusal.file(&self.file))?;
        Ok(self.rows.iter().any(has))
    }
}

fn empty_cell(column: &str) -> Refusal {
    Refusal::new("nothing is filled in, a value was expected", "Fill it in, or take the row out.")
        .word(column)
}

/// The header: which column is where.
struct Header {
    line: u64,
    columns: Vec<String>,
}

impl Header {
    fn read(line: u64, fields: &[String]) -> Result<Self, Refusal> {
        let mut columns: Vec<String> = fields.iter().map(|field| field.trim().to_lowercase()).collect();
        // A spreadsheet may end every line with separators.
        while columns.last().is_some_and(String::is_empty) {
            columns.pop();
        }
        for (index, column) in columns.iter().enumerate() {
            if !column.is_empty() && columns.iter().take(index).any(|other| other == column) {
                return Err(Refusal::new(
                    format!("column \"{}\" is there twice", clip(column)),
                    "Give every column a name of its own.",
                )
                .line(line));
            }
        }
        let header = Self { line, columns };
        if !header.columns.iter().any(|column| column == "reading") {
            let text = fields.join(",");
            let way_out = if text.contains(';') || text.contains('\t') {
                "Separate columns by commas, not by semicolons or tabs, and write decimals with a point."
            } else {
                "Name the columns in a header row such as target,approach,reading."
            };
            return Err(Refusal::new(
                format!(
                    "column \"reading\" is missing; this row was taken for the header: {}",
                    clip(&text.replace('\t', " "))
                ),
                way_out,
            )
            .line(line));
        }
        Ok(header)
    }

    fn row(&self, line: u64, fields: &[String], units: Unit) -> Result<Row, Refusal> {
        let beyond = fields.iter().skip(self.columns.len());
        if beyond.clone().any(|field| !field.trim().is_empty()) {
            return Err(Refusal::new(
                format!("{} values were found, the header has {} columns", fields.len(), self.columns.len()),
                "Write decimals with a point (0.12, not 0,12), and put text that has a comma in quotes.",
            )
            .line(line));
        }
        let cell = |name: &'static str| Cell {
            name,
            text: self
                .columns
                .iter()
                .position(|column| column == name)
                .and_then(|index| fields.get(index))
                .map_or("", |field| field.trim()),
        };
        let row = || -> Result<Row, Refusal> {
            let reading = cell("reading").length(units)?.ok_or_else(|| empty_cell("reading"))?;
            Ok(Row {
                line,
                target: cell("target").length(units)?,
                approach: cell("approach").approach()?,
                reading_mm: reading.as_mm(),
                cycle: cell("cycle").cycle()?,
                time_s: cell("time").bounded()?,
                force_n: cell("force").bounded()?,
                temperature_c: cell("temperature").bounded()?,
            })
        };
        row().map_err(|refusal| refusal.line(line))
    }
}

/// One value of a row.
#[derive(Clone, Copy)]
struct Cell<'a> {
    name: &'static str,
    text: &'a str,
}

impl Cell<'_> {
    fn refuse(self, reason: impl Into<String>, way_out: &str) -> Refusal {
        Refusal::new(reason, way_out).word(self.name)
    }

    fn number(self) -> Result<Option<f64>, Refusal> {
        if self.text.is_empty() {
            return Ok(None);
        }
        number(self.text)
            .map(Some)
            .map_err(|reason| self.refuse(reason, "Write a plain number with a decimal point, such as 0.12."))
    }

    /// A number whose square stays in the range of numbers; seconds since 1970 are well inside.
    fn bounded(self) -> Result<Option<f64>, Refusal> {
        match self.number()? {
            Some(value) if value.abs() > 1e12 => Err(self.refuse(self.out_of_range(), "Check the number.")),
            value => Ok(value),
        }
    }

    fn length(self, units: Unit) -> Result<Option<Length>, Refusal> {
        let Some(value) = self.number()? else { return Ok(None) };
        Length::from_unit(value, units)
            .map(Some)
            .ok_or_else(|| self.refuse(self.out_of_range(), "Check the number."))
    }

    fn out_of_range(self) -> String {
        format!("{} is out of range", clip(self.text))
    }

    fn approach(self) -> Result<Option<Direction>, Refusal> {
        let mut letters = self.text.chars();
        match (letters.next(), letters.next()) {
            (None, _) => Ok(None),
            (Some(sign), None) if Direction::from_sign(sign).is_some() => Ok(Direction::from_sign(sign)),
            _ => Err(self.refuse(
                format!("\"{}\" was found where + or - was expected", clip(self.text)),
                "Write + if the axis last moved in its positive direction, else -.",
            )),
        }
    }

    fn cycle(self) -> Result<Option<u16>, Refusal> {
        let Some(value) = self.number()? else { return Ok(None) };
        if value.fract() != 0.0 || !(1.0..=f64::from(u16::MAX)).contains(&value) {
            return Err(self.refuse(
                format!("{} was found where a whole number from 1 was expected", clip(self.text)),
                "Number the cycles 1, 2, 3 and so on.",
            ));
        }
        Ok(Some(value as u16))
    }
}

#[cfg(test)]
mod tests;

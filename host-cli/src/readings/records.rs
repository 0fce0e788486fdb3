//! Bytes into records that know the line they began in.
//!
//! The `csv` crate splits a record into fields; lines are counted here, because it counts skipped
//! blank lines and comments to the record that follows them.

use crate::refusal::Refusal;

/// The longest line of a readings file; more is no readings file.
const LONGEST_LINE: usize = 65_536;

/// A record of the file.
pub enum Record {
    /// A line starting with `#`, without that sign.
    Comment {
        /// Its line, from 1.
        line: u64,
        /// Its text.
        text: String,
    },
    /// The fields of a row.
    Fields {
        /// The line it began in, from 1.
        line: u64,
        /// The fields, as written.
        fields: Vec<String>,
    },
}

/// The records of a file, in order; blank lines are passed over.
pub struct Records<'a> {
    lines: std::str::Split<'a, char>,
    line: u64,
}

impl<'a> Records<'a> {
    /// The records of the bytes of a file.
    ///
    /// # Errors
    /// When they are no text, or a line is endless.
    pub fn new(bytes: &'a [u8]) -> Result<Self, Refusal> {
        let save_as = "Save it as CSV in UTF-8.";
        if bytes.starts_with(&[0xff, 0xfe]) || bytes.starts_with(&[0xfe, 0xff]) {
            return Err(Refusal::new("the text is UTF-16, UTF-8 was expected", save_as));
        }
        if bytes.contains(&b'\r') && !bytes.contains(&b'\n') {
            let reason = "lines end with a carriage return alone, line feeds were expected";
            return Err(Refusal::new(reason, "Save it as plain CSV in UTF-8."));
        }
        let mut line = 1_u64;
        let mut start = 0;
        for (index, byte) in bytes.iter().enumerate() {
            match byte {
                b'\n' => (line, start) = (line + 1, index + 1),
                0 => {
                    return Err(Refusal::new(
                        "this is not text: it has a zero byte",
                        "Name a readings file.",
                    )
                    .line(line));
                }
                _ if index - start >= LONGEST_LINE => {
                    return Err(Refusal::new(
                        format!("the line is longer than {LONGEST_LINE} bytes"),
                        "Check that this is a readings file.",
                    )
                    .line(line));
                }
                _ => {}
            }
        }
        let text = std::str::from_utf8(bytes).map_err(|error| {
            let before = bytes.iter().take(error.valid_up_to()).filter(|byte| **byte == b'\n').count();
            Refusal::new("the text is not UTF-8", save_as).line(before as u64 + 1)
        })?;
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        if text.trim().is_empty() {
            return Err(Refusal::new(
                "the file is empty",
                "Start from a sheet that \"takeup routine\" writes.",
            ));
        }
        Ok(Self { lines: text.split('\n'), line: 0 })
    }

    fn next_line(&mut self) -> Option<&'a str> {
        let line = self.lines.next()?;
        self.line += 1;
        Some(line.strip_suffix('\r').unwrap_or(line))
    }

    /// The next record; `None` at the end.
    ///
    /// # Errors
    /// When a quote is never closed.
    pub fn next_record(&mut self) -> Result<Option<Record>, Refusal> {
        while let Some(first) = self.next_line() {
            let line = self.line;
            let trimmed = first.trim();
            if let Some(comment) = trimmed.strip_prefix('#') {
                return Ok(Some(Record::Comment { line, text: comment.to_owned() }));
            }
            if trimmed.chars().all(|c| c == ',' || c.is_whitespace()) {
                // A blank line, or what a spreadsheet makes of one.
                continue;
            }
            let mut text = first.to_owned();
            while quote_is_open(&text) {
                let Some(more) = self.next_line() else {
                    return Err(Refusal::new(
                        "a quote is opened and never closed",
                        "Close it, or take it out.",
                    )
                    .line(line));
                };
                text.push('\n');
                text.push_str(more);
            }
            let fields = split(&text, line)?;
            // Spreadsheets put a comment that has a comma in quotes.
            if let Some(comment) = fields.first().and_then(|field| field.trim().strip_prefix('#')) {
                return Ok(Some(Record::Comment { line, text: comment.to_owned() }));
            }
            return Ok(Some(Record::Fields { line, fields }));
        }
        Ok(None)
    }
}

fn split(text: &str, line: u64) -> Result<Vec<String>, Refusal> {
    let mut reader = csv::ReaderBuilder::new().has_headers(false).flexible(true).from_reader(text.as_bytes());
    let mut record = csv::StringRecord::new();
    reader
        .read_record(&mut record)
        .map_err(|error| Refusal::new(error.to_string(), "Write the row as RFC 4180 says.").line(line))?;
    Ok(record.iter().map(str::to_owned).collect())
}

/// Whether the text ends inside a quoted field. A quote opens a field only at its start: in `1/2" bar`
/// it is just a sign.
fn quote_is_open(text: &str) -> bool {
    let (mut open, mut at_start) = (false, true);
    for c in text.chars() {
        match c {
            // A doubled quote closes and opens again, which comes to the same.
            '"' if open => (open, at_start) = (false, true),
            '"' if at_start => open = true,
            ',' if !open => at_start = true,
            _ => at_start = false,
        }
    }
    open
}

//! The readings file while it grows.
//!
//! It is the only state of a sitting: a line that ends is an accepted reading, a line that does not
//! end was never acknowledged and is taken again. So the same command goes on after a pause, a crash
//! or a power cut exactly where it was.

use super::plan::{Plan, Stop};
use crate::context::Context;
use crate::input;
use crate::output;
use crate::readings::{MOST_BYTES, Row, Sheet};
use crate::refusal::Refusal;
use crate::units::decimals;
use std::fs::{File, OpenOptions};
use std::io::{self, Write};
use std::path::Path;
use takeup_core::length::Length;

/// A reading as the file has it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Taken {
    /// The index of its stop in the plan.
    pub stop: usize,
    /// What the indicator showed.
    pub value: Length,
    /// Seconds since the first reading's time.
    pub time_s: f64,
}

/// The file.
#[derive(Debug)]
pub struct Record {
    name: String,
    file: File,
    /// What is in it.
    bytes: Vec<u8>,
    /// Where each accepted row begins, and after them the end of the file.
    begins: Vec<usize>,
    rows: Vec<Taken>,
    /// The time that the file gives for its first reading.
    began: jiff::Timestamp,
}

impl Record {
    /// Opens a file and finds how far it got, or begins it with a head.
    ///
    /// # Errors
    /// When it cannot be written, is being written, or holds another test.
    pub fn open(path: &Path, head: &str, plan: &Plan, ctx: &Context) -> Result<Self, Refusal> {
        let name = path.display().to_string();
        let refuse = |error: io::Error| Refusal::io(&name, "write", &error);
        if !path.exists() {
            output::write(path, head.as_bytes(), ctx)?;
            keep_name(path).map_err(refuse)?;
        }
        let file = OpenOptions::new().append(true).open(path).map_err(refuse)?;
        if !file.metadata().is_ok_and(|metadata| metadata.is_file()) {
            return Err(Refusal::new(
                "readings are kept in a file, which this is not",
                "Name a file with -o.",
            )
            .file(&name));
        }
        if file.try_lock().is_err() {
            return Err(
                Refusal::new("another takeup measure is writing it", "End that one first.").file(&name)
            );
        }
        let mut bytes = input::read(path, MOST_BYTES, ctx)?;
        let whole = bytes.iter().rposition(|byte| *byte == b'\n').map_or(0, |end| end + 1);
        let torn = whole < bytes.len();
        bytes.truncate(whole);
        let mut record =
            Self { name, file, bytes, begins: Vec::new(), rows: Vec::new(), began: jiff::Timestamp::now() };
        record.check(plan)?;
        if torn {
            // A row without its end was being written when the power went; it was never acknowledged.
            record.file.set_len(whole as u64).map_err(|error| record.refusal(&error))?;
        }
        Ok(record)
    }

    /// Checks that the file is of this test, row by row, and finds where its rows begin.
    fn check(&mut self, plan: &Plan) -> Result<(), Refusal> {
        let other = |line: u64, what: &str| {
            Refusal::new(
                format!("the file holds another test: {what}"),
                "Name another file with -o, or give the command that began this one.",
            )
            .file(&self.name)
            .line(line)
        };
        let header = plan.header();
        let (mut at, mut begins, mut header_line) = (0, Vec::new(), None);
        for (line, text) in (1..).zip(self.bytes.split_inclusive(|byte| *byte == b'\n')) {
            if header_line.is_some() {
                begins.push(at);
            } else if text.trim_ascii_end() == header.as_bytes() {
                header_line = Some(line);
            } else if let Some(taken) = text.strip_prefix(b"# taken: ") {
                self.began = String::from_utf8_lossy(taken).trim().parse().unwrap_or(self.began);
            }
            at += text.len();
        }
        let Some(header_line) = header_line else {
            return Err(other(1, "it has not the header that \"takeup measure\" writes"));
        };
        if !begins.is_empty() {
            let sheet = Sheet::parse(&self.bytes, &self.name, plan.unit)?;
            if sheet.keys.axis != Some(plan.axis)
                || sheet.keys.routine != Some(plan.kind)
                || sheet.units != plan.unit
            {
                return Err(other(1, "its axis, its kind of test or its units differ"));
            }
            if sheet.rows.len() != begins.len() {
                return Err(other(header_line, "it has lines between its rows"));
            }
            // The plan's own cells, read in the same way: whatever they give must be what the file gives. A stop that was
            // missed has no row.
            let planned: String = plan.stops.iter().map(|stop| format!("{},0,0\n", stop.cells)).collect();
            let planned = Sheet::parse(format!("{header}\n{planned}").as_bytes(), "", plan.unit)?;
            let given = |row: &Row| (row.target, row.approach, row.cycle, row.force_n);
            let mut planned = planned.rows.iter().enumerate();
            for row in &sheet.rows {
                let Some((stop, _)) = planned.find(|(_, planned)| given(planned) == given(row)) else {
                    return Err(other(row.line, "this row is not in the plan"));
                };
                self.rows.push(Taken {
                    stop,
                    value: Length::from_mm(row.reading_mm).unwrap_or_default(),
                    time_s: row.time_s.unwrap_or(0.0),
                });
            }
        }
        begins.push(at);
        self.begins = begins;
        Ok(())
    }

    fn refusal(&self, error: &io::Error) -> Refusal {
        Refusal::io(&self.name, "write", error)
    }

    /// The file's name in messages.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// The whole file as it stands.
    #[must_use]
    pub fn bytes(&self) -> &[u8] {
        &self.bytes
    }

    /// The readings in it.
    #[must_use]
    pub fn rows(&self) -> &[Taken] {
        &self.rows
    }

    /// The index of the stop to read next: after that of the last reading, whatever was missed before.
    #[must_use]
    pub fn next(&self) -> usize {
        self.rows.last().map_or(0, |row| row.stop + 1)
    }

    /// Writes the reading of a stop of the plan, and returns when it is on the disk. Without a time of its own it is of now.
    ///
    /// # Errors
    /// When it cannot be written; the file then ends before it.
    pub fn append(
        &mut self,
        (index, stop): (usize, &Stop),
        value: Length,
        time_s: Option<f64>,
        plan: &Plan,
    ) -> Result<(), Refusal> {
        let clock_s = self.now_s();
        let latest_s = self.rows.last().map_or(0.0, |row| row.time_s);
        // A clock that was set back must not make a file that cannot be read.
        let time_s = time_s.unwrap_or(clock_s).max(latest_s);
        let row = format!("{},{},{}\n", stop.cells, plan.word(value), decimals(time_s, 1));
        let end = self.bytes.len();
        if let Err(error) = self.file.write_all(row.as_bytes()).and_then(|()| self.file.sync_data()) {
            // On a full disk half a row may be there.
            let _ = self.file.set_len(end as u64);
            return Err(self.refusal(&error));
        }
        self.bytes.extend_from_slice(row.as_bytes());
        self.begins.push(self.bytes.len());
        self.rows.push(Taken { stop: index, value, time_s });
        Ok(())
    }

    /// The seconds of the file: those since the time that it gives for its first reading.
    #[must_use]
    pub fn now_s(&self) -> f64 {
        (jiff::Timestamp::now() - self.began).as_secs_f64()
    }

    /// Seconds since the last reading was taken.
    #[must_use]
    pub fn since_last_s(&self) -> f64 {
        self.now_s() - self.rows.last().map_or(0.0, |row| row.time_s)
    }

    /// Takes the last reading back, and gives it; `None` if there is none.
    ///
    /// # Errors
    /// When the file cannot be cut.
    pub fn undo(&mut self) -> Result<Option<Taken>, Refusal> {
        let Some(&end) = self.begins.iter().rev().nth(1) else { return Ok(None) };
        self.file
            .set_len(end as u64)
            .and_then(|()| self.file.sync_data())
            .map_err(|error| self.refusal(&error))?;
        self.begins.pop();
        self.bytes.truncate(end);
        Ok(self.rows.pop())
    }
}

/// The name of a new file is on the disk too: without that its readings could be lost with it.
#[cfg(unix)]
fn keep_name(path: &Path) -> io::Result<()> {
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty());
    File::open(folder.unwrap_or(Path::new(".")))?.sync_all()
}

#[cfg(not(unix))]
fn keep_name(_: &Path) -> io::Result<()> {
    Ok(())
}

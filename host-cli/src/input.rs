//! Files in, with `-` for standard input.

use crate::ahead::Ahead;
use crate::context::Context;
use crate::refusal::Refusal;
use std::fs::{File, Metadata};
use std::io::{self, BufRead, BufReader, Read, Write};
use std::path::Path;
use std::time::{Duration, Instant};

/// The name under which standard input appears in messages.
pub const STDIN_NAME: &str = "standard input";

/// Whether a path stands for standard input or output.
#[must_use]
pub fn is_dash(path: &Path) -> bool {
    path.as_os_str() == "-"
}

/// The name of an input in messages.
#[must_use]
pub fn name(path: &Path) -> String {
    if is_dash(path) { STDIN_NAME.to_owned() } else { path.display().to_string() }
}

/// A word as a shell takes it.
#[must_use]
pub fn quoted(word: &str) -> String {
    let plain = |c: char| c.is_ascii_alphanumeric() || "-_./=+:,@%".contains(c);
    if !word.is_empty() && word.chars().all(plain) {
        word.to_owned()
    } else {
        format!("'{}'", word.replace('\'', r"'\''"))
    }
}

/// Opens a file, or standard input, for buffered reading.
///
/// # Errors
/// When it is missing, a folder, not readable, or standard input is read twice.
pub fn open(path: &Path, ctx: &Context) -> Result<Box<dyn BufRead>, Refusal> {
    let (source, all) = source(path, ctx)?;
    Ok(watched(BufReader::with_capacity(BUFFER, source), all, ctx))
}

/// As [`open`], for what is read once from its head to its end: it is read ahead of the work.
///
/// # Errors
/// As for [`open`].
pub fn open_ahead(path: &Path, ctx: &Context) -> Result<Box<dyn BufRead>, Refusal> {
    let (source, all) = source(path, ctx)?;
    Ok(watched(Ahead::of(source), all, ctx))
}

/// Large enough that a program of hundreds of megabytes is not read in crumbs.
const BUFFER: usize = 256 * 1024;

/// A file or standard input, and its size where that is known.
fn source(path: &Path, ctx: &Context) -> Result<(Box<dyn Read + Send>, u64), Refusal> {
    if is_dash(path) {
        ctx.take_stdin()?;
        return Ok((Box::new(io::stdin()), 0));
    }
    let file = File::open(path).map_err(|error| Refusal::io(name(path), "open", &error))?;
    let metadata = file.metadata();
    // A folder opens like a file and only fails when it is read.
    if metadata.as_ref().is_ok_and(Metadata::is_dir) {
        return Err(Refusal::new("this is a folder, a file was expected", "Name a file in it.").path(path));
    }
    Ok((Box::new(file), metadata.map_or(0, |metadata| metadata.len())))
}

fn watched(reader: impl BufRead + 'static, all: u64, ctx: &Context) -> Box<dyn BufRead> {
    if ctx.shows_progress() { Box::new(Watched::new(reader, all)) } else { Box::new(reader) }
}

/// A reader whose progress is shown on the terminal once it takes long.
struct Watched<R> {
    reader: R,
    /// Bytes read.
    done: u64,
    /// How many of them there were when the clock was last looked at.
    looked: u64,
    /// Bytes that there are; 0 where that is not known.
    all: u64,
    /// When it is shown next.
    due: Instant,
    /// Whether there is something on the terminal to wipe away.
    shown: bool,
}

/// What takes less than this needs no showing.
const LONG: Duration = Duration::from_millis(700);
const SHOW_EVERY: Duration = Duration::from_millis(200);

/// Bytes between two looks at the clock.
const LOOK_EVERY: u64 = 64 * 1024;

impl<R> Watched<R> {
    fn new(reader: R, all: u64) -> Self {
        Self { reader, done: 0, looked: 0, all, due: Instant::now() + LONG, shown: false }
    }

    fn show(&mut self) {
        self.looked = self.done;
        if Instant::now() < self.due {
            return;
        }
        self.due = Instant::now() + SHOW_EVERY;
        self.shown = true;
        let megabytes = self.done as f64 / 1e6;
        let percent = (self.done.min(self.all) * 100).checked_div(self.all);
        let percent = percent.map_or(String::new(), |percent| format!(", {percent} %"));
        let _ = write!(io::stderr(), "\r{:32}\r  {megabytes:.1} MB read{percent}", "");
    }

    fn wipe(&mut self) {
        if std::mem::take(&mut self.shown) {
            let _ = write!(io::stderr(), "\r{:32}\r", "");
        }
    }
}

impl<R: BufRead> BufRead for Watched<R> {
    fn fill_buf(&mut self) -> io::Result<&[u8]> {
        if self.done - self.looked >= LOOK_EVERY {
            self.show();
        }
        if self.shown && self.reader.fill_buf()?.is_empty() {
            self.wipe();
        }
        self.reader.fill_buf()
    }

    fn consume(&mut self, bytes: usize) {
        self.reader.consume(bytes);
        self.done += bytes as u64;
    }
}

impl<R: BufRead> Read for Watched<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let read = self.fill_buf()?.read(buffer)?;
        self.consume(read);
        Ok(read)
    }
}

impl<R> Drop for Watched<R> {
    fn drop(&mut self) {
        self.wipe();
    }
}

/// Reads a whole file, or standard input, of at most `most` bytes.
///
/// # Errors
/// As for [`open`]; and when it is longer, which none of our own files ever is.
pub fn read(path: &Path, most: u64, ctx: &Context) -> Result<Vec<u8>, Refusal> {
    let mut bytes = Vec::new();
    open(path, ctx)?
        .take(most.saturating_add(1))
        .read_to_end(&mut bytes)
        .map_err(|error| Refusal::io(name(path), "read", &error))?;
    if bytes.len() as u64 > most {
        return Err(Refusal::new(
            format!("longer than {} MB", most / 1_000_000),
            "Check that this is the file you mean.",
        )
        .file(name(path)));
    }
    Ok(bytes)
}

/// A line that could not be read.
#[derive(Debug)]
pub enum LineError {
    /// It is longer than this many bytes.
    TooLong(usize),
    /// The operating system's word.
    Io(io::Error),
}

/// Reads one line with its line end into `line`, at most `most` bytes of it; `false` at the end of
/// the file. A file of one endless line costs no more memory than `most`.
///
/// # Errors
/// When the line is longer, or cannot be read.
pub fn read_line(reader: &mut dyn BufRead, line: &mut Vec<u8>, most: usize) -> Result<bool, LineError> {
    line.clear();
    let read = reader.take(most as u64 + 1).read_until(b'\n', line).map_err(LineError::Io)?;
    if line.len() > most { Err(LineError::TooLong(most)) } else { Ok(read > 0) }
}

#[cfg(test)]
mod tests {
    use super::quoted;

    #[test]
    fn words_survive_a_shell() {
        assert_eq!(quoted("a/b-1.csv"), "a/b-1.csv");
        assert_eq!(quoted("bed mill"), "'bed mill'");
        assert_eq!(quoted("it's"), r"'it'\''s'");
        assert_eq!(quoted(""), "''");
    }
}

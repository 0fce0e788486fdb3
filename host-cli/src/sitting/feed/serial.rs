//! An indicator on a serial line: one number a line, as any indicator interface can be set to send.
//!
//! A port that is a terminal line is set to its speed; a pipe or a file is read as it is.

use super::{Feed, News, Sent, Take};
use crate::refusal::{Refusal, clip};
use crate::sitting::plan::Stop;
use crate::units::LengthArg;
use std::fs::File;
use std::io::{self, Read};
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, sync_channel};
use std::time::{Duration, Instant};
use takeup_core::length::{Length, Unit};

/// The longest line that is looked at.
const LONGEST: usize = 256;

/// How often a port that went away is looked for.
const LOOK_AGAIN: Duration = Duration::from_millis(500);

/// The line.
#[derive(Debug)]
pub struct Serial {
    path: PathBuf,
    baud: u32,
    unit: Unit,
    take: Take,
    lines: Receiver<Line>,
    /// A port that can come back when its plug does.
    again: Again,
    lost: Option<Instant>,
}

/// A line, and when it came.
type Line = (Instant, Vec<u8>);

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Again {
    MayCome,
    EndsForGood,
}

impl Serial {
    /// Opens a port.
    ///
    /// # Errors
    /// When it cannot be opened.
    pub fn open(path: &Path, baud: u32, unit: Unit, take: Take) -> Result<Self, Refusal> {
        let (lines, again) = listen(path, baud).map_err(|error| match error.kind() {
            io::ErrorKind::NotFound => Refusal::io(path.display().to_string(), "open", &error),
            _ => {
                let text = error.to_string();
                let text = text.split(" (os error").next().unwrap_or(&text).to_lowercase();
                Refusal::new(
                    format!("this cannot be read as a serial line: {text}"),
                    "Check the port, and that no other program has it open.",
                )
                .path(path)
            }
        })?;
        Ok(Self { path: path.to_owned(), baud, unit, take, lines, again, lost: None })
    }
}

/// Starts to listen on a port.
fn listen(path: &Path, baud: u32) -> io::Result<(Receiver<Line>, Again)> {
    let (port, again) = reader(path, baud)?;
    // A person who looks away for long loses the oldest numbers no one has seen, never memory.
    let (sender, lines) = sync_channel(64);
    std::thread::spawn(move || split(port, &sender));
    Ok((lines, again))
}

fn reader(path: &Path, baud: u32) -> io::Result<(Box<dyn Read + Send>, Again)> {
    if std::fs::metadata(path).is_ok_and(|metadata| plain(&metadata)) {
        return Ok((Box::new(File::open(path)?), Again::EndsForGood));
    }
    let name = path.to_string_lossy();
    let port =
        serialport::new(name, baud).timeout(Duration::from_millis(200)).open().map_err(io::Error::from)?;
    Ok((Box::new(port), Again::MayCome))
}

#[cfg(unix)]
fn plain(metadata: &std::fs::Metadata) -> bool {
    use std::os::unix::fs::FileTypeExt;
    metadata.is_file() || metadata.file_type().is_fifo()
}

#[cfg(not(unix))]
fn plain(metadata: &std::fs::Metadata) -> bool {
    metadata.is_file()
}

/// Cuts bytes into lines until the port ends or nobody listens.
fn split(mut port: Box<dyn Read + Send>, lines: &SyncSender<Line>) {
    let (mut line, mut bytes) = (Vec::new(), [0; 256]);
    loop {
        let read = match port.read(&mut bytes) {
            Ok(0) => break,
            Ok(read) => read,
            Err(error) if matches!(error.kind(), io::ErrorKind::TimedOut | io::ErrorKind::Interrupted) => {
                continue;
            }
            Err(_) => break,
        };
        let came = Instant::now();
        for byte in bytes.iter().take(read) {
            if matches!(byte, b'\n' | b'\r') {
                if !line.is_empty() && lines.send((came, std::mem::take(&mut line))).is_err() {
                    return;
                }
            } else if line.len() < LONGEST {
                line.push(*byte);
            }
        }
    }
}

/// The number in a line of an indicator: `+00.118`, `0.118 mm`, `-.0046 in`, `01A+0000.118`. Where the
/// indicator names no unit, it is `usual`.
///
/// # Errors
/// With what was found instead.
pub fn number(line: &[u8], usual: Unit) -> Result<Length, String> {
    let text = String::from_utf8_lossy(line);
    let text = text.trim();
    // A channel's name runs up to the sign; anything else before the number makes it no number.
    let begin = match text.rfind(['+', '-']) {
        Some(sign) if text.get(..sign).is_some_and(is_name) => sign,
        _ => 0,
    };
    let cut = text.get(begin..).unwrap_or_default();
    // Some send a decimal comma; nothing else in a line of one number can be one.
    let cut = cut.replacen(',', ".", 1);
    let parsed = cut.parse::<LengthArg>();
    parsed.map(|arg| arg.length(usual)).map_err(|_| format!("\"{}\", which is not a number", clip(text)))
}

fn is_name(text: &str) -> bool {
    text.chars().all(char::is_alphanumeric) && text.ends_with(char::is_alphabetic)
}

impl Serial {
    /// Waits for news, and gives them with the moment at which they came.
    pub(super) fn next(&mut self, wait: Duration) -> Option<(Instant, News)> {
        let now = Instant::now();
        if let Some(since) = self.lost {
            if since.elapsed() < LOOK_AGAIN {
                std::thread::sleep(wait);
                return None;
            }
            self.lost = Some(Instant::now());
            let (lines, _) = listen(&self.path, self.baud).ok()?;
            (self.lines, self.lost) = (lines, None);
            return Some((now, News::Says("the indicator is back".to_owned())));
        }
        match self.lines.recv_timeout(wait) {
            Ok((came, line)) => Some(match number(&line, self.unit) {
                Ok(value) => {
                    let sent = match self.take {
                        Take::Each => Sent::Meant(None),
                        Take::Enter | Take::Stops => Sent::Shown,
                    };
                    (came, News::Shows { value, sent })
                }
                Err(reason) => (came, News::Says(format!("the indicator sent {reason}"))),
            }),
            Err(RecvTimeoutError::Timeout) => None,
            Err(RecvTimeoutError::Disconnected) if self.again == Again::MayCome => {
                self.lost = Some(now);
                let gone = "the indicator is gone: plug it in again, it is waited for";
                Some((now, News::Says(gone.to_owned())))
            }
            Err(RecvTimeoutError::Disconnected) => {
                let ended =
                    Refusal::new("the indicator sends no more", "Give the same command again to go on.");
                Some((now, News::Ended(ended.path(&self.path))))
            }
        }
    }

    /// Whether the indicator is there.
    pub(super) fn is_there(&self) -> bool {
        self.lost.is_none()
    }
}

impl Feed for Serial {
    fn aim(&mut self, _: &Stop) -> Result<Option<News>, Refusal> {
        Ok(None)
    }

    fn news(&mut self, wait: Duration) -> Option<News> {
        self.next(wait).map(|(_, news)| news)
    }

    fn is_watched(&self) -> bool {
        self.take != Take::Each
    }

    fn hint(&self) -> Option<&'static str> {
        Some(match self.take {
            Take::Each => "the indicator's data button takes the reading",
            Take::Enter | Take::Stops => "Enter takes what the indicator shows",
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_of_indicator_interfaces_are_read_and_rubbish_is_not() {
        let mm = |text: &str| number(text.as_bytes(), Unit::Mm).map(Length::as_mm);
        for (text, expected) in [
            ("0.118", 0.118),
            ("  +00.118 ", 0.118),
            ("-.5", -0.5),
            ("0,118", 0.118),
            ("0.0046 in", 0.11684),
            ("01A+0000.118", 0.118),
            ("A-1.5mm", -1.5),
        ] {
            assert_eq!(mm(text), Ok(expected), "{text}");
        }
        for rubbish in
            ["", "Err", "ERR 4", "ERR+", "1,2,3", "0.1 0.2", "12-5", "\u{1b}[2J", "1e999", "12 furlong", "x1"]
        {
            assert!(mm(rubbish).is_err(), "{rubbish}");
        }
        assert_eq!(number(b"0.005", Unit::Inch).map(Length::as_mm), Ok(0.127));
    }
}

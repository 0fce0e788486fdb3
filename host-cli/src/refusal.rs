//! A command that is not done says why, where, and what to do about it.

use serde::Serialize;
use std::fmt;
use std::io;
use std::path::Path;

/// Why a command was not done. With `--json` it is the document `takeup.refusal/1` on standard
/// output, otherwise one message on standard error.
///
/// The parts are in a box, so that what succeeds does not carry the room for them.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[serde(transparent)]
pub struct Refusal(Box<Parts>);

#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
struct Parts {
    schema: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    file: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    line: Option<u64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    word: Option<String>,
    reason: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    way_out: Option<String>,
    #[serde(skip)]
    reader_gone: bool,
}

impl Refusal {
    /// A refusal with its reason (what was found and what was expected; no full stop at the end)
    /// and the way out (a sentence in the imperative).
    pub fn new(reason: impl Into<String>, way_out: impl Into<String>) -> Self {
        Self::usage(reason.into(), Some(way_out.into()))
    }

    /// A usage error: the reason, and the way out where there is one.
    pub(crate) fn usage(reason: String, way_out: Option<String>) -> Self {
        Self(Box::new(Parts {
            schema: "takeup.refusal/1",
            file: None,
            line: None,
            word: None,
            reason,
            way_out,
            reader_gone: false,
        }))
    }

    /// The operating system did not let us `what` (such as "read" or "write") a file.
    #[must_use]
    pub fn io(file: impl Into<String>, what: &str, error: &io::Error) -> Self {
        let text = error.to_string();
        // The number of the error helps nobody at a machine.
        let text = text.split(" (os error").next().unwrap_or(&text).to_lowercase();
        let way_out = match error.kind() {
            io::ErrorKind::NotFound => "Check the name and the folder.",
            io::ErrorKind::PermissionDenied => "Check who may use the file and its folder.",
            io::ErrorKind::AlreadyExists => "Give another name.",
            io::ErrorKind::StorageFull => "Free some space on the disk.",
            _ => "Check the file, the disk or the stick it is on.",
        };
        let mut refusal = Self::new(format!("cannot {what}: {text}"), way_out).file(file);
        refusal.0.reader_gone = error.kind() == io::ErrorKind::BrokenPipe;
        refusal
    }

    /// With the file it is about.
    #[must_use]
    pub fn file(mut self, file: impl Into<String>) -> Self {
        self.0.file = Some(file.into());
        self
    }

    /// With the file it is about, by path.
    #[must_use]
    pub fn path(self, path: &Path) -> Self {
        self.file(path.display().to_string())
    }

    /// With the line of the file, counted from 1.
    #[must_use]
    pub fn line(mut self, line: u64) -> Self {
        self.0.line = Some(line);
        self
    }

    /// With the word that is refused.
    #[must_use]
    pub fn word(mut self, word: impl AsRef<str>) -> Self {
        self.0.word = Some(clip(word.as_ref()));
        self
    }

    /// Whether the command only ended because nobody reads its output any more.
    #[must_use]
    pub fn is_reader_gone(&self) -> bool {
        self.0.reader_gone
    }

    /// The way out, if one is known.
    #[must_use]
    pub fn way_out(&self) -> Option<&str> {
        self.0.way_out.as_deref()
    }
}

/// The place and the reason, without the way out.
impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match (&self.0.file, self.0.line) {
            (Some(file), Some(line)) => write!(f, "{file}:{line}: ")?,
            (Some(file), None) => write!(f, "{file}: ")?,
            (None, Some(line)) => write!(f, "line {line}: ")?,
            (None, None) => {}
        }
        if let Some(word) = &self.0.word {
            write!(f, "{word}: ")?;
        }
        f.write_str(&self.0.reason)
    }
}

impl std::error::Error for Refusal {}

/// Text from a file as a message may show it: short, and without control characters that could
/// disturb a terminal.
#[must_use]
pub fn clip(text: &str) -> String {
    const LONGEST: usize = 40;
    let mut shown: String =
        text.chars().take(LONGEST).map(|c| if c.is_control() || c == '\u{fffd}' { '?' } else { c }).collect();
    if text.chars().nth(LONGEST).is_some() {
        shown.push('…');
    }
    shown
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fields_that_do_not_apply_are_absent() {
        let refusal = Refusal::new("no rows", "Fill in the sheet.").file("a.csv");
        assert_eq!(
            serde_json::to_string(&refusal).unwrap(),
            r#"{"schema":"takeup.refusal/1","file":"a.csv","reason":"no rows","way_out":"Fill in the sheet."}"#
        );
        assert_eq!(refusal.line(7).word("G2").to_string(), "a.csv:7: G2: no rows");
    }

    #[test]
    fn rubbish_is_shown_short_and_harmless() {
        assert_eq!(clip("\u{1b}[2Jx"), "?[2Jx");
        assert_eq!(clip(&"9".repeat(10_000_000)).chars().count(), 41);
    }
}

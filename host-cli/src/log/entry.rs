//! What can be appended to the log.

use crate::log::assessment::Assessment;
use crate::refusal::Refusal;
use jiff::Timestamp;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use sha2::{Digest, Sha256};

/// The kinds of entry.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Kind {
    /// Readings were taken and assessed.
    Session,
    /// Something happened to the machine.
    Event,
    /// An earlier entry is wrong.
    Correction,
}

impl Kind {
    /// The word in the file.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Session => "session",
            Self::Event => "event",
            Self::Correction => "correction",
        }
    }

    /// The kind of a word in the file.
    #[must_use]
    pub fn of(name: &str) -> Option<Self> {
        [Self::Session, Self::Event, Self::Correction].into_iter().find(|kind| kind.name() == name)
    }
}

/// What happened to a machine.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, clap::ValueEnum)]
#[serde(rename_all = "lowercase")]
pub enum Event {
    /// A part was repaired or replaced
    Repair,
    /// Something was adjusted
    Adjustment,
    /// It was lubricated
    Lubrication,
    /// It crashed
    Crash,
    /// The machine was moved
    Moved,
    /// A compensation table came into force
    #[value(skip)]
    Table,
    /// Anything else worth remembering
    Note,
}

impl Event {
    /// Whether what was measured before says nothing about what is measured after.
    #[must_use]
    pub const fn changes_machine(self) -> bool {
        matches!(self, Self::Repair | Self::Adjustment | Self::Crash | Self::Moved)
    }

    /// The word in the file.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Repair => "repair",
            Self::Adjustment => "adjustment",
            Self::Lubrication => "lubrication",
            Self::Crash => "crash",
            Self::Moved => "moved",
            Self::Table => "table",
            Self::Note => "note",
        }
    }
}

/// An entry, as it is appended and as a bundle carries it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Entry {
    /// Names the entry on every computer.
    pub digest: String,
    /// What it is.
    pub kind: Kind,
    /// The machine it is about.
    pub machine: String,
    /// The axis it is about; none for the whole machine.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub axis: Option<String>,
    /// When it happened, RFC 3339 in UTC.
    pub at: String,
    /// The contents, as text of a JSON document: the digest is taken over these very bytes.
    pub body: String,
}

impl Entry {
    /// An entry with its digest.
    #[must_use]
    pub fn new(kind: Kind, machine: &str, axis: Option<String>, at: Timestamp, body: &Value) -> Self {
        let mut entry = Self {
            digest: String::new(),
            kind,
            machine: machine.to_owned(),
            axis,
            at: at.strftime("%Y-%m-%dT%H:%M:%SZ").to_string(),
            body: body.to_string(),
        };
        entry.digest = entry.digest_now();
        entry
    }

    /// A session. The time counts towards its identity only if it was stated: the same file added twice without one is
    /// still the same session.
    #[must_use]
    pub fn session(
        assessment: &Assessment,
        readings: Option<&str>,
        machine: &str,
        taken: Option<Timestamp>,
        now: Timestamp,
    ) -> Self {
        let mut body = serde_json::Map::new();
        body.insert("assessment".into(), assessment.document().clone());
        if let Some(readings) = readings {
            body.insert("readings".into(), readings.into());
        }
        if let Some(taken) = taken {
            body.insert("taken".into(), taken.to_string().into());
        }
        let at = taken.unwrap_or(now);
        Self::new(Kind::Session, machine, Some(assessment.axis().to_owned()), at, &Value::Object(body))
    }

    /// A compensation table in force from a time on, with its bytes and what they say. The time counts towards its
    /// identity as that of a session does.
    #[must_use]
    pub fn table(
        bytes: &[u8],
        document: &Value,
        text: &str,
        machine: &str,
        from: Option<Timestamp>,
        now: Timestamp,
    ) -> Self {
        let mut body = serde_json::json!({ "event": Event::Table, "text": text, "table": document, "bytes": hex(bytes) });
        if let Some(from) = from {
            body["at"] = from.to_string().into();
        }
        Self::new(Kind::Event, machine, None, from.unwrap_or(now), &body)
    }

    /// The bytes of the compensation table that this entry puts in force, if it does.
    #[must_use]
    pub fn table_bytes(&self) -> Option<Vec<u8>> {
        let body: Value = serde_json::from_str(&self.body).ok()?;
        let digits = body["bytes"].as_str().filter(|_| body["event"] == Event::Table.name())?;
        let pair = |pair: &[u8]| u8::from_str_radix(std::str::from_utf8(pair).ok()?, 16).ok();
        (digits.len() % 2 == 0).then(|| digits.as_bytes().chunks(2).map(pair).collect())?
    }

    /// The digest that the contents have.
    #[must_use]
    pub fn digest_now(&self) -> String {
        let mut hash = Sha256::new();
        for part in [self.kind.name(), &self.machine, self.axis.as_deref().unwrap_or(""), &self.body] {
            // The length first, so that no two entries run together to the same bytes.
            hash.update((part.len() as u64).to_le_bytes());
            hash.update(part.as_bytes());
        }
        hex(&hash.finalize())
    }

    /// The assessment of a session.
    #[must_use]
    pub fn assessment(&self) -> Option<Assessment> {
        let mut body: Value = serde_json::from_str(&self.body).ok()?;
        Assessment::from_value(body.get_mut("assessment")?.take()).ok()
    }

    /// Whether everything in it can be read and its digest is right; else what is wrong, in words.
    #[must_use]
    pub fn fault(&self) -> Option<String> {
        if self.digest != self.digest_now() {
            return Some("its digest does not match its contents".into());
        }
        if self.at.parse::<Timestamp>().is_err() {
            return Some(format!("its time {:?} is not RFC 3339", self.at));
        }
        let Ok(body) = serde_json::from_str::<Value>(&self.body) else {
            return Some("its contents are not JSON".into());
        };
        match self.kind {
            Kind::Session if self.assessment().is_none() => Some("its assessment cannot be read".into()),
            Kind::Event if serde_json::from_value::<Event>(body["event"].clone()).is_err() => {
                Some("its kind of event is unknown".into())
            }
            Kind::Event if body["event"] == Event::Table.name() && self.table_bytes().is_none() => {
                Some("its compensation table cannot be read".into())
            }
            Kind::Correction if !body["corrects"].is_string() => Some("it names no entry to correct".into()),
            _ => None,
        }
    }
}

/// Bytes as hexadecimal digits.
fn hex(bytes: &[u8]) -> String {
    use std::fmt::Write as _;
    bytes.iter().fold(String::with_capacity(2 * bytes.len()), |mut text, byte| {
        let _ = write!(text, "{byte:02x}");
        text
    })
}

/// Reads a time: RFC 3339, or a date alone (midnight UTC).
///
/// # Errors
/// When it is neither.
pub fn time(text: &str) -> Result<Timestamp, Refusal> {
    text.parse::<Timestamp>()
        .or_else(|_| {
            text.parse::<jiff::civil::Date>()
                .and_then(|date| jiff::tz::TimeZone::UTC.to_timestamp(date.at(0, 0, 0, 0)))
        })
        .map_err(|_| {
            Refusal::new(
                format!("{text:?} is not a time"),
                "Write RFC 3339, such as 2026-03-02T08:30:00Z, or a date such as 2026-03-02.",
            )
        })
}

//! The keys of a readings file: what is said of the set-up before the header.

use crate::refusal::{Refusal, clip};
use crate::units::number;
use takeup_core::axis::{Axis, Direction};
use takeup_core::length::Unit;
use takeup_core::measure::{Kind, Setup};

/// The keys given. Lengths are millimetres.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Keys {
    /// The axis.
    pub axis: Option<Axis>,
    /// The kind of test.
    pub routine: Option<Kind>,
    /// Lost motion allowed.
    pub limit_mm: Option<f64>,
    /// Smallest step of the indicator.
    pub resolution_mm: Option<f64>,
    /// ± largest error of the indicator.
    pub indicator_error_mm: Option<f64>,
    /// What the indicator itself adds to a reversal, full width.
    pub hysteresis_mm: Option<f64>,
    /// Degrees between the stylus and the axis.
    pub angle_deg: Option<f64>,
    /// Pitch of the screw.
    pub pitch_mm: Option<f64>,
    /// Direction in which the reading grows.
    pub sense: Option<Direction>,
    /// One revolution of a dial that is read within one.
    pub revolution_mm: Option<f64>,
    /// How much the scale of a positioning test grows, in parts of 1 000 000 per °C.
    pub expansion: Option<f64>,
    /// The machine.
    pub machine: Option<String>,
    /// When the first reading was taken, RFC 3339.
    pub taken: Option<String>,
}

impl Keys {
    /// These keys, and those of `other` where these say nothing: flags before the file.
    #[must_use]
    pub fn or(self, other: &Keys) -> Keys {
        Keys {
            axis: self.axis.or(other.axis),
            routine: self.routine.or(other.routine),
            limit_mm: self.limit_mm.or(other.limit_mm),
            resolution_mm: self.resolution_mm.or(other.resolution_mm),
            indicator_error_mm: self.indicator_error_mm.or(other.indicator_error_mm),
            hysteresis_mm: self.hysteresis_mm.or(other.hysteresis_mm),
            angle_deg: self.angle_deg.or(other.angle_deg),
            pitch_mm: self.pitch_mm.or(other.pitch_mm),
            sense: self.sense.or(other.sense),
            revolution_mm: self.revolution_mm.or(other.revolution_mm),
            expansion: self.expansion.or(other.expansion),
            machine: self.machine.or_else(|| other.machine.clone()),
            taken: self.taken.or_else(|| other.taken.clone()),
        }
    }

    /// What the estimators want to know.
    #[must_use]
    pub fn setup(&self) -> Setup {
        let usual = Setup::default();
        Setup {
            resolution_mm: self.resolution_mm.unwrap_or(usual.resolution_mm),
            indicator_error_mm: self.indicator_error_mm.unwrap_or(usual.indicator_error_mm),
            hysteresis_mm: self.hysteresis_mm.unwrap_or(usual.hysteresis_mm),
            angle_deg: self.angle_deg.unwrap_or(usual.angle_deg),
            sense: self.sense.unwrap_or(usual.sense),
            limit_mm: self.limit_mm,
            pitch_mm: self.pitch_mm,
        }
    }
}

const NAMES: [&str; 14] = [
    "axis",
    "routine",
    "units",
    "limit",
    "resolution",
    "indicator-error",
    "indicator-hysteresis",
    "angle",
    "pitch",
    "sense",
    "revolution",
    "expansion",
    "machine",
    "taken",
];

/// The key that a name is but for a slip of a letter, or two in a long one.
fn all_but(name: &str) -> Option<&'static str> {
    let name = name.to_ascii_lowercase().replace([' ', '_'], "-");
    let slips = |known: &&str| strsim::osa_distance(&name, known) <= known.len().div_ceil(8);
    NAMES.into_iter().find(slips)
}

/// The keys as written: name, value, line.
#[derive(Default)]
pub struct RawKeys {
    keys: Vec<(&'static str, String, u64)>,
    /// What looks like a key and is none: it stays a comment, which a person should know.
    pub(super) doubts: Vec<String>,
}

impl RawKeys {
    /// Takes a comment, which may set a key.
    pub(super) fn take(&mut self, line: u64, comment: &str) -> Result<(), Refusal> {
        let Some((name, value)) = comment.split_once(':') else { return Ok(()) };
        let name = name.trim();
        let Some(name) = NAMES.into_iter().find(|known| known.eq_ignore_ascii_case(name)) else {
            if let Some(known) = all_but(name) {
                self.doubts
                    .push(format!("line {line}: \"{}\" is no key; was \"{known}\" meant?", clip(name)));
            }
            return Ok(());
        };
        // A spreadsheet may end every line with separators.
        let value = value.trim_matches(|c: char| c == ',' || c.is_whitespace());
        if value.is_empty() {
            return Ok(());
        }
        if let Some((_, earlier, at)) = self.keys.iter().find(|(known, ..)| *known == name) {
            let same_number = matches!((number(earlier), number(value)), (Ok(a), Ok(b)) if a == b);
            if !(same_number || earlier.eq_ignore_ascii_case(value)) {
                return Err(Refusal::new(
                    format!("is \"{}\" here but \"{}\" in line {at}", clip(value), clip(earlier)),
                    "Give the key once.",
                )
                .line(line)
                .word(name));
            }
            return Ok(());
        }
        self.keys.push((name, value.to_owned(), line));
        Ok(())
    }

    /// The keys, each checked, and the unit of the file.
    pub(super) fn checked(&self, usual: Unit) -> Result<(Keys, Unit), Refusal> {
        let units = self.read("units", "mm or in", Unit::from_symbol)?.unwrap_or(usual);
        let length = |name| -> Result<Option<f64>, Refusal> {
            Ok(self.number(name, "0 or more", |value| value >= 0.0)?.map(|value| value * units.as_mm()))
        };
        let keys = Keys {
            axis: self.read("axis", "X, Y or Z", |text| text.parse().ok().and_then(Axis::from_letter))?,
            routine: self.read("routine", &kinds(), Kind::from_name)?,
            limit_mm: length("limit")?,
            resolution_mm: length("resolution")?,
            indicator_error_mm: length("indicator-error")?,
            hysteresis_mm: length("indicator-hysteresis")?,
            angle_deg: self.number("angle", "less than 90 degrees", |value| value.abs() < 90.0)?,
            pitch_mm: self
                .number("pitch", "above 0", |value| value > 0.0)?
                .map(|value| value * units.as_mm()),
            sense: self.read("sense", "+ or -", |text| text.parse().ok().and_then(Direction::from_sign))?,
            revolution_mm: self
                .number("revolution", "above 0", |value| value > 0.0)?
                .map(|value| value * units.as_mm()),
            expansion: self.number("expansion", "0 to 100, such as 11.5 for steel", is_expansion)?,
            machine: self.read("machine", "", |text| Some(text.to_owned()))?,
            taken: self.read("taken", "a time such as 2025-03-14T08:30:00+01:00", |text| {
                text.parse::<jiff::Timestamp>().ok().map(|_| text.to_owned())
            })?,
        };
        Ok((keys, units))
    }

    fn read<T>(
        &self,
        name: &str,
        expected: &str,
        parse: impl Fn(&str) -> Option<T>,
    ) -> Result<Option<T>, Refusal> {
        let Some((_, value, line)) = self.keys.iter().find(|(known, ..)| *known == name) else {
            return Ok(None);
        };
        parse(value).map(Some).ok_or_else(|| {
            Refusal::new(
                format!("\"{}\" was found where {expected} was expected", clip(value)),
                "Correct the key at the head of the file.",
            )
            .line(*line)
            .word(name)
        })
    }

    fn number(
        &self,
        name: &str,
        expected: &str,
        allowed: impl Fn(f64) -> bool,
    ) -> Result<Option<f64>, Refusal> {
        let Some((_, text, line)) = self.keys.iter().find(|(known, ..)| *known == name) else {
            return Ok(None);
        };
        let way_out = "Correct the key at the head of the file.";
        let refuse = |reason: String| Refusal::new(reason, way_out).line(*line).word(name);
        let value = number(text).map_err(refuse)?;
        // Beyond this, sums of squares leave the range of numbers.
        if !allowed(value) || value.abs() > 1e9 {
            return Err(refuse(format!("{} is out of range: {expected} was expected", clip(text))));
        }
        Ok(Some(value))
    }
}

/// Whether a material may grow by so much, in parts of 1 000 000 per °C.
#[must_use]
pub fn is_expansion(value: f64) -> bool {
    (0.0..=100.0).contains(&value)
}

/// The kinds of test, for messages.
#[must_use]
pub fn kinds() -> String {
    let names: Vec<_> = Kind::ALL.iter().map(|kind| kind.name()).collect();
    format!("one of {}", names.join(", "))
}

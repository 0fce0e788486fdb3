//! The document of `assess --json`, read back: what the log, the comparison and the report need of it.

use crate::assessment::{
    Assessed,
    document::{Document, SCHEMA},
    of_bytes,
};
use crate::context::Context;
use crate::input;
use crate::readings::{MOST_BYTES, keys::Keys};
use crate::refusal::Refusal;
use crate::units::{LengthArg, Print};
use serde_json::Value;
use std::path::Path;
use takeup_core::length::Unit;
use takeup_core::measure::decision::Answer;
use takeup_core::measure::{Estimate, Kind};
use takeup_core::trend::compare::Repeatability;

/// An assessment with the document it came from.
#[derive(Debug, Clone, PartialEq)]
pub struct Assessment {
    document: Value,
    axis: String,
    unit: Unit,
    lost_motion_mm: Option<Estimate>,
}

/// An assessment as a command found it.
#[derive(Debug, Clone, PartialEq)]
pub struct Loaded {
    /// The assessment.
    pub assessment: Assessment,
    /// The readings file it was made from, if that was given.
    pub readings: Option<String>,
}

/// In which units readings are assessed: those of the numbers and of the words of the document.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum In {
    /// Those of the file, whatever is printed: the same file is the same session in every shop.
    FileUnits,
    /// Those that are printed.
    PrintedUnits,
}

/// Reads an assessment, or a readings file that is assessed on the spot; against `limit` if that is given (without a unit in
/// `--units`, else in that of the file), else against the limit the file names.
///
/// # Errors
/// When the file is neither, or cannot be assessed.
pub fn load(path: &Path, limit: Option<LengthArg>, units: In, ctx: &Context) -> Result<Loaded, Refusal> {
    let bytes = input::read(path, MOST_BYTES, ctx)?;
    let name = input::name(path);
    let start = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(&bytes);
    let json = start.iter().find(|byte| !byte.is_ascii_whitespace()).is_some_and(|byte| b"{[".contains(byte));
    if json {
        return Ok(Loaded { assessment: Assessment::from_bytes(start, &name)?, readings: None });
    }
    let keys = |unit| Ok(Keys { limit_mm: limit.map(|limit| limit.mm(unit)), ..Keys::default() });
    let assessed = of_bytes(&bytes, &name, keys, ctx)?;
    let print = match units {
        In::FileUnits => Print { unit: assessed.file_units },
        In::PrintedUnits => ctx.lengths_of(assessed.file_units),
    };
    Ok(Loaded {
        assessment: Assessment::of(&assessed, print)?,
        readings: Some(String::from_utf8_lossy(&bytes).into_owned()),
    })
}

/// A decision against a limit.
#[derive(Debug, Clone, PartialEq)]
pub struct Decided {
    /// The limit in millimetres.
    pub limit_mm: f64,
    /// The answer.
    pub answer: Answer,
    /// How many more cycles would decide, where that is known.
    pub cycles: Option<u64>,
    /// Why; empty where the numbers speak for themselves.
    pub why: String,
}

impl Decided {
    /// The rule of ISO 14253-1 (recalled from memory) on estimates that must all be within.
    #[must_use]
    pub fn of(found: &[Estimate], limit_mm: f64) -> Self {
        let (answer, why) = if found.iter().any(|e| e.value.abs() - e.expanded_95() > limit_mm) {
            (Answer::Over, "")
        } else if !found.is_empty() && found.iter().all(|e| e.value.abs() + e.expanded_95() <= limit_mm) {
            (Answer::Within, "")
        } else {
            (Answer::Undecided, "the limit lies inside a 95 % interval")
        };
        Self { limit_mm, answer, cycles: None, why: why.to_owned() }
    }

    /// The decision as documents carry it.
    #[must_use]
    pub fn document(&self, print: Print) -> Value {
        let mut document =
            serde_json::json!({ "limit": print.value(self.limit_mm), "answer": self.answer.name() });
        if let Some(cycles) = self.cycles {
            document["cycles_to_decide"] = cycles.into();
        }
        if !self.why.is_empty() {
            document["why"] = self.why.clone().into();
        }
        document
    }
}

/// Lost motion at one station, in millimetres.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Station {
    /// Where.
    pub target_mm: f64,
    /// How much.
    pub lost_motion_mm: Estimate,
    /// Scatter and count of the readings approached `+`.
    pub plus: Option<Repeatability>,
    /// Scatter and count of the readings approached `-`.
    pub minus: Option<Repeatability>,
}

impl Assessment {
    /// The assessment of readings.
    ///
    /// # Errors
    /// None but faults of this program.
    pub fn of(assessed: &Assessed, print: Print) -> Result<Self, Refusal> {
        let document = Document::of(assessed, print);
        serde_json::to_string(&document)
            .and_then(|text| serde_json::from_str(&text))
            .map_err(|error| error.to_string())
            .and_then(Assessment::from_value)
            .map_err(|error| {
                Refusal::new(format!("cannot be assessed: {error}"), "Report this fault.")
                    .file(&assessed.file)
            })
    }

    /// Reads a document.
    ///
    /// # Errors
    /// In words: what is missing or wrong.
    pub fn from_value(document: Value) -> Result<Self, String> {
        match document["schema"].as_str() {
            Some(SCHEMA) => {}
            Some("takeup.refusal/1") => return Err("this is a refusal, not an assessment".into()),
            Some(other) => return Err(format!("the document is a {other:?}, {SCHEMA:?} was expected")),
            None => return Err(format!("there is no \"schema\": {SCHEMA:?} was expected")),
        }
        let axis = document["axis"].as_str().filter(|axis| ["X", "Y", "Z"].contains(axis));
        let axis = axis.ok_or("\"axis\" must be X, Y or Z")?.to_owned();
        let unit = document["units"].as_str().and_then(Unit::from_symbol);
        let unit = unit.ok_or("\"units\" must be mm or in")?;
        let lost_motion_mm = match document.get("lost_motion") {
            None => None,
            Some(part) => Some(
                estimate(part, unit.as_mm())
                    .ok_or("\"lost_motion\" must have a value with its standard uncertainty or interval")?,
            ),
        };
        Ok(Self { document, axis, unit, lost_motion_mm })
    }

    /// Reads the bytes of a file.
    ///
    /// # Errors
    /// With the place and what was expected.
    pub fn from_bytes(bytes: &[u8], file: &str) -> Result<Self, Refusal> {
        const WAY_OUT: &str = "Give what `takeup assess --json` printed, or the readings file itself.";
        let document: Value = serde_json::from_slice(bytes).map_err(|error| {
            Refusal::new(format!("this is not a JSON document: {error}"), WAY_OUT)
                .file(file)
                .line(error.line().max(1) as u64)
        })?;
        Self::from_value(document).map_err(|reason| Refusal::new(reason, WAY_OUT).file(file))
    }

    /// The whole document.
    #[must_use]
    pub fn document(&self) -> &Value {
        &self.document
    }

    /// X, Y or Z.
    #[must_use]
    pub fn axis(&self) -> &str {
        &self.axis
    }

    /// The unit of the document.
    #[must_use]
    pub fn unit(&self) -> Unit {
        self.unit
    }

    /// Millimetres in one unit of the document.
    #[must_use]
    pub fn factor(&self) -> f64 {
        self.unit.as_mm()
    }

    /// The kind of test.
    #[must_use]
    pub fn routine(&self) -> &str {
        self.document["routine"].as_str().unwrap_or("")
    }

    /// The same, where it is one that this program knows.
    #[must_use]
    pub fn kind(&self) -> Option<Kind> {
        Kind::from_name(self.routine())
    }

    /// The lost motion, mean over the stations, where the routine gives it.
    #[must_use]
    pub fn lost_motion_mm(&self) -> Option<Estimate> {
        self.lost_motion_mm
    }

    /// The limit it was decided against.
    #[must_use]
    pub fn limit_mm(&self) -> Option<f64> {
        self.document["decision"]["limit"].as_f64().map(|limit| limit * self.factor())
    }

    /// The stations, in the order of the document.
    #[must_use]
    pub fn stations(&self) -> Vec<Station> {
        let scatter = |part: &Value| {
            let (n, s) = (part["n"].as_f64()?, part["s"].as_f64()?);
            (n >= 2.0).then_some(Repeatability { s: s * self.factor(), dof: n - 1.0 })
        };
        let station = |part: &Value| {
            Some(Station {
                target_mm: part["target"].as_f64()? * self.factor(),
                lost_motion_mm: estimate(&part["lost_motion"], self.factor())?,
                plus: scatter(&part["plus"]),
                minus: scatter(&part["minus"]),
            })
        };
        self.document["stations"].as_array().into_iter().flatten().filter_map(station).collect()
    }

    /// The decision it came with, if that was against the same limit; else the rule of ISO 14253-1 (recalled from memory) on
    /// its stations.
    #[must_use]
    pub fn decide(&self, limit_mm: f64) -> Decided {
        let part = &self.document["decision"];
        let named = |answer: &Answer| part["answer"].as_str() == Some(answer.name());
        let answer = [Answer::Within, Answer::Over, Answer::Undecided].into_iter().find(named);
        if let Some(answer) = answer.filter(|_| self.limit_mm().is_some_and(|l| (l - limit_mm).abs() < 1e-9))
        {
            return Decided {
                limit_mm,
                answer,
                cycles: part["cycles_to_decide"].as_u64(),
                why: part["why"].as_str().unwrap_or("").to_owned(),
            };
        }
        let mut found: Vec<Estimate> = self.stations().iter().map(|station| station.lost_motion_mm).collect();
        if found.is_empty() {
            found.extend(self.lost_motion_mm);
        }
        let mut decided = Decided::of(&found, limit_mm);
        if decided.answer == Answer::Undecided {
            decided
                .why
                .push_str("; assess the readings with this limit to see how many more cycles would decide");
        }
        decided
    }

    /// A value with its uncertainty at a place of the document, times `factor`.
    #[must_use]
    pub fn estimate_at(&self, path: &str, factor: f64) -> Option<Estimate> {
        estimate(self.document.pointer(path)?, factor)
    }

    /// The scatter of one reading, pooled over stations and approaches.
    #[must_use]
    pub fn repeatability_mm(&self) -> Option<Repeatability> {
        let (mut sum, mut dof) = (0.0, 0.0);
        for part in self.stations().iter().flat_map(|station| [station.plus, station.minus]).flatten() {
            sum += part.dof * part.s * part.s;
            dof += part.dof;
        }
        (dof > 0.0).then(|| Repeatability { s: (sum / dof).sqrt(), dof })
    }
}

/// A value with its uncertainty, or with its interval where that is all there is.
fn estimate(part: &Value, factor: f64) -> Option<Estimate> {
    let value = part["value"].as_f64()?;
    // Infinite degrees of freedom have no number in JSON.
    let dof = part["dof"].as_f64().filter(|dof| *dof > 0.0).unwrap_or(f64::INFINITY);
    let standard_uncertainty = match part["standard_uncertainty"].as_f64() {
        Some(u) if u >= 0.0 => u,
        Some(_) => return None,
        None => {
            let width = part["high_95"].as_f64()? - part["low_95"].as_f64()?;
            0.5 * width / takeup_core::measure::student::coverage_factor(0.95, dof)
        }
    };
    Some(Estimate { value, standard_uncertainty, dof }.scaled(factor))
}

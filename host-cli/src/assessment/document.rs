//! The document `takeup.assessment/1`. Lengths are in its `units`; what does not apply is absent.

use super::{Reversal, words};
use crate::units::Print;
use serde::{Deserialize, Serialize};
use takeup_core::measure::Estimate;
use takeup_core::measure::decision::{Decision as CoreDecision, More};
use takeup_core::measure::positioning::{EDITION, Positioning as CorePositioning};
use takeup_core::measure::reversal::Group as CoreGroup;

/// The document. Every part can be read back; unknown fields are passed over.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "the fields are those of the published document, named there")]
pub struct Document {
    pub schema: String,
    pub axis: String,
    pub routine: String,
    pub units: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub machine: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub taken: Option<String>,
    pub readings: Count,
    #[serde(default)]
    pub set_aside: Vec<SetAside>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub stations: Vec<Station>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lost_motion: Option<Value>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub along_travel: Option<AlongTravel>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub budget: Vec<Contribution>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub positioning: Option<Positioning>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub decision: Option<Decision>,
    #[serde(default)]
    pub causes: Vec<Cause>,
}

/// The schema that documents of this kind carry.
pub const SCHEMA: &str = "takeup.assessment/1";

/// How many readings were used.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "as for the document")]
pub struct Count {
    pub used: u64,
    pub set_aside: u64,
}

/// A reading that was set aside; `row` counts data rows from 1.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "as for the document")]
pub struct SetAside {
    pub row: u64,
    pub reading: f64,
    pub reason: String,
}

/// One station.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "as for the document")]
pub struct Station {
    pub target: f64,
    pub reversal: f64,
    pub plus: Group,
    pub minus: Group,
    pub lost_motion: Value,
}

/// The plain statistics of one approach at one station.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "as for the document")]
pub struct Group {
    pub n: u32,
    pub mean: f64,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub s: Option<f64>,
}

/// A value with its interval.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "as for the document")]
pub struct Value {
    pub value: f64,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub standard_uncertainty: Option<f64>,
    /// Absent where infinite.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub dof: Option<f64>,
    pub low_95: f64,
    pub high_95: f64,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub largest: Option<f64>,
}

/// The change of lost motion along the travel.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "as for the document")]
pub struct AlongTravel {
    pub per_length: Value,
    pub shown: bool,
}

/// The figures of a positioning test.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "as for the document")]
pub struct Positioning {
    pub edition: String,
    #[serde(rename = "B")]
    pub b: f64,
    #[serde(rename = "B_mean")]
    pub b_mean: f64,
    #[serde(rename = "R")]
    pub r: f64,
    #[serde(rename = "R_plus")]
    pub r_plus: f64,
    #[serde(rename = "R_minus")]
    pub r_minus: f64,
    #[serde(rename = "A")]
    pub a: f64,
    #[serde(rename = "A_plus")]
    pub a_plus: f64,
    #[serde(rename = "A_minus")]
    pub a_minus: f64,
    #[serde(rename = "E")]
    pub e: f64,
    #[serde(rename = "E_plus")]
    pub e_plus: f64,
    #[serde(rename = "E_minus")]
    pub e_minus: f64,
    #[serde(rename = "M")]
    pub m: f64,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lead_error_per_length: Option<Value>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub periodic: Option<Periodic>,
}

/// An error that repeats with every turn of the screw.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "as for the document")]
pub struct Periodic {
    pub amplitude: Value,
    pub phase_deg: f64,
}

impl Positioning {
    fn of(shown: &CorePositioning, print: Print) -> Self {
        let figures = shown.figures;
        Self {
            edition: EDITION.to_owned(),
            b: print.value(figures.b_mm),
            b_mean: print.value(figures.b_mean_mm),
            r: print.value(figures.r_mm),
            r_plus: print.value(figures.r_plus_mm),
            r_minus: print.value(figures.r_minus_mm),
            a: print.value(figures.a_mm),
            a_plus: print.value(figures.a_plus_mm),
            a_minus: print.value(figures.a_minus_mm),
            e: print.value(figures.e_mm),
            e_plus: print.value(figures.e_plus_mm),
            e_minus: print.value(figures.e_minus_mm),
            m: print.value(figures.m_mm),
            lead_error_per_length: shown.lead_error.as_ref().map(Value::of),
            periodic: shown.periodic.map(|periodic| Periodic {
                amplitude: Value::of_length(&periodic.amplitude, print),
                phase_deg: periodic.phase_deg,
            }),
        }
    }
}

/// One part of the budget.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "as for the document")]
pub struct Contribution {
    pub source: String,
    pub standard_uncertainty: f64,
    /// Absent where infinite.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub dof: Option<f64>,
}

/// The decision against a limit.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "as for the document")]
pub struct Decision {
    pub limit: f64,
    pub answer: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cycles_to_decide: Option<u32>,
    #[serde(default)]
    pub why: String,
}

/// A likely cause.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "as for the document")]
pub struct Cause {
    pub cause: String,
    pub weight: f64,
    pub correctable: bool,
    pub evidence: Vec<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub next: Option<String>,
}

impl Value {
    /// An estimate in millimetres, in a unit of length.
    #[must_use]
    pub fn of_length(estimate: &Estimate, print: Print) -> Self {
        Self::of(&estimate.scaled(print.value(1.0)))
    }

    /// An estimate as it stands.
    #[must_use]
    pub fn of(estimate: &Estimate) -> Self {
        Self {
            value: estimate.value,
            standard_uncertainty: Some(estimate.standard_uncertainty),
            dof: finite(estimate.dof),
            low_95: estimate.low_95(),
            high_95: estimate.high_95(),
            largest: None,
        }
    }
}

fn finite(dof: f64) -> Option<f64> {
    dof.is_finite().then_some(dof)
}

impl Document {
    /// The document of a reversal test, with lengths in a unit.
    #[must_use]
    pub fn of_reversal(reversal: &Reversal, print: Print) -> Self {
        let result = &reversal.result;
        let group = |group: &CoreGroup| Group {
            n: group.n,
            mean: print.value(group.mean_mm),
            s: group.s_mm.map(|s| print.value(s)),
        };
        Self {
            schema: SCHEMA.to_owned(),
            axis: reversal.axis.to_string(),
            routine: reversal.kind.name().to_owned(),
            units: print.unit.to_string(),
            machine: reversal.keys.machine.clone(),
            taken: reversal.keys.taken.clone(),
            readings: Count { used: u64::from(result.used), set_aside: result.set_aside.len() as u64 },
            set_aside: result
                .set_aside
                .iter()
                .map(|aside| SetAside {
                    row: u64::from(aside.index) + 1,
                    reading: reversal
                        .readings
                        .get(usize::from(aside.index))
                        .map_or(0.0, |reading| print.value(reading.value_mm)),
                    reason: words::misread(aside.probably, print),
                })
                .collect(),
            stations: result
                .stations
                .iter()
                .map(|station| Station {
                    target: print.value(station.target.as_mm()),
                    reversal: print.value(station.reversal_mm),
                    plus: group(&station.plus),
                    minus: group(&station.minus),
                    lost_motion: Value::of_length(&station.lost_motion, print),
                })
                .collect(),
            lost_motion: Some(Value {
                largest: Some(print.value(result.largest_mm)),
                ..Value::of_length(&result.lost_motion, print)
            }),
            along_travel: result
                .along_travel
                .map(|along| AlongTravel { per_length: Value::of(&along.per_length), shown: along.shown }),
            budget: result
                .budget
                .iter()
                .map(|part| Contribution {
                    source: part.source.name().to_owned(),
                    standard_uncertainty: print.value(part.standard_uncertainty),
                    dof: finite(part.dof),
                })
                .collect(),
            positioning: reversal.positioning.as_ref().map(|shown| Positioning::of(shown, print)),
            decision: result.decision.as_ref().map(|decision| Decision {
                limit: print.value(decision.limit_mm),
                answer: decision.answer.name().to_owned(),
                cycles_to_decide: cycles_to_decide(decision),
                why: words::why(decision, &result.stations, print),
            }),
            causes: reversal
                .causes
                .iter()
                .map(|cause| Cause {
                    cause: cause.cause.name().to_owned(),
                    weight: cause.weight,
                    correctable: cause.cause.correctable(),
                    evidence: cause
                        .evidence
                        .iter()
                        .map(|evidence| words::evidence(evidence, print))
                        .collect(),
                    next: cause.next.map(|kind| kind.name().to_owned()),
                })
                .collect(),
        }
    }
}

/// The further cycles that would decide, where cycles can.
#[must_use]
pub fn cycles_to_decide(decision: &CoreDecision) -> Option<u32> {
    match decision.more {
        Some(More::Cycles(cycles)) => Some(cycles),
        _ => None,
    }
}

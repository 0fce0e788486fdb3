//! The document `takeup.assessment/1`. Lengths are in its `units`; what does not apply is absent.

use super::{Assessed, words};
use crate::units::Print;
use serde::{Deserialize, Serialize};
use takeup_core::measure::Estimate;
use takeup_core::measure::decision::{Decision as CoreDecision, More};

/// The document. Every part can be read back; unknown fields are passed over.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
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
    #[serde(default)]
    pub readings: Count,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub dial: Option<Dial>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub at_20: Option<At20>,
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
    pub take_up: Option<TakeUp>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub drift: Option<Drift>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub under_load: Option<UnderLoad>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub growth: Option<Growth>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub indicator: Option<Indicator>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub decision: Option<Decision>,
    #[serde(default)]
    pub causes: Vec<Cause>,
}

/// The schema that documents of this kind carry.
pub const SCHEMA: &str = "takeup.assessment/1";

/// How many readings were used.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "as for the document")]
pub struct Count {
    pub used: u64,
    pub set_aside: u64,
}

/// A dial that is read within one revolution: how many of its readings were taken one on or back, or more.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "as for the document")]
pub struct Dial {
    pub revolution: f64,
    pub readings: u64,
}

/// A positioning test corrected to 20 °C: the expansion of its scale in millionths per °C, its mean temperature, and what
/// the correction adds over the span.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "as for the document")]
pub struct At20 {
    pub expansion: f64,
    pub mean_c: f64,
    pub over_span: f64,
    pub standard_uncertainty: f64,
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
    #[serde(rename = "R", default, skip_serializing_if = "Option::is_none")]
    pub r: Option<f64>,
    #[serde(rename = "R_plus", default, skip_serializing_if = "Option::is_none")]
    pub r_plus: Option<f64>,
    #[serde(rename = "R_minus", default, skip_serializing_if = "Option::is_none")]
    pub r_minus: Option<f64>,
    #[serde(rename = "A", default, skip_serializing_if = "Option::is_none")]
    pub a: Option<f64>,
    #[serde(rename = "A_plus", default, skip_serializing_if = "Option::is_none")]
    pub a_plus: Option<f64>,
    #[serde(rename = "A_minus", default, skip_serializing_if = "Option::is_none")]
    pub a_minus: Option<f64>,
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

/// Lost motion in its two parts: a test of small steps.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "as for the document")]
pub struct TakeUp {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub dead_band: Option<Value>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wind_up: Option<Value>,
}

/// How a place is returned to: a test of lifts and returns.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "as for the document")]
pub struct Drift {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub per_cycle: Option<Value>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub per_hour: Option<Value>,
    /// Slip and drift together, where they were not told apart.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub per_return: Option<Value>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub scatter: Option<Value>,
}

/// The axis pushed by hand against the held drive.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "as for the document")]
pub struct UnderLoad {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub clearance: Option<Value>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stiffness_n_per_mm: Option<Value>,
    /// The forces in newtons between which the clearance was crossed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub crossed_n: Option<[f64; 2]>,
}

/// Growth while the machine warms up.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "as for the document")]
pub struct Growth {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub amplitude: Option<Value>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub time_constant_s: Option<Value>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub left: Option<Value>,
    /// The rate at the last reading.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub per_hour: Option<Value>,
}

/// The indicator itself.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "as for the document")]
pub struct Indicator {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub s: Option<Value>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hysteresis: Option<Value>,
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
        // Each divided as any other number is, so that the same length reads the same wherever it stands.
        Self::of(&Estimate {
            value: print.value(estimate.value),
            standard_uncertainty: print.value(estimate.standard_uncertainty),
            dof: estimate.dof,
        })
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
    /// The document of a test, with lengths in a unit.
    #[must_use]
    pub fn of(assessed: &Assessed, print: Print) -> Self {
        let found = &assessed.found;
        let findings = found.part.findings();
        let mut document = Self {
            schema: SCHEMA.to_owned(),
            axis: assessed.axis.to_string(),
            routine: assessed.kind.name().to_owned(),
            units: print.unit.to_string(),
            machine: assessed.keys.machine.clone(),
            taken: assessed.keys.taken.clone(),
            readings: Count { used: u64::from(found.used), set_aside: found.set_aside.len() as u64 },
            dial: assessed.unwrapped.map(|unwrapped| Dial {
                revolution: print.value(unwrapped.revolution_mm),
                readings: unwrapped.readings as u64,
            }),
            at_20: assessed.at_20.map(|at_20| {
                let (over_span, standard_uncertainty) = at_20.over_span_mm();
                At20 {
                    expansion: at_20.per_degree * 1e6,
                    mean_c: at_20.mean_c,
                    over_span: print.value(over_span),
                    standard_uncertainty: print.value(standard_uncertainty),
                }
            }),
            set_aside: found
                .set_aside
                .iter()
                .map(|aside| SetAside {
                    row: u64::from(aside.index) + 1,
                    reading: assessed
                        .readings_mm
                        .get(usize::from(aside.index))
                        .map_or(0.0, |mm| print.value(*mm)),
                    reason: words::misread(aside.probably, print),
                })
                .collect(),
            budget: found
                .budget
                .iter()
                .map(|part| Contribution {
                    source: part.source.name().to_owned(),
                    standard_uncertainty: print.value(part.standard_uncertainty),
                    dof: finite(part.dof),
                })
                .collect(),
            decision: found.decision.as_ref().map(|decision| Decision {
                limit: print.value(decision.limit_mm),
                answer: decision.answer.name().to_owned(),
                cycles_to_decide: cycles_to_decide(decision),
                why: findings.why(decision, print),
            }),
            causes: found
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
            ..Self::default()
        };
        findings.fill(&mut document, print);
        document
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

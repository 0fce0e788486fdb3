//! The document `takeup.sitting/1`: the assessment of every test, and the causes by all of them.

use super::{Together, evidence};
use crate::assessment::document::Document;
use crate::assessment::words;
use crate::units::Print;
use serde::{Deserialize, Serialize};

/// The schema that documents of this kind carry.
pub const SCHEMA: &str = "takeup.sitting/1";

/// The document.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "the fields are those of the published document, named there")]
pub struct Sitting {
    pub schema: String,
    pub axis: String,
    pub units: String,
    pub tests: Vec<Test>,
    /// The one of most weight first. Causes that are there together share the weight of that.
    pub causes: Vec<Cause>,
    /// What is likeliest to be wrong all at once: at most three, the likeliest first.
    #[serde(default)]
    pub likely: Vec<Likely>,
}

/// Causes that are there together, and no others.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "as for the document")]
pub struct Likely {
    /// Empty where nothing is shown to be wrong.
    pub causes: Vec<String>,
    /// From 0 to 1.
    pub probability: f64,
}

/// One test.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "as for the document")]
pub struct Test {
    pub file: String,
    pub assessment: Document,
}

/// A cause by all tests.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "as for the document")]
pub struct Cause {
    pub cause: String,
    /// Weights add up to 1.
    pub weight: f64,
    /// The probability that it is there, alone or beside others, from 0 to 1; for `none-shown`, that no cause is.
    #[serde(default)]
    pub there: f64,
    pub correctable: bool,
    pub evidence: Vec<OfTest>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub next: Option<String>,
}

/// What one test says of a cause.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "as for the document")]
pub struct OfTest {
    pub file: String,
    pub routine: String,
    /// By how much it multiplies the odds of the cause, as the other tests leave them.
    pub odds_factor: f64,
    pub evidence: Vec<String>,
}

impl Sitting {
    /// The document, with lengths in a unit.
    #[must_use]
    pub fn of(together: &Together, print: Print) -> Self {
        let of_test = |name, factors: &[f64]| {
            together
                .tests
                .iter()
                .zip(factors)
                .map(|(test, factor)| OfTest {
                    file: test.file.clone(),
                    routine: test.kind.name().to_owned(),
                    odds_factor: *factor,
                    evidence: evidence(test, name).map(|e| words::evidence(e, print)).collect(),
                })
                .collect()
        };
        let first = together.of_machine().next();
        Self {
            schema: SCHEMA.to_owned(),
            axis: first.map_or_else(String::new, |test| test.axis.to_string()),
            units: print.unit.to_string(),
            tests: together
                .tests
                .iter()
                .map(|test| Test { file: test.file.clone(), assessment: Document::of(test, print) })
                .collect(),
            causes: together
                .causes
                .iter()
                .enumerate()
                .map(|(place, cause)| Cause {
                    cause: cause.name.name().to_owned(),
                    weight: cause.weight,
                    there: cause.there,
                    correctable: cause.name.correctable(),
                    evidence: of_test(cause.name, &cause.factors),
                    next: together.next.filter(|_| place == 0).map(|kind| kind.name().to_owned()),
                })
                .collect(),
            likely: together
                .likely
                .iter()
                .map(|likely| Likely {
                    causes: likely.causes().iter().map(|name| name.name().to_owned()).collect(),
                    probability: likely.probability,
                })
                .collect(),
        }
    }
}

//! Several tests of one sitting: each assessed for itself, and the cause argued from all of them together.
//!
//! - here: the tests, whether they belong together, and what they say together;
//! - [`document`]: the JSON document `takeup.sitting/1`;
//! - [`slip`]: the same for people.

pub mod document;
pub mod slip;

use super::Assessed;
use crate::refusal::Refusal;
use takeup_core::measure::Kind;
use takeup_core::measure::cause::joint::{self, Testimony, Weights};
use takeup_core::measure::cause::{Evidence, Name};

/// Tests of one sitting.
#[derive(Debug)]
pub struct Together {
    /// The tests, in the order in which they were given.
    pub tests: Vec<Assessed>,
    /// The likely causes by all of them, the likeliest first.
    pub causes: Vec<Cause>,
    /// The test that would tell most of those not taken yet.
    pub next: Option<Kind>,
}

/// A cause, by all tests.
#[derive(Debug)]
pub struct Cause {
    /// The cause.
    pub name: Name,
    /// Its weight; weights add up to 1.
    pub weight: f64,
    /// By how much each test multiplies its odds, as the others leave them.
    pub factors: Vec<f64>,
}

/// What is taken on one day on one machine is one sitting; a cause of last month may be repaired.
const MOST_APART_HOURS: i64 = 24;

impl Together {
    /// The tests together.
    ///
    /// # Errors
    /// When they are not of one axis of one machine, or not of one sitting.
    pub fn of(tests: Vec<Assessed>) -> Result<Self, Refusal> {
        belong_together(&tests)?;
        let testimonies: Vec<Testimony> =
            tests.iter().map(|test| test.found.part.testimony(&test.setup)).collect();
        let all: Vec<&Testimony> = testimonies.iter().collect();
        let weights: Weights = joint::weigh(&all, None);
        let causes = weights
            .iter()
            .map(|(name, weight)| Cause {
                name,
                weight,
                factors: (0..all.len()).map(|test| joint::factor(&all, test, name)).collect(),
            })
            .collect();
        let taken: Vec<Kind> = tests.iter().map(|test| test.kind).collect();
        Ok(Self { next: joint::next(&weights, &taken), causes, tests })
    }

    /// Whether any test is over its limit.
    #[must_use]
    pub fn is_over(&self) -> bool {
        self.tests.iter().any(Assessed::is_over)
    }

    /// The tests of the machine itself, or all where there are none.
    fn of_machine(&self) -> impl Iterator<Item = &Assessed> {
        let any = self.tests.iter().any(|test| test.kind != Kind::Indicator);
        self.tests.iter().filter(move |test| !any || test.kind != Kind::Indicator)
    }
}

/// The numbers of a test that speak for or against a cause.
fn evidence(test: &Assessed, name: Name) -> impl Iterator<Item = &Evidence> {
    test.found.causes.iter().filter(move |cause| cause.cause == name).flat_map(|cause| &cause.evidence)
}

fn belong_together(tests: &[Assessed]) -> Result<(), Refusal> {
    let apart = |what: String, test: &Assessed| {
        Refusal::new(
            what,
            "Assess them apart: only tests of one axis and one sitting argue the cause together.",
        )
        .file(&test.file)
    };
    for (place, test) in tests.iter().enumerate() {
        for earlier in tests.iter().take(place) {
            // A dial is tested by itself, on whatever axis.
            let of_dial = test.kind == Kind::Indicator || earlier.kind == Kind::Indicator;
            if test.axis != earlier.axis && !of_dial {
                let what =
                    format!("this is of axis {}, {} of axis {}", test.axis, earlier.file, earlier.axis);
                return Err(apart(what, test));
            }
            if let (Some(one), Some(other)) = (&test.keys.machine, &earlier.keys.machine)
                && !one.trim().eq_ignore_ascii_case(other.trim())
            {
                let what = format!("this is of the machine \"{one}\", {} of \"{other}\"", earlier.file);
                return Err(apart(what, test));
            }
            let time = |test: &Assessed| test.keys.taken.as_ref()?.parse::<jiff::Timestamp>().ok();
            if let (Some(one), Some(other)) = (time(test), time(earlier))
                && one.duration_since(other).abs().as_hours() >= MOST_APART_HOURS
            {
                let what = format!(
                    "this was taken {} hours apart from {}, which is not one sitting",
                    one.duration_since(other).abs().as_hours(),
                    earlier.file
                );
                return Err(apart(what, test));
            }
            if test.fingerprint == earlier.fingerprint {
                return Err(Refusal::new(
                    format!("these are the same readings as in {}; they would count twice", earlier.file),
                    "Give each file once.",
                )
                .file(&test.file));
            }
        }
    }
    Ok(())
}

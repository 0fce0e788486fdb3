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
use takeup_core::measure::cause::joint::{self, Likely, Testimony, Weights};
use takeup_core::measure::cause::{Evidence, Name};
use takeup_core::measure::decision::Answer;

/// Tests of one sitting.
#[derive(Debug)]
pub struct Together {
    /// The tests, in the order in which they were given.
    pub tests: Vec<Assessed>,
    /// The likely causes by all of them, the one of most weight first.
    pub causes: Vec<Cause>,
    /// What is likeliest to be wrong all at once, the likeliest first.
    pub likely: Vec<Likely>,
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
    /// How probable it is that it is there, alone or beside others.
    pub there: f64,
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
                there: weights.there(name),
                factors: (0..all.len()).map(|test| joint::factor(&all, test, name)).collect(),
            })
            .collect();
        let taken: Vec<Kind> = tests.iter().map(|test| test.kind).collect();
        let likely = weights.likely().cloned().collect();
        Ok(Self { next: joint::next(&weights, &taken), causes, likely, tests })
    }

    /// Whether any test is over its limit.
    #[must_use]
    pub fn is_over(&self) -> bool {
        self.tests.iter().any(Assessed::is_over)
    }

    /// The test that tells most of the lost motion: the first whose decision is worst, or that gives it without a limit.
    fn of_lost_motion(&self) -> Option<&Assessed> {
        let decided = |wanted: Answer| self.tests.iter().find(move |test| test.answer() == Some(wanted));
        [Answer::Over, Answer::Undecided, Answer::Within]
            .into_iter()
            .find_map(decided)
            .or_else(|| self.tests.iter().find(|test| test.found.part.findings().lost_motion().is_some()))
    }

    /// The worst answer of all that decide.
    fn worst(&self) -> Option<Answer> {
        self.of_lost_motion().and_then(Assessed::answer)
    }

    /// The causes that are likeliest to be there at once; none where nothing is shown to be wrong.
    fn likeliest(&self) -> &[Name] {
        self.likely.first().map_or(&[], Likely::causes)
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

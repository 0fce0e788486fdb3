//! The kinds of test, one file each: readings in, numbers out, and how they appear in the document and
//! on the slip.
//!
//! To add a kind: a file with a type that implements [`Findings`] and an `assess`, a variant of
//! [`Part`], and its line in each of the two matches below.

pub mod indicator;
mod push_pull;
mod returns;
mod reversal;
mod small_steps;
mod warm_up;

pub use reversal::{MOST_STATIONS, Reversal};

use super::Found;
use super::document::Document;
use super::slip::Slip;
use super::temperature::At20;
use crate::readings::Sheet;
use crate::refusal::Refusal;
use crate::units::Print;
use takeup_core::axis::Axis;
use takeup_core::measure::cause::joint::Testimony;
use takeup_core::measure::decision::Decision;
use takeup_core::measure::reversal::Station;
use takeup_core::measure::{Estimate, Kind, Setup, returns as returns_core, small_steps as small_steps_core};

/// The numbers of one kind of test.
#[derive(Clone, Debug)]
pub enum Part {
    /// A reversal test, or a positioning test, which is one with more to tell.
    Reversal(Box<Reversal>),
    /// A push-pull test.
    PushPull(Box<push_pull::PushPull>),
    /// A warm-up test.
    WarmUp(Box<warm_up::WarmUp>),
    /// A test of the indicator itself.
    Indicator(Box<indicator::Indicator>),
    /// A test of small steps.
    SmallSteps(Box<small_steps_core::Assessment>),
    /// A return test.
    Return(Box<returns_core::Assessment>),
}

impl Part {
    /// How they appear.
    #[must_use]
    pub fn findings(&self) -> &dyn Findings {
        match self {
            Part::Reversal(part) => part.as_ref(),
            Part::PushPull(part) => part.as_ref(),
            Part::WarmUp(part) => part.as_ref(),
            Part::Indicator(part) => part.as_ref(),
            Part::SmallSteps(part) => part.as_ref(),
            Part::Return(part) => part.as_ref(),
        }
    }
}

impl Part {
    /// What the readings say of the causes beside those of other tests.
    #[must_use]
    pub fn testimony(&self, setup: &Setup) -> Testimony {
        match self {
            Part::Reversal(part) => match &part.positioning {
                Some(positioning) => Testimony::of_positioning(&part.result, positioning, setup),
                None => Testimony::of_reversal(&part.result),
            },
            Part::PushPull(part) => Testimony::of_push_pull(&part.result),
            Part::WarmUp(part) => Testimony::of_warm_up(&part.result),
            Part::Indicator(part) => Testimony::of_indicator(&part.result, setup),
            Part::SmallSteps(result) => Testimony::of_small_steps(result, setup),
            Part::Return(result) => Testimony::of_returns(result),
        }
    }
}

/// Assesses the rows of a sheet as a kind of test; refusals are in the units of the person.
///
/// # Errors
/// When a column is missing, or there is too little to say anything.
pub fn assess(
    kind: Kind,
    sheet: &Sheet,
    setup: &Setup,
    at_20: Option<&At20>,
    print: Print,
) -> Result<Found, Refusal> {
    match kind {
        Kind::Reversal | Kind::Positioning => reversal::assess(kind, sheet, setup, at_20, print),
        Kind::PushPull => push_pull::assess(sheet, setup),
        Kind::WarmUp => warm_up::assess(sheet, setup),
        Kind::Indicator => indicator::assess(sheet, setup),
        Kind::SmallSteps => small_steps::assess(sheet, setup, print),
        Kind::Return => returns::assess(sheet, setup, print),
    }
}

/// How the numbers of a kind of test appear in documents and to people.
pub trait Findings {
    /// The answer without the decision and without a full stop, such as "Z loses 0.118 mm on reversal".
    fn answer(&self, axis: Axis, print: Print) -> String;

    /// Why the decision is as it is; no full stop.
    fn why(&self, _decision: &Decision, _print: Print) -> String {
        String::new()
    }

    /// The estimate that the budget is of, in millimetres.
    fn main(&self) -> Option<Estimate>;

    /// The lost motion in millimetres, where this kind of test gives it.
    fn lost_motion(&self) -> Option<Estimate> {
        None
    }

    /// The stations at which it was found.
    fn stations(&self) -> &[Station] {
        &[]
    }

    /// The standard deviation of one reading at a station in millimetres, and its degrees of freedom.
    fn repeatability_mm(&self) -> Option<(f64, f64)> {
        None
    }

    /// Writes its part of the document.
    fn fill(&self, document: &mut Document, print: Print);

    /// Writes its numbers on the slip.
    fn numbers(&self, slip: &mut Slip<'_>, axis: Axis);

    /// What to do next, before what the likely cause suggests.
    fn next(&self, _print: Print) -> Vec<String> {
        Vec::new()
    }
}

/// A row that core refuses, by its index: the line of the file is what a person can find.
fn at_row(refusal: Refusal, index: usize, sheet: &Sheet) -> Refusal {
    match sheet.rows.get(index) {
        Some(row) => refusal.line(row.line),
        None => refusal,
    }
}

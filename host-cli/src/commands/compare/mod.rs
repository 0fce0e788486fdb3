//! `compare`: did the repair change it, and is it good enough?
//!
//! - here: the command, and what may be compared with what;
//! - `rows`: each quantity that both tests give, before and after;
//! - `words`: the same for people.

mod rows;
mod words;

use crate::context::Context;
use crate::exit::Outcome;
use crate::input;
use crate::log::assessment::{Assessment, Decided, In, Station, load};
use crate::log::quantity::Quantity;
use crate::refusal::Refusal;
use crate::units::{LengthArg, Print};
use rows::{Difference, Row};
use serde_json::{Value, json};
use std::path::PathBuf;
use takeup_core::measure::decision::Answer as Decision;
use takeup_core::measure::{Estimate, Kind};
use takeup_core::trend::compare::{Model, Ratio};

/// Stations closer than this are the same place.
const SAME_PLACE_MM: f64 = 0.001;

/// Arguments of `compare`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  takeup compare z-before.csv z-after.csv --limit 0.05\n\n\
                        Two tests of one kind are compared by what that kind gives: slip per lift, \
                        drift and scatter of returns, growth, clearance and stiffness, hysteresis. \
                        Reversal, positioning and small-steps give lost motion and may be compared with \
                        each other.")]
pub struct Args {
    /// The assessment before, or its readings file
    before: PathBuf,
    /// The assessment after, or its readings file
    after: PathBuf,
    /// What is allowed of what is compared first: lost motion, slip per lift, growth, clearance, hysteresis
    /// [default: of lost motion, the limit AFTER was assessed against]
    #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
    limit: Option<LengthArg>,
}

/// What the comparison of lost motion rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Basis {
    /// The mean over the same stations in both.
    SameStations,
    /// Only the stations that both have, of more.
    CommonStations,
    /// No station in common: the means over different places.
    DifferentPlaces,
}

/// Runs it.
///
/// # Errors
/// When a file cannot be read, or the two cannot be compared.
pub fn run(args: &Args, ctx: &Context) -> Result<Outcome, Refusal> {
    if args.limit.is_some_and(LengthArg::is_negative) {
        return Err(Refusal::new("--limit is negative", "Give what is allowed, such as 0.05."));
    }
    let before = load(&args.before, None, In::PrintedUnits, ctx)?.assessment;
    let after = load(&args.after, args.limit, In::PrintedUnits, ctx)?.assessment;
    let limit = args.limit.map(|limit| limit.mm(ctx.lengths_of(after.unit()).unit));
    let compared =
        compared((&before, &input::name(&args.before)), (&after, &input::name(&args.after)), limit, ctx)?;
    ctx.answer(&compared.document, || compared.text.clone(), compared.outcome)
}

/// A comparison, for every reader.
pub(super) struct Compared {
    /// The document `takeup.comparison/1`.
    pub(super) document: Value,
    /// The same in words.
    pub(super) text: String,
    /// Whether it calls for action.
    pub(super) outcome: Outcome,
}

/// Everything that is told of two assessments.
struct Comparison<'a> {
    after: &'a Assessment,
    pair: Pair,
    /// What both give, the first the one that is judged.
    rows: Vec<Row>,
    /// What only the one before, only the one after gives.
    alone: [Vec<Quantity>; 2],
    limit_mm: Option<f64>,
    decided: Option<Decided>,
}

/// Compares two assessments, each with the name of where it comes from.
///
/// # Errors
/// When the two cannot be compared.
pub(super) fn compared(
    (before, before_name): (&Assessment, &str),
    (after, after_name): (&Assessment, &str),
    limit_mm: Option<f64>,
    ctx: &Context,
) -> Result<Compared, Refusal> {
    comparable(before, before_name, after.axis(), after.kind())?;
    whole(after, after_name)?;
    let pair = pair(before, after);
    let (rows, alone) = rows::of(before, after, &pair);
    let Some(main) = rows.first() else {
        let lacking = if alone[0].is_empty() { (before, before_name) } else { (after, after_name) };
        return Err(nothing(lacking.0, lacking.1));
    };
    let limit_mm = limit_mm.or(after.limit_mm().filter(|_| main.quantity == Quantity::LostMotion));
    let decided = limit_mm.map(|limit| match main.quantity {
        Quantity::LostMotion => after.decide(limit),
        _ => Decided::of(&[main.after], limit),
    });
    let over = decided.as_ref().is_some_and(|decided| decided.answer == Decision::Over);
    let outcome = if over || rows.iter().any(Row::is_worse) { Outcome::Adverse } else { Outcome::Good };
    let comparison = Comparison { after, pair, rows, alone, limit_mm, decided };
    Ok(Compared {
        document: document(&comparison, ctx.lengths_of(after.unit())),
        text: words::of(&comparison, ctx),
        outcome,
    })
}

/// Checks that an earlier assessment can be compared with one of an axis and kind.
///
/// # Errors
/// When it is of another axis or kind, or gives nothing to compare.
pub(super) fn comparable(
    before: &Assessment,
    name: &str,
    axis: &str,
    kind: Option<Kind>,
) -> Result<(), Refusal> {
    if before.axis() != axis {
        return Err(Refusal::new(
            format!("before is axis {}, after is axis {axis}", before.axis()),
            "Compare two assessments of the same axis.",
        ));
    }
    if before.kind() != kind && !(gives_lost_motion(before.kind()) && gives_lost_motion(kind)) {
        let test = |kind: Option<Kind>| kind.map_or("another test", Kind::name);
        return Err(Refusal::new(
            format!(
                "before is {}, after is {}: they measure different things",
                test(before.kind()),
                test(kind)
            ),
            "Compare two tests of one kind; of reversal, positioning and small-steps any two.",
        )
        .file(name));
    }
    whole(before, name)
}

/// Whether a kind of test gives lost motion; a document that does not name its kind is taken by what it has.
fn gives_lost_motion(kind: Option<Kind>) -> bool {
    kind.is_none_or(|kind| Quantity::of_kind(kind).contains(&Quantity::LostMotion))
}

/// Checks that an assessment gives something to compare.
fn whole(assessment: &Assessment, name: &str) -> Result<(), Refusal> {
    let gives = match assessment.kind() {
        kind if gives_lost_motion(kind) => assessment.lost_motion_mm().is_some(),
        Some(kind) => Quantity::of_kind(kind).iter().any(|quantity| quantity.of(assessment).is_some()),
        None => false,
    };
    if gives { Ok(()) } else { Err(nothing(assessment, name)) }
}

/// An assessment has not what is to be compared.
fn nothing(assessment: &Assessment, name: &str) -> Refusal {
    let first = assessment.kind().and_then(|kind| Quantity::of_kind(kind).first().copied());
    let way_out = match assessment.kind() {
        Some(Kind::WarmUp) => {
            "Read on until the curve bends, append the rows and compare again: without its end the growth is not known."
        }
        Some(Kind::Return | Kind::PushPull | Kind::Indicator) => {
            "Assess its readings anew, or take it again."
        }
        _ => "Compare assessments of routine reversal, positioning or small-steps, or two of one other kind.",
    };
    Refusal::new(
        format!(
            "this test of routine {:?} gives no {} to compare",
            assessment.routine(),
            first.unwrap_or_default().words()
        ),
        way_out,
    )
    .file(name)
}

/// The lost motion to compare.
struct Pair {
    before: Option<Estimate>,
    after: Option<Estimate>,
    /// The stations that both have, before and after.
    stations: Vec<(Station, Station)>,
    basis: Basis,
}

/// The two estimates to compare: over the same places wherever that can be, since the loss may vary along the travel.
fn pair(before: &Assessment, after: &Assessment) -> Pair {
    let (b, a) = (before.lost_motion_mm(), after.lost_motion_mm());
    let (places_b, places_a) = (before.stations(), after.stations());
    let common: Vec<(Station, Station)> = places_b
        .iter()
        .filter_map(|s| {
            places_a.iter().find(|t| (s.target_mm - t.target_mm).abs() < SAME_PLACE_MM).map(|t| (*s, *t))
        })
        .collect();
    if common.len() == places_b.len() && common.len() == places_a.len() {
        return Pair { before: b, after: a, stations: common, basis: Basis::SameStations };
    }
    if common.is_empty() {
        return Pair { before: b, after: a, stations: common, basis: Basis::DifferentPlaces };
    }
    let mean = |pick: fn(&(Station, Station)) -> Estimate| {
        let n = common.len() as f64;
        let value = common.iter().map(|pair| pick(pair).value).sum::<f64>() / n;
        // Stations share the indicator and its set-up, so their errors may be the same one: no credit for their number.
        let widest =
            common.iter().map(pick).max_by(|x, y| x.standard_uncertainty.total_cmp(&y.standard_uncertainty));
        Some(Estimate { value, ..widest.unwrap_or(Estimate::ZERO) })
    };
    Pair {
        before: mean(|pair| pair.0.lost_motion_mm),
        after: mean(|pair| pair.1.lost_motion_mm),
        stations: common,
        basis: Basis::CommonStations,
    }
}

fn document(comparison: &Comparison<'_>, lengths: Print) -> Value {
    let mut document = json!({
        "schema": "takeup.comparison/1",
        "axis": comparison.after.axis(),
        "units": lengths.unit.symbol(),
    });
    if let Some(main) = comparison.rows.first() {
        document["quantity"] = main.quantity.name().into();
        document["change_answer"] = main.answer.name().into();
        if let Difference::Change(change, model) = &main.difference {
            document["change"] = value(main.quantity, change, lengths);
            document["model"] = model.name().into();
        }
    }
    if let Some(ratio) = comparison.ratio() {
        document["repeatability_ratio"] = ratio_document(&ratio);
    }
    let row = |row: &Row| {
        let mut part = json!({
            "quantity": row.quantity.name(),
            "before": value(row.quantity, &row.before, lengths),
            "after": value(row.quantity, &row.after, lengths),
            "change_answer": row.answer.name(),
        });
        match &row.difference {
            Difference::Change(change, _) => part["change"] = value(row.quantity, change, lengths),
            Difference::Ratio(ratio) => part["ratio"] = ratio_document(ratio),
        }
        part
    };
    document["quantities"] = comparison.rows.iter().map(row).collect();
    if let Some(decided) = &comparison.decided {
        document["after"] = decided.document(lengths);
    }
    document
}

/// A value as assessments have it, lengths in the unit of the document.
fn value(quantity: Quantity, found: &Estimate, lengths: Print) -> Value {
    let of = |x: f64| quantity.in_document(x, lengths);
    let mut part = json!({
        "value": of(found.value),
        "low_95": of(found.low_95()),
        "high_95": of(found.high_95()),
        "standard_uncertainty": of(found.standard_uncertainty),
    });
    // JSON has no infinity; a part that says nothing is absent.
    if found.dof.is_finite() {
        part["dof"] = found.dof.into();
    }
    part
}

fn ratio_document(ratio: &Ratio) -> Value {
    json!({ "value": ratio.value, "low_95": ratio.low_95, "high_95": ratio.high_95 })
}

impl Comparison<'_> {
    /// The scatter after over the scatter before.
    fn ratio(&self) -> Option<Ratio> {
        self.rows.iter().find_map(|row| match row.difference {
            Difference::Ratio(ratio) => Some(ratio),
            Difference::Change(..) => None,
        })
    }

    /// Whether the change of lost motion differs along the travel.
    fn is_paired(&self) -> bool {
        let paired = |row: &Row| matches!(row.difference, Difference::Change(_, Model::Paired));
        self.rows.iter().any(paired)
    }
}

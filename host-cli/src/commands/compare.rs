//! `compare`: did the repair change it, and is it good enough?

use crate::context::Context;
use crate::exit::Outcome;
use crate::input;
use crate::log::assessment::{Assessment, In, Station, load};
use crate::refusal::Refusal;
use crate::units::{LengthArg, counted};
use serde_json::{Value, json};
use std::fmt::Write as _;
use std::path::PathBuf;
use takeup_core::measure::Estimate;
use takeup_core::trend::compare::{self, Answer, Model, Ratio};

/// Stations closer than this are the same place.
const SAME_PLACE_MM: f64 = 0.001;

/// Arguments of `compare`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  takeup compare z-before.csv z-after.csv --limit 0.05")]
pub struct Args {
    /// The assessment before, or its readings file
    before: PathBuf,
    /// The assessment after, or its readings file
    after: PathBuf,
    /// Lost motion allowed [default: the limit AFTER was assessed against]
    #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
    limit: Option<LengthArg>,
}

/// What the comparison rests on.
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
        return Err(Refusal::new("--limit is negative", "Give the lost motion allowed, such as 0.05."));
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
    comparable(before, before_name, after.axis())?;
    let pair = pair(before, before_name, after, after_name)?;
    let (b, a) = (pair.before, pair.after);
    let at = pair.stations.iter().map(|(b, a)| (b.lost_motion_mm, a.lost_motion_mm));
    let (change, model) = compare::change_at(b, a, at);
    let answer = compare::answer(b, a, &change);
    let ratio = match (before.repeatability_mm(), after.repeatability_mm()) {
        (Some(before), Some(after)) => compare::repeatability_ratio(before, after),
        _ => None,
    };
    let limit = limit_mm.or(after.limit_mm());
    let lengths = ctx.lengths_of(after.unit());
    let decision = limit.map(|limit| after.decide(limit).document(lengths));
    let over = decision.as_ref().is_some_and(|decision| decision["answer"] == "over");

    let mut document = json!({
        "schema": "takeup.comparison/1",
        "axis": after.axis(),
        "units": lengths.unit.symbol(),
        "change": {
            "value": lengths.value(change.value),
            "low_95": lengths.value(change.low_95()),
            "high_95": lengths.value(change.high_95()),
            "standard_uncertainty": lengths.value(change.standard_uncertainty),
            "dof": change.dof,
        },
        "change_answer": answer.name(),
        "model": model.name(),
    });
    if !change.dof.is_finite() {
        // JSON has no infinity; a part that says nothing is absent.
        if let Some(part) = document["change"].as_object_mut() {
            part.remove("dof");
        }
    }
    if let Some(ratio) = ratio {
        document["repeatability_ratio"] =
            json!({ "value": ratio.value, "low_95": ratio.low_95, "high_95": ratio.high_95 });
    }
    if let Some(decision) = &decision {
        document["after"] = decision.clone();
    }
    let outcome = if over || answer == Answer::Increased { Outcome::Adverse } else { Outcome::Good };
    let text = text(after, &pair, change, answer, ratio, limit, decision.as_ref(), model, ctx);
    Ok(Compared { document, text, outcome })
}

/// Checks that an earlier assessment can be compared with one of an axis.
///
/// # Errors
/// When it is of another axis, or gives no lost motion.
pub(super) fn comparable(before: &Assessment, name: &str, axis: &str) -> Result<(), Refusal> {
    if before.axis() != axis {
        return Err(Refusal::new(
            format!("before is axis {}, after is axis {axis}", before.axis()),
            "Compare two assessments of the same axis.",
        ));
    }
    whole(before, name).map(drop)
}

/// The lost motion of an assessment, mean over its stations.
fn whole(assessment: &Assessment, name: &str) -> Result<Estimate, Refusal> {
    assessment.lost_motion_mm().ok_or_else(|| {
        Refusal::new(
            format!("routine {:?} gives no lost motion to compare", assessment.routine()),
            "Compare assessments of routine reversal, positioning or small-steps.",
        )
        .file(name)
    })
}

/// What is compared.
struct Pair {
    before: Estimate,
    after: Estimate,
    /// The stations that both have, before and after.
    stations: Vec<(Station, Station)>,
    basis: Basis,
}

/// The two estimates to compare: over the same places wherever that can be, since the loss may vary along the travel.
fn pair(
    before: &Assessment,
    before_name: &str,
    after: &Assessment,
    after_name: &str,
) -> Result<Pair, Refusal> {
    let (b, a) = (whole(before, before_name)?, whole(after, after_name)?);
    let (places_b, places_a) = (before.stations(), after.stations());
    let common: Vec<(Station, Station)> = places_b
        .iter()
        .filter_map(|s| {
            places_a.iter().find(|t| (s.target_mm - t.target_mm).abs() < SAME_PLACE_MM).map(|t| (*s, *t))
        })
        .collect();
    if common.len() == places_b.len() && common.len() == places_a.len() {
        return Ok(Pair { before: b, after: a, stations: common, basis: Basis::SameStations });
    }
    if common.is_empty() {
        return Ok(Pair { before: b, after: a, stations: common, basis: Basis::DifferentPlaces });
    }
    let mean = |pick: fn(&(Station, Station)) -> Estimate| {
        let n = common.len() as f64;
        let value = common.iter().map(|pair| pick(pair).value).sum::<f64>() / n;
        // Stations share the indicator and its set-up, so their errors may be the same one: no credit for their number.
        let widest =
            common.iter().map(pick).max_by(|x, y| x.standard_uncertainty.total_cmp(&y.standard_uncertainty));
        Estimate { value, ..widest.unwrap_or(Estimate::ZERO) }
    };
    Ok(Pair {
        before: mean(|pair| pair.0.lost_motion_mm),
        after: mean(|pair| pair.1.lost_motion_mm),
        stations: common,
        basis: Basis::CommonStations,
    })
}

#[allow(clippy::too_many_arguments, reason = "one paragraph for each part of the answer")]
fn text(
    after: &Assessment,
    pair: &Pair,
    change: Estimate,
    answer: Answer,
    ratio: Option<Ratio>,
    limit_mm: Option<f64>,
    decision: Option<&Value>,
    model: Model,
    ctx: &Context,
) -> String {
    let lengths = ctx.lengths_of(after.unit());
    let axis = after.axis();
    let limit = limit_mm.map(|limit| lengths.with_unit(limit)).unwrap_or_default();
    let head = match answer {
        Answer::Reduced => "lost motion is reduced",
        Answer::Increased => "lost motion has INCREASED",
        Answer::NoChangeShown => "no change of lost motion is shown",
    };
    let good = match decision.and_then(|decision| decision["answer"].as_str()) {
        Some("within") => match answer {
            Answer::Reduced => format!(" and is now within the limit of {limit}"),
            Answer::Increased => format!(", but it is still within the limit of {limit}"),
            Answer::NoChangeShown => format!("; it is within the limit of {limit}"),
        },
        Some("over") => match answer {
            Answer::Reduced => format!(", but it is still OVER the limit of {limit}"),
            Answer::Increased => format!(", and it is OVER the limit of {limit}"),
            Answer::NoChangeShown => format!("; it is OVER the limit of {limit}"),
        },
        Some(_) => format!("; whether it is within {limit} is not decided yet"),
        None => String::new(),
    };
    let mut text = ctx.screen().wrap(&format!("Axis {axis}: {head}{good}."), "");
    text.push_str("\n\n");
    let line = |name: &str, e: Estimate| {
        format!("  {name:<7} {:>10} ± {} (95 %)\n", lengths.with_unit(e.value), lengths.fine(e.expanded_95()))
    };
    text.push_str(&line("before", pair.before));
    text.push_str(&line("after", pair.after));
    text.push_str(&line("change", change));
    if let Some(ratio) = ratio {
        let words = if ratio.high_95 < 1.0 {
            "it repeats better"
        } else if ratio.low_95 > 1.0 {
            "it repeats WORSE"
        } else {
            "no difference shown"
        };
        let _ = writeln!(
            text,
            "  scatter after over before: {:.2} ({:.2} to {:.2}, 95 %): {words}",
            ratio.value, ratio.low_95, ratio.high_95
        );
    }
    if model == Model::Paired {
        text.push_str("  the change differs along the travel: its interval is from how much\n");
    }
    match pair.basis {
        Basis::SameStations => {}
        Basis::CommonStations => {
            let stations = counted(pair.stations.len() as u64, "station");
            let _ = writeln!(text, "  compared at the {stations} that both have");
        }
        Basis::DifferentPlaces => {
            text.push_str("  caution: no station in common; if the loss varies along the travel, that is in the change\n");
        }
    }
    let next = match (answer, decision.and_then(|decision| decision["answer"].as_str())) {
        (Answer::Increased, _) => "Find the cause before the machine is used for close work.",
        (_, Some("over")) => "Repair again, or correct programs for what remains; then measure again.",
        (_, Some("undecided")) => "Take more cycles before you rely on it.",
        (Answer::NoChangeShown, _) => "More cycles in both tests would show a smaller change.",
        (_, Some(_)) => "Log this session, so that a return of the loss is seen early.",
        (_, None) => "Give --limit to know whether it is good enough.",
    };
    let _ = writeln!(text, "\nNext: {next}");
    text
}

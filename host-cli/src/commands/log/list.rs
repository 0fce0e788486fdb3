//! `log list` and `log show`: entries for a person to read.

use super::Place;
use crate::context::Context;
use crate::exit::Outcome;
use crate::log::assessment::Assessment;
use crate::log::entry::Kind;
use crate::log::quantity::Quantity;
use crate::log::store::Kept;
use crate::refusal::Refusal;
use crate::screen::harmless;
use serde_json::{Value, json};
use takeup_core::axis::Axis;

#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  takeup log list --log shop.log")]
pub(super) struct ListArgs {
    /// Only this machine
    #[arg(long, value_name = "NAME")]
    machine: Option<String>,
    /// Only this axis, with what concerns the whole machine
    #[arg(long, value_parser = crate::commands::assess::axis)]
    axis: Option<Axis>,
}

#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  takeup log show 1 --log shop.log")]
pub(super) struct ShowArgs {
    /// Number of the entry
    #[arg(value_name = "N")]
    entry: i64,
}

pub(super) fn list(args: &ListArgs, place: &Place, ctx: &Context) -> Result<Outcome, Refusal> {
    let axis = args.axis.map(|axis| axis.to_string());
    let entries = place.open()?.entries(args.machine.as_deref(), axis.as_deref())?;
    let document = json!({
        "schema": "takeup.log-list/1",
        "units": ctx.units().symbol(),
        "entries": entries.iter().map(|kept| brief(kept, ctx)).collect::<Vec<_>>(),
    });
    let text = || {
        if entries.is_empty() {
            return "no entries\n".to_owned();
        }
        listing(&entries, ctx)
    };
    ctx.answer(&document, text, Outcome::Good)
}

/// The columns of a list, blank between them: number, time, machine, axis, kind, and what there is to say. A long name is cut
/// and a long text goes on below, so that nothing is wider than a terminal.
fn listing(entries: &[Kept], ctx: &Context) -> String {
    const LONGEST_NAME: usize = 20;
    let name = |kept: &Kept| shortened(&harmless(&kept.entry.machine), LONGEST_NAME);
    let width = |column: &dyn Fn(&Kept) -> usize, least: usize| {
        entries.iter().map(column).max().unwrap_or(0).max(least)
    };
    let numbers = width(&|kept| kept.id.to_string().len(), "entry".len());
    let names = width(&|kept| name(kept).chars().count(), "machine".len());
    let mut text =
        format!("{:<numbers$}  {:<16}  {:<names$}  axis  what\n", "entry", "time (UTC)", "machine");
    let left = numbers + 16 + names + "axis".len() + 8;
    for kept in entries {
        let entry = &kept.entry;
        let mut said = what(kept, ctx);
        if let Some(by) = kept.corrected_by {
            said.push_str(&format!(" [wrong: see {by}]"));
        }
        let at = entry.at.get(..16).unwrap_or(&entry.at).replace('T', " ");
        let axis = entry.axis.as_deref().unwrap_or("");
        let line = format!("{:<numbers$}  {at:<16}  {:<names$}  {axis:<4}  {said}", kept.id, name(kept));
        text.push_str(ctx.screen().wrap(&line, &" ".repeat(left)).trim_end());
        text.push('\n');
    }
    text
}

/// A name no longer than so many letters: the middle is left out, since similar names differ at their ends.
fn shortened(name: &str, most: usize) -> String {
    let letters: Vec<char> = name.chars().collect();
    if letters.len() <= most {
        return name.to_owned();
    }
    let tail = most / 2;
    let head: String = letters.iter().take(most - tail - 1).collect();
    let tail: String = letters.iter().skip(letters.len() - tail).collect();
    format!("{head}…{tail}")
}

pub(super) fn show(args: &ShowArgs, place: &Place, ctx: &Context) -> Result<Outcome, Refusal> {
    let kept = place.open()?.entry(args.entry)?;
    let body: Value = serde_json::from_str(&kept.entry.body).unwrap_or(Value::Null);
    let mut document = brief(&kept, ctx);
    document["schema"] = "takeup.log-entry/1".into();
    document["units"] = ctx.units().symbol().into();
    document["digest"] = kept.entry.digest.clone().into();
    document["body"] = body.clone();
    let text = || {
        let mut text = format!(
            "entry {}: {} of {}{}, {}\n",
            kept.id,
            kept.entry.kind.name(),
            harmless(&kept.entry.machine),
            kept.entry.axis.as_deref().map(|axis| format!(", axis {axis}")).unwrap_or_default(),
            kept.entry.at,
        );
        text.push_str(&format!("{}\n", what(&kept, ctx)));
        if let Some(by) = kept.corrected_by {
            text.push_str(&format!("wrong: see entry {by}\n"));
        }
        text.push_str(&format!("digest {}\n", kept.entry.digest));
        // As the person wrote them; the assessment of them is a document for programs, and --json has it.
        if let Some(readings) = body["readings"].as_str() {
            let lines = readings.lines().map(harmless).collect::<Vec<_>>();
            text.push_str(&format!("\n{}\n", lines.join("\n")));
        }
        text.push_str("\nAll of it: --json.\n");
        text
    };
    ctx.answer(&document, text, Outcome::Good)
}

fn brief(kept: &Kept, ctx: &Context) -> Value {
    let entry = &kept.entry;
    let mut document =
        json!({ "entry": kept.id, "kind": entry.kind, "machine": entry.machine, "at": entry.at });
    if let Some(axis) = &entry.axis {
        document["axis"] = axis.clone().into();
    }
    if let Some(by) = kept.corrected_by {
        document["corrected_by"] = by.into();
    }
    let body: Value = serde_json::from_str(&entry.body).unwrap_or(Value::Null);
    match entry.kind {
        Kind::Session => {
            document["routine"] = body["assessment"]["routine"].clone();
            if let Some(lost) = entry.assessment().and_then(|assessment| assessment.lost_motion_mm()) {
                let lengths = ctx.lengths();
                document["lost_motion"] = json!({
                    "value": lengths.value(lost.value),
                    "low_95": lengths.value(lost.low_95()),
                    "high_95": lengths.value(lost.high_95()),
                });
            }
        }
        Kind::Event => {
            document["event"] = body["event"].clone();
            document["text"] = body["text"].clone();
        }
        Kind::Correction => document["text"] = body["text"].clone(),
    }
    if body["table"].is_object() {
        document["table"] = body["table"].clone();
    }
    document
}

/// What a session that gives no lost motion gives, the first two quantities.
fn others(assessment: &Value, ctx: &Context) -> String {
    let Ok(assessment) = Assessment::from_value(assessment.clone()) else { return String::new() };
    let found: Vec<_> = Quantity::ALL
        .into_iter()
        .filter_map(|quantity| {
            let (found, print) = (quantity.of(&assessment)?, quantity.print(ctx.lengths()));
            let (value, half) = (print.with_unit(found.value), print.fine(found.expanded_95()));
            Some(format!("{} {value} ± {half}", quantity.words()))
        })
        .take(2)
        .collect();
    if found.is_empty() { String::new() } else { format!(": {}", found.join(", ")) }
}

fn what(kept: &Kept, ctx: &Context) -> String {
    let body: Value = serde_json::from_str(&kept.entry.body).unwrap_or(Value::Null);
    let word = |value: &Value| harmless(value.as_str().unwrap_or(""));
    match kept.entry.kind {
        Kind::Session => {
            let routine = word(&body["assessment"]["routine"]);
            match kept.entry.assessment().and_then(|assessment| assessment.lost_motion_mm()) {
                Some(lost) => format!(
                    "{routine}: lost motion {} ± {}",
                    ctx.lengths().with_unit(lost.value),
                    ctx.lengths().fine(lost.expanded_95())
                ),
                None => format!("{routine}{}", others(&body["assessment"], ctx)),
            }
        }
        Kind::Event => format!("{}: {}", word(&body["event"]), word(&body["text"])),
        Kind::Correction => format!("correction: {}", word(&body["text"])),
    }
}

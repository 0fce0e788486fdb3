//! `log list` and `log show`: entries for a person to read.

use super::Place;
use crate::context::Context;
use crate::exit::Outcome;
use crate::log::entry::Kind;
use crate::log::store::Kept;
use crate::refusal::Refusal;
use comfy_table::Table;
use serde_json::{Value, json};
use takeup_core::axis::Axis;

#[derive(Debug, clap::Args)]
pub(super) struct ListArgs {
    /// Only this machine
    #[arg(long, value_name = "NAME")]
    machine: Option<String>,
    /// Only this axis, with what concerns the whole machine
    #[arg(long, value_parser = crate::commands::assess::axis)]
    axis: Option<Axis>,
}

#[derive(Debug, clap::Args)]
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
        let mut table = Table::new();
        table.load_style(comfy_table::presets::NOTHING);
        table.set_header(["entry", "time (UTC)", "machine", "axis", "kind", "what"]);
        for kept in &entries {
            let entry = &kept.entry;
            let mut what = what(kept, ctx);
            if let Some(by) = kept.corrected_by {
                what.push_str(&format!(" [wrong: see {by}]"));
            }
            let at = entry.at.get(..16).unwrap_or(&entry.at).replace('T', " ");
            let axis = entry.axis.clone().unwrap_or_default();
            table.add_row([
                kept.id.to_string(),
                at,
                harmless(&entry.machine),
                axis,
                entry.kind.name().into(),
                what,
            ]);
        }
        let lines: Vec<_> = table.to_string().lines().map(|line| line.trim_end().to_owned()).collect();
        lines.join("\n") + "\n"
    };
    ctx.answer(&document, text, Outcome::Good)
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
        text.push_str(&format!("digest {}\n\n", kept.entry.digest));
        text.push_str(&serde_json::to_string_pretty(&body).unwrap_or_default());
        text.push('\n');
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
    document
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
                None => routine,
            }
        }
        Kind::Event => format!("{}: {}", word(&body["event"]), word(&body["text"])),
        Kind::Correction => word(&body["text"]),
    }
}

/// Text from a file without what could disturb a terminal.
pub(super) fn harmless(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { '?' } else { c }).collect()
}

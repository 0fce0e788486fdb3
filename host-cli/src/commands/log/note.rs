//! `log note`: events and corrections.

use super::{Place, USUAL_MACHINE, add::number};
use crate::context::Context;
use crate::exit::Outcome;
use crate::log::entry::{Entry, Event, Kind, time};
use crate::log::store::Store;
use crate::refusal::Refusal;
use jiff::Timestamp;
use serde_json::json;
use takeup_core::axis::Axis;

#[derive(Debug, clap::Args)]
#[command(after_help = "A repair, an adjustment, a crash or a move starts the trend anew.")]
pub(super) struct Args {
    /// What happened, in your words
    text: String,
    /// Kind of event
    #[arg(long, value_enum, default_value_t = Event::Note, conflicts_with = "corrects")]
    event: Event,
    /// The machine [default: mill]
    #[arg(long, value_name = "NAME", conflicts_with = "corrects")]
    machine: Option<String>,
    /// The axis, if it is about one axis only
    #[arg(long, value_parser = crate::commands::assess::axis, conflicts_with = "corrects")]
    axis: Option<Axis>,
    /// When it happened [default: now]
    #[arg(long, value_name = "TIME")]
    at: Option<String>,
    /// Number of an entry that is wrong: it no longer counts
    #[arg(long, value_name = "N")]
    corrects: Option<i64>,
}

pub(super) fn run(args: &Args, place: &Place, ctx: &Context) -> Result<Outcome, Refusal> {
    let path = place.path()?;
    if args.text.trim().is_empty() {
        return Err(Refusal::new("the note is empty", "Say in some words what happened."));
    }
    let at = args.at.as_deref().map(time).transpose()?.unwrap_or_else(Timestamp::now);
    let (entry, mut store) = if let Some(wrong) = args.corrects {
        let store = Store::open(&path)?;
        let kept = store.entry(wrong)?;
        if let Some(by) = kept.corrected_by {
            return Err(Refusal::new(
                format!("entry {wrong} is already corrected by entry {by}"),
                "Nothing needs to be done.",
            )
            .path(&path));
        }
        if kept.entry.kind == Kind::Correction {
            return Err(Refusal::new(
                format!("entry {wrong} is itself a correction"),
                "Add the session or the note again that was right.",
            )
            .path(&path));
        }
        let body = json!({ "corrects": kept.entry.digest, "text": args.text });
        (Entry::new(Kind::Correction, &kept.entry.machine, kept.entry.axis, at, &body), store)
    } else {
        let machine = args.machine.as_deref().unwrap_or(USUAL_MACHINE);
        let axis = args.axis.map(|axis| axis.to_string());
        // The time is part of what happened: the same words a month later are another event.
        let body = json!({ "event": args.event, "text": args.text, "at": at.to_string() });
        (Entry::new(Kind::Event, machine, axis, at, &body), Store::open_or_create(&path)?)
    };
    let appended = store.append(std::slice::from_ref(&entry))?;
    let id = appended.first().map_or(0, |appended| number(*appended));
    let document = json!({
        "schema": "takeup.log-note/1", "log": path.display().to_string(), "entry": id, "machine": entry.machine, "at": entry.at,
    });
    let text = || format!("noted as entry {id} for {}\n", entry.machine);
    ctx.answer(&document, text, Outcome::Good)
}

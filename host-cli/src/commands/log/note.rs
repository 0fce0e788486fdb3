//! `log note`: events and corrections.

use super::{Place, USUAL_MACHINE, add::number, named, tell_alike, tell_early};
use crate::context::Context;
use crate::exit::Outcome;
use crate::log::entry::{Entry, Event, Kind, time};
use crate::log::store::Store;
use crate::refusal::{Refusal, clip};
use crate::screen::harmless;
use jiff::Timestamp;
use serde_json::json;
use takeup_core::axis::Axis;

#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  takeup log note --event repair --axis z \"coupling tightened\" --log shop.log\n  \
                        takeup log note --corrects 1 \"the dial stood loose\" --log shop.log\n\n\
                        A repair, an adjustment, a crash or a move starts the trend anew."
)]
pub(super) struct Args {
    /// What happened, in your words
    text: String,
    /// Kind of event
    #[arg(long, value_enum, default_value_t = Event::Note, conflicts_with = "corrects")]
    event: Event,
    /// The machine [default: the only one in the log]
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
        let machine = args.machine.as_deref().map(named).transpose()?;
        let store = Store::open_or_create(&path)?;
        let machine = match machine {
            Some(machine) => machine.to_owned(),
            None => only_machine(&store.machines()?).map_err(|refusal| refusal.path(&path))?,
        };
        tell_alike(&store, &machine, ctx)?;
        let axis = args.axis.map(|axis| axis.to_string());
        // The time is part of what happened: the same words a month later are another event.
        let body = json!({ "event": args.event, "text": args.text, "at": at.to_string() });
        (Entry::new(Kind::Event, &machine, axis, at, &body), store)
    };
    let appended = store.append(std::slice::from_ref(&entry))?;
    let id = appended.first().map_or(0, |appended| number(*appended));
    appended.first().into_iter().for_each(|appended| tell_early(&entry, *appended, ctx));
    let document = json!({
        "schema": "takeup.log-note/1", "log": path.display().to_string(), "entry": id, "machine": entry.machine, "at": entry.at,
    });
    let text = || format!("noted as entry {id} for {}\n", harmless(&entry.machine));
    ctx.answer(&document, text, Outcome::Good)
}

/// The machine meant when none is named.
fn only_machine(machines: &[String]) -> Result<String, Refusal> {
    match machines {
        [] => Ok(USUAL_MACHINE.to_owned()),
        [one] => Ok(one.clone()),
        several => {
            let names: Vec<_> = several.iter().take(6).map(|name| format!("{:?}", clip(name))).collect();
            let more = if several.len() > names.len() { ", …" } else { "" };
            Err(Refusal::new(
                format!("the log has {} machines, and the note may be about any of them", several.len()),
                format!("Name one by --machine: {}{more}.", names.join(", ")),
            ))
        }
    }
}

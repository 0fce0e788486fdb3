//! `log add`: sessions into the log.

use super::{Place, USUAL_MACHINE};
use crate::context::Context;
use crate::exit::Outcome;
use crate::input;
use crate::log::assessment::{Loaded, load};
use crate::log::entry::{Entry, time};
use crate::log::store::{Appended, Store};
use crate::refusal::Refusal;
use jiff::Timestamp;
use serde_json::json;
use std::fmt::Write as _;
use std::path::PathBuf;

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Assessments or readings files to add, all of them or none
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// The machine, where a file does not name it [default: mill]
    #[arg(long, value_name = "NAME")]
    machine: Option<String>,
    /// When the readings were taken, where a file does not say [default: now]
    #[arg(long, value_name = "TIME")]
    taken: Option<String>,
}

pub(super) fn run(args: &Args, place: &Place, ctx: &Context) -> Result<Outcome, Refusal> {
    let path = place.path()?;
    let taken = args.taken.as_deref().map(time).transpose()?;
    let now = Timestamp::now();
    let mut entries = Vec::with_capacity(args.files.len());
    for file in &args.files {
        let name = input::name(file);
        let Loaded { assessment, readings } = load(file, ctx)?;
        let stated = |key: &str| assessment.document()[key].as_str();
        let taken = match (taken, stated("taken")) {
            (None, Some(text)) => Some(time(text).map_err(|refusal| refusal.file(&name))?),
            (given, _) => given,
        };
        let machine = args.machine.as_deref().or(stated("machine")).unwrap_or(USUAL_MACHINE);
        entries.push(Entry::session(&assessment, readings.as_deref(), machine, taken, now));
    }
    let mut store = Store::open_or_create(&path)?;
    // The readings file and its assessment are the same session: whichever came first stays.
    for entry in &mut entries {
        if let Some(same) = store.same_session(entry)? {
            *entry = same;
        }
    }
    let done = store.append(&entries)?;
    let document = json!({
        "schema": "takeup.log-add/1",
        "log": path.display().to_string(),
        "entries": entries.iter().zip(&done).map(|(entry, appended)| json!({
            "entry": number(*appended),
            "added": matches!(appended, Appended::New(_)),
            "machine": entry.machine,
            "axis": entry.axis,
            "at": entry.at,
        })).collect::<Vec<_>>(),
    });
    let text = || {
        let mut text = String::new();
        for ((entry, appended), file) in entries.iter().zip(&done).zip(&args.files) {
            let (axis, machine) = (entry.axis.as_deref().unwrap_or("-"), &entry.machine);
            let file = input::name(file);
            let _ = match appended {
                Appended::New(id) => writeln!(text, "{file}: added as entry {id}, axis {axis} of {machine}"),
                Appended::Known(id) => {
                    writeln!(text, "{file}: already in the log as entry {id}; nothing added")
                }
            };
        }
        text
    };
    ctx.answer(&document, text, Outcome::Good)
}

/// The number of an entry.
pub(super) fn number(appended: Appended) -> i64 {
    match appended {
        Appended::New(id) | Appended::Known(id) => id,
    }
}

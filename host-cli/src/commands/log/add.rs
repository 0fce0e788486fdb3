//! `log add`: sessions and compensation tables into the log.

use super::{Place, USUAL_MACHINE, named, tell_alike, tell_early};
use crate::commands::table::export;
use crate::context::Context;
use crate::exit::Outcome;
use crate::input;
use crate::log::assessment::{In, Loaded, load};
use crate::log::entry::{Entry, time};
use crate::log::store::{Appended, Store};
use crate::refusal::Refusal;
use crate::screen::harmless;
use crate::table_file;
use crate::units::Print;
use jiff::Timestamp;
use serde_json::json;
use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::io::Read as _;
use std::path::{Path, PathBuf};
use takeup_core::correct::bytes::{self, MAGIC};
use takeup_core::length::Unit;

#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  takeup log add z-before.csv --log shop.log\n  takeup log add mill.table --taken 2026-03-02 --log shop.log"
)]
pub(super) struct Args {
    /// Assessments, readings files or compensation tables to add, all of them or none
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// The machine, where a file does not name it [default: mill]
    #[arg(long, value_name = "NAME")]
    machine: Option<String>,
    /// When the readings were taken, or from when the table is in force, where a file does not say [default: now]
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
        if !input::is_dash(file) && starts_as_table(file) {
            entries.push(table(file, args.machine.as_deref(), taken, now, ctx)?);
            continue;
        }
        let Loaded { assessment, readings } = load(file, None, In::FileUnits, ctx)?;
        let stated = |key: &str| assessment.document()[key].as_str();
        let taken = match (taken, stated("taken")) {
            (None, Some(text)) => Some(time(text).map_err(|refusal| refusal.file(&name))?),
            (given, _) => given,
        };
        let stated = stated("machine").filter(|name| !name.trim().is_empty());
        let machine = named(args.machine.as_deref().or(stated).unwrap_or(USUAL_MACHINE))?;
        entries.push(Entry::session(&assessment, readings.as_deref(), machine, taken, now));
    }
    let mut store = Store::open_or_create(&path)?;
    // The readings file and its assessment are the same session: whichever came first stays.
    for entry in &mut entries {
        if let Some(same) = store.same_session(entry)? {
            *entry = same;
        }
    }
    let machines: BTreeSet<&str> = entries.iter().map(|entry| entry.machine.as_str()).collect();
    for machine in machines {
        tell_alike(&store, machine, ctx)?;
    }
    let done = store.append(&entries)?;
    entries.iter().zip(&done).for_each(|(entry, appended)| tell_early(entry, *appended, ctx));
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
            let machine = harmless(&entry.machine);
            let of = match &entry.axis {
                Some(axis) => format!("axis {axis} of {machine}"),
                None => format!("in force on {machine} from {}", entry.at.get(..10).unwrap_or_default()),
            };
            let file = input::name(file);
            let _ = match appended {
                Appended::New(id) => writeln!(text, "{file}: added as entry {id}, {of}"),
                Appended::Known(id) => {
                    writeln!(text, "{file}: already in the log as entry {id}; nothing added")
                }
            };
        }
        text
    };
    ctx.answer(&document, text, Outcome::Good)
}

/// Whether a file begins as a compensation table does.
fn starts_as_table(file: &Path) -> bool {
    let mut start = [0; MAGIC.len()];
    std::fs::File::open(file).is_ok_and(|mut file| file.read_exact(&mut start).is_ok()) && start == MAGIC
}

/// A compensation table, in force from a time on.
fn table(
    file: &Path,
    machine: Option<&str>,
    from: Option<Timestamp>,
    now: Timestamp,
    ctx: &Context,
) -> Result<Entry, Refusal> {
    let bytes = input::read(file, bytes::MAX_BYTES as u64 + 1, ctx)?;
    let table = table_file::read(file, ctx)?;
    let stated = Some(table.machine.as_str()).filter(|name| !name.trim().is_empty());
    let machine = named(machine.or(stated).unwrap_or(USUAL_MACHINE))?;
    // In millimetres, whatever is printed: the same table is the same entry in every shop.
    let mm = Print { unit: Unit::Mm };
    let losses: Vec<_> = table
        .axes
        .iter()
        .filter_map(|(axis, t)| t.as_ref().map(|t| (axis, t)))
        .map(|(axis, t)| format!("{axis} up to {}", mm.with_unit(t.largest_lost_motion().as_mm())))
        .collect();
    let text = format!("corrects {}", losses.join(", "));
    let document = export::document(&table, mm.unit);
    let document = serde_json::to_value(&document).unwrap_or_default();
    Ok(Entry::table(&bytes, &document, &text, machine, from, now))
}

/// The number of an entry.
pub(super) fn number(appended: Appended) -> i64 {
    match appended {
        Appended::New(id) | Appended::Known(id) => id,
    }
}

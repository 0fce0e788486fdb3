//! `log export` and `log import`: entries between computers, one JSON document a line.

use super::Place;
use crate::context::Context;
use crate::exit::Outcome;
use crate::input;
use crate::log::entry::Entry;
use crate::log::store::{Appended, Store};
use crate::output;
use crate::refusal::Refusal;
use serde::{Deserialize, Serialize};
use serde_json::json;
use std::collections::HashSet;
use std::path::PathBuf;

/// The longest line of a bundle: one session with its readings.
const MOST_LINE: usize = 50_000_000;
const SCHEMA: &str = "takeup.bundle/1";

#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  takeup log export --log shop.log -o shop.jsonl")]
pub(super) struct ExportArgs {
    /// The bundle to write
    #[arg(short, long, value_name = "FILE")]
    output: PathBuf,
}

#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  takeup log export --log shop.log -o shop.jsonl\n  takeup log import shop.jsonl --log office.log"
)]
pub(super) struct ImportArgs {
    /// The bundle to take
    #[arg(value_name = "FILE")]
    bundle: PathBuf,
}

/// The first line: a bundle that lost its end on the way is recognised by the count.
#[derive(Debug, Serialize, Deserialize)]
struct Head {
    schema: String,
    entries: usize,
}

pub(super) fn export(args: &ExportArgs, place: &Place, ctx: &Context) -> Result<Outcome, Refusal> {
    let path = place.path()?;
    output::keep_apart(&[&args.output], &[&path])?;
    let kept = Store::open(&path)?.entries(None, None)?;
    let mut text = line(&Head { schema: SCHEMA.into(), entries: kept.len() });
    for kept in &kept {
        text.push_str(&line(&kept.entry));
    }
    output::write(&args.output, text.as_bytes(), ctx)?;
    let name = args.output.display().to_string();
    let document = json!({ "schema": "takeup.log-export/1", "entries": kept.len(), "bundle": name });
    if input::is_dash(&args.output) {
        return Ok(Outcome::Good);
    }
    ctx.answer(&document, || format!("entries written to {name}: {}\n", kept.len()), Outcome::Good)
}

/// A line of a bundle.
fn line(value: &impl Serialize) -> String {
    // Strings and numbers only: their JSON always exists.
    serde_json::to_string(value).unwrap_or_default() + "\n"
}

pub(super) fn import(args: &ImportArgs, place: &Place, ctx: &Context) -> Result<Outcome, Refusal> {
    let path = place.path()?;
    let entries = read(args, ctx)?;
    let done = Store::open_or_create(&path)?.append(&entries)?;
    let added = done.iter().filter(|appended| matches!(appended, Appended::New(_))).count();
    let known = done.len() - added;
    let document = json!({ "schema": "takeup.log-import/1", "added": added, "known": known });
    ctx.answer(&document, || format!("entries added: {added}, here already: {known}\n"), Outcome::Good)
}

/// The entries of a bundle, every one of them checked.
fn read(args: &ImportArgs, ctx: &Context) -> Result<Vec<Entry>, Refusal> {
    const WAY_OUT: &str = "Write the bundle again with `takeup log export`, and copy it whole.";
    let name = input::name(&args.bundle);
    let refuse = |line: u64, reason: String| Refusal::new(reason, WAY_OUT).file(&name).line(line);
    let mut reader = input::open(&args.bundle, ctx)?;
    let (mut line, mut number) = (Vec::new(), 0);
    let mut next = |line: &mut Vec<u8>| match input::read_line(&mut *reader, line, MOST_LINE) {
        Ok(more) => Ok(more),
        Err(input::LineError::TooLong(most)) => {
            Err(Refusal::new(format!("a line longer than {most} bytes"), WAY_OUT).file(&name))
        }
        Err(input::LineError::Io(error)) => Err(Refusal::io(name.clone(), "read", &error)),
    };
    next(&mut line)?;
    let head: Head =
        serde_json::from_slice(&line).ok().filter(|head: &Head| head.schema == SCHEMA).ok_or_else(|| {
            refuse(1, format!("this is not a bundle: its first line is not a {SCHEMA:?} document"))
        })?;
    let (mut entries, mut seen) = (Vec::new(), HashSet::new());
    while next(&mut line)? {
        number += 1;
        let entry: Entry = serde_json::from_slice(&line)
            .map_err(|error| refuse(number + 1, format!("this line is not an entry: {error}")))?;
        if let Some(fault) = entry.fault() {
            return Err(refuse(number + 1, format!("this entry cannot be taken: {fault}")));
        }
        if seen.insert(entry.digest.clone()) {
            entries.push(entry);
        }
    }
    if number != head.entries as u64 {
        return Err(refuse(1, format!("the bundle says {} entries and has {number}", head.entries)));
    }
    Ok(entries)
}

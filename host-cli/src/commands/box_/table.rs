//! `box table`: the compensation table in a box.

use super::{on, open};
use crate::context::Context;
use crate::exit::Outcome;
use crate::probe_box::{Session, Trouble};
use crate::refusal::Refusal;
use crate::table_file;
use serde::Serialize;
use std::path::PathBuf;
use takeup_core::axis::Axis;
use takeup_core::correct::{Table, bytes};
use takeup_core::link::ToBox;
use takeup_core::link::message::{MAX_PART, State, ToHost};

/// Arguments of `box table`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:\n  takeup box table /dev/ttyACM0              # is there one?\n  \
                        takeup box table /dev/ttyACM0 mill.table   # send this one\n  \
                        takeup box table /dev/ttyACM0 --forget     # forget it")]
pub struct Args {
    /// Serial port, or tcp:HOST:PORT
    #[arg(value_name = "PORT")]
    port: String,
    /// Table to send, made by "takeup table build"; the box keeps the part of its axis
    #[arg(value_name = "FILE", conflicts_with = "forget")]
    file: Option<PathBuf>,
    /// Let the box forget its table
    #[arg(long)]
    forget: bool,
}

#[derive(Serialize)]
struct Document {
    schema: &'static str,
    port: String,
    axis: String,
    done: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    checksum: Option<String>,
}

/// Shows it, sends one, or has it forgotten.
///
/// # Errors
/// When the file is no table with the axis of the box, or the box refuses it.
pub fn run(args: &Args, ctx: &Context) -> Result<Outcome, Refusal> {
    let table = args.file.as_deref().map(|file| table_file::read(file, ctx)).transpose()?;
    let mut session = open(&args.port)?;
    let axis = session.capabilities().axis;
    let (done, state) = match (&table, args.forget) {
        (Some(table), _) => {
            let bytes = part(table, axis, args)?;
            ("sent", send(&mut session, &bytes).map_err(on(&args.port))?)
        }
        (None, true) => {
            ("forgotten", state(session.ask(ToBox::TableEnd { length: 0 })).map_err(on(&args.port))?)
        }
        (None, false) => ("shown", session.state().map_err(on(&args.port))?),
    };
    let checksum = state.table.map(|crc| format!("{crc:08x}"));
    let document = Document {
        schema: "takeup.box-table/1",
        port: args.port.clone(),
        axis: axis.to_string(),
        done,
        checksum: checksum.clone(),
    };
    let text = || match (done, checksum.as_deref()) {
        ("sent", Some(crc)) => format!(
            "The box holds the table for {axis} now, checksum {crc}.\nIt corrects in runs with --corrected.\n"
        ),
        (_, Some(crc)) => format!("The box holds a table for {axis}, checksum {crc}.\n"),
        (_, None) => format!("The box holds no table for {axis}.\n"),
    };
    ctx.answer(&document, text, Outcome::Good)
}

/// The bytes of the table of one axis alone.
fn part(table: &Table, axis: Axis, args: &Args) -> Result<Vec<u8>, Refusal> {
    let Some(corrections) = table.axes.get(axis) else {
        let refusal = Refusal::new(
            format!("the table corrects no axis {axis}, which the box drives"),
            "Build a table with that axis.",
        );
        return Err(match &args.file {
            Some(file) => refusal.path(file),
            None => refusal,
        });
    };
    let mut alone = Table { machine: table.machine.clone(), ..Table::EMPTY };
    *alone.axes.get_mut(axis) = Some(corrections.clone());
    let mut buffer = [0; bytes::MAX_BYTES];
    let length = bytes::encode(&alone, &mut buffer)
        .map_err(|error| Refusal::new(error.to_string(), "Report this fault."))?;
    Ok(buffer[..length].to_vec())
}

fn send(session: &mut Session, bytes: &[u8]) -> Result<State, Trouble> {
    for (part, offset) in bytes.chunks(MAX_PART).zip((0_u16..).step_by(MAX_PART)) {
        session.ask(ToBox::TablePart { offset, bytes: part.iter().copied().collect() })?;
    }
    let length = u16::try_from(bytes.len()).unwrap_or(u16::MAX);
    state(session.ask(ToBox::TableEnd { length }))
}

fn state(answer: Result<ToHost, Trouble>) -> Result<State, Trouble> {
    match answer? {
        ToHost::State(state) => Ok(state),
        _ => Err(Trouble::Unexpected),
    }
}

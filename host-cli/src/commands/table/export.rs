//! `table export`: the table for other programs.

use std::{collections::BTreeMap, path::PathBuf};

use serde::Serialize;
use takeup_core::correct::{AxisTable, Table};
use takeup_core::length::Unit;

use crate::{context::Context, exit::Outcome, refusal::Refusal, table_file};

/// Arguments of `table export`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  takeup table export mill.table --csv > mill.csv")]
pub struct Args {
    /// The table; "-" is standard input
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// Print CSV, with a header row that names every column and its unit, instead of JSON
    #[arg(long, conflicts_with = "json")]
    csv: bool,
}

/// The document `takeup.table/1`.
#[derive(Debug, Serialize)]
pub struct Document {
    schema: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    machine: Option<String>,
    units: &'static str,
    axes: BTreeMap<&'static str, AxisPart>,
}

#[derive(Debug, Serialize)]
struct AxisPart {
    reference_seat: char,
    stations: Vec<StationPart>,
}

#[derive(Debug, Serialize)]
struct StationPart {
    position: f64,
    lost_motion: f64,
    uncertainty_95: f64,
    plus: f64,
    minus: f64,
}

/// The table as a document, in a unit.
#[must_use]
pub fn document(table: &Table, unit: Unit) -> Document {
    let axes =
        table.axes.iter().filter_map(|(axis, t)| t.as_ref().map(|t| (axis.key(), part(t, unit)))).collect();
    Document {
        schema: "takeup.table/1",
        machine: Some(table.machine.to_string()).filter(|m| !m.is_empty()),
        units: unit.symbol(),
        axes,
    }
}

fn part(table: &AxisTable, unit: Unit) -> AxisPart {
    let stations = table.stations().iter().map(|station| StationPart {
        position: station.position.as_unit(unit),
        lost_motion: station.lost_motion().as_unit(unit),
        uncertainty_95: station.uncertainty.as_unit(unit),
        plus: station.plus.as_unit(unit),
        minus: station.minus.as_unit(unit),
    });
    AxisPart { reference_seat: table.reference().sign(), stations: stations.collect() }
}

/// Prints the table.
///
/// # Errors
/// When it cannot be read, or standard output cannot be written.
pub fn run(args: &Args, ctx: &Context) -> Result<Outcome, Refusal> {
    let table = table_file::read(&args.file, ctx)?;
    let document = document(&table, ctx.units());
    if args.csv {
        let text = csv(&document)
            .map_err(|e| Refusal::new(format!("the table cannot be written: {e}"), "Report this fault."))?;
        ctx.print(&text)?;
    } else {
        ctx.print_json(&document)?;
    }
    Ok(Outcome::Good)
}

fn csv(document: &Document) -> Result<String, Box<dyn std::error::Error>> {
    let unit = document.units;
    let mut writer = csv::Writer::from_writer(Vec::new());
    let lengths = ["position", "lost_motion", "uncertainty_95", "add_going_plus", "add_going_minus"];
    let mut header = vec!["axis".to_owned(), "reference_seat".to_owned()];
    header.extend(lengths.map(|name| format!("{name}_{unit}")));
    writer.write_record(&header)?;
    for (axis, part) in &document.axes {
        for s in &part.stations {
            let mut row = vec![axis.to_uppercase(), part.reference_seat.to_string()];
            row.extend([s.position, s.lost_motion, s.uncertainty_95, s.plus, s.minus].map(|v| v.to_string()));
            writer.write_record(&row)?;
        }
    }
    Ok(String::from_utf8(writer.into_inner()?)?)
}

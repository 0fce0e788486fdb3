//! `table show`: the table for a person.

use std::{fmt::Write, path::PathBuf};

use takeup_core::{
    axis::Axis,
    correct::{Station, Table},
    length::Unit,
};

use crate::{
    context::Context,
    exit::Outcome,
    refusal::Refusal,
    screen::{self, Tone},
    table_file,
};

/// Arguments of `table show`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  takeup table show mill.table")]
pub struct Args {
    /// The table; "-" is standard input
    #[arg(value_name = "FILE")]
    file: PathBuf,
}

/// Shows the table.
///
/// # Errors
/// When it cannot be read.
pub fn run(args: &Args, ctx: &Context) -> Result<Outcome, Refusal> {
    let table = table_file::read(&args.file, ctx)?;
    ctx.answer(&super::export::document(&table, ctx.units()), || text(&table, ctx), Outcome::Good)
}

/// The table in words and columns, in the person's units.
#[must_use]
pub fn text(table: &Table, ctx: &Context) -> String {
    let show = ctx.lengths();
    let mut text = String::new();
    let losses: Vec<String> = table
        .axes
        .iter()
        .filter_map(|(axis, t)| t.as_ref().map(|t| (axis, t)))
        .map(|(axis, t)| format!("{axis} up to {}", show.with_unit(t.largest_lost_motion().as_mm())))
        .collect();
    let machine = if table.machine.is_empty() {
        String::new()
    } else {
        format!(" of {}", screen::harmless(&table.machine))
    };
    let answer = if losses.is_empty() {
        format!("The table{machine} corrects no axis.")
    } else {
        format!("The table{machine} corrects lost motion: {}.", losses.join(", "))
    };
    let _ = writeln!(text, "{}", ctx.screen().paint(Tone::Strong, &ctx.screen().wrap(&answer, "")));
    for (axis, corrections) in table.axes.iter() {
        let Some(corrections) = corrections else { continue };
        let _ = writeln!(
            text,
            "\n{}",
            heading(
                axis,
                corrections.reference().sign(),
                match show.unit {
                    Unit::Mm => "mm",
                    Unit::Inch => "inches",
                }
            )
        );
        let head = ["station", "lost motion", "± (95 %)", "add going +", "add going -"];
        let row = |station: &Station| {
            vec![
                show.short(station.position.as_mm()),
                show.length(station.lost_motion().as_mm()),
                if station.uncertainty.counts() == 0 {
                    "given".to_owned()
                } else {
                    show.length(station.uncertainty.as_mm())
                },
                show.length(station.plus.as_mm()),
                show.length(station.minus.as_mm()),
            ]
        };
        text.push_str(&screen::table(&head, corrections.stations().iter().map(row).collect()));
        if corrections.stations().iter().any(|s| s.lost_motion().counts() == 0) {
            text.push_str("  0: no loss was shown at that station, so nothing is corrected there.\n");
        }
    }
    text
}

fn heading(axis: Axis, seat: char, unit: &str) -> String {
    format!("{axis}, lengths in {unit}, zeroed on its {seat} seat: what is added to a wanted position")
}

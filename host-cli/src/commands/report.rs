//! `report`: a self-contained HTML page, of one session or of the machines in the log.

use crate::commands::log::{self, Place};
use crate::context::Context;
use crate::exit::Outcome;
use crate::input;
use crate::log::assessment::{Loaded, load};
use crate::log::history::History;
use crate::output;
use crate::refusal::Refusal;
use crate::report::page::{self, Part};
use crate::units::LengthArg;
use serde_json::json;
use std::path::PathBuf;

/// Arguments of `report`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  takeup report --machine bed-mill --limit 0.05 -o bed-mill.html")]
pub struct Args {
    /// One session: a readings file or its assessment; without it, what the log has
    session: Option<PathBuf>,
    #[command(flatten)]
    place: Place,
    /// The machine in the log; needed where it has several
    #[arg(long, value_name = "NAME", conflicts_with = "session")]
    machine: Option<String>,
    /// Lost motion allowed
    #[arg(long, value_name = "LENGTH")]
    limit: Option<LengthArg>,
    /// The page to write
    #[arg(short, long, value_name = "FILE")]
    output: PathBuf,
}

/// Writes it.
///
/// # Errors
/// When the readings or the log cannot be used, or the page cannot be written.
pub fn run(args: &Args, ctx: &Context) -> Result<Outcome, Refusal> {
    let limit = args.limit.map(|limit| limit.mm(ctx.units()));
    let (title, parts) = match &args.session {
        Some(path) => {
            output::keep_apart(&[&args.output], &[path])?;
            one_session(path, limit, ctx)?
        }
        None => machine(args, limit, ctx)?,
    };
    output::write(&args.output, page::render(&title, &parts)?.as_bytes(), ctx)?;
    let adverse = parts.iter().any(|part| part.adverse);
    let outcome = if adverse { Outcome::Adverse } else { Outcome::Good };
    if input::is_dash(&args.output) {
        return Ok(outcome);
    }
    let name = args.output.display().to_string();
    let document = json!({ "schema": "takeup.report/1", "page": name, "adverse": adverse });
    ctx.answer(&document, || format!("written to {name}\n"), outcome)
}

fn one_session(
    path: &std::path::Path,
    limit: Option<f64>,
    ctx: &Context,
) -> Result<(String, Vec<Part>), Refusal> {
    let Loaded { assessment, .. } = load(path, ctx)?;
    let print = ctx.lengths();
    let lost = assessment.lost_motion_mm();
    let limit = limit.or(assessment.limit_mm());
    let over = match (limit, assessment.document()["decision"]["answer"].as_str()) {
        (Some(limit), _) => assessment
            .stations()
            .iter()
            .map(|station| station.lost_motion_mm)
            .chain(lost)
            .any(|e| e.value.abs() - e.expanded_95() > limit),
        (None, answer) => answer == Some("over"),
    };
    let axis = assessment.axis().to_owned();
    let verdict = match lost {
        Some(lost) => format!(
            "Axis {axis} loses {} ± {} (95 %){}.",
            print.with_unit(lost.value),
            print.fine(lost.expanded_95()),
            if over { ", over the limit" } else { "" }
        ),
        None => format!("Axis {axis}: a {} test, which gives no lost motion.", assessment.routine()),
    };
    let named = |key: &str| assessment.document()[key].as_str().map(str::to_owned);
    let machine = named("machine").unwrap_or_else(|| log::USUAL_MACHINE.to_owned());
    let mut lines = Vec::new();
    lines.extend(named("taken").map(|taken| format!("Taken {taken}.")));
    lines.extend(limit.map(|limit| format!("Limit: {}.", print.with_unit(limit))));
    let (figures, tables) = page::session(&assessment, limit, print)?;
    let title = format!("{machine}, axis {axis}: one session");
    Ok((title, vec![Part { machine, axis, verdict, adverse: over, lines, figures, tables }]))
}

fn machine(args: &Args, limit: Option<f64>, ctx: &Context) -> Result<(String, Vec<Part>), Refusal> {
    let store = args.place.open()?;
    output::keep_apart(&[&args.output], &[&args.place.path()?])?;
    let axes = store.axes()?;
    let mut machines: Vec<_> = axes.iter().map(|(machine, _)| machine.as_str()).collect();
    machines.dedup();
    let machine = match (&args.machine, machines.as_slice()) {
        (Some(machine), _) => machine.as_str(),
        (None, [one]) => one,
        (None, []) => return Err(Refusal::new("the log has no session", "Add one with `takeup log add`.")),
        (None, several) => {
            return Err(Refusal::new(
                format!("the log has {} machines", several.len()),
                "Name one with --machine; see `takeup log list`.",
            ));
        }
    };
    let print = ctx.lengths();
    let mut parts = Vec::new();
    for (_, axis) in axes.iter().filter(|(m, _)| m == machine) {
        let history = History::read(&store, machine, axis, limit)?;
        let (verdict, adverse, mut lines) = log::in_words(&history, limit, print);
        let last = history.steps.last().and_then(|step| store.entry(step.row.id).ok());
        let last = last.and_then(|kept| kept.entry.assessment());
        lines.extend(limit.map(|limit| format!("Limit: {}.", print.with_unit(limit))));
        let mut part = page::of_history(&history, limit, print, (verdict, adverse), lines)?;
        if let Some(assessment) = last {
            let (figures, tables) = page::session(&assessment, limit, print)?;
            part.figures.extend(figures);
            part.tables.splice(0..0, tables);
        }
        parts.push(part);
    }
    if parts.is_empty() {
        return Err(Refusal::new(format!("the log has no session of {machine:?}"), "See `takeup log list`."));
    }
    Ok((format!("{machine}: condition over time"), parts))
}

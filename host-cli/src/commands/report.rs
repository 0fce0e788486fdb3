//! `report`: a self-contained HTML page, of one session, of a machine in the log, of a program on the slack machine.

use crate::commands::log::{self, Place};
use crate::context::Context;
use crate::exit::Outcome;
use crate::input;
use crate::log::assessment::{In, Loaded, load};
use crate::log::store::Store;
use crate::log::words::date;
use crate::output;
use crate::program_args::{self, IntegersArg, WorkOffset};
use crate::refusal::Refusal;
use crate::report::machine;
use crate::report::page::{self, Part, Table, Tone};
use crate::report::program::{self, Program};
use crate::report::session::{Session, moment};
use crate::screen::harmless;
use crate::slack_args::SlackArgs;
use crate::units::LengthArg;
use serde_json::json;
use std::path::{Path, PathBuf};
use takeup_core::correct::{Table as Corrections, bytes};
use takeup_core::program::replay::Settings;

/// Arguments of `report`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:\n  takeup report z-before.csv -o z-before.html\n  \
                        takeup report --log shop.log --limit 0.05 -o bed-mill.html\n  \
                        takeup report --program core-box.nc core-box-corrected.nc \\\n    \
                        --table mill.table -o core-box.html")]
pub struct Args {
    /// One session: a readings file or its assessment; without it, what the log has
    session: Option<PathBuf>,
    #[command(flatten)]
    place: Place,
    /// The machine in the log; needed where it has several
    #[arg(long, value_name = "NAME", conflicts_with = "session")]
    machine: Option<String>,
    /// Lost motion allowed
    #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
    limit: Option<LengthArg>,
    /// A program, and if there is one the rewritten program, on the slack machine; without --table or --play
    /// with the table in force in the log
    #[arg(long, num_args = 1..=2, value_names = ["ORIGINAL", "REWRITTEN"])]
    program: Vec<PathBuf>,
    #[command(flatten)]
    slack: SlackArgs,
    #[command(flatten)]
    offset: WorkOffset,
    /// Deviation of the tool that is still good
    #[arg(
        long,
        value_name = "LENGTH",
        default_value = "0.005mm",
        requires = "program",
        allow_hyphen_values = true
    )]
    tolerance: LengthArg,
    /// What words of the program without a decimal point mean
    #[arg(long, value_name = "HOW", default_value = "unit", requires = "program")]
    integers: IntegersArg,
    /// The page to write
    #[arg(short, long, value_name = "FILE")]
    output: PathBuf,
}

impl Args {
    /// What would otherwise be passed over in silence.
    fn check(&self) -> Result<(), Refusal> {
        let slack = self.slack.table.is_some() || !self.slack.play.is_empty() || !self.slack.seat.is_empty();
        if self.program.is_empty() && (slack || !self.offset.work_offset.is_empty()) {
            return Err(Refusal::new(
                "slack is given, but no program that it would be about",
                "Give --program ORIGINAL [REWRITTEN], or leave the slack out.",
            ));
        }
        let of_log = self.session.is_none() && (self.program.is_empty() || self.machine.is_some() || !slack);
        if self.place.is_named() && !of_log {
            return Err(Refusal::new(
                "--log is given, but the page would not be made from it",
                "Leave --log out, or give no [SESSION] and name the --machine.",
            ));
        }
        if self.limit.is_some() && self.session.is_none() && !of_log {
            return Err(Refusal::new(
                "--limit is of measured lost motion, and the page is of a program alone",
                "Leave --limit out; --tolerance is what is allowed to the program.",
            ));
        }
        Ok(())
    }
}

/// Writes it.
///
/// # Errors
/// When the readings, the log or the programs cannot be used, or the page cannot be written.
pub fn run(args: &Args, ctx: &Context) -> Result<Outcome, Refusal> {
    if args.limit.is_some_and(|limit| !limit.is_positive()) {
        return Err(Refusal::new(
            "--limit is not a positive length",
            "Give the lost motion allowed, such as 0.05.",
        ));
    }
    let inputs = args.session.iter().chain(&args.program).chain(&args.slack.table).map(PathBuf::as_path);
    output::keep_apart(&[&args.output], &inputs.collect::<Vec<_>>())?;
    args.check()?;
    let slack_given = args.slack.table.is_some() || !args.slack.play.is_empty();
    let (mut title, mut parts) = (String::new(), Vec::new());
    let mut in_force = None;
    if let Some(path) = &args.session {
        (title, parts) = one_session(path, args.limit, ctx)?;
    } else if args.program.is_empty() || args.machine.is_some() || !slack_given {
        let path = args.place.path()?;
        output::keep_apart(&[&args.output], &[&path])?;
        let found = of_machine(args, &Store::open(&path)?, ctx)?;
        (title, parts, in_force) = (found.title, found.parts, found.in_force);
    }
    if let Some(original) = args.program.first() {
        parts.push(of_program(args, original, in_force, ctx)?);
        if title.is_empty() {
            title = format!("Program {}", original.file_name().unwrap_or_default().to_string_lossy());
        }
    }
    // What calls for action comes first; otherwise axes in their order, and the program.
    parts.sort_by_key(|part| std::cmp::Reverse(part.tone == Tone::Bad));
    let made = date(jiff::Timestamp::now().as_second() as f64 / 86_400.0);
    output::write(&args.output, page::render(&title, &made, &parts)?.as_bytes(), ctx)?;
    let adverse = parts.iter().any(|part| part.tone == Tone::Bad);
    let outcome = if adverse { Outcome::Adverse } else { Outcome::Good };
    if input::is_dash(&args.output) {
        return Ok(outcome);
    }
    let name = args.output.display().to_string();
    let document = json!({
        "schema": "takeup.report/1", "page": name, "adverse": adverse,
        "verdicts": parts.iter().map(|part| part.verdict.as_str()).collect::<Vec<_>>(),
    });
    let text = || {
        let mut text: String =
            parts.iter().map(|part| ctx.screen().wrap(&part.verdict, "  ") + "\n").collect();
        text.push_str(&format!("Page: {name}\n"));
        text
    };
    ctx.answer(&document, text, outcome)
}

fn one_session(path: &Path, limit: Option<LengthArg>, ctx: &Context) -> Result<(String, Vec<Part>), Refusal> {
    let Loaded { assessment, readings } = load(path, limit, In::PrintedUnits, ctx)?;
    let print = ctx.lengths_of(assessment.unit());
    let machine = assessment.document()["machine"].as_str().unwrap_or(log::USUAL_MACHINE).to_owned();
    let session = Session {
        assessment: &assessment,
        readings: readings.as_deref(),
        machine: &machine,
        limit_mm: limit.map(|limit| limit.mm(print.unit)).or(assessment.limit_mm()),
        source: &input::name(path),
        print,
        ctx,
    };
    let taken = assessment.document()["taken"].as_str().map(|taken| format!(", {}", moment(taken)));
    let title = format!("{machine}, axis {}: one session{}", assessment.axis(), taken.unwrap_or_default());
    Ok((title, vec![session.part()?]))
}

/// What the log says of a machine.
struct OfMachine {
    title: String,
    parts: Vec<Part>,
    /// The compensation table in force, as bytes.
    in_force: Option<Vec<u8>>,
}

/// The axes of a machine, and the compensation table in force on it.
fn of_machine(args: &Args, store: &Store, ctx: &Context) -> Result<OfMachine, Refusal> {
    let axes = store.axes()?;
    let mut machines: Vec<_> = axes.iter().map(|(machine, _)| machine.as_str()).collect();
    machines.dedup();
    let machine = match (&args.machine, machines.as_slice()) {
        (Some(machine), _) => machine.as_str(),
        (None, [one]) => one,
        (None, []) => return Err(Refusal::new("the log has no session", "Add one with `takeup log add`.")),
        (None, several) => {
            let names: Vec<_> = several.iter().take(6).map(|name| format!("{:?}", harmless(name))).collect();
            let more = if several.len() > 6 { ", …" } else { "" };
            return Err(Refusal::new(
                format!("the log has {} machines", several.len()),
                format!("Name one with --machine: {}{more}.", names.join(", ")),
            ));
        }
    };
    let mut parts = Vec::new();
    for (_, axis) in axes.iter().filter(|(m, _)| m == machine) {
        parts.extend(machine::axis(store, machine, axis, args.limit, ctx)?);
    }
    if parts.is_empty() {
        return Err(log::none_fits(&axes, Some(machine), None));
    }
    let mut in_force = None;
    if let (Some((kept, found)), Some(first)) = (store.table_in_force(machine)?, parts.first_mut()) {
        if let Ok(table) = bytes::decode(&found) {
            first.tables.push(corrections(&table, &kept.entry.at, ctx));
            first.sources.push(format!(
                "Log entry {}: compensation table in force on {machine} from {}.",
                kept.id,
                moment(&kept.entry.at)
            ));
        }
        in_force = Some(found);
    }
    Ok(OfMachine { title: format!("{machine}: condition over time"), parts, in_force })
}

fn corrections(table: &Corrections, from: &str, ctx: &Context) -> Table {
    let print = ctx.lengths();
    let rows =
        table.axes.iter().filter_map(|(axis, t)| t.as_ref().map(|t| (axis, t))).flat_map(|(axis, t)| {
            let row = move |station: &takeup_core::correct::Station| {
                vec![
                    format!("{axis} at {}", print.short(station.position.as_mm())),
                    print.length(station.lost_motion().as_mm()),
                    print.fine(station.uncertainty.as_mm()),
                ]
            };
            t.stations().iter().map(row).collect::<Vec<_>>()
        });
    let title = format!(
        "Compensation table in force since {}, in {}",
        from.get(..10).unwrap_or(from),
        print.unit_name()
    );
    Table::new(title, &["station", "corrects", "± 95 %"], rows.collect())
}

fn of_program(
    args: &Args,
    original: &Path,
    in_force: Option<Vec<u8>>,
    ctx: &Context,
) -> Result<Part, Refusal> {
    let tolerance_mm = args.tolerance.mm(ctx.units());
    if tolerance_mm < 0.0 {
        return Err(Refusal::new("--tolerance is negative", "Give a length of 0 or more."));
    }
    let given = args.slack.table.is_some() || !args.slack.play.is_empty();
    let (slack, slack_from) = match in_force.filter(|_| !given) {
        Some(found) => {
            let table = bytes::decode(&found).map_err(|error| {
                Refusal::new(format!("the table in force: {error}"), "Give --table or --play.")
            })?;
            (
                program_args::slack_of_table(&table, &args.offset, ctx)?,
                "the table in force in the log".to_owned(),
            )
        }
        None => {
            let from = args
                .slack
                .table
                .as_ref()
                .map_or_else(|| "--play".to_owned(), |path| path.display().to_string());
            (program_args::slack(&args.slack, &args.offset, ctx)?, from)
        }
    };
    let settings = Settings { unit: ctx.units(), integers: args.integers.into(), ..Settings::new(slack) };
    let program = Program {
        original,
        rewritten: args.program.get(1).map(PathBuf::as_path),
        tolerance_mm,
        slack_from: &slack_from,
    };
    program::part(&program, settings, ctx)
}

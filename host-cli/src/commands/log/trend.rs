//! `log trend`: one quantity of one axis over time, with alarm and forecast.

use super::{Place, plain};
use crate::context::Context;
use crate::exit::Outcome;
use crate::log::assessment::Assessment;
use crate::log::history::History;
use crate::log::quantity::{Quantity, Scale};
use crate::log::words::{self, at, date};
use crate::refusal::{Refusal, clip};
use crate::screen::{Tone, harmless};
use crate::units::{LengthArg, Print};
use serde_json::json;
use std::fmt::Write as _;
use takeup_core::axis::Axis;
use takeup_core::measure::Estimate;
use takeup_core::trend::cusum::Side;
use takeup_core::trend::watch::{self, Chart};

#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  takeup log trend --axis z --limit 0.05 --log shop.log\n\n\
                        A repair, an adjustment, a crash or a move noted with `takeup log note` starts the trend anew.")]
pub(super) struct Args {
    /// The machine; needed where the log has several
    #[arg(long, value_name = "NAME")]
    machine: Option<String>,
    /// The axis; needed where the log has several of the machine
    #[arg(long, value_parser = crate::commands::assess::axis)]
    axis: Option<Axis>,
    /// What to watch
    #[arg(long, value_enum, default_value_t, hide_possible_values = false)]
    quantity: Quantity,
    /// What is allowed of it, for the forecast; a length where it is one [default: of lost motion what the last session
    /// was held against]
    #[arg(long, value_name = "LIMIT", allow_hyphen_values = true)]
    limit: Option<LengthArg>,
}

pub(super) fn run(args: &Args, place: &Place, ctx: &Context) -> Result<Outcome, Refusal> {
    let store = place.open()?;
    let (machine, axis) = choose(&store.axes()?, args)?;
    if args.limit.is_some_and(|limit| !limit.is_positive()) {
        return Err(Refusal::new("--limit is not positive", "Give what is allowed, such as 0.05."));
    }
    if args.limit.is_some() && args.quantity == Quantity::Stiffness {
        return Err(Refusal::new(
            "--limit is the most that is allowed, and a stiffness is the better the larger it is",
            "Leave --limit out; an alarm is told all the same.",
        ));
    }
    let last = store.last_session(&machine, &axis)?.and_then(|kept| kept.entry.assessment());
    let lengths = ctx.lengths_of(last.as_ref().map_or(ctx.units(), Assessment::unit));
    let own = last.as_ref().and_then(Assessment::limit_mm).filter(|_| args.quantity == Quantity::LostMotion);
    let limit = args.limit.map(|limit| args.quantity.limit(limit, lengths.unit)).or(own);
    let history = History::read(&store, &machine, &axis, args.quantity, limit)?;
    let outcome = if history.is_adverse() { Outcome::Adverse } else { Outcome::Good };
    ctx.answer(&document(&history, lengths), || text(&history, lengths, ctx), outcome)
}

/// The machine and axis asked for, or the only ones there are.
fn choose(axes: &[(String, String)], args: &Args) -> Result<(String, String), Refusal> {
    let axis = args.axis.map(|axis| axis.to_string());
    let fits: Vec<_> = axes
        .iter()
        .filter(|(m, a)| args.machine.as_ref().is_none_or(|x| x == m) && axis.as_ref().is_none_or(|x| x == a))
        .collect();
    match fits.as_slice() {
        [one] => Ok((*one).clone()),
        [] => Err(none_fits(axes, args.machine.as_deref(), axis.as_deref())),
        several => {
            let names: Vec<_> = several
                .iter()
                .take(6)
                .map(|(m, a)| format!("--machine {:?} --axis {a}", harmless(m)))
                .collect();
            Err(Refusal::new(
                format!("the log has {} axes that fit", several.len()),
                format!("Name one: {}{}.", names.join("; "), if several.len() > 6 { "; …" } else { "" }),
            ))
        }
    }
}

/// No session is of what was asked for: what there is, the names most alike first.
pub(crate) fn none_fits(axes: &[(String, String)], machine: Option<&str>, axis: Option<&str>) -> Refusal {
    let mut machines: Vec<_> = axes.iter().map(|(machine, _)| machine.as_str()).collect();
    machines.dedup();
    let asked = match (machine, axis) {
        (Some(machine), Some(axis)) => format!("axis {axis} of {:?}", clip(machine)),
        (Some(machine), None) => format!("{:?}", clip(machine)),
        (None, Some(axis)) => format!("axis {axis}"),
        (None, None) => "any axis".to_owned(),
    };
    if let Some(machine) = machine {
        machines.sort_by_key(|name| plain(name) != plain(machine));
    }
    let names: Vec<_> = machines.iter().take(4).map(|name| format!("{:?}", clip(name))).collect();
    let way_out = match machines.len() {
        0 => "Add a session with `takeup log add`.".to_owned(),
        n => format!("It has {}{}; see `takeup log list`.", names.join(", "), if n > 4 { ", …" } else { "" }),
    };
    Refusal::new(format!("the log has no session of {asked}"), way_out)
}

fn document(history: &History, lengths: Print) -> serde_json::Value {
    let quantity = history.quantity;
    let value = |found: f64| quantity.in_document(found, lengths);
    let interval = |e: Estimate| json!({ "value": value(e.value), "low_95": value(quantity.low_95(&e)), "high_95": value(e.high_95()) });
    let key = quantity.key();
    let mut document = json!({
        "schema": "takeup.trend/1",
        "machine": history.machine,
        "axis": history.axis,
        "quantity": quantity.name(),
        "units": lengths.unit.symbol(),
        "design": {
            "shift": watch::USUAL_SHIFT, "in_control_run_length": watch::USUAL_RUN_LENGTH,
            "cusum": { "k": history.design.cusum.k, "h": history.design.cusum.h },
            "ewma": { "lambda": history.design.ewma.lambda, "width": history.design.ewma.width },
        },
        "sessions": history.steps.iter().map(|step| {
            let mut session = json!({
                "entry": step.row.id, "at": step.row.at, &key: interval(step.row.found),
                "z": step.point.z, "ewma": step.point.ewma, "ewma_limit": step.point.ewma_limit,
                "cusum_above": step.point.cusum_above, "cusum_below": step.point.cusum_below,
                "alarm": step.point.alarm.is_some(),
            });
            if let Some(target) = step.point.target {
                session["target"] = value(quantity.of_chart(target)).into();
            }
            session
        }).collect::<Vec<_>>(),
        "events": history.events.iter().map(|happened| json!({
            "entry": happened.id, "at": happened.at, "event": happened.event, "text": happened.text,
        })).collect::<Vec<_>>(),
        "answer": answer(history),
    });
    if let (Some(slope), Scale::Plain) = (history.slope, quantity.scale()) {
        document["per_week"] = interval(slope.per_day.scaled(7.0));
    }
    if let Some(alarm) = history.alarm {
        document["alarm"] = json!({
            "at": at(alarm.day), "chart": chart(alarm.chart), "figure": alarm.figure, "limit": alarm.limit,
            "side": if alarm.side == Side::Above { "above" } else { "below" },
            "target": value(quantity.of_chart(alarm.target)), "why": words::why(history, lengths),
        });
    }
    if let Some(limit) = history.limit {
        document["limit"] = value(limit).into();
    }
    match history.forecast {
        Some(Ok(reaches)) => {
            document["forecast"] =
                json!({ "from": at(reaches.from), "expected": at(reaches.expected), "to": at(reaches.to) });
        }
        Some(Err(missing)) => {
            document["forecast"] = json!({ "missing": words::needs(missing, quantity, lengths) });
        }
        None => {}
    }
    document
}

fn answer(history: &History) -> &'static str {
    match (history.is_stale(), history.alarm.is_some(), history.is_over()) {
        (true, ..) => "not-measured-since",
        (_, true, _) => "alarm",
        (_, _, true) => "over",
        _ if history.is_alone() => "one-session",
        _ => "steady",
    }
}

fn chart(chart: Chart) -> &'static str {
    match chart {
        Chart::Cusum => "cusum",
        Chart::Ewma => "ewma",
    }
}

fn text(history: &History, lengths: Print, ctx: &Context) -> String {
    let screen = ctx.screen();
    let said = words::said(history, lengths);
    let tone = match (&history.alarm, history.is_over()) {
        (None, false) if history.is_stale() => Tone::Caution,
        (None, false) if history.is_alone() => Tone::Strong,
        (None, false) => Tone::Good,
        _ => Tone::Adverse,
    };
    let verdict = screen.wrap(&said.verdict, "  ");
    let mut text: String = verdict.lines().map(|line| screen.paint(tone, line) + "\n").collect();
    for line in &said.lines {
        let _ = writeln!(text, "{}", screen.wrap(line, "  "));
    }
    let next = screen.wrap(&format!("Next: {}", said.next), "  ");
    let _ = writeln!(text, "{next}\n");
    // The verdict must stay in sight: as many sessions as there is room for below it.
    let most = screen.height().map_or(MOST_ROWS, |height| height.saturating_sub(18).clamp(6, MOST_ROWS));
    text.push_str(&chart_of(history, most, lengths));
    let _ = writeln!(text, "{}", screen.wrap(&words::design(history, lengths), "  "));
    text
}

/// Most sessions of the chart.
const MOST_ROWS: usize = 24;

/// The last sessions, a line each: the value as a mark between the smallest and the largest.
fn chart_of(history: &History, most: usize, lengths: Print) -> String {
    const WIDTH: usize = 50;
    let print = history.quantity.print(lengths);
    let steps = history.steps.get(history.steps.len().saturating_sub(most)..).unwrap_or_default();
    let found = |i: usize| steps.get(i).map_or(Estimate::ZERO, |step| step.row.found);
    let ends = (0..steps.len())
        .flat_map(|i| [history.quantity.low_95(&found(i)), found(i).high_95()])
        .chain(history.limit)
        .chain([0.0]);
    let (low, high) = ends.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), x| (a.min(x), b.max(x)));
    let column = |x: f64| {
        let place = (x - low) / (high - low).max(f64::MIN_POSITIVE) * (WIDTH - 1) as f64;
        (place.round().clamp(0.0, (WIDTH - 1) as f64)) as usize
    };
    let mut text = String::new();
    if steps.len() < history.steps.len() {
        let _ = writeln!(text, "The last {} of {} sessions:", steps.len(), history.steps.len());
    }
    let (from, to) = (print.text(low), print.text(high));
    let room = WIDTH.saturating_sub(from.chars().count());
    let _ = writeln!(text, "{:<10} {:>8}  {from}{to:>room$}", "", print.unit);
    let mut events = history.events.iter().peekable();
    let first = steps.first().map_or(f64::INFINITY, |step| step.day);
    while events.next_if(|happened| happened.day < first).is_some() {}
    let mut say = |text: &mut String, until: f64| {
        while let Some(happened) = events.next_if(|happened| happened.day <= until) {
            let words = format!("{}: {}", happened.event.name(), harmless(&happened.text));
            let words: String = words.chars().take(WIDTH + 6).collect();
            let _ = writeln!(text, "{} --- {words}", happened.at.get(..10).unwrap_or_default());
        }
    };
    for (i, step) in steps.iter().enumerate() {
        say(&mut text, step.day);
        let mut line = [' '; WIDTH];
        let mut put = |x: f64, mark: char| {
            if let Some(slot) = line.get_mut(column(x)) {
                *slot = mark;
            }
        };
        let e = found(i);
        if let Some(limit) = history.limit {
            put(limit, '|');
        }
        let (from, to) = (column(history.quantity.low_95(&e)), column(e.high_95()));
        for c in from..=to {
            if let Some(slot) = line.get_mut(c).filter(|slot| **slot == ' ') {
                *slot = '-';
            }
        }
        if let Some(slot) = line.get_mut(column(e.value)) {
            *slot = if step.point.alarm.is_some() { '!' } else { 'o' };
        }
        let line: String = line.iter().collect();
        let _ = writeln!(text, "{} {:>8}  {}", date(step.day), print.text(e.value), line.trim_end());
    }
    say(&mut text, f64::INFINITY);
    let _ = writeln!(
        text,
        "o session with its 95 % interval{}{}",
        if steps.iter().any(|step| step.point.alarm.is_some()) { ", ! alarm stands" } else { "" },
        if history.limit.is_some() { ", | limit" } else { "" }
    );
    text
}

//! The axes of a machine over time.

use crate::context::Context;
use crate::log::assessment::Assessment;
use crate::log::entry::Entry;
use crate::log::history::History;
use crate::log::quantity::{Quantity, Scale};
use crate::log::store::{Kept, Store};
use crate::log::words::{self, date};
use crate::refusal::Refusal;
use crate::report::how::How;
use crate::report::page::{Figure, Key, Part, Table, Tone};
use crate::report::plot::{Bar, Plot, Stroke, draw};
use crate::report::session::{Session, limits, moment};
use crate::units::{LengthArg, Print, decimals};

/// Sessions in the table of the quantity that the machine is judged by, and in those of others; the plots show all of them.
const MOST_ROWS: (usize, usize) = (12, 6);

/// An axis over time, and its last session: against `limit`, else against the one that session was held against.
///
/// # Errors
/// When the log cannot be read, or a plot cannot be drawn.
pub fn axis(
    store: &Store,
    machine: &str,
    axis: &str,
    limit: Option<LengthArg>,
    ctx: &Context,
) -> Result<Option<Part>, Refusal> {
    let Some(last) = store.last_session(machine, axis)? else { return Ok(None) };
    let assessment = last.entry.assessment();
    let print = ctx.lengths_of(assessment.as_ref().map_or(ctx.units(), Assessment::unit));
    let own_limit = assessment.as_ref().and_then(Assessment::limit_mm);
    let limit_mm = limit.map(|limit| limit.mm(print.unit)).or(own_limit);
    let mut part = Part {
        heading: format!("Axis {axis} of {machine}"),
        verdict: String::new(),
        tone: Tone::Good,
        next: Vec::new(),
        lines: Vec::new(),
        figures: Vec::new(),
        tables: Vec::new(),
        sources: Vec::new(),
        hows: vec![How::Charts, How::Forecast],
    };
    let (mut events, mut watched) = (Vec::new(), Vec::new());
    for (quantity, rows) in Quantity::ALL.into_iter().zip(store.all_quantities(machine, axis)?) {
        if rows.is_empty() {
            continue;
        }
        let limit = limit_mm.filter(|_| quantity == Quantity::LostMotion);
        let history = History::of(store, machine, axis, quantity, rows, limit)?;
        let first = part.verdict.is_empty();
        let said = words::said(&history, print);
        let tone = match history.is_adverse() {
            true => Tone::Bad,
            false if history.steps.len() < 2 || history.is_stale() => Tone::Open,
            false => Tone::Good,
        };
        // The first quantity is the one the machine is judged by; of the others only what calls for action is said here.
        if first {
            part.verdict = said.verdict;
            part.next.push(said.next);
            part.lines.extend(said.lines);
        } else if history.is_adverse() {
            part.lines.push(said.verdict);
            part.lines.extend(said.lines.into_iter().take(1));
        }
        part.tone = part.tone.max(if first || tone == Tone::Bad { tone } else { Tone::Good });
        if first || history.steps.len() > 1 {
            part.figures.push(over_time(&history, print)?);
            part.tables.push(sessions(&history, if first { MOST_ROWS.0 } else { MOST_ROWS.1 }, print));
        }
        if events.is_empty() {
            events = history.events.clone();
        }
        let (from, to) = (history.steps.first(), history.last());
        watched.push(format!(
            "{} in {} {}, {} to {}",
            quantity.words(),
            history.steps.len(),
            if history.steps.len() == 1 { "session" } else { "sessions" },
            from.map(|step| date(step.day)).unwrap_or_default(),
            to.map(|step| date(step.day)).unwrap_or_default(),
        ));
    }
    part.sources.push(format!("Log, axis {axis} of {machine}: {}.", watched.join("; ")));
    if let Some(assessment) = assessment {
        let readings = readings_of(&last.entry);
        let session = Session {
            assessment: &assessment,
            readings: readings.as_deref(),
            machine,
            limit_mm,
            source: &format!("Log entry {} of {}", last.id, moment(&last.entry.at)),
            print,
            ctx,
        };
        let mut own = session.part()?;
        if part.verdict.is_empty() {
            (part.verdict, part.tone) = (own.verdict, own.tone);
        }
        // The trend says whether to do something, the last session what.
        if part.tone == Tone::Bad && own.tone != Tone::Good {
            part.next.extend(own.next);
        }
        part.lines.push(format!("The last session, entry {} of {}:", last.id, moment(&last.entry.at)));
        part.lines.append(&mut own.lines);
        part.figures.append(&mut own.figures);
        own.tables.append(&mut part.tables);
        part.tables = own.tables;
        part.sources.append(&mut own.sources);
        part.hows.append(&mut own.hows);
    }
    for kept in store.last_of_each_kind(machine, axis)?.iter().filter(|kept| kept.id != last.id) {
        other_kind(kept, machine, limit_mm, ctx, &mut part)?;
    }
    if !events.is_empty() {
        let rows = events
            .iter()
            .enumerate()
            .map(|(i, event)| {
                vec![format!("{}. {}: {}", i + 1, event.event.name(), event.text), date(event.day)]
            })
            .collect();
        part.tables.push(Table::new("Events", &["what", "date"], rows));
    }
    Ok(Some(part))
}

/// What the last session of a kind of test found that the machine is not judged by, with its plots.
fn other_kind(
    kept: &Kept,
    machine: &str,
    limit_mm: Option<f64>,
    ctx: &Context,
    part: &mut Part,
) -> Result<(), Refusal> {
    let (Some(assessment), readings) = (kept.entry.assessment(), readings_of(&kept.entry)) else {
        return Ok(());
    };
    let session = Session {
        assessment: &assessment,
        readings: readings.as_deref(),
        machine,
        limit_mm,
        source: &format!("Log entry {} of {}", kept.id, moment(&kept.entry.at)),
        print: ctx.lengths_of(assessment.unit()),
        ctx,
    };
    let own = session.part()?;
    let day = kept.entry.at.get(..10).unwrap_or_default();
    for mut figure in own.figures {
        figure.title = format!("{}, {day}", figure.title);
        figure.words = format!("{} {}", own.verdict, figure.words);
        part.figures.push(figure);
    }
    part.sources.extend(own.sources);
    part.hows.extend(own.hows);
    Ok(())
}

/// The readings that a session was made from, if they were kept.
fn readings_of(entry: &Entry) -> Option<String> {
    let body: serde_json::Value = serde_json::from_str(&entry.body).ok()?;
    body["readings"].as_str().map(str::to_owned)
}

/// A day in few letters.
fn short_date(day: f64, span: f64) -> String {
    let form = if span > 300.0 { "%b %Y" } else { "%-d %b" };
    jiff::Timestamp::from_second((day * 86_400.0).round() as i64)
        .map(|time| time.strftime(form).to_string())
        .unwrap_or_default()
}

fn over_time(history: &History, print: Print) -> Result<Figure, Refusal> {
    let (quantity, shown) = (history.quantity, history.quantity.print(print));
    let bars: Vec<_> = history
        .steps
        .iter()
        .map(|step| {
            let found = step.row.found;
            Bar {
                at: step.day,
                low: shown.value(quantity.low_95(&found)),
                value: shown.value(found.value),
                high: shown.value(found.high_95()),
                words: format!(
                    "{}: {} ± {} (95 %)",
                    date(step.day),
                    shown.with_unit(found.value),
                    shown.fine(found.expanded_95())
                ),
            }
        })
        .collect();
    let limits = limits(history.limit.map(|limit| shown.value(limit)), &bars);
    let mut keys = vec![Key::new("plus", "●", "a session, 95 %")];
    keys.extend((!limits.is_empty()).then(|| Key::new("limit", "─", "limit")));
    let mut curves = Vec::new();
    if let (Some(slope), Some(last), Scale::Plain) = (history.slope, history.last(), quantity.scale()) {
        let since = history.since_change().map_or(last.day, |step| step.day);
        let line = |day: f64| (day, shown.value(slope.now.value + slope.per_day.value * (day - last.day)));
        curves.push((Stroke::Fitted, vec![line(since), line(last.day)]));
        keys.push(Key::new("line", "─", "trend"));
    }
    let days = || history.steps.iter().map(|step| step.day);
    let (low, high) = days().fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), day| (a.min(day), b.max(day)));
    // An event long before or after all sessions stays in the table: it would press the sessions together.
    let room = 0.2 * (high - low).max(7.0);
    let uprights: Vec<_> = history
        .events
        .iter()
        .enumerate()
        .filter(|(_, event)| event.day >= low - room && event.day <= high + room)
        .map(|(i, event)| (event.day, format!("{}", i + 1)))
        .collect();
    keys.extend((!uprights.is_empty()).then(|| Key::new("line", "┆", "an event, numbered in the table")));
    let words = format!(
        "{} of axis {}, {} to {}: {} {}.",
        words::sentence(quantity.words()).trim_end_matches('.'),
        history.axis,
        date(low),
        date(high),
        history.steps.len(),
        if history.steps.len() == 1 { "session" } else { "sessions" },
    );
    let plot = Plot {
        across: "date".into(),
        up: format!("{}, {}", quantity.words(), shown.unit),
        bars,
        curves,
        limits,
        uprights,
        from_zero: quantity != Quantity::Stiffness,
        days: true,
        ..Plot::default()
    };
    let svg = draw(&plot, &words, &|day| short_date(day, high - low))
        .map_err(|error| Refusal::new(error, "Report this fault."))?;
    Ok(Figure {
        title: format!("{} over time", words::sentence(quantity.words()).trim_end_matches('.')),
        svg,
        words,
        keys,
    })
}

fn sessions(history: &History, most: usize, print: Print) -> Table {
    let shown = history.quantity.print(print);
    let from = history.steps.len().saturating_sub(most);
    let rows = history.steps.iter().skip(from).rev().map(|step| {
        let found = step.row.found;
        vec![
            format!("{}{}", date(step.day), if step.point.alarm.is_some() { ", alarm" } else { "" }),
            shown.text(found.value),
            shown.fine(found.expanded_95()),
            decimals(step.point.z, 1),
        ]
    });
    let many =
        if from > 0 { format!("the last {most} of {} sessions", from + most) } else { "sessions".to_owned() };
    let title = format!(
        "{}: {many}, the latest first, in {}",
        words::sentence(history.quantity.words()).trim_end_matches('.'),
        shown.unit
    );
    Table::new(title, &["date", "value", "± 95 %", "off the mean, in s"], rows.collect())
}

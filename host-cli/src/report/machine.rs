//! The axes of a machine over time.

use crate::context::Context;
use crate::log::assessment::Assessment;
use crate::log::entry::Entry;
use crate::log::history::{History, Step};
use crate::log::quantity::{Quantity, Scale};
use crate::log::store::{Kept, Store};
use crate::log::words::{self, date};
use crate::refusal::Refusal;
use crate::report::how::How;
use crate::report::page::{Figure, Key, Part, Table, Tone};
use crate::report::plot::{Bar, Kind, Mark, Plot, Stroke, draw};
use crate::report::session::{Session, limits, moment};
use crate::units::{LengthArg, Print, counted, decimals};

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
            false if history.is_alone() || history.is_stale() => Tone::Open,
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
            if history.is_judged() && (first || history.alarm.is_some()) {
                part.figures.push(charts(&history, print)?);
            }
            part.tables.push(sessions(&history, if first { MOST_ROWS.0 } else { MOST_ROWS.1 }, print));
        }
        if events.is_empty() {
            events = history.events.clone();
        }
        watched.push(format!("{} in {}", quantity.words(), when(&history)));
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

/// How many sessions, and of which days.
fn when(history: &History) -> String {
    let day = |step: Option<&Step>| step.map(|step| date(step.day)).unwrap_or_default();
    let (from, to) = (day(history.steps.first()), day(history.last()));
    let sessions = counted(history.steps.len() as u64, "session");
    if from == to { format!("{sessions}, {from}") } else { format!("{sessions}, {from} to {to}") }
}

/// The days from the first session to the last.
fn days(history: &History) -> (f64, f64) {
    let days = history.steps.iter().map(|step| step.day);
    days.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), day| (a.min(day), b.max(day)))
}

/// An upright line for each event, with its number in the table of events, and what it is called below the plot. An event long
/// before or after all sessions stays in the table: it would press the sessions together.
fn uprights(history: &History) -> (Vec<(f64, String)>, Option<Key>) {
    let (low, high) = days(history);
    let room = 0.2 * (high - low).max(7.0);
    let uprights: Vec<_> = history
        .events
        .iter()
        .enumerate()
        .filter(|(_, event)| event.day >= low - room && event.day <= high + room)
        .map(|(i, event)| (event.day, format!("{}", i + 1)))
        .collect();
    let key = (!uprights.is_empty()).then(|| Key::new("line", "┆", "an event, numbered in the table"));
    (uprights, key)
}

/// How near both charts are to an alarm: each as a share of its limit.
fn charts(history: &History, print: Print) -> Result<Figure, Refusal> {
    let mark = |kind, step: &Step, name: &str, share: f64| Mark {
        kind,
        at: step.day,
        value: share,
        words: format!("{}: {name} at {} of its limit", date(step.day), decimals(share, 2)),
    };
    let mut marks = Vec::with_capacity(2 * history.steps.len());
    // The first session after a change has nothing to be held against.
    for step in history.steps.iter().filter(|step| step.point.target.is_some()) {
        let point = &step.point;
        let (above, below) = (point.cusum_above, point.cusum_below);
        let cusum = if above >= below { above } else { -below };
        marks.push(mark(Kind::Plus, step, "CUSUM", cusum / history.design.cusum.h));
        marks.push(mark(Kind::Minus, step, "EWMA", point.ewma / point.ewma_limit));
    }
    let (low, high) = days(history);
    let (uprights, event) = uprights(history);
    let mut keys = vec![
        Key::new("plus", "●", "CUSUM: small differences added up"),
        Key::new("minus", "▲", "EWMA: the recent average"),
        Key::new("limit", "─", "alarm"),
    ];
    keys.extend(event);
    let words = format!(
        "Control charts of {} of axis {}, as shares of their limits: beyond 1 or -1 is an alarm. {}",
        history.quantity.words(),
        history.axis,
        words::design(history, print)
    );
    let plot = Plot {
        across: "date".into(),
        up: "share of the limit".into(),
        marks,
        limits: vec![1.0, -1.0],
        uprights,
        from_zero: true,
        days: true,
        ..Plot::default()
    };
    let svg = draw(&plot, &words, &|day| short_date(day, high - low))
        .map_err(|error| Refusal::new(error, "Report this fault."))?;
    let title =
        format!("{}: how near an alarm", words::sentence(history.quantity.words()).trim_end_matches('.'));
    Ok(Figure { title, svg, words, keys })
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
                    "{}: {} ± {} (95 %){}",
                    date(step.day),
                    shown.with_unit(found.value),
                    shown.fine(found.expanded_95()),
                    if step.point.alarm.is_some() { ", alarm" } else { "" }
                ),
                alarm: step.point.alarm.is_some(),
            }
        })
        .collect();
    let limits = limits(history.limit.map(|limit| shown.value(limit)), &bars);
    let mut keys = vec![Key::new("plus", "●", "a session, 95 %")];
    let alarms = bars.iter().filter(|bar| bar.alarm).count();
    keys.extend((alarms > 0).then(|| Key::new("aside", "▲", "the alarm stands")));
    keys.extend((!limits.is_empty()).then(|| Key::new("limit", "─", "limit")));
    let mut curves = Vec::new();
    if let (Some(slope), Some(last), Scale::Plain) = (history.slope, history.last(), quantity.scale()) {
        let since = history.since_change().map_or(last.day, |step| step.day);
        let line = |day: f64| (day, shown.value(slope.now.value + slope.per_day.value * (day - last.day)));
        curves.push((Stroke::Fitted, vec![line(since), line(last.day)]));
        keys.push(Key::new("line", "─", "trend"));
    }
    let (low, high) = days(history);
    let (uprights, event) = uprights(history);
    keys.extend(event);
    let alarmed = if alarms > 0 { format!("; an alarm stands at {alarms} of them") } else { String::new() };
    let words = format!(
        "{} of axis {}: {}{alarmed}.",
        words::sentence(quantity.words()).trim_end_matches('.'),
        history.axis,
        when(history)
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
            // The first session after a change has no mean to be off.
            step.point.target.map_or_else(|| "–".to_owned(), |_| decimals(step.point.z, 1)),
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

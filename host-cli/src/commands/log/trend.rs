//! `log trend`: one axis over time, with alarm and forecast.

use super::{Place, list::harmless};
use crate::context::Context;
use crate::exit::Outcome;
use crate::log::history::History;
use crate::refusal::Refusal;
use crate::units::{LengthArg, Print};
use serde_json::json;
use std::fmt::Write as _;
use takeup_core::axis::Axis;
use takeup_core::measure::Estimate;
use takeup_core::trend::cusum::Side;
use takeup_core::trend::forecast::{Missing, Reaches};
use takeup_core::trend::watch::{self, Alarm, Chart};

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// The machine; needed where the log has several
    #[arg(long, value_name = "NAME")]
    machine: Option<String>,
    /// The axis; needed where the log has several of the machine
    #[arg(long, value_parser = crate::commands::assess::axis)]
    axis: Option<Axis>,
    /// Lost motion allowed, for the forecast
    #[arg(long, value_name = "LENGTH")]
    limit: Option<LengthArg>,
}

pub(super) fn run(args: &Args, place: &Place, ctx: &Context) -> Result<Outcome, Refusal> {
    let store = place.open()?;
    let (machine, axis) = choose(&store.axes()?, args)?;
    let limit = args.limit.map(|limit| limit.mm(ctx.units()));
    if let Some(limit) = limit.filter(|limit| !limit.is_finite() || *limit <= 0.0) {
        return Err(Refusal::new(
            format!("--limit {limit} is not a positive length"),
            "Give the lost motion allowed, such as 0.05.",
        ));
    }
    let history = History::read(&store, &machine, &axis, limit)?;
    let over = is_over(&history, limit);
    let outcome = if history.alarm.is_some() || over { Outcome::Adverse } else { Outcome::Good };
    let document = document(&history, limit, over, ctx);
    ctx.answer(&document, || text(&history, limit, over, ctx), outcome)
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
        [] => Err(Refusal::new(
            "the log has no such sessions",
            "See `takeup log list` for the machines and axes it has.",
        )),
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

fn document(history: &History, limit: Option<f64>, over: bool, ctx: &Context) -> serde_json::Value {
    let lengths = ctx.lengths();
    let interval = |e: Estimate| json!({ "value": lengths.value(e.value), "low_95": lengths.value(e.low_95()), "high_95": lengths.value(e.high_95()) });
    let mut document = json!({
        "schema": "takeup.trend/1",
        "machine": history.machine,
        "axis": history.axis,
        "units": ctx.units().symbol(),
        "design": {
            "shift": watch::USUAL_SHIFT, "in_control_run_length": watch::USUAL_RUN_LENGTH,
            "cusum": { "k": history.design.cusum.k, "h": history.design.cusum.h },
            "ewma": { "lambda": history.design.ewma.lambda, "width": history.design.ewma.width },
        },
        "sessions": history.steps.iter().map(|step| json!({
            "entry": step.row.id, "at": step.row.at, "lost_motion": interval(step.row.lost_motion_mm),
            "z": step.point.z, "ewma": step.point.ewma, "ewma_limit": step.point.ewma_limit,
            "cusum_above": step.point.cusum_above, "cusum_below": step.point.cusum_below,
            "alarm": step.point.alarm.is_some(),
        })).collect::<Vec<_>>(),
        "events": history.events.iter().map(|happened| json!({
            "entry": happened.id, "at": happened.at, "event": happened.event, "text": happened.text,
        })).collect::<Vec<_>>(),
        "answer": if history.alarm.is_some() { "alarm" } else if over { "over" } else { "steady" },
    });
    if let Some(slope) = history.slope {
        document["per_week"] = interval(slope.per_day.scaled(7.0));
    }
    if let Some(alarm) = history.alarm {
        document["alarm"] = json!({
            "at": at(alarm.day), "chart": chart(alarm.chart), "figure": alarm.figure, "limit": alarm.limit,
            "side": if alarm.side == Side::Above { "above" } else { "below" },
            "target": lengths.value(alarm.target), "why": why(&alarm, lengths),
        });
    }
    if let Some(limit) = limit {
        document["limit"] = lengths.value(limit).into();
    }
    match history.forecast {
        Some(Ok(reaches)) => {
            document["forecast"] =
                json!({ "from": at(reaches.from), "expected": at(reaches.expected), "to": at(reaches.to) });
        }
        Some(Err(missing)) => document["forecast"] = json!({ "missing": needs(missing, lengths) }),
        None => {}
    }
    document
}

/// The verdict on an axis, whether it is adverse, and what else is worth saying.
pub(crate) fn in_words(history: &History, limit: Option<f64>, lengths: Print) -> (String, bool, Vec<String>) {
    let over = is_over(history, limit);
    let axis = &history.axis;
    let verdict = match (&history.alarm, over) {
        (Some(_), _) => format!("Axis {axis}: alarm, the lost motion has changed."),
        (None, true) => format!("Axis {axis}: over the limit."),
        (None, false) => format!("Axis {axis}: steady, no lasting change is shown."),
    };
    let mut lines = Vec::new();
    lines.extend(history.alarm.as_ref().map(|alarm| sentence(&why(alarm, lengths))));
    if let Some(step) = history.steps.last() {
        let lost = step.row.lost_motion_mm;
        lines.push(format!(
            "Last session {}: {} ± {} (95 %).",
            date(step.day),
            lengths.with_unit(lost.value),
            lengths.fine(lost.expanded_95())
        ));
    }
    if let Some(slope) = history.slope {
        let week = slope.per_day.scaled(7.0);
        lines.push(format!(
            "Change per week: {} ± {} (95 %).",
            lengths.fine(week.value),
            lengths.fine(week.expanded_95())
        ));
    }
    if let (Some(limit), Some(forecast)) = (limit, &history.forecast) {
        let last = history.steps.last().map_or(0.0, |step| step.day);
        lines.push(match forecast {
            Ok(reaches) => sentence(&soon(reaches, last, &lengths.with_unit(limit))),
            Err(missing) => format!("No forecast: {}.", needs(*missing, lengths)),
        });
    }
    (verdict, history.alarm.is_some() || over, lines)
}

/// A clause as a sentence.
fn sentence(clause: &str) -> String {
    let mut letters = clause.chars();
    letters.next().map_or_else(String::new, |first| format!("{}{}.", first.to_uppercase(), letters.as_str()))
}

/// Whether the last session is shown to be over the limit.
fn is_over(history: &History, limit: Option<f64>) -> bool {
    limit.is_some_and(|limit| {
        history.steps.last().is_some_and(|step| {
            let lost = step.row.lost_motion_mm;
            lost.value.abs() - lost.expanded_95() > limit
        })
    })
}

/// A day as a date.
pub(crate) fn date(day: f64) -> String {
    at(day).get(..10).unwrap_or_default().to_owned()
}

fn text(history: &History, limit: Option<f64>, over: bool, ctx: &Context) -> String {
    let lengths = ctx.lengths();
    let mut text = String::new();
    let axis = format!("axis {} of {}", history.axis, harmless(&history.machine));
    let _ = match (&history.alarm, over) {
        (Some(alarm), _) => writeln!(text, "ALARM, {axis}: {}.", why(alarm, lengths)),
        (None, true) => writeln!(text, "OVER THE LIMIT, {axis}."),
        (None, false) => writeln!(text, "steady, {axis}: no lasting change is shown."),
    };
    if let Some(step) = history.steps.last() {
        let lost = step.row.lost_motion_mm;
        let day = step.row.at.get(..10).unwrap_or_default();
        let _ = writeln!(
            text,
            "last session {day}: {} ± {}",
            lengths.with_unit(lost.value),
            lengths.fine(lost.expanded_95())
        );
    }
    if let Some(slope) = history.slope {
        let week = slope.per_day.scaled(7.0);
        let _ = writeln!(
            text,
            "change per week: {} ± {} (95 %)",
            lengths.fine(week.value),
            lengths.fine(week.expanded_95())
        );
    }
    if let Some(limit) = limit {
        let last = history.steps.last().map_or(0.0, |step| step.day);
        let _ = match &history.forecast {
            Some(Ok(reaches)) => writeln!(text, "{}", soon(reaches, last, &lengths.with_unit(limit))),
            Some(Err(missing)) => writeln!(text, "no forecast: {}", needs(*missing, lengths)),
            None => Ok(()),
        };
    }
    text.push('\n');
    text.push_str(&chart_of(history, limit, lengths));
    let _ = writeln!(
        text,
        "\ncharts: CUSUM k {} h {:.2}, EWMA weight {} width {:.2}; built for a lasting shift of {} standard deviation\nof one session, {} sessions between false alarms of each",
        history.design.cusum.k,
        history.design.cusum.h,
        history.design.ewma.lambda,
        history.design.ewma.width,
        watch::USUAL_SHIFT,
        watch::USUAL_RUN_LENGTH
    );
    text
}

/// The reason of an alarm, in words.
pub(crate) fn why(alarm: &Alarm, lengths: Print) -> String {
    let way = if alarm.side == Side::Above { "above" } else { "below" };
    let what = match alarm.chart {
        Chart::Cusum => "small differences the same way have added up",
        Chart::Ewma => "the recent average has moved",
    };
    format!(
        "since {} lost motion lies {way} its former mean of {} ({what}: {:.2} standard deviations, limit {:.2})",
        at(alarm.day).get(..10).unwrap_or_default(),
        lengths.with_unit(alarm.target),
        alarm.figure.abs(),
        alarm.limit
    )
}

fn chart(chart: Chart) -> &'static str {
    match chart {
        Chart::Cusum => "cusum",
        Chart::Ewma => "ewma",
    }
}

/// When the limit is reached, from the last session on.
pub(crate) fn soon(reaches: &Reaches, last: f64, limit: &str) -> String {
    let weeks = |day: f64| ((day - last) / 7.0).max(0.0);
    format!(
        "reaches {limit} between {:.1} and {:.1} weeks after the last session (95 %), {} to {}",
        weeks(reaches.from),
        weeks(reaches.to),
        at(reaches.from.max(last)).get(..10).unwrap_or_default(),
        at(reaches.to).get(..10).unwrap_or_default()
    )
}

/// What is missing for a forecast, in words.
pub(crate) fn needs(missing: Missing, lengths: Print) -> String {
    match missing {
        Missing::Sessions { found, needed } => {
            format!("{found} sessions since the last change of the machine; it takes {needed}")
        }
        Missing::Span => "all sessions are of the same time; measure again in a week".to_owned(),
        Missing::Change { per_day } => format!(
            "no growth is shown clearly enough ({} ± {} per week)",
            lengths.fine(7.0 * per_day.value),
            lengths.fine(7.0 * per_day.expanded_95())
        ),
        Missing::Straightness { .. } => {
            "the growth bends, a straight line would mislead; measure more often".to_owned()
        }
        Missing::AlreadyThere { now } => format!("the trend is at {} already", lengths.with_unit(now.value)),
        Missing::TooFarAhead { supported } => {
            format!(
                "the limit is not reached before {}, as far as these sessions tell",
                at(supported).get(..10).unwrap_or_default()
            )
        }
    }
}

/// A day as RFC 3339; empty where the calendar ends.
pub(crate) fn at(day: f64) -> String {
    jiff::Timestamp::from_second((day * 86_400.0).round() as i64)
        .map(|time| time.to_string())
        .unwrap_or_default()
}

/// The last sessions, a line each: the value as a mark between the smallest and the largest.
fn chart_of(history: &History, limit: Option<f64>, lengths: Print) -> String {
    const WIDTH: usize = 44;
    const MOST: usize = 24;
    let steps = history.steps.get(history.steps.len().saturating_sub(MOST)..).unwrap_or_default();
    let lost = |i: usize| steps.get(i).map_or(Estimate::ZERO, |step| step.row.lost_motion_mm);
    let ends = (0..steps.len()).flat_map(|i| [lost(i).low_95(), lost(i).high_95()]).chain(limit).chain([0.0]);
    let (low, high) = ends.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), x| (a.min(x), b.max(x)));
    let column = |x: f64| {
        let place = (x - low) / (high - low).max(f64::MIN_POSITIVE) * (WIDTH - 1) as f64;
        (place.round().clamp(0.0, (WIDTH - 1) as f64)) as usize
    };
    let mut text = String::new();
    let mut events = history.events.iter().peekable();
    for (i, step) in steps.iter().enumerate() {
        while let Some(happened) = events.next_if(|happened| happened.day <= step.day) {
            if i > 0 || happened.day >= step.day {
                let _ = writeln!(
                    text,
                    "{}  --- {}: {}",
                    happened.at.get(..10).unwrap_or_default(),
                    happened.event.name(),
                    harmless(&happened.text)
                );
            }
        }
        let mut line = [' '; WIDTH];
        let mut put = |x: f64, mark: char| {
            if let Some(slot) = line.get_mut(column(x)) {
                *slot = mark;
            }
        };
        let e = lost(i);
        if let Some(limit) = limit {
            put(limit, '|');
        }
        let (from, to) = (column(e.low_95()), column(e.high_95()));
        for c in from..=to {
            if let Some(slot) = line.get_mut(c).filter(|slot| **slot == ' ') {
                *slot = '-';
            }
        }
        if let Some(slot) = line.get_mut(column(e.value)) {
            *slot = if step.point.alarm.is_some() { '!' } else { 'o' };
        }
        let line: String = line.iter().collect();
        let _ = writeln!(
            text,
            "{} {:>8}  {}",
            step.row.at.get(..10).unwrap_or_default(),
            lengths.length(e.value),
            line.trim_end()
        );
    }
    for happened in events {
        let _ = writeln!(
            text,
            "{}  --- {}: {}",
            happened.at.get(..10).unwrap_or_default(),
            happened.event.name(),
            harmless(&happened.text)
        );
    }
    let _ = writeln!(
        text,
        "o session with its 95 % interval, ! alarm stands{}",
        if limit.is_some() { ", | limit" } else { "" }
    );
    text
}

//! What a history says, in the words of a person.

use crate::log::history::{History, Step};
use crate::log::quantity::{Quantity, Scale};
use crate::screen::harmless;
use crate::units::{Print, decimals};
use takeup_core::trend::cusum::Side;
use takeup_core::trend::forecast::{Missing, Reaches};
use takeup_core::trend::watch::{self, Chart};

/// What the charts say.
#[derive(Debug, Clone)]
pub struct Said {
    /// The answer, a sentence.
    pub verdict: String,
    /// What else is worth a sentence.
    pub lines: Vec<String>,
    /// What to do next.
    pub next: String,
}

/// The verdict on an axis, what else is worth saying, and the next step.
#[must_use]
pub fn said(history: &History, lengths: Print) -> Said {
    let (quantity, print) = (history.quantity, history.quantity.print(lengths));
    let of = format!("axis {} of {}", history.axis, harmless(&history.machine));
    let what = quantity.words();
    let limit = history.limit.map(|limit| print.with_unit(limit)).unwrap_or_default();
    let last = history.last().map(|step| {
        let found = step.row.found;
        format!("{} ± {} (95 %)", print.with_unit(found.value), print.fine(found.expanded_95()))
    });
    let last = last.unwrap_or_default();
    let verdict = match (&history.alarm, history.is_over()) {
        _ if history.is_stale() => {
            format!("Not measured since the machine was changed, {of}: before that {what} was {last}.")
        }
        (Some(_), true) => {
            format!("ALARM, {of}: {what} has changed, and at {last} it is OVER the limit of {limit}.")
        }
        (Some(_), false) if history.limit.is_some() => {
            format!("ALARM, {of}: {what} has changed. It is {last}, the limit is {limit}.")
        }
        (Some(_), false) => format!("ALARM, {of}: {what} has changed. It is {last}."),
        (None, true) => format!("OVER THE LIMIT, {of}: {what} is {last}, the limit is {limit}."),
        (None, false) if history.is_alone() => {
            let first = if history.steps.len() == 1 { "so far" } else { "since the machine was changed" };
            let limit =
                if history.limit.is_some() { format!(", the limit is {limit}") } else { String::new() };
            format!("One session {first}, {of}: {what} is {last}{limit}. A trend takes more.")
        }
        (None, false) if history.limit.is_some() => {
            format!("Steady, {of}: no lasting change of {what} is shown. It is {last}, the limit is {limit}.")
        }
        (None, false) => format!("Steady, {of}: no lasting change of {what} is shown. It is {last}."),
    };
    let mut lines = Vec::new();
    lines.extend(why(history, lengths).map(|why| sentence(&why)));
    if let Some(step) = history.last() {
        lines.push(format!("Last session: {}.", date(step.day)));
    }
    lines.extend(per_week(history, lengths));
    if let Some(forecast) = &history.forecast {
        let last = history.last().map_or(0.0, |step| step.day);
        lines.push(match forecast {
            Ok(reaches) => format!("It {}.", soon(reaches, last, &limit)),
            Err(missing) => format!("No forecast: {}.", needs(*missing, quantity, lengths)),
        });
    } else if history.limit.is_some() {
        lines.push("No forecast: none is made of a scatter.".to_owned());
    }
    Said { verdict, lines, next: next(history) }
}

/// The change per week with its interval, as a sentence.
fn per_week(history: &History, lengths: Print) -> Option<String> {
    let week = history.slope?.per_day.scaled(7.0);
    let print = history.quantity.print(lengths);
    Some(match history.quantity.scale() {
        Scale::Plain => format!(
            "Change per week: {} ± {} {} (95 %).",
            print.finer(week.value),
            print.finer(week.expanded_95()),
            print.unit
        ),
        Scale::Logarithm => format!(
            "Change per week: {} % ± {} % (95 %).",
            decimals(100.0 * week.value, 1),
            decimals(100.0 * week.expanded_95(), 1)
        ),
    })
}

/// What to do next.
fn next(history: &History) -> String {
    let growing = history.alarm.as_ref().is_some_and(|alarm| alarm.side == Side::Above);
    let note = format!(
        "takeup log note --event repair --machine \"{}\" --axis {}",
        harmless(&history.machine),
        history.axis
    );
    let next = match (history.is_over(), &history.alarm, history.quantity) {
        _ if history.is_stale() => "Measure again, the same way, to see what the change did.",
        (true, _, Quantity::LostMotion) => {
            "Assess the last session for the likely cause, and repair it; until then correct programs for what is lost."
        }
        (true, _, _) => "Find the cause before the machine is used for close work.",
        (false, Some(_), _) if growing => {
            return format!(
                "Look for what works loose or wears, before the limit is reached; note the repair with `{note} \"…\"`, and measure again."
            );
        }
        (false, Some(_), _) => {
            return format!(
                "Something changed for the smaller: if somebody repaired or adjusted it, note that with `{note} --at … \"…\"`, so that the trend starts anew."
            );
        }
        (false, None, _) if history.steps.len() < 6 => "Measure again in a week, the same way.",
        (false, None, _) if history.limit.is_none() => "Give --limit to see how far away it is.",
        (false, None, _) => "Nothing for now: measure again in a week or two, the same way.",
    };
    next.to_owned()
}

/// The reason of the alarm that stands, in words.
#[must_use]
pub fn why(history: &History, lengths: Print) -> Option<String> {
    let (alarm, quantity) = (history.alarm?, history.quantity);
    let way = if alarm.side == Side::Above { "above" } else { "below" };
    // A CUSUM takes k off each session: what is left of this one may pass the limit by itself.
    let alone = |step: &Step| step.point.z.abs() - history.design.cusum.k > alarm.limit;
    let what = match alarm.chart {
        Chart::Cusum if history.steps.iter().any(|step| step.day == alarm.day && alone(step)) => {
            "that session alone is far off"
        }
        Chart::Cusum => "small differences the same way have added up",
        Chart::Ewma => "the recent average has moved",
    };
    Some(format!(
        "since {} {} lies {way} its former mean of {} ({what}: {:.2} standard deviations, limit {:.2})",
        date(alarm.day),
        quantity.words(),
        quantity.print(lengths).with_unit(quantity.of_chart(alarm.target)),
        alarm.figure.abs(),
        alarm.limit
    ))
}

/// What the charts are built for, and the mean that the last session was held against.
#[must_use]
pub fn design(history: &History, lengths: Print) -> String {
    let target = history.last().and_then(|step| step.point.target).map_or_else(String::new, |target| {
        let target = history.quantity.of_chart(target);
        format!(" about the mean before, {}", history.quantity.print(lengths).with_unit(target))
    });
    let (cusum, ewma) = (history.design.cusum, history.design.ewma);
    format!(
        "Charts{target}: CUSUM k {} h {:.2}, EWMA weight {} width {:.2}; built for a lasting shift of {} standard deviation \
         of one session, {} sessions between false alarms of each.",
        cusum.k,
        cusum.h,
        ewma.lambda,
        ewma.width,
        watch::USUAL_SHIFT,
        watch::USUAL_RUN_LENGTH
    )
}

/// When the limit is reached, from the last session on.
#[must_use]
pub fn soon(reaches: &Reaches, last: f64, limit: &str) -> String {
    let weeks = |day: f64| ((day - last) / 7.0).max(0.0);
    format!(
        "reaches {limit} between {:.1} and {:.1} weeks after the last session (95 %), {} to {}",
        weeks(reaches.from),
        weeks(reaches.to),
        date(reaches.from.max(last)),
        date(reaches.to)
    )
}

/// What is missing for a forecast, in words.
#[must_use]
pub fn needs(missing: Missing, quantity: Quantity, lengths: Print) -> String {
    let print = quantity.print(lengths);
    match missing {
        Missing::Sessions { found, needed } => {
            let sessions = if found == 1 { "session" } else { "sessions" };
            format!("{found} {sessions} since the last change of the machine; it takes {needed}")
        }
        Missing::Span => "all sessions are of the same time; measure again in a week".to_owned(),
        Missing::Change { per_day } => format!(
            "no growth is shown clearly enough ({} ± {} {} per week)",
            print.finer(7.0 * per_day.value),
            print.finer(7.0 * per_day.expanded_95()),
            print.unit
        ),
        Missing::Straightness { .. } => {
            "the growth bends, a straight line would mislead; measure more often".to_owned()
        }
        Missing::AlreadyThere { now } => format!("the trend is at {} already", print.with_unit(now.value)),
        Missing::TooFarAhead { supported } => {
            format!("the limit is not reached before {}, as far as these sessions tell", date(supported))
        }
    }
}

/// A clause as a sentence.
#[must_use]
pub fn sentence(clause: &str) -> String {
    let mut letters = clause.chars();
    letters.next().map_or_else(String::new, |first| format!("{}{}.", first.to_uppercase(), letters.as_str()))
}

/// A day as RFC 3339; empty where the calendar ends.
#[must_use]
pub fn at(day: f64) -> String {
    jiff::Timestamp::from_second((day * 86_400.0).round() as i64)
        .map(|time| time.to_string())
        .unwrap_or_default()
}

/// A day as a date.
#[must_use]
pub fn date(day: f64) -> String {
    at(day).get(..10).unwrap_or_default().to_owned()
}

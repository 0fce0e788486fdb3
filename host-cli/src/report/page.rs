//! What is on the page.

use crate::log::assessment::Assessment;
use crate::log::history::History;
use crate::refusal::Refusal;
use crate::report::plot::{Bar, Plot, draw};
use crate::units::Print;
use minijinja::value::Serde;
use minijinja::{AutoEscape, Environment};
use serde::Serialize;
use std::collections::BTreeMap;

/// One axis, or one session.
#[derive(Debug, Clone, Serialize)]
pub struct Part {
    /// The machine.
    pub machine: String,
    /// The axis.
    pub axis: String,
    /// The answer, in one sentence.
    pub verdict: String,
    /// Whether it calls for action.
    pub adverse: bool,
    /// What else is worth a sentence.
    pub lines: Vec<String>,
    /// Plots with their text.
    pub figures: Vec<Figure>,
    /// Numbers.
    pub tables: Vec<Table>,
}

/// A plot with its text.
#[derive(Debug, Clone, Serialize)]
pub struct Figure {
    svg: String,
    words: String,
}

/// A table; the first column is text, the others numbers.
#[derive(Debug, Clone, Serialize)]
pub struct Table {
    title: String,
    head: Vec<String>,
    rows: Vec<Vec<String>>,
}

/// Sessions in a table on the page; the plot shows all of them.
const MOST_ROWS: usize = 60;

const CAUTIONS: [&str; 5] = [
    "This page says what was measured; it does not certify a machine. The machine maker's manual, local rules and qualified people come first.",
    "Spindle off and locked out while testing; a hand on the emergency stop; nobody reaches in while drives are live.",
    "Isolate and lock out before a wrench goes on a coupling; block a vertical axis before loosening what holds it up.",
    "Run a corrected program in the air first, in single block, with soft limits on.",
    "A loss that comes from a loosening part grows and does not heal (common practice, no source).",
];

const HOWS: [&str; 7] = [
    "Lost motion: the reversal value of ISO 230-2 (recalled from memory) with its sign turned; drift is part of the model.",
    "Uncertainty: JCGM 100 (GUM), repeatability and what is known of the indicator combined; intervals hold the true value with 95 % by Student's t.",
    "Within, over or undecided: the rule of ISO 14253-1 (recalled from memory): the interval decides, not the value.",
    "In s: standard deviations of one session, its own uncertainty and its set-up together.",
    "Alarm: a self-starting CUSUM (Hawkins 1987) and an EWMA (Lucas and Saccucci 1990) on each session against the mean of those before it since the last repair, adjustment, crash or move.",
    "Change per week: weighted least squares since that event; when the limit is reached: inverse prediction (Fieller 1954), only where the sessions carry it.",
    "Sessions are of unequal uncertainty and at uneven intervals; each counts by its own uncertainty together with what a fresh set-up adds, learned from the sessions.",
];

/// The page.
///
/// # Errors
/// When the template cannot be filled, which is a fault of this program.
pub fn render(title: &str, parts: &[Part]) -> Result<String, Refusal> {
    let fault = |error: minijinja::Error| {
        Refusal::new(format!("the report cannot be made: {error}"), "Report this fault.")
    };
    let mut environment = Environment::new();
    environment.set_auto_escape_callback(|_| AutoEscape::Html);
    environment.add_template("page", include_str!("page.html")).map_err(fault)?;
    let mut values = BTreeMap::new();
    values.insert("title", minijinja::Value::from(title));
    values.insert("parts", minijinja::Value::from(Serde(parts)));
    values.insert("cautions", minijinja::Value::from(Serde(CAUTIONS)));
    values.insert("hows", minijinja::Value::from(Serde(HOWS)));
    environment.get_template("page").and_then(|page| page.render(values)).map_err(fault)
}

/// An axis over time.
///
/// # Errors
/// When a plot cannot be drawn.
pub fn of_history(
    history: &History,
    limit_mm: Option<f64>,
    print: Print,
    verdict: (String, bool),
    lines: Vec<String>,
) -> Result<Part, Refusal> {
    let date = |day: f64| crate::commands::log::date(day);
    let bars =
        history.steps.iter().map(|step| bar(step.day, step.row.lost_motion_mm, print)).collect::<Vec<_>>();
    let plot = Plot {
        across: "date".into(),
        up: format!("lost motion, {}", print.unit),
        bars,
        limit: limit_mm.map(|limit| print.value(limit)),
        events: history.events.iter().map(|happened| happened.day).collect(),
        from_zero: true,
        ..Plot::default()
    };
    let words = format!(
        "Lost motion of axis {} over {} sessions, with 95 % intervals{}{}.",
        history.axis,
        history.steps.len(),
        if limit_mm.is_some() { "; the solid line across is the limit" } else { "" },
        if history.events.is_empty() { "" } else { "; dashed lines are events" },
    );
    let svg = draw(&plot, &words, &date).map_err(|error| Refusal::new(error, "Report this fault."))?;
    let from = history.steps.len().saturating_sub(MOST_ROWS);
    let rows = history.steps.iter().skip(from).rev().map(|step| {
        let lost = step.row.lost_motion_mm;
        vec![
            date(step.day),
            print.length(lost.value),
            print.fine(lost.expanded_95()),
            format!("{:.1}", step.point.z),
        ]
    });
    let mut tables = vec![Table {
        title: format!("Sessions, the latest first (lengths in {})", print.unit),
        head: ["date", "lost motion", "± 95 %", "off the mean before, in s"].map(str::to_owned).to_vec(),
        rows: rows.collect(),
    }];
    if !history.events.is_empty() {
        tables.push(Table {
            title: "Events".into(),
            head: ["what", "date"].map(str::to_owned).to_vec(),
            rows: history
                .events
                .iter()
                .map(|happened| {
                    vec![format!("{}: {}", happened.event.name(), happened.text), date(happened.day)]
                })
                .collect(),
        });
    }
    let (verdict, adverse) = verdict;
    Ok(Part {
        machine: history.machine.clone(),
        axis: history.axis.clone(),
        verdict,
        adverse,
        lines,
        figures: vec![Figure { svg, words }],
        tables,
    })
}

/// Lost motion along the travel and the stations of one session.
///
/// # Errors
/// When a plot cannot be drawn.
pub fn session(
    assessment: &Assessment,
    limit_mm: Option<f64>,
    print: Print,
) -> Result<(Vec<Figure>, Vec<Table>), Refusal> {
    let stations = assessment.stations();
    if stations.is_empty() {
        return Ok((Vec::new(), Vec::new()));
    }
    let plot = Plot {
        across: format!("station, {}", print.unit),
        up: format!("lost motion, {}", print.unit),
        bars: stations.iter().map(|s| bar(print.value(s.target_mm), s.lost_motion_mm, print)).collect(),
        limit: limit_mm.map(|limit| print.value(limit)),
        from_zero: true,
        ..Plot::default()
    };
    let words = format!(
        "Lost motion along the travel of axis {} at {} stations, with 95 % intervals{}.",
        assessment.axis(),
        stations.len(),
        if limit_mm.is_some() { "; the solid line across is the limit" } else { "" }
    );
    let svg = draw(&plot, &words, &|x| print.short(x * print.unit.as_mm()))
        .map_err(|error| Refusal::new(error, "Report this fault."))?;
    let table = Table {
        title: format!("Stations (lengths in {})", print.unit),
        head: ["station", "lost motion", "± 95 %"].map(str::to_owned).to_vec(),
        rows: stations
            .iter()
            .map(|s| {
                vec![
                    print.short(s.target_mm),
                    print.length(s.lost_motion_mm.value),
                    print.fine(s.lost_motion_mm.expanded_95()),
                ]
            })
            .collect(),
    };
    let causes: Vec<Vec<String>> = assessment.document()["causes"]
        .as_array()
        .into_iter()
        .flatten()
        .map(|cause| {
            let evidence: Vec<_> =
                cause["evidence"].as_array().into_iter().flatten().filter_map(|e| e.as_str()).collect();
            vec![
                format!("{}: {}", cause["cause"].as_str().unwrap_or(""), evidence.join("; ")),
                format!("{:.0} %", 100.0 * cause["weight"].as_f64().unwrap_or(0.0)),
            ]
        })
        .collect();
    let mut tables = vec![table];
    if !causes.is_empty() {
        tables.push(Table {
            title: "Likely cause".into(),
            head: ["cause and evidence", "weight"].map(str::to_owned).to_vec(),
            rows: causes,
        });
    }
    Ok((vec![Figure { svg, words }], tables))
}

fn bar(at: f64, e: takeup_core::measure::Estimate, print: Print) -> Bar {
    Bar { at, low: print.value(e.low_95()), value: print.value(e.value), high: print.value(e.high_95()) }
}

//! The sessions of one axis through core's watch and line.

use crate::log::entry::Event;
use crate::log::store::{Kept, SessionRow, Store};
use crate::refusal::Refusal;
use jiff::Timestamp;
use takeup_core::trend::Session;
use takeup_core::trend::forecast::{Line, Missing, Reaches, Slope};
use takeup_core::trend::run_length::DesignError;
use takeup_core::trend::watch::{Alarm, Design, Point, Watch};

/// A session with where the charts stand after it.
#[derive(Debug, Clone)]
pub struct Step {
    /// The session.
    pub row: SessionRow,
    /// Its day, from the first of 1970.
    pub day: f64,
    /// The charts.
    pub point: Point,
}

/// An event on the axis.
#[derive(Debug, Clone)]
pub struct Happened {
    /// Its number.
    pub id: i64,
    /// When, RFC 3339.
    pub at: String,
    /// Its day, from the first of 1970.
    pub day: f64,
    /// What.
    pub event: Event,
    /// In the words of whoever noted it.
    pub text: String,
}

/// One axis over time.
#[derive(Debug, Clone)]
pub struct History {
    /// The machine.
    pub machine: String,
    /// The axis.
    pub axis: String,
    /// The sessions in order.
    pub steps: Vec<Step>,
    /// The events in order.
    pub events: Vec<Happened>,
    /// What the charts are built for.
    pub design: Design,
    /// The alarm that stands.
    pub alarm: Option<Alarm>,
    /// The line since the last event that changed the machine.
    pub slope: Option<Slope>,
    /// When it reaches the limit, if one was given.
    pub forecast: Option<Result<Reaches, Missing>>,
}

impl History {
    /// Reads the history of an axis.
    ///
    /// # Errors
    /// When the file cannot be read or has no session of that axis.
    pub fn read(store: &Store, machine: &str, axis: &str, limit_mm: Option<f64>) -> Result<Self, Refusal> {
        let rows = store.sessions(machine, axis)?;
        if rows.is_empty() {
            return Err(Refusal::new(
                format!("the log has no session of axis {axis} of {machine:?} that gives lost motion"),
                "See `takeup log list` for what it has.",
            ));
        }
        let events: Vec<_> = store.events(machine, axis)?.iter().filter_map(happened).collect();
        let unusable = |what: String| Refusal::new(what, "Check the log with `takeup log check`.");
        let design = Design::usual().map_err(|error: DesignError| unusable(error.to_string()))?;
        let (mut watch, mut line) = (Watch::new(design), Line::new());
        let mut pending = events.iter().filter(|happened| happened.event.changes_machine()).peekable();
        let mut steps = Vec::with_capacity(rows.len());
        let mut alarm = None;
        for row in rows {
            let day = day_of(&row.at)
                .ok_or_else(|| unusable(format!("entry {}: its time cannot be read", row.id)))?;
            while pending.next_if(|happened| happened.day <= day).is_some() {
                watch.restart();
                line = Line::new();
            }
            let lost = row.lost_motion_mm;
            // A session read off a coarse dial may claim no uncertainty at all; no set-up is better than a tenth of a micrometre.
            let session = Session {
                day,
                value: lost.value,
                standard_uncertainty: lost.standard_uncertainty.max(1e-4),
                dof: lost.dof,
            };
            let wrong =
                |error: takeup_core::trend::SessionError| unusable(format!("entry {}: {error}", row.id));
            let point = watch.push(session).map_err(wrong)?;
            line.push(session, watch.set_up()).map_err(wrong)?;
            alarm = point.alarm;
            steps.push(Step { row, day, point });
        }
        // A repair after the last session: the alarm is answered, and nothing is known since.
        if pending.next().is_some() {
            alarm = None;
            line = Line::new();
        }
        Ok(Self {
            machine: machine.to_owned(),
            axis: axis.to_owned(),
            steps,
            events,
            design,
            alarm,
            slope: line.slope(),
            forecast: limit_mm.map(|limit| line.reaches(limit)),
        })
    }
}

/// Days since the first of 1970.
#[must_use]
pub fn day_of(at: &str) -> Option<f64> {
    at.parse::<Timestamp>().ok().map(|time| time.as_second() as f64 / 86_400.0)
}

fn happened(kept: &Kept) -> Option<Happened> {
    if kept.corrected_by.is_some() {
        return None;
    }
    let body: serde_json::Value = serde_json::from_str(&kept.entry.body).ok()?;
    Some(Happened {
        id: kept.id,
        at: kept.entry.at.clone(),
        day: day_of(&kept.entry.at)?,
        event: serde_json::from_value(body["event"].clone()).ok()?,
        text: body["text"].as_str().unwrap_or("").to_owned(),
    })
}

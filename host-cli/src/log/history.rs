//! One quantity of one axis through core's watch and line.

use crate::log::entry::Event;
use crate::log::quantity::{Quantity, Scale};
use crate::log::store::{Kept, SessionRow, Store};
use crate::refusal::{Refusal, clip};
use jiff::Timestamp;
use takeup_core::trend::SessionError;
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

/// One quantity of one axis over time. What comes from the charts is in their unit: see [`Quantity::of_chart`].
#[derive(Debug, Clone)]
pub struct History {
    /// The machine.
    pub machine: String,
    /// The axis.
    pub axis: String,
    /// What is watched.
    pub quantity: Quantity,
    /// The limit, in the unit of the quantity (lengths in millimetres).
    pub limit: Option<f64>,
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
    pub fn read(
        store: &Store,
        machine: &str,
        axis: &str,
        quantity: Quantity,
        limit: Option<f64>,
    ) -> Result<Self, Refusal> {
        let rows = store.sessions(machine, axis, quantity)?;
        if rows.is_empty() {
            return Err(Refusal::new(
                format!(
                    "the log has no session of axis {axis} of {} that gives {}",
                    clip(machine),
                    quantity.words()
                ),
                "See `takeup log list` for what it has, and --quantity for what can be watched.",
            ));
        }
        Self::of(store, machine, axis, quantity, rows, limit)
    }

    /// The history of sessions already read.
    ///
    /// # Errors
    /// When the file cannot be read, or a session cannot be used.
    pub fn of(
        store: &Store,
        machine: &str,
        axis: &str,
        quantity: Quantity,
        rows: Vec<SessionRow>,
        limit: Option<f64>,
    ) -> Result<Self, Refusal> {
        let events: Vec<_> = store.events(machine, axis)?.iter().filter_map(happened).collect();
        let unusable = |what: String| Refusal::new(what, "Check the log with `takeup log check`.");
        let mut design = Design::usual().map_err(|error: DesignError| unusable(error.to_string()))?;
        if let Some((day, row)) = rows.iter().find_map(|row| Some((day_of(&row.at)?, row))) {
            design.set_up = quantity.set_up(&quantity.session(day, &row.found));
        }
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
            let session = quantity.session(day, &row.found);
            let wrong = |error: SessionError| unusable(format!("entry {}: {error}", row.id));
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
            quantity,
            limit,
            steps,
            events,
            design,
            alarm,
            slope: line.slope(),
            forecast: match quantity.scale() {
                Scale::Plain => limit.map(|limit| line.reaches(limit)),
                // A straight line through logarithms is no forecast anybody has tested.
                Scale::Logarithm => None,
            },
        })
    }

    /// The last session.
    #[must_use]
    pub fn last(&self) -> Option<&Step> {
        self.steps.last()
    }

    /// The first session since the last event that changed the machine.
    #[must_use]
    pub fn since_change(&self) -> Option<&Step> {
        let changes = self.events.iter().filter(|event| event.event.changes_machine());
        let changed = changes.map(|event| event.day).fold(f64::NEG_INFINITY, f64::max);
        self.steps.iter().find(|step| step.day >= changed)
    }

    /// Whether nothing was measured since the machine was changed: what was found before says nothing of it now.
    #[must_use]
    pub fn is_stale(&self) -> bool {
        self.since_change().is_none()
    }

    /// Whether the last session is the only one since the machine was changed: there is nothing yet to hold it against.
    #[must_use]
    pub fn is_alone(&self) -> bool {
        !self.is_stale() && self.last().is_some_and(|step| step.point.target.is_none())
    }

    /// Whether any session could be held against one before it.
    #[must_use]
    pub fn is_judged(&self) -> bool {
        self.steps.iter().any(|step| step.point.target.is_some())
    }

    /// Whether the last session is shown to be over the limit, and nothing was changed since.
    #[must_use]
    pub fn is_over(&self) -> bool {
        match (self.limit, self.last()) {
            _ if self.is_stale() => false,
            (Some(limit), Some(step)) => step.row.found.value.abs() - step.row.found.expanded_95() > limit,
            _ => false,
        }
    }

    /// Whether it calls for action.
    #[must_use]
    pub fn is_adverse(&self) -> bool {
        self.alarm.is_some() || self.is_over()
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

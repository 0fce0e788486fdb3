//! A probe box as an indicator and nothing else: a person does what the test asks for, and the box only shows.
//!
//! For tests in which no axis moves by itself: a force by hand, a plunger against a face. The box is never armed.

use super::{Feed, News, Sent};
use crate::probe_box::{Heard, Session, Trouble};
use crate::refusal::{Refusal, clip};
use crate::sitting::plan::Stop;
use std::time::{Duration, Instant};
use takeup_core::length::Length;
use takeup_core::link::ToBox;

/// The box tells where its indicator is ten times a second.
const MONITOR: ToBox = ToBox::Monitor { period_ms: 100 };
/// How often a box that went away is looked for.
const LOOK_AGAIN: Duration = Duration::from_millis(500);

/// The box.
pub struct Watched {
    port: String,
    session: Option<Session>,
    /// The sessions that the box had with the last one, since its power came.
    sessions: u16,
    lost: Instant,
    resolution: Length,
    taken_by: String,
}

impl Watched {
    /// Opens a box. Nothing moves, now or later.
    ///
    /// # Errors
    /// When no box answers.
    pub fn open(port: &str) -> Result<Self, Refusal> {
        let (session, sessions) = watch(port).map_err(|trouble| trouble.refusal(port))?;
        let about = session.capabilities();
        let taken_by = format!("Read from the probe box \"{}\".", clip(&about.name));
        let (resolution, lost) = (about.count, Instant::now());
        Ok(Self { port: port.to_owned(), session: Some(session), sessions, lost, resolution, taken_by })
    }
}

/// Opens a session and has it tell what the indicator shows; the count of sessions tells of a restart.
fn watch(port: &str) -> Result<(Session, u16), Trouble> {
    let mut session = Session::open(port)?;
    let sessions = session.state()?.sessions;
    session.ask(MONITOR)?;
    Ok((session, sessions))
}

impl Feed for Watched {
    fn aim(&mut self, _: &Stop) -> Result<Option<News>, Refusal> {
        Ok(None)
    }

    fn news(&mut self, wait: Duration) -> Option<News> {
        let Some(session) = &mut self.session else {
            if self.lost.elapsed() < LOOK_AGAIN {
                std::thread::sleep(wait);
                return None;
            }
            self.lost = Instant::now();
            let (session, sessions) = watch(&self.port).ok()?;
            if sessions <= self.sessions {
                return Some(News::Ended(Trouble::StartedAnew.refusal(&self.port)));
            }
            (self.session, self.sessions) = (Some(session), sessions);
            return Some(News::Says("the box is back".to_owned()));
        };
        match session.hear(wait) {
            Ok(Some(Heard::Sample(sample))) => Some(News::Shows { value: sample.value, sent: Sent::Shown }),
            // What was begun before is over, and nothing is begun here.
            Ok(Some(Heard::Reading(_) | Heard::Stopped(_) | Heard::Finished) | None) => None,
            Err(trouble) => {
                (self.session, self.lost) = (None, Instant::now());
                Some(News::Says(format!("{trouble}: it is waited for")))
            }
        }
    }

    fn hint(&self) -> Option<&'static str> {
        Some("Enter takes what the box shows")
    }

    fn resolution(&self) -> Option<Length> {
        Some(self.resolution)
    }

    fn taken_by(&self) -> Option<String> {
        Some(self.taken_by.clone())
    }

    fn is_watched(&self) -> bool {
        true
    }
}

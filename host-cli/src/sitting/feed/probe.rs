//! A probe box: it moves the axis and reads the indicator by itself, once a person has allowed it.

use super::{Feed, Halt, News, Sent};
use crate::pace_args::Pace;
use crate::probe_box::{Arming, Heard, Job, Session, Trouble};
use crate::refusal::Refusal;
use crate::sitting::plan::{Plan, Stop};
use std::time::Duration;
use takeup_core::length::Length;
use takeup_core::link::ToBox;
use takeup_core::link::message::{Refusal as Refused, StopCause};

/// The box tells where its indicator is ten times a second.
const MONITOR: ToBox = ToBox::Monitor { period_ms: 100 };

/// The box, and where it has got to.
pub struct Probe {
    port: String,
    job: Job,
    arming: Arming,
    session: Option<Session>,
    /// The sessions that the box had with the last one, since its power came.
    sessions: u16,
    resolution: Length,
    taken_by: String,
    /// The row whose reading comes next, while the box runs.
    next_row: Option<u32>,
    caution: String,
}

impl Probe {
    /// Opens a box for a plan. Nothing moves.
    ///
    /// # Errors
    /// When no box answers, it cannot run this test, or nobody knows where the axis stands.
    pub fn open(port: &str, plan: &Plan, pace: Pace) -> Result<Self, Refusal> {
        let job = Job::of(plan, pace).ok_or_else(|| Trouble::OtherKinds.refusal(port))?;
        let opened = || -> Result<_, Trouble> {
            let mut session = Session::open(port)?;
            if !session.capabilities().kinds.has(job.routine.kind()) {
                return Err(Trouble::OtherKinds);
            }
            let mut state = session.state()?;
            if let (None, Some(at)) = (state.position, pace.stands_at) {
                state = session.stands(at)?;
            }
            let stands = state.position.ok_or(Trouble::Refused(Refused::NoPosition))?;
            let arming = Arming::of(&job, session.capabilities(), stands)
                .map_err(|_| Trouble::Refused(Refused::BadPlan))?;
            session.ask(MONITOR)?;
            Ok((session, state.sessions, arming))
        };
        let (session, sessions, arming) = opened().map_err(|trouble| trouble.refusal(port))?;
        let (resolution, taken_by) = (session.capabilities().count, job.taken_by(session.capabilities()));
        let (low, high) = (plan.word(arming.low), plan.word(arming.high));
        let caution = format!(
            "The box \"{}\" will move {} by itself, from {low} to {high} {unit}, up to {} {unit} per second.",
            session.capabilities().name,
            plan.axis,
            plan.word(arming.speed),
            unit = plan.unit,
        );
        Ok(Self {
            port: port.to_owned(),
            job,
            arming,
            session: Some(session),
            sessions,
            resolution,
            taken_by,
            next_row: None,
            caution,
        })
    }

    /// What went wrong stops the box; a person decides how it goes on.
    fn halted(&mut self, trouble: &Trouble) -> News {
        self.next_row = None;
        if let Trouble::Ended(_) | Trouble::Port(_) | Trouble::NoAnswer = trouble {
            // Opened again when the person has looked.
            self.session = None;
        }
        let (way_out, goes_on) = match trouble {
            Trouble::Refused(Refused::NoPosition) => (
                "Look where it stands, pause, and give the same command with that place at --stands-at.",
                false,
            ),
            Trouble::StartedAnew => (trouble.way_out(), false),
            _ => (trouble.way_out(), true),
        };
        let mut halt = Halt { reason: format!("{trouble}. {way_out}"), goes_on };
        // Stopped at speed, or by a drive without current, it does not know any more where it is.
        if let (Trouble::Stopped(_), Some(session)) = (trouble, &mut self.session)
            && session.state().is_ok_and(|state| state.position.is_none())
        {
            halt.reason.push_str(" Pause, and give the same command with that place at --stands-at.");
            halt.goes_on = false;
        }
        News::Halted(halt)
    }

    fn start(&mut self, row: u32) -> Result<(), Trouble> {
        if self.session.is_none() {
            let mut session = Session::open(&self.port)?;
            let sessions = session.state()?.sessions;
            // What was said of where the axis stands is of before: a box that lost it must not be told it again.
            if sessions <= self.sessions {
                return Err(Trouble::StartedAnew);
            }
            session.ask(MONITOR)?;
            self.sessions = sessions;
            self.session = Some(session);
        }
        let Some(session) = &mut self.session else { return Err(Trouble::NoAnswer) };
        session.arm(&self.arming)?;
        session.run(&self.job, row)?;
        self.next_row = Some(row);
        Ok(())
    }
}

impl Feed for Probe {
    fn aim(&mut self, stop: &Stop) -> Result<Option<News>, Refusal> {
        if self.next_row == Some(stop.row) {
            return Ok(None);
        }
        if self.next_row.is_some() {
            // Back to a row before: not while it moves on.
            self.halt();
            let reason = "the box is stopped; it goes on from another reading".to_owned();
            return Ok(Some(News::Halted(Halt { reason, goes_on: true })));
        }
        match self.start(stop.row) {
            Ok(()) => Ok(None),
            Err(trouble) => Ok(Some(self.halted(&trouble))),
        }
    }

    fn news(&mut self, wait: Duration) -> Option<News> {
        let Some(session) = &mut self.session else {
            std::thread::sleep(wait);
            return None;
        };
        match session.hear(wait) {
            Ok(None) => None,
            Ok(Some(Heard::Sample(sample))) => Some(News::Shows { value: sample.value, sent: Sent::Shown }),
            Ok(Some(Heard::Reading(reading))) => {
                // A reading of a run that was stopped meanwhile is no reading.
                if self.next_row != Some(reading.row) {
                    return None;
                }
                self.next_row = Some(reading.row + 1);
                Some(News::Shows { value: reading.value, sent: Sent::OfRow { row: reading.row, ago_s: 0.0 } })
            }
            Ok(Some(Heard::Stopped(_))) if self.next_row.is_none() => None,
            // Who asks for a stop here does not expect a row any more: it was the session, left alone.
            Ok(Some(Heard::Stopped(StopCause::Asked))) => Some(self.halted(&Trouble::NobodyListened)),
            Ok(Some(Heard::Stopped(cause))) => Some(self.halted(&Trouble::Stopped(cause))),
            Ok(Some(Heard::Finished)) => {
                self.next_row = None;
                None
            }
            Err(trouble) => Some(self.halted(&trouble)),
        }
    }

    fn hint(&self) -> Option<&'static str> {
        Some("the box moves and reads; Space stops it")
    }

    fn resolution(&self) -> Option<Length> {
        Some(self.resolution)
    }

    fn taken_by(&self) -> Option<String> {
        Some(self.taken_by.clone())
    }

    fn cautions(&self) -> Vec<String> {
        vec![self.caution.clone(), "Space, P or the emergency stop ends its motion at once.".to_owned()]
    }

    fn halt(&mut self) -> bool {
        let moved = self.next_row.take().is_some();
        if moved && let Some(session) = &mut self.session {
            // A box that does not hear it has stopped by itself.
            let _ = session.stop();
        }
        moved
    }

    fn moves_axis(&self) -> bool {
        true
    }
}

impl Drop for Probe {
    fn drop(&mut self) {
        self.halt();
    }
}

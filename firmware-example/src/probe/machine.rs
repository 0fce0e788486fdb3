//! The whole box: link, guard, motion and indicator, polled together.

use super::guard::{Guard, Sight};
use super::motion::Motion;
use super::outbox::{Line, Outbox, next_byte};
use super::place::{self, Origin};
use super::plateau::Plateau;
use super::settings::Settings;
use crate::indicator::{Indicator, Look};
use crate::kept::{MAX_KEPT, Part, Store};
use crate::log::note;
use embedded_hal::digital::{InputPin, OutputPin};
use heapless::{Deque, String, Vec};
use takeup_core::correct::AxisTable;
use takeup_core::length::Length;
use takeup_core::link::message::{Correction, MAX_PLACES, State, StopCause};
use takeup_core::link::{Capabilities, Endpoint, Event, Kinds, Routine, Side, ToBox, ToHost};
use takeup_core::measure::routine::{Kind, Step};

/// Room for messages that wait for their turn on the link.
const WAITING: usize = 8;
/// The kinds of test that the box runs by itself.
pub const KINDS: [Kind; 5] =
    [Kind::Reversal, Kind::Positioning, Kind::SmallSteps, Kind::Return, Kind::WarmUp];
/// The most readings it takes in one routine.
pub const MOST_READINGS: u16 = 1000;
/// Bytes taken from the line in one turn.
const BYTES_AT_ONCE: usize = 16;

/// The pins and the indicator.
#[derive(Debug)]
pub struct Pins<S, D, E, I> {
    /// A rising edge is one step.
    pub step: S,
    /// High: positive, for a step that is.
    pub direction: D,
    /// The emergency stop: low when pressed. A broken wire reads as pressed with a pull-down.
    pub emergency: E,
    /// The indicator.
    pub indicator: I,
}

/// What a program gives its box.
#[derive(Clone, Debug)]
pub struct Named {
    /// The name that the host is told.
    pub name: String<16>,
    /// The settings as long as none are kept.
    pub settings: Settings,
}

/// A routine under way.
#[derive(Debug)]
pub(super) struct Running {
    pub routine: Routine,
    pub settle_us: u64,
    pub correction: Correction,
    pub started_us: u64,
    /// The index of the step of the plan that is under way, and the step.
    pub at: usize,
    pub step: Option<Step>,
    /// The place of the move before.
    pub before: Option<Length>,
    pub plateau: Option<Plateau>,
    /// A pause of the routine lasts until then.
    pub paused_until_us: u64,
    /// The axis works to and fro until then.
    pub works_until_us: u64,
    pub readings: u32,
}

/// A table and the checksum that closes its bytes.
#[derive(Debug)]
pub(super) struct Held {
    pub table: AxisTable,
    pub checksum: u32,
}

/// The box.
pub struct Probe<S, D, E, I, K> {
    pub(super) link: Endpoint<ToHost, ToBox>,
    outbox: Outbox,
    pub(super) guard: Guard,
    pub(super) motion: Motion<S, D>,
    pub(super) origin: Origin,
    emergency: E,
    pub(super) indicator: I,
    pub(super) store: K,
    name: String<16>,
    pub(super) settings: Settings,
    pub(super) table: Option<Held>,
    /// Parts of a table to come.
    pub(super) parts: [u8; MAX_KEPT],
    pub(super) parts_end: usize,
    pub(super) places: Vec<Length, MAX_PLACES>,
    pub(super) running: Option<Running>,
    waiting: Deque<ToHost, WAITING>,
    pub(super) monitor_us: Option<u64>,
    pub(super) sample_due_us: u64,
    sessions: u16,
    restarted: bool,
}

impl<S: OutputPin, D: OutputPin, E: InputPin, I: Indicator, K: Store> Probe<S, D, E, I, K> {
    /// A box at rest and disarmed; where it stands is not known. What its memory keeps it knows only after
    /// [`Probe::remember`].
    pub fn new(pins: Pins<S, D, E, I>, store: K, named: Named) -> Self {
        Self {
            link: Endpoint::new(Side::Box(capabilities(
                &named.name,
                &named.settings,
                pins.indicator.count_mm(),
            ))),
            outbox: Outbox::new(),
            guard: Guard::new(),
            motion: Motion::new(pins.step, pins.direction),
            origin: Origin::Unknown,
            emergency: pins.emergency,
            indicator: pins.indicator,
            store,
            name: named.name,
            settings: named.settings,
            table: None,
            parts: [0; MAX_KEPT],
            parts_end: 0,
            places: Vec::new(),
            running: None,
            waiting: Deque::new(),
            monitor_us: None,
            sample_due_us: 0,
            sessions: 0,
            restarted: false,
        }
    }

    /// Takes settings and table from the memory, as far as they are sound; once, before the first turn.
    ///
    /// Apart from [`Probe::new`], so that a box is made where it stays and not moved over the stack.
    pub fn remember(&mut self) {
        if let Some(length) = self.store.load(Part::Settings, &mut self.parts)
            && let Some(bytes) = self.parts.get(..length)
            && let Ok(settings) = postcard::from_bytes::<Settings>(bytes)
            && settings.makes_sense()
        {
            self.settings = settings;
        }
        self.remember_table();
        self.describe();
    }

    /// Takes the table of the axis from the memory, if there is one; parts that were sent are forgotten.
    pub(super) fn remember_table(&mut self) {
        self.parts_end = self.store.load(Part::Table, &mut self.parts).unwrap_or(0);
        self.table = self.table_of_parts().ok();
        self.parts_end = 0;
    }

    /// What the next session is told of the box.
    pub(super) fn describe(&mut self) {
        let count_mm = self.indicator.count_mm();
        self.link.describe(capabilities(&self.name, &self.settings, count_mm));
    }

    /// The watchdog has restarted the program: the next session is told.
    pub const fn was_restarted(&mut self) {
        self.restarted = true;
    }

    /// Whether the box may move.
    pub const fn is_armed(&self) -> bool {
        self.guard.permit().is_some()
    }

    /// The commanded position in steps from where the box started.
    pub const fn position(&self) -> i32 {
        self.motion.position()
    }

    /// One turn of the main loop, with the line to the host and the time.
    pub fn poll(&mut self, line: &mut impl Line, now_us: u64) {
        for _ in 0..BYTES_AT_ONCE {
            let Some(byte) = next_byte(line) else { break };
            if let Some(event) = self.link.receive(byte, now_us) {
                self.take(event, now_us);
            }
        }
        let outbox = &mut self.outbox;
        if let Some(event) = self.link.poll(now_us, &mut |frame| outbox.push(frame)) {
            self.take(event, now_us);
        }
        self.step(now_us);
        if self.link.is_ready()
            && let Some(message) = self.waiting.pop_front()
        {
            // Ready, and every message of a box fits a frame: cannot fail.
            let _ = self.link.send(&message);
        }
        self.outbox.flush(line);
    }

    /// What moves the axis, without the line: watched before any step is made, in every turn.
    pub fn step(&mut self, now_us: u64) {
        let look = self.indicator.poll(now_us).ok();
        let seen = self.sight(look, now_us);
        if seen.emergency {
            // The drives are dead, and the axis may be moved by hand: nothing is known of it any more.
            self.origin = Origin::Unknown;
        }
        if let Some(cause) = self.guard.watch(&seen) {
            self.stop(cause);
        }
        self.run(look, now_us);
        self.sample(look, now_us);
    }

    /// What there is to see at this moment.
    pub(super) fn sight(&mut self, look: Option<Look>, now_us: u64) -> Sight {
        Sight {
            silence_us: self.link.silence_us(now_us),
            emergency: self.emergency.is_low().unwrap_or(true),
            command_mm: f64::from(self.motion.position()) * self.settings.step_mm(),
            indicator_mm: look.map(|look| f64::from(look.counts) * self.indicator.count_mm()),
        }
    }

    /// Ends all motion, and allows no more of it.
    pub fn stop(&mut self, cause: StopCause) {
        note!("stopped: {}", cause);
        let too_fast = self.motion.speed() > self.settings.steps_per_s(self.settings.start_stop);
        let unsure = match cause {
            StopCause::EmergencyStop
            | StopCause::NotFollowing
            | StopCause::Watchdog
            | StopCause::DriveFault => true,
            StopCause::Asked
            | StopCause::LinkLost
            | StopCause::IndicatorRange
            | StopCause::IndicatorFault => too_fast,
        };
        if unsure {
            self.origin = Origin::Unknown;
        }
        self.motion.halt();
        self.guard.disarm();
        self.running = None;
        if self.waiting.is_full() {
            // The newest goes: what is read before it stays without a gap, and the cause is told.
            let _ = self.waiting.pop_back();
        }
        self.tell(ToHost::Stopped(cause));
    }

    /// Queues a message. With no room left the host has not listened for long: samples are left out, and
    /// what else finds no room ends the routine, so that no reading is lost unseen.
    pub(super) fn tell(&mut self, message: ToHost) {
        let sample = matches!(message, ToHost::Sample { .. });
        if self.waiting.push_back(message).is_err() && !sample {
            self.waiting.clear();
            self.stop(StopCause::LinkLost);
        }
    }

    fn take(&mut self, event: Event<ToBox>, now_us: u64) {
        match event {
            Event::Opened | Event::Ended(_) => {
                // Whatever a former session began is over; the new one starts disarmed.
                let armed = self.is_armed();
                self.waiting.clear();
                self.monitor_us = None;
                if armed {
                    self.stop(StopCause::LinkLost);
                }
                if self.link.is_open() {
                    note!("session opened");
                    self.sessions = self.sessions.saturating_add(1);
                    if core::mem::take(&mut self.restarted) {
                        self.tell(ToHost::Stopped(StopCause::Watchdog));
                    }
                }
            }
            Event::Message(message) => {
                if let Err(refusal) = self.obey(message, now_us) {
                    note!("refused: {}", refusal);
                    self.tell(ToHost::Refused(refusal));
                }
            }
            Event::Delivered => {}
        }
    }

    pub(super) fn state(&mut self) -> State {
        use takeup_core::link::message::{Armed, Button};
        State {
            position: self.origin.position(self.motion.position(), &self.settings),
            armed: if self.is_armed() { Armed::Yes } else { Armed::No },
            emergency: if self.emergency.is_low().unwrap_or(true) { Button::Pressed } else { Button::Free },
            table: self.table.as_ref().map(|held| held.checksum),
            sessions: self.sessions,
        }
    }

    /// The step to which the axis goes for a place, coming from the place before.
    pub(super) fn target(&self, to: Length, before: Option<Length>, correction: Correction) -> Option<i32> {
        let table = self.table.as_ref().map(|held| &held.table);
        self.origin.step(place::command(to, before, correction, table)?, &self.settings)
    }

    /// Finds the step of the plan that is now under way and starts its move; ends the routine after the last.
    pub(super) fn begin_step(&mut self, now_us: u64) {
        let Some(running) = &mut self.running else { return };
        let at = running.at;
        running.step = running.routine.with_steps(&self.places, |steps| steps.nth(at)).ok().flatten();
        match running.step {
            Some(Step::Move { to, .. }) => {
                let (before, correction) = (running.before.replace(to), running.correction);
                let permit = self.guard.permit();
                // Every move was checked before the routine began; should that not hold, the axis stays here.
                match self.target(to, before, correction).filter(|to| permit.is_some_and(|p| p.holds(*to))) {
                    Some(to) => self.motion.go(to, now_us),
                    None => self.stop(StopCause::DriveFault),
                }
            }
            Some(Step::Read(_)) => {}
            None => {
                let readings = running.readings;
                self.running = None;
                note!("finished, {} readings", readings);
                self.tell(ToHost::Finished { readings });
            }
        }
    }

    fn run(&mut self, look: Option<Look>, now_us: u64) {
        let moved = match self.guard.permit() {
            Some(permit) => self.motion.poll(&permit.limits, now_us),
            None => self.motion.rest(now_us).map(|_| false),
        };
        if moved.is_err() {
            self.stop(StopCause::DriveFault);
            return;
        }
        if self.motion.stands() && self.running.is_some() {
            self.stand(look, now_us);
        }
    }

    /// The axis stands: goes on to the next step of the plan, or reads once the indicator stands too.
    fn stand(&mut self, look: Option<Look>, now_us: u64) {
        let Some(running) = &mut self.running else { return };
        if now_us < running.paused_until_us {
            return;
        }
        if let Some(Step::Read(stop)) = running.step {
            if now_us < running.works_until_us {
                // Once more the two moves before the reading: away and back.
                running.at = running.at.saturating_sub(2);
                self.begin_step(now_us);
                return;
            }
            let plateau = running.plateau.get_or_insert(Plateau::new(now_us));
            let reading = look.and_then(|look| plateau.take(look, running.settle_us, now_us));
            // With readings still waiting for the link the next is not taken: none finds the queue full.
            let Some(reading) = reading.filter(|_| self.waiting.len() <= WAITING / 2) else { return };
            running.plateau = None;
            let pause_s = running.routine.pause_before(stop.row.saturating_add(1)).unwrap_or(0);
            running.paused_until_us = now_us.saturating_add(u64::from(pause_s).saturating_mul(1_000_000));
            let next = stop.row.saturating_add(1);
            running.works_until_us = works_until(&running.routine, next, now_us);
            running.readings = running.readings.saturating_add(1);
            let elapsed = now_us.saturating_sub(running.started_us) / 1000;
            self.tell(ToHost::Reading {
                row: stop.row,
                target: stop.target,
                cycle: stop.cycle,
                approach: stop.approach,
                counts: reading.counts,
                spread: reading.spread,
                time_ms: u32::try_from(elapsed).unwrap_or(u32::MAX),
            });
        }
        let Some(running) = &mut self.running else { return };
        if now_us < running.paused_until_us {
            // The reading was the last before a pause: what comes next begins when that is over.
            running.step = None;
            return;
        }
        running.at = running.at.saturating_add(1);
        self.begin_step(now_us);
    }

    fn sample(&mut self, look: Option<Look>, now_us: u64) {
        let (Some(period), Some(look)) = (self.monitor_us, look) else { return };
        if now_us < self.sample_due_us || !self.waiting.is_empty() {
            return;
        }
        self.sample_due_us = now_us.saturating_add(period);
        let steps = self.motion.position();
        let position = self.origin.position(steps, &self.settings);
        if let Some(command) = position.or_else(|| place::way(steps, &self.settings)) {
            self.tell(ToHost::Sample { command, counts: look.counts });
        }
    }
}

/// Until when the axis works before a row, from the reading before it or from where a stopped routine goes on.
pub(super) fn works_until(routine: &Routine, row: u32, now_us: u64) -> u64 {
    let work_s = routine.work_before(row).unwrap_or(0);
    now_us.saturating_add(u64::from(work_s).saturating_mul(1_000_000))
}

fn capabilities(name: &String<16>, settings: &Settings, count_mm: f64) -> Capabilities {
    Capabilities {
        name: name.clone(),
        axis: settings.axis,
        low: settings.low,
        high: settings.high,
        most_speed: settings.speed,
        count: Length::from_mm(count_mm).unwrap_or(Length::ZERO),
        most_readings: MOST_READINGS,
        kinds: Kinds::of(&KINDS),
    }
}

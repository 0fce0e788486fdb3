//! The whole box: link, guard, motion and indicator, polled together.

use super::guard::{Bounds, Guard, Permit, Sight};
use super::motion::{Limits, Motion};
use crate::indicator::Indicator;
use embedded_hal::digital::{InputPin, OutputPin};
use heapless::{Deque, Vec};
use takeup_core::axis::Axis;
use takeup_core::length::Length;
use takeup_core::link::message::{MAX_STATIONS, Refusal, StopCause};
use takeup_core::link::{Capabilities, Endpoint, Event, Side, ToBox, ToHost};
use takeup_core::measure::routine::{ReversalPlan, Step};

/// Room for messages that wait for their turn on the link.
const WAITING: usize = 8;

/// What the box is set up for. Lengths in millimetres.
#[derive(Clone, Debug, PartialEq)]
pub struct Settings {
    /// What the host is told; its range and speed are the soft limits.
    pub capabilities: Capabilities,
    /// The length of one step.
    pub step_mm: f64,
    /// Speeding up and slowing down, in millimetres per second squared.
    pub acceleration_mm: f64,
    /// Bounds on the indicator.
    pub bounds: Bounds,
}

/// The pins and the indicator.
#[derive(Debug)]
pub struct Pins<S, D, E, I> {
    /// A rising edge is one step.
    pub step: S,
    /// High: positive.
    pub direction: D,
    /// The emergency stop: low when pressed. A broken wire reads as pressed with a pull-down.
    pub emergency: E,
    /// The indicator.
    pub indicator: I,
}

struct Routine {
    stations: Vec<Length, MAX_STATIONS>,
    cycles: u16,
    overrun: Length,
    settle_us: u64,
    started_us: u64,
    /// The index of the step of the plan that is under way.
    at: usize,
    settled_us: Option<u64>,
    readings: u32,
}

/// The box.
pub struct Probe<S, D, E, I> {
    link: Endpoint<ToHost, ToBox>,
    guard: Guard,
    motion: Motion<S, D>,
    emergency: E,
    indicator: I,
    settings: Settings,
    routine: Option<Routine>,
    waiting: Deque<ToHost, WAITING>,
    monitor_us: Option<u64>,
    sample_due_us: u64,
    restarted: bool,
}

impl<S: OutputPin, D: OutputPin, E: InputPin, I: Indicator> Probe<S, D, E, I> {
    /// A box at rest and disarmed; where it stands is its zero.
    pub fn new(pins: Pins<S, D, E, I>, settings: Settings) -> Self {
        Self {
            link: Endpoint::new(Side::Box(settings.capabilities.clone())),
            guard: Guard::new(settings.bounds),
            motion: Motion::new(pins.step, pins.direction),
            emergency: pins.emergency,
            indicator: pins.indicator,
            settings,
            routine: None,
            waiting: Deque::new(),
            monitor_us: None,
            sample_due_us: 0,
            restarted: false,
        }
    }

    /// The watchdog has restarted the program: the next session is told.
    pub const fn was_restarted(&mut self) {
        self.restarted = true;
    }

    /// Whether the box may move.
    pub const fn is_armed(&self) -> bool {
        self.guard.permit().is_some()
    }

    /// The commanded position in steps.
    pub const fn position(&self) -> i32 {
        self.motion.position()
    }

    /// One turn of the main loop: the bytes that have arrived, the time, and where bytes go.
    pub fn poll(
        &mut self,
        received: impl IntoIterator<Item = u8>,
        now_us: u64,
        wire: &mut impl FnMut(&[u8]),
    ) {
        for byte in received {
            if let Some(event) = self.link.receive(byte, now_us) {
                self.take(event, now_us);
            }
        }
        if let Some(event) = self.link.poll(now_us, wire) {
            self.take(event, now_us);
        }
        // Watched before any step is made, in every turn.
        let seen = self.look(now_us);
        if let Some(cause) = self.guard.watch(&seen) {
            self.stop(cause);
        }
        self.run(now_us);
        self.sample(now_us);
        if self.link.is_ready()
            && let Some(message) = self.waiting.pop_front()
        {
            // Ready, and every message of a box fits a frame: cannot fail.
            let _ = self.link.send(&message);
        }
    }

    fn look(&mut self, now_us: u64) -> Sight {
        let counts = self.indicator.poll().ok();
        Sight {
            silence_us: self.link.silence_us(now_us),
            emergency: self.emergency.is_low().unwrap_or(true),
            command_mm: f64::from(self.motion.position()) * self.settings.step_mm,
            indicator_mm: counts.map(|c| f64::from(c) * self.indicator.count_mm()),
        }
    }

    fn stop(&mut self, cause: StopCause) {
        self.motion.halt();
        self.guard.disarm();
        self.routine = None;
        self.tell(ToHost::Stopped(cause));
    }

    /// Queues a message. With no room left the host has not listened for long: samples are left out, and
    /// what else finds no room ends the routine, so that no reading is lost unseen.
    fn tell(&mut self, message: ToHost) {
        let sample = matches!(message, ToHost::Sample { .. });
        if self.waiting.push_back(message).is_err() && !sample {
            self.motion.halt();
            self.guard.disarm();
            self.routine = None;
            self.waiting.clear();
            let _ = self.waiting.push_back(ToHost::Stopped(StopCause::LinkLost));
        }
    }

    fn take(&mut self, event: Event<ToBox>, now_us: u64) {
        match event {
            Event::Opened | Event::Ended(_) => {
                // Whatever a former session began is over; the new one starts disarmed.
                let moved = self.is_armed();
                self.waiting.clear();
                self.monitor_us = None;
                if moved {
                    self.stop(StopCause::LinkLost);
                }
                if self.restarted && self.link.is_open() {
                    self.restarted = false;
                    self.tell(ToHost::Stopped(StopCause::Watchdog));
                }
            }
            Event::Message(message) => {
                if let Err(refusal) = self.obey(message, now_us) {
                    self.tell(ToHost::Refused(refusal));
                }
            }
            Event::Delivered => {}
        }
    }

    fn obey(&mut self, message: ToBox, now_us: u64) -> Result<(), Refusal> {
        match message {
            ToBox::Arm { axis, low, high, speed } => {
                if self.routine.is_some() {
                    return Err(Refusal::Busy);
                }
                let permit = self.permit(axis, low, high, speed)?;
                let seen = self.look(now_us);
                self.guard.arm(permit, &seen)?;
                self.tell(ToHost::Armed);
            }
            ToBox::Stop => self.stop(StopCause::Asked),
            ToBox::Reversal { stations, cycles, overrun, settle_ms } => {
                let permit = self.guard.permit().ok_or(Refusal::NotArmed)?;
                if self.routine.is_some() {
                    return Err(Refusal::Busy);
                }
                let plan = ReversalPlan::new(&stations, cycles, overrun).map_err(|_| Refusal::BadPlan)?;
                if plan.stops().nth(usize::from(self.settings.capabilities.most_readings)).is_some() {
                    return Err(Refusal::BadPlan);
                }
                // A shorter overrun than that would let an indicator that stands still pass unnoticed.
                if overrun.as_mm() <= self.settings.bounds.following_mm {
                    return Err(Refusal::BadPlan);
                }
                // Every place is checked before the first step.
                for step in plan.steps() {
                    if let Step::Move { to, .. } = step {
                        let to = self.steps(to).ok_or(Refusal::BeyondLimits)?;
                        if to < permit.low || to > permit.high {
                            return Err(Refusal::BeyondLimits);
                        }
                    }
                }
                self.routine = Some(Routine {
                    stations,
                    cycles,
                    overrun,
                    settle_us: u64::from(settle_ms).saturating_mul(1000),
                    started_us: now_us,
                    at: 0,
                    settled_us: None,
                    readings: 0,
                });
                self.begin_step(now_us);
            }
            ToBox::Monitor { period_ms } => {
                self.monitor_us = (period_ms > 0).then(|| u64::from(period_ms).saturating_mul(1000));
                self.sample_due_us = now_us;
            }
            // A probe box measures; it holds no table.
            ToBox::TablePart { .. } | ToBox::TableEnd { .. } => return Err(Refusal::BadTable),
        }
        Ok(())
    }

    fn steps(&self, place: Length) -> Option<i32> {
        let steps = libm::round(place.as_mm() / self.settings.step_mm);
        (libm::fabs(steps) < f64::from(i32::MAX)).then_some(steps as i32)
    }

    fn permit(&self, axis: Axis, low: Length, high: Length, speed: i64) -> Result<Permit, Refusal> {
        let own = &self.settings.capabilities;
        if axis != own.axis {
            return Err(Refusal::OtherAxis);
        }
        if low < own.low || high > own.high || low > high || speed <= 0 || speed > own.most_speed {
            return Err(Refusal::BeyondLimits);
        }
        let (low, high) = self.steps(low).zip(self.steps(high)).ok_or(Refusal::BeyondLimits)?;
        let speed = Length::from_counts(speed).as_mm() / self.settings.step_mm;
        Ok(Permit { low, high, speed })
    }

    fn current(&self) -> Option<Step> {
        let routine = self.routine.as_ref()?;
        let plan = ReversalPlan::new(&routine.stations, routine.cycles, routine.overrun).ok()?;
        plan.steps().nth(routine.at)
    }

    /// Starts the move of the step that is now under way; ends the routine after the last.
    fn begin_step(&mut self, now_us: u64) {
        match self.current() {
            Some(Step::Move { to, .. }) => {
                if let Some(to) = self.steps(to) {
                    self.motion.go(to, now_us);
                }
            }
            Some(Step::Read(_)) => {}
            None => {
                if let Some(routine) = self.routine.take() {
                    self.tell(ToHost::Finished { readings: routine.readings });
                }
            }
        }
    }

    fn run(&mut self, now_us: u64) {
        let Some(permit) = self.guard.permit() else { return };
        let acceleration = self.settings.acceleration_mm / self.settings.step_mm;
        let limits = Limits { speed: permit.speed, acceleration };
        if self.motion.poll(&limits, now_us).is_err() {
            self.stop(StopCause::NotFollowing);
            return;
        }
        if self.motion.stands() && self.routine.is_some() {
            self.stand(now_us);
        }
    }

    /// The axis stands: goes on to the next step of the plan, or reads once it has settled.
    fn stand(&mut self, now_us: u64) {
        let read = match self.current() {
            Some(Step::Read(stop)) => Some(stop),
            Some(Step::Move { .. }) | None => None,
        };
        let Some(routine) = &mut self.routine else { return };
        if let Some(stop) = read {
            let since = *routine.settled_us.get_or_insert(now_us);
            // With readings still waiting for the link the next is not taken: none finds the queue full.
            if now_us.saturating_sub(since) < routine.settle_us || self.waiting.len() > WAITING / 2 {
                return;
            }
            let Ok(counts) = self.indicator.poll() else { return };
            routine.readings = routine.readings.saturating_add(1);
            let elapsed = now_us.saturating_sub(routine.started_us) / 1000;
            let reading = ToHost::Reading {
                row: stop.row,
                target: stop.target,
                cycle: stop.cycle,
                approach: stop.approach,
                counts,
                time_ms: u32::try_from(elapsed).unwrap_or(u32::MAX),
            };
            routine.settled_us = None;
            self.tell(reading);
        }
        let Some(routine) = &mut self.routine else { return };
        routine.at = routine.at.saturating_add(1);
        self.begin_step(now_us);
    }

    fn sample(&mut self, now_us: u64) {
        let Some(period) = self.monitor_us else { return };
        if now_us < self.sample_due_us || !self.waiting.is_empty() {
            return;
        }
        self.sample_due_us = now_us.saturating_add(period);
        if let Ok(counts) = self.indicator.poll() {
            let command = f64::from(self.motion.position()) * self.settings.step_mm;
            if let Some(command) = Length::from_mm(command) {
                self.tell(ToHost::Sample { command, counts });
            }
        }
    }
}

//! What the host may ask of the box, and what the box refuses.

use super::guard::Permit;
use super::machine::{Held, MOST_READINGS, Probe, Running, works_until};
use super::motion::Limits;
use super::place::Origin;
use crate::indicator::Indicator;
use crate::kept::{Part, Store};
use crate::log::note;
use embedded_hal::digital::{InputPin, OutputPin};
use takeup_core::axis::Axis;
use takeup_core::correct::bytes;
use takeup_core::length::Length;
use takeup_core::link::message::{Correction, Refusal, StopCause};
use takeup_core::link::settings::Setting;
use takeup_core::link::{Routine, ToBox, ToHost};
use takeup_core::measure::routine::Step;

/// What an indicator shows later than that could not stop the axis in time.
const SEEN_WITHIN_US: u64 = 45_000;
/// How much of the bound on following may pass while an indicator that comes seldom is waited for.
const FOLLOWING_SHARE: f64 = 0.5;

impl<S: OutputPin, D: OutputPin, E: InputPin, I: Indicator, K: Store> Probe<S, D, E, I, K> {
    /// Does what is asked for, and answers. What is refused moves nothing and keeps nothing; of places and tables,
    /// which come in parts, the first part of a new one forgets those before it.
    pub(super) fn obey(&mut self, message: ToBox, now_us: u64) -> Result<(), Refusal> {
        match message {
            ToBox::Arm { axis, low, high, speed } => self.arm(axis, low, high, speed, now_us)?,
            ToBox::Stop => self.stop(StopCause::Asked),
            ToBox::Places { first, at } => {
                self.at_rest(Rest::Standing)?;
                if first == 0 {
                    self.places.clear();
                }
                if usize::from(first) != self.places.len() {
                    return Err(Refusal::BadPlan);
                }
                self.places.extend_from_slice(&at).map_err(|_| Refusal::BadPlan)?;
                self.tell(ToHost::Done);
            }
            ToBox::Run { routine, settle_ms, from_row, correction } => {
                self.begin(routine, settle_ms, from_row, correction, now_us)?;
            }
            ToBox::Monitor { period_ms } => {
                self.monitor_us = (period_ms > 0).then(|| u64::from(period_ms).saturating_mul(1000));
                self.sample_due_us = now_us;
                self.tell(ToHost::Done);
            }
            ToBox::TablePart { offset, bytes } => {
                self.at_rest(Rest::Disarmed)?;
                let offset = usize::from(offset);
                if offset == 0 {
                    self.parts_end = 0;
                }
                let end = offset.saturating_add(bytes.len());
                let room = self.parts.get_mut(offset..end).filter(|_| offset == self.parts_end);
                room.ok_or(Refusal::BadTable)?.copy_from_slice(&bytes);
                self.parts_end = end;
                self.tell(ToHost::Done);
            }
            ToBox::TableEnd { length } => {
                self.at_rest(Rest::Disarmed)?;
                self.keep_table(length)?;
                let state = self.state();
                self.tell(ToHost::State(state));
            }
            ToBox::Stands { at } => {
                self.at_rest(Rest::Disarmed)?;
                self.origin = Origin::of(at, self.motion.position(), &self.settings);
                let state = self.state();
                self.tell(ToHost::State(state));
            }
            ToBox::Ask => {
                let state = self.state();
                self.tell(ToHost::State(state));
            }
            ToBox::AskSetting(name) => self.tell(ToHost::Setting(self.settings.get(name))),
            ToBox::Set(setting) => {
                self.at_rest(Rest::Disarmed)?;
                self.keep_setting(setting)?;
                self.tell(ToHost::Setting(setting));
            }
        }
        Ok(())
    }

    fn at_rest(&self, rest: Rest) -> Result<(), Refusal> {
        let busy = match rest {
            Rest::Standing => self.running.is_some(),
            Rest::Disarmed => self.is_armed(),
        };
        if busy { Err(Refusal::Busy) } else { Ok(()) }
    }

    /// Allows motion of an axis within a range, at most at a speed in counts of 0.1 nm per second.
    ///
    /// # Errors
    /// [`Refusal`] says what speaks against it. What was allowed before still is, unless the emergency stop or the
    /// indicator is the reason: then nothing is.
    pub fn arm(
        &mut self,
        axis: Axis,
        low: Length,
        high: Length,
        speed: i64,
        now_us: u64,
    ) -> Result<(), Refusal> {
        self.at_rest(Rest::Standing)?;
        let settings = self.settings;
        if axis != settings.axis {
            return Err(Refusal::OtherAxis);
        }
        if low < settings.low || high > settings.high || low > high || speed <= 0 || speed > settings.speed {
            return Err(Refusal::BeyondLimits);
        }
        let here = self.origin.position(self.motion.position(), &settings).ok_or(Refusal::NoPosition)?;
        if here < low || here > high {
            return Err(Refusal::BeyondLimits);
        }
        let ends = self.origin.step(low, &settings).zip(self.origin.step(high, &settings));
        let (one, other) = ends.ok_or(Refusal::BeyondLimits)?;
        let per_s = Length::from_counts(speed).as_mm();
        if self.indicator.delay_us() > SEEN_WITHIN_US {
            return Err(Refusal::TooFast);
        }
        let unseen_mm = per_s * 1e-6 * self.indicator.delay_us() as f64;
        if unseen_mm > FOLLOWING_SHARE * settings.following.as_mm() {
            return Err(Refusal::TooFast);
        }
        let limits = Limits {
            speed: settings.steps_per_s(speed),
            acceleration: settings.steps_per_s(settings.acceleration),
        };
        let permit = Permit { low: one.min(other), high: one.max(other), limits };
        let look = self.indicator.poll(now_us).ok();
        let seen = self.sight(look, now_us);
        self.guard.arm(permit, settings.bounds(), &seen)?;
        note!("armed");
        self.tell(ToHost::Armed);
        Ok(())
    }

    /// Begins a routine at the places that were sent.
    ///
    /// # Errors
    /// [`Refusal`] says what speaks against it; then nothing moves.
    pub fn begin(
        &mut self,
        routine: Routine,
        settle_ms: u16,
        from_row: u32,
        correction: Correction,
        now_us: u64,
    ) -> Result<(), Refusal> {
        let permit = self.guard.permit().ok_or(Refusal::NotArmed)?;
        self.at_rest(Rest::Standing)?;
        if correction == Correction::Table && self.table.is_none() {
            return Err(Refusal::BadTable);
        }
        // How many readings the plan has, and the step at which a stopped routine goes on.
        let (readings, at) = routine
            .with_steps(&self.places, |steps| {
                let (mut readings, mut at) = (0_u16, 0);
                for (index, step) in steps.enumerate() {
                    let Step::Read(stop) = step else { continue };
                    if readings >= MOST_READINGS {
                        return None;
                    }
                    readings = readings.saturating_add(1);
                    if stop.row < from_row {
                        at = index.saturating_add(1);
                    }
                }
                Some((u32::from(readings), at))
            })
            .ok()
            .flatten()
            .ok_or(Refusal::BadPlan)?;
        if !(1..=readings).contains(&from_row) {
            return Err(Refusal::BadPlan);
        }
        // A shorter move than that would let an indicator that stands still pass unnoticed.
        if routine.longest_move() <= self.settings.following {
            return Err(Refusal::BadPlan);
        }
        // Every move that will be made is checked before the first step, just as it will be made: the way of
        // the first, and with it what the table adds, depends on where the axis stands now.
        let here = self.origin.position(self.motion.position(), &self.settings);
        let mut before = here;
        let reachable = routine
            .with_steps(&self.places, |steps| {
                steps.skip(at).all(|step| match step {
                    Step::Move { to, .. } => {
                        self.target(to, before.replace(to), correction).is_some_and(|step| permit.holds(step))
                    }
                    Step::Read(_) => true,
                })
            })
            .map_err(|_| Refusal::BadPlan)?;
        if !reachable {
            return Err(Refusal::BeyondLimits);
        }
        note!("runs, {} readings", readings);
        self.running = Some(Running {
            routine,
            settle_us: u64::from(settle_ms).saturating_mul(1000),
            correction,
            started_us: now_us,
            at,
            step: None,
            before: here,
            plateau: None,
            paused_until_us: now_us,
            works_until_us: works_until(&routine, from_row, now_us),
            readings: 0,
        });
        self.tell(ToHost::Started { readings });
        self.begin_step(now_us);
        Ok(())
    }

    fn keep_table(&mut self, length: u16) -> Result<(), Refusal> {
        if length == 0 {
            self.store.save(Part::Table, &[]).map_err(|_| Refusal::Storage)?;
            self.table = None;
            return Ok(());
        }
        if usize::from(length) != self.parts_end {
            return Err(Refusal::BadTable);
        }
        let held = self.table_of_parts()?;
        let bytes = self.parts.get(..self.parts_end).ok_or(Refusal::BadTable)?;
        self.store.save(Part::Table, bytes).map_err(|_| Refusal::Storage)?;
        self.table = Some(held);
        Ok(())
    }

    /// The table in the parts that have come.
    pub(super) fn table_of_parts(&self) -> Result<Held, Refusal> {
        let found = self.parts.get(..self.parts_end).ok_or(Refusal::BadTable)?;
        let checksum = found.last_chunk::<4>().ok_or(Refusal::BadTable)?;
        let table = bytes::decode_axis(found, self.settings.axis).map_err(|_| Refusal::BadTable)?;
        let table = table.ok_or(Refusal::BadTable)?;
        Ok(Held { table, checksum: u32::from_le_bytes(*checksum) })
    }

    fn keep_setting(&mut self, setting: Setting) -> Result<(), Refusal> {
        let mut changed = self.settings;
        changed.set(setting).map_err(|_| Refusal::BadSetting)?;
        let mut room = [0; 128];
        let bytes = postcard::to_slice(&changed, &mut room).map_err(|_| Refusal::Storage)?;
        self.store.save(Part::Settings, bytes).map_err(|_| Refusal::Storage)?;
        if changed.step != self.settings.step || changed.axis != self.settings.axis {
            // The steps made so far were others.
            self.origin = Origin::Unknown;
        }
        let other_axis = changed.axis != self.settings.axis;
        self.settings = changed;
        if other_axis {
            // The table in the memory is still that of the axis before: it is back when that axis is.
            self.remember_table();
        }
        self.describe();
        Ok(())
    }
}

/// How much rest something asks for.
enum Rest {
    /// No routine runs.
    Standing,
    /// The box is not armed.
    Disarmed,
}

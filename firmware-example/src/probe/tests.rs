//! The box against a simulated axis and a host on a perfect line, in exact time.

use crate::indicator::{Indicator, Quadrature};
use crate::simulated::{COUNT_MM, JoinedProbe, MEMORY, SCALE_COUNT_MM, STEP_MM, Wire, World, Wrong};
use core::convert::Infallible;
use embedded_io::{ErrorType, Read, ReadReady, Write, WriteReady};
use std::{collections::VecDeque, vec, vec::Vec};
use takeup_core::axis::{Axis, Direction};
use takeup_core::correct::{AxisTable, Table, bytes};
use takeup_core::length::Length;
use takeup_core::link::message::{Armed, Button, Correction, Refusal, State, StopCause};
use takeup_core::link::settings::{Setting, SettingName};
use takeup_core::link::{Endpoint, Event, Routine, Side, ToBox, ToHost};
use takeup_core::measure::Setup;
use takeup_core::measure::reversal::{Reading, assess};
use takeup_core::slack::simulated::Faults;

const TURN_US: u64 = 20;
/// The bound of a stop, from the fault.
const STOP_US: u64 = 50_000;

fn mm(value: f64) -> Length {
    Length::from_mm(value).unwrap()
}

/// A line as fast as memory.
#[derive(Default)]
struct Cable {
    down: VecDeque<u8>,
    up: VecDeque<u8>,
}

impl ErrorType for Cable {
    type Error = Infallible;
}

impl Read for Cable {
    fn read(&mut self, buffer: &mut [u8]) -> Result<usize, Infallible> {
        buffer[0] = self.down.pop_front().unwrap();
        Ok(1)
    }
}

impl ReadReady for Cable {
    fn read_ready(&mut self) -> Result<bool, Infallible> {
        Ok(!self.down.is_empty())
    }
}

impl Write for Cable {
    fn write(&mut self, bytes: &[u8]) -> Result<usize, Infallible> {
        self.up.extend(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> Result<(), Infallible> {
        Ok(())
    }
}

impl WriteReady for Cable {
    fn write_ready(&mut self) -> Result<bool, Infallible> {
        Ok(true)
    }
}

struct Rig<'a, I: Indicator = Quadrature<Wire<'a>, Wire<'a>>> {
    world: &'a World,
    probe: JoinedProbe<'a, I>,
    host: Endpoint<ToBox, ToHost>,
    cable: Cable,
    plugged: bool,
    heard: Vec<ToHost>,
}

impl<'a> Rig<'a> {
    fn with_memory(world: &'a World, memory: &'a mut [u8]) -> Self {
        Self::of(world, world.probe(memory))
    }

    /// A box that forgets, standing at 0.
    fn new(world: &'a World) -> Self {
        let mut rig = Self::with_memory(world, vec![0xff; MEMORY].leak());
        rig.stands(0.0);
        rig
    }
}

impl<'a, I: Indicator> Rig<'a, I> {
    fn of(world: &'a World, probe: JoinedProbe<'a, I>) -> Self {
        let mut rig = Self {
            world,
            probe,
            host: Endpoint::new(Side::Host { session: 1 }),
            cable: Cable::default(),
            plugged: true,
            heard: vec![],
        };
        rig.pass(5_000);
        assert!(rig.host.is_open());
        rig
    }

    fn pass(&mut self, us: u64) {
        let until = self.world.now_us.get() + us;
        while self.world.now_us.get() < until {
            self.world.pass(TURN_US);
            let now = self.world.now_us.get();
            self.world.turn();
            self.probe.poll(&mut self.cable, now);
            let mut events: Vec<_> =
                self.cable.up.drain(..).filter_map(|b| self.host.receive(b, now)).collect();
            let down = &mut self.cable.down;
            events.extend(self.host.poll(now, &mut |bytes| down.extend(bytes)));
            if !self.plugged {
                down.clear();
            }
            self.heard.extend(events.into_iter().filter_map(|event| match event {
                Event::Message(message) => Some(message),
                Event::Opened | Event::Delivered | Event::Ended(_) => None,
            }));
        }
    }

    /// Says something, and gives the answer.
    fn ask(&mut self, message: &ToBox) -> ToHost {
        self.heard.clear();
        self.say(message);
        self.heard.pop().unwrap_or_else(|| panic!("no answer to {message:?}"))
    }

    fn state(&mut self) -> State {
        match self.ask(&ToBox::Ask) {
            ToHost::State(state) => state,
            other => panic!("{other:?}"),
        }
    }

    fn stands(&mut self, at: f64) {
        assert!(matches!(self.ask(&ToBox::Stands { at: mm(at) }), ToHost::State(_)));
    }

    fn places(&mut self, places: &[f64]) {
        for (part, first) in places.chunks(4).zip((0..).step_by(4)) {
            let at = part.iter().map(|at| mm(*at)).collect();
            assert_eq!(self.ask(&ToBox::Places { first, at }), ToHost::Done);
        }
    }

    fn say(&mut self, message: &ToBox) {
        while !self.host.is_ready() {
            self.pass(1000);
        }
        self.host.send(message).unwrap();
        self.pass(3000);
    }

    fn arm_to(&mut self, low: f64, high: f64, speed: f64) -> ToHost {
        self.ask(&ToBox::Arm { axis: Axis::Z, low: mm(low), high: mm(high), speed: mm(speed).counts() })
    }

    fn arm(&mut self) {
        assert_eq!(self.arm_to(-5.0, 5.0, 5.0), ToHost::Armed);
    }

    fn run(&mut self, routine: Routine, from_row: u32, correction: Correction) -> ToHost {
        self.ask(&ToBox::Run { routine, settle_ms: 20, from_row, correction })
    }

    fn reversal(&mut self) -> ToHost {
        self.places(&[0.0, -1.0]);
        self.run(Routine::Reversal { cycles: 3, overrun: mm(0.5) }, 1, Correction::Off)
    }

    /// Lets a routine go on to its end, and gives its readings.
    fn readings(&mut self) -> Vec<Reading> {
        for _ in 0..200 {
            self.pass(100_000);
            if !matches!(self.heard.last(), Some(ToHost::Reading { .. }) | None) {
                break;
            }
        }
        let Some(ToHost::Finished { readings }) = self.heard.pop() else { panic!("{:?}", self.heard) };
        assert_eq!(readings as usize, self.heard.len());
        std::mem::take(&mut self.heard)
            .into_iter()
            .map(|message| match message {
                ToHost::Reading { target, cycle, approach, counts, .. } => {
                    Reading { target, cycle, approach, value_mm: f64::from(counts) * COUNT_MM, time_s: None }
                }
                other => panic!("{other:?}"),
            })
            .collect()
    }

    /// Makes a fault in the middle of a move: motion ends in time, for this cause, and stays ended until armed.
    fn fault(&mut self, make: impl FnOnce(&mut Self), expected: Option<StopCause>) {
        self.arm();
        assert_eq!(self.reversal(), ToHost::Started { readings: 12 });
        self.pass(60_000);
        let at = self.world.now_us.get();
        assert!(at - self.world.last_step_us.get() < 1000, "it does not move");
        make(self);
        self.pass(300_000);
        let stopped = self.world.last_step_us.get().saturating_sub(at);
        assert!(stopped <= STOP_US, "{stopped} us");
        assert!(!self.probe.is_armed());
        if let Some(cause) = expected {
            assert_eq!(self.heard, [ToHost::Stopped(cause)]);
            let steps = self.world.steps();
            assert_eq!(self.reversal(), ToHost::Refused(Refusal::NotArmed));
            self.pass(100_000);
            assert_eq!(self.world.steps(), steps, "it moved without being armed");
        }
    }
}

fn world(clearance_mm: f64) -> World {
    World::new(Faults { clearance_mm, ..Faults::default() }, 1)
}

#[test]
fn a_routine_gives_the_lost_motion_of_the_axis() {
    let world = world(0.12);
    let mut rig = Rig::new(&world);
    rig.arm();
    assert_eq!(rig.reversal(), ToHost::Started { readings: 12 });
    let readings = rig.readings();
    let setup = Setup { resolution_mm: COUNT_MM, ..Setup::default() };
    let found = assess::<4>(&readings[..], &setup).unwrap().lost_motion;
    assert!((found.value - 0.12).abs() < 0.001, "{found:?}");
}

/// The same box with the other indicator: coarser, and a word every 20 ms.
#[test]
fn a_digital_scale_does_as_well() {
    let world = world(0.12);
    let mut rig = Rig::of(&world, world.scale_probe(vec![0xff; MEMORY].leak()));
    rig.stands(0.0);
    rig.pass(50_000);
    // So fast that more than half of what it may lag would pass unseen.
    assert_eq!(rig.arm_to(-5.0, 5.0, 6.0), ToHost::Refused(Refusal::TooFast));
    assert_eq!(rig.arm_to(-5.0, 5.0, 4.0), ToHost::Armed);
    assert_eq!(rig.reversal(), ToHost::Started { readings: 12 });
    for _ in 0..100 {
        rig.pass(100_000);
        if matches!(rig.heard.last(), Some(ToHost::Finished { .. })) {
            break;
        }
    }
    assert_eq!(rig.heard.pop(), Some(ToHost::Finished { readings: 12 }));
    for message in &rig.heard {
        let ToHost::Reading { target, approach, counts, .. } = *message else { panic!("{message:?}") };
        let lag = if approach == Direction::Plus { 0.12 } else { 0.0 };
        let found = f64::from(counts) * SCALE_COUNT_MM;
        assert!((found - (target.as_mm() - lag)).abs() < 0.51 * SCALE_COUNT_MM, "{message:?}");
    }
    // It shows the same number whatever the axis does: noticed within the bound, and what a word takes.
    assert_eq!(rig.reversal(), ToHost::Started { readings: 12 });
    rig.world.wrong.set(Wrong::Stuck);
    let before = world.steps();
    rig.pass(1_000_000);
    assert_eq!(rig.heard, [ToHost::Stopped(StopCause::NotFollowing)]);
    let moved = (world.steps() - before).unsigned_abs() as f64 * STEP_MM;
    assert!(moved <= 0.4 + 4.0 * 0.04, "it moved {moved} mm");
}

#[test]
fn positioning_goes_up_and_down_through_its_places() {
    let world = world(0.12);
    let mut rig = Rig::new(&world);
    rig.arm();
    rig.places(&[-2.0, -1.5, -1.0, -0.5, 0.0, 0.5]);
    let routine = Routine::Positioning { runs: 2, overrun: mm(0.5) };
    assert_eq!(rig.run(routine, 1, Correction::Off), ToHost::Started { readings: 24 });
    let readings = rig.readings();
    let mut places: Vec<(f64, Direction)> = vec![];
    for (i, reading) in readings.iter().enumerate() {
        places.push((reading.target.as_mm(), reading.approach));
        // Coming up the table lags by the clearance, coming down it does not.
        let lag = if reading.approach == Direction::Plus { 0.12 } else { 0.0 };
        assert!((reading.value_mm - (reading.target.as_mm() - lag)).abs() < 0.0011, "{i}: {reading:?}");
    }
    assert_eq!(places[..2], [(-2.0, Direction::Plus), (-1.5, Direction::Plus)]);
    assert_eq!(places[6..8], [(0.5, Direction::Minus), (0.0, Direction::Minus)]);
}

#[test]
fn small_steps_climb_without_overrunning() {
    let world = world(0.05);
    let mut rig = Rig::new(&world);
    rig.arm();
    rig.places(&[-1.0]);
    let routine = Routine::SmallSteps { step: mm(0.02), steps: 6, cycles: 1, overrun: mm(0.5) };
    assert_eq!(rig.run(routine, 1, Correction::Off), ToHost::Started { readings: 19 });
    let readings = rig.readings();
    let shown: Vec<i32> = readings.iter().map(|r| (r.value_mm * 1000.0).round() as i32 + 1000).collect();
    // By hand, in micrometres: steps of 20 against a clearance of 50, seated moving down.
    let up = [0, 0, 10, 30, 50, 70];
    let down = [70, 70, 60, 40, 20, 0];
    let expected: Vec<i32> = [0].iter().chain(&up).chain(&down).chain(&up).copied().collect();
    assert_eq!(expected.len(), readings.len());
    let far = shown.iter().zip(&expected).find(|(shown, expected)| (**shown - **expected).abs() > 1);
    assert_eq!(far, None, "{shown:?}");
}

#[test]
fn returns_pause_as_often_as_they_should() {
    let world = world(0.05);
    let mut rig = Rig::new(&world);
    rig.arm();
    rig.places(&[0.0]);
    let routine = Routine::Return { lift: mm(1.0), returns: 6, pause_every: 2, pause_s: 3 };
    assert_eq!(rig.run(routine, 1, Correction::Off), ToHost::Started { readings: 6 });
    let from = world.now_us.get();
    while !matches!(rig.heard.last(), Some(ToHost::Finished { .. })) {
        rig.pass(100_000);
        assert!(world.now_us.get() < from + 20_000_000, "{:?}", rig.heard);
    }
    let times: Vec<u32> = rig
        .heard
        .iter()
        .filter_map(|message| match message {
            ToHost::Reading { time_ms, approach: Direction::Minus, .. } => Some(*time_ms),
            _ => None,
        })
        .collect();
    let waits: Vec<bool> = times.windows(2).map(|pair| pair[1] - pair[0] >= 3000).collect();
    assert_eq!(waits, [false, true, false, true, false], "{times:?}");
    // Nor a pause after the last.
    assert!(world.now_us.get() - from < u64::from(times[5]) * 1000 + 500_000);
}

#[test]
fn a_stopped_routine_goes_on_from_the_row_it_had_reached() {
    let world = world(0.12);
    let mut rig = Rig::new(&world);
    rig.arm();
    assert_eq!(rig.reversal(), ToHost::Started { readings: 12 });
    while rig.heard.len() < 5 {
        rig.pass(10_000);
    }
    let mut readings: Vec<ToHost> = rig.heard.clone();
    rig.plugged = false;
    rig.pass(60_000);
    assert!(!rig.probe.is_armed());
    rig.plugged = true;
    rig.pass(20_000);
    assert_eq!(rig.heard.last(), Some(&ToHost::Stopped(StopCause::LinkLost)));
    // At this speed it stops at once, without losing a step.
    assert!(rig.state().position.is_some());
    rig.arm();
    let went_on = rig.run(Routine::Reversal { cycles: 3, overrun: mm(0.5) }, 6, Correction::Off);
    assert_eq!(went_on, ToHost::Started { readings: 12 });
    while !matches!(rig.heard.last(), Some(ToHost::Finished { .. })) {
        rig.pass(10_000);
    }
    assert_eq!(rig.heard.pop(), Some(ToHost::Finished { readings: 7 }));
    readings.append(&mut rig.heard);
    let rows: Vec<u32> = readings
        .iter()
        .map(|message| match message {
            ToHost::Reading { row, .. } => *row,
            other => panic!("{other:?}"),
        })
        .collect();
    assert_eq!(rows, (1..=12).collect::<Vec<_>>());
    for message in readings {
        let ToHost::Reading { target, approach, counts, .. } = message else { unreachable!() };
        let lag = if approach == Direction::Plus { 0.12 } else { 0.0 };
        assert!((f64::from(counts) * COUNT_MM - (target.as_mm() - lag)).abs() < 0.0011, "{message:?}");
    }
}

#[test]
fn a_table_in_the_box_takes_the_lost_motion_away_and_is_kept() {
    let mut memory = vec![0xff; MEMORY];
    let world = world(0.12);
    let mut table = Table::EMPTY;
    table.axes.z = Some(AxisTable::uniform(Direction::Minus, mm(0.12)).unwrap());
    let mut room = [0; bytes::MAX_BYTES];
    let length = bytes::encode(&table, &mut room).unwrap();
    let checksum = u32::from_le_bytes(room[length - 4..length].try_into().unwrap());
    {
        let mut rig = Rig::with_memory(&world, &mut memory);
        rig.stands(0.0);
        rig.arm();
        rig.places(&[0.0, -1.0]);
        let routine = Routine::Reversal { cycles: 3, overrun: mm(0.5) };
        assert_eq!(rig.run(routine, 1, Correction::Table), ToHost::Refused(Refusal::BadTable));
        let part = ToBox::TablePart { offset: 0, bytes: room[..32].iter().copied().collect() };
        assert_eq!(rig.ask(&part), ToHost::Refused(Refusal::Busy));
        assert_eq!(rig.ask(&ToBox::Stop), ToHost::Stopped(StopCause::Asked));
        for (bytes, offset) in room[..length].chunks(32).zip((0..).step_by(32)) {
            let part = ToBox::TablePart { offset, bytes: bytes.iter().copied().collect() };
            assert_eq!(rig.ask(&part), ToHost::Done);
        }
        let end = |length| ToBox::TableEnd { length };
        assert_eq!(rig.ask(&end(length as u16 + 1)), ToHost::Refused(Refusal::BadTable));
        assert_eq!(rig.state().table, None);
        let ToHost::State(state) = rig.ask(&end(length as u16)) else { panic!("{:?}", rig.heard) };
        assert_eq!(state.table, Some(checksum));
    }
    // Power gone and back: the table is there, and a routine runs with it.
    let mut rig = Rig::with_memory(&world, &mut memory);
    assert_eq!(rig.state().table, Some(checksum));
    rig.stands(0.0);
    rig.arm();
    rig.places(&[0.0, -1.0]);
    let routine = Routine::Reversal { cycles: 3, overrun: mm(0.5) };
    assert_eq!(rig.run(routine, 1, Correction::Table), ToHost::Started { readings: 12 });
    for reading in rig.readings() {
        assert!((reading.value_mm - reading.target.as_mm()).abs() < 0.0011, "{reading:?}");
    }
    assert_eq!(rig.ask(&ToBox::Stop), ToHost::Stopped(StopCause::Asked));
    assert!(matches!(rig.ask(&ToBox::TableEnd { length: 0 }), ToHost::State(State { table: None, .. })));
}

#[test]
fn settings_are_kept_and_told() {
    let mut memory = vec![0xff; MEMORY];
    let world = world(0.0);
    {
        let mut rig = Rig::with_memory(&world, &mut memory);
        assert_eq!(rig.ask(&ToBox::Set(Setting::High(mm(2.0)))), ToHost::Setting(Setting::High(mm(2.0))));
        assert_eq!(rig.ask(&ToBox::Set(Setting::Speed(0))), ToHost::Refused(Refusal::BadSetting));
        rig.stands(0.0);
        assert_eq!(rig.arm_to(-1.0, 1.0, 1.0), ToHost::Armed);
        assert_eq!(rig.ask(&ToBox::Set(Setting::High(mm(3.0)))), ToHost::Refused(Refusal::Busy));
    }
    let mut rig = Rig::with_memory(&world, &mut memory);
    assert_eq!(rig.host.peer().map(|peer| peer.high), Some(mm(2.0)));
    assert_eq!(rig.ask(&ToBox::AskSetting(SettingName::High)), ToHost::Setting(Setting::High(mm(2.0))));
    rig.stands(0.0);
    assert_eq!(rig.arm_to(-1.0, 2.1, 1.0), ToHost::Refused(Refusal::BeyondLimits));
    // Another length of step: what was known of the position is worth nothing.
    assert!(matches!(rig.ask(&ToBox::Set(Setting::Step(mm(0.001)))), ToHost::Setting(_)));
    assert_eq!(rig.state().position, None);
}

#[test]
fn nothing_moves_before_it_is_armed() {
    let world = world(0.0);
    let mut rig = Rig::new(&world);
    assert_eq!(rig.reversal(), ToHost::Refused(Refusal::NotArmed));
    rig.pass(200_000);
    assert_eq!(world.steps(), 0);
}

#[test]
fn nothing_is_armed_before_it_is_known_where_the_axis_stands() {
    let world = world(0.0);
    let mut rig = Rig::with_memory(&world, vec![0xff; MEMORY].leak());
    assert_eq!(rig.state().position, None);
    assert_eq!(rig.arm_to(-5.0, 5.0, 5.0), ToHost::Refused(Refusal::NoPosition));
    rig.stands(6.0);
    assert_eq!(rig.arm_to(-5.0, 5.0, 5.0), ToHost::Refused(Refusal::BeyondLimits));
    rig.stands(-1.25);
    assert_eq!(rig.state().position, Some(mm(-1.25)));
    rig.arm();
    // While it is armed nobody tells it something else.
    assert_eq!(rig.ask(&ToBox::Stands { at: mm(0.0) }), ToHost::Refused(Refusal::Busy));
}

#[test]
fn what_goes_beyond_the_limits_is_refused_before_the_first_step() {
    let world = world(0.0);
    let mut rig = Rig::new(&world);
    for (axis, low, high, speed, refusal) in [
        (Axis::X, 0.0, 1.0, 1.0, Refusal::OtherAxis),
        (Axis::Z, -51.0, 1.0, 1.0, Refusal::BeyondLimits),
        (Axis::Z, 1.0, 0.0, 1.0, Refusal::BeyondLimits),
        (Axis::Z, 0.0, 1.0, 21.0, Refusal::BeyondLimits),
        (Axis::Z, 0.0, 1.0, 0.0, Refusal::BeyondLimits),
    ] {
        let arm = ToBox::Arm { axis, low: mm(low), high: mm(high), speed: mm(speed).counts() };
        assert_eq!(rig.ask(&arm), ToHost::Refused(refusal));
        assert!(!rig.probe.is_armed());
    }
    assert_eq!(rig.arm_to(-0.5, 5.0, 5.0), ToHost::Armed);
    assert_eq!(rig.reversal(), ToHost::Refused(Refusal::BeyondLimits));
    rig.places(&[0.0]);
    let reversal = |cycles, overrun| Routine::Reversal { cycles, overrun: mm(overrun) };
    for (routine, from_row) in [
        // An overrun no longer than what the indicator may lag could not tell that it stands still.
        (reversal(3, 0.4), 1),
        (reversal(1, 0.5), 1),
        (reversal(3, 0.5), 0),
        (reversal(3, 0.5), 7),
        (reversal(u16::MAX, 0.5), 1),
    ] {
        assert_eq!(rig.run(routine, from_row, Correction::Off), ToHost::Refused(Refusal::BadPlan));
    }
    assert_eq!(
        rig.ask(&ToBox::Places { first: 3, at: [mm(0.0)].into_iter().collect() }),
        ToHost::Refused(Refusal::BadPlan)
    );
    assert_eq!(world.steps(), 0);
}

#[test]
fn the_speed_is_a_trapezoid_within_its_limits() {
    let world = world(0.0);
    let mut rig = Rig::new(&world);
    rig.arm();
    rig.reversal();
    let (mut steps, mut at, mut fastest) = (world.steps(), world.now_us.get(), 0.0_f64);
    for _ in 0..40_000 {
        rig.pass(TURN_US);
        if world.steps() != steps {
            let speed = 1e6 * STEP_MM / (world.now_us.get() - at) as f64;
            fastest = fastest.max(speed);
            (steps, at) = (world.steps(), world.now_us.get());
        }
    }
    assert!(fastest <= 5.0 * (1.0 + 1e-9), "{fastest} mm/s");
    assert!(fastest > 4.0, "{fastest} mm/s: the armed speed is never nearly reached");
}

#[test]
fn the_emergency_stop_stops() {
    let world = world(0.1);
    let mut rig = Rig::new(&world);
    rig.fault(|rig| rig.world.emergency.set(true), Some(StopCause::EmergencyStop));
    // Still pressed: it cannot be armed. Let go: only once a person has said where the axis stands.
    let state = rig.state();
    assert_eq!((state.emergency, state.armed, state.position), (Button::Pressed, Armed::No, None));
    rig.world.emergency.set(false);
    assert_eq!(rig.arm_to(-5.0, 5.0, 5.0), ToHost::Refused(Refusal::NoPosition));
    rig.stands(0.0);
    rig.arm();
}

/// Above the speed at which the drive stops without losing a step, nothing is known after a stop.
#[test]
fn a_stop_at_speed_costs_the_position() {
    for (speed, known) in [(9.0, true), (15.0, false)] {
        let world = world(0.0);
        let mut rig = Rig::new(&world);
        assert_eq!(rig.arm_to(-20.0, 20.0, speed), ToHost::Armed);
        rig.places(&[8.0]);
        let routine = Routine::Reversal { cycles: 3, overrun: mm(0.5) };
        assert_eq!(rig.run(routine, 1, Correction::Off), ToHost::Started { readings: 6 });
        rig.pass(300_000);
        assert_eq!(rig.ask(&ToBox::Stop), ToHost::Stopped(StopCause::Asked));
        assert_eq!(rig.state().position.is_some(), known, "{speed} mm/s");
    }
}

#[test]
fn an_indicator_out_of_its_range_stops() {
    let world = world(0.1);
    let mut rig = Rig::new(&world);
    assert!(matches!(rig.ask(&ToBox::Set(Setting::Range(mm(0.3)))), ToHost::Setting(_)));
    rig.arm();
    assert_eq!(rig.reversal(), ToHost::Started { readings: 12 });
    rig.pass(1_000_000);
    assert_eq!(rig.heard, [ToHost::Stopped(StopCause::IndicatorRange)]);
    let table = world.steps() as f64 * STEP_MM;
    assert!(table.abs() <= 0.3 + COUNT_MM + 2.0 * STEP_MM, "it moved to {table} mm");
    // Out of its range it cannot be armed either.
    assert_eq!(rig.arm_to(-5.0, 5.0, 5.0), ToHost::Refused(Refusal::Indicator));
}

#[test]
fn the_host_stops() {
    let world = world(0.1);
    Rig::new(&world).fault(|rig| assert_eq!(rig.ask(&ToBox::Stop), ToHost::Stopped(StopCause::Asked)), None);
}

#[test]
fn an_indicator_that_stands_still_stops() {
    // It is noticed once the command is away by the bound; from there on not a step more is made.
    let world = world(0.1);
    let mut rig = Rig::new(&world);
    rig.arm();
    rig.world.wrong.set(Wrong::Stuck);
    rig.reversal();
    rig.pass(500_000);
    assert_eq!(rig.heard, [ToHost::Stopped(StopCause::NotFollowing)]);
    let moved = world.steps().unsigned_abs() as f64 * STEP_MM;
    assert!(moved <= 0.4 + 2.0 * STEP_MM, "it moved {moved} mm");
    assert!(!rig.probe.is_armed());
}

#[test]
fn an_indicator_that_runs_away_stops() {
    let world = world(0.1);
    Rig::new(&world).fault(|rig| rig.world.wrong.set(Wrong::RunningAway), Some(StopCause::NotFollowing));
}

#[test]
fn a_lost_link_stops() {
    let world = world(0.1);
    Rig::new(&world).fault(|rig| rig.plugged = false, None);
}

#[test]
fn a_cable_plugged_in_again_does_not_start_it_again() {
    let world = world(0.1);
    let mut rig = Rig::new(&world);
    rig.fault(|rig| rig.plugged = false, None);
    rig.plugged = true;
    let steps = world.steps();
    rig.pass(100_000);
    assert_eq!(rig.heard, [ToHost::Stopped(StopCause::LinkLost)]);
    assert_eq!(world.steps(), steps);
}

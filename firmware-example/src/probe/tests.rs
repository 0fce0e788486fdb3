//! The box against a simulated axis and a host on a perfect line, in exact time.

use crate::indicator::Quadrature;
use crate::probe::Probe;
use crate::simulated::{COUNT_MM, STEP_MM, Wire, World, Wrong};
use std::{vec, vec::Vec};
use takeup_core::axis::Axis;
use takeup_core::length::Length;
use takeup_core::link::message::{Refusal, StopCause};
use takeup_core::link::{Endpoint, Event, Side, ToBox, ToHost};
use takeup_core::measure::Setup;
use takeup_core::measure::reversal::{Reading, assess};
use takeup_core::slack::simulated::Faults;

const TURN_US: u64 = 20;
/// The bound of a stop, from the fault.
const STOP_US: u64 = 50_000;

fn mm(value: f64) -> Length {
    Length::from_mm(value).unwrap()
}

struct Rig<'a> {
    world: &'a World,
    probe: Probe<Wire<'a>, Wire<'a>, Wire<'a>, Quadrature<Wire<'a>, Wire<'a>>>,
    host: Endpoint<ToBox, ToHost>,
    up: Vec<u8>,
    down: Vec<u8>,
    plugged: bool,
    heard: Vec<ToHost>,
}

impl<'a> Rig<'a> {
    fn new(world: &'a World) -> Self {
        let mut rig = Self {
            world,
            probe: world.probe(),
            host: Endpoint::new(Side::Host { session: 1 }),
            up: vec![],
            down: vec![],
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
            let now = self.world.now_us.get() + TURN_US;
            self.world.now_us.set(now);
            self.world.turn();
            let (up, down) = (&mut self.up, &mut self.down);
            self.probe.poll(std::mem::take(down), now, &mut |bytes| up.extend_from_slice(bytes));
            let mut events: Vec<_> = up.drain(..).filter_map(|b| self.host.receive(b, now)).collect();
            events.extend(self.host.poll(now, &mut |bytes| down.extend_from_slice(bytes)));
            if !self.plugged {
                down.clear();
            }
            self.heard.extend(events.into_iter().filter_map(|event| match event {
                Event::Message(message) => Some(message),
                Event::Opened | Event::Delivered | Event::Ended(_) => None,
            }));
        }
    }

    fn say(&mut self, message: &ToBox) {
        while !self.host.is_ready() {
            self.pass(1000);
        }
        self.host.send(message).unwrap();
        self.pass(3000);
    }

    fn arm(&mut self) {
        self.say(&ToBox::Arm { axis: Axis::Z, low: mm(-5.0), high: mm(5.0), speed: mm(5.0).counts() });
        assert_eq!(self.heard.pop(), Some(ToHost::Armed));
    }

    fn reversal(&mut self) {
        let stations = [mm(0.0), mm(-1.0)].into_iter().collect();
        self.say(&ToBox::Reversal { stations, cycles: 3, overrun: mm(0.5), settle_ms: 20 });
    }

    /// Makes a fault in the middle of a move: motion ends in time, for this cause, and stays ended until armed.
    fn fault(&mut self, make: impl FnOnce(&mut Self), expected: Option<StopCause>) {
        self.arm();
        self.reversal();
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
            self.reversal();
            self.pass(100_000);
            assert_eq!(self.heard.last(), Some(&ToHost::Refused(Refusal::NotArmed)));
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
    rig.reversal();
    rig.pass(6_000_000);
    assert_eq!(rig.heard.pop(), Some(ToHost::Finished { readings: 12 }));
    let readings: Vec<Reading> = rig
        .heard
        .iter()
        .map(|message| match *message {
            ToHost::Reading { target, cycle, approach, counts, .. } => {
                Reading { target, cycle, approach, value_mm: f64::from(counts) * COUNT_MM, time_s: None }
            }
            ref other => panic!("{other:?}"),
        })
        .collect();
    assert_eq!(readings.len(), 12);
    let setup = Setup { resolution_mm: COUNT_MM, ..Setup::default() };
    let found = assess::<4>(&readings[..], &setup).unwrap().lost_motion;
    assert!((found.value - 0.12).abs() < 0.001, "{found:?}");
}

#[test]
fn nothing_moves_before_it_is_armed() {
    let world = world(0.0);
    let mut rig = Rig::new(&world);
    rig.reversal();
    rig.pass(200_000);
    assert_eq!(rig.heard, [ToHost::Refused(Refusal::NotArmed)]);
    assert_eq!(world.steps(), 0);
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
        rig.say(&ToBox::Arm { axis, low: mm(low), high: mm(high), speed: mm(speed).counts() });
        assert_eq!(rig.heard.pop(), Some(ToHost::Refused(refusal)));
        assert!(!rig.probe.is_armed());
    }
    rig.say(&ToBox::Arm { axis: Axis::Z, low: mm(-0.5), high: mm(5.0), speed: mm(5.0).counts() });
    rig.heard.clear();
    rig.reversal();
    assert_eq!(rig.heard, [ToHost::Refused(Refusal::BeyondLimits)]);
    // An overrun no longer than what the indicator may lag could not tell that it stands still.
    rig.heard.clear();
    let stations = [mm(0.0)].into_iter().collect();
    rig.say(&ToBox::Reversal { stations, cycles: 3, overrun: mm(0.4), settle_ms: 20 });
    assert_eq!(rig.heard, [ToHost::Refused(Refusal::BadPlan)]);
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
    Rig::new(&world).fault(|rig| rig.world.emergency.set(true), Some(StopCause::EmergencyStop));
}

#[test]
fn the_host_stops() {
    let world = world(0.1);
    Rig::new(&world).fault(|rig| rig.say(&ToBox::Stop), Some(StopCause::Asked));
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

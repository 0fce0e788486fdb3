//! An emulated board with a host and a bench on its serial ports, in step with each other.

use super::emulator::{Emulator, PATIENCE};
use std::io::{ErrorKind, Read, Write};
use std::time::Instant;
use takeup_core::axis::Axis;
use takeup_core::length::Length;
use takeup_core::link::message::{Correction, Refusal, StopCause};
use takeup_core::link::{Ended, Endpoint, Event, Routine, Side, ToBox, ToHost};

/// The bound of a stop in microseconds of the box's own clock.
pub const STOP_US: u64 = 50_000;

pub fn mm(value: f64) -> Length {
    Length::from_mm(value).unwrap()
}

/// The answer of the bench.
#[derive(Debug)]
pub struct Report {
    pub now_us: u64,
    pub fault_us: u64,
    pub last_step_us: u64,
    pub heard_us: u64,
    pub steps: i64,
    pub stack: u64,
}

pub struct Rig {
    emulator: Emulator,
    pub host: Endpoint<ToBox, ToHost>,
    /// The time of host and box alike: what was granted, in microseconds.
    now_us: u64,
    pub heard: Vec<ToHost>,
    pub ended: Option<Ended>,
}

impl Rig {
    /// The box with a simulated axis.
    pub fn new() -> Self {
        Self::of("emulated")
    }

    pub fn of(program: &str) -> Self {
        let mut rig = Self {
            emulator: Emulator::start(program),
            host: Endpoint::new(Side::Host { session: 1 }),
            now_us: 0,
            heard: vec![],
            ended: None,
        };
        rig.open(1);
        rig
    }

    /// Opens a session, trying again with further numbers as a host does whose box is still starting.
    pub fn open(&mut self, first: u16) {
        for session in first..first + 20 {
            self.host = Endpoint::new(Side::Host { session });
            self.ended = None;
            self.until("a session", |rig| rig.host.is_open() || rig.ended.is_some());
            if self.host.is_open() {
                return;
            }
        }
        panic!("no session: {:?}", self.ended);
    }

    /// One turn of the host.
    pub fn turn(&mut self) {
        let now = self.now_us;
        let mut buffer = [0; 512];
        let found = match self.emulator.line.read(&mut buffer) {
            Ok(n) => n,
            Err(error) if error.kind() == ErrorKind::WouldBlock => 0,
            Err(error) => panic!("the line to the emulator: {error}"),
        };
        let mut events: Vec<_> = buffer[..found].iter().filter_map(|&b| self.host.receive(b, now)).collect();
        let mut said = Vec::new();
        events.extend(self.host.poll(now, &mut |bytes| said.extend_from_slice(bytes)));
        self.emulator.tell(&said);
        for event in events {
            match event {
                Event::Message(message) => self.heard.push(message),
                Event::Ended(why) => self.ended = Some(why),
                Event::Opened | Event::Delivered => {}
            }
        }
        self.grant();
    }

    /// Lets the box's time go on by a millisecond, and waits until it has.
    pub fn grant(&mut self) {
        self.now_us += 1000;
        self.emulator.grant(b'g');
    }

    pub fn until(&mut self, what: &str, done: impl Fn(&Self) -> bool) {
        let start = Instant::now();
        while !done(self) {
            assert!(
                start.elapsed() < PATIENCE,
                "{what} did not come; heard {:?}, {:?}",
                self.heard,
                self.ended
            );
            self.turn();
        }
    }

    pub fn say(&mut self, message: &ToBox) {
        self.until("the link's readiness", |rig| rig.host.is_ready());
        self.host.send(message).unwrap();
    }

    /// Says something and waits for the answer.
    pub fn ask(&mut self, message: &ToBox) -> ToHost {
        self.heard.clear();
        self.say(message);
        self.until("an answer", |rig| !rig.heard.is_empty() || rig.ended.is_some());
        self.heard.first().unwrap_or_else(|| panic!("{message:?}: {:?}", self.ended)).clone()
    }

    pub fn arm(&mut self) {
        assert!(matches!(self.ask(&ToBox::Stands { at: mm(0.0) }), ToHost::State(_)));
        let arm = ToBox::Arm { axis: Axis::Z, low: mm(-5.0), high: mm(5.0), speed: mm(5.0).counts() };
        assert_eq!(self.ask(&arm), ToHost::Armed);
        self.heard.clear();
    }

    pub fn places(&mut self, places: &[f64]) {
        for (part, first) in places.chunks(4).zip((0..).step_by(4)) {
            let at = part.iter().map(|at| mm(*at)).collect();
            assert_eq!(self.ask(&ToBox::Places { first, at }), ToHost::Done);
        }
    }

    pub fn reversal(&mut self) -> ToHost {
        self.places(&[0.0, -1.0]);
        let routine = Routine::Reversal { cycles: 3, overrun: mm(0.5) };
        let answer =
            self.ask(&ToBox::Run { routine, settle_ms: 5, from_row: 1, correction: Correction::Off });
        self.heard.clear();
        answer
    }

    /// Arms and waits until it moves.
    pub fn moving(&mut self) {
        self.arm();
        assert_eq!(self.reversal(), ToHost::Started { readings: 12 });
        let before = self.report().steps;
        let start = Instant::now();
        while (self.report().steps - before).abs() < 100 {
            assert!(start.elapsed() < PATIENCE, "it does not move: {:?}", self.heard);
            self.turn();
        }
    }

    pub fn fault(&mut self, letter: u8) {
        self.emulator.bench.write_all(&[letter]).unwrap();
    }

    pub fn report(&mut self) -> Report {
        let n = self.emulator.ask(b'?');
        let us = |i: usize| u64::try_from(n[i]).unwrap();
        Report {
            now_us: us(0),
            fault_us: us(1),
            last_step_us: us(2),
            heard_us: us(3),
            steps: n[4],
            stack: us(5),
        }
    }

    /// Lets the box's own clock go on.
    pub fn pass(&mut self, us: u64) -> Report {
        let until = self.report().now_us + us;
        loop {
            self.turn();
            let report = self.report();
            if report.now_us >= until {
                return report;
            }
        }
    }

    pub fn stays_disarmed(&mut self) {
        let steps = self.report().steps;
        assert_eq!(self.reversal(), ToHost::Refused(Refusal::NotArmed));
        assert_eq!(self.pass(20_000).steps, steps, "it moved without being armed");
    }

    /// A fault in the middle of a move.
    pub fn stops(&mut self, letter: u8, cause: StopCause) {
        self.moving();
        self.fault(letter);
        self.until("a stop", |rig| rig.heard.iter().any(|m| matches!(m, ToHost::Stopped(_))));
        assert_eq!(self.heard.last(), Some(&ToHost::Stopped(cause)));
        let report = self.report();
        let took = report.last_step_us.saturating_sub(report.fault_us);
        println!("{cause:?}: last step {took} us after the fault");
        assert!(took <= STOP_US, "{report:?}");
        self.stays_disarmed();
    }
}

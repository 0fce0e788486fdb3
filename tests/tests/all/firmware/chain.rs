//! Host, link, emulated box, simulated axis, readings, assessment; and each fault that must stop it.

use super::board;
use std::io::{ErrorKind, Read, Write};
use std::os::unix::net::UnixStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};
use takeup_core::axis::Axis;
use takeup_core::length::Length;
use takeup_core::link::message::{Button, Correction, Refusal, State, StopCause};
use takeup_core::link::{Ended, Endpoint, Event, Routine, Side, ToBox, ToHost};
use takeup_core::measure::Setup;
use takeup_core::measure::reversal::{Reading, assess};
use takeup_firmware_example::rehearsal::{CLEARANCE_MM, WIND_UP_MM};
use takeup_firmware_example::simulated::{COUNT_MM, STEP_MM};

/// The bound of a stop in microseconds of the box's own clock.
const STOP_US: u64 = 50_000;
/// No step of a test takes longer than this, even on a busy machine.
const PATIENCE: Duration = Duration::from_secs(60);

fn mm(value: f64) -> Length {
    Length::from_mm(value).unwrap()
}

/// The answer of the bench.
#[derive(Debug)]
struct Report {
    now_us: u64,
    fault_us: u64,
    last_step_us: u64,
    heard_us: u64,
    steps: i64,
}

struct Rig {
    emulator: Child,
    line: UnixStream,
    bench: UnixStream,
    host: Endpoint<ToBox, ToHost>,
    /// The time of host and box alike: what was granted, in microseconds.
    now_us: u64,
    heard: Vec<ToHost>,
    ended: Option<Ended>,
    _folder: tempfile::TempDir,
}

impl Drop for Rig {
    fn drop(&mut self) {
        let _ = self.emulator.kill();
        let _ = self.emulator.wait();
    }
}

fn connect(path: &Path) -> UnixStream {
    let start = Instant::now();
    loop {
        match UnixStream::connect(path) {
            Ok(stream) => return stream,
            Err(error) => assert!(start.elapsed() < PATIENCE, "{}: {error}", path.display()),
        }
        std::thread::sleep(Duration::from_millis(20));
    }
}

impl Rig {
    fn new() -> Self {
        let elf = board::program("emulated");
        let folder = tempfile::tempdir().unwrap();
        let path = |name| folder.path().join(name);
        let serial = |name| format!("unix:{},server=on,wait=off", path(name).display());
        let emulator = Command::new("qemu-system-arm")
            .args(["-machine", "mps2-an386", "-cpu", "cortex-m4", "-display", "none", "-monitor", "none"])
            .args(["-icount", "shift=0", "-semihosting-config", "enable=on,target=native"])
            .args(["-serial", &serial("host"), "-serial", &serial("bench"), "-kernel"])
            .arg(elf)
            .stdin(Stdio::null())
            .spawn()
            .expect("qemu-system-arm starts: install Debian's qemu-system-arm");
        let (line, bench) = (connect(&path("host")), connect(&path("bench")));
        line.set_nonblocking(true).unwrap();
        bench.set_read_timeout(Some(PATIENCE)).unwrap();
        let mut rig = Self {
            emulator,
            line,
            bench,
            host: Endpoint::new(Side::Host { session: 1 }),
            now_us: 0,
            heard: vec![],
            ended: None,
            _folder: folder,
        };
        rig.open(1);
        rig
    }

    /// Opens a session, trying again with further numbers as a host does whose box is still starting.
    fn open(&mut self, first: u16) {
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
    fn turn(&mut self) {
        let now = self.now_us;
        let mut buffer = [0; 512];
        let found = match self.line.read(&mut buffer) {
            Ok(n) => n,
            Err(error) if error.kind() == ErrorKind::WouldBlock => 0,
            Err(error) => panic!("the line to the emulator: {error}"),
        };
        let mut events: Vec<_> = buffer[..found].iter().filter_map(|&b| self.host.receive(b, now)).collect();
        let line = &mut self.line;
        events.extend(self.host.poll(now, &mut |bytes| line.write_all(bytes).unwrap()));
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
    fn grant(&mut self) {
        self.now_us += 1000;
        self.bench.write_all(b"g").unwrap();
        let mut byte = [0];
        // A start in between has forgotten the grant.
        while !matches!(byte[0], b'.' | b'!') {
            self.bench.read_exact(&mut byte).unwrap();
        }
    }

    fn until(&mut self, what: &str, done: impl Fn(&Self) -> bool) {
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

    fn say(&mut self, message: &ToBox) {
        self.until("the link's readiness", |rig| rig.host.is_ready());
        self.host.send(message).unwrap();
    }

    /// Says something and waits for the answer.
    fn ask(&mut self, message: &ToBox) -> ToHost {
        self.heard.clear();
        self.say(message);
        self.until("an answer", |rig| !rig.heard.is_empty() || rig.ended.is_some());
        self.heard.first().unwrap_or_else(|| panic!("{message:?}: {:?}", self.ended)).clone()
    }

    fn arm(&mut self) {
        assert!(matches!(self.ask(&ToBox::Stands { at: mm(0.0) }), ToHost::State(_)));
        let arm = ToBox::Arm { axis: Axis::Z, low: mm(-5.0), high: mm(5.0), speed: mm(5.0).counts() };
        assert_eq!(self.ask(&arm), ToHost::Armed);
        self.heard.clear();
    }

    fn places(&mut self, places: &[f64]) {
        for (part, first) in places.chunks(4).zip((0..).step_by(4)) {
            let at = part.iter().map(|at| mm(*at)).collect();
            assert_eq!(self.ask(&ToBox::Places { first, at }), ToHost::Done);
        }
    }

    fn reversal(&mut self) -> ToHost {
        self.places(&[0.0, -1.0]);
        let routine = Routine::Reversal { cycles: 3, overrun: mm(0.5) };
        let answer =
            self.ask(&ToBox::Run { routine, settle_ms: 5, from_row: 1, correction: Correction::Off });
        self.heard.clear();
        answer
    }

    /// Arms and waits until it moves.
    fn moving(&mut self) {
        self.arm();
        assert_eq!(self.reversal(), ToHost::Started { readings: 12 });
        let before = self.report().steps;
        let start = Instant::now();
        while (self.report().steps - before).abs() < 100 {
            assert!(start.elapsed() < PATIENCE, "it does not move: {:?}", self.heard);
            self.turn();
        }
    }

    fn fault(&mut self, letter: u8) {
        self.bench.write_all(&[letter]).unwrap();
    }

    fn report(&mut self) -> Report {
        self.bench.write_all(b"?").unwrap();
        let mut line = Vec::new();
        let mut byte = [0];
        while byte != *b"\n" {
            self.bench.read_exact(&mut byte).unwrap();
            if !matches!(byte[0], b'.' | b'!') {
                line.push(byte[0]);
            }
        }
        let text = String::from_utf8(line).unwrap();
        let n: Vec<i64> = text.split_whitespace().map(|word| word.parse().unwrap()).collect();
        let us = |i: usize| u64::try_from(n[i]).unwrap();
        Report { now_us: us(0), fault_us: us(1), last_step_us: us(2), heard_us: us(3), steps: n[4] }
    }

    /// Lets the box's own clock go on.
    fn pass(&mut self, us: u64) -> Report {
        let until = self.report().now_us + us;
        loop {
            self.turn();
            let report = self.report();
            if report.now_us >= until {
                return report;
            }
        }
    }

    fn stays_disarmed(&mut self) {
        let steps = self.report().steps;
        assert_eq!(self.reversal(), ToHost::Refused(Refusal::NotArmed));
        assert_eq!(self.pass(20_000).steps, steps, "it moved without being armed");
    }

    /// A fault in the middle of a move.
    fn stops(&mut self, letter: u8, cause: StopCause) {
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

#[test]
fn a_routine_on_the_emulated_box_finds_the_lost_motion_of_its_axis() {
    let mut rig = Rig::new();
    rig.arm();
    assert_eq!(rig.reversal(), ToHost::Started { readings: 12 });
    rig.until("the end of the routine", |rig| {
        matches!(rig.heard.last(), Some(ToHost::Finished { .. } | ToHost::Stopped(_))) || rig.ended.is_some()
    });
    assert_eq!(rig.heard.pop(), Some(ToHost::Finished { readings: 12 }), "{:?} {:?}", rig.heard, rig.ended);
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
    let truth = CLEARANCE_MM + WIND_UP_MM;
    println!("true {truth} mm, found {} mm, {} to {}", found.value, found.low_95(), found.high_95());
    assert!(found.low_95() <= truth && truth <= found.high_95(), "{found:?}");
}

#[test]
fn nothing_moves_before_it_is_armed() {
    Rig::new().stays_disarmed();
}

#[test]
fn the_emergency_stop_stops() {
    let mut rig = Rig::new();
    rig.stops(b'e', StopCause::EmergencyStop);
    // Still pressed: it cannot be armed. Let go: it can.
    let arm = ToBox::Arm { axis: Axis::Z, low: mm(-5.0), high: mm(5.0), speed: mm(5.0).counts() };
    assert!(matches!(rig.ask(&ToBox::Ask), ToHost::State(State { emergency: Button::Pressed, .. })));
    assert_eq!(rig.ask(&arm), ToHost::Refused(Refusal::NoPosition));
    rig.fault(b'E');
    rig.pass(1000);
    rig.arm();
}

#[test]
fn an_indicator_that_runs_away_stops() {
    Rig::new().stops(b'r', StopCause::NotFollowing);
}

/// Noticed once the command is away by the bound; the time until then is the way at the armed speed.
#[test]
fn an_indicator_that_stands_still_stops() {
    let mut rig = Rig::new();
    rig.arm();
    rig.fault(b's');
    assert_eq!(rig.reversal(), ToHost::Started { readings: 12 });
    rig.until("a stop", |rig| !rig.heard.is_empty());
    assert_eq!(rig.heard, [ToHost::Stopped(StopCause::NotFollowing)]);
    let moved = rig.report().steps.unsigned_abs() as f64 * STEP_MM;
    assert!(moved <= 0.4 + 2.0 * STEP_MM, "it moved {moved} mm");
    rig.stays_disarmed();
}

#[test]
fn a_lost_link_stops() {
    let mut rig = Rig::new();
    rig.moving();
    // Not a byte more from the host; only the bench is asked, until the box's clock is far beyond the bound.
    let from = rig.report().now_us;
    let mut report = rig.report();
    while report.now_us < from + 4 * STOP_US {
        rig.grant();
        report = rig.report();
    }
    let took = report.last_step_us.saturating_sub(report.heard_us);
    println!("LinkLost: last step {took} us after the last byte");
    assert!(took <= STOP_US && took > 0, "{report:?}");
    rig.open(100);
    rig.stays_disarmed();
}

#[test]
fn a_program_that_hangs_is_restarted_and_says_so() {
    let mut rig = Rig::new();
    rig.moving();
    rig.fault(b'h');
    rig.until("the end of the session", |rig| rig.ended.is_some());
    rig.heard.clear();
    rig.open(100);
    rig.until("the cause", |rig| !rig.heard.is_empty());
    assert_eq!(rig.heard, [ToHost::Stopped(StopCause::Watchdog)]);
    // It began afresh: not a step since.
    assert_eq!(rig.report().steps, 0);
    rig.stays_disarmed();
}

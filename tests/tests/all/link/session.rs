//! The host's side of a probe box, as a library, against a simulated box on a real socket.

use std::time::Duration;
use takeup_cli::probe_box::{Arming, Heard, Job, Reading, Session, Trouble};
use takeup_core::axis::Axis;
use takeup_core::length::Length;
use takeup_core::link::Routine;
use takeup_core::link::message::{Correction, Refusal, StopCause};
use takeup_core::slack::simulated::Faults;
use takeup_tests::boxes::{SimulatedBox, wait_until};

fn mm(value: f64) -> Length {
    Length::from_mm(value).unwrap()
}

fn job() -> Job {
    Job {
        axis: Axis::Z,
        routine: Routine::Reversal { cycles: 3, overrun: mm(0.5) },
        places: vec![mm(0.0), mm(-1.0)],
        settle_ms: 10,
        correction: Correction::Off,
        speed: Some(mm(10.0)),
    }
}

fn simulated() -> SimulatedBox {
    SimulatedBox::start(Faults { clearance_mm: 0.12, ..Faults::default() })
}

fn open_at_zero(the_box: &SimulatedBox) -> Session {
    let mut session = Session::open(&the_box.port).unwrap();
    assert_eq!(session.state().unwrap().position, None);
    assert_eq!(session.stands(mm(0.0)).unwrap().position, Some(mm(0.0)));
    session
}

fn arm(session: &mut Session) {
    let arming = Arming::of(&job(), session.capabilities(), mm(0.0)).unwrap();
    assert_eq!((arming.low, arming.high, arming.speed), (mm(-1.5), mm(0.5), mm(10.0)));
    session.arm(&arming).unwrap();
}

/// What comes until the routine ends, and how it ends.
fn listen(session: &mut Session) -> (Vec<Reading>, Heard) {
    let mut readings = vec![];
    loop {
        match session.hear(Duration::from_millis(100)).unwrap() {
            Some(Heard::Reading(reading)) => readings.push(reading),
            Some(end @ (Heard::Finished | Heard::Stopped(_))) => return (readings, end),
            Some(Heard::Sample(_)) | None => {}
        }
    }
}

#[test]
fn a_routine_runs_after_arming_and_not_before() {
    let the_box = simulated();
    let mut session = open_at_zero(&the_box);
    assert!(matches!(session.run(&job(), 1), Err(Trouble::Refused(Refusal::NotArmed))));
    arm(&mut session);
    session.run(&job(), 1).unwrap();
    let (readings, end) = listen(&mut session);
    assert_eq!(end, Heard::Finished);
    let stops = job().stops().unwrap();
    assert_eq!(readings.len(), stops.len());
    for (reading, stop) in readings.iter().zip(stops) {
        assert_eq!((reading.row, reading.target, reading.cycle), (stop.row, stop.target, stop.cycle));
        let lag = if reading.approach.signum() > 0.0 { 0.12 } else { 0.0 };
        assert!((reading.value.as_mm() - (reading.target.as_mm() - lag)).abs() < 0.0011, "{reading:?}");
    }
}

/// A screen that hangs does not keep the axis moving.
#[test]
fn a_host_that_does_not_listen_stops_the_routine() {
    let the_box = simulated();
    let mut session = open_at_zero(&the_box);
    arm(&mut session);
    session.run(&Job { settle_ms: 2_000, ..job() }, 1).unwrap();
    std::thread::sleep(Duration::from_millis(1_500));
    let (_, end) = listen(&mut session);
    assert_eq!(end, Heard::Stopped(StopCause::Asked));
}

#[test]
fn a_cable_pulled_and_plugged_in_again_goes_on_where_it_was() {
    let the_box = simulated();
    let mut session = open_at_zero(&the_box);
    arm(&mut session);
    session.run(&job(), 1).unwrap();
    let mut readings = vec![];
    while readings.len() < 4 {
        if let Some(Heard::Reading(reading)) = session.hear(Duration::from_millis(100)).unwrap() {
            readings.push(reading);
        }
    }
    let before = session.state().unwrap().sessions;
    the_box.hands.unplugged.store(true, std::sync::atomic::Ordering::Relaxed);
    let gone = loop {
        match session.hear(Duration::from_millis(100)) {
            Ok(Some(Heard::Reading(reading))) => readings.push(reading),
            Ok(_) => {}
            Err(trouble) => break trouble,
        }
    };
    assert!(matches!(gone, Trouble::Port(_)), "{gone:?}");
    drop(session);
    let mut session = Session::open(&the_box.port).unwrap();
    let state = session.state().unwrap();
    assert_eq!(state.sessions, before + 1, "the box was not started anew");
    let stands = state.position.expect("it stopped without losing a step");
    let arming = Arming::of(&job(), session.capabilities(), stands).unwrap();
    session.arm(&arming).unwrap();
    let next = readings.len() as u32 + 1;
    session.run(&job(), next).unwrap();
    let (rest, end) = listen(&mut session);
    assert_eq!(end, Heard::Finished);
    readings.extend(rest);
    assert_eq!(readings.iter().map(|r| r.row).collect::<Vec<_>>(), (1..=12).collect::<Vec<_>>());
}

#[test]
fn a_host_that_dies_stops_the_axis() {
    let the_box = simulated();
    let mut session = open_at_zero(&the_box);
    arm(&mut session);
    session.run(&job(), 1).unwrap();
    let steps = || the_box.hands.steps.load(std::sync::atomic::Ordering::Relaxed);
    wait_until("motion", || steps() > 100);
    the_box.hands.unplugged.store(true, std::sync::atomic::Ordering::Relaxed);
    std::thread::sleep(Duration::from_millis(100));
    let stopped_at = steps();
    std::thread::sleep(Duration::from_millis(100));
    assert_eq!(steps(), stopped_at);
}

#[test]
fn what_is_no_box_is_told() {
    let listener = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let port = format!("tcp:{}", listener.local_addr().unwrap());
    assert!(matches!(Session::open(&port), Err(Trouble::NoAnswer)));
    drop(listener);
    assert!(matches!(Session::open(&port), Err(Trouble::Port(_))));
    assert!(matches!(Session::open("/dev/no-such-port"), Err(Trouble::Port(_))));
}

//! Host, link, emulated box, simulated axis, readings, assessment; and each fault that must stop it.

use super::rig::{Rig, STOP_US, mm};
use serde_json::Value;
use takeup_core::axis::{Axis, Direction};
use takeup_core::correct::{AxisTable, Table, bytes};
use takeup_core::link::message::{Button, Correction, Refusal, State, StopCause};
use takeup_core::link::settings::{Setting, SettingName};
use takeup_core::link::{Routine, ToBox, ToHost};
use takeup_core::measure::Setup;
use takeup_core::measure::reversal::{Reading, assess};
use takeup_core::measure::routine::Step;
use takeup_core::slack::simulated::{Faults, Noise, SimulatedAxis};
use takeup_firmware_example::rehearsal::{CLEARANCE_MM, WIND_UP_MM};
use takeup_firmware_example::simulated::{COUNT_MM, STEP_MM};
use takeup_tests::Folder;

/// The axis of the emulated box once more, followed by the plan alone, without box or link.
struct Model {
    /// How many routines it has followed.
    runs: u32,
    axis: SimulatedAxis,
    noise: Noise,
}

impl Model {
    fn new() -> Self {
        let faults = Faults { clearance_mm: CLEARANCE_MM, wind_up_mm: WIND_UP_MM, ..Faults::default() };
        Self { runs: 0, axis: SimulatedAxis::new(faults, 0.0, Direction::Minus), noise: Noise::new(1) }
    }

    /// What the indicator must have shown at each reading of a routine.
    fn readings(&mut self, routine: Routine, places: &[f64]) -> Vec<f64> {
        let places: Vec<_> = places.iter().map(|place| mm(*place)).collect();
        self.runs += 1;
        routine
            .with_steps(&places, |steps| {
                let mut readings = vec![];
                for step in steps {
                    match step {
                        Step::Move { to, .. } => {
                            self.axis.move_to_mm(to.as_mm(), 0.0, &mut self.noise);
                        }
                        Step::Read(_) => readings.push(self.axis.position_mm()),
                    }
                }
                readings
            })
            .unwrap()
    }
}

#[track_caller]
fn holds(found: &Value, truth: f64) {
    let bound = |key: &str| found[key].as_f64().unwrap_or_else(|| panic!("{key} of {found}"));
    println!("true {truth}, found {found}");
    assert!(bound("low_95") <= truth && truth <= bound("high_95"), "{truth} is not in {found}");
}

/// Host, link, emulated board, axis: every reading against the model, and what `takeup assess` makes of them against
/// the faults of the axis.
#[test]
fn every_routine_runs_on_the_emulated_box_to_the_truth() {
    let (folder, mut rig, mut model) = (Folder::new(), Rig::new(), Model::new());
    let overrun = mm(0.5);
    for (routine, places) in [
        (Routine::Reversal { cycles: 3, overrun }, vec![0.0, -1.0]),
        (Routine::Positioning { runs: 2, overrun }, vec![-1.0, -0.6, 0.0, 0.7, 1.0]),
        (Routine::SmallSteps { step: mm(0.02), steps: 15, cycles: 1, overrun }, vec![-1.0]),
        (Routine::Return { lift: mm(1.0), returns: 6, pause_every: 0, pause_s: 0 }, vec![-1.0]),
    ] {
        let kind = routine.kind();
        let expected = model.readings(routine, &places);
        if model.runs == 1 {
            rig.arm();
        }
        rig.places(&places);
        let run = ToBox::Run { routine, settle_ms: 5, from_row: 1, correction: Correction::Off };
        let readings = u32::try_from(expected.len()).unwrap();
        assert_eq!(rig.ask(&run), ToHost::Started { readings });
        rig.until("the end of the routine", |rig| {
            matches!(rig.heard.last(), Some(ToHost::Finished { .. } | ToHost::Stopped(_)))
                || rig.ended.is_some()
        });
        assert_eq!(
            rig.heard.pop(),
            Some(ToHost::Finished { readings }),
            "{kind} {:?} {:?}",
            rig.heard,
            rig.ended
        );
        let mut file = format!("# axis: z\n# routine: {kind}\n# units: mm\n# resolution: {COUNT_MM}\n");
        file.push_str("cycle,target,approach,reading,time\n");
        let found: Vec<_> =
            rig.heard.drain(..).filter(|message| matches!(message, ToHost::Reading { .. })).collect();
        assert_eq!(found.len(), expected.len(), "{kind}");
        for (message, expected) in found.iter().zip(&expected) {
            let ToHost::Reading { target, cycle, approach, counts, time_ms, .. } = *message else {
                unreachable!()
            };
            let value = f64::from(counts) * COUNT_MM;
            // Rounded to a count, and to a step of the drive.
            assert!(
                (value - expected).abs() <= 0.5 * COUNT_MM + STEP_MM,
                "{kind}: {message:?}, true {expected}"
            );
            let time = f64::from(time_ms) / 1000.0;
            file.push_str(&format!("{cycle},{},{approach},{value:.3},{time:.3}\n", target.as_mm()));
        }
        folder.write("readings.csv", file);
        let document = folder.takeup("assess readings.csv --json").done().exit(0).json();
        match routine {
            Routine::Reversal { .. } | Routine::Positioning { .. } => {
                holds(&document["lost_motion"], CLEARANCE_MM + WIND_UP_MM);
            }
            Routine::SmallSteps { .. } => {
                // Steps of 0.02 mm and whole counts: nearer than two counts nothing can be told.
                let found = document["take_up"]["dead_band"]["value"].as_f64().unwrap();
                assert!((found - CLEARANCE_MM).abs() <= 2.0 * COUNT_MM, "{document}");
            }
            // Without pauses slip is not told from drift; the readings were held to the model above.
            Routine::Return { .. } => assert!(document["drift"].is_object(), "{document}"),
            Routine::WarmUp { .. } => unreachable!("a matter of time, which program.rs lets pass"),
        }
    }
    // With every routine run, and the simulator in it: the box alone takes less.
    let stack = rig.report().stack;
    println!("stack used: {stack} bytes");
    assert!(stack < 16 * 1024, "{stack} bytes of stack");
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

/// Whoever grants the time may be long about it: the watchdog of the board is not to take that for a program that hangs.
#[test]
fn a_box_whose_time_stands_for_long_goes_on() {
    let mut rig = Rig::new();
    let before = rig.report().now_us;
    std::thread::sleep(std::time::Duration::from_millis(300));
    let after = rig.pass(5000);
    assert!(after.now_us >= before + 5000, "it was started anew: {before} {after:?}");
    assert!(matches!(rig.ask(&ToBox::Ask), ToHost::State(State { sessions: 1, .. })), "{:?}", rig.ended);
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

#[test]
fn an_indicator_that_fails_stops() {
    let mut rig = Rig::new();
    rig.stops(b'f', StopCause::IndicatorFault);
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
fn an_indicator_out_of_its_range_stops() {
    let mut rig = Rig::new();
    assert!(matches!(rig.ask(&ToBox::Set(Setting::Range(mm(0.3)))), ToHost::Setting(_)));
    rig.arm();
    assert_eq!(rig.reversal(), ToHost::Started { readings: 12 });
    rig.until("a stop", |rig| !rig.heard.is_empty());
    assert_eq!(rig.heard, [ToHost::Stopped(StopCause::IndicatorRange)]);
    let moved = rig.report().steps.unsigned_abs() as f64 * STEP_MM;
    // At 5 mm/s a stop 50 ms later would be 0.25 mm beyond.
    println!("IndicatorRange: stopped {} mm beyond the bound", moved - 0.3);
    assert!((0.3..0.3 + 5.0 * STOP_US as f64 * 1e-6).contains(&moved), "it moved {moved} mm");
    rig.stays_disarmed();
}

/// What is kept outlives the program: here the watchdog starts it anew.
#[test]
fn settings_and_table_are_there_after_a_restart() {
    let mut rig = Rig::new();
    let high = Setting::High(mm(12.5));
    assert_eq!(rig.ask(&ToBox::Set(high)), ToHost::Setting(high));
    let mut table = Table::EMPTY;
    table.axes.z = Some(AxisTable::uniform(Direction::Minus, mm(0.13)).unwrap());
    let mut room = [0; bytes::MAX_BYTES];
    let length = bytes::encode(&table, &mut room).unwrap();
    for (bytes, offset) in room[..length].chunks(32).zip((0..).step_by(32)) {
        let part = ToBox::TablePart { offset, bytes: bytes.iter().copied().collect() };
        assert_eq!(rig.ask(&part), ToHost::Done);
    }
    let ToHost::State(before) = rig.ask(&ToBox::TableEnd { length: length as u16 }) else {
        panic!("{:?}", rig.heard)
    };
    assert!(before.table.is_some());
    rig.fault(b'h');
    rig.until("the end of the session", |rig| rig.ended.is_some());
    rig.open(100);
    rig.until("the cause", |rig| !rig.heard.is_empty());
    let ToHost::State(after) = rig.ask(&ToBox::Ask) else { panic!("{:?}", rig.heard) };
    assert_eq!((after.table, after.position, after.sessions), (before.table, None, 1));
    assert_eq!(rig.ask(&ToBox::AskSetting(SettingName::High)), ToHost::Setting(high));
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

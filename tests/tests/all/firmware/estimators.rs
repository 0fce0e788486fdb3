//! Every estimator alone on the microcontroller: the host's numbers bit for bit, and what each takes of it.

use super::{board, room};
use std::fmt::{Debug, Write};
use takeup_core::axis::Direction;
use takeup_core::length::Length;
use takeup_core::measure::Kind;
use takeup_core::slack::simulated::{Dial, Faults, Noise};
use takeup_firmware_example::estimators::{self, Take};
use takeup_tests::dialling::Dialling;
use takeup_tests::faulty;
use takeup_tests::pushing::Pushing;
use takeup_tests::returning::Returning;
use takeup_tests::sitting::Sitting;
use takeup_tests::staircase::Staircase;
use takeup_tests::warming::Warming;

type Estimator = fn(Take<'_>);

/// What the reversal test that keeps no readings may take of RAM, its sums and its stack together.
const MOST_RUNNING: u64 = 2048;

/// The estimators, by the names of their programs.
const ALL: [(&str, Estimator); 8] = [
    ("reversal", estimators::of_reversal),
    ("running", estimators::of_running),
    ("positioning", estimators::of_positioning),
    ("small-steps", estimators::of_small_steps),
    ("returns", estimators::of_returns),
    ("push-pull", estimators::of_push_pull),
    ("warm-up", estimators::of_warm_up),
    ("indicator", estimators::of_indicator),
];

fn flash_and_ram(program: &str) -> (u64, u64) {
    room::footprint_of(&board::program_with(program, "estimators"))
}

#[test]
fn the_microcontroller_finds_the_hosts_numbers_by_every_estimator() {
    let (without, _) = flash_and_ram("of-nothing");
    println!(
        "bytes           flash, of it the estimator   static RAM   deepest stack, readings and result in it"
    );
    for (name, estimator) in ALL {
        let program = format!("of-{name}");
        let (flash, ram) = flash_and_ram(&program);
        let output = board::run(&board::program_with(&program, "estimators"));
        let printed = String::from_utf8_lossy(&output.stdout).into_owned();
        assert!(output.status.success(), "{name}: {printed}{}", String::from_utf8_lossy(&output.stderr));
        let (numbers, stack) = printed.split_once("stack ").expect("the stack comes last");
        let mut expected = String::new();
        estimator(&mut |number| writeln!(expected, "{:016x}", number.to_bits()).unwrap());
        assert!(expected.lines().count() > 2, "{name} is refused on the host");
        assert_eq!(numbers, expected, "{name}");
        let stack: u64 = stack.trim().parse().unwrap();
        println!("{name:<12} {flash:>8} {:>15} {ram:>12} {stack:>12}", flash - without);
        let room = if name == "running" { MOST_RUNNING } else { 32 * 1024 };
        assert!(flash < 96 * 1024 && stack + ram < room, "{name}: {flash} {ram} {stack}");
    }
}

// The readings that are compiled into the programs are those of the simulated axes.
#[test]
fn the_readings_in_flash_are_those_of_simulated_axes() {
    let held = include_str!("../../../../firmware-example/src/estimators/readings.rs");
    let made = source();
    assert_eq!(held, made, "firmware-example/src/estimators/readings.rs is to be:\n{made}");
}

fn counts(value_mm: f64) -> i32 {
    (value_mm * 1000.0).round() as i32
}

fn source() -> String {
    let mut text = "//! What simulated axes gave on a host, in micrometres where nothing else is said; a test makes them again.\n".to_owned();
    let reversal = Sitting { stations: 10, cycles: 10, ..Sitting::USUAL };
    let values: Vec<i32> = reversal.readings(1).iter().map(|r| counts(r.value_mm)).collect();
    put(&mut text, "REVERSAL", "i32", "Stations one after another, `+` before `-`.", &values);
    let faults = Faults {
        clearance_mm: 0.05,
        lead_error: 1e-4,
        periodic_mm: 0.01,
        pitch_mm: 5.0,
        ..Faults::default()
    };
    let dial = Dial { resolution_mm: 0.001, noise_mm: 0.002, ..Dial::default() };
    let taken = faulty::readings(Kind::Positioning, faults, dial, &mut Noise::new(1));
    let values: Vec<i32> = taken.iter().map(|r| counts(r.value_mm)).collect();
    let targets: Vec<i32> = taken[..11].iter().map(|r| counts(r.target.as_mm())).collect();
    put(
        &mut text,
        "TARGETS",
        "i32",
        "The targets of the positioning test, as they come in a run up.",
        &targets,
    );
    put(&mut text, "POSITIONING", "i32", "Runs up and down in turn.", &values);
    let staircase = Staircase { cycles: 2, ..Staircase::USUAL };
    let tenths = |target: Length| (target.as_mm() * 10_000.0).round() as i32;
    let values: Vec<(i32, bool, i32)> = staircase
        .readings(1)
        .iter()
        .map(|r| (tenths(r.target), r.approach == Direction::Plus, counts(r.value_mm)))
        .collect();
    let what = "Target in tenths of a micrometre, whether approached `+`, reading.";
    put(&mut text, "SMALL_STEPS", "(i32, bool, i32)", what, &values);
    let seconds = |time_s: f64| time_s.round() as u16;
    let values: Vec<(u16, i32, u16)> = Returning::USUAL
        .readings(1)
        .iter()
        .map(|r| (r.lift, counts(r.value_mm), seconds(r.time_s.unwrap_or(0.0))))
        .collect();
    put(&mut text, "RETURNS", "(u16, i32, u16)", "Lift, reading, seconds.", &values);
    let values: Vec<(i16, i32)> =
        Pushing::USUAL.readings(1).iter().map(|r| (r.force_n as i16, counts(r.value_mm))).collect();
    put(&mut text, "PUSH_PULL", "(i16, i32)", "Newtons, reading.", &values);
    let values: Vec<(u16, i32)> =
        Warming::USUAL.readings(1).iter().map(|r| (seconds(r.time_s), counts(r.value_mm))).collect();
    put(&mut text, "WARM_UP", "(u16, i32)", "Seconds, reading.", &values);
    let values: Vec<(bool, i32)> = Dialling::USUAL
        .readings(1)
        .iter()
        .map(|r| (r.approach == Some(Direction::Plus), counts(r.value_mm)))
        .collect();
    put(&mut text, "INDICATOR", "(bool, i32)", "Whether approached `+`, reading.", &values);
    text
}

fn put<T: Debug>(text: &mut String, name: &str, kind: &str, what: &str, values: &[T]) {
    let of = values.len();
    write!(text, "\n/// {what}\n#[rustfmt::skip]\npub static {name}: [{kind}; {of}] = [").unwrap();
    let mut width = usize::MAX;
    for value in values {
        let word = format!("{value:?},");
        if width > 100 {
            text.push_str("\n   ");
            width = 3;
        }
        width += word.len() + 1;
        write!(text, " {word}").unwrap();
    }
    text.push_str("\n];\n");
}

//! The program and the emulated box, nothing of the tests between them but the wire: for every kind of test, from
//! `takeup` over the link to the readings file, and from there to an assessment that holds the axis's own truth.

use super::bridge::Bridge;
use serde_json::Value;
use std::io::{BufRead, BufReader, Read, Write};
use std::time::Duration;
use takeup_core::measure::Kind;
use takeup_firmware_example::simulated::{COUNT_MM, INDICATOR_SLACK, faults};
use takeup_tests::Folder;

/// What every run is told: an axis slow enough that a link that falls silent costs no step.
const PACE: &str = "--axis z --speed 8 --settle 0.01 --stands-at 0";

#[track_caller]
fn holds(found: &Value, truth: f64) {
    let bound = |key: &str| found[key].as_f64().unwrap_or_else(|| panic!("{key} of {found}"));
    println!("true {truth}, found {found}");
    assert!(bound("low_95") <= truth && truth <= bound("high_95"), "{truth} is not in {found}");
}

/// Runs a test in the box, and gives what `assess` makes of the file alone, and the file. On a busy machine a session may end
/// by silence; taken up again it makes moves that are not in the plan, so it is begun anew here.
fn run(kind: Kind, arguments: &str) -> (Value, String) {
    for _ in 0..3 {
        let (folder, the_box) = (Folder::new(), Bridge::start(kind));
        let command = format!("box run {kind} --box {} {PACE} {arguments} -o z.csv --json", the_box.port);
        let run = folder.takeup(&command).stdin("arm\n").done();
        if run.stderr.contains("Check the cable") {
            println!("the link fell silent: {run:?}");
            continue;
        }
        let answer = run.exit(0).json();
        let file = folder.read("z.csv");
        assert!(file.contains("# resolution: 0.001\n# Taken by the probe box \"simulated\"."), "{file}");
        let assessed = folder.takeup("assess z.csv --json").done().exit(0).json();
        assert_eq!(assessed, answer, "the file says what the program said");
        return (assessed, file);
    }
    panic!("the link fell silent again and again");
}

#[test]
fn reversal() {
    let (found, _) = run(Kind::Reversal, "--station 0,-1 --cycles 3 --overrun 0.5");
    let axis = faults(Kind::Reversal);
    holds(&found["lost_motion"], axis.clearance_mm + axis.wind_up_mm);
}

#[test]
fn positioning() {
    let (found, _) = run(Kind::Positioning, "--from -4 --to 4 --targets 5 --runs 3 --overrun 0.5");
    let axis = faults(Kind::Positioning);
    holds(&found["lost_motion"], (axis.clearance_mm + axis.wind_up_mm) * (1.0 + axis.lead_error));
    // Readings are whole counts: over 8 mm that is as near as the lead can be told.
    let lead = found["positioning"]["lead_error_per_length"]["value"].as_f64().unwrap();
    assert!((lead - axis.lead_error).abs() <= COUNT_MM / 8.0, "{lead}");
}

#[test]
fn small_steps() {
    let (found, _) =
        run(Kind::SmallSteps, "--start -1 --expected 0.07 --step 0.01 --steps 25 --cycles 1 --overrun 0.5");
    let axis = faults(Kind::SmallSteps);
    holds(&found["take_up"]["dead_band"], axis.clearance_mm);
    holds(&found["take_up"]["wind_up"], axis.wind_up_mm);
}

#[test]
fn returns_with_pauses() {
    let (found, _) = run(Kind::Return, "--mark -1 --lift 0.6 --returns 12 --pause-every 4 --pause 0.05");
    // What slips on a lift is missing on the way back; nothing drifts with time.
    holds(&found["drift"]["per_cycle"], -faults(Kind::Return).slip_mm);
    holds(&found["drift"]["per_hour"], 0.0);
}

#[test]
fn warm_up() {
    let (found, file) = run(Kind::WarmUp, "--mark 0 --stroke 1 --readings 12 --interval 0.02");
    let axis = faults(Kind::WarmUp);
    holds(&found["growth"]["time_constant_s"], axis.growth_time_s);
    // It has grown by what the first reading shows, to half a count: the rest is still to come.
    let first = file.lines().find(|line| line.starts_with("1,")).unwrap();
    let first: f64 = first.split(',').nth(3).unwrap().parse().unwrap();
    holds(&found["growth"]["amplitude"], axis.growth_mm - first);
}

/// A test in which a person does what is to be done, and the box only shows: for each row the hand does as it
/// is told before Enter takes the reading.
fn by_hand(kind: Kind, arguments: &str, hand: impl Fn(&Bridge, &str)) -> Value {
    let (folder, the_box) = (Folder::new(), Bridge::start(kind));
    let command = format!("measure {kind} --axis z {arguments} --box {} -o z.csv --json", the_box.port);
    let mut child = folder.takeup(&command).start();
    let mut keyboard = child.stdin.take().unwrap();
    let mut told = BufReader::new(child.stderr.take().unwrap());
    let (mut line, mut all) = (String::new(), String::new());
    while told.read_line(&mut line).unwrap() > 0 {
        if line.contains("row ") && !line.contains("kept") {
            hand(&the_box, &line);
            keyboard.write_all(b"\n").unwrap();
        }
        all.push_str(&line);
        line.clear();
    }
    let mut answer = String::new();
    child.stdout.take().unwrap().read_to_string(&mut answer).unwrap();
    assert_eq!(child.wait().unwrap().code(), Some(0), "{all}");
    let file = folder.read("z.csv");
    assert!(file.contains("# Read from the probe box \"simulated\"."), "{file}");
    let assessed = folder.takeup("assess z.csv --json").done().exit(0).json();
    assert_eq!(assessed, serde_json::from_str::<Value>(&answer).unwrap());
    assessed
}

/// The box tells ten times a second of its own time what its indicator shows; with room for a busy machine.
fn let_it_be_seen(the_box: &Bridge) {
    the_box.pass(400);
    std::thread::sleep(Duration::from_millis(200));
}

#[test]
fn push_pull() {
    let pushed = std::cell::Cell::new(0_i64);
    let found = by_hand(Kind::PushPull, "--force 200 --readings 8", |the_box, line| {
        let words: Vec<&str> = line.split_whitespace().collect();
        let at = words.iter().position(|word| *word == "N").expect("newtons");
        let newtons: i64 = words[at - 1].parse().unwrap();
        let wanted = if words[at - 2] == "pull" { -newtons } else { newtons };
        let more = (wanted - pushed.replace(wanted)) / 10;
        let letter = if more > 0 { b"+" } else { b"-" };
        the_box.order(&letter.repeat(more.unsigned_abs() as usize));
        let_it_be_seen(the_box);
    });
    let axis = faults(Kind::PushPull);
    holds(&found["under_load"]["clearance"], axis.clearance_mm);
    holds(&found["under_load"]["stiffness_n_per_mm"], axis.stiffness_n_per_mm);
}

#[test]
fn indicator() {
    let found = by_hand(Kind::Indicator, "--cycles 4", |the_box, line| {
        // Lifted its reading falls on the way back, pressed it grows.
        let away = if line.contains("press") { b"l" } else { b"p" };
        the_box.order(away);
        let_it_be_seen(the_box);
        the_box.order(b"o");
        let_it_be_seen(the_box);
    });
    holds(&found["indicator"]["hysteresis"], INDICATOR_SLACK as f64 * COUNT_MM);
}

#[test]
fn the_emergency_stop_ends_the_test_and_says_so() {
    let (folder, the_box) = (Folder::new(), Bridge::start(Kind::Reversal));
    let arguments = "--station 0,-1 --cycles 20 --overrun 0.5 -o z.csv";
    let child = folder.takeup(&format!("box run reversal --box {} {PACE} {arguments}", the_box.port)).start();
    child.stdin.as_ref().unwrap().write_all(b"arm\narm\narm\n").unwrap();
    let rows = || {
        let text = std::fs::read_to_string(folder.file("z.csv")).unwrap_or_default();
        text.lines().filter(|line| line.starts_with(|c: char| c.is_ascii_digit())).count()
    };
    takeup_tests::boxes::wait_until("readings", || rows() >= 3);
    the_box.order(b"e");
    let output = child.wait_with_output().unwrap();
    let told = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(2), "{told}");
    assert!(told.contains("the emergency stop is pressed") && told.contains("kept in z.csv"), "{told}");
    let kept = rows();
    assert!((3..80).contains(&kept), "{kept}");
}

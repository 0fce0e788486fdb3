//! `takeup box` against a simulated box: what it shows, what it refuses, and the readings that it brings.

use serde_json::Value;
use std::sync::atomic::Ordering;
use takeup_core::slack::simulated::Faults;
use takeup_tests::boxes::{SimulatedBox, wait_until};
use takeup_tests::{Finished, Folder};

const LOST: f64 = 0.12;

fn simulated() -> SimulatedBox {
    SimulatedBox::start(Faults { clearance_mm: LOST, ..Faults::default() })
}

fn reversal(the_box: &SimulatedBox) -> String {
    format!(
        "box run reversal --box {} --axis z --station 0,-1 --cycles 3 --overrun 0.5 --settle 0.01 --speed 8 --stands-at 0 -o z.csv",
        the_box.port
    )
}

/// The word is there many times: on a busy machine a session may end by silence, and is taken up again. It can be because the
/// axis is slow enough to stop at once, without losing a step.
fn run(folder: &Folder, arguments: &str) -> Finished {
    folder.takeup(arguments).stdin("arm\n".repeat(20)).done()
}

/// The truth lies within the interval that was found.
#[track_caller]
fn holds(found: &Value, truth: f64) {
    let bound = |key: &str| found[key].as_f64().unwrap_or_else(|| panic!("{key} of {found}"));
    println!("true {truth}, found {found}");
    assert!(bound("low_95") <= truth && truth <= bound("high_95"), "{truth} is not in {found}");
}

fn rows(text: &str) -> usize {
    text.lines().filter(|line| line.starts_with(|c: char| c.is_ascii_digit())).count()
}

#[test]
fn a_reversal_test_finds_the_lost_motion_and_leaves_its_readings() {
    let (folder, the_box) = (Folder::new(), simulated());
    let run = run(&folder, &format!("{} --limit 0.05 --json", reversal(&the_box))).exit(1);
    holds(&run.json()["lost_motion"], LOST);
    assert_eq!(run.json()["decision"]["answer"], "over");
    for shown in ["emergency stop", "from Z-1.5 to Z0.5 mm", "at 8 mm/s at most", "stands at Z0 mm"] {
        assert!(run.stderr.contains(shown), "{shown} {run:?}");
    }
    let text = folder.read("z.csv");
    assert_eq!(rows(&text), 12, "{text}");
    assert!(text.contains("# resolution: 0.001\n") && text.contains("# limit: 0.05\n"), "{text}");
    assert_eq!(folder.takeup("assess z.csv --json").done().exit(1).json(), run.json());
}

#[test]
fn positioning_small_steps_and_returns_find_their_truths() {
    let folder = Folder::new();
    let faults = Faults {
        clearance_mm: 0.05,
        wind_up_mm: 0.02,
        lead_error: 0.002,
        slip_mm: 0.003,
        ..Faults::default()
    };
    let the_box = SimulatedBox::start(Faults { slip_mm: 0.0, wind_up_mm: 0.0, ..faults });
    let common = |the_box: &SimulatedBox, kind: &str| {
        format!("box run {kind} --box {} --axis z --speed 8 --stands-at 0 --settle 0.01 --json", the_box.port)
    };
    let arguments = "--from -4 --to 4 --targets 5 --runs 3 -o positioning.csv";
    let found = run(&folder, &format!("{} {arguments}", common(&the_box, "positioning"))).exit(0).json();
    holds(&found["lost_motion"], 0.05);
    // Readings are whole counts: over 8 mm that is as near as the lead can be told.
    let lead = found["positioning"]["lead_error_per_length"]["value"].as_f64().unwrap();
    assert!((lead - 0.002).abs() <= 0.001 / 8.0, "{lead}");

    let the_box = SimulatedBox::start(Faults { slip_mm: 0.0, lead_error: 0.0, ..faults });
    let arguments = "--start -1 --expected 0.07 --step 0.01 --steps 25 --cycles 2 -o small.csv";
    let found = run(&folder, &format!("{} {arguments}", common(&the_box, "small-steps"))).exit(0).json();
    holds(&found["take_up"]["dead_band"], 0.05);
    holds(&found["take_up"]["wind_up"], 0.02);
    // The start, and twice up and down with the last way up.
    assert_eq!(rows(&folder.read("small.csv")), 1 + 5 * 25);

    let the_box = SimulatedBox::start(Faults { lead_error: 0.0, ..faults });
    let arguments = "--mark 0 --lift 2 --returns 12 --pause-every 0 -o return.csv";
    let found = run(&folder, &format!("{} {arguments}", common(&the_box, "return"))).exit(0).json();
    // Without pauses slip is not told from drift, and is not claimed.
    assert_eq!(found["drift"].get("per_cycle"), None, "{found}");
    let likely = |cause: &str| found["causes"].as_array().unwrap().iter().any(|c| c["cause"] == cause);
    assert!(likely("slip") && likely("thermal"), "{found}");
    let text = folder.read("return.csv");
    let readings: Vec<f64> = text
        .lines()
        .filter(|line| line.starts_with(|c: char| c.is_ascii_digit()))
        .map(|line| line.split(',').nth(4).unwrap().parse().unwrap())
        .collect();
    // Each return falls short by what slipped on the lift; readings are whole counts.
    let fallen = (readings[0] - readings[11]) / 11.0;
    assert!((fallen - 0.003).abs() <= 0.001 / 11.0, "{fallen}");
    assert_eq!(rows(&folder.read("return.csv")), 12);
}

#[test]
fn nothing_moves_without_the_word() {
    let (folder, the_box) = (Folder::new(), simulated());
    let without = reversal(&the_box).replace("--stands-at 0", "");
    folder
        .takeup(&without)
        .stdin("arm\n")
        .done()
        .refused_after_notes(&["where the axis stands", "--stands-at"]);
    for word in ["\n", "yes\n", ""] {
        folder
            .takeup(&reversal(&the_box))
            .stdin(word)
            .done()
            .refused_after_notes(&["not armed", "nothing was moved"]);
    }
    assert_eq!(the_box.hands.steps.load(Ordering::Relaxed), 0);
    assert!(!folder.file("z.csv").exists());
}

#[test]
fn what_cannot_be_run_is_refused_before_the_question() {
    let (folder, the_box) = (Folder::new(), simulated());
    let plain = reversal(&the_box);
    folder.write("there.csv", "");
    for (arguments, words) in [
        (plain.replace("--axis z", "--axis x"), ["drives axis Z", "not X"]),
        (plain.replace("--station 0,-1", "--station 0,-60"), ["Z-60.5", "the box allows Z-50 to Z50"]),
        (plain.replace("-o z.csv", "-o there.csv"), ["there already", "another file"]),
        (plain.replace("--overrun 0.5", "--overrun 0"), ["--overrun", "above 0"]),
        (plain.replace(&the_box.port, "/dev/no-such-port"), ["cannot use the port", "takeup box list"]),
        (plain.replace(&the_box.port, "/dev/null"), ["cannot use the port", "no serial port"]),
        (plain.replace(&the_box.port, "tcp:127.0.0.1:1"), ["cannot use the port", "refused"]),
    ] {
        let run = folder.takeup(&arguments).stdin("arm\n").done().refused(&words);
        assert!(!run.stderr.contains("Type"), "{run:?}");
    }
    // What only the box can tell, it tells after; nothing was moved for it.
    let fast = plain.replace("--speed 8", "--speed 21");
    folder.takeup(&fast).stdin("arm\n").done().refused_after_notes(&["beyond the limits of the box"]);
    let short = plain.replace("--overrun 0.5", "--overrun 0.4");
    folder
        .takeup(&short)
        .stdin("arm\n")
        .done()
        .refused_after_notes(&["cannot carry the plan out", "0 of 12"]);
    assert_eq!(the_box.hands.steps.load(Ordering::Relaxed), 0);
}

/// Starts a run with more on standard input than the first word, and waits until some readings are on disk.
fn in_the_middle(
    folder: &Folder,
    the_box: &SimulatedBox,
    stdin: &str,
    act: impl Fn(),
) -> std::process::Output {
    use std::io::Write;
    let mut child = folder
        .takeup(&format!("{} --patience 30", reversal(the_box).replace("--speed 8", "--speed 5")))
        .start();
    child.stdin.take().unwrap().write_all(stdin.as_bytes()).unwrap();
    let taken = || std::fs::read_to_string(folder.file("z.csv")).map_or(0, |text| rows(&text));
    wait_until("readings", || taken() >= 3);
    act();
    child.wait_with_output().unwrap()
}

#[test]
fn a_pulled_cable_is_waited_for_and_no_reading_is_lost() {
    let (folder, the_box) = (Folder::new(), simulated());
    let output = in_the_middle(&folder, &the_box, "arm\narm\n", || {
        the_box.hands.unplugged.store(true, Ordering::Relaxed)
    });
    let told = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(output.status.success(), "{told}");
    assert!(told.contains("of 12 readings are kept") && told.contains("Check the cable"), "{told}");
    assert!(told.matches("Type \"arm\"").count() >= 2, "armed again without asking {told}");
    assert_eq!(rows(&folder.read("z.csv")), 12);
    let found = folder.takeup("assess z.csv --json").done().exit(0).json();
    holds(&found["lost_motion"], LOST);
}

#[test]
fn a_box_that_was_switched_off_ends_the_test_and_the_readings_are_kept() {
    let (folder, the_box) = (Folder::new(), simulated());
    let output = in_the_middle(&folder, &the_box, "arm\narm\n", || {
        the_box.hands.power_cut.store(true, Ordering::Relaxed)
    });
    let told = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(2), "{told}");
    assert!(told.contains("started anew") && told.contains("kept in z.csv"), "{told}");
    let kept = rows(&folder.read("z.csv"));
    assert!((3..12).contains(&kept), "{kept}");
}

#[test]
fn the_emergency_stop_ends_the_test_and_the_readings_are_kept() {
    let (folder, the_box) = (Folder::new(), simulated());
    let output = in_the_middle(&folder, &the_box, &"arm\n".repeat(20), || {
        the_box.hands.emergency.store(true, Ordering::Relaxed)
    });
    let told = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(2), "{told}");
    assert!(told.contains("the emergency stop is pressed") && told.contains("kept in z.csv"), "{told}");
    let info = folder.takeup(&format!("box info {} --json", the_box.port)).done().exit(0).json();
    assert_eq!((&info["emergency_stop"], &info["armed"]), (&"pressed".into(), &false.into()));
    assert!(info["position"].is_null(), "{info}");
}

#[test]
fn a_pseudo_terminal_is_as_good_as_a_cable() {
    let folder = Folder::new();
    let the_box = SimulatedBox::on_pseudo_terminal(Faults { clearance_mm: LOST, ..Faults::default() });
    let run = run(&folder, &format!("{} --json", reversal(&the_box))).exit(0);
    holds(&run.json()["lost_motion"], LOST);
}

#[test]
fn a_box_is_shown_set_up_and_watched() {
    let (folder, the_box) = (Folder::new(), simulated());
    let port = &the_box.port;
    let listed = folder.takeup(&format!("box list --ask {port} --json")).done().exit(0).json();
    let found = listed["ports"].as_array().unwrap().iter().find(|found| found["port"] == **port).unwrap();
    assert_eq!(found["box"], "simulated, axis Z");
    folder.takeup(&format!("box set {port} high=12.7 speed=8mm --json")).done().exit(0);
    let info = folder.takeup(&format!("box info {port} --json --units in")).done().exit(0).json();
    assert_eq!((&info["schema"], &info["units"]), (&"takeup.box-info/1".into(), &"in".into()));
    assert_eq!(info["settings"]["high"], 0.5);
    assert_eq!(
        info["kinds"],
        serde_json::json!(["reversal", "positioning", "small-steps", "return", "warm-up"])
    );
    let text = folder.takeup(&format!("box info {port}")).done().exit(0).stdout;
    assert!(text.contains("12.7 mm") && text.contains("8 mm/s") && text.contains("not known"), "{text}");
    assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
    let watched = folder.takeup(&format!("box monitor {port} --period 10 --count 5")).done().exit(0).stdout;
    assert_eq!(watched.lines().count(), 6, "{watched}");
    let watched = folder.takeup(&format!("box monitor {port} --period 10 --json")).done().exit(0).json();
    assert_eq!(watched["samples"].as_array().unwrap().len(), 10);
    for (setting, words) in [
        ("speed=0", ["speed", "makes no sense"]),
        ("hight=3", ["hight=3", "NAME=VALUE"]),
        ("low=1,5", ["low=1,5", "decimal comma"]),
        ("axis=w", ["axis=w", "axis"]),
    ] {
        folder.takeup(&format!("box set {port} {setting}")).done().refused(&words);
    }
    let refused = folder.takeup("box info /dev/no-such-port --json").done().refusal();
    assert_eq!(refused["file"], "/dev/no-such-port");
}

#[test]
fn a_table_sent_to_the_box_takes_the_lost_motion_away() {
    let (folder, the_box) = (Folder::new(), simulated());
    let port = &the_box.port;
    run(&folder, &reversal(&the_box)).exit(0);
    folder.takeup("table build z.csv -o mill.table").done().exit(0);
    let sent = folder.takeup(&format!("box table {port} mill.table --json")).done().exit(0).json();
    let held = folder.takeup(&format!("box table {port} --json")).done().exit(0).json();
    assert_eq!(sent["checksum"], held["checksum"]);
    assert!(held["checksum"].is_string(), "{held}");
    let after = reversal(&the_box).replace("z.csv", "after.csv");
    let found = run(&folder, &format!("{after} --corrected --json")).exit(0).json();
    holds(&found["lost_motion"], 0.0);
    assert!(folder.read("after.csv").contains("corrected by its table"));
    let forgotten = folder.takeup(&format!("box table {port} --forget --json")).done().exit(0).json();
    assert!(forgotten["checksum"].is_null(), "{forgotten}");
    folder.write("not.table", "no table");
    folder
        .takeup(&format!("box table {port} not.table"))
        .done()
        .refused(&["not.table", "not a compensation table"]);
    let again = reversal(&the_box).replace("z.csv", "again.csv");
    folder
        .takeup(&format!("{again} --corrected"))
        .stdin("arm\n")
        .done()
        .refused_after_notes(&["no table", "takeup box table"]);
}

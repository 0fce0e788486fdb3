//! A probe box as the source: armed after its motion was shown, stopped by a key, gone on with.

use super::screen::large;
use super::terminal::Terminal;
use super::values;
use serde_json::Value;
use takeup_core::slack::simulated::Faults;
use takeup_tests::Folder;
use takeup_tests::boxes::SimulatedBox;

const PLAN: &str = "measure reversal --axis z --station 0 --station -1 --cycles 3 --overrun 0.5 -o z.csv \
                    --resolution 0.001 --settle 0.01 --speed 10 --stands-at 0";

fn simulated() -> SimulatedBox {
    SimulatedBox::start(Faults { clearance_mm: 0.12, ..Faults::default() })
}

fn lost(document: &Value) -> (f64, f64) {
    let lost = &document["lost_motion"];
    (lost["low_95"].as_f64().expect("a number"), lost["high_95"].as_f64().expect("a number"))
}

#[test]
fn in_plain_lines_nothing_moves_before_it_is_armed() {
    let folder = Folder::new();
    let the_box = simulated();
    let command = format!("{PLAN} --box {} --json", the_box.port);
    let run = folder.takeup(&command.replace(" --json", "")).stdin("go\nq\n").done();
    let shown =
        ["from -1.5 to 0.5 mm, up to 10 mm per second", "emergency stop", "type arm", "paused: 0 of 12"];
    run.refused_after_notes(&shown);
    assert_eq!(the_box.hands.steps.load(std::sync::atomic::Ordering::Relaxed), 0, "it has moved");
    let run = folder.takeup(&command).stdin("arm\n").done().exit(0);
    assert_eq!(values(&folder, "z.csv").len(), 12);
    let (low, high) = lost(&run.json());
    assert!(low - 0.002 < 0.12 && 0.12 < high + 0.002, "{low} to {high}");
}

#[test]
fn in_plain_lines_whatever_is_typed_stops_it_and_is_no_reading() {
    for typed in ["", "halt", "0.5", "u"] {
        let folder = Folder::new();
        let the_box = simulated();
        let run = folder.takeup(&format!("{PLAN} --box {}", the_box.port));
        let run = run.stdin(format!("arm\n{typed}\n")).done();
        run.refused_after_notes(&["stopped", "paused: 0 of 12"]);
        assert_eq!(values(&folder, "z.csv"), [0.0; 0], "{typed:?} became a reading");
    }
}

#[test]
fn on_the_screen_enter_stops_it_and_numbers_are_no_readings() {
    let folder = Folder::new();
    let the_box = simulated();
    let mut terminal = Terminal::start(&folder.takeup(&format!("{PLAN} --box {}", the_box.port)), 80, 24);
    terminal.wait_for("ARM THE BOX");
    terminal.press_for("\r", "row 1: ");
    terminal.press_for("7", "the box reads by itself");
    terminal.press_for("\r", "STOPPED: as you wished");
    assert!(values(&folder, "z.csv").iter().all(|reading| reading.abs() < 5.0), "a number was taken");
    terminal.press("p");
    assert_eq!(terminal.end(), 2);
}

#[test]
fn on_the_screen_space_stops_it_and_enter_arms_it_again() {
    let folder = Folder::new();
    let the_box = simulated();
    let mut terminal = Terminal::start(&folder.takeup(&format!("{PLAN} --box {}", the_box.port)), 80, 24);
    let cautions = terminal.wait_for_all(&[
        "ARM THE BOX",
        "will move Z by itself, from -1.5 to 0.5 mm",
        "up to 10 mm",
        "Space, P or the emergency stop",
    ]);
    terminal.press("\r");
    // The keys that count now, and none that do nothing.
    let moving = terminal.wait_for_all(&["row 2: ", "Space or Enter  STOP THE BOX", "hands off"]);
    assert!(!moving.contains("Enter take"), "{moving}");
    terminal.press_for(" ", "STOPPED: as you wished");
    let stopped = terminal.wait_for("ARM THE BOX");
    let title = |screen: &str| large(screen)[..4].to_vec();
    assert_ne!(title(&stopped), title(&cautions), "from afar it looks as if it had not begun:\n{stopped}");
    // Too small for everything: why it stands and what it waits for are there.
    terminal.resize(50, 16);
    terminal.wait_until("the screen in small", |screen| {
        screen.contains("STOPPED: as you wished") && screen.trim_end().ends_with("P: pause")
    });
    terminal.resize(80, 24);
    terminal.wait_for("Going on: ");
    let kept = values(&folder, "z.csv");
    std::thread::sleep(std::time::Duration::from_millis(500));
    assert_eq!(values(&folder, "z.csv"), kept, "it went on without being armed");
    terminal.press_for("\r", &format!("row {}: ", kept.len() + 2));
    // Taking a reading back stops it too: it must not move on from where it is.
    terminal.press_for("u", "STOPPED: ");
    terminal.wait_for("ARM THE BOX");
    terminal.press_for("\r", "show the result");
    assert_eq!(values(&folder, "z.csv").len(), 12);
    terminal.press("\r");
    assert_eq!(terminal.end(), 0);
    terminal.wait_for("Intervals hold");
}

#[test]
fn its_own_stop_is_told_and_must_be_seen_to() {
    let folder = Folder::new();
    let the_box = simulated();
    let mut terminal = Terminal::start(&folder.takeup(&format!("{PLAN} --box {}", the_box.port)), 80, 24);
    terminal.wait_for("ARM THE BOX");
    terminal.press_for("\r", "row 1: ");
    the_box.hands.emergency.store(true, std::sync::atomic::Ordering::Relaxed);
    terminal.wait_for("STOPPED: the box has stopped: the emergency stop is pressed");
    // The drive had no current: nobody can tell from here where the axis is, and so it does not go on from here.
    terminal.wait_for("the emergency stop is pressed. Find out why");
    terminal.wait_for("at --stands-at.");
    terminal.wait_until("only the pause is offered", |screen| {
        screen.trim_end().ends_with("P: pause") && !screen.contains("ARM THE BOX")
    });
    the_box.hands.emergency.store(false, std::sync::atomic::Ordering::Relaxed);
    let moved = the_box.hands.steps.load(std::sync::atomic::Ordering::Relaxed);
    terminal.press("\r");
    std::thread::sleep(std::time::Duration::from_millis(300));
    let kept = values(&folder, "z.csv").len();
    terminal.press("p");
    assert_eq!(terminal.end(), 2);
    terminal.wait_for(&format!("paused: {kept} of 12"));
    assert_eq!(the_box.hands.steps.load(std::sync::atomic::Ordering::Relaxed), moved, "it has moved again");
}

#[test]
fn a_box_that_cannot_do_it_is_refused_before_anything_is_asked() {
    let folder = Folder::new();
    let the_box = simulated();
    let other = PLAN.replace(" --stands-at 0", "");
    folder
        .takeup(&format!("{other} --box {}", the_box.port))
        .done()
        .refused_after_notes(&["does not know where the axis stands", "--stands-at"]);
    folder
        .takeup(&format!("{PLAN} --box tcp:127.0.0.1:1"))
        .done()
        .refused_after_notes(&["cannot use the port"]);
    // Nothing moves there, and so nothing is to be said of how.
    let by_hand = format!("measure push-pull --axis z -o z.csv --box {}", the_box.port);
    folder.takeup(&format!("{by_hand} --stands-at 0")).done().refused(&["--stands-at", "of no use"]);
    folder.takeup(&format!("{PLAN} --simulate --box x")).done().refused(&["cannot be used with"]);
    folder.takeup(PLAN).done().refused(&["--box"]);
}

/// A test taken by a box whose axis has faults: what `measure` finds, and its readings.
fn taken_by_box(test: &str, faults: Faults, rows: usize) -> (Value, Vec<f64>) {
    let folder = Folder::new();
    let the_box = SimulatedBox::start(faults);
    let command =
        format!("measure {test} --axis z --box {} --settle 0.01 --stands-at 0 -o z.csv", the_box.port);
    let found = folder.takeup(&format!("{command} --json")).stdin("arm\n").done().exit(0).json();
    let text = folder.read("z.csv");
    for line in ["# resolution: 0.001\n", "# Taken by the probe box \""] {
        assert!(text.contains(line), "{line} {text}");
    }
    // The same file can be gone on with by the same command, which finds it complete.
    let again = folder.takeup(&format!("{command} --json")).done().exit(0).json();
    assert_eq!(again, found);
    let column = text.lines().find(|line| line.starts_with("row,")).expect("a header");
    let column = column.split(',').position(|name| name == "reading").expect("readings");
    let readings: Vec<f64> = text
        .lines()
        .filter(|line| line.starts_with(|c: char| c.is_ascii_digit()))
        .map(|row| row.split(',').nth(column).expect("a reading").parse().expect("a number"))
        .collect();
    assert_eq!(readings.len(), rows, "{text}");
    (found, readings)
}

/// Readings are whole counts: `near` is what that leaves open.
#[track_caller]
fn holds(figure: &Value, truth: f64, near: f64) {
    println!("true {truth}, found {figure}");
    let bound = |end: &str| figure[end].as_f64().unwrap_or_else(|| panic!("no {end} in {figure}"));
    let (low, high) = (bound("low_95") - near, bound("high_95") + near);
    assert!(low <= truth && truth <= high, "{truth} is not in {figure}");
}

#[test]
fn positioning_is_taken_by_the_box_to_the_truth() {
    let faults = Faults { clearance_mm: 0.12, lead_error: 0.002, ..Faults::default() };
    let test = "positioning --from -4 --to 4 --targets 5 --runs 3 --overrun 0.5";
    let (found, _) = taken_by_box(test, faults, 30);
    holds(&found["positioning"]["lead_error_per_length"], 0.002, 0.001 / 8.0);
}

#[test]
fn small_steps_are_taken_by_the_box_to_the_truth() {
    let faults = Faults { clearance_mm: 0.05, ..Faults::default() };
    let test = "small-steps --start -1 --expected 0.05 --step 0.01 --steps 20 --cycles 2";
    let (found, _) = taken_by_box(test, faults, 1 + 5 * 20);
    holds(&found["take_up"]["dead_band"], 0.05, 0.001);
}

#[test]
fn returns_are_taken_by_the_box_to_the_truth() {
    let faults = Faults { clearance_mm: 0.05, slip_mm: 0.003, ..Faults::default() };
    // Without pauses slip is not told from drift.
    let test = "return --mark -1 --lift 0.6 --returns 12 --pause-every 4 --pause 0.03";
    let (found, _) = taken_by_box(test, faults, 12);
    holds(&found["drift"]["per_cycle"], -0.003, 0.001 / 12.0);
}

// This box's time goes by what it hears and the readings' by the clock, unevenly so on a busy computer: the curve of growth
// over time is held to the truth by the emulated box (`firmware::program`), here what any pace leaves as it is.
#[test]
fn a_warm_up_is_taken_by_the_box() {
    let faults = Faults { growth_mm: 0.1, growth_time_s: 2.0, ..Faults::default() };
    let (found, readings) =
        taken_by_box("warm-up --mark 0 --stroke 1 --readings 9 --interval 0.02", faults, 9);
    println!("{readings:?} {}", found["growth"]);
    assert!(readings.windows(2).all(|pair| pair[0] <= pair[1]), "{readings:?}");
    let (first, last) = (readings[0], readings[8]);
    assert!(first >= 0.0 && last >= first + 0.03 && last <= 0.1 + 0.0005, "{readings:?}");
    assert!(found["growth"]["amplitude"]["low_95"].as_f64().is_some_and(|low| low > 0.0), "{found}");
}

#[test]
fn a_box_started_anew_is_not_told_again_where_the_axis_stood() {
    let folder = Folder::new();
    let the_box = simulated();
    let mut terminal = Terminal::start(&folder.takeup(&format!("{PLAN} --box {}", the_box.port)), 80, 24);
    terminal.wait_for("ARM THE BOX");
    terminal.press_for("\r", "row 2: ");
    the_box.hands.power_cut.store(true, std::sync::atomic::Ordering::Relaxed);
    terminal.wait_for("STOPPED: ");
    terminal.wait_for("ARM THE BOX");
    let moved = the_box.hands.steps.load(std::sync::atomic::Ordering::Relaxed);
    terminal.press("\r");
    terminal.wait_for("started anew meanwhile");
    terminal.press("p");
    assert_eq!(terminal.end(), 2);
    assert_eq!(the_box.hands.steps.load(std::sync::atomic::Ordering::Relaxed), moved, "it has moved again");
}

// Whoever halts the scrolling halts the program too; the box must not be left to itself by that.
#[test]
fn a_terminal_that_is_held_stops_the_box_and_it_is_armed_again() {
    let folder = Folder::new();
    let the_box = simulated();
    let command = format!("{} --box {}", PLAN.replace("measure", "box run"), the_box.port);
    let mut terminal = Terminal::start(&folder.takeup(&command), 80, 24);
    terminal.wait_for("Type \"arm\"");
    terminal.press_for("arm\r", "reading 1 of 12");
    terminal.press("\u{13}");
    std::thread::sleep(std::time::Duration::from_millis(2500));
    let kept = values(&folder, "z.csv").len();
    assert!(kept < 12, "it went on while nobody listened");
    terminal.press_for("\u{11}", "held up for a second");
    terminal.press("arm\r");
    assert_eq!(terminal.end(), 0);
    assert_eq!(values(&folder, "z.csv").len(), 12);
}

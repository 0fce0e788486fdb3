//! From the routine that a person is given to the answer: the sheet is filled by a simulated person at a
//! simulated machine, and assessed.

use serde_json::Value;
use takeup_core::axis::Direction;
use takeup_core::slack::simulated::{Dial, Faults, Noise, SimulatedAxis};
use takeup_tests::Folder;

/// Carries out a test program on an axis, reading the dial at each optional stop; answers the time and the reading of
/// each, lengths in mm.
fn carry_out(program: &str, faults: Faults, dial: Dial, seed: u64) -> Vec<(f64, f64)> {
    let mut noise = Noise::new(seed);
    let mut dial = dial;
    let inch = program.contains("G20");
    let mm = |value: f64| if inch { 25.4 * value } else { value };
    let mut axis: Option<SimulatedAxis> = None;
    let (mut time, mut taken) = (0.0, Vec::new());
    for line in program.lines() {
        let words: Vec<&str> = line.split('(').next().unwrap_or_default().split_whitespace().collect();
        let number = |letter: char| {
            words
                .iter()
                .find_map(|word| word.strip_prefix(letter))
                .map(|n| n.parse::<f64>().expect("a number"))
        };
        match words.first().copied() {
            Some("G1") => {
                let to = mm(number('Z').expect("a place"));
                time += 4.0;
                let axis = axis.get_or_insert_with(|| SimulatedAxis::new(faults, to + 5.0, Direction::Minus));
                axis.move_to_mm(to, time, &mut noise);
                dial.watch(axis.position_mm());
            }
            Some("G4") => time += number('P').expect("a time"),
            Some("M1") => {
                let axis = axis.as_mut().expect("a place");
                let reading = dial.read_mm(axis.wait_until(time), &mut noise);
                taken.push((time, reading));
            }
            _ => {}
        }
    }
    taken
}

/// The sheet with its readings, and its times if it asks for them.
fn filled(sheet: &str, taken: &[(f64, f64)], inch: bool) -> String {
    let timed = sheet.contains("reading,time,note");
    let mut taken = taken.iter();
    let mut text = String::new();
    for line in sheet.lines() {
        if line.starts_with(|c: char| c.is_ascii_digit()) {
            let (time, reading) = taken.next().expect("a reading for each row");
            let cells: Vec<&str> = line.split(',').take(4).collect();
            let shown = if inch { reading / 25.4 } else { *reading };
            let time = if timed { format!("{time:.0},") } else { String::new() };
            text.push_str(&format!("{},{shown:.5},{time}\n", cells.join(",")));
        } else {
            text.push_str(
                &line.replace(
                    "# resolution:",
                    if inch { "# resolution: 0.0001" } else { "# resolution: 0.001" },
                ),
            );
            text.push('\n');
        }
    }
    assert!(taken.next().is_none(), "more readings than rows");
    text
}

#[track_caller]
fn near(part: &Value, truth: f64) {
    let of = |name: &str| part[name].as_f64().unwrap_or_else(|| panic!("{name} in {part}"));
    let (value, half) = (of("value"), 0.5 * (of("high_95") - of("low_95")));
    assert!((0.5 * (of("high_95") + of("low_95")) - value).abs() < 1e-9, "value ± U: {part}");
    // One seed in twenty lies outside the interval; none lies twice as far.
    assert!((value - truth).abs() <= 2.0 * half, "{truth} beside {part}");
}

fn sat(command: &str, faults: Faults, inch: bool) -> Value {
    let folder = Folder::new();
    let units = if inch { " --units in" } else { "" };
    folder.takeup(&format!("{command} -o test.nc --sheet test.csv{units}")).done().exit(0);
    let step = if inch { 0.00254 } else { 0.001 };
    let dial = Dial { resolution_mm: step, noise_mm: 0.0015, zero_mm: 0.3, ..Dial::default() };
    let taken = carry_out(&folder.read("test.nc"), faults, dial, 11);
    folder.write("filled.csv", filled(&folder.read("test.csv"), &taken, inch));
    let slip = folder.takeup("assess filled.csv").done().exit(0);
    assert!(slip.stdout.starts_with("Z "), "the answer comes first {slip:?}");
    assert!(slip.stdout.lines().all(|line| line.chars().count() <= 80), "{slip:?}");
    folder.takeup("assess filled.csv --json").done().exit(0).json()
}

#[test]
fn small_steps_from_program_to_answer() {
    let faults = Faults { clearance_mm: 0.06, wind_up_mm: 0.03, ..Faults::default() };
    for inch in [false, true] {
        let unit = if inch { 25.4 } else { 1.0 };
        let start = if inch { -1.5 } else { -40.0 };
        let json = sat(&format!("routine small-steps --axis z --start={start}"), faults, inch);
        assert_eq!(json["routine"], "small-steps");
        near(&json["take_up"]["dead_band"], 0.06 / unit);
        near(&json["take_up"]["wind_up"], 0.03 / unit);
        near(&json["lost_motion"], 0.09 / unit);
        assert_eq!(json["lost_motion"]["largest"], json["lost_motion"]["value"]);
        for absent in ["stations", "drift", "positioning", "along_travel", "decision"] {
            assert!(json.get(absent).is_none(), "{absent} in {json}");
        }
    }
}

#[test]
fn returns_from_program_to_answer() {
    let faults = Faults { slip_mm: 0.008, drift_mm_per_s: 0.03 / 3600.0, ..Faults::default() };
    for inch in [false, true] {
        let unit = if inch { 25.4 } else { 1.0 };
        let json = sat("routine return --axis z --mark 0", faults, inch);
        near(&json["drift"]["per_cycle"], -0.008 / unit);
        near(&json["drift"]["per_hour"], 0.03 / unit);
        near(&json["drift"]["scatter"], 0.0015 / unit);
        assert_eq!(json["causes"][0]["cause"], "slip", "{json}");
        assert_eq!(json["causes"][0]["correctable"], false);
        for absent in ["lost_motion", "decision", "take_up", "stations"] {
            assert!(json.get(absent).is_none(), "{absent} in {json}");
        }
    }
    let json = sat("routine return --axis z --mark 0 --pause-every 0", faults, false);
    assert!(json["drift"].get("per_cycle").is_none() && json["drift"].get("per_hour").is_none(), "{json}");
    near(&json["drift"]["scatter"], 0.0015);
}

#[test]
fn positioning_from_program_to_answer() {
    let faults = Faults { clearance_mm: 0.05, lead_error: 1e-4, ..Faults::default() };
    let json = sat("routine positioning --axis z --from=-200 --to 0 --targets 6 --runs 3", faults, false);
    near(&json["lost_motion"], 0.05);
    near(&json["positioning"]["lead_error_per_length"], 1e-4);
}

#[test]
fn a_decision_and_its_exit_code() {
    let folder = Folder::new();
    folder.takeup("routine small-steps --axis z --start 0 -o test.nc --sheet test.csv").done().exit(0);
    let dial = Dial { resolution_mm: 0.001, noise_mm: 0.0015, ..Dial::default() };
    let faults = Faults { clearance_mm: 0.08, ..Faults::default() };
    let taken = carry_out(&folder.read("test.nc"), faults, dial, 4);
    folder.write("filled.csv", filled(&folder.read("test.csv"), &taken, false));
    let over = folder.takeup("assess filled.csv --limit 0.05").done().exit(1);
    assert!(over.stdout.contains("OVER the limit of 0.050 mm"), "{over:?}");
    folder.takeup("assess filled.csv --limit 0.2").done().exit(0);
    // What gives no lost motion at stations makes no table, and says so.
    folder
        .takeup("table build filled.csv -o z.table")
        .done()
        .refused(&["small-steps", "no lost motion at stations"]);
}

#[test]
fn what_cannot_be_meant_is_refused() {
    let folder = Folder::new();
    let head = "# axis: Z\n# routine: small-steps\ntarget,approach,reading\n";
    folder.write("short.csv", format!("{head}0,-,0\n0.01,+,0\n"));
    folder.takeup("assess short.csv").done().refused(&["not enough", "2 readings", "10 or more"]);
    let rows: String = (0..12).map(|n| format!("{},+,0\n", 0.01 * f64::from(n))).collect();
    folder.write("seat.csv", format!("{head}{rows}"));
    folder.takeup("assess seat.csv").done().refused(&["seat.csv:4:", "- direction"]);
    let head = "# axis: Z\n# routine: return\ntarget,approach,reading,time\n";
    folder.write("two.csv", format!("{head}0,-,0,1\n0,-,0,2\n1,-,0,3\n0,-,0,4\n"));
    folder.takeup("assess two.csv").done().refused(&["two.csv:6:", "another mark"]);
    folder.write("gap.csv", format!("{head}0,-,0,1\n0,-,0,\n0,-,0,3\n0,-,0,4\n"));
    folder.takeup("assess gap.csv").done().refused(&["gap.csv:5:", "time"]);
}

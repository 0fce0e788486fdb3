//! Guided measurement: every acknowledged reading is on disk, whatever happens next.

use std::io::{BufRead, BufReader, Write};
use std::process::{ChildStdin, Stdio};
use takeup_core::slack::simulated::Noise;
use takeup_tests::Folder;

const PLAN: &str = "measure reversal --axis z --station 0 --station -40 --cycles 3 -o z.csv";

/// The twelve readings of the plan, 0.05 mm lost.
fn readings() -> Vec<String> {
    (0..12).map(|i| if i % 2 == 0 { "0.200".to_owned() } else { format!("0.25{}", i % 3) }).collect()
}

fn rows(text: &str) -> Vec<&str> {
    text.lines().filter(|line| line.starts_with(|c: char| c.is_ascii_digit())).collect()
}

fn values(text: &str) -> Vec<f64> {
    rows(text)
        .iter()
        .map(|row| row.split(',').nth(4).expect("a reading").parse().expect("a number"))
        .collect()
}

fn numbers(texts: &[String]) -> Vec<f64> {
    texts.iter().map(|text| text.parse().expect("a number")).collect()
}

#[test]
fn typed_readings_are_kept_and_assessed() {
    let folder = Folder::new();
    let typed = format!("0,2\nten\n\n9\nu\nu\n{}\n", readings().join("\n"));
    let run = folder.takeup(&format!("{PLAN} --resolution 0.001 --json")).stdin(typed).done().exit(0);
    assert_eq!(values(&folder.read("z.csv")), numbers(&readings()));
    assert!(
        run.stderr.contains("decimal comma") && run.stderr.contains("no reading to take back"),
        "{run:?}"
    );
    assert!(run.stderr.contains("emergency stop"), "{run:?}");
    assert!(run.stderr.contains("so far Z loses 0.051 mm"), "no running estimate {run:?}");
    let document = run.json();
    assert!((document["lost_motion"]["value"].as_f64().unwrap() - 0.051).abs() < 0.001, "{run:?}");
    let again = folder.takeup("assess z.csv --json").done().exit(0);
    assert_eq!(again.json(), document);
}

#[test]
fn a_pause_goes_on_where_it_was_and_another_plan_does_not() {
    let folder = Folder::new();
    let typed = readings();
    let first = folder.takeup(PLAN).stdin(format!("{}\nq\n", typed[..5].join("\n"))).done();
    first.refused_after_notes(&["paused: 5 of 12", "same command"]);
    // A row that the power cut short was never acknowledged.
    let torn = format!("{}6,3,0,-,0.2", folder.read("z.csv"));
    folder.write("z.csv", &torn);
    folder
        .takeup(&PLAN.replace("--station 0", "--station 5"))
        .stdin("q\n")
        .done()
        .refused_after_notes(&["another test"]);
    let before = folder.read("z.csv");
    folder
        .takeup(&PLAN.replace("axis z", "axis x"))
        .stdin("q\n")
        .done()
        .refused_after_notes(&["another test"]);
    folder.takeup(&format!("{PLAN} --units in")).stdin("q\n").done().refused_after_notes(&["another test"]);
    assert_eq!(folder.read("z.csv"), before, "a refused command changed the file");
    folder.takeup(PLAN).stdin(format!("{}\n", typed[5..].join("\n"))).done().exit(0);
    assert_eq!(values(&folder.read("z.csv")), numbers(&typed));
    // Readings of something else are left alone.
    folder.write("other.csv", super::readings::sheet());
    folder
        .takeup(&PLAN.replace("z.csv", "other.csv"))
        .stdin("1\n")
        .done()
        .refused_after_notes(&["other.csv", "another test"]);
    assert_eq!(folder.read("other.csv"), super::readings::sheet());
}

#[test]
fn what_is_given_up_before_the_first_reading_leaves_nothing_behind() {
    let folder = Folder::new();
    for typed in ["", "q\n", "?\nq\n", "0.2\nu\nq\n"] {
        folder.takeup(PLAN).stdin(typed).done().refused_after_notes(&["paused: 0 of 12"]);
        assert_eq!(folder.names(), [""; 0], "{typed:?}");
    }
    // A file that was there before stays, without the reading that was taken back.
    folder.takeup(PLAN).stdin("0.2\nq\n").done().refused_after_notes(&["paused: 1 of 12"]);
    let kept = folder.read("z.csv");
    folder.takeup(PLAN).stdin("u\nq\n").done().refused_after_notes(&["paused: 0 of 12"]);
    assert!(kept.starts_with(&folder.read("z.csv")) && folder.read("z.csv").ends_with("time\n"));
}

#[test]
fn other_forces_are_another_test() {
    let folder = Folder::new();
    let command = "measure push-pull --axis z --force 150 -o z.csv";
    folder.takeup(command).stdin("0\n0\n0\nq\n").done().refused_after_notes(&["paused: 3 of"]);
    let before = folder.read("z.csv");
    for other in ["--force 200", "--force 150 --balance 300"] {
        let other = command.replace("--force 150", other);
        folder.takeup(&other).stdin("0\nq\n").done().refused_after_notes(&["another test"]);
        assert_eq!(folder.read("z.csv"), before);
    }
    folder.takeup(command).stdin("0\nq\n").done().refused_after_notes(&["paused: 4 of"]);
}

#[test]
fn what_could_not_be_compared_is_told_before_anything_is_measured() {
    let folder = Folder::new();
    let simulated =
        |plan: &str, more: &str| folder.takeup(&format!("measure {plan} --simulate {more}")).done();
    simulated("reversal --axis x --station 0", "-o x.csv").exit(0);
    simulated("indicator --axis z", "-o dial.csv").exit(0);
    simulated("reversal --axis z --station 0", "-o z.csv").exit(0);
    let names = folder.names();
    for (plan, with, words) in [
        ("reversal --axis z --station 0", "x.csv", ["axis X", "axis Z"]),
        ("reversal --axis z --station 0", "dial.csv", ["dial.csv", "before is indicator"]),
        ("warm-up --axis z --mark 0", "z.csv", ["after is warm-up", "one kind"]),
    ] {
        simulated(plan, &format!("-o new.csv --log new.log --compare {with}")).refused(&words);
        assert_eq!(folder.names(), names);
    }
    // Readings are to be typed where the earlier ones would come from.
    let command = "measure reversal --axis z --station 0 -o new.csv --compare -";
    folder.takeup(command).stdin(folder.read("z.csv")).done().refused(&["only once"]);
    assert_eq!(folder.names(), names);
}

#[test]
fn the_simulated_axis_is_found_out() {
    let folder = Folder::new();
    for (seed, loss) in [(1, 0.12), (2, 0.05), (3, 0.31)] {
        let name = format!("{seed}.csv");
        let command = format!(
            "measure reversal --axis z --station 0 -o {name} --simulate --simulated-loss {loss} --seed {seed} \
             --resolution 0.001 --json"
        );
        let document = folder.takeup(&command).done().exit(0).json();
        let lost = &document["lost_motion"];
        let (low, high) = (lost["low_95"].as_f64().unwrap(), lost["high_95"].as_f64().unwrap());
        // Three standard deviations: a 95 % interval misses the truth now and then.
        let spare = 0.25 * (high - low);
        assert!(low - spare < loss && loss < high + spare, "seed {seed}: {low} {loss} {high}");
    }
}

/// Waits until a row is asked for; everything before it has then been acknowledged.
fn wait_for_row(stderr: &mut impl BufRead, row: usize) {
    let (mark, mut seen) = (format!("row {row}, "), Vec::new());
    let mut byte = [0];
    while !seen.ends_with(mark.as_bytes()) {
        stderr.read_exact(&mut byte).unwrap_or_else(|error| {
            panic!("row {row} is never asked for: {error} {}", String::from_utf8_lossy(&seen))
        });
        seen.push(byte[0]);
    }
}

#[test]
fn killed_at_random_moments_it_loses_no_acknowledged_reading() {
    let typed = readings();
    for seed in 0..70 {
        let folder = Folder::new();
        let mut noise = Noise::new(seed);
        let mut acknowledged = 0;
        for _kill in 0..3 {
            let mut child = folder
                .takeup(PLAN)
                .command()
                .stdin(Stdio::piped())
                .stdout(Stdio::null())
                .stderr(Stdio::piped())
                .spawn()
                .expect("takeup starts");
            let mut stdin: ChildStdin = child.stdin.take().expect("a pipe");
            let mut stderr = BufReader::new(child.stderr.take().expect("a pipe"));
            let until = acknowledged + noise.between(0.0, 4.0) as usize;
            for (row, text) in (1..).zip(&typed).skip(acknowledged).take(until - acknowledged) {
                wait_for_row(&mut stderr, row);
                writeln!(stdin, "{text}").expect("typed");
            }
            wait_for_row(&mut stderr, until + 1);
            // One more is typed and may or may not arrive before the end.
            writeln!(stdin, "{}", typed[until]).expect("typed");
            std::thread::sleep(std::time::Duration::from_micros(noise.between(0.0, 3000.0) as u64));
            child.kill().expect("it can be killed");
            child.wait().expect("an end");
            let kept = values(&folder.read("z.csv"));
            assert!(kept.len() == until || kept.len() == until + 1, "seed {seed}: {} of {until}", kept.len());
            assert_eq!(kept, numbers(&typed[..kept.len()]), "seed {seed}");
            acknowledged = kept.len();
        }
        let rest = format!("{}\n", typed[acknowledged..].join("\n"));
        folder.takeup(PLAN).stdin(rest).done().exit(0);
        assert_eq!(values(&folder.read("z.csv")), numbers(&typed), "seed {seed}");
    }
}

#[test]
fn the_next_session_is_compared_with_the_last_one_and_both_are_logged() {
    let folder = Folder::new();
    let session = |loss: &str, seed: u32, name: &str| {
        format!(
            "measure reversal --axis z --station 0 --cycles 4 --simulate --simulated-loss {loss} --seed {seed} \
             --resolution 0.001 --machine bed-mill -o {name} --log shop.log --json"
        )
    };
    let first = folder.takeup(&session("0.12", 1, "a.csv")).done().exit(0).json();
    assert_eq!(first["schema"], "takeup.assessment/1");
    assert_eq!(first["logged"]["entry"], 1);
    assert!(first.get("comparison").is_none(), "{first}");
    // Sessions are told apart by the second in which they began.
    std::thread::sleep(std::time::Duration::from_millis(1100));
    let second = folder.takeup(&session("0.03", 2, "b.csv")).done().exit(0).json();
    assert_eq!(second["logged"]["entry"], 2);
    assert_eq!(second["comparison"]["change_answer"], "reduced", "{second}");
    let change = second["comparison"]["change"]["value"].as_f64().expect("a change");
    assert!((change + 0.09).abs() < 0.005, "{change}");
    // The same command again takes nothing and adds nothing.
    let again = folder.takeup(&session("0.03", 2, "b.csv")).done().exit(0).json();
    assert_eq!(again, second);
    let list = folder.takeup("log list --log shop.log --json").done().exit(0).json();
    assert_eq!(list["entries"].as_array().expect("entries").len(), 2);
    // In words, and against a file instead of the log.
    let worse = session("0.2", 3, "c.csv").replace(" --log shop.log --json", " --compare b.csv");
    let worse = folder.takeup(&worse).done().exit(1);
    assert!(worse.stdout.contains("Compared with b.csv") && worse.stdout.contains("INCREASED"), "{worse:?}");
}

#[test]
fn what_is_known_of_the_indicator_goes_into_the_file() {
    let folder = Folder::new();
    let command = "measure reversal --axis z --station 0 --cycles 2 --simulate --units in --limit 0.05mm \
                   --resolution 0.0005 --indicator-error 0.001 --sense + --pitch 0.2 -o z.csv";
    folder.takeup(command).done();
    let file = folder.read("z.csv");
    for key in [
        "# units: in",
        "# limit: 0.001969",
        "# resolution: 0.0005",
        "# indicator-error: 0.001",
        "# sense: +",
        "# pitch: 0.2",
    ] {
        assert!(file.contains(key), "{key}:\n{file}");
    }
    folder
        .takeup(&command.replace("--resolution 0.0005", "--resolution -1"))
        .done()
        .refused(&["--resolution"]);
}

#[test]
fn every_kind_of_test_finds_what_its_simulated_axis_has() {
    let folder = Folder::new();
    // What was put in: see `sitting::feed::simulated`.
    for (plan, part, truth) in [
        ("positioning --axis x --from 0 --to 400 --targets 5", "/lost_motion", 0.12),
        ("small-steps --axis z --start -40", "/take_up/dead_band", 0.072),
        ("small-steps --axis z --start -40", "/take_up/wind_up", 0.048),
        ("return --axis z --mark -40", "/drift/per_cycle", -0.002),
        ("push-pull --axis z", "/under_load/clearance", 0.12),
        ("push-pull --axis z --balance 300", "/under_load/stiffness_n_per_mm", 20_000.0),
        ("warm-up --axis z --mark -40", "/growth/amplitude", 0.03),
        ("warm-up --axis z --mark -40 --stroke -20", "/growth/time_constant_s", 1200.0),
        ("indicator --axis y", "/indicator/hysteresis", 0.004),
    ] {
        let _ = std::fs::remove_file(folder.file("m.csv"));
        let command = format!("measure {plan} --simulate --resolution 0.001 -o m.csv --json");
        let run = folder.takeup(&command).done().exit(0);
        let document = run.json();
        let found = document.pointer(part).unwrap_or_else(|| panic!("{part} is missing {run:?}"));
        let (low, high) = (found["low_95"].as_f64().expect("low"), found["high_95"].as_f64().expect("high"));
        // Three standard deviations: a 95 % interval misses the truth now and then.
        let spare = 0.25 * (high - low);
        assert!(low - spare <= truth && truth <= high + spare, "{part}: {low} to {high}, {truth} {run:?}");
        // The file is one that assess reads alike, and the same command takes nothing more.
        let file = folder.read("m.csv");
        assert_eq!(folder.takeup("assess m.csv --json").done().exit(0).json(), document);
        assert_eq!(folder.takeup(&command).done().exit(0).json(), document);
        assert_eq!(folder.read("m.csv"), file);
    }
}

//! The reversal test as a program for the machine and as a sheet for the person.

use std::collections::BTreeSet;
use takeup_tests::Folder;

const COMMAND: &str = "routine reversal --axis z --station 0 --station -40 --cycles 5 --overrun 1 --feed 300 --dwell 3 \
                       -o z-reversal.nc --sheet z-reversal.csv";

/// A reading of the program as a machine would do it: the place and the last direction at each dwell.
fn stops(program: &str, axis: char) -> Vec<(f64, char)> {
    let (mut at, mut direction, mut stops) = (f64::NAN, '?', Vec::new());
    for line in program.lines() {
        let words = line.split('(').next().unwrap_or_default();
        for word in words.split_whitespace() {
            if let Some(to) = word.strip_prefix(axis).map(|number| number.parse::<f64>().expect("a number")) {
                direction = if to > at { '+' } else { '-' };
                at = to;
            }
            if word == "G4" {
                stops.push((at, direction));
            }
        }
    }
    stops
}

#[test]
fn program_and_sheet_agree_on_every_stop() {
    let folder = Folder::new();
    let run = folder.takeup(COMMAND).done().exit(0);
    assert!(run.stdout.contains("Z-41 to Z1"), "the travel is not shown {run:?}");
    let (program, sheet) = (folder.read("z-reversal.nc"), folder.read("z-reversal.csv"));
    let rows: Vec<(f64, char)> = sheet
        .lines()
        .filter(|line| line.starts_with(|c: char| c.is_ascii_digit()))
        .map(|line| {
            let fields: Vec<_> = line.split(',').collect();
            (fields[2].parse().expect("a target"), fields[3].chars().next().expect("a sign"))
        })
        .collect();
    assert_eq!(rows.len(), 20);
    assert_eq!(stops(&program, 'Z'), rows, "{program}");
}

#[test]
fn the_program_is_plain_words_with_the_spindle_stopped_and_cautions_first() {
    let folder = Folder::new();
    folder.takeup(COMMAND).done().exit(0);
    let program = folder.read("z-reversal.nc");
    assert!(program.is_ascii(), "{program}");
    let cautions = program.find("EMERGENCY STOP").expect("a caution");
    assert!(cautions < program.find("G1 ").expect("a move"));
    let words: BTreeSet<_> = program
        .lines()
        .flat_map(|line| line.split('(').next().unwrap_or_default().split_whitespace())
        .filter(|word| word.starts_with(['G', 'M']))
        .collect();
    let known = ["G1", "G21", "G4", "G90", "G94", "M0", "M1", "M30", "M5"];
    assert_eq!(words.into_iter().collect::<Vec<_>>(), known);
    assert!(program.find("M5 ").expect("M5") < program.find("G1 ").expect("a move"));
    for line in program.lines() {
        assert!(line.len() <= 72 && line.matches('(').count() <= 1, "{line}");
    }
}

#[test]
fn inches_are_inches_everywhere() {
    let folder = Folder::new();
    folder
        .takeup("routine reversal --axis X --station=-1.5 --station 0.0005 --cycles 2 --units in -o x.nc --sheet x.csv")
        .done()
        .exit(0);
    let (program, sheet) = (folder.read("x.nc"), folder.read("x.csv"));
    assert!(program.contains("G20 ") && program.contains("G1 X-1.54 F12 "), "{program}");
    assert!(program.contains("X0.0405 "), "{program}");
    assert!(sheet.contains("# units: in\n") && sheet.contains(",0.0005,+,"), "{sheet}");
}

#[test]
fn an_unfilled_sheet_is_refused_at_its_first_empty_row_and_a_filled_one_is_understood() {
    let folder = Folder::new();
    folder.takeup(COMMAND).done().exit(0);
    let sheet = folder.read("z-reversal.csv");
    let first = sheet.lines().position(|line| line.starts_with("1,")).expect("a row") + 1;
    folder.takeup("assess z-reversal.csv").done().refused(&[
        &format!("z-reversal.csv:{first}:"),
        "reading",
        "nothing is filled in",
    ]);
    let filled = sheet.replace("+,,", "+,0.20,").replace("-,,", "-,0.25,");
    folder.write("filled.csv", filled);
    let run = folder.takeup("assess filled.csv --json").done().exit(0);
    assert_eq!(run.json()["stations"].as_array().unwrap().len(), 2);
    assert!((run.json()["lost_motion"]["value"].as_f64().unwrap() - 0.05).abs() < 1e-9, "{run:?}");
}

#[test]
fn a_sheet_that_holds_readings_is_not_written_over() {
    let folder = Folder::new();
    folder.takeup(COMMAND).done().exit(0);
    // Nothing is lost yet.
    folder.takeup(COMMAND).done().exit(0);
    let empty = folder.read("z-reversal.csv");
    for filled in [
        // The first reading alone, and what a spreadsheet may make of it.
        empty.replacen("+,,", "+,0.20,", 1),
        empty.replacen("+,,", "+,0.20,", 1).replace(',', ";"),
        empty.replacen("+,,", "+,0.20,\"half a note", 1),
    ] {
        assert_ne!(filled, empty);
        folder.write("z-reversal.csv", &filled);
        folder.takeup(COMMAND).done().refused(&["z-reversal.csv", "holds readings", "Name another"]);
        assert_eq!(folder.read("z-reversal.csv"), filled);
    }
}

#[test]
fn a_test_that_could_not_tell_is_not_planned() {
    let folder = Folder::new();
    let refused = |more: &str, words: &[&str]| {
        folder
            .takeup(&format!("routine reversal --axis z -o a.nc --sheet a.csv {more}"))
            .done()
            .refused(words);
        assert_eq!(folder.names(), [""; 0]);
    };
    refused("", &["--station"]);
    refused("--station 0 --station 0.0001", &["twice"]);
    refused("--station 0 --cycles 1", &["--cycles", "2 or more"]);
    refused("--station 0 --overrun 0", &["--overrun"]);
    refused("--station 0 --overrun -1", &["--overrun"]);
    refused("--station 0 --overrun 0.2 --expected 0.2", &["overrun", "0.2"]);
    refused("--station 0 --feed 0", &["--feed"]);
    refused("--station 0 --dwell -1", &["--dwell"]);
    refused("--station nan", &["nan"]);
    refused("--station 1e99", &["machine"]);
    folder.takeup("routine reversal --axis z --station 0 -o - --sheet -").done().refused(&["same place"]);
    let run = folder.takeup("routine reversal --axis z --station 0 -o -").done().exit(0);
    assert_eq!(stops(&run.stdout, 'Z').len(), 10, "{run:?}");
}

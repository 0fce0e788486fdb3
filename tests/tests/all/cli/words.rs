//! What the answers say: true, once, and with a next step that can be typed as it stands.

use super::readings::sheet;
use takeup_tests::Folder;

/// One lift between two cuts at the same height: a program that slack of Z does not spoil.
const ONE_LIFT: &str =
    "%\nN10\tG21\tG90\nG0 Z5\nG0 X0 Y0\nG1 Z-1 F100\nX50\nG0 Z5\nX0\nG1 Z-1\nX50\nM30\n%\n";

/// Twenty returns that drift by single steps of a coarse dial.
fn returns() -> String {
    let mut text = "# axis: Z\n# routine: return\n# units: mm\n# resolution: 0.01\n".to_owned();
    text.push_str("target,approach,reading,time\n");
    for lift in 0..20 {
        let pause = 300 * (lift / 5);
        text.push_str(&format!("-10,-,{},{}\n", if lift > 12 { "-0.01" } else { "0" }, 7 * lift + pause));
    }
    text
}

#[test]
fn the_next_step_can_be_typed_as_it_stands() {
    let folder = Folder::new();
    let name = "bed mill, Z before the repair of the coupling.csv";
    folder.write(name, sheet());
    let slip = folder.takeup_args(["assess", name]).done().exit(0).stdout;
    // Quoted, and on one line.
    assert!(slip.contains(&format!("takeup table build '{name}' -o z.table")), "{slip}");
    let slip = folder.takeup("assess -").stdin(sheet()).done().exit(0).stdout;
    assert!(slip.contains("takeup table build READINGS -o z.table"), "{slip}");
    let plan = ["routine", "reversal", "--axis", "z", "--station", "0", "-o", "a.nc", "--sheet", "my z.csv"];
    let told = folder.takeup_args(plan).done().exit(0).stdout;
    assert!(told.contains("takeup assess 'my z.csv'"), "{told}");
}

#[test]
fn a_decision_that_nobody_asked_for_is_missed() {
    let folder = Folder::new();
    folder.write("a.csv", format!("# limt: 0.1\n{}", sheet()));
    let hint = "Give the loss allowed (--limit,";
    let slip = folder.takeup("assess a.csv").done().exit(0).stdout;
    assert!(slip.contains(hint), "{slip}");
    let slip = folder.takeup("assess a.csv --limit 0.1").done().exit(0).stdout;
    assert!(!slip.contains(hint), "{slip}");
}

#[test]
fn one_of_a_thing_is_one_thing_and_nothing_is_said_twice() {
    let folder = Folder::new();
    folder.write("a.nc", ONE_LIFT);
    let answer = folder.takeup("exposure a.nc --play z=0.1").done().exit(0).stdout;
    assert!(answer.starts_with("Not exposed") && answer.contains("; 1 lift.\n"), "{answer}");
    assert!(answer.ends_with("\nNo correction is needed for this slack.\n"), "{answer}");
    folder.takeup("measure reversal --axis z --station 0 -o z.csv").stdin("0.2\n").done().exit(2);
    let again = folder.takeup("measure reversal --axis z --station 0 -o z.csv").done().exit(2).stderr;
    assert!(again.contains("going on after 1 reading in z.csv"), "{again}");
    let none = folder.takeup("measure reversal --axis z --station 0 -o none.csv").done().exit(2).stderr;
    assert!(none.contains("paused: 0 of 10 readings are taken\n"), "{none}");
}

#[test]
fn a_standard_deviation_is_not_below_0_and_what_repeats_is_not_said_to_scatter() {
    let folder = Folder::new();
    folder.write("r.csv", returns());
    let document = folder.takeup("assess r.csv --json").done().exit(0).json();
    // The interval of the document is even about its value by contract; what people see is not.
    assert!(document["drift"]["scatter"]["low_95"].as_f64().unwrap() < 0.0, "{document}");
    let said = document["causes"].to_string();
    assert!(said.contains("readings repeat") && !said.contains("do not repeat"), "{said}");
    assert!(said.contains("readings scatter no more than the indicator explains"), "{said}");
    let slip = folder.takeup("assess r.csv").done().exit(0).stdout;
    let scatter = slip.lines().find(|line| line.contains("scatter of one return")).expect("a line");
    assert!(!scatter.contains('-'), "{slip}");
    folder.takeup("log add r.csv --log a.log").done().exit(0);
    let trend = "log trend --quantity return-scatter --log a.log";
    let chart = folder.takeup(trend).done().exit(0).stdout;
    let ends =
        chart.lines().find(|line| line.trim_start().starts_with("mm ")).expect("the ends of the chart");
    assert!(!ends.contains('-'), "{chart}");
    let found = folder.takeup(&format!("{trend} --json")).done().exit(0).json();
    assert_eq!(found["sessions"][0]["return_scatter"]["low_95"], 0.0, "{found}");
}

#[test]
fn what_is_smaller_than_the_last_digit_is_not_called_nothing() {
    let folder = Folder::new();
    folder.write("a.nc", ONE_LIFT);
    folder.write("b.nc", ONE_LIFT.replace("X50\nG0", "X50.0004\nG0"));
    let answer = folder.takeup("replay a.nc b.nc --play z=0.1").done().exit(0).stdout;
    assert!(answer.contains("within 0.0004 mm"), "{answer}");
}

#[test]
fn wrong_words_are_refused_in_the_words_of_people() {
    let folder = Folder::new();
    let whole = folder.takeup("routine reversal --axis z --station 0 -o a.nc --cycles 2.5");
    whole.done().refused(&["2.5", "--cycles", "a whole number was expected"]);
    let other = folder.takeup("table export mill.table -o x.csv").done().exit(2).stderr;
    assert!(other.contains("unexpected argument '-o'") && !other.contains("-- -o"), "{other}");
    folder.write("a.csv", sheet());
    folder.write("b.csv", sheet());
    folder.takeup("table build a.csv b.csv -o z.table").done().refused(&[
        "b.csv",
        "axis Z",
        "station -40 mm is there twice",
    ]);
    folder.write("taken", "");
    folder.takeup("demo taken").done().refused(&["taken", "Give another name."]);
}

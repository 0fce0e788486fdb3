//! Several readings files of one sitting, through `assess`.

use super::readings::sheet;
use takeup_core::measure::Kind;
use takeup_core::measure::cause::Name;
use takeup_core::measure::small_steps::Curve;
use takeup_tests::{Folder, together};

/// A staircase of 0.01 mm steps up, down and up again, on a table that loses 0.05 mm in a way.
fn staircase(curve: Curve) -> String {
    let mut text = "# axis: Z\n# routine: small-steps\n# resolution: 0.001\n".to_owned();
    text.push_str("target,approach,reading\n0,-,0\n");
    let way = |n: i32| curve.moved_mm(0.01 * f64::from(n));
    // Not every reading is as the curve has it.
    let wander = |n: i32| f64::from(n * 7 % 3 - 1) * 0.001;
    let row = |n: i32, sign: char, at: f64| format!("{:.2},{sign},{:.3}\n", 0.01 * f64::from(n), at);
    for _ in 0..2 {
        (1..=30).for_each(|n| text.push_str(&row(n, '+', way(n) + wander(n))));
        let top = way(30);
        (0..30).rev().for_each(|n| text.push_str(&row(n, '-', top - way(30 - n) + wander(n))));
    }
    text
}

fn returns() -> String {
    let mut text = "# axis: Z\n# routine: return\n# resolution: 0.001\n".to_owned();
    text.push_str("target,approach,reading,time\n");
    for n in 0..20 {
        let off = 0.001 * f64::from(n * 7 % 3 - 1);
        text.push_str(&format!("-40,-,{off:.3},{}\n", 20 * n + 300 * (n / 5)));
    }
    text
}

fn three(curve: Curve) -> Folder {
    let folder = Folder::new();
    folder.write("rev.csv", sheet());
    folder.write("steps.csv", staircase(curve));
    folder.write("ret.csv", returns());
    folder
}

const WOUND: Curve = Curve { dead_band_mm: 0.0, wind_up_mm: 0.05 };

#[test]
fn a_staircase_tells_what_a_reversal_test_sees_alike() {
    let gap = Curve { dead_band_mm: 0.05, wind_up_mm: 0.0 };
    for (curve, cause, other) in [(gap, "clearance", "wind-up"), (WOUND, "wind-up", "clearance")] {
        let folder = three(curve);
        let alone = folder.takeup("assess rev.csv --json").done().exit(0).json();
        assert_eq!(alone["causes"][0]["cause"], "clearance");
        let run = folder.takeup("assess rev.csv steps.csv ret.csv --json").done().exit(0);
        let all = run.json();
        assert_eq!(all["schema"], "takeup.sitting/1");
        assert_eq!(all["axis"], "Z");
        // Each document is the one of the file alone.
        assert_eq!(all["tests"][0]["assessment"], alone);
        assert_eq!(all["tests"][2]["file"], "ret.csv");
        assert_eq!(all["causes"][0]["cause"], cause, "{run:?}");
        let causes = all["causes"].as_array().unwrap();
        let weights: f64 = causes.iter().map(|cause| cause["weight"].as_f64().unwrap()).sum();
        assert!((weights - 1.0).abs() < 1e-9, "{run:?}");
        // The reversal test says nothing between the two, the staircase all.
        let factor = |name: &str, test: usize| {
            let found = causes.iter().find(|cause| cause["cause"] == name).unwrap();
            found["evidence"][test]["odds_factor"].as_f64().unwrap()
        };
        assert!(factor(cause, 1) > 10.0 && factor(other, 1) < 0.5, "{run:?}");
        assert!((0.3..3.0).contains(&factor(cause, 2)), "{run:?}");
    }
}

#[test]
fn the_slip_says_together_first_and_then_apart() {
    let folder = three(WOUND);
    let slip = folder.takeup("assess rev.csv steps.csv ret.csv --limit 0.01").done().exit(1).stdout;
    let alone = folder.takeup("assess rev.csv --limit 0.01").done().exit(1).stdout;
    let answer = answer(&slip);
    assert!(answer.starts_with(alone.lines().next().unwrap()), "{slip}\n{alone}");
    assert!(
        answer.contains(": OVER the limit of 0.010 mm. Likeliest, by 3 tests together: wind-up ("),
        "{slip}"
    );
    for words in ["rev.csv, reversal:", "likelier by it", "OVER the limit", "Caution:", "same faults"] {
        assert!(slip.contains(words), "{words} is not in\n{slip}");
    }
    assert!(slip.lines().all(|line| line.chars().count() <= 80), "{slip}");
}

/// The answer, which comes first and may take several lines.
fn answer(slip: &str) -> String {
    let lines: Vec<&str> = slip.lines().take_while(|line| !line.is_empty()).map(str::trim).collect();
    lines.join(" ").replace('\u{a0}', " ")
}

/// Simulated sittings of two faults: both are named in the answer, and in the document.
#[test]
fn two_faults_come_with_the_lost_motion() {
    for (pair, words, software) in [
        ([Name::Clearance, Name::Slip], "clearance and slip (", "cannot correct slip"),
        ([Name::OverCorrected, Name::Thermal], "over-corrected and thermal (", "cannot correct thermal"),
        ([Name::Clearance, Name::WindUp], "clearance and wind-up (", "can correct them"),
    ] {
        for seed in [1, 2, 3] {
            let folder = Folder::new();
            let said = together::sitting(Kind::Reversal, &pair, seed);
            for (name, said) in ["rev.csv", "steps.csv", "ret.csv"].iter().zip(&said) {
                folder.write(name, &said.file);
            }
            for units in ["", " --units in"] {
                let run = folder.takeup(&format!("assess rev.csv steps.csv ret.csv --limit 0.005mm{units}"));
                let slip = run.done().exit(1).stdout;
                let first = answer(&slip);
                let decided = first.find(": OVER the limit of ").expect("the decision");
                let named = first.find(words).unwrap_or_else(|| panic!("{pair:?}, seed {seed}\n{slip}"));
                assert!(first.contains(" on reversal (") && decided < named, "{slip}");
                // Where another state is nearly as likely, it is named instead.
                assert!(first.contains(software) || first.contains("%), or "), "{slip}");
                assert!(slip.lines().all(|line| line.chars().count() <= 80), "{slip}");
            }
            let all = folder.takeup("assess rev.csv steps.csv ret.csv --json").done().exit(0).json();
            let likely = &all["likely"][0];
            let names: Vec<&str> = pair.iter().map(|name| name.name()).collect();
            assert_eq!(likely["causes"], serde_json::json!(names), "seed {seed}");
            let probability = likely["probability"].as_f64().unwrap();
            assert!(probability >= all["likely"][1]["probability"].as_f64().unwrap(), "{}", all["likely"]);
            for cause in all["causes"].as_array().unwrap() {
                if names.contains(&cause["cause"].as_str().unwrap()) {
                    // It is there in this state, and in others.
                    let there = cause["there"].as_f64().unwrap();
                    assert!(there > 0.5 && there >= probability - 1e-12 && there <= 1.0, "{cause}");
                }
            }
        }
    }
}

// Without a test that gives the lost motion there is none to tell.
#[test]
fn a_sitting_without_lost_motion_names_the_causes_alone() {
    let folder = three(WOUND);
    let slipping = returns().replace(",-0.001,", ",-0.061,").replace(",0.001,", ",0.064,");
    folder.write("again.csv", slipping);
    let first = answer(&folder.takeup("assess ret.csv again.csv").done().exit(0).stdout);
    assert!(first.starts_with("Z, by 2 tests together: ") && !first.contains("on reversal"), "{first}");
}

#[test]
fn tests_that_do_not_belong_together_are_refused() {
    let folder = three(WOUND);
    let with = |name: &str, text: &str| {
        folder.write(name, format!("{text}{}", sheet()));
        folder.takeup(&format!("assess steps.csv day.csv {name}")).done()
    };
    folder.write("day.csv", format!("# machine: bed mill\n# taken: 2026-03-02T08:30:00Z\n{}", returns()));
    with("b.csv", "# machine: lathe\n").refused(&["b.csv", "lathe", "bed mill", "apart"]);
    with("b.csv", "# taken: 2026-03-09T08:30:00Z\n").refused(&["b.csv", "168 hours", "day.csv"]);
    with("b.csv", "# taken: 2026-03-02T11:30:00Z\n").exit(0);
    let other = sheet().replace("axis: Z", "axis: X");
    folder.write("x.csv", other);
    folder.takeup("assess steps.csv x.csv").done().refused(&["x.csv", "axis X", "steps.csv", "axis Z"]);
    folder.takeup("assess rev.csv rev.csv").done().refused(&["same readings", "twice"]);
    folder.takeup("assess rev.csv steps.csv --routine reversal").done().refused(&["--routine", "each file"]);
    folder.takeup("assess - -").stdin(sheet()).done().refused(&["named twice"]);
    folder.takeup("assess").done().exit(2);
}

// Two tests of one kind count as two.
#[test]
fn two_of_a_kind_argue_more_than_one() {
    let folder = three(WOUND);
    let again = sheet().replace("-40,", "-80,");
    folder.write("again.csv", again);
    let weight = |files: &str| {
        let all = folder.takeup(&format!("assess {files} --json")).done().exit(0).json();
        let causes = all["causes"].as_array().unwrap().clone();
        causes.iter().find(|cause| cause["cause"] == "none-shown").unwrap()["weight"].as_f64().unwrap()
    };
    assert!(weight("rev.csv again.csv ret.csv") < weight("rev.csv ret.csv"));
}

//! Readings files as people and spreadsheets make them, through `assess`.

use takeup_tests::Folder;

/// A reversal test with 0.25 mm commanded and 0.20 mm shown, which is 0.05 mm lost (common practice, no source).
pub(super) fn sheet() -> String {
    let mut text = "# axis: Z\n# routine: reversal\n# units: mm\n# resolution: 0.001\n".to_owned();
    text.push_str("target,approach,reading\n");
    for wander in [0.0, 0.001, -0.001, 0.001, 0.0] {
        text.push_str(&format!("-40,-,{:.3}\n-40,+,{:.3}\n", 0.25 + wander, 0.20 + wander));
    }
    text
}

fn lost(run: &takeup_tests::Finished) -> f64 {
    run.json()["lost_motion"]["value"].as_f64().expect("a number")
}

#[test]
fn the_trade_check_comes_out_in_both_units() {
    let folder = Folder::new();
    folder.write("a.csv", sheet());
    let mm = folder.takeup("assess a.csv --json").done().exit(0);
    assert!((lost(&mm) - 0.05).abs() < 1e-9, "{mm:?}");
    assert_eq!(mm.json()["units"], "mm");
    let inch = folder.takeup("assess a.csv --json --units in").done().exit(0);
    assert!((lost(&inch) - 0.05 / 25.4).abs() < 1e-9, "{inch:?}");
    assert_eq!(inch.json()["units"], "in");
    assert!((inch.json()["stations"][0]["target"].as_f64().unwrap() + 40.0 / 25.4).abs() < 1e-9);
}

#[test]
fn every_decision_has_its_exit_code() {
    let folder = Folder::new();
    folder.write("a.csv", sheet());
    for (limit, answer, code) in [("0.1", "within", 0), ("0.01", "over", 1), ("0.05", "undecided", 0)] {
        let run = folder.takeup_args(["assess", "a.csv", "--json", "--limit", limit]).done().exit(code);
        assert_eq!(run.json()["decision"]["answer"], answer, "{run:?}");
    }
    // A limit in inches, whatever the file is in.
    let run = folder.takeup("assess a.csv --json --limit 0.004in").done().exit(0);
    assert!((run.json()["decision"]["limit"].as_f64().unwrap() - 0.1016).abs() < 1e-12, "{run:?}");
}

#[test]
fn flags_hold_before_keys() {
    let folder = Folder::new();
    folder.write("a.csv", sheet());
    let run = folder.takeup("assess a.csv --json --axis x --sense - --angle 60").done().exit(0);
    assert_eq!(run.json()["axis"], "X");
    // The sense turns the sign, the cosine of 60 degrees halves the size.
    assert!((lost(&run) + 0.025).abs() < 1e-9, "{run:?}");
    folder.write("bare.csv", sheet().replace("# axis: Z\n# routine: reversal\n# units: mm\n", ""));
    folder.takeup("assess bare.csv").done().refused(&["bare.csv", "axis", "--axis z"]);
    folder.takeup("assess bare.csv --axis z").done().refused(&["bare.csv", "routine"]);
    let run = folder.takeup("assess bare.csv --axis z --routine REVERSAL --units in --json").done().exit(0);
    assert!((lost(&run) - 0.05).abs() < 1e-9 && run.json()["units"] == "in", "{run:?}");
}

#[test]
fn the_same_readings_written_otherwise_give_the_same_answer() {
    let folder = Folder::new();
    folder.write("a.csv", sheet());
    let plain = folder.takeup("assess a.csv --json").done().exit(0);
    let crlf = format!("\u{feff}{}", sheet().replace('\n', ",\r\n"));
    let mixed: String = sheet()
        .lines()
        .map(|line| {
            let fields: Vec<_> = line.split(',').collect();
            match fields[..] {
                [target, approach, reading] => {
                    format!(" {reading} ,\"{}\",\"a, b\",{target}\n\n", approach.to_uppercase())
                }
                _ => format!("{}\n", line.to_uppercase()),
            }
        })
        .collect();
    let mixed = mixed.replace("\"a, b\",target", "remark,Target");
    for text in [crlf, mixed, sheet().replace("0.25", "+.25")] {
        folder.write("b.csv", &text);
        let run = folder.takeup("assess b.csv --json").done().exit(0);
        assert_eq!(run.json(), plain.json(), "{text}");
    }
    let run = folder.takeup("assess - --json").stdin(sheet()).done().exit(0);
    assert_eq!(run.json(), plain.json());
}

#[test]
fn parts_that_do_not_apply_are_absent_and_nothing_is_null() {
    let folder = Folder::new();
    folder.write("a.csv", sheet());
    let run = folder.takeup("assess a.csv --json").done().exit(0);
    assert!(!run.stdout.contains("null"), "{run:?}");
    for part in ["decision", "along_travel", "positioning", "take_up", "machine"] {
        assert!(run.json().get(part).is_none(), "{part} {run:?}");
    }
    let weights =
        run.json()["causes"].as_array().unwrap().iter().map(|c| c["weight"].as_f64().unwrap()).sum::<f64>();
    assert!((weights - 1.0).abs() < 1e-12, "{run:?}");
}

#[test]
fn bad_files_get_one_clear_error() {
    let folder = Folder::new();
    let good = sheet();
    let cases: Vec<(&str, Vec<u8>, &[&str])> = vec![
        ("empty", Vec::new(), &["empty"]),
        ("missing", good.replace("approach", "side").into(), &["bad.csv:5", "approach"]),
        ("comma", good.replace("0.251", "0,251").into(), &["bad.csv:8", "point"]),
        ("quoted comma", good.replace("0.251", "\"0,251\"").into(), &["bad.csv:8", "decimal comma"]),
        ("nan", good.replace("0.251", "NaN").into(), &["bad.csv:8", "NaN"]),
        ("text", good.replace("0.251", "about .25").into(), &["bad.csv:8", "about .25"]),
        ("typographic minus", good.replace(",0.251", ",\u{2212}0.251").into(), &["bad.csv:8", "typographic"]),
        ("carriage returns", good.replace('\n', "\r").into(), &["bad.csv", "carriage return"]),
        (
            "tabs",
            good.replace(',', "\t").into(),
            &["bad.csv:5", "header: target approach reading\n", "not by semicolons or tabs"],
        ),
        ("one approach", good.replace(",+,", ",-,").into(), &["bad.csv", "+ direction"]),
        (
            "one cycle",
            good.lines().take(7).collect::<Vec<_>>().join("\n").into(),
            &["bad.csv", "only one reading"],
        ),
        ("mixed units", format!("# units: in\n{good}").into(), &["bad.csv:4", "units"]),
        ("duplicate", good.replace("approach", "target").into(), &["bad.csv:5", "twice"]),
        ("long line", vec![b'7'; 10_000_000], &["bad.csv:1", "longer"]),
        ("rubbish", (0..=255).cycle().take(100_000).collect(), &["bad.csv:1"]),
        (
            "no rows",
            good.lines().take(5).collect::<Vec<_>>().join("\n").into(),
            &["bad.csv:5", "no readings"],
        ),
        ("program", "%\nG21\nG1 Z1\nM30\n%\n".into(), &["bad.csv:1", "header"]),
        ("limit", good.replace("# units", "# limit: -1\n# units").into(), &["bad.csv:3", "limit"]),
        ("angle", good.replace("# units", "# angle: 90\n# units").into(), &["bad.csv:3", "angle"]),
    ];
    for (name, bytes, words) in cases {
        eprintln!("case: {name}");
        folder.write("bad.csv", &bytes);
        folder.takeup("assess bad.csv").done().refused(words);
        let refusal = folder.takeup("assess bad.csv --json").done().refusal();
        assert_eq!(refusal["file"], "bad.csv");
        folder.takeup("table build bad.csv -o mill.table").done().refused(&["bad.csv"]);
        assert_eq!(folder.names(), ["bad.csv"], "something was written");
    }
    folder.takeup("assess absent.csv").done().refused(&["absent.csv", "no such file"]);
    folder.takeup("assess .").done().refused(&["folder"]);
    folder.write("bad.csv", &good);
    folder.takeup("assess bad.csv --limit -1").done().refused(&["limit", "0 or more"]);
    folder.takeup("assess bad.csv --angle 90").done().refused(&["angle"]);
    folder.takeup("assess bad.csv --limit 0,05").done().refused(&["decimal comma"]);
}

#[test]
fn the_slip_fits_80_columns_without_colour_in_a_pipe() {
    let folder = Folder::new();
    folder.write("a.csv", sheet());
    for units in ["mm", "in"] {
        let run =
            folder.takeup_args(["assess", "a.csv", "--limit", "0.01mm", "--units", units]).done().exit(1);
        assert!(run.stdout.lines().next().unwrap().contains("OVER"), "{run:?}");
        assert!(run.stdout.contains("lock out"), "no caution beside the wrench {run:?}");
        assert!(!run.stdout.contains('\u{1b}'), "{run:?}");
        for line in run.stdout.lines() {
            assert!(line.chars().count() <= 80, "{line:?} {run:?}");
        }
    }
}

// What is written down of the temperature is shown beside the growth that it may explain, where it was written down.
#[test]
fn temperatures_are_shown() {
    let folder = Folder::new();
    let sheet = |temperatures: [&str; 6]| {
        let rows: String = temperatures
            .iter()
            .enumerate()
            .map(|(n, c)| format!("0,{},0.1{n},{c}\n", if n % 2 == 0 { '+' } else { '-' }))
            .collect();
        format!("# axis: Z\n# routine: reversal\ntarget,approach,reading,temperature\n{rows}")
    };
    folder.write("z.csv", sheet(["18.2", "", "21.5", "", "", "21.0"]));
    let slip = folder.takeup("assess z.csv").done().exit(0).stdout;
    let line = "Temperature: 18.2 °C at first, 21.0 °C in the end, between 18.2 and 21.5 °C.";
    assert!(slip.contains(line), "{slip}");
    folder.write("z.csv", sheet(["20"; 6]));
    assert!(folder.takeup("assess z.csv").done().exit(0).stdout.contains("Temperature: 20.0 °C throughout."));
    folder.write("z.csv", sheet([""; 6]));
    assert!(!folder.takeup("assess z.csv").done().exit(0).stdout.contains("Temperature"));
}

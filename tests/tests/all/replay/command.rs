//! The command `replay`: documents, exit codes, refusals, drawings.

use takeup_tests::Folder;

const ORIGINAL: &str =
    "%\nO1 (core box)\nG21 G90 G17\nG0 Z5\nX0 Y0\nG1 Z-1 F200\nX10 Z0\nX20 Z-1\nG0 Z5\nM30\n%\n";
/// Corrected by hand for a Z that loses 0.12 mm on its way up.
const CORRECTED: &str = "%\nO1 (core box)\nG21 G90 G17\nG0 Z5\nX0 Y0\nG1 Z-1 F200\nZ-0.88\nX10 Z0.12\nZ0\nX20 Z-1\nG0 Z5\nM30\n%\n";

fn folder() -> Folder {
    let folder = Folder::new();
    folder.write("original.nc", ORIGINAL);
    folder.write("corrected.nc", CORRECTED);
    folder
}

#[test]
fn a_corrected_program_is_good_and_the_original_is_not() {
    let folder = folder();
    let good = folder.takeup("replay original.nc corrected.nc --play z=0.12 --json").done();
    assert_eq!(good.status.code(), Some(0), "{good:?}");
    let document = good.json();
    assert_eq!(document["schema"], "takeup.replay/1");
    assert_eq!(document["answer"], "good");
    assert_eq!(document["units"], "mm");
    assert_eq!(document["tolerance"], 0.005);
    let number = |document: &serde_json::Value, path: &str| {
        document
            .pointer(path)
            .and_then(serde_json::Value::as_f64)
            .unwrap_or_else(|| panic!("{path}: {document}"))
    };
    assert!((number(&document, "/before/max") - 0.12).abs() < 1e-6, "{good:?}");
    assert!(number(&document, "/after/max") < 1e-6, "{good:?}");
    for figure in ["/before/mean", "/before/p99", "/after/mean", "/after/p99", "/unseated_length"] {
        assert!(number(&document, figure) >= 0.0);
    }

    let same = folder.takeup("replay original.nc original.nc --play z=0.12 --json").done();
    assert_eq!(same.status.code(), Some(1), "{same:?}");
    let document = same.json();
    assert_eq!((&document["answer"], &document["before"]), (&"beyond-tolerance".into(), &document["after"]));
    assert_eq!(document["worst"][0]["line"], 7);
    assert_eq!(document["worst"][0]["at"].as_array().map(Vec::len), Some(3));

    let inches = folder.takeup("replay original.nc corrected.nc --play z=0.12mm --units in --json").done();
    let document = inches.json();
    assert!((number(&document, "/before/max") - 0.12 / 25.4).abs() < 1e-6, "{inches:?}");
    assert!((number(&document, "/tolerance") - 0.005 / 25.4).abs() < 1e-9);
}

#[test]
fn the_answer_comes_first_in_one_line() {
    let folder = folder();
    let good = folder.takeup("replay original.nc corrected.nc --play z=0.12").done();
    assert!(good.stdout.starts_with("Good: "), "{good:?}");
    assert!(good.stdout.contains("single block"), "{good:?}");
    let bad = folder.takeup("replay original.nc original.nc --play z=0.12").done();
    assert!(bad.stdout.starts_with("Beyond tolerance: ") && bad.stdout.contains("line 7"), "{bad:?}");
}

#[test]
fn a_table_says_the_same_as_a_width() {
    let folder = folder();
    let from = |slack: &str| {
        let run = folder.takeup(&format!("replay original.nc original.nc {slack} --json")).done();
        run.json()["before"].clone()
    };
    assert_eq!(from("--play z=0.12 --seat z=-"), from("--play z=0.12"));
    assert_ne!(from("--play z=0.12 --seat z=+"), from("--play z=0.12"));
}

#[test]
fn a_program_that_cannot_be_followed_is_refused_by_line_and_word() {
    let folder = folder();
    folder.write("loop.nc", "G0 X1\nM98 P1000\n");
    let run = folder.takeup("replay original.nc loop.nc --play z=0.12 --json --plot view.svg").done();
    assert_eq!(run.status.code(), Some(2), "{run:?}");
    let document = run.json();
    assert_eq!(document["schema"], "takeup.refusal/1");
    assert_eq!((&document["line"], &document["word"]), (&2.into(), &"M98".into()));
    assert!(!folder.names().contains(&"view.svg".to_owned()));
    folder.write("words.nc", "G21\nM5\nM30\n");
    for (arguments, said) in [
        ("replay words.nc words.nc --play z=0.12", "there is no move in it"),
        ("replay original.nc corrected.nc", "slack"),
        ("replay original.nc missing.nc --play z=0.1", "missing.nc"),
        ("replay original.nc corrected.nc --play z=0.1 --tolerance=-1", "tolerance"),
        ("replay original.nc corrected.nc --play z=0.1 --plot original.nc", "original.nc"),
    ] {
        let run = folder.takeup(arguments).done();
        assert_eq!(run.status.code(), Some(2), "{run:?}");
        assert!(run.stderr.contains(said), "{run:?}");
    }
}

#[test]
fn where_nothing_is_cut_nothing_is_judged() {
    let folder = Folder::new();
    folder.write("rapids.nc", "G21 G90\nG0 Z5\nX9\nM30\n");
    let run = folder.takeup("replay rapids.nc rapids.nc --play z=0.1").done().exit(0);
    assert!(run.stdout.contains("there was nothing to judge"), "{run:?}");
}

#[test]
fn the_plan_view_has_its_words_as_text() {
    let folder = folder();
    let run = folder.takeup("replay original.nc original.nc --play z=0.12 --plot view.svg").done();
    assert_eq!(run.status.code(), Some(1), "{run:?}");
    let svg = folder.read("view.svg");
    for part in ["<title", "<desc", "role=\"img\"", "beyond 0.02 mm", "line 7: 0.120 mm", "<path"] {
        assert!(svg.contains(part), "{part}\n{svg}");
    }
}

/// A pen or a torch whose height the program leaves to somebody else.
#[test]
fn a_program_that_never_names_z_is_sent_to_no_height() {
    let folder = folder();
    let program = "G21 G90\nG0 X0 Y9\nG2 X0 Y9 I5 F200\nG1 X5\nG0 X9 Y8\nG1 X0\nG0 X2\n";
    folder.write("pen.nc", program);
    let play = "--play x=0.08,y=0.06,z=0.12";
    folder.takeup(&format!("rewrite pen.nc -o pen-corrected.nc {play}")).done().exit(0);
    let corrected = folder.read("pen-corrected.nc");
    let cuts = corrected.lines().filter(|line| line.starts_with('G'));
    assert!(
        corrected.matches("G2 ").count() > 2 && !cuts.clone().any(|line| line.contains('Z')),
        "{corrected}"
    );

    let play = "--play x=0.08,y=0.06";
    let good = folder.takeup(&format!("replay pen.nc pen-corrected.nc {play} --json")).done().exit(0).json();
    assert_eq!(good.get("untold"), None, "{good}");
    let lifted = corrected.replace("\nG1 X-0.08\n", "\nG0 Z0.5\nG0 Z0\nG1 X-0.08\n");
    assert_ne!(lifted, corrected);
    folder.write("lifted.nc", lifted);
    let command = format!("pen.nc lifted.nc {play}");
    let document = folder.takeup(&format!("replay {command} --json")).done().exit(1).json();
    assert_eq!(document["untold"], serde_json::json!({"axis": "Z", "line": 6}), "{document}");
    let told = folder.takeup(&format!("replay {command}")).done().exit(1).stdout;
    let page = folder.takeup(&format!("report --program {command} -o page.html")).done().exit(1).stdout;
    for told in [&told, &page] {
        let told = told.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(told.contains("sends Z to a place at line 6 of the original"), "{told}");
    }
}

/// The same reasons in the answer of `replay`, in its document and on the page.
#[test]
fn each_adverse_answer_names_its_own_reason() {
    let folder = folder();
    let program = |cuts: &str| format!("G21 G90 G17\nG0 Z5\nX0 Y0\n{cuts}G0 Z5\nM30\n");
    folder.write("flat.nc", program("G1 Z-1 F200\nX10\nX20\n"));
    for (name, cuts, reason, rapid, missing) in [
        ("rapid.nc", "G1 Z-1 F200\nX10\nG0 X20\n", "makes 10.000 mm of the cuts in rapid", 10.0, 0),
        ("short.nc", "G1 Z-1 F200\nX10\n", "off the path intended", 0.0, 2),
    ] {
        folder.write(name, program(cuts));
        let command = format!("flat.nc {name} --play z=0.12");
        let document = folder.takeup(&format!("replay {command} --json")).done().exit(1).json();
        assert_eq!(document["rapid_length"], rapid, "{document}");
        assert_eq!(document["missing_moves"], missing, "{document}");
        let told = folder.takeup(&format!("replay {command}")).done().exit(1).stdout;
        let page = folder.takeup(&format!("report --program {command} -o page.html")).done().exit(1).stdout;
        for told in [&told, &page] {
            let told = told.split_whitespace().collect::<Vec<_>>().join(" ");
            assert!(told.contains(reason), "{name}: {told}");
        }
        let counterpart = "2 moves of the original have no counterpart";
        for told in [&told, &folder.read("page.html")] {
            assert_eq!(told.contains(counterpart), missing > 0, "{name}: {told}");
        }
    }
    // Nothing is known of an axis that never moved: that is said, and no other reason.
    folder.write("unseated.nc", "G21 G90 G17\nG1 X10 F200\nX20\nM30\n");
    let command = "unseated.nc unseated.nc --play y=0.12";
    for command in [format!("replay {command}"), format!("report --program {command} -o page.html")] {
        let told = folder.takeup(&command).done().exit(1).stdout;
        assert!(told.starts_with("Not shown: ") && told.contains("seat is not known"), "{told}");
    }
}

#[test]
fn a_program_without_a_unit_is_told_of_by_every_command_that_reads_one() {
    let folder = Folder::new();
    let with = |unit: &str| format!("(core box)\n{unit}G90\nG0 Z5\nX0 Y0\nG1 Z-1 F200\nX10\nG0 Z5\nM30\n");
    for (unit, line) in [("", Some(3)), ("G21 ", None), ("G70 ", None)] {
        folder.write("box.nc", with(unit));
        let commands = [
            "rewrite box.nc -o corrected.nc --play z=0.1",
            "exposure box.nc --play z=0.1",
            "replay box.nc corrected.nc --play z=0.1",
        ];
        for command in commands {
            let run = folder.takeup(command).done().exit(0);
            let document = folder.takeup(&format!("{command} --json")).done().exit(0).json();
            let warned = document["warnings"].as_array().map(|all| all.first().cloned());
            let warned_at = warned.expect("a list").map(|warning| warning["line"].as_u64());
            assert_eq!(warned_at, line.map(Some), "{command}: {document}");
            let told = [run.stdout.as_str(), &run.stderr].join(" ");
            let words = told.split_whitespace().collect::<Vec<_>>().join(" ");
            assert_eq!(
                words.contains("neither G20 nor G21 stands before this move"),
                line.is_some(),
                "{command}, {unit:?}: {run:?}"
            );
        }
    }
}

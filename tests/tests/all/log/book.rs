//! Adding, noting, listing, correcting, trend, bundles.

use super::assessment;
use takeup_tests::Folder;

fn with_sessions(values: &[f64]) -> Folder {
    let folder = Folder::new();
    for (week, value) in values.iter().enumerate() {
        folder.write("s.json", assessment(*value, 0.001).to_string());
        let day = 1 + 7 * week;
        let (month, day) = (1 + day / 28, 1 + day % 28);
        folder
            .takeup(&format!("log add s.json --machine bed-mill --taken 2026-{month:02}-{day:02} --log l.db"))
            .done()
            .exit(0);
    }
    folder
}

#[test]
fn same_session_twice_is_one_entry() {
    let folder = Folder::new();
    folder.write("a.json", assessment(0.02, 0.001).to_string());
    // The same document with other white space and order of keys.
    folder.write("b.json", serde_json::to_string_pretty(&assessment(0.02, 0.001)).unwrap());
    folder.write("c.json", assessment(0.03, 0.001).to_string());
    let first = folder.takeup("log add a.json c.json --log l.db --json").done().exit(0).json();
    assert_eq!(first["entries"][0]["added"], true);
    let again = folder.takeup("log add b.json --log l.db --json").done().exit(0).json();
    assert_eq!(again["entries"][0]["added"], false);
    assert_eq!(again["entries"][0]["entry"], first["entries"][0]["entry"]);
    let list = folder.takeup("log list --log l.db --json").done().exit(0).json();
    assert_eq!(list["entries"].as_array().unwrap().len(), 2);
    assert_eq!(list["entries"][0]["lost_motion"]["value"], 0.02);
    folder.takeup("log check --log l.db").done().exit(0);
    assert!(!folder.names().iter().any(|name| name.contains("journal")), "{:?}", folder.names());
}

#[test]
fn without_a_name_the_log_is_in_the_data_folder() {
    let folder = Folder::new();
    folder.takeup("log list").done().refused(&["no log here yet", "log add"]);
    folder.write("a.json", assessment(0.02, 0.001).to_string());
    folder.takeup("log add a.json").done().exit(0);
    let list = folder.takeup("log list").done().exit(0);
    assert!(list.stdout.contains("0.020 mm"), "{list:?}");
    assert!(folder.file(".data").is_dir());
}

#[test]
fn a_note_is_about_the_machine_of_the_log() {
    let folder = Folder::new();
    let machine = |command: &str| folder.takeup(command).done().exit(0).json()["machine"].clone();
    assert_eq!(machine("log note new --log empty.db --json"), "mill");
    folder.write("a.json", assessment(0.02, 0.001).to_string());
    folder.takeup_args(["log", "add", "a.json", "--machine", "bed mill", "--log", "l.db"]).done().exit(0);
    assert_eq!(machine("log note greased --log l.db --json"), "bed mill");
    folder.takeup("log add a.json --machine lathe --log l.db").done().exit(0);
    folder.takeup("log note greased --log l.db").done().refused(&["2 machines", "\"bed mill\"", "\"lathe\""]);
    assert_eq!(machine("log note greased --machine lathe --log l.db --json"), "lathe");
}

#[test]
fn one_far_session_is_no_sum_of_small_ones_and_the_advice_is_a_command() {
    let folder = Folder::new();
    for (day, lost) in [("2026-03-02", 0.116), ("2026-03-09", 0.020)] {
        folder.write("s.json", assessment(lost, 0.003).to_string());
        let add = ["log", "add", "s.json", "--machine", "bed mill", "--taken", day, "--log", "l.db"];
        folder.takeup_args(add).done().exit(0);
    }
    let told = folder.takeup("log trend --log l.db").done().exit(1).stdout;
    let told = told.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(told.contains("that session alone is far off") && !told.contains("added up"), "{told}");
    // The advice itself, with what only the person knows filled in; what stands in quotes is one argument.
    let advice = told.split('`').nth(1).and_then(|advice| advice.strip_prefix("takeup ")).expect("a command");
    let advice = advice.replace("--at …", "--at 2026-03-05").replace("\"…\"", "\"coupling tightened\"");
    let mut arguments = Vec::new();
    for (index, part) in advice.split('"').enumerate() {
        match index % 2 {
            0 => arguments.extend(part.split_whitespace()),
            _ => arguments.push(part),
        }
    }
    assert!(arguments.contains(&"bed mill") && arguments.contains(&"coupling tightened"), "{arguments:?}");
    arguments.extend(["--log", "l.db"]);
    folder.takeup_args(arguments).done().exit(0);
    folder.takeup("log trend --log l.db").done().exit(0);
}

#[test]
fn all_files_or_none() {
    let folder = Folder::new();
    folder.write("a.json", assessment(0.02, 0.001).to_string());
    folder.write("bad.json", "{\"schema\": \"takeup.replay/1\"}");
    folder.takeup("log add a.json bad.json --log l.db").done().refused(&["bad.json", "takeup.replay/1"]);
    assert_eq!(folder.names(), ["a.json", "bad.json"]);
    // The way out is one that this command has.
    folder.write("bare.csv", "target,approach,reading\n0,+,0.1\n0,-,0.2\n");
    let refused = folder.takeup("log add bare.csv --log l.db").done();
    refused.refused(&["the axis is given neither", "above the header", "`takeup assess` takes --axis z"]);
}

#[test]
fn loosening_alarms_and_a_repair_starts_anew() {
    let steady: Vec<f64> = (0..12).map(|i| 0.020 + 0.0008 * f64::from(i % 3 - 1)).collect();
    let folder = with_sessions(&steady);
    let trend = folder.takeup("log trend --log l.db --limit 0.05 --json").done().exit(0).json();
    assert_eq!(trend["answer"], "steady");
    assert!(trend["forecast"]["missing"].is_string(), "{trend}");

    let loosening: Vec<f64> = (0..12).map(|i| 0.020 + 0.002 * f64::from(i)).collect();
    let folder = with_sessions(&loosening);
    let run = folder.takeup("log trend --log l.db --limit 0.05").done().exit(1);
    assert!(run.stdout.starts_with("ALARM, axis Z of bed-mill: lost motion has changed"), "{run:?}");
    assert!(run.stdout.contains("reaches 0.050 mm between"), "{run:?}");
    let trend = folder.takeup("log trend --log l.db --limit 0.05 --json").done().exit(1).json();
    assert_eq!(trend["alarm"]["side"], "above");
    // 0.002 mm a week, last session at 0.042 mm: four weeks on, within the interval.
    let week = trend["per_week"]["value"].as_f64().unwrap();
    assert!((week - 0.002).abs() < 1e-4, "{week}");

    folder
        .takeup_args([
            "log",
            "note",
            "coupling clamped",
            "--event",
            "repair",
            "--machine",
            "bed-mill",
            "--at",
            "2026-06-01",
            "--log",
            "l.db",
        ])
        .done()
        .exit(0);
    let trend = folder.takeup("log trend --log l.db --json").done().exit(0).json();
    assert_eq!(trend["answer"], "not-measured-since");
    assert_eq!(trend["events"][0]["event"], "repair");
}

#[test]
fn wrong_entry_no_longer_counts_but_stays() {
    let folder = with_sessions(&[0.020, 0.900, 0.021]);
    folder.takeup_args(["log", "note", "dial touched", "--corrects", "2", "--log", "l.db"]).done().exit(0);
    let trend = folder.takeup("log trend --log l.db --json").done().exit(0).json();
    assert_eq!(trend["sessions"].as_array().unwrap().len(), 2);
    let shown = folder.takeup("log show 2 --log l.db --json").done().exit(0).json();
    assert_eq!(shown["corrected_by"], 4);
    folder
        .takeup_args(["log", "note", "again", "--corrects", "2", "--log", "l.db"])
        .done()
        .refused(&["already corrected", "4"]);
    folder
        .takeup_args(["log", "note", "none", "--corrects", "77", "--log", "l.db"])
        .done()
        .refused(&["no entry 77"]);
    folder.takeup("log check --log l.db").done().exit(0);
}

#[test]
fn bundles_merge_and_change_nothing_twice() {
    let a = with_sessions(&[0.020, 0.021, 0.022]);
    let b = with_sessions(&[0.020, 0.031]);
    a.takeup("log export -o a.jsonl --log l.db").done().exit(0);
    std::fs::copy(a.file("a.jsonl"), b.file("a.jsonl")).unwrap();
    let first = b.takeup("log import a.jsonl --log l.db --json").done().exit(0).json();
    assert_eq!((&first["added"], &first["known"]), (&2.into(), &1.into()));
    let bytes = std::fs::read(b.file("l.db")).unwrap();
    let second = b.takeup("log import a.jsonl --log l.db --json").done().exit(0).json();
    assert_eq!(second["added"], 0);
    assert!(bytes == std::fs::read(b.file("l.db")).unwrap(), "importing twice changed the file");
    // And back: both computers hold the same entries.
    b.takeup("log export -o b.jsonl --log l.db").done().exit(0);
    std::fs::copy(b.file("b.jsonl"), a.file("b.jsonl")).unwrap();
    a.takeup("log import b.jsonl --log l.db").done().exit(0);
    a.takeup("log export -o a2.jsonl --log l.db").done().exit(0);
    let sorted = |text: String| {
        let mut lines: Vec<_> = text.lines().map(str::to_owned).collect();
        lines.sort();
        lines
    };
    assert_eq!(sorted(a.read("a2.jsonl")), sorted(b.read("b.jsonl")));

    // Cut short, altered, or something else: refused, nothing changed.
    let whole = a.read("a.jsonl");
    let cut = whole.lines().take(2).collect::<Vec<_>>().join("\n");
    b.write("cut.jsonl", cut + "\n");
    b.takeup("log import cut.jsonl --log l.db").done().refused(&["3 entries", "has 1"]);
    b.write("altered.jsonl", whole.replace("0.021", "0.011"));
    b.takeup("log import altered.jsonl --log l.db").done().refused(&["altered.jsonl:3", "digest"]);
    b.write("other.jsonl", "hello\n");
    b.takeup("log import other.jsonl --log l.db").done().refused(&["not a bundle"]);
}

/// A reversal test of five cycles at one station, 0.05 mm lost, readings to a micrometre.
const READINGS: &str = "# axis: Z\n# routine: reversal\n# machine: bed-mill\n# taken: 2026-03-02T08:30:00Z\ntarget,approach,reading\n\
0,+,0.000\n0,-,0.050\n0,+,0.001\n0,-,0.051\n0,+,-0.001\n0,-,0.050\n0,+,0.000\n0,-,0.049\n0,+,0.001\n0,-,0.051\n";

#[test]
fn readings_and_their_assessment_are_one_session() {
    let folder = Folder::new();
    folder.write("z.csv", READINGS);
    let assessed = folder.takeup("assess z.csv --json").done().exit(0);
    folder.write("z.json", &assessed.stdout);
    let first = folder.takeup("log add z.csv --log l.db --json").done().exit(0).json();
    assert_eq!(first["entries"][0]["machine"], "bed-mill");
    assert_eq!(first["entries"][0]["at"], "2026-03-02T08:30:00Z");
    let again = folder.takeup("log add z.json z.csv --log l.db --json").done().exit(0).json();
    assert!(again["entries"].as_array().unwrap().iter().all(|entry| entry["added"] == false), "{again}");
    // The raw readings are kept as they were written.
    let shown = folder.takeup("log show 1 --log l.db --json").done().exit(0).json();
    assert_eq!(shown["body"]["readings"], READINGS);
    folder.takeup("log check --log l.db").done().exit(0);
    let same = folder.takeup("compare z.csv z.json --json").done().exit(0).json();
    assert_eq!(same["change"]["value"], 0.0);
}

/// A compensation table of bed-mill, Z 0.118 mm.
fn with_table(folder: &Folder) {
    folder.write("z.json", assessment(0.118, 0.001).to_string());
    folder.takeup("table build z.json -o mill.table --machine bed-mill").done().exit(0);
}

#[test]
fn tables_in_force_are_kept() {
    let folder = Folder::new();
    with_table(&folder);
    let add = "log add mill.table --log l.db --taken 2026-03-04 --json";
    let first = folder.takeup(add).done().exit(0).json();
    assert_eq!(
        (&first["entries"][0]["machine"], &first["entries"][0]["added"]),
        (&"bed-mill".into(), &true.into())
    );
    assert_eq!(folder.takeup(add).done().exit(0).json()["entries"][0]["added"], false);
    let shown = folder.takeup("log show 1 --log l.db --json").done().exit(0).json();
    let exported = folder.takeup("table export mill.table").done().exit(0).json();
    assert_eq!(shown["table"], exported);
    let list = folder.takeup("log list --log l.db").done().exit(0).stdout;
    assert!(list.contains("table: corrects Z up to 0.118 mm"), "{list}");
    // It travels with a bundle, and a bundle with a spoilt table is refused.
    folder.takeup("log export -o b.jsonl --log l.db").done().exit(0);
    folder.takeup("log import b.jsonl --log other.db").done().exit(0);
    folder.takeup("log check --log other.db").done().exit(0);
    // It is what a program is judged by, where nothing else is given.
    folder.takeup("log add z.json --machine bed-mill --log l.db").done().exit(0);
    folder.write("p.nc", "G21 G90 G0 Z5\nG1 Z-1 F100\nG1 X20\nG1 Z0\nG1 X40\nG0 Z5\nM2\n");
    let run = folder.takeup("report --log l.db --program p.nc -o r.html").done().exit(1);
    assert!(run.stdout.contains("up to 0.1180 mm off the path"), "{run:?}");
    let page = folder.read("r.html");
    assert!(page.contains("Compensation table in force since 2026-03-04"));
    // A damaged table is refused before the log is touched.
    let mut bytes = std::fs::read(folder.file("mill.table")).unwrap();
    let last = bytes.len() - 5;
    bytes[last] ^= 1;
    folder.write("bad.table", bytes);
    let before = std::fs::read(folder.file("l.db")).unwrap();
    folder.takeup("log add bad.table --log l.db").done().refused(&["bad.table"]);
    assert!(before == std::fs::read(folder.file("l.db")).unwrap());
}

#[test]
fn other_quantities_are_watched_too() {
    let folder = Folder::new();
    let mut files = Vec::new();
    for week in 0..16 {
        // Lost motion steady, but it repeats worse and worse, and slips more and more.
        let mut document = assessment(0.020, 0.001);
        document["taken"] = format!("2026-{:02}-{:02}T08:00:00Z", 1 + week / 4, 1 + 7 * (week % 4)).into();
        let s = 0.002 * 1.12_f64.powi(week);
        for station in document["stations"].as_array_mut().unwrap() {
            station["plus"]["s"] = s.into();
            station["minus"]["s"] = s.into();
        }
        let slip = 1e-4 * f64::from(week);
        document["drift"] = serde_json::json!({ "per_cycle": { "value": slip, "low_95": slip - 2e-4, "high_95": slip + 2e-4 } });
        let name = format!("s{week}.json");
        folder.write(&name, document.to_string());
        files.push(name);
    }
    folder.takeup(&format!("log add {} --log l.db", files.join(" "))).done().exit(0);
    let trend = |quantity: &str, code: i32| {
        let arguments = format!("log trend --log l.db --quantity {quantity} --json");
        folder.takeup(&arguments).done().exit(code).json()
    };
    assert_eq!(trend("lost-motion", 0)["answer"], "steady");
    let scatter = trend("repeatability", 1);
    assert_eq!((&scatter["answer"], &scatter["alarm"]["side"]), (&"alarm".into(), &"above".into()));
    assert!((scatter["sessions"][0]["repeatability"]["value"].as_f64().unwrap() - 0.002).abs() < 1e-9);
    let slip = trend("slip", 1);
    assert!((slip["per_week"]["value"].as_f64().unwrap() - 1e-4).abs() < 1e-5, "{}", slip["per_week"]);
    folder.takeup("log trend --log l.db --quantity stiffness").done().refused(&["stiffness", "log list"]);
    folder.takeup("log trend --log l.db --quantity speed").done().refused(&["speed", "lost-motion"]);
    // In inches and in words; a limit is in the unit of the quantity.
    let words =
        folder.takeup("log trend --log l.db --quantity slip --units in --limit 0.0001").done().exit(1);
    assert!(words.stdout.contains("slip per lift") && words.stdout.contains(" in "), "{words:?}");
    // The page shows them beside lost motion.
    folder.takeup("report --log l.db -o r.html").done().exit(1);
    let page = folder.read("r.html");
    for title in ["Lost motion over time", "Scatter of a reading over time", "Slip per lift over time"] {
        assert!(page.contains(title), "{title}");
    }
}

#[test]
fn nothing_is_wider_than_a_terminal() {
    let folder = Folder::new();
    let names = [
        "bed mill no. 2 beside the furnace, new knee",
        "bed mill no. 3 beside the furnace, new knee",
        "k\u{fc}hlmill",
    ];
    for (day, name) in names.into_iter().enumerate() {
        let mut document = assessment(0.118 + 0.01 * day as f64, 0.001);
        document["machine"] = name.into();
        document["taken"] = format!("2026-03-0{}T08:00:00Z", day + 1).into();
        folder.write("s.json", document.to_string());
        folder.takeup("log add s.json --log l.db").done().exit(0);
        let text = "the coupling was clamped anew, and the nut looked at while it was open; nothing else was found to be wrong";
        folder
            .takeup_args(["log", "note", text, "--event", "repair", "--machine", name, "--log", "l.db"])
            .done()
            .exit(0);
    }
    let list = folder.takeup("log list --log l.db").done().exit(0).stdout;
    let trend = folder
        .takeup_args(["log", "trend", "--machine", names[0], "--limit", "0.05", "--log", "l.db"])
        .done()
        .exit(0)
        .stdout;
    for line in list.lines().chain(trend.lines()) {
        assert!(line.chars().count() <= 80, "{} wide: {line}", line.chars().count());
    }
    // Names that differ at their ends can still be told apart? Not where both ends are alike; the numbers can.
    assert!(list.contains("bed mill") && list.contains("k\u{fc}hlmill"), "{list}");
    // Similar names: the one meant is offered.
    folder
        .takeup_args(["log", "trend", "--machine", "Kuehlmill", "--log", "l.db"])
        .done()
        .refused(&["Kuehlmill", "bed mill no. 2"]);
    folder
        .takeup_args(["log", "trend", "--machine", "K\u{dc}HLMILL", "--log", "l.db"])
        .done()
        .refused(&["It has \"k\u{fc}hlmill\""]);
    folder.takeup("log trend --log l.db").done().refused(&["3 axes", "--machine"]);
    folder.takeup("report --log l.db -o r.html").done().refused(&["3 machines", "--machine"]);
}

#[test]
fn one_session_is_no_trend() {
    let folder = with_sessions(&[0.020]);
    let run = folder.takeup("log trend --log l.db --limit 0.05").done().exit(0);
    assert!(
        run.stdout.starts_with("One session so far, axis Z of bed-mill: lost motion is 0.020 mm"),
        "{run:?}"
    );
    assert!(run.stdout.contains("1 session since"), "{run:?}");
    folder.takeup("report --log l.db -o r.html").done().exit(0);
    assert!(folder.read("r.html").contains("A trend takes more"));
}

#[test]
fn the_limit_of_a_session_goes_into_the_log_with_it() {
    let folder = Folder::new();
    let session = |lost: f64, limit: f64| {
        let mut document = assessment(lost, 0.001);
        document["decision"] = serde_json::json!({ "limit": limit, "answer": "over" });
        document
    };
    folder.write("a.json", session(0.118, 0.05).to_string());
    folder.takeup("log add a.json --taken 2026-03-02 --log l.db").done().exit(0);
    let trend = folder.takeup("log trend --log l.db --json").done().exit(1).json();
    assert_eq!((&trend["limit"], &trend["answer"]), (&0.05.into(), &"over".into()));
    let page = folder.takeup("report --log l.db -o page.html").done().exit(1).stdout;
    assert!(page.starts_with("OVER THE LIMIT, axis Z of mill"), "{page}");
    // What is given now holds before it; and it is of lost motion, not of any other quantity.
    folder.takeup("log trend --log l.db --limit 0.2").done().exit(0);
    folder.takeup("report --log l.db --limit 0.2 -o page.html").done().exit(0);
    let other = folder.takeup("log trend --log l.db --quantity repeatability --json").done().exit(0).json();
    assert_eq!(other.get("limit"), None);
}

#[test]
fn inch_files_are_told_of_in_inches_unless_told_otherwise() {
    let folder = Folder::new();
    let sheet = |loss: f64| {
        let mut sheet = String::from(
            "# axis: Z\n# routine: reversal\n# units: in\n# resolution: 0.0001\ntarget,approach,reading\n",
        );
        for cycle in 0..5 {
            let wander = 0.0001 * f64::from(cycle % 2);
            sheet += &format!("0,+,{}\n0,-,{}\n", 0.01 + wander, 0.01 + loss - wander);
        }
        sheet
    };
    folder.write("before.csv", sheet(0.0050));
    folder.write("after.csv", sheet(0.0010));
    folder.takeup("log add before.csv --taken 2026-03-02 --log l.db").done().exit(0);
    let gives = |text: &str, unit: &str| {
        let words: Vec<_> = text.split(|c: char| !c.is_alphanumeric() && c != '.').collect();
        words.windows(2).any(|pair| pair[1] == unit && pair[0].parse::<f64>().is_ok())
    };
    for (command, limit) in [
        ("compare before.csv after.csv", "0.002"),
        ("report before.csv -o page.html", "0.009"),
        ("report --log l.db -o page.html", "0.009"),
        ("log trend --log l.db", "0.009"),
    ] {
        let told = folder.takeup(&format!("{command} --limit {limit}")).done().exit(0).stdout;
        assert!(gives(&told, "in") && !gives(&told, "mm"), "{command}: {told}");
        let told = folder.takeup(&format!("{command} --limit {limit}in --units mm")).done().exit(0).stdout;
        assert!(gives(&told, "mm") && !gives(&told, "in"), "{command}: {told}");
    }
    // Not a word of the page in another unit than its numbers.
    for (units, other) in [("", "mm"), ("--units mm", "in")] {
        folder.takeup(&format!("report before.csv {units} -o page.html")).done().exit(0);
        let page = folder.read("page.html");
        let body = page.split("How the numbers").next().unwrap();
        let mixed = body.split(['<', '>']).filter(|text| gives(text, other));
        assert_eq!(mixed.collect::<Vec<_>>(), Vec::<&str>::new(), "{units}");
    }
}

#[test]
fn figures_that_are_no_lengths_keep_their_own_unit() {
    let folder = Folder::new();
    let mut document = assessment(0.02, 0.001);
    let part =
        |value: f64| serde_json::json!({ "value": value, "low_95": 0.9 * value, "high_95": 1.1 * value });
    document["positioning"] = serde_json::json!({ "lead_error_per_length": part(2e-4) });
    document["under_load"] =
        serde_json::json!({ "clearance": part(0.05), "stiffness_n_per_mm": part(9000.0) });
    folder.write("a.json", document.to_string());
    folder.takeup("log add a.json --taken 2026-03-02 --log l.db").done().exit(0);
    for units in ["mm", "in"] {
        let trend = |quantity: &str| {
            let command = format!("log trend --log l.db --quantity {quantity} --units {units} --json");
            folder.takeup(&command).done().exit(0).json()["sessions"][0].clone()
        };
        assert_eq!(trend("lead-error")["lead_error_per_length"]["value"], 2e-4, "{units}");
        assert_eq!(trend("stiffness")["stiffness_n_per_mm"]["value"], 9000.0, "{units}");
        let clearance = trend("clearance")["clearance"]["value"].as_f64().unwrap();
        assert!((clearance - if units == "in" { 0.05 / 25.4 } else { 0.05 }).abs() < 1e-12);
    }
    folder
        .takeup("log trend --log l.db --quantity stiffness --limit 9")
        .done()
        .refused(&["--limit", "stiffness"]);
    folder.takeup("log trend --log l.db --limit -1").done().refused(&["--limit is not positive"]);
    let scatter =
        folder.takeup("log trend --log l.db --quantity repeatability --limit 1").done().exit(0).stdout;
    assert!(scatter.contains("none is made of a scatter"), "{scatter}");
}

#[test]
fn after_a_repair_nothing_is_known_until_it_is_measured_again() {
    let folder = with_sessions(&[0.08, 0.081, 0.08]);
    let trend = "log trend --log l.db --limit 0.05";
    assert_eq!(folder.takeup(&format!("{trend} --json")).done().exit(1).json()["answer"], "over");
    folder.takeup("log note clamped --event repair --at 2026-06-01 --log l.db").done().exit(0);
    let told = folder.takeup(trend).done().exit(0).stdout;
    let words = told.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words.starts_with("Not measured since the machine was changed, axis Z of bed-mill"), "{told}");
    assert!(words.contains("Next: Measure again, the same way"), "{told}");
    let document = folder.takeup(&format!("{trend} --json")).done().exit(0).json();
    assert_eq!(document["answer"], "not-measured-since");
    folder.takeup("report --log l.db --limit 0.05 -o r.html").done().exit(0);
    // One session is known then, and nothing it could be steady against.
    folder.write("s.json", assessment(0.02, 0.001).to_string());
    folder.takeup("log add s.json --machine bed-mill --taken 2026-06-03 --log l.db").done().exit(0);
    let told = folder.takeup(trend).done().exit(0).stdout;
    let words = told.split_whitespace().collect::<Vec<_>>().join(" ");
    let expected = "One session since the machine was changed, axis Z of bed-mill: lost motion is 0.020 mm ± 0.0023 (95 %), \
                    the limit is 0.050 mm. A trend takes more.";
    assert!(words.starts_with(expected), "{told}");
    assert_eq!(folder.takeup(&format!("{trend} --json")).done().exit(0).json()["answer"], "one-session");
    folder.takeup("report --log l.db --limit 0.05 -o r.html").done().exit(0);
    assert!(
        folder.read("r.html").contains("class=\"verdict open\">One session since the machine was changed")
    );
    folder.write("s.json", assessment(0.0201, 0.001).to_string());
    folder.takeup("log add s.json --machine bed-mill --taken 2026-06-10 --log l.db").done().exit(0);
    assert_eq!(folder.takeup(&format!("{trend} --json")).done().exit(0).json()["answer"], "steady");
}

#[test]
fn control_characters_in_a_name_reach_no_terminal_and_no_page() {
    let folder = Folder::new();
    folder.write("a.json", assessment(0.02, 0.001).to_string());
    let name = "mill\u{1b}[31m\u{7}";
    folder.takeup_args(["log", "add", "a.json", "--machine", name, "--log", "l.db"]).done().exit(0);
    for command in ["log note oiled", "log list", "log show 1", "log show 2", "log trend", "report -o r.html"]
    {
        let run = folder.takeup(&format!("{command} --log l.db")).done().exit(0);
        let told = format!("{}{}", run.stdout, run.stderr);
        assert!(!told.contains(['\u{1b}', '\u{7}']), "{command}: {told:?}");
    }
    let page = folder.read("r.html");
    assert!(page.contains("mill?[31m?") && !page.contains(['\u{1b}', '\u{7}']));
}

#[test]
fn a_day_to_come_is_told() {
    let folder = with_sessions(&[0.02]);
    folder.write("s.json", assessment(0.03, 0.001).to_string());
    let said = |arguments: &str| folder.takeup(&format!("{arguments} --log l.db")).done().exit(0).stderr;
    let said = |arguments: &str| said(arguments).split_whitespace().collect::<Vec<_>>().join(" ");
    let note = said("log note oiled --machine bed-mill --at 2996-02-01");
    assert!(
        note.contains("entry 2 is of 2996-02-01, a day to come") && note.contains("--corrects 2"),
        "{note}"
    );
    let add = "log add s.json --machine bed-mill --taken 2962-03-02";
    assert!(said(add).contains("entry 3 is of 2962-03-02"));
    // Added before: nothing new to tell.
    assert_eq!(said(add), "");
    assert_eq!(said("log note oiled --machine bed-mill --at 2006-02-01"), "");
}

#[test]
fn another_kind_of_test_does_not_take_the_limit_away() {
    let folder = Folder::new();
    let mut document = assessment(0.08, 0.001);
    document["decision"] = serde_json::json!({ "limit": 0.05, "answer": "over" });
    folder.write("z.json", document.to_string());
    folder.takeup("log add z.json --taken 2026-03-02 --log l.db").done().exit(0);
    folder.takeup("measure return --axis z --mark -40 --simulate --plain -o r.csv").done().exit(0);
    folder.takeup("log add r.csv --machine mill --log l.db").done().exit(0);
    let document = folder.takeup("log trend --log l.db --json").done().exit(1).json();
    assert_eq!((&document["limit"], &document["answer"]), (&0.05.into(), &"over".into()));
    // The page is judged by lost motion and shows the returns as well.
    folder.takeup("report --log l.db -o r.html").done().exit(1);
    let page = folder.read("r.html").replace('\u{a0}', " ");
    assert!(page.contains("OVER THE LIMIT") && page.contains("Where it came back to, 20"), "{page}");
    assert!(page.contains("<figcaption>Z slips "), "the answer of the returns is beside their plot: {page}");
}

#[test]
fn a_machine_has_one_name() {
    let folder = Folder::new();
    folder.write("a.json", assessment(0.02, 0.001).to_string());
    let add =
        |machine: &str| folder.takeup_args(["log", "add", "a.json", "--machine", machine, "--log", "l.db"]);
    add(" ").done().refused(&["no name", "--machine"]);
    assert!(!folder.file("l.db").exists());
    assert_eq!(add("bed mill").done().exit(0).stderr, "");
    // Spaces around it are nobody's meaning; another spelling may be.
    let again = add(" bed mill ").done().exit(0);
    assert!(again.stdout.contains("already in the log") && again.stderr.is_empty(), "{again:?}");
    let other = add("Bed-mill").done().exit(0).stderr;
    assert!(other.contains("\"Bed-mill\" is new") && other.contains("\"bed mill\""), "{other}");
    folder.takeup_args(["log", "note", "x", "--machine", "", "--log", "new.db"]).done().refused(&["no name"]);
    assert!(!folder.file("new.db").exists());
    let told = folder.takeup("log trend --machine Bed-mill --log l.db").done().exit(0).stdout;
    assert!(told.contains("Charts: CUSUM"), "{told}");
}

#[test]
fn the_design_of_the_charts_is_told_with_its_target() {
    let folder = with_sessions(&[0.020, 0.022, 0.021]);
    let told = folder.takeup("log trend --log l.db").done().exit(0).stdout;
    assert!(told.contains("Charts about the mean before, 0.021 mm: CUSUM k 0.5"), "{told}");
    let document = folder.takeup("log trend --log l.db --json").done().exit(0).json();
    assert!(document["sessions"][0].get("target").is_none(), "{document}");
    let target = document["sessions"][2]["target"].as_f64().unwrap();
    assert!((target - 0.021).abs() < 1e-9, "{target}");
}

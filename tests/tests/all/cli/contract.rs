//! What every command promises alike: with `--json` one document on standard output and nothing else, a refusal
//! in its own form with exit code 2 and nothing written, no line wider than 80 columns, no colour in a pipe.

use super::all_help;
use std::collections::BTreeMap;
use takeup_core::slack::simulated::Faults;
use takeup_tests::boxes::SimulatedBox;
use takeup_tests::{Finished, Folder};

/// The files of the demonstration, and files that are none.
fn shop() -> Folder {
    let folder = Folder::new();
    folder.takeup("demo .").done().exit(0);
    folder
}

fn contents(folder: &Folder) -> BTreeMap<String, u64> {
    folder
        .names()
        .into_iter()
        .map(|name| {
            let length = std::fs::metadata(folder.file(&name)).map_or(0, |metadata| metadata.len());
            (name, length)
        })
        .collect()
}

/// Every command, done; BOX is the port of a box, which is armed as often as a busy machine lets its link fall silent, and
/// so slow that no step is lost by that. Those of a log, which is changed by them, last.
const DONE: [&str; 45] = [
    "demo d",
    "box list",
    "assess z-before.csv",
    "compare z-before.csv z-after.csv",
    "table build z-before.csv -o t.table",
    "table show mill.table",
    "table export mill.table",
    "exposure core-box.nc --play z=0.12 --plot e.svg",
    "rewrite core-box.nc -o o.nc --play z=0.12",
    "rewrite core-box.nc -o o2.nc --table mill.table",
    "replay core-box.nc core-box-corrected.nc --table mill.table --plot r.svg",
    "routine reversal --axis z --station 0,-40 -o a.nc --sheet a.csv",
    "routine positioning --axis x --from 0 --to 400 -o b.nc --sheet b.csv",
    "routine small-steps --axis z --start 0 -o c.nc --sheet c.csv",
    "routine return --axis z --mark 0 -o d.nc --sheet d.csv",
    "routine push-pull --axis x -o e.nc --sheet e.csv",
    "routine warm-up --axis z --mark 0 --stroke 50mm -o f.nc --sheet f.csv",
    "routine indicator --axis z -o g.nc --sheet g.csv",
    "measure small-steps --axis z --start 0 -o s.csv --simulate",
    "measure return --axis z --mark 0 -o t.csv --simulate",
    "measure push-pull --axis x -o u.csv --simulate",
    "measure warm-up --axis z --mark 0 --stroke 50mm -o v.csv --simulate",
    "measure indicator --axis z -o w.csv --simulate",
    "box info BOX",
    "box set BOX high=45mm",
    "box table BOX",
    "box monitor BOX --count 3",
    "box run reversal --box BOX --axis z --station 0,-1mm --cycles 2 --overrun 0.5mm --settle 0.01 \
     --speed 8mm --stands-at 0 -o ba.csv",
    "box run positioning --box BOX --axis z --from 0 --to 2mm --targets 3 --runs 2 --overrun 0.5mm --settle 0.01 \
     --speed 8mm --stands-at 0 -o bb.csv",
    "box run small-steps --box BOX --axis z --start 0 --expected 0.1mm --step 0.02mm --steps 12 --cycles 2 \
     --overrun 0.5mm --settle 0.01 --speed 8mm --stands-at 0 -o bc.csv",
    "box run return --box BOX --axis z --mark 0 --lift 1mm --returns 10 --pause-every 0 --settle 0.01 --speed 8mm \
     --stands-at 0 -o bd.csv",
    "box run warm-up --box BOX --axis z --mark 0 --stroke 1mm --readings 6 --interval 0.01 --settle 0.01 --speed 8mm \
     --stands-at 0 -o be.csv",
    "measure reversal --axis z --station 0 -o m.csv --simulate",
    "measure positioning --axis x --from 0 --to 400 --targets 5 --runs 2 -o p.csv --simulate",
    "report z-before.csv -o r.html",
    "report --log shop.log -o l.html",
    "log list --log shop.log",
    "log show 1 --log shop.log",
    "log trend --log shop.log",
    "log check --log shop.log",
    "log migrate --log shop.log",
    "log export --log shop.log -o b.jsonl",
    "log import b.jsonl --log other.log",
    "log add z-before.csv --log third.log",
    "log note greased --event lubrication --log shop.log",
];

fn no_null(value: &serde_json::Value) -> bool {
    match value {
        serde_json::Value::Null => false,
        serde_json::Value::Array(parts) => parts.iter().all(no_null),
        serde_json::Value::Object(parts) => parts.values().all(no_null),
        _ => true,
    }
}

fn done(run: &Finished) -> bool {
    matches!(run.status.code(), Some(0 | 1))
}

#[test]
fn every_command_answers_with_one_document_or_with_lines_of_80_columns() {
    // Pages and completions alone are no documents.
    let folder = Folder::new();
    let names = all_help(&folder).into_iter().filter(|(_, help)| !help.contains("\nCommands:\n"));
    for (name, _) in names.filter(|(name, _)| name != "completions") {
        assert!(DONE.iter().any(|done| done.starts_with(&name)), "{name} is not among the commands");
    }
    std::thread::scope(|scope| {
        for units in ["mm", "in"] {
            scope.spawn(move || every_command_answers(units));
        }
    });
}

fn every_command_answers(units: &str) {
    let (folder, other) = (shop(), shop());
    let the_box = SimulatedBox::start(Faults { clearance_mm: 0.12, ..Faults::default() });
    for command in DONE {
        let command = command.replace("BOX", &the_box.port);
        let run =
            folder.takeup(&format!("{command} --units {units} --json")).stdin("arm\n".repeat(40)).done();
        assert!(done(&run), "not done {run:?}");
        let document = run.json();
        assert!(document["schema"].as_str().is_some_and(|name| name.starts_with("takeup.")), "{run:?}");
        // What does not apply is absent.
        assert!(no_null(&document), "{run:?}");
        // Whoever measures is told what to do, and that is not the answer.
        let told = ["measure", "box run"].iter().any(|name| command.starts_with(name));
        assert!(run.stderr.is_empty() || told, "{run:?}");

        let run = other.takeup(&format!("{command} --units {units}")).stdin("arm\n".repeat(40)).done();
        assert!(done(&run), "not done {run:?}");
        assert!(!run.stdout.contains('\u{1b}') && !run.stderr.contains('\u{1b}'), "{run:?}");
        // A table for other programs is as wide as it is, and so is a command to be copied.
        let wide = ["table export", "demo"].iter().any(|name| command.starts_with(name));
        for line in run.stdout.lines().filter(|_| !wide) {
            assert!(line.chars().count() <= 80, "{line:?} {run:?}");
        }
    }
}

/// Every place for a file, `?`.
const READ: [&str; 25] = [
    "box info ?",
    "assess ?",
    "compare ? z-after.csv",
    "compare z-before.csv ?",
    "table build ? -o t.table",
    "table show ?",
    "table export ?",
    "exposure ? --play z=0.1",
    "exposure core-box.nc --table ?",
    "rewrite ? -o o.nc --play z=0.1",
    "rewrite core-box.nc -o o.nc --table ?",
    "replay ? core-box-corrected.nc --play z=0.1",
    "replay core-box.nc ? --play z=0.1",
    "replay core-box.nc core-box-corrected.nc --table ?",
    "log add ? --log l.log",
    "log import ? --log l.log",
    "log list --log ?",
    "log trend --log ?",
    "log check --log ?",
    "log migrate --log ?",
    "report ? -o r.html",
    "report --log ? -o r.html",
    "measure reversal --axis z --station 0 -o m.csv --simulate --compare ?",
    "measure reversal --axis z --station 0 -o m.csv --serial ?",
    "measure reversal --axis z --station 0 --box ? -o m.csv --stands-at 0",
];

#[test]
fn what_cannot_be_read_is_refused_in_one_document_and_nothing_is_written() {
    let folder = shop();
    std::fs::create_dir(folder.file("dir")).expect("a folder");
    folder.write("empty", "");
    folder.write("zero", [0; 1000]);
    folder.write("rubbish", (0..=255_u8).cycle().take(5000).collect::<Vec<_>>());
    folder.write(
        "utf16",
        "target,approach,reading\n0,+,1\n".encode_utf16().flat_map(u16::to_le_bytes).collect::<Vec<_>>(),
    );
    folder.write("long", vec![b'9'; 3_000_000]);
    let table = std::fs::read(folder.file("mill.table")).expect("a table");
    folder.write("half", &table[..table.len() / 2]);
    let before = contents(&folder);
    for command in READ {
        for file in ["missing", "empty", "zero", "rubbish", "utf16", "long", "half", "dir"] {
            // Numbers may come from any file; what is none of them is passed over.
            if command.contains("--serial") && !["missing", "dir"].contains(&file) {
                continue;
            }
            let run = folder.takeup(&format!("{} --json", command.replace('?', file))).done();
            let shown = format!("{run:?}");
            let refusal = run.refusal();
            assert!(refusal["way_out"].is_string(), "no way out {shown}");
            assert!(refusal["reason"].as_str().is_some_and(|reason| reason.len() < 400), "{shown}");
            assert_eq!(contents(&folder), before, "something was written {shown}");
        }
    }
}

#[test]
fn an_output_is_never_an_input_nor_another_output() {
    let folder = shop();
    let before = contents(&folder);
    for command in [
        "rewrite core-box.nc -o core-box.nc --play z=0.12",
        "rewrite core-box.nc -o ./core-box.nc --play z=0.12",
        "rewrite core-box.nc -o mill.table --table mill.table",
        "table build z-before.csv -o z-before.csv",
        "report z-before.csv -o z-before.csv",
        "report --log shop.log -o shop.log",
        "exposure core-box.nc --play z=0.1 --plot core-box.nc",
        "replay core-box.nc core-box-corrected.nc --play z=0.1 --plot core-box-corrected.nc",
        "log export --log shop.log -o shop.log",
        "routine reversal --axis z --station 0 -o x.nc --sheet x.nc",
        "routine reversal --axis z --station 0 -o new.txt --sheet ./new.txt",
        "routine reversal --axis z --station 0 -o ../new.txt --sheet ./../new.txt",
        "measure reversal --axis z --station 0 -o z-after.csv --compare z-after.csv --simulate",
        "measure reversal --axis z --station 0 -o m.csv --log m.csv --simulate",
        "measure reversal --axis z --station 0 -o core-box.nc --serial core-box.nc",
    ] {
        folder.takeup(command).done().refused(&["same"]);
        assert_eq!(contents(&folder), before, "{command}");
    }
}

#[test]
fn a_refusal_late_in_a_program_leaves_nothing_on_standard_output() {
    let folder = Folder::new();
    // More than any buffer on the way.
    let program = format!("G21 G90 G1 F300\n{}X1 Q!?\n", "X1 Z1\nX2 Z2\n".repeat(40_000));
    let run = folder.takeup("rewrite - -o - --play z=0.1").stdin(program).done();
    run.refused(&["standard input:80002"]);
}

#[test]
fn standard_input_is_read_once_and_gives_the_same_answer_as_the_file() {
    let folder = shop();
    for (command, file) in [
        ("assess ? --json", "z-before.csv"),
        ("exposure ? --play z=0.1 --json", "core-box.nc"),
        ("replay core-box.nc ? --table mill.table --json", "core-box-corrected.nc"),
        ("compare ? z-after.csv --json", "z-before.csv"),
        ("table show ? --json", "mill.table"),
    ] {
        let bytes = std::fs::read(folder.file(file)).expect("a file");
        let direct = folder.takeup(&command.replace('?', file)).done();
        let piped = folder.takeup(&command.replace('?', "-")).stdin(bytes).done();
        assert_eq!(piped.status, direct.status, "{piped:?}");
        assert_eq!(piped.json(), direct.json(), "{piped:?}");
    }
    for twice in [
        "compare - -",
        "replay - - --play z=0.1",
        "table build - - -o t.table",
        "rewrite - -o o.nc --table -",
    ] {
        let bytes = folder.read("z-before.csv");
        folder.takeup(twice).stdin(bytes).done().refused(&["standard input"]);
    }
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_behind_standard_output_is_told_where_it_can_be() {
    let folder = shop();
    for command in ["assess z-before.csv", "assess z-before.csv --json", "table show mill.table --json"] {
        let full = std::fs::File::options().write(true).open("/dev/full").expect("a full disk");
        let output = folder.takeup(command).command().stdout(full).output().expect("it runs");
        let text = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), Some(2), "{command}: {text}");
        assert!(text.contains("standard output") && text.contains("space"), "{command}: {text}");
    }
}

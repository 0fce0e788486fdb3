//! `takeup demo`: what it shows is what a person gets who runs the same commands.

use super::*;

/// The command lines shown, split as a shell splits them.
fn shown(text: &str) -> Vec<Vec<String>> {
    text.lines().filter_map(|line| line.strip_prefix("$ takeup ")).map(words).collect()
}

fn words(line: &str) -> Vec<String> {
    let (mut words, mut quoted) = (vec![String::new()], false);
    for c in line.chars() {
        match c {
            '\'' => quoted = !quoted,
            ' ' if !quoted => words.push(String::new()),
            c => words.last_mut().expect("never empty").push(c),
        }
    }
    words
}

#[test]
fn every_command_shown_gives_the_answer_shown() {
    let folder = Folder::new();
    let told = folder.takeup("demo shop").done().exit(0).stdout;
    let commands = shown(&told);
    assert!(commands.len() >= 10, "{told}");
    // A log is only ever added to: its sessions are already there, so it is begun anew.
    std::fs::remove_file(folder.file("shop/shop.log")).expect("the log");
    for command in &commands {
        let run = folder.takeup_args(command).done();
        assert!(matches!(run.status.code(), Some(0 | 1)), "{run:?}");
        assert!(told.contains(&run.stdout), "not what the demo showed {run:?}");
    }
}

#[test]
fn the_measured_loss_is_the_simulated_one_and_the_correction_holds() {
    let folder = Folder::new();
    folder.takeup("demo shop").done().exit(0);
    let assess = |file: &str, code| {
        let line = format!("assess {file} --json");
        folder.takeup(&line).done().exit(code).json()
    };
    for (file, truth, code) in [("shop/z-before.csv", 0.118, 1), ("shop/z-after.csv", 0.021, 0)] {
        let document = assess(file, code);
        let lost = &document["lost_motion"];
        let (low, high) = (lost["low_95"].as_f64().unwrap(), lost["high_95"].as_f64().unwrap());
        assert!(low < truth && truth < high, "{file}: {lost}");
    }
    // Against the true clearance, not the measured one: what is left is the error of the measurement.
    let replay =
        folder.takeup("replay shop/core-box.nc shop/core-box-corrected.nc --play z=0.118 --json").done();
    let document: Value = replay.json();
    let (before, after) = (&document["before"]["max"], &document["after"]["max"]);
    assert!(before.as_f64().unwrap() > 0.1 && after.as_f64().unwrap() < 0.01, "{replay:?}");
}

#[test]
fn an_earlier_demo_is_left_alone() {
    let folder = Folder::new();
    let document = folder.takeup("demo shop --json").done().exit(0).json();
    assert_eq!(document["schema"], "takeup.demo/1");
    let listed: Vec<_> = document["files"].as_array().unwrap().iter().map(|f| f.as_str().unwrap()).collect();
    assert!(listed.contains(&"core-box-corrected.nc") && listed.contains(&"shop.log"), "{listed:?}");
    let before = folder.read("shop/core-box.nc");
    folder.takeup("demo shop").done().refused(&["shop.log", "new folder"]);
    assert_eq!(folder.read("shop/core-box.nc"), before);
}

#[test]
fn one_session_after_the_repair_is_neither_an_alarm_nor_called_steady() {
    let folder = Folder::new();
    let told = folder.takeup("demo shop").done().exit(0).stdout;
    let run = folder.takeup("log trend --log shop/shop.log").done().exit(0);
    assert!(
        run.stdout.starts_with("One session since the machine was changed") && told.contains(&run.stdout),
        "{run:?}"
    );
}

#[test]
fn the_readme_shows_the_real_output() {
    let told = Folder::new().takeup("demo").done().exit(0).stdout;
    let readme = include_str!("../../../../README.md");
    let blocks: Vec<_> =
        readme.split("```text\n").skip(1).map(|rest| rest.split("```").next().unwrap()).collect();
    assert!(blocks.len() >= 7);
    for block in blocks {
        assert!(told.contains(block), "the demo does not print:\n{block}\nbut:\n{told}");
    }
}

//! Help, usage errors, broken pipes: what holds for every command.

use std::io::Read;
use std::process::Stdio;
use takeup_tests::Folder;

#[test]
fn help_fits_the_screen_and_names_the_exit_codes() {
    let folder = Folder::new();
    let help = folder.takeup("--help").done().exit(0);
    assert!(help.stdout.contains("Exit codes"), "{help:?}");
    assert!(help.stdout.lines().all(|line| line.chars().count() <= 80), "{help:?}");
    assert_eq!(help.stderr, "");
}

#[test]
fn bad_usage_is_a_refusal_in_both_forms() {
    let folder = Folder::new();
    folder.takeup("").done().refused(&["no command", "--help"]);
    folder.takeup("polish").done().refused(&["polish"]);
    folder.takeup("completions bash --wipe").done().refused(&["--wipe"]);
    folder.takeup("completions bash --units furlong").done().refused(&["furlong"]);
    let refusal = folder.takeup("--json polish").done().refusal();
    assert!(refusal["reason"].as_str().unwrap().contains("polish"));
    assert!(refusal.get("line").is_none());
}

#[test]
fn a_reader_that_goes_away_is_no_error() {
    let folder = Folder::new();
    let mut child = folder
        .takeup("completions zsh")
        .command()
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("takeup starts");
    drop(child.stdout.take());
    let mut stderr = String::new();
    child.stderr.take().expect("a pipe").read_to_string(&mut stderr).expect("text");
    assert_eq!(child.wait().expect("an end").code(), Some(0));
    assert_eq!(stderr, "");
}

#[test]
fn the_help_of_every_command_fits_the_screen() {
    let folder = Folder::new();
    for command in [
        "routine reversal",
        "measure reversal",
        "assess",
        "table build",
        "table export",
        "box run return",
        "box set",
        "completions",
    ] {
        let help = folder.takeup(&format!("{command} --help")).done().exit(0);
        assert!(help.stdout.contains("Example"), "no example {help:?}");
        for line in help.stdout.lines() {
            assert!(line.chars().count() <= 80, "{line:?} {help:?}");
        }
    }
}

#[test]
fn an_adverse_answer_stands_even_if_nobody_reads_it() {
    let folder = Folder::new();
    folder.write("a.csv", super::readings::sheet());
    let mut child = folder
        .takeup("assess a.csv --limit 0.01")
        .command()
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("takeup starts");
    drop(child.stdout.take());
    let mut stderr = String::new();
    child.stderr.take().expect("a pipe").read_to_string(&mut stderr).expect("text");
    assert_eq!((child.wait().expect("an end").code(), stderr.as_str()), (Some(1), ""));
}

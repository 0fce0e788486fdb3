//! Help, usage errors, broken pipes: what holds for every command.

use super::all_help;
use std::io::{Read, Write};
use std::process::{Command, Stdio};
use takeup_core::slack::simulated::Faults;
use takeup_tests::boxes::SimulatedBox;
use takeup_tests::{Folder, takeup_binary};

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
    folder.takeup("measure").done().refused(&["no command", "reversal, positioning, small-steps"]);
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
    for (command, help) in all_help(&Folder::new()) {
        for line in help.lines() {
            assert!(line.chars().count() <= 80, "{command}: {line:?}\n{help}");
        }
    }
}

/// As they stand, in the folder of the demonstration, which the first help promises: a simulated axis and a simulated box stand
/// for the person and the machine. The boxes live through every second, so several commands are tried at once.
#[test]
#[cfg(unix)]
fn every_example_of_the_help_works() {
    const AT_ONCE: usize = 6;
    let shop = Folder::new();
    shop.takeup("demo .").done().exit(0);
    let all = all_help(&shop);
    std::thread::scope(|scope| {
        for first in 0..AT_ONCE {
            let (shop, all) = (&shop, &all);
            scope.spawn(move || {
                all.iter()
                    .skip(first)
                    .step_by(AT_ONCE)
                    .for_each(|(command, help)| examples_work(shop, command, help));
            });
        }
    });
}

#[cfg(unix)]
fn examples_work(shop: &Folder, command: &str, help: &str) {
    let place = takeup_binary().parent().expect("a folder").display().to_string();
    let (_, examples) = help.split_once("\nExample").unwrap_or_else(|| panic!("{command} has no example"));
    let lines: Vec<_> = examples.lines().skip(1).take_while(|line| line.starts_with("  ")).collect();
    assert!(lines.first().is_some_and(|line| line.starts_with("  takeup ")), "{command}: {lines:?}");
    let folder = Folder::new();
    for name in shop.names().iter().filter(|name| shop.file(name).is_file()) {
        std::fs::copy(shop.file(name), folder.file(name)).expect("a copy");
    }
    // The reader of pages may not be there.
    let mut script = format!("set -e\n{}\n", lines.join("\n")).replace("| man -l -", "");
    let the_box = SimulatedBox::start(Faults { clearance_mm: 0.12, ..Faults::default() });
    if command.starts_with("box run") {
        let axis =
            if script.contains("--axis x") { "axis=x low=-2 high=402" } else { "axis=z low=-42 high=2" };
        let set = format!("box set {} {axis} range=1000", the_box.port);
        folder.takeup(&set).done().exit(0);
    }
    script = script.replace("/dev/ttyACM0", &the_box.port);
    if command.starts_with("measure") && !script.contains("--simulate") {
        script = script.replace("-o ", "--simulate -o ");
    }
    // Its box lives through every second: less travel, no pauses, less work, nothing to settle.
    for (slow, quick) in [
        ("--stands-at 0", "--stands-at 0 --settle 0.01"),
        ("--to 400", "--to 8 --targets 3 --runs 2"),
        ("return --box", "return --pause-every 0 --box"),
        ("--stroke 50", "--stroke 2 --interval 0.01 --readings 6"),
    ] {
        if command.starts_with("box run") {
            script = script.replace(slow, quick);
        }
    }
    let run = folder.takeup("").command();
    let mut shell = Command::new("sh");
    shell.current_dir(folder.path()).args(["-c", &script]);
    for (key, value) in run.get_envs() {
        shell.env(key, value.unwrap_or_default());
    }
    let path = format!("{place}:{}", std::env::var("PATH").unwrap_or_default());
    shell.env("PATH", path).env("HOME", folder.path());
    shell.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
    let mut child = shell.spawn().expect("a shell");
    // Whoever asks for none is gone before.
    let _ = child.stdin.take().expect("a pipe").write_all("arm\n".repeat(20).as_bytes());
    let ended = child.wait_with_output().expect("an end");
    println!("{command}: {script}{:?}", ended.status.code());
    assert!(
        matches!(ended.status.code(), Some(0 | 1)),
        "{command}: {script}{}{}",
        String::from_utf8_lossy(&ended.stdout),
        String::from_utf8_lossy(&ended.stderr)
    );
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

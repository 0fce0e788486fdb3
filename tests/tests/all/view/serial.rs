//! An indicator on a serial line, which is a pseudo-terminal here: watched, with a data button, and unplugged.

use super::screen::large;
use super::terminal::{Line, Terminal};
use super::{PLAN, values};
use std::process::Stdio;
use takeup_tests::Folder;

/// A dial that shows the same for so long stands still; with room for a busy machine.
const AT_REST: std::time::Duration = std::time::Duration::from_millis(700);

#[test]
fn a_watched_indicator_is_live_and_enter_takes_what_it_shows() {
    let folder = Folder::new();
    let mut line = Line::new();
    let mut terminal = Terminal::start(&folder.takeup(&format!("{PLAN} --serial {}", line.port)), 80, 24);
    terminal.wait_for("I have seen to it");
    line.send("9.999\r\n");
    terminal.press_for("\r", "Enter takes what the indicator shows");
    // Eight rows of large letters say what to do; those below are the dial.
    let dial = |screen: &str| large(screen)[8..].to_vec();
    let first = terminal.wait_until("the dial", |screen| large(screen).len() >= 12);
    let mut dials = vec![dial(&first)];
    for shown in ["0.1", "0.18", "+00.200"] {
        line.send(&format!("{shown}\r\n"));
        let last = dials.last().expect("the first");
        let moved = terminal.wait_until("the dial moves", |screen| dial(screen) != *last);
        assert!(!dials.contains(&dial(&moved)), "{shown} looks like another reading:\n{moved}");
        dials.push(dial(&moved));
    }
    assert_eq!(values(&folder, "z.csv"), [0.0; 0], "watching is not reading");
    terminal.press_for("\r", "the dial still moves");
    std::thread::sleep(AT_REST);
    terminal.press_for("\r", "row 1: 0.200 is kept");
    line.send("0.0098 in\r\n");
    std::thread::sleep(AT_REST);
    terminal.press_for("\r", "row 2: 0.2489 is kept");
    let screen = {
        line.send("Error 7\r\n");
        terminal.wait_for("the indicator sent")
    };
    assert!(screen.contains("\"Error 7\", which is not a number"), "{screen}");
    // A typed number goes before the one shown.
    terminal.press_for("0.201\r", "row 3: 0.201 is kept");
    assert_eq!(values(&folder, "z.csv"), [0.2, 0.24892, 0.201]);
}

#[test]
fn a_data_button_takes_readings_and_a_doubted_one_is_sent_again() {
    let folder = Folder::new();
    let mut line = Line::new();
    let command = format!("{PLAN} --serial {} --take each", line.port);
    let mut terminal = Terminal::start(&folder.takeup(&command), 80, 24);
    terminal.wait_for("I have seen to it");
    terminal.press_for("\r", "data button takes the reading");
    for (row, reading) in [(1, "0.2"), (2, "0.25"), (3, "0.2"), (4, "0.251")] {
        line.send(&format!("{reading}\n"));
        terminal.wait_for(&format!("row {row}: {reading:0<5} is kept"));
    }
    line.send("2.2\n");
    terminal.wait_for("READ AGAIN?");
    line.send("0.199\n");
    terminal.wait_for("row 5: 0.199 is kept");
    terminal.press_for("u", "is taken back");
    line.send("0.198\n");
    terminal.wait_for("row 5: 0.198 is kept");
    assert_eq!(values(&folder, "z.csv"), [0.2, 0.25, 0.2, 0.251, 0.198]);
}

#[test]
fn without_a_terminal_each_number_of_the_line_is_a_reading() {
    let folder = Folder::new();
    let mut line = Line::new();
    let child = folder
        .takeup(&format!("{PLAN} --serial {} --json", line.port))
        .command()
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("takeup starts");
    // It listens once the file is there; what is sent before is kept by the line.
    for i in 0..12 {
        line.send(if i % 2 == 0 { "0.200\r\n" } else { "0.250\r\n" });
    }
    let output = child.wait_with_output().expect("it ends");
    let text = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(0), "{text}");
    let document: serde_json::Value = serde_json::from_slice(&output.stdout).expect("one document");
    assert!((document["lost_motion"]["value"].as_f64().expect("a number") - 0.05).abs() < 1e-9, "{document}");
    assert_eq!(values(&folder, "z.csv").len(), 12);
}

#[test]
fn a_pipe_or_a_file_of_numbers_is_a_line_too_and_its_end_is_a_pause() {
    let folder = Folder::new();
    folder.write("numbers.txt", "0.2\n0.25\n0.2\n");
    folder
        .takeup(&format!("{PLAN} --serial numbers.txt"))
        .done()
        .refused_after_notes(&["sends no more", "paused: 3 of 12"]);
    assert_eq!(values(&folder, "z.csv"), [0.2, 0.25, 0.2]);
    folder.takeup(&format!("{PLAN} --serial nowhere")).done().refused_after_notes(&["nowhere"]);
    folder.takeup(&format!("{PLAN} --serial z.csv")).done().refused(&["z.csv", "never overwritten"]);
    folder
        .takeup(&format!("{PLAN} --serial numbers.txt --simulate"))
        .done()
        .refused(&["cannot be used with"]);
    folder.takeup(&format!("{PLAN} --baud 9600")).done().refused(&["--serial"]);
    assert_eq!(values(&folder, "z.csv").len(), 3);
}

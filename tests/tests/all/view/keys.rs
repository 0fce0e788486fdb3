//! Every key does what the screen says of it.

use super::screen::large;
use super::terminal::Terminal;
use super::{PLAN, values};
use takeup_tests::Folder;

#[test]
fn cautions_stand_before_the_first_move_and_each_key_does_its_work() {
    let folder = Folder::new();
    let mut terminal = Terminal::start(&folder.takeup(PLAN), 80, 24);
    terminal.wait_for_all(&[
        "I have seen to it",
        "Spindle off and locked out",
        "emergency stop",
        "Z-41 to Z1",
        "Nobody reaches in",
        "manual",
    ]);
    // Nothing is taken before they are seen to.
    terminal.press("0.2");
    terminal.press_for("\r", "reading 1 of 12");
    for key in ["0-9 . - type", "Backspace", "Enter take", "U undo", "R redo", "P pause", "? help"] {
        terminal.wait_for(key);
    }
    assert_eq!(values(&folder, "z.csv"), [0.0; 0]);

    // Typing, erasing, taking.
    terminal.press_for("\r", "no number yet");
    terminal.press("9.9\u{1b}");
    std::thread::sleep(std::time::Duration::from_millis(200));
    terminal.press("0.29\u{7f}\r");
    terminal.wait_for("row 1: 0.200 is kept");
    assert_eq!(values(&folder, "z.csv"), [0.2]);
    terminal.press_for("0.25\r", "row 2: 0.250 is kept");
    terminal.press_for(".2\r", "row 3: 0.200 is kept");

    // Undo and redo: the file goes along, time and all.
    let whole = folder.read("z.csv");
    terminal.press_for("u", "0.200 is taken back; R puts it back");
    assert_eq!(values(&folder, "z.csv"), [0.2, 0.25]);
    terminal.press_for("U", "0.250 is taken back");
    terminal.wait_for("R redo (2)");
    terminal.press_for("r", "0.250 is put back");
    terminal.press_for("R", "0.200 is put back");
    assert_eq!(folder.read("z.csv"), whole);
    terminal.press_for("r", "no reading to put back");
    // A reading taken anew ends the redo.
    terminal.press_for("u", "is taken back");
    terminal.press_for("0.201\r", "row 3: 0.201 is kept");
    terminal.press_for("r", "no reading to put back");

    // What cannot be meant is asked for again.
    terminal.press_for("0,25\r", "decimal comma");
    terminal.press_for("0.2.5\r", "type it again");
    terminal.press_for("x", "does nothing here");
    assert_eq!(values(&folder, "z.csv"), [0.2, 0.25, 0.201]);
    // Inches in a sheet of millimetres are converted.
    terminal.press_for("0.01in\r", "row 4: 0.254 is kept");

    // Help, and back.
    terminal.press_for("?", "this page");
    let words = ["undo", "redo", "pause", "Backspace", "Esc", "Enter", "Ctrl-C", "0-9", "Spindle off"];
    terminal.wait_for_all(&words);
    terminal.press_for(" ", "reading 5 of 12");

    // Pause; the same command goes on.
    terminal.press("p");
    assert_eq!(terminal.end(), 2);
    terminal.wait_for_all(&["paused: 4 of 12", "same command"]);
    let mut terminal = Terminal::start(&folder.takeup(PLAN), 80, 24);
    terminal.wait_for_all(&["Going on: 4 of 12 readings are in z.csv", "indicator was touched"]);
    terminal.press_for("\r", "reading 5 of 12");
    terminal.press_for("u", "0.254 is taken back");
    terminal.press("\u{3}");
    assert_eq!(terminal.end(), 2);
    assert_eq!(values(&folder, "z.csv"), [0.2, 0.25, 0.201]);
}

#[test]
fn a_misread_is_asked_about_at_once() {
    let folder = Folder::new();
    let mut terminal = Terminal::begun(&folder.takeup(PLAN));
    terminal.take(1, &[0.2, 0.25, 0.201, 0.251]);
    let before = terminal.screen();
    terminal.press_for("0.81\r", "READ AGAIN?");
    // No line is cut off.
    let asked = terminal
        .wait_for_all(&["0.810 is far from the others here, 0.200 to 0.201", "The same once more is kept."]);
    // Who stands at the indicator sees it too: what to do now is said in large letters, and then as before.
    let (told, doubted) = (large(&before), large(&asked));
    assert!(doubted.len() >= 4 && doubted[..4] != told[..4], "{asked}");
    assert_eq!(values(&folder, "z.csv").len(), 4);
    // Read again and different: the right one.
    let after = terminal.press_for("0.202\r", "row 5: 0.202 is kept");
    assert!(!after.contains("far from"), "{after}");
    // Read again and the same: meant.
    terminal.press_for("0.52\r", "READ AGAIN?");
    terminal.press_for("0.52\r", "row 6: 0.520 is kept");
    assert_eq!(values(&folder, "z.csv"), [0.2, 0.25, 0.201, 0.251, 0.202, 0.52]);
    // Nobody's dial shows a metre.
    terminal.press_for("1000\r", "more than a dial shows");
    assert_eq!(values(&folder, "z.csv").len(), 6);
}

#[test]
fn at_the_end_the_last_reading_can_still_be_taken_back_and_the_answer_follows() {
    let folder = Folder::new();
    let command = format!("{PLAN} --limit 0.01");
    let mut terminal = Terminal::begun(&folder.takeup(&command));
    for row in 1..=12 {
        let reading = if row % 2 == 1 { "0.2" } else { "0.25" };
        let screen =
            terminal.press_for(&format!("{reading}\r"), &format!("row {row}: {reading:0<5} is kept"));
        if row == 4 {
            assert!(screen.contains("So far Z loses 0.050 mm"), "{screen}");
            // Not a figure of it falls off the edge.
            let words = screen.split_whitespace().collect::<Vec<_>>().join(" ");
            assert!(words.contains("OVER the limit of 0.010 mm; decided"), "{screen}");
            assert!(screen.contains("decided"), "{screen}");
        }
    }
    terminal.wait_for_all(&["show the result", "12 readings"]);
    terminal.press_for("u", "reading 12 of 12");
    terminal.press_for("0.251\r", "show the result");
    terminal.press("\r");
    assert_eq!(terminal.end(), 1, "over the limit");
    terminal.wait_for("Intervals hold the true value");
    assert_eq!(values(&folder, "z.csv")[11], 0.251);
    // The terminal is given back as it was.
    assert!(terminal.raw().contains("\u{1b}[?1049l") && terminal.raw().contains("\u{1b}[?25h"));
}

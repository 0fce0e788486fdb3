//! What the screen looks like: at every size, in both units, without colour, beside a file of the answer.

use super::terminal::Terminal;
use super::{PLAN, values};
use takeup_tests::Folder;

/// The rows that large letters are made of.
pub fn large(screen: &str) -> Vec<String> {
    let block = |c: char| ('\u{2580}'..='\u{259f}').contains(&c);
    screen.lines().filter(|line| line.contains(block)).map(str::to_owned).collect()
}

#[test]
fn it_fits_every_size_and_survives_being_resized() {
    let folder = Folder::new();
    let mut terminal = Terminal::begun(&folder.takeup(PLAN));
    terminal.take(1, &[0.2, 0.25, 0.201, 0.251]);
    terminal.press("0.1");
    let wanted = ["reading 5 of 12", "do now", "dial, mm", "readings so far", "So far Z loses", "? help"];
    for (columns, rows, letters) in
        [(80, 24, 12), (132, 43, 24), (100, 30, 12), (80, 24, 12), (60, 20, 1), (40, 14, 0)]
    {
        terminal.resize(columns, rows);
        let screen = terminal.wait_until(&format!("all of it at {columns} x {rows}"), |screen| {
            wanted.iter().all(|text| screen.contains(text)) && large(screen).len() >= letters
        });
        assert!(screen.lines().count() <= usize::from(rows), "{columns} x {rows}:\n{screen}");
        // The typed digits are kept, and the last line is the one of the keys.
        assert!(screen.trim_end().ends_with("? help"), "{columns} x {rows}:\n{screen}");
        assert!(screen.contains("Z0 moving +: 0.200 0.201"), "{columns} x {rows}:\n{screen}");
        // Where the screen is tall, where the readings point is in large letters too.
        assert_eq!(screen.contains("so far, mm"), rows >= 43, "{columns} x {rows}:\n{screen}");
    }
    // So small that not all fits: what to do and the dial come first, and nothing fails.
    terminal.resize(20, 5);
    terminal.wait_for("do now");
    terminal.resize(80, 24);
    terminal.wait_for("So far Z loses");
    terminal.press_for("99\r", "row 5: 0.199 is kept");
}

#[test]
fn the_dial_and_what_to_do_are_in_large_letters() {
    let folder = Folder::new();
    let mut terminal = Terminal::begun(&folder.takeup(PLAN));
    let first = terminal.wait_until("large letters", |screen| large(screen).len() >= 8);
    terminal.press("0.2");
    let typed = terminal.wait_until("a dial", |screen| large(screen).len() >= 12);
    // Four rows of instruction twice, the same as before, then the dial.
    assert_eq!(large(&first)[..8], large(&typed)[..8], "{typed}");
    terminal.press("5");
    let more = terminal.wait_until("more digits", |screen| large(screen) != large(&typed));
    assert!(large(&more)[8].len() > large(&typed)[8].len(), "{more}");
    terminal.press_for("\r", "reading 2 of 12");
    let second = terminal.screen();
    assert_ne!(large(&second)[..4], large(&first)[..4], "another side, the same words:\n{second}");
}

#[test]
fn each_screen_is_one_update() {
    let folder = Folder::new();
    let mut terminal = Terminal::begun(&folder.takeup(PLAN));
    terminal.take(1, &[0.2, 0.25]);
    terminal.press("p");
    terminal.end();
    let raw = terminal.raw();
    let view = raw.split("\u{1b}[?1049h").nth(1).expect("a screen of its own");
    let view = view.split("\u{1b}[?1049l").next().expect("what is on it");
    let mut updates = view.split("\u{1b}[?2026h");
    let before = updates.next().expect("what comes before the first");
    let (inside, between): (Vec<_>, Vec<_>) =
        updates.map(|update| update.split_once("\u{1b}[?2026l").expect("an end")).unzip();
    assert!(inside.len() >= 4, "{view:?}");
    // What is drawn is drawn inside; between them at most the cursor is hidden.
    for text in between.into_iter().chain([before]) {
        assert!(!text.replace("\u{1b}[?25l", "").contains(|c: char| !c.is_control()), "{text:?}");
    }
}

#[test]
fn without_colour_nothing_is_lost_and_no_colour_is_sent() {
    let folder = Folder::new();
    let run = |no_colour: &str| {
        folder.takeup(&PLAN.replace("z.csv", &format!("z{no_colour}.csv"))).env("NO_COLOR", no_colour)
    };
    let mut contents = Vec::new();
    for no_colour in ["1", ""] {
        let mut terminal = Terminal::start(&run(no_colour), 80, 24);
        terminal.wait_for("I have seen to it");
        terminal.press_for("\r", "reading 1 of 12");
        terminal.press_for("0.2\r", "row 1: 0.200 is kept");
        contents.push(
            terminal
                .press_for("u", "is taken back")
                .replace(&format!("z{no_colour}.csv"), "")
                .replace(' ', ""),
        );
        terminal.press("p");
        terminal.end();
        let raw = terminal.raw();
        let styles = raw.split("\u{1b}[").filter_map(|code| {
            let end = code.find(|c: char| c.is_ascii_alphabetic())?;
            code[end..].starts_with('m').then_some(&code[..end])
        });
        // Colours of letters and of what is behind them, by number; 39 and 49 are those of the terminal.
        let coloured = styles
            .flat_map(|style| style.split(';'))
            .filter_map(|number| number.parse::<u8>().ok())
            .any(|number| matches!(number, 30..=38 | 40..=48 | 90..=107));
        assert_eq!(coloured, no_colour.is_empty(), "NO_COLOR={no_colour:?}: {raw:?}");
    }
    assert_eq!(contents[0], contents[1]);
}

#[test]
fn inches_are_inches_on_the_screen_and_in_the_file() {
    let folder = Folder::new();
    let command = "measure reversal --units in --axis z --station 0 --cycles 2 -o z.csv --resolution 0.0005";
    let mut terminal = Terminal::start(&folder.takeup(command), 80, 24);
    terminal.wait_for_all(&["I have seen to it", "Z-0.04 to Z0.04 in"]);
    terminal.press_for("\r", "dial, in");
    for (row, reading) in [(1, "0.0080"), (2, "0.0100"), (3, "0.0080"), (4, "0.254mm")] {
        terminal.press_for(&format!("{reading}\r"), &format!("row {row}: "));
    }
    terminal.wait_for_all(&["show the result", "Z loses 0.0020 in"]);
    terminal.press("\r");
    assert_eq!(terminal.end(), 0);
    assert_eq!(values(&folder, "z.csv"), [0.008, 0.01, 0.008, 0.01]);
    assert!(folder.read("z.csv").contains("# units: in"));
}

#[test]
fn the_answer_can_go_to_a_file_while_the_view_stays_on_the_terminal() {
    let folder = Folder::new();
    let plan = format!("{PLAN} --json");
    let inner = folder.takeup(&plan).command();
    // A shell sends standard output elsewhere.
    let words: Vec<_> = std::iter::once(inner.get_program())
        .chain(inner.get_args())
        .map(|word| format!("'{}'", word.to_string_lossy()))
        .collect();
    let mut shell = folder.takeup("").command();
    shell.args(["-c", &format!("exec {} > answer.json", words.join(" "))]);
    let mut terminal = Terminal::start_command(&shell, "sh", 80, 24);
    terminal.wait_for("I have seen to it");
    terminal.press_for("\r", "reading 1 of 12");
    for row in 1..=12 {
        let reading = if row % 2 == 1 { "0.2" } else { "0.25" };
        terminal.press_for(&format!("{reading}\r"), &format!("row {row}: {reading:0<5} is kept"));
    }
    terminal.press_for("", "show the result");
    terminal.press("\r");
    assert_eq!(terminal.end(), 0);
    let document: serde_json::Value =
        serde_json::from_str(&folder.read("answer.json")).expect("one document");
    assert_eq!(document["schema"], "takeup.assessment/1");
}

#[test]
fn a_terminal_that_can_do_little_gets_plain_lines() {
    let folder = Folder::new();
    for run in [
        folder.takeup(&format!("{PLAN} --plain")),
        folder.takeup(&PLAN.replace("z.csv", "d.csv")).env("TERM", "dumb"),
    ] {
        let mut terminal = Terminal::start(&run, 80, 24);
        terminal.wait_for_all(&["Reading (mm):", "row 1, cycle 1: Z-1 then Z0, arriving from below"]);
        assert!(!terminal.raw().contains("\u{1b}[?1049h"), "a whole screen");
        terminal.press("0.2\n0.25\n0.2\n0.25\n");
        terminal.press_for("0.9\n", "read again");
        terminal.press_for("0.201\n", "row 6");
        terminal.press_for("u\n", "0.201 is taken back");
        terminal.press_for("r\n", "0.201 is put back");
        terminal.press_for("q\n", "paused: 5 of 12");
        assert_eq!(terminal.end(), 2);
    }
    assert_eq!(values(&folder, "z.csv"), [0.2, 0.25, 0.2, 0.25, 0.201]);
}

#[cfg(target_os = "linux")]
#[test]
fn long_work_shows_how_far_it_is_on_a_terminal_only() {
    let folder = Folder::new();
    let made = std::process::Command::new("mkfifo").arg(folder.file("slow.nc")).status().expect("mkfifo");
    assert!(made.success());
    let run = folder.takeup("exposure slow.nc --play z=0.1");
    // A program that comes slowly, to a terminal and to a pipe.
    let feed = |path: std::path::PathBuf| {
        std::thread::spawn(move || {
            use std::io::Write;
            let mut slow = std::fs::File::options().write(true).open(path).expect("a pipe");
            for _ in 0..6 {
                let _ = slow.write_all("G1 X1 F100\nG1 X2\n".repeat(3000).as_bytes());
                std::thread::sleep(std::time::Duration::from_millis(250));
            }
        })
    };
    let writer = feed(folder.file("slow.nc"));
    let mut terminal = Terminal::start(&run, 80, 24);
    terminal.wait_for("MB read");
    writer.join().expect("written");
    assert_eq!(terminal.end(), 0);
    let end = terminal.wait_for("lines,");
    assert!(!end.contains("MB read"), "it stays on the screen:\n{end}");
    let writer = feed(folder.file("slow.nc"));
    let piped = run.done().exit(0);
    writer.join().expect("written");
    assert_eq!(piped.stderr, "");
}

//! The view killed at random moments, and its terminal cut off: no acknowledged reading is lost.

use super::terminal::Terminal;
use super::{PLAN, values};
use takeup_core::slack::simulated::Noise;
use takeup_tests::Folder;

#[test]
fn killed_at_random_moments_it_goes_on_exactly_where_it_was() {
    let typed: Vec<f64> =
        (0..12).map(|i| if i % 2 == 0 { 0.2 } else { 0.25 + f64::from(i) / 1000.0 }).collect();
    for seed in 0..12 {
        let folder = Folder::new();
        let mut noise = Noise::new(seed);
        let mut kept = 0;
        for kill in 0..3 {
            let mut terminal = Terminal::start(&folder.takeup(PLAN), 80, 24);
            terminal.wait_for("I have seen to it");
            terminal.press_for("\r", &format!("reading {} of 12", kept + 1));
            let until = kept + noise.between(0.0, 3.0) as usize;
            for (row, value) in (1..).zip(&typed).skip(kept).take(until - kept) {
                terminal.press_for(&format!("{value}\r"), &format!("row {row}: {value:.3} is kept"));
            }
            // One more may or may not arrive before the end.
            terminal.press(&format!("{}\r", typed[until]));
            std::thread::sleep(std::time::Duration::from_micros(noise.between(0.0, 60_000.0) as u64));
            if kill == 2 {
                terminal.hang_up()
            } else {
                terminal.kill()
            }
            drop(terminal);
            let found = values(&folder, "z.csv");
            assert!(
                found.len() == until || found.len() == until + 1,
                "seed {seed}: {} readings after {until} acknowledged",
                found.len()
            );
            assert_eq!(found, typed[..found.len()], "seed {seed}");
            kept = found.len();
        }
        let mut terminal = Terminal::start(&folder.takeup(PLAN), 80, 24);
        if kept > 0 {
            terminal.wait_for(&format!("Going on: {kept} of 12"));
        }
        terminal.wait_for("I have seen to it");
        terminal.press_for("\r", &format!("reading {} of 12", kept + 1));
    }
}

#[test]
fn a_terminal_that_goes_away_ends_it_and_loses_nothing() {
    let folder = Folder::new();
    let mut terminal = Terminal::begun(&folder.takeup(PLAN));
    terminal.press_for("0.2\r", "row 1: 0.200 is kept");
    terminal.hang_up();
    terminal.end();
    assert_eq!(values(&folder, "z.csv"), [0.2]);
}

// Killed outright it cannot give its terminal back; started again in the same one it does, and leaves it as shells want it.
#[cfg(target_os = "linux")]
#[test]
fn a_terminal_left_raw_by_a_kill_is_set_right_by_the_next_start() {
    let folder = Folder::new();
    let run = folder.takeup(PLAN);
    let takeup = run.command().get_program().to_string_lossy().into_owned();
    // A shell that reads a file puts nothing right by itself.
    let measure = format!("{takeup} {PLAN}");
    folder.write(
        "twice.sh",
        format!("sh -c 'echo $$ >pid; exec {measure}'\nstty -a\n{measure}\nstty -a\necho over\n"),
    );
    let mut shell = std::process::Command::new("sh");
    shell.arg("twice.sh").current_dir(folder.path()).envs([("LC_ALL", "C")]);
    let mut terminal = Terminal::start_command(&shell, "sh", 80, 24);
    terminal.wait_for("I have seen to it");
    let pid = folder.read("pid").trim().to_owned();
    assert!(std::process::Command::new("kill").args(["-9", &pid]).status().expect("kill").success());
    terminal.wait_until("the next start", |_| terminal.raw().matches("\u{1b}[?1049h").count() == 2);
    terminal.wait_for("I have seen to it");
    terminal.press_for("p", "over");
    let raw = terminal.raw();
    let settings: Vec<&str> = raw.split("baud; ").skip(1).collect();
    assert_eq!(settings.len(), 2, "{raw}");
    assert!(settings[0].contains("-icanon") && settings[0].contains("-echo "), "it was not left raw: {raw}");
    assert!(!settings[1].contains("-icanon") && !settings[1].contains("-echo "), "it is still raw: {raw}");
    assert!(raw.contains("left without echo"), "{raw}");
}

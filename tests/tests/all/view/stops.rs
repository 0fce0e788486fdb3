//! An indicator that sends all the time while a machine goes through a test by itself: nobody touches a key.

use super::terminal::{Line, Terminal};
use super::values;
use serde_json::Value;
use std::process::{Child, Stdio};
use std::time::Duration;
use takeup_core::axis::Direction;
use takeup_core::length::Length;
use takeup_core::measure::routine::{PositioningPlan, ReversalPlan, Step};
use takeup_core::slack::simulated::{Faults, Noise, SimulatedAxis};
use takeup_tests::Folder;
use takeup_tests::boxes::wait_until;

const LOST: f64 = 0.12;
const STILL: &str = "--take stops --still 0.2 --resolution 0.001";
/// From one number to the next: a hundred in a second.
const PERIOD: Duration = Duration::from_millis(10);
/// The share of the way to where the table is that the dial goes in that time: it settles in some tenths of a second.
const FOLLOWS: f64 = 0.35;

/// A machine with an indicator on its table, which sends what it shows.
struct Machine<'a> {
    line: &'a mut Line,
    axis: SimulatedAxis,
    noise: Noise,
    command: f64,
    dial: f64,
}

impl<'a> Machine<'a> {
    fn new(line: &'a mut Line) -> Self {
        let faults = Faults { clearance_mm: LOST, ..Faults::default() };
        let axis = SimulatedAxis::new(faults, 0.0, Direction::Minus);
        Self { line, axis, noise: Noise::new(7), command: 0.0, dial: 0.0 }
    }

    fn send(&mut self) {
        self.dial += FOLLOWS * (self.axis.position_mm() - self.dial);
        let shown = self.dial + 0.001 * self.noise.normal();
        self.line.send(&format!("{shown:+.3}\r\n"));
        std::thread::sleep(PERIOD);
    }

    /// At 5 mm/s.
    fn go(&mut self, to: f64) {
        while (to - self.command).abs() > 1e-9 {
            self.command += (to - self.command).clamp(-0.05, 0.05);
            self.axis.move_to_mm(self.command, 0.0, &mut self.noise);
            self.send();
        }
    }

    fn stand(&mut self, numbers: usize) {
        for _ in 0..numbers {
            self.send();
        }
    }

    /// Stands until a row is on the disk, so that a busy computer has the time that it needs.
    fn stand_for_row(&mut self, row: u32, folder: &Folder) {
        for _ in 0..3000 {
            if rows(folder).last() == Some(&row) {
                return;
            }
            self.send();
        }
        let told = std::fs::read_to_string(folder.file("told.txt")).unwrap_or_default();
        panic!("row {row} did not come:\n{}\n{told}", folder.read("z.csv"));
    }
}

/// A program that ends with its test, and leaves the line to others.
struct Ended(Child);

impl Drop for Ended {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

fn rows(folder: &Folder) -> Vec<u32> {
    let text = std::fs::read_to_string(folder.file("z.csv")).unwrap_or_default();
    let rows = text.lines().filter(|line| line.starts_with(|c: char| c.is_ascii_digit()));
    rows.map(|line| line.split(',').next().unwrap().parse().unwrap()).collect()
}

/// What goes wrong at a stop.
#[derive(Clone, Copy, PartialEq)]
enum Mishap {
    /// The machine hardly stands there.
    Missed,
    /// It stands once more on the way on.
    Extra,
}

/// Goes through a plan, and stands at each stop until its row is on the disk. The first is known by the second.
fn go_through(machine: &mut Machine<'_>, steps: &[Step], folder: &Folder, mishaps: &[(u32, Mishap)]) {
    let mishap = |row: u32| mishaps.iter().find(|(at, _)| *at == row).map(|(_, mishap)| *mishap);
    let (mut extra, mut first) = (false, true);
    for step in steps {
        match *step {
            Step::Move { to, .. } => {
                let to = to.as_mm();
                if std::mem::take(&mut extra) {
                    machine.go(0.5 * (machine.command + to));
                    machine.stand(100);
                }
                machine.go(to);
            }
            Step::Read(stop) => {
                extra = mishap(stop.row) == Some(Mishap::Extra);
                if mishap(stop.row) == Some(Mishap::Missed) {
                    machine.stand(4);
                } else if std::mem::take(&mut first) {
                    machine.stand(150);
                } else {
                    machine.stand_for_row(stop.row, folder);
                }
            }
        }
    }
}

#[track_caller]
fn holds(found: &Value, truth: f64) {
    let bound = |key: &str| found[key].as_f64().unwrap_or_else(|| panic!("{key} of {found}"));
    println!("true {truth}, found {found}");
    assert!(bound("low_95") <= truth && truth <= bound("high_95"), "{truth} is not in {found}");
}

fn mm(mm: f64) -> Length {
    Length::from_mm(mm).unwrap()
}

#[test]
fn on_the_screen_each_stop_is_kept_while_the_machine_goes_on_and_pauses_are_gone_on_with() {
    let folder = Folder::new();
    let mut line = Line::new();
    let command = format!(
        "measure reversal --axis z --station 0 --cycles 3 --overrun 1 -o z.csv --serial {} {STILL}",
        line.port
    );
    let places = [mm(0.0)];
    let steps: Vec<Step> = ReversalPlan::new(&places, 3, mm(1.0)).unwrap().steps().collect();
    let mut terminal = Terminal::start(&folder.takeup(&command), 80, 24);
    terminal.wait_for("I have seen to it");
    let mut machine = Machine::new(&mut line);
    // Whatever moves before the cautions are seen to is not the test.
    machine.go(-1.0);
    machine.go(0.0);
    machine.stand(60);
    terminal.press_for("\r", "hands free: each stop is found");
    machine.stand(60);
    assert_eq!(rows(&folder), [0; 0], "nothing of the test has been done");
    go_through(&mut machine, &steps[..9], &folder, &[]);
    assert_eq!(rows(&folder), [1, 2, 3]);
    terminal.wait_for_all(&["row 3: ", "reading 4 of 6"]);
    // The next day, from where it was.
    terminal.press("p");
    assert_eq!(terminal.end(), 2);
    let mut terminal = Terminal::start(&folder.takeup(&command), 80, 24);
    terminal.wait_for("Going on: 3 of 6");
    terminal.press_for("\r", "hands free");
    machine.stand(60);
    go_through(&mut machine, &steps[9..], &folder, &[]);
    terminal.wait_for("show the result");
    terminal.press("\r");
    assert_eq!(terminal.end(), 0);
    assert_eq!(rows(&folder), [1, 2, 3, 4, 5, 6]);
    let found = folder.takeup("assess z.csv --json").done().exit(0).json();
    holds(&found["lost_motion"], LOST);
}

#[test]
fn a_missed_stop_leaves_its_row_out_and_an_extra_one_is_passed_over() {
    let folder = Folder::new();
    let mut line = Line::new();
    let command = format!(
        "measure positioning --axis z --target -1 --target 0 --runs 3 --overrun 1 -o z.csv \
         --serial {} {STILL} --json",
        line.port
    );
    let places = [mm(-1.0), mm(0.0)];
    let steps: Vec<Step> = PositioningPlan::new(&places, 3, mm(1.0)).unwrap().steps().collect();
    let file = |name| std::fs::File::create(folder.file(name)).unwrap();
    let mut run = folder.takeup(&command).command();
    run.stdin(Stdio::null()).stdout(file("answer.json")).stderr(file("told.txt"));
    let mut child = Ended(run.spawn().unwrap());
    wait_until("the file", || folder.file("z.csv").exists());
    let mut machine = Machine::new(&mut line);
    machine.stand(60);
    go_through(&mut machine, &steps, &folder, &[(6, Mishap::Missed), (8, Mishap::Extra)]);
    let status = child.0.wait().unwrap();
    let told = folder.read("told.txt");
    assert_eq!(status.code(), Some(0), "{told}");
    assert!(told.contains("row 6 was missed"), "{told}");
    assert!(told.contains("not in the plan is passed over"), "{told}");
    assert_eq!(rows(&folder), [1, 2, 3, 4, 5, 7, 8, 9, 10, 11, 12]);
    for (index, value) in values(&folder, "z.csv").into_iter().enumerate() {
        let row = index + 1 + usize::from(index >= 5);
        let truth = [-1.0 - LOST, -LOST, 0.0, -1.0][(row - 1) % 4];
        assert!((value - truth).abs() < 0.004, "row {row}: {value}, true {truth}");
    }
    let found: Value = serde_json::from_str(&folder.read("answer.json")).unwrap();
    holds(&found["lost_motion"], LOST);
}

#[test]
fn tests_whose_stops_the_dial_does_not_show_are_refused() {
    let folder = Folder::new();
    folder.write("numbers.txt", "0.2\n");
    for (test, words) in [
        ("small-steps --axis z --start 0 --serial numbers.txt", ["small-steps", "--take enter"]),
        ("push-pull --axis z --serial numbers.txt", ["push-pull", "--take each"]),
        ("reversal --axis z --station 0 --simulate", ["sends all the time", "--serial"]),
        ("reversal --axis z --station 0 --serial numbers.txt --still 0", ["--still is 0", "0.2 to 60"]),
    ] {
        folder.takeup(&format!("measure {test} --take stops -o z.csv")).done().refused(&words);
        assert!(!folder.file("z.csv").exists());
    }
}

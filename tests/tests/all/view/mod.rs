//! Guided measurement on a whole terminal, and readings from a serial line.

mod keys;
mod killed;
mod probe;
mod screen;
mod serial;
mod stops;
mod terminal;

use takeup_tests::Folder;

/// Twelve readings.
const PLAN: &str =
    "measure reversal --axis z --station 0 --station -40 --cycles 3 -o z.csv --resolution 0.001";

/// The readings in the file; none where it was not begun or given up before the first.
fn values(folder: &Folder, name: &str) -> Vec<f64> {
    if !folder.names().iter().any(|there| there == name) {
        return Vec::new();
    }
    folder
        .read(name)
        .lines()
        .filter(|line| line.starts_with(|c: char| c.is_ascii_digit()))
        .map(|row| row.split(',').nth(4).expect("a reading").parse().expect("a number"))
        .collect()
}

//! The rewriter as a filter on the microcontroller: in less than 4 KB of RAM, with its line and its stack at the
//! deepest and with its table in flash, it makes of a program what it makes of it on a host.

use super::board;
use super::room::footprint;
use takeup_core::axis::{Direction, PerAxis};
use takeup_core::correct::AxisTable;
use takeup_core::length::Length;
use takeup_core::program::rewrite::{Rewriter, Settings};

/// What the filter may take of RAM: data and the deepest stack seen, with everything else on it.
const MOST_RAM: u64 = 4096;

/// The number before some words.
fn before(text: &str, words: &str) -> u64 {
    let (head, _) = text.split_once(words).unwrap_or_else(|| panic!("{words} in {text}"));
    head.rsplit(' ').next().and_then(|number| number.parse().ok()).unwrap_or_else(|| panic!("{text}"))
}

#[test]
fn the_rewriter_runs_as_a_filter_in_four_kilobytes() {
    let output = board::run(&board::program("filter"));
    let printed = String::from_utf8_lossy(&output.stdout).into_owned();
    assert!(output.status.success(), "{printed}{}", String::from_utf8_lossy(&output.stderr));
    let program = include_str!("../../../../firmware-example/src/bin/filter.nc");
    let table = AxisTable::uniform(Direction::Minus, Length::from_mm(0.12).unwrap()).unwrap();
    let axes = PerAxis { x: None, y: None, z: Some(table.corrections()) };
    let mut rewriter = Rewriter::with_axes(axes, &Settings::DEFAULT);
    let mut expected = Vec::new();
    for line in program.split_inclusive('\n') {
        rewriter.line(line.as_bytes(), &mut |part| expected.extend_from_slice(part)).unwrap();
    }
    let (corrected, figures) = printed.rsplit_once("; ").expect("figures on the last line");
    assert_eq!(corrected, String::from_utf8_lossy(&expected));
    let (each, stack) = (before(figures, " instructions each"), before(figures, " of stack"));
    let (_, data) = footprint("filter");
    println!(
        "rewriter as a filter: {data} + {stack} bytes of RAM with the deepest stack seen; {}",
        figures.trim()
    );
    assert!(stack > 500, "{stack}: no program runs on so little");
    assert!(data + stack < MOST_RAM, "{data} + {stack} bytes of RAM");
    // A motion control of 100 MHz would still correct ten thousand blocks a second.
    assert!((500..10_000).contains(&each), "{each} instructions for a block");
}

//! The rewriter as a filter on the microcontroller: in less than 4 KB of RAM beside its
//! table, stack included, it makes of a
//! program what it makes of it on a host.

use super::board;
use object::{Object, ObjectSymbol};
use takeup_core::axis::{Direction, PerAxis};
use takeup_core::correct::AxisTable;
use takeup_core::length::Length;
use takeup_core::program::rewrite::{Rewriter, Settings};

/// The RAM that the linker gave a program: the stack starts at its end.
fn ram(program: &str) -> u64 {
    let bytes = std::fs::read(board::program(program)).unwrap();
    let elf = object::File::parse(&*bytes).unwrap();
    let stack = elf.symbols().find(|symbol| symbol.name() == Ok("_stack_start")).expect("a stack");
    stack.address() - 0x2000_0000
}

#[test]
fn the_rewriter_runs_as_a_filter_in_four_kilobytes() {
    let output = board::run(&board::program("filter"));
    let printed = String::from_utf8_lossy(&output.stdout).into_owned();
    assert!(output.status.success(), "{printed}{}", String::from_utf8_lossy(&output.stderr));
    let program = include_str!("../../../../firmware-example/src/bin/filter.nc");
    let table = AxisTable::uniform(Direction::Minus, Length::from_mm(0.12).unwrap()).unwrap();
    let mut rewriter = Rewriter::with_axes(PerAxis { x: None, y: None, z: Some(&table) }, &Settings::DEFAULT);
    let mut expected = Vec::new();
    for line in program.split_inclusive('\n') {
        rewriter.line(line.as_bytes(), &mut |part| expected.extend_from_slice(part)).unwrap();
    }
    let (corrected, figures) = printed.rsplit_once("; ").expect("figures on the last line");
    assert_eq!(corrected, String::from_utf8_lossy(&expected));
    println!("rewriter as a filter in {} bytes of RAM with its table: {}", ram("filter"), figures.trim());
    let each: u32 = figures
        .split_once("blocks, ")
        .and_then(|(_, rest)| rest.split_once(' '))
        .and_then(|(number, _)| number.parse().ok())
        .expect("instructions");
    // A motion control of 100 MHz would still correct ten thousand blocks a second.
    assert!((500..10_000).contains(&each), "{each} instructions for a block");
}

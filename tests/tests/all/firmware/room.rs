//! What the box takes of a microcontroller, and the proof that what moves the axis cannot panic.

use super::board;
use super::rig::{Rig, mm};
use object::{Object, ObjectSection, SectionFlags};
use std::path::Path;
use takeup_core::axis::Direction;
use takeup_core::correct::table::{MAX_STATIONS, Station};
use takeup_core::correct::{AxisTable, Table, bytes};
use takeup_core::length::Length;
use takeup_core::link::message::Refusal;
use takeup_core::link::settings::Setting;
use takeup_core::link::{ToBox, ToHost};

/// The bytes of flash that are loaded, and the bytes of RAM reserved before the stack.
pub fn footprint(program: &str) -> (u64, u64) {
    let (flash, ram) = footprint_of(&board::program(program));
    println!("{program}: {flash} bytes of flash, {ram} bytes of RAM before the stack");
    (flash, ram)
}

/// The same of an ELF file.
pub fn footprint_of(elf: &Path) -> (u64, u64) {
    let bytes = std::fs::read(elf).unwrap();
    let elf = object::File::parse(&*bytes).unwrap();
    let (mut flash, mut ram) = (0, 0);
    for section in elf.sections() {
        let SectionFlags::Elf { sh_flags, .. } = section.flags() else { continue };
        if sh_flags & u64::from(object::elf::SHF_ALLOC) == 0 {
            continue;
        }
        if section.address() >= 0x2000_0000 {
            ram += section.size();
        }
        if section.file_range().is_some() {
            flash += section.size();
        }
    }
    (flash, ram)
}

/// Programs with the simulator; the stack is not in these figures.
#[test]
fn the_programs_fit_a_small_microcontroller() {
    for program in ["estimate", "emulated"] {
        let (flash, ram) = footprint(program);
        assert!(flash > 1000, "{program}: an empty program fits anywhere");
        assert!(flash < 96 * 1024, "{program}: {flash} bytes of flash");
        assert!(ram < 16 * 1024, "{program}: {ram} bytes of RAM");
    }
}

/// The box without the simulator, with its stack at the deepest: the longest table is taken and stored, settings
/// are kept, and a routine is asked for.
#[test]
fn the_box_alone_fits_with_its_stack() {
    let (flash, ram) = footprint("bare");
    let mut rig = Rig::of("bare");
    let station = |n: usize| {
        let far = mm(-1000.0 + n as f64);
        Station::of_lost_motion(far, mm(0.1), Length::from_counts(99_999), Direction::Minus)
    };
    let stations: Vec<_> = (0..MAX_STATIONS).map(station).collect();
    let mut table = Table::EMPTY;
    table.axes.z = Some(AxisTable::new(Direction::Minus, &stations).unwrap());
    let mut room = [0; bytes::MAX_BYTES];
    let length = bytes::encode(&table, &mut room).unwrap();
    for (bytes, offset) in room[..length].chunks(32).zip((0..).step_by(32)) {
        let part = ToBox::TablePart { offset, bytes: bytes.iter().copied().collect() };
        assert_eq!(rig.ask(&part), ToHost::Done);
    }
    assert!(matches!(rig.ask(&ToBox::TableEnd { length: length as u16 }), ToHost::State(_)));
    let high = Setting::High(mm(12.5));
    assert_eq!(rig.ask(&ToBox::Set(high)), ToHost::Setting(high));
    // Nothing is wired to the pin of the emergency stop: it reads as pressed.
    assert_eq!(rig.reversal(), ToHost::Refused(Refusal::NotArmed));
    let stack = rig.report().stack;
    println!("bare: {flash} bytes of flash, {ram} + {stack} bytes of RAM with the deepest stack seen");
    assert!(stack > 500, "{stack}: no program runs on so little");
    assert!(flash < 96 * 1024, "{flash} bytes of flash");
    assert!(ram + stack < 16 * 1024, "{ram} + {stack} bytes of RAM");
}

/// Its panic handler calls what nobody has written: the linker would miss it if a call were left.
#[test]
fn what_moves_the_axis_cannot_panic() {
    board::program("motion");
    let told = board::refused("motion", "panic-path");
    assert!(told.contains("a_path_to_a_panic_is_left"), "the proof proves nothing:\n{told}");
}

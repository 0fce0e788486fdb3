//! Small programs whose counts can be made by hand.

use super::*;
use crate::{axis::Direction, program::replay::AxisSlack, slack::Play};

fn look(program: &str, z: f64) -> Exposure {
    let play = AxisSlack::of_play(&Play::new(z, Direction::Minus).unwrap());
    let slack = PerAxis { x: AxisSlack::NONE, y: AxisSlack::NONE, z: play };
    let mut exposed = Exposed::new(Settings::new(slack));
    for line in program.lines() {
        exposed.read(line.as_bytes(), &mut |_| {}).unwrap();
    }
    exposed.finish()
}

const PARTS: &str =
    "G0 Z5\nX0 Y0\nG1 Z-1 F100\nX10\nG0 Z5\nY3\nG1 Z-1\nX0\nG0 Z5\nX90\nG1 Z-1\nX100\nG0 Z5\n";
/// The same cuts, two of them linked.
const LINKED: &str = "G0 Z5\nX0 Y0\nG1 Z-1 F100\nX10\nY3\nX0\nG0 Z5\nX90\nG1 Z-1\nX100\nG0 Z5\n";

#[test]
fn lifts_and_links_are_counted() {
    let found = look(PARTS, 0.12);
    assert_eq!((found.lines, found.cutting_moves, found.lifts, found.near_lifts), (13, 6, 2, 1));
    assert!((found.cutting_length_mm - (3.0 * 6.0 + 30.0)).abs() < 1e-9);
}

#[test]
fn of_two_programs_of_one_part_the_one_with_fewer_lifts_ranks_better() {
    // Common practice, no source.
    let (parts, linked) = (look(PARTS, 0.12), look(LINKED, 0.12));
    assert!(linked.lifts < parts.lifts);
    assert_eq!(linked.rank(&parts), Ordering::Less);
    assert_eq!(parts.rank(&linked), Ordering::Greater);
}

#[test]
fn an_axis_without_slack_does_not_count_where_programs_are_ranked() {
    let there_and_back = "G0 Z5\nX0 Y0\nG1 Z-1 F100\nX10\nX0\nX10\nG0 Z5\n";
    let there = "G0 Z5\nX0 Y0\nG1 Z-1 F100\nX10\nX20\nX30\nG0 Z5\n";
    assert_eq!(look(there_and_back, 0.12).rank(&look(there, 0.12)), Ordering::Equal);
}

#[test]
fn a_program_that_seats_no_axis_leaves_its_steps_open() {
    let cuts = "G1 X10 Y0 Z-1 F100\nX20\nX10\nZ-2\n";
    let slack = |mm: f64| AxisSlack::of_play(&Play::new(mm, Direction::Minus).unwrap());
    let found = |head: &str| {
        let slack = PerAxis { x: slack(0.1), y: AxisSlack::NONE, z: slack(0.12) };
        let mut exposed = Exposed::new(Settings::new(slack));
        for line in head.lines().chain(cuts.lines()) {
            exposed.read(line.as_bytes(), &mut |_| {}).unwrap();
        }
        exposed.finish()
    };
    let open = found("");
    assert!(open.leaves_steps_open() && open.unseated_length_mm > 30.0, "{open:?}");
    let seated = found("G0 X0 Z5\nX1 Z4\nX0 Z5\n");
    assert!(!seated.leaves_steps_open() && seated.largest_step_mm() > 0.09, "{seated:?}");
    // The clearance that a plunge crosses says nothing against the rest.
    assert!(!look("G0 Z5\nG1 Z-1 F100\nX10\n", 0.12).leaves_steps_open());
}

#[test]
fn a_reversal_in_the_cut_leaves_a_step_of_the_clearance() {
    let found = look("G0 Z5\nG1 Z-1 F100\nX10\nX20 Z1\nX30\nX40 Z-1\nG0 Z5\n", 0.12);
    assert_eq!((found.axes.z.reversals_in_cut, found.axes.z.reversals_in_rapid), (2, 1));
    assert!((found.axes.z.largest_step_mm - 0.12).abs() < 1e-9, "{found:?}");
    let first = found.worst.first().unwrap();
    assert_eq!((first.line, first.axis), (4, Axis::Z));
    let climb = 104.0_f64.sqrt();
    assert!((found.axes.z.length_on_other_seat_mm - climb - 10.0).abs() < 1e-9, "{found:?}");
    assert_eq!(found.axes.x, AxisExposure { reversals_in_cut: 0, ..AxisExposure::default() });
}

#[test]
fn a_wave_of_arcs_reverses_where_it_turns() {
    let mut program = std::string::String::from("G0 Z5\nX0 Y0\nG18\nG1 Z0 F100\n");
    for i in 0..10 {
        // Clockwise in the ZX plane, seen from +Y: from smaller to greater X by way of smaller Z.
        program += &std::format!("G2 X{} Z0 I2 K0\n", 4 * (i + 1));
    }
    let found = look(&program, 0.05);
    // Ten bottoms, and nine tops between them.
    assert_eq!(found.axes.z.reversals_in_cut, 19, "{found:?}");
    assert!((found.axes.z.largest_step_mm - 0.05).abs() < 1e-9);
    assert!(found.worst.iter().all(|step| step.step_mm > 0.049), "{found:?}");
}

#[test]
fn without_slack_nothing_is_exposed() {
    let found = look(PARTS, 0.0);
    assert_eq!((found.axes.z.largest_step_mm, found.axes.z.length_on_other_seat_mm), (0.0, 0.0));
    assert!(found.worst.is_empty());
}

#[test]
fn steps_alike_lie_in_the_order_of_their_lines() {
    let mut program = std::string::String::from("G0 Z5\nG1 Z-1 F100\n");
    for i in 0..30 {
        // Places without an exact float, so that the steps differ in their last bits.
        let low = f64::from(i) * 0.37 - 9.1;
        program += &std::format!("X{} Z{low:.2}\nX{} Z{:.2}\n", 4 * i, 4 * i + 2, low + 1.3);
    }
    let lines: std::vec::Vec<u64> = look(&program, 0.1).worst.iter().map(|step| step.line).collect();
    assert_eq!(lines.len(), WORST);
    assert!(lines.is_sorted() && lines[9] < 25, "{lines:?}");
}

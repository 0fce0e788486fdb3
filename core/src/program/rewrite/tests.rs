//! Rewriting, line by line.

use super::*;
use crate::correct::AxisTable;
use std::string::{String, ToString};
use std::vec::Vec;

fn mm(value: f64) -> Length {
    Length::from_mm(value).unwrap()
}

fn table(x: f64, y: f64, z: f64) -> Table {
    let axis = |axis: Axis, width: f64| AxisTable::uniform(axis.usual_seat(), mm(width)).ok();
    let mut table = Table::EMPTY;
    table.axes = PerAxis { x: axis(Axis::X, x), y: axis(Axis::Y, y), z: axis(Axis::Z, z) };
    table
}

fn rewrite(program: &str, table: &Table, settings: &Settings) -> Result<(String, Counts, Vec<u64>), Refusal> {
    let mut rewriter = Rewriter::new(table, settings);
    let (mut out, mut unseated) = (Vec::new(), Vec::new());
    for line in program.split_inclusive('\n') {
        let note = rewriter.line(line.as_bytes(), &mut |bytes| out.extend_from_slice(bytes))?;
        if note.unseated.is_some() {
            unseated.push(rewriter.counts().lines_in);
        }
    }
    let counts = *rewriter.counts();
    assert_eq!(counts.lines_out as usize, out.split_inclusive(|byte| *byte == b'\n').count());
    Ok((String::from_utf8(out).unwrap(), counts, unseated))
}

/// The corrected program without the two comments at its head.
fn body(program: &str, table: &Table) -> String {
    let (text, _, _) = rewrite(program, table, &Settings::DEFAULT).unwrap();
    text.split_inclusive('\n')
        .filter(|line| !line.contains("TAKEN UP") && !line.contains("IN THE AIR"))
        .collect()
}

fn reason(program: &str) -> (u64, Reason) {
    let refusal = rewrite(program, &table(0.08, 0.08, 0.12), &Settings::DEFAULT).unwrap_err();
    assert!(refusal.to_string().contains(&std::format!("line {}", refusal.line)));
    (refusal.line, refusal.reason)
}

#[test]
fn no_correction_leaves_every_byte() {
    let program = "%\r\nO12 (a)\r\n#1=3\r\nG1 X[#1] z 1.\r\n/M98 P3\r\nWHILE [#1 GT 0] DO1";
    let (text, counts, _) = rewrite(program, &table(0.0, 0.0, 0.0), &Settings::DEFAULT).unwrap();
    assert_eq!(text, program);
    assert_eq!(counts.lines_changed, 0);
    let rubbish = [0x7f, b'E', b'L', b'F', 1, 2];
    let none = Table::EMPTY;
    let mut rewriter = Rewriter::new(&none, &Settings::DEFAULT);
    assert!(rewriter.line(&rubbish, &mut |_| {}).is_err());
}

#[test]
fn a_lift_in_rapid_is_shifted_and_the_way_down_is_not() {
    let program = "G90 G0 X0 Y0 Z5\nG1 Z-1 F100\nX10\nG0 Z5 (lift)\nX20\nZ1\nG1 Z-1.5\n";
    let expected = "G90 G0 X0 Y0 Z5\nG1 Z-1 F100\nX10\nG0 Z5.12 (lift)\nX20\nZ1\nG1 Z-1.5\n";
    assert_eq!(body(program, &table(0.0, 0.0, 0.12)), expected);
}

#[test]
fn reversals_in_the_cut_are_taken_up_with_the_tool_standing() {
    let program = "G0 Z5\nG1 Z-1 F100\nX1 Z-2\nX2 Z-1\nX3 Z-1.5\nZ3\n";
    let expected = "G0 Z5\nG1 Z-1 F100\nX1 Z-2\nG1 Z-1.88\nX2 Z-0.88\nG1 Z-1.\nX3 Z-1.5\nZ3.12\n";
    assert_eq!(body(program, &table(0.0, 0.0, 0.12)), expected);
}

#[test]
fn increments_are_changed_and_do_not_accumulate() {
    let mut program = String::from("G0 Z5\nG91 G1 Z-6 F100\n");
    for _ in 0..1000 {
        program += "X1 Z0.0005\nX1 Z-0.0005\n";
    }
    let text = body(&program, &table(0.0, 0.0, 0.1234));
    let z: f64 = text
        .lines()
        .skip(1)
        .filter_map(|line| line.split_whitespace().find_map(|word| word.strip_prefix('Z')))
        .map(|number| number.parse::<f64>().unwrap())
        .sum();
    assert!((z + 6.0).abs() < 0.0006, "{z}");
}

#[test]
fn an_unknown_seat_is_set_by_an_overrun_upward() {
    let text = body("G0 Z0.05\nG1 X5 F100\n", &table(0.0, 0.0, 0.12));
    assert_eq!(text, "G0 Z0.05\nG0 Z0.55\nG0 Z0.05\nG1 X5 F100\n");
    let (_, counts, unseated) =
        rewrite("G1 X5 F100\nX6\n", &table(0.0, 0.0, 0.12), &Settings::DEFAULT).unwrap();
    assert_eq!((counts.one_way_moves, unseated), (0, std::vec![1]));
    let strict = Settings { unseated: Unseated::Refused, ..Settings::DEFAULT };
    let refusal = rewrite("G1 X5 F100\nX6\n", &table(0.0, 0.0, 0.12), &strict).unwrap_err();
    assert_eq!(refusal.reason, Reason::Unseated(Axis::Z));
}

#[test]
fn arcs_are_split_where_an_axis_turns_round() {
    let program = "G0 Z5 X-20 Y0\nX-10\nG1 Z-1 F100\nG2 I10\n";
    let (text, counts, _) = rewrite(program, &table(0.1, 0.0, 0.0), &Settings::DEFAULT).unwrap();
    assert_eq!(counts.arcs_split, 1);
    let tail: Vec<&str> = text.lines().rev().take(3).collect();
    assert_eq!(tail, ["G2 X-10.1 J0. I-10.", "G1 X9.9", "G17 G2 X10. Y0. I10. J0."], "{text}");
}

#[test]
fn an_arc_of_axes_without_correction_passes() {
    let program = "G0 Z5 X0 Y0\nG1 Z-1 F100\nG2 X10 Y0 I5 J0 Z-2\nX0 Y0 I-5 Z-1\n";
    let text = body(program, &table(0.0, 0.0, 0.12));
    assert!(text.ends_with("G2 X10 Y0 I5 J0 Z-2\nG1 Z-1.88\nG2 X0 Y0 I-5 Z-0.88\n"), "{text}");
}

#[test]
fn overruns_in_the_plane_are_made_in_the_clear_only() {
    let settings = Settings { clear: Some(mm(2.0)), ..Settings::DEFAULT };
    let program = "G0 Z5\nX10\nX0\nZ1\nX-5\n";
    let (text, counts, _) = rewrite(program, &table(0.1, 0.0, 0.0), &settings).unwrap();
    assert!(text.ends_with("G0 Z5\nX9.5\nG0 X10.\nX-0.5\nG0 X0.\nZ1\nX-5.1\n"), "{text}");
    assert_eq!(counts.one_way_moves, 2);
}

#[test]
fn what_is_not_understood_is_refused_by_line() {
    assert_eq!(reason("G1 X#1\n"), (1, Reason::Unreadable(FaultKind::Variable)));
    assert_eq!(reason("G0 X1\nM98 P100\n"), (2, Reason::Subprogram));
    assert_eq!(reason("G41 D1\n"), (1, Reason::CutterCompensation));
    assert_eq!(reason("G68 X0 Y0 R45\n"), (1, Reason::Transformed));
    assert_eq!(reason("X5\n"), (1, Reason::NoMotion));
    assert_eq!(reason("G0 X1 X2\n"), (1, Reason::Twice));
    assert_eq!(reason("G0 X1\n(LOST MOTION TAKEN UP)\n"), (2, Reason::AlreadyCorrected));
    assert_eq!(reason("G223\n"), (1, Reason::UnknownCode));
    assert!(rewrite("G41 D1\n", &table(0.0, 0.0, 0.1), &Settings::DEFAULT).is_ok());
}

#[test]
fn a_corrected_program_is_not_corrected_again() {
    let table = table(0.0, 0.0, 0.12);
    let (text, _, _) = rewrite("G0 Z5\n", &table, &Settings::DEFAULT).unwrap();
    assert_eq!(rewrite(&text, &table, &Settings::DEFAULT).unwrap_err().reason, Reason::AlreadyCorrected);
}

#[test]
fn integers_keep_their_style() {
    let settings = Settings { integers: Integers::Increments, ..Settings::DEFAULT };
    let program = "G0 Z5000\nG1 Z-1000 F100\nG0 Z5000\nG20 G1 Z-.5\n";
    let (text, _, _) = rewrite(program, &table(0.0, 0.0, 0.12), &settings).unwrap();
    assert!(text.ends_with("G0 Z5120\nG20 G1 Z-.5\n"), "{text}");
}

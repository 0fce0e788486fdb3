//! Rewriting, line by line.

use super::*;
use crate::axis::Direction;
use crate::correct::{AxisTable, Station};
use crate::length::Unit;
use crate::program::number::Integers;
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
fn a_first_hole_of_several_is_told_where_only_the_later_ones_find_the_seat() {
    let unseated = |step: &str| {
        let program = std::format!("G0 Z3\nG91 G99 G81 Y{step} Z-5 R-1 F100 L3\n");
        rewrite(&program, &table(0.0, 0.1, 0.0), &Settings::DEFAULT).unwrap().2
    };
    assert_eq!((unseated("0.06"), unseated("0.2")), (std::vec![2], std::vec![]));
}

#[test]
fn a_byte_order_mark_stays_at_the_head() {
    let program = "\u{feff}G0 Z5\nG1 Z-1 F100\nX9 Z0\n";
    let (text, ..) = rewrite(program, &table(0.0, 0.0, 0.12), &Settings::DEFAULT).unwrap();
    assert!(text.starts_with("\u{feff}(") && text.matches('\u{feff}').count() == 1, "{text}");
    let refused = rewrite("\u{feff}G41 D1 X5\n", &table(0.1, 0.0, 0.0), &Settings::DEFAULT).unwrap_err();
    assert_eq!(refused.word.map(|word| word.start), Some(3));
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
    assert_eq!(tail, ["G2 X-10.1 J0. I-10.", "G1 X9.9", "G2 X10. Y0. I10. J0."], "{text}");
}

#[test]
fn an_arc_whose_radius_is_short_of_half_its_chord_is_divided_on_the_half_circle() {
    let program = "G0 Z5 X-20 Y0\nX0\nG1 Z-1 F100\nG2 X20 Y0 R9.92\n";
    let text = body(program, &table(0.1, 0.0, 0.0));
    assert!(text.ends_with("F100\nG2 X10. Y10. R10.00\nG2 X20 Y0 R10.00\n"), "{text}");
    // Whole it keeps its word, and so does one that rounding has made short.
    let text = body(program, &table(0.0, 0.0, 0.1));
    assert!(text.ends_with("G2 X20 Y0 R9.92\n"), "{text}");
    let text = body(&program.replace("9.92", "9.9996"), &table(0.1, 0.0, 0.0));
    assert!(text.ends_with("G2 X10. Y10. R10.0000\nG2 X20 Y0 R9.9996\n"), "{text}");
    let beyond =
        rewrite(&program.replace("9.92", "9.88"), &table(0.1, 0.0, 0.0), &Settings::DEFAULT).unwrap_err();
    assert_eq!(beyond.reason, Reason::Arc);
}

#[test]
fn an_arc_of_axes_without_correction_passes() {
    let program = "G0 Z5 X0 Y0\nG1 Z-1 F100\nG2 X10 Y0 I5 J0 Z-2\nX0 Y0 I-5 Z-1\n";
    let text = body(program, &table(0.0, 0.0, 0.12));
    assert!(text.ends_with("G2 X10 Y0 I5 J0 Z-2\nG1 Z-1.88\nG2 X0 Y0 I-5 Z-0.88\n"), "{text}");
}

#[test]
fn an_arc_that_rounding_makes_a_spiral_stays_one() {
    // Start and end are 0.3215 and 0.3150 mm from the centre, and the end is where X turns round. A last part from
    // one distance to the other, with no angle between, would be a full circle to a control.
    let seat = "G0 X0 Y0 Z20\nX-5 Y-5\nX39.8247 Y0\nG1 Z17.0917 F100\n";
    let program = std::format!("{seat}G18 G3 X39.37 Z17.3812 I-0.1397 K0.2895\n");
    let text = body(&program, &table(0.08, 0.0, 0.12));
    let arcs: Vec<_> = text.lines().filter(|line| line.contains("G3")).collect();
    assert_eq!(arcs.len(), 2, "{text}");
}

#[test]
fn the_end_of_a_mirror_moves_nothing() {
    let program = "G0 Z5\nX-9\nX5\nG50.1 X0 Y0\nG67\nG1 Z-1 F100\nX7\nX5\n";
    let text = body(program, &table(0.1, 0.0, 0.0));
    assert!(text.ends_with("G50.1 X0 Y0\nG67\nG1 Z-1 F100\nX7\nX4.9\n"), "{text}");
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
    assert_eq!(reason("G38.2 Z-10 F50\n"), (1, Reason::Probing));
    assert_eq!(reason("G1 G0 X5\n"), (1, Reason::Conflict));
    for cycle in
        ["G74 X5 Z-9 R2 J1", "G76 X5 Z-9 R2 I1 K1", "G76 X5 Z-9", "G74 X5 R1", "G74 R1 Z-9 I2", "G76"]
    {
        assert_eq!(
            reason(&std::format!("{cycle}\n")),
            (1, Reason::Cycle(CycleTrouble::Ambiguous)),
            "{cycle}"
        );
    }
    assert_eq!(reason("G1 G50.1 X5\n"), (1, Reason::Conflict));
    // What concerns other axes alone passes.
    let z_only = table(0.0, 0.0, 0.1);
    for program in ["G41 D1\n", "G38.2 X10 F50\n", "G51.1 X0\n", "G68 X0 Y0 R45\n", "G16\n", "G5.3\n"] {
        assert!(rewrite(program, &z_only, &Settings::DEFAULT).is_ok(), "{program}");
    }
    // A spline has points that are no places: no line may be put between them.
    let spline = rewrite("G5.2 X1 Y1 P1\n", &z_only, &Settings::DEFAULT).unwrap_err();
    assert_eq!(spline.reason, Reason::Spline);
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

#[test]
fn a_tool_length_puts_only_the_height_in_doubt() {
    let program = "G0 X5 Y5\nX0 Y0\nG43 H1 Z20\nZ2\nG1 Z-1 F100\nX10 Y3\n";
    // X came down to 0 on its other seat, and still bears there after G43.
    let text = body(program, &table(0.1, 0.0, 0.12));
    assert!(text.ends_with("X-0.1 Y0\nG43 H1 Z20\nZ2\nG1 Z-1 F100\nG1 X0.\nX10 Y3\n"), "{text}");
    // A reference return of Z leaves X and Y alone too; an offset does not.
    let text = body(&program.replace("G43 H1 Z20", "G91 G28 Z0\nG90 G0 Z20"), &table(0.1, 0.0, 0.12));
    assert!(text.ends_with("G1 X0.\nX10 Y3\n"), "{text}");
    let (_, _, unseated) =
        rewrite(&program.replace("G43 H1", "G55"), &table(0.1, 0.0, 0.12), &Settings::DEFAULT).unwrap();
    assert_eq!(unseated, [5]);
}

#[test]
fn x_and_y_are_seated_together_before_the_way_down() {
    let settings = Settings { clear: Some(mm(15.0)), ..Settings::DEFAULT };
    let program = "G0 X5 Y5\nG43 H1 Z15\nZ2\nG1 Z-1 F100\nX10\n";
    let (text, counts, unseated) = rewrite(program, &table(0.1, 0.1, 0.12), &settings).unwrap();
    assert!(text.ends_with("H1 Z15\nG0 X4.5 Y4.5\nG0 X5. Y5.\nZ2\nG1 Z-1 F100\nX10\n"), "{text}");
    assert_eq!((counts.one_way_moves, unseated.len()), (1, 0));
}

#[test]
fn an_entry_from_below_is_made_from_above() {
    let text = body("G0 Z5\nG1 Z-3 F100\nX5\nG0 Z-1\nG1 X9\n", &table(0.0, 0.0, 0.12));
    assert!(text.ends_with("G0 Z-0.88\nG0 Z-0.5\nG0 Z-1.\nG1 X9\n"), "{text}");
}

#[test]
fn a_cycle_is_interrupted_and_resumed_with_its_words() {
    let settings = Settings { clear: Some(mm(20.0)), ..Settings::DEFAULT };
    let holes = |program: &str| rewrite(program, &table(0.1, 0.0, 0.12), &settings).unwrap().0;
    let text = holes("G0 Z20\nG98 G83 X5 Z-9.5 R2 Q3.0 F99\nX3\nX9\nG80\n");
    let tail = "G0 X4.5\nG98 G83 X5 Z-9.5 R2 Q3.0 F99\nG0 X2.5\nG83 Z-9.5 R2 Q3.0 X3\nX9\nG80\n";
    assert!(text.ends_with(tail), "{text}");
    // At the R plane it is not clear: the command is shifted, and the cycle goes on.
    let text = holes("G0 X0\nZ20\nG99 G81 X5 Z-9 R2 F99\nX3\nG98 X1\nG80\n");
    assert!(text.ends_with("X5 Z-9 R2 F99\nX2.9\nG98 X0.9\nG80\n"), "{text}");
}

#[test]
fn the_level_of_a_cycle_survives_an_interruption_at_the_r_plane() {
    let settings = Settings { clear: Some(mm(2.0)), ..Settings::DEFAULT };
    let program = "G0 Z20\nG99 G81 X5 Z-9 R2 F99\nX3\nG98 X1\nG80\n";
    let (text, _, _) = rewrite(program, &table(0.1, 0.0, 0.12), &settings).unwrap();
    let tail = "G0 X2.5\nG81 Z-9 R2 X3\nG0 Z20.\nG0 X0.5\nG98 G81 Z-9 R2 X1\nG80\n";
    assert!(text.ends_with(tail), "{text}");
    // From where it is not clear it is reached over the hole.
    let program = "G0 X0\nX9\nZ20\nG99 G81 X5 Z-9 R2 F99\nX3\nR-5\nG98 X4\nG80\n";
    let (text, _, _) = rewrite(program, &table(0.1, 0.0, 0.12), &settings).unwrap();
    assert!(text.ends_with("R-5\nG0 X4.\nG0 Z20.\nG98 G81 Z-9 R-5 X4\nG80\n"), "{text}");
    // The way there lies at the R plane, where that is higher.
    let refusal = rewrite(&program.replace("X4", "X4 R-4"), &table(0.1, 0.0, 0.12), &settings).unwrap_err();
    assert_eq!((refusal.line, refusal.reason), (7, Reason::Cycle(CycleTrouble::Level)));
}

#[test]
fn a_cycle_that_begins_just_below_its_r_plane_is_brought_up_to_it() {
    let z = table(0.0, 0.0, 0.12);
    let text = body("G0 Z5\nX9\nG1 Z1.9 F90\nG99 G83 X5 Z-9 R2 Q.05\nX3\n", &z);
    assert!(
        text.ends_with("Z1.9 F90\nG0 Z2.12\nG99 G83 X5 Z-9 R2 Q.05\nG0 Z2.12\nG83 Z-9 R2 Q.05 X3\n"),
        "{text}"
    );
    // From farther down it rises by itself.
    let text = body("G0 Z5\nX9\nG1 Z1.7 F90\nG99 G83 X5 Z-9 R2 Q5\nX3\n", &z);
    assert!(text.ends_with("Z1.7 F90\nG99 G83 X5 Z-9 R2 Q5\nX3\n"), "{text}");
    // Its level is another now, from which incremental holes with G98 would count.
    let program = "G0 Z5\nX9\nG1 Z1.9 F90\nG98 G81 X5 Z-9 R2\nG91 X1\n";
    let refusal = rewrite(program, &z, &Settings::DEFAULT).unwrap_err();
    assert_eq!((refusal.line, refusal.reason), (5, Reason::Cycle(CycleTrouble::Level)));
}

#[test]
fn pecks_shorter_than_the_lost_motion_begin_at_the_r_plane() {
    let z = table(0.0, 0.0, 0.12);
    let ends = |program: &str, end: &str| {
        let text = body(program, &z);
        assert!(text.ends_with(end), "{text}");
    };
    // Behind the retract to the R plane, the tool is sent up to it.
    let series = "G0 Z5\nX9\nG99 G83 X5 Z-9 R2 Q.05 F90\nX3\nX1\n";
    let again = "G0 Z2.12\nG83 Z-9 R2 Q.05 X";
    ends(series, &std::format!("Q.05 F90\n{again}3\n{again}1\n"));
    ends(&series.replace("Q.05", "Q.12"), "Q.12 F90\nX3\nX1\n");
    ends(&series.replace("G83", "G81").replace("Q.05 ", ""), "F90\nX3\nX1\n");
    // The last one comes out to the level, and begins there as well.
    ends(&series.replace("X1\n", "G98 X1\n"), "X3\nG0 X1.\nG0 Z5.12\nG98 G83 Z-9 R2 Q.05 X1\n");
    // With G98 it comes from farther up each time, if not from the R plane itself: that is kept then as it must be.
    ends(&series.replace("G99", "G98"), "F90\nX3\nX1\n");
    let level = "G0 Z5\nX9\nG1 Z2 F90\nG98 G83 X5 Z-9 R2 Q.05\nX3\nX1\n";
    ends(level, &std::format!("G83 X5 Z-9 R2 Q.05\n{again}3\nX1\n"));
    // A hole as shallow as that is one cut.
    let shallow = "G0 Z5\nX9\nG99 G82 X5 Z1.95 R2 P1 F90\nX3\n";
    ends(shallow, "F90\nG0 Z2.12\nG82 Z1.95 R2 P1 X3\n");
    // Incremental cycles count from where they stand, and stand on the right side.
    ends(
        "G0 Z5\nG1 Z2 F90\nG0 Z3\nG91 G99 G83 X5 Z-9 R-.1 Q.05\n",
        "G91 G0 Z0.38\nG91 G0 Z-0.5\nG91 G99 G83 X5 Z-9 R-.1 Q.05\n",
    );
}

#[test]
fn holes_behind_a_cycle_brought_up_come_out_to_the_level_at_which_it_began() {
    // Up to its R plane it has the level of 2; the next hole comes out to 1.9.
    let z = table(0.0, 0.0, 0.12);
    let program = "G0 Z5\nX9\nG1 Z1.9 F90\nG98 G81 X5 Z-9 R2\nX3 R1\nX1\n";
    let text = body(program, &z);
    assert!(text.ends_with("G98 G81 X5 Z-9 R2\nG0 X3.\nG0 Z1.9\nG81 Z-9 X3 R1\nX1\n"), "{text}");
    // A back bore comes out beside its hole.
    let bores = program.replace("X3 R1", "G87 X3 R1 I1 J0 K-8");
    let refusal = rewrite(&bores, &z, &Settings::DEFAULT).unwrap_err();
    assert_eq!((refusal.line, refusal.reason), (5, Reason::Cycle(CycleTrouble::Level)));
}

#[test]
fn incremental_cycles_count_from_unshifted_places() {
    let program = "G0 Z5\nG1 Z-1 F100\nG0 Z20\nG91 G98 G81 X5 Z-14 R-18 L3 F90\nG80\nG90 G0 Z30\n";
    let text = body(program, &table(0.0, 0.0, 0.12));
    let expected = "G0 Z20.12\nG91 G0 Z0.38\nG91 G0 Z-0.5\nG91 G98 G81 X5 Z-14 R-18 L3 F90\n";
    assert!(text.contains(expected), "{text}");
    // Seated upward, the command lies lower coming down: the level is lowered, the tool stands still meanwhile.
    let upside_down = AxisTable::uniform(Direction::Plus, mm(0.1)).ok();
    let other = Table { axes: PerAxis { z: upside_down, ..table(0.0, 0.0, 0.0).axes }, ..Table::EMPTY };
    let text = body(program, &other);
    let expected = "G0 Z20\nG91 G0 Z-0.1\nG91 G98 G81 X5 Z-14 R-18 L3 F90\n";
    assert!(text.contains(expected), "{text}");
    // Along the travel of Z, level, R plane and depth have their own corrections; several holes along X have one step.
    let along = || {
        let stations = [(-50.0, 0.0), (50.0, 0.2)];
        let station =
            |(place, lost)| Station::of_lost_motion(mm(place), mm(lost), Length::ZERO, Direction::Plus);
        AxisTable::new(Direction::Plus, &stations.map(station)).ok()
    };
    let other = Table { axes: PerAxis { z: along(), ..table(0.0, 0.0, 0.0).axes }, ..Table::EMPTY };
    let text = body(program, &other);
    let expected = "G0 Z20\nG91 G0 Z-0.14\nG91 G98 G81 X5 Z-13.972 R-17.964 L3 F90\n";
    assert!(text.contains(expected), "{text}");
    let text = body("G0 Z20\nG91 G98 G81 X5 Z-14 R-18 F90\nX5\nR-8\nG80\n", &other);
    assert!(text.ends_with("Z-13.972 R-17.964 F90\nX5\nG81 Z-13.972 R-7.984\nG80\n"), "{text}");
    let refused = Table { axes: PerAxis { x: along(), ..table(0.0, 0.0, 0.0).axes }, ..Table::EMPTY };
    let refusal = rewrite(&std::format!("G0 X0\n{program}"), &refused, &Settings::DEFAULT).unwrap_err();
    assert_eq!((refusal.line, refusal.reason), (5, Reason::Cycle(CycleTrouble::Incremental)));
}

#[test]
fn repeats_do_not_turn_round_above_the_level_to_which_they_return() {
    // The R plane, 1.5 mm over the level at which the cycle began, is where X would be taken up.
    let above = "G0 X9\nX0 Z5\nG91 G98 G81 X5 Z-6 R1.5 F90\nX-2 L3\nG80\nM2\n";
    let refusal = rewrite(above, &table(0.1, 0.0, 0.0), &Settings::DEFAULT).unwrap_err();
    assert_eq!((refusal.line, refusal.reason), (4, Reason::Cycle(CycleTrouble::TurnsAbove)));
    // Below it, or without a turn, nothing is lost.
    for harmless in [above.replace("R1.5", "R-1.5"), above.replace("X-2", "X2")] {
        assert!(rewrite(&harmless, &table(0.1, 0.0, 0.0), &Settings::DEFAULT).is_ok(), "{harmless}");
    }
}

#[test]
fn blocks_that_may_be_skipped_mean_the_same_either_way() {
    assert_eq!(reason("G0 Z5\n/G91\nG0 X5\n"), (3, Reason::SkippedMode));
    assert_eq!(reason("G0 Z5\n/G1 X1 F100\nX5\n"), (3, Reason::SkippedMode));
    assert_eq!(reason("G91 G0 Z5\n/X1\n"), (2, Reason::Skipped));
    let text = body("G21 G90 G17\nG0 Z5.\n/2 G1 Y3.490 Z-1.571\nG0 Z5\nM30\n", &table(0.0, 0.0, 0.056));
    assert!(text.contains("/2 G0 Z5.5\n/2 G0 Z5."), "{text}");
    let program = "G0 Z5\nG1 Z-1 F100\n/G91 G28 Z0\n/M8\nG90 G0 Z5\n/G0 X5\nG1 Z-1\n";
    assert!(rewrite(program, &table(0.1, 0.0, 0.12), &Settings::DEFAULT).is_ok());
}

#[test]
fn tables_along_the_travel_need_places_that_are_known() {
    let at = |place, lost| Station::of_lost_motion(mm(place), mm(lost), Length::ZERO, Direction::Minus);
    let z = AxisTable::new(Direction::Minus, &[at(-10.0, 0.2), at(0.0, 0.1)]).ok();
    let table = Table { axes: PerAxis { x: None, y: None, z }, ..Table::EMPTY };
    // Alike to the last digit that is written, two stations are one.
    let alike = AxisTable::new(Direction::Minus, &[at(-10.0, 0.1161), at(0.0, 0.1159)]).ok();
    let alike = Table { axes: PerAxis { x: None, y: None, z: alike }, ..Table::EMPTY };
    assert!(rewrite("G0 Z5\nG55\nZ5\nG1 Z-1 F100\n", &alike, &Settings::DEFAULT).is_ok());
    let refused = |program: &str| rewrite(program, &table, &Settings::DEFAULT).unwrap_err().reason;
    assert_eq!(refused("G91 G0 Z5\nG1 Z-6 F100\n"), Reason::TravelUnknown(Axis::Z));
    assert_eq!(refused("G0 Z5\nG55\nZ5\n"), Reason::OtherOffset(Axis::Z));
    assert_eq!(refused("G0 Z5\nG92 Z0\n"), Reason::OtherOffset(Axis::Z));
    // Going up, the line is divided where the correction bends; an arc in the plane is not touched.
    let text = body("G0 X0 Z5\nG1 Z-5 F100\nX30 Z5\nG2 X40 I5\n", &table);
    assert!(text.ends_with("G1 Z-4.85\nG1 X15. Z0.1\nX30 Z5.1\nG2 X40 I5\n"), "{text}");
    // Where that line begins is not known: it is right at its end.
    let text = body("G0 Z5\nG1 Z-5 F100\nX30 Z5\n", &table);
    assert!(text.ends_with("G1 Z-4.85\nX30 Z5.1\n"), "{text}");
}

#[test]
fn blending_that_could_swallow_a_take_up_is_told_with_the_numbers() {
    let table = table(0.0, 0.0, 0.12);
    let mut rewriter = Rewriter::new(&table, &Settings::DEFAULT);
    let mut told = |line: &str| rewriter.line(line.as_bytes(), &mut |_| {}).unwrap().blending;
    let wide = |tolerance| Some(Blending { tolerance, axis: Axis::Z, width: mm(0.12) });
    assert_eq!(told("G64 P0.05\n"), None);
    assert_eq!(told("G64 P0.2\n"), wide(Some(mm(0.2))));
    assert_eq!(told("G64\n"), wide(None));
}

#[test]
fn a_million_increments_end_where_they_should() {
    let table = table(0.0837, 0.0513, 0.1234);
    let mut rewriter = Rewriter::new(&table, &Settings::DEFAULT);
    let mut at = [0_i64; 3];
    let mut sums = |part: &[u8]| {
        for token in Words::new(part).flatten() {
            if let Token::Word(word) = token
                && let Some(sum) = word.letter.checked_sub(b'X').and_then(|i| at.get_mut(usize::from(i)))
            {
                *sum += word.number.length(Unit::Mm, Integers::Units).unwrap().counts();
            }
        }
    };
    let mut line = Vec::new();
    let mut pass = |text: &[u8], rewriter: &mut Rewriter<'_>| {
        line.clear();
        rewriter.line(text, &mut |part| line.extend_from_slice(part)).unwrap();
        line.split(|byte| *byte == b'\n').filter(|part| !part.starts_with(b"(")).for_each(&mut sums);
    };
    // Rising and falling in steps that no thousandth divides, so that every block turns or goes on.
    pass(b"G91 G0 Z9\n", &mut rewriter);
    pass(b"G1 X1 Y1 Z-9 F900\n", &mut rewriter);
    for block in 0..1_000_000_u32 {
        let text: &[u8] = match block % 4 {
            0 => b"X0.0003 Y-.00071 Z0.0001\n",
            1 => b"X-0.0005 Y.00071\n",
            2 => b"X0.0004 Z-0.0003\n",
            _ => b"X-0.0002 Z.0002\n",
        };
        pass(text, &mut rewriter);
    }
    pass(b"X2 Y2 Z-2\n", &mut rewriter);
    // All three end on their reference seats, where command and place agree, to half a thousandth.
    for (sum, end) in at.into_iter().zip([3.0, 3.0, -2.0]) {
        assert!((sum - mm(end).counts()).abs() <= 5_000, "{sum} for {end}");
    }
}

mod arcs;
mod doubt;
mod judged;
mod stride;
mod words;

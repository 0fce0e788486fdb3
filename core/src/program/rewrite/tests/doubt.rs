//! Places, seats, levels and coordinates that a program puts in doubt.

use super::judged::replayed;
use super::*;

fn text(program: &str, table: &Table, settings: &Settings) -> String {
    rewrite(program, table, settings).unwrap().0
}

fn clear(height: f64) -> Settings {
    Settings { clear: Some(mm(height)), ..Settings::DEFAULT }
}

/// What the rewriter tells of the lines of a program: limits lost, clear height lost.
fn lost(program: &str, settings: &Settings) -> Vec<(bool, bool)> {
    let table = table(0.1, 0.0, 0.12);
    let mut rewriter = Rewriter::new(&table, settings);
    let lines = program.split_inclusive('\n');
    let notes = lines.map(|line| rewriter.line(line.as_bytes(), &mut |_| {}).unwrap());
    notes.map(|note| (note.limits_lost, note.clear_lost)).collect()
}

#[test]
fn the_level_of_a_cycle_ends_with_it() {
    let program = "G0 Z20\nG99 G81 X5 Z-9 R2 F99\nX3\nG80 G28 Z0\nG0 X0 Z5\nG98 G81 X1 Z-9 R2\n";
    let text = text(program, &table(0.1, 0.0, 0.12), &clear(2.0));
    assert!(text.ends_with("G0 X-0.1 Z5\nG98 G81 X1 Z-9 R2\n"), "{text}");
}

#[test]
fn a_cycle_is_not_interrupted_above_its_level_or_with_a_level_unknown() {
    // Else the last hole would end at 6.5, where the original ends at 5.
    let program = "G0 X0\nZ5\nG98 G81 X5 Z-9 R6.5 F99\nX3\nR3 X1\n";
    let rewritten = text(program, &table(0.1, 0.0, 0.0), &clear(2.0));
    assert!(rewritten.ends_with("R6.5 F99\nX2.9\nR3 X0.9\n"), "{rewritten}");
    let program = "G0 X0\nG99 G81 X5 Z-9 R6 F99\nX3\nG98 X1\n";
    let rewritten = text(program, &table(0.1, 0.0, 0.0), &clear(2.0));
    assert!(rewritten.ends_with("R6 F99\nX2.9\nG98 X0.9\n"), "{rewritten}");
}

#[test]
fn a_back_bore_is_taken_up_again_with_its_top() {
    let program = "G0 X0\nZ5\nG98 G87 X5 Z-9 R2 K-8 F99\nX3\n";
    let rewritten = text(program, &table(0.1, 0.0, 0.12), &clear(5.0));
    assert!(rewritten.ends_with("K-7.88 F99\nG0 X2.5\nG87 Z-9 R2 K-7.88 X3\n"), "{rewritten}");
}

#[test]
fn the_level_of_a_cycle_from_the_side_is_reached_over_the_hole_alone() {
    // Taken up between the repeats it is lost, and there is no height at which Y were clear.
    let program = "G0 X0 Y30 Z-5\nG18 G91 G99 G81 Y-4 R-2 X-1 L3 F99\nX1 L3\nG90 Y20 R25\nG98 X9\n";
    let rewritten = text(program, &table(0.1, 0.0, 0.0), &Settings::DEFAULT);
    assert!(rewritten.ends_with("G90 Y20 R25\nG0 X9.\nG0 Y30.\nG98 G81 Y20 R25 X9\n"), "{rewritten}");
    let above = program.replace("G98 X9", "G98 X9 R26");
    let refusal = rewrite(&above, &table(0.1, 0.0, 0.0), &Settings::DEFAULT).unwrap_err();
    assert_eq!((refusal.line, refusal.reason), (5, Reason::Cycle(CycleTrouble::Level)));
}

#[test]
fn an_axis_sent_to_where_a_cycle_left_it_comes_there() {
    // Drilled along X, it bears on its plus side behind the retract, and is commanded for the other.
    let program = "G0 X9 Y0 Z5\nG19 G99 G81 X-4 R2 Y3 F99\nG80\nG0 X2\nG1 Z4\n";
    let rewritten = text(program, &table(0.1, 0.0, 0.0), &Settings::DEFAULT);
    assert!(rewritten.ends_with("X-4.1 R1.9 Y3 F99\nG80\nG0 X2\nG1 Z4\n"), "{rewritten}");
}

#[test]
fn a_back_bore_in_increments_cuts_up_to_its_top() {
    let program = "G0 Z5 X0\nG1 Z4 F99\nG0 Z5\nG91 G98 G87 Z-5 R-3 K1 X2 F99\nX2\n";
    let rewritten = text(program, &table(0.0, 0.0, 0.12), &Settings::DEFAULT);
    let tail = "G0 Z5.12\nG91 G0 Z0.38\nG91 G0 Z-0.5\nG91 G98 G87 Z-5 R-3 K1.12 X2 F99\nX2\n";
    assert!(rewritten.ends_with(tail), "{rewritten}");
}

#[test]
fn a_back_bore_comes_back_to_its_hole_from_aside() {
    // From the right it comes to the hole at 0.1 less, which the drive goes back and forth besides; from the left it
    // comes as it was measured. An axis that the block does not name is sent where it will be needed.
    let program = "G0 X0 Y7 Z5\nG98 G87 X5 Z-9 R2 I0.8 J0 K-8 F99\nX3\nY8 J.5\nI-0.8 X4\n";
    let rewritten = text(program, &table(0.1, 0.06, 0.0), &Settings::DEFAULT);
    let tail = "G98 G87 X4.9 Z-9 R2 I0.9 J0 K-8 F99\nX2.9\nY7.94 J.56\nI-0.9 X4\n";
    assert!(rewritten.ends_with(tail), "{rewritten}");
    let program = "G0 X0 Y7 Z5\nG91 G98 G87 Y5 Z-9 R-2 I.8 K1 F99\nY5 L3\n";
    let rewritten = text(program, &table(0.1, 0.0, 0.0), &Settings::DEFAULT);
    let tail = "G91 G98 G87 X-0.1 Y5 Z-9 R-2 I.9 K1 F99\nY5 L3\n";
    assert!(rewritten.ends_with(tail), "{rewritten}");
}

#[test]
fn behind_the_retract_of_a_cycle_the_seat_is_known() {
    // The table stopped 0.12 below the R plane, so that a short way down is made on the seat it bears on.
    let program = "G0 Z20 X0\nG99 G81 X5 Z-9 R2 F99\nG80\nG0 Z1.95\nG1 X9\n";
    let strategy = PerAxis::from_fn(|_| Strategy::TakeUp);
    let settings = Settings { strategy, ..Settings::DEFAULT };
    let (text, _, unseated) = rewrite(program, &table(0.0, 0.0, 0.12), &settings).unwrap();
    assert!(text.ends_with("G80\nG0 Z2.07\nG1 X9\n"), "{text}");
    assert_eq!(unseated, []);
}

#[test]
fn a_short_way_from_an_unknown_seat_does_not_seat() {
    let (_, _, unseated) =
        rewrite("G0 Y0\nG1 Y0.008 F99\nY3\n", &table(0.0, 0.009, 0.0), &Settings::DEFAULT).unwrap();
    assert_eq!(unseated, [2]);
}

#[test]
fn differences_do_not_tell_where_a_tool_change_has_left_an_axis() {
    let program = |modes: &str| {
        std::format!("G0 Z30\nZ25\nM6\nG91 G0 X5\nZ5\n{modes}G1 X5 F99\nG90 G0 Z40\nG1 Z-1\nX9\n")
    };
    let z = table(0.0, 0.0, 0.12);
    // The overrun goes by differences where the program does; else Z stays on its other side, its command shifted.
    let (text, report) = replayed(&program(""), &z, &Settings::DEFAULT);
    assert!(text.contains("\nG0 Z0.38\nG0 Z-0.5\nG1 X5 F99\n") && report.untold.is_none(), "{text}");
    let (text, _, unseated) = rewrite(&program("G90\n"), &z, &Settings::DEFAULT).unwrap();
    assert!(text.contains("\nZ5.12\nG90\nG1 X5 F99\n") && unseated.is_empty(), "{text}");
}

#[test]
fn data_of_an_offset_that_is_not_in_force_move_nothing() {
    // With G10 L2, G59.1 to G59.3 are the seventh to the ninth.
    for (offset, number, lost) in [
        ("G54", 1, true),
        ("G54", 5, false),
        ("G58", 5, true),
        ("G59.3", 5, false),
        ("G59.3", 6, false),
        ("G59.3", 9, true),
    ] {
        let program =
            std::format!("{offset}\nG0 X-1 Z9\nX0 Z5\nG10 L2 P{number} X1 Z3\nG1 X5 Z4 F99\nX6 Z9\n");
        let (text, report) = replayed(&program, &table(0.1, 0.0, 0.1), &Settings::DEFAULT);
        let (.., unseated) = rewrite(&program, &table(0.1, 0.0, 0.1), &Settings::DEFAULT).unwrap();
        assert_eq!((!unseated.is_empty(), report.unseated_mm > 0.2), (lost, lost), "{text}");
    }
}

#[test]
fn new_names_end_the_clear_height_and_are_no_lift() {
    let program = "G0 Z5\nX10\nX0\nG92 Z9\nX10\nX0\n";
    let rewritten = text(program, &table(0.1, 0.0, 0.0), &clear(2.0));
    assert!(rewritten.ends_with("X-0.5\nG0 X0.\nG92 Z9\nX10\nX-0.1\n"), "{rewritten}");
    for line in ["G92 Z9", "G52 Z1", "G10 L2 P1 Z1", "G92.1"] {
        let told = lost(&std::format!("G0 Z5\n{line}\n"), &clear(2.0));
        assert_eq!(told, [(false, false), (false, true)], "{line}");
    }
    for line in ["G92 Z5", "G92 X9", "G43 H1", "G91 G28 Z0", "G55"] {
        let told = lost(&std::format!("G0 Z5\n{line}\n"), &clear(2.0));
        assert_eq!(told, [(false, false); 2], "{line}");
    }
    // Bearing on its other seat in the cut, Z is not lifted for a new name.
    let program = "G0 Z5\nG1 Z-1 F100\nX5 Z-0.5\nG92 X0\nX9\n";
    let rewritten = text(program, &table(0.0, 0.0, 0.12), &Settings::DEFAULT);
    assert!(rewritten.ends_with("X5 Z-0.38\nG92 X0\nX9\n"), "{rewritten}");
}

#[test]
fn what_a_return_is_for_stays_unshifted() {
    // The height to which it leads is not known to be clear.
    let program = "G0 X5\nX9\nG91 G28 Z0\nG90 G0 X0\nX5\n";
    let rewritten = text(program, &table(0.1, 0.0, 0.0), &clear(2.0));
    assert!(rewritten.ends_with("G90 G0 X-0.1\nX5\n"), "{rewritten}");
    for back in ["G28 X0", "G53 G0 X0"] {
        let program = std::format!("G0 X9\nX5\nX0\n{back}\nG92 X0\n");
        let rewritten = text(&program, &table(0.1, 0.0, 0.0), &Settings::DEFAULT);
        assert!(rewritten.ends_with(&std::format!("X-0.1\n{back}\nG92 X0\n")), "{rewritten}");
    }
    // Where nothing moved, the shift is still there, and the seat too.
    let program = "G0 X9\nX5\nX0\nG92 X50\nG1 Y2 F99\n";
    let (text, _, unseated) = rewrite(program, &table(0.1, 0.0, 0.0), &Settings::DEFAULT).unwrap();
    assert!(text.ends_with("X-0.1\nG92 X49.9\nG1 Y2 F99\n"), "{text}");
    assert_eq!(unseated, []);
}

#[test]
fn nothing_overruns_from_where_a_return_has_taken_it() {
    // At the end of its travel, perhaps: a soft limit may stop it there.
    for back in ["G28 Z0", "G30 Z0", "G53 G0 Z0"] {
        let program = std::format!("G0 Z5\n{back}\nG91 G1 X5 F99\nG0 Z-9\nZ1\nG1 X5\n");
        let (text, counts, unseated) = rewrite(&program, &table(0.0, 0.0, 0.12), &Settings::DEFAULT).unwrap();
        assert!(text.contains(&std::format!("{back}\nG91 G1 X5 F99\nG0 Z-9\n")), "{text}");
        assert_eq!((counts.one_way_moves, unseated), (1, std::vec![3]), "{text}");
    }
    // Nor for a first hole that is shorter than the lost motion.
    let program = "G0 Z20\nG91 G28 Z0\nG81 X5 Z-0.05 R-0.02 F90\n";
    let (text, counts, _) = rewrite(program, &table(0.0, 0.0, 0.12), &Settings::DEFAULT).unwrap();
    assert_eq!(counts.one_way_moves, 0, "{text}");
}

#[test]
fn a_tool_change_in_the_block_of_a_cut_comes_before_all_of_it() {
    // The overrun would stand before the line, and the tool change takes its seat away again.
    let table = table(0.1, 0.1, 0.12);
    let (text, _, unseated) = rewrite("G91\nG1 X2 Y-1 F99 M6 T2\n", &table, &Settings::DEFAULT).unwrap();
    assert!(text.ends_with("ON)\nG91\nG1 X2 Y-1.1 F99 M6 T2\n"), "{text}");
    assert_eq!(unseated, [2]);
    for word in ["M6", "G43 H1"] {
        let program = std::format!("G91\nG0 X-5 Y5\nG2 X10 Y0 I5 J0 F99\n{word} X10 Y0 I5 J0\n");
        let refusal = rewrite(&program, &table, &Settings::DEFAULT).unwrap_err();
        assert_eq!((refusal.line, refusal.reason), (4, Reason::Conflict), "{word}");
    }
}

#[test]
fn in_differences_an_axis_that_nobody_has_placed_can_be_named() {
    // A half circle, whose Y turns round and is not named.
    let program = "G91\nM6 T1\nG0 X-5\nZ-9\nG1 Z-1 F99\nG2 X10 I5\n";
    let (text, counts, unseated) = rewrite(program, &table(0.0, 0.1, 0.0), &Settings::DEFAULT).unwrap();
    assert_eq!((counts.arcs_split, unseated), (1, std::vec![5]), "{text}");
}

#[test]
fn an_offset_from_a_shifted_place_is_refused() {
    assert_eq!(reason("G0 X9\nX5\nX0\nG10 L20 P1 X0\n"), (4, Reason::Shifted(Axis::X)));
    let x = table(0.1, 0.0, 0.0);
    assert!(rewrite("G0 X5\nX9\nG10 L20 P1 X0\n", &x, &Settings::DEFAULT).is_ok());
    assert!(rewrite("G0 X9\nX5\nX0\nG10 L20 P1 Y0\n", &x, &Settings::DEFAULT).is_ok());
}

#[test]
fn what_a_skipped_block_may_have_moved_is_unknown() {
    let x = table(0.1, 0.0, 0.0);
    // At one shift if it is skipped, at the other if not.
    for block in ["/X9\nG91 G1 X1 F99\n", "/X9\nG92 X0\n", "/G1 X9\n/X10\nG91 G1 X1 F99\n"] {
        let program = std::format!("G0 X9 Y0\nX5\nX0\n{block}");
        let refusal = rewrite(&program, &x, &Settings::DEFAULT).unwrap_err();
        assert!(matches!(refusal.reason, Reason::Skipped | Reason::SkippedMode), "{block}: {refusal}");
    }
    assert_eq!(reason("G0 X9 Y0 Z5\nX5\nX9\nG91 G1 F99\n/G2 I5\n"), (5, Reason::Skipped));
    // A skipped return shifts nothing back.
    let refusal = rewrite("G0 X9\nX5\nX0\n/G28 X0\nG92 X0\n", &x, &Settings::DEFAULT).unwrap_err();
    assert_eq!((refusal.line, refusal.reason), (5, Reason::Skipped));
    // What is inserted for it is skipped with it: Z is lifted onto its seat only if it is not.
    let z = table(0.0, 0.0, 0.12);
    let program = "G0 Z5\nG1 Z-3 F100\nX5\nG0 Z-1\n/G1 X9\nG1 X10\n";
    let (text, _, unseated) = rewrite(program, &z, &Settings::DEFAULT).unwrap();
    assert!(text.ends_with("/G0 Z-0.5\n/G0 Z-1.\n/G1 X9\nG1 X10\n"), "{text}");
    assert_eq!(unseated, [6]);
    // Sent to where it stands, an axis is there either way.
    let (rewritten, ..) = rewrite("G0 X0\nX9\n/X9\nX5\n", &x, &Settings::DEFAULT).unwrap();
    assert!(rewritten.ends_with("/X9\nX4.9\n"), "{rewritten}");
    // The tool may still be in the cut.
    let program = "G0 Z5\nG1 Z-1 F100\nX5 Z-0.5\n/G0 X6\nG1 X9\n";
    let (text, ..) = rewrite(program, &z, &Settings::DEFAULT).unwrap();
    assert!(text.ends_with("/G0 X6\nG1 X9\n") && !text.contains("G0 Z0"), "{text}");
    let program = "G0 Z5 X0\nG98 G81 X5 Z-9 R2 F99\n/X6 R3\nX7\n";
    assert_eq!(reason(program), (3, Reason::SkippedMode));
}

#[test]
fn travel_limits_hold_in_the_coordinates_in_which_they_were_said() {
    let mut settings = Settings::DEFAULT;
    settings.limits.x = Some((mm(-51.0), mm(11.0)));
    for line in ["G92 X5", "G52 X1", "G10 L2 P1 X1", "G92.1", "G55"] {
        let told = lost(&std::format!("G0 X0\n{line}\nX500\n"), &settings);
        assert_eq!(told, [(false, false), (true, false), (false, false)], "{line}");
    }
    let told = lost("G92 X5\nG55\nG0 X5\n", &settings);
    assert_eq!(told, [(false, false), (true, false), (false, false)]);
    assert_eq!(lost("G54\nG0 X5\nG43 H1\n", &settings), [(false, false); 3]);
    settings.limits.z = Some((mm(-9.0), mm(9.0)));
    assert_eq!(lost("G54\nG0 Z5\nG43 H1\n", &settings)[2], (true, false));
    // Differences from an unknown place lead nowhere known.
    assert_eq!(lost("G91 G0 X500\nX-600\n", &settings).len(), 2);
}

#[test]
fn behind_the_end_another_program_begins() {
    let x = table(0.1, 0.0, 0.0);
    let first = "G21 G90 G17 G0 Z5\nX-9\nX5\nG1 Z-1 F100\nX9\nX0\n";
    // The seat is not known there: the cut to the right finds it, the way back is shifted again.
    for behind in ["G0 Z5\nX5\nG1 Z-1\nX9\nX0\n", "T2 M6\n%\nO2 (second)\nG0 Z5\nX5\nG1 Z-1 F100\nX9\nX0\n"] {
        let (text, _, unseated) =
            rewrite(&std::format!("{first}M30\n{behind}"), &x, &Settings::DEFAULT).unwrap();
        let (alone, ..) = rewrite(&std::format!("G21 G90 G17\n{behind}"), &x, &Settings::DEFAULT).unwrap();
        let (_, tail) = alone.split_once("G17\n").unwrap();
        assert!(text.ends_with(&std::format!("M30\n{tail}")), "{text}\n{alone}");
        assert!(unseated.is_empty() == rewrite(behind, &x, &Settings::DEFAULT).unwrap().2.is_empty());
    }
    // Which modes are in force there differs from control to control: what hangs on them is refused.
    for (mode, behind) in [
        ("G91", "G0 X5"),
        ("G90.1", "G2 I4 F99"),
        ("G18", "G2 X5 Z5 R9 F99"),
        ("G93", "G1 X5 F99"),
        ("G0", "X5"),
    ] {
        let program = std::format!("{first}{mode}\nM30\n{behind}\n");
        assert_eq!(reason(&program), (9, Reason::AfterEnd), "{mode}");
    }
    assert!(rewrite(&std::format!("{first}G91\nM30\nG90 G0 X5\n"), &x, &Settings::DEFAULT).is_ok());
    // What is no program may have been anything.
    assert_eq!(reason("G0 Z5\nM30\nMADE IN THE SHOP\nG0 Z9\n"), (4, Reason::AfterEnd));
    let harmless = [
        "G0 Z5\n/M30\nG0 Z9\nM30\n%\n",
        "G0 Z5\nM30\nO2 (second)\nM5\n",
        "G0 Z5\nM30\n%\nMADE IN THE SHOP\n",
    ];
    for program in harmless {
        assert!(rewrite(program, &x, &Settings::DEFAULT).is_ok(), "{program}");
    }
}

#[test]
fn where_a_probe_ends_is_in_the_work() {
    let program = "G0 Z5\nG1 Z-1 F100\nX5 Z-0.5\nG38.2 X9 F9\nG1 X1\n";
    let rewritten = text(program, &table(0.0, 0.0, 0.12), &Settings::DEFAULT);
    assert!(rewritten.ends_with("G38.2 X9 F9\nG1 X1\n"), "{rewritten}");
}

#[test]
fn the_lengths_of_g43_1_are_no_places() {
    let program = "G0 Z5\nG1 Z-1 F100\nG0 Z5\nG43.1 Z1.25\nG0 Z5\n";
    let rewritten = text(program, &table(0.0, 0.0, 0.12), &Settings::DEFAULT);
    assert!(rewritten.ends_with("G43.1 Z1.25\nG0 Z5\n"), "{rewritten}");
    assert!(text("G0 Z5\nG0 Z1\nG43.1 Z9\n", &table(0.0, 0.0, 0.12), &Settings::DEFAULT).ends_with("Z9\n"));
}

#[test]
fn words_that_a_cycle_keeps_into_other_distances_are_said_for_those() {
    // From the side both R plane and depth are shifted: by as much in a difference as nothing.
    let head = "G21 G90 G0 X5 Y5 Z34\nG18 G81 Z3 X4 R.2 Y-1.1 F99\n";
    let rewritten =
        |more: &str| text(&std::format!("{head}{more}"), &table(0.0, 0.1, 0.0), &Settings::DEFAULT);
    let shifted = "G18 G81 Z3 X4 R.1 Y-1.2 F99\n";
    let increments = rewritten("G91 Z1 X0 R0\nG90 Z4 X5 R.2 Y-1.1\nG91 Z-2 X2 R0\nZ1\n");
    let expected = "G91 G0 Y-0.1\nG91 G81 Y-1.1 Z1 X0 R0\nG90 Z4 X5 R.1 Y-1.2\nG91 G81 Y-1.1 Z-2 X2 R0\nZ1\n";
    assert!(increments.ends_with(&std::format!("{shifted}{expected}")), "{increments}");
    let both = rewritten("G91 Z1 X0 R0 Y-1\n");
    assert!(both.ends_with("G91 G0 Y-0.1\nG91 G81 Z1 X0 R0 Y-1\n"), "{both}");
}

#[test]
fn words_beside_the_end_of_new_names_stay_as_they_are() {
    // Moves on some controls, names of axes on others: whether Z is at 2 then nobody knows, nor where X is.
    let program = "G0 X0 Y0 Z5\nG1 Z-1 F99\nX5\nG92.1 Z2\nG1 Z3\nX3\nG0 Z5\n";
    let rewritten = text(program, &table(0.1, 0.0, 0.1), &Settings::DEFAULT);
    assert!(rewritten.ends_with("X5\nG92.1 Z2\nG1 Z3\nX3\nG0 Z5.1\n"), "{rewritten}");
}

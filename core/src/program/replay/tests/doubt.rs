//! Places and seats that a program has not told, or lost.

use super::*;

#[test]
fn cuts_on_an_unknown_seat_are_not_judged() {
    let program = "G0 X0 Y0\nZ5\nG1 Z4.95 F100\nX10\nG0 Z0\nG1 X20\nM6\nX30\n";
    let (report, samples) = try_run(program, program, slack(0.0, 0.0, 0.1)).unwrap();
    near(report.unseated_mm, 0.05 + 10.0 + 10.0);
    assert!(report.after.max_mm < 1e-9, "{report:?}");
    assert_eq!(report.answer, Answer::Good);
    assert!(samples.iter().any(|sample| sample.deviation_mm.is_none()));
    let never = "G1 X10 F100\nX20\n";
    assert_eq!(run(never, never, slack(0.0, 0.0, 0.1)).answer, Answer::BeyondTolerance);
}

#[test]
fn a_first_cut_from_nowhere_is_not_judged_at_all() {
    // Where X was before is not known, nor which way it went; behind it 0.1 mm one way seat it.
    let original = "G1 X10 F100\nX5\nX20\nG0 X0\n";
    let rewritten = "G1 X10 F100\nX4.9\nX5\nX20\nG0 X0\n";
    let report = run(original, rewritten, slack(0.1, 0.0, 0.0));
    near(report.unseated_mm, 10.0 + 0.1);
    assert!(report.after.max_mm < 1e-9, "{report:?}");
    near(report.before.max_mm, 0.1);
    // An axis without slack is where it is told.
    assert_eq!(run(original, original, slack(0.0, 0.0, 0.0)).unseated_mm, 0.0);
}

#[test]
fn an_axis_is_sent_nowhere_before_the_original_tells_where_it_is() {
    // Counted on, Z stands at 0 at first, and at 5 behind the tool change. On the machine it may be anywhere.
    let untold = |original: &str, rewritten: &str| {
        let report = run(original, rewritten, slack(0.1, 0.0, 0.0));
        assert!(report.untold.is_none() || report.answer == Answer::BeyondTolerance, "{report:?}");
        report.untold
    };
    let z = |line| Some(Untold { axis: Axis::Z, line });
    let flat = |more: &str| std::format!("G0 X-1 Y0\nX0\nG0 Y1\n{more}G1 X9 F99\nY5\n");
    assert_eq!(untold(&flat(""), &flat("")), None);
    assert_eq!(run(&flat(""), &flat(""), slack(0.1, 0.0, 0.0)).answer, Answer::Good);
    assert_eq!(untold(&flat(""), &flat("G0 Z.5\nZ0\n")), z(4));
    assert_eq!(untold(&flat(""), &flat("Z0\n")), z(4));
    assert_eq!(untold(&flat(""), &flat("G91 G0 Z.5\nZ-.5\nG90\n")), None);
    let seated = |more: &str| std::format!("{SEAT}M6\nG91 G0 X-1 Z1\nX1 Z-1\nG90 G1 {more}X9 F99\nY5\n");
    assert_eq!(untold(&seated(""), &seated("Z5 ")), z(8));
    // What it tells itself it may be sent to, by what comes before that, too.
    let told = |more: &str| std::format!("G0 X-1 Y0\nX0\n{more}G0 Z-1\nG1 X9 F99\n");
    assert_eq!(untold(&told(""), &told("G0 Z1\n")), None);
    // So it may where the original makes no motion any more before the places are in doubt again.
    let ends = |z: &str| std::format!("{SEAT}G1 Z-1 F99\nX5\nG0 Z5\n{z}M6\nG0 Z5\nG1 X9\n");
    assert_eq!(untold(&ends("Z5\n"), &ends("Z5.1\n")), None);
    // Nor need it make one between a new name and that.
    let named = |x: &str| std::format!("{SEAT}M6\nG92 X7\n{x}M6\nG0 X9 Z5\nG1 X12 F99\n");
    assert_eq!(untold(&named(""), &named("G0 X7.1\n")), None);
    assert_eq!(untold(&named("").replace("G92 X7", ""), &named("G0 X7.1\n").replace("G92 X7", "")), {
        Some(Untold { axis: Axis::X, line: 8 })
    });
    assert_eq!(untold(&ends("Z5\nM6\n"), &ends("Z5\nM6\nX6\n")), Some(Untold { axis: Axis::X, line: 11 }));
}

#[test]
fn a_rapid_that_learns_where_it_is_and_one_behind_a_new_name_are_no_cuts_in_rapid() {
    let program = |before: &str| std::format!("G0 Z34\n{before}G81 X8 Y72 Z0 R34 F99\n");
    let report = run(&program(""), &program("G0 X7.5 Y72\n"), slack(0.1, 0.0, 0.1));
    assert_eq!((report.hurried_mm, report.answer), (0.0, Answer::Good), "{report:?}");
    let named = |before: &str| std::format!("G0 X48 Y31 Z36\nG92 X0 Y0 Z0\n{before}G1 X19 Y23 F99\n");
    let report = run(&named(""), &named("G0 Z.5\nZ0\n"), slack(0.0, 0.0, 0.1));
    assert_eq!((report.hurried_mm, report.answer), (0.0, Answer::Good), "{report:?}");
}

#[test]
fn data_of_an_offset_from_where_an_axis_is_shifted_lie_elsewhere() {
    let program = |z: &str| std::format!("{SEAT}G1 Z-1 F99\nX9\nZ{z}\nG10 L20 P1 Z0\nG1 Z-3\nX20\n");
    let report = run(&program("-.5"), &program("-.38"), slack(0.0, 0.0, 0.12));
    near(report.after.max_mm, 0.12);
    assert_eq!(report.answer, Answer::BeyondTolerance);
    assert_eq!(run(&program("-.5"), &program("-.5"), slack(0.1, 0.0, 0.0)).answer, Answer::Good);
}

#[test]
fn behind_a_fine_bore_nobody_knows_how_the_axes_bear() {
    let program = |cycle: &str| std::format!("{SEAT}G99 {cycle} X5 Y9 Z-1 R1 F90\nG80 G1 X9 Y12\n");
    let unseated = |cycle: &str| {
        let text = program(cycle);
        run(&text, &text, slack(0.05, 0.0, 0.0)).unseated_mm
    };
    assert_eq!(unseated("G86"), 0.0);
    near(unseated("G76 Q.3"), 0.0625);
}

#[test]
fn behind_the_end_the_first_work_offset_is_still_that() {
    let program = |number| {
        std::format!(
            "G54\nG0 X0 Y0 Z9\nM2\nG0 X2 Y2 Z9\nX0 Y0 Z5\nG10 L2 P{number} X1 Y2 Z3\nG1 X5 Y5 Z4 F99\n"
        )
    };
    let unseated = |number| run(&program(number), &program(number), slack(0.1, 0.1, 0.1)).unseated_mm;
    assert!(unseated(5) == 0.0 && unseated(1) > 0.0, "{} {}", unseated(5), unseated(1));
}

#[test]
fn behind_the_end_another_program_begins() {
    let reason = |text: &str| try_run(text, text, slack(0.1, 0.0, 0.0)).err().map(|f| f.refusal.reason);
    assert_eq!(reason("G0 X5\nM30\n%\nG0 X6\n"), None);
    assert_eq!(reason("G0 X5\nM2\nG28\n"), None);
    // Text that is no program may have been anything.
    assert_eq!(reason("G0 X5\nM30\n?\nG0 X6\n"), Some(Reason::AfterEnd));
    // The seats are not known any more, nor the modes.
    let program = std::format!("{SEAT}G1 Z-1 F100\nX9\nG91\nM30\nG0 X20\nG1 X19 F100\n");
    let report = run(&program, &program, slack(0.1, 0.0, 0.0));
    near(report.unseated_mm, 0.1);
    near(report.cut_mm, run(&std::format!("{SEAT}G1 Z-1 F100\nX9\n"), "", slack(0.1, 0.0, 0.0)).cut_mm + 1.0);
    assert_eq!(reason("G0 X5\nM30\n%\nO2\nM5\n?\n"), None);
    assert_eq!(reason("G0 X5\n/M30\nG0 X6\nM30\n"), None);
}

#[test]
fn an_axis_that_a_skipped_block_brings_back_is_still_known() {
    let program = std::format!("{SEAT}/M8\nG0 X-9\nX4\nG1 Z-1 F100\nX20\nG0 Z5\n");
    // Its seat is not, until it has gone far enough.
    let back = program.replace("/M8", "/G0 X1\n/G0 X0");
    assert_eq!(run(&program, &back, slack(0.1, 0.0, 0.0)).unseated_mm, 0.0);
    let away = program.replace("/M8", "/G0 X1").replace("G0 X-9\nX4", "G0 X4");
    assert!(run(&program, &away, slack(0.1, 0.0, 0.0)).unseated_mm > 3.0);
}

#[test]
fn a_plunge_from_a_seat_in_doubt_is_no_way_round() {
    // Behind a fine bore Y may bear on either side; what is taken up behind the plunge is nearer to its end than itself.
    let original =
        "G1 X13.609 F100\nY4.879\nG0 Z5\nG98 G76 Z-2.923 R.5 Q.3 X17.546 Y-2.293\nG1 Z-2\nX17.249 Y-1.348\n";
    let rewritten = original.replace("Y-2.293\nG1 Z-2", "Y-2.497\nG1 Z-2\nG1 Y-2.293");
    let report = run(original, &rewritten, slack(0.0, 0.204, 0.018));
    assert!(report.after.max_mm < 1e-9, "{report:?}");
}

#[test]
fn a_place_named_otherwise_is_a_deviation_wherever_it_lies() {
    let x = || slack(0.1, 0.0, 0.0);
    for back in ["G28 X0", "G28", "G53 G0 X0", "G91 X1\nG90"] {
        let program = std::format!("{SEAT}{back}\nG92 X0\nG0 X-9\nX9\nG1 Z-1 F100\nX20\nG0 Z5\n");
        let report = run(&program, &program.replace("G92 X0", "G92 X-0.1"), x());
        near(report.after.max_mm, 0.1);
        near(run(&program, &program, x()).after.max_mm, 0.0);
    }
    // The drive bears after the name as it did before: the shifted command needs the shifted name.
    let program = std::format!("{SEAT}G0 X-9\nG92 X50\nG1 Z-1 F100\nG0 Z5\n");
    let shifted = program.replace("G0 X-9", "G0 X-9.1");
    near(run(&program, &shifted, x()).after.max_mm, 0.1);
    near(run(&program, &shifted.replace("X50", "X49.9"), x()).after.max_mm, 0.0);
}

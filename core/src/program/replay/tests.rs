//! Small programs whose figures follow from the closed forms of the play operator.

mod doubt;

use super::*;
use crate::axis::{Axis, PerAxis};
use crate::slack::Play;
use std::string::String;
use std::vec::Vec;

fn slack(x: f64, y: f64, z: f64) -> Slack {
    let play = |axis: Axis, width| AxisSlack::of_play(&Play::new(width, axis.usual_seat()).unwrap());
    PerAxis { x: play(Axis::X, x), y: play(Axis::Y, y), z: play(Axis::Z, z) }
}

fn try_run(original: &str, rewritten: &str, slack: Slack) -> Result<(Report, Vec<Sample>), Failure> {
    let mut replay = std::boxed::Box::new(Replay::new(Settings::new(slack)));
    let (mut first, mut second) = (original.lines(), rewritten.lines());
    let mut samples = Vec::new();
    loop {
        let (source, line) = match replay.advance(&mut |sample| samples.push(sample))? {
            Want::Done => return Ok((replay.report(0.005), samples)),
            Want::Line(Source::Original) => (Source::Original, first.next()),
            Want::Line(Source::Rewritten) => (Source::Rewritten, second.next()),
        };
        match line {
            Some(line) => replay.read(source, line.as_bytes())?,
            None => replay.end(source),
        }
    }
}

fn run(original: &str, rewritten: &str, slack: Slack) -> Report {
    try_run(original, rewritten, slack).unwrap().0
}

fn near(found: f64, expected: f64) {
    assert!((found - expected).abs() < 1e-6, "{found}, expected {expected}");
}

/// Every axis on its reference seat at X0 Y0 Z5, by rapids.
const SEAT: &str = "G90 G21 G17\nG0 X-5 Y-5 Z10\nX-6 Y-6 Z11\nX0 Y0 Z5\n";

#[test]
fn an_uncorrected_program_is_as_good_after_as_before() {
    let program = std::format!("{SEAT}G1 Z-1 F100\nX10 Z0\nX20 Z-1\nG2 X30 Y10 I0 J10\nG0 Z5\n");
    let report = run(&program, &program, slack(0.05, 0.0, 0.12));
    assert_eq!(report.before, report.after);
    // Up a slope the tool is low by the clearance, and so it passes below the top.
    near(report.before.max_mm, 0.12);
    assert_eq!((report.missing, report.answer), (0, Answer::BeyondTolerance));
    assert_eq!(report.unseated_mm, 0.0);
}

#[test]
fn a_dwell_before_a_move_in_its_block() {
    let program = |dwell: &str| std::format!("{SEAT}{dwell} G1 Z-1 F100\nX10 Z0\n{dwell} G1 X20 Z-1\n");
    let with = run(&program("G4 P1"), &program("G4 P1"), slack(0.05, 0.0, 0.12));
    assert_eq!(with, run(&program(""), &program(""), slack(0.05, 0.0, 0.12)));
    assert!(try_run("G0 Z5\nG4 X2 G1 Z-1 F100\n", "", slack(0.0, 0.0, 0.1)).is_err());
}

#[test]
fn what_concerns_an_axis_without_slack_passes() {
    let program = std::format!("{SEAT}G1 Z-1 F100\nX15\nU1 Z0\nZ-1\nG92.4 A0\nX2\n");
    let report = run(&program, &program, slack(0.0, 0.0, 0.12));
    near(report.after.max_mm, 0.12);
    assert_eq!(report.unseated_mm, 0.0);
    assert!(try_run(&program, &program, slack(0.01, 0.0, 0.12)).is_err());
    let named = run(&program.replace("A0", "V0"), &program.replace("A0", "V0"), slack(0.0, 0.0, 0.12));
    assert_eq!(named.unseated_mm, 0.0);
    let polar = program.replace("U1", "@15 ^30");
    near(run(&polar, &polar, slack(0.0, 0.0, 0.12)).after.max_mm, 0.12);
    assert!(try_run(&polar, &polar, slack(0.0, 0.01, 0.12)).is_err());
    let z = run(&program.replace("A0", "Z0"), &program.replace("A0", "Z0"), slack(0.0, 0.0, 0.12));
    assert!(z.unseated_mm > 0.0);
}

#[test]
fn a_peck_or_a_repeat_without_end_is_refused() {
    let reason = |cycle: &str| {
        let program = std::format!("{SEAT}{cycle}\nG80\n");
        try_run(&program, &program, slack(0.0, 0.0, 0.1)).err().map(|failure| failure.refusal.reason)
    };
    assert_eq!(reason("G83 X1 Y1 Z-99999990. R.1 Q.25 F50"), Some(Reason::TooManyStrokes));
    assert_eq!(reason("G83 X1 Y1 Z-9950 R.1 Q.25 F50"), Some(Reason::TooManyStrokes));
    assert_eq!(reason("G81 X1 Y1 Z-1 R1 L4000000000 F50"), Some(Reason::TooManyStrokes));
    assert_eq!(reason("G83 X1 Y1 Z-20 R1 Q.01 L3 F50"), None);
    // G81 has no use for Q.
    assert_eq!(reason("G81 X1 Y1 Z-99. R1 Q.0001 F50"), None);
}

#[test]
fn the_end_of_a_mirror_moves_nothing() {
    let program = |end: &str| std::format!("{SEAT}G1 Z-1 F100\nX10\n{end}\nG91 X5\nG90 X0\n");
    let with = run(&program("G50.1 X0 Y0\nG67"), &program("G50.1 X0 Y0\nG67"), slack(0.05, 0.0, 0.0));
    let without = run(&program(""), &program(""), slack(0.05, 0.0, 0.0));
    assert_eq!((with.before, with.unseated_mm), (without.before, without.unseated_mm));
    assert!(try_run("G1 G50.1 X5 F100\n", "", slack(0.05, 0.0, 0.0)).is_err());
}

/// Letters hardly larger than the clearances, engraved in several passes: one block becomes up to nine.
#[test]
fn small_letters_in_several_passes_keep_their_counterparts() {
    use crate::correct::{AxisTable, Table};
    use crate::length::Length;
    use crate::program::rewrite;
    use std::fmt::Write as _;
    let mut original = String::from("G21 G90 G17\nG0 Z9\nX-5 Y-5\nX0 Y0\nZ2\n");
    for letter in 0..8 {
        let x = 0.9 * f64::from(letter);
        write!(original, "G0 X{x:.3} Y0\nG1 Z-0.3 F100\n").unwrap();
        for _ in 0..3 {
            write!(original, "G3 X{x:.3} Y0.3 J0.15\nX{x:.3} Y0 J-0.15\n").unwrap();
            write!(original, "G1 X{:.3} Y0.15\nY0\nX{x:.3}\n", x + 0.15).unwrap();
        }
        original.push_str("G0 Z2\n");
    }
    let mut table = Table::EMPTY;
    let axis =
        |axis: Axis, width| AxisTable::uniform(axis.usual_seat(), Length::from_mm(width).unwrap()).ok();
    table.axes = PerAxis { x: axis(Axis::X, 0.08), y: axis(Axis::Y, 0.06), z: axis(Axis::Z, 0.12) };
    let mut rewriter = rewrite::Rewriter::new(&table, &rewrite::Settings::DEFAULT);
    let mut rewritten = Vec::new();
    for line in original.split_inclusive('\n') {
        rewriter.line(line.as_bytes(), &mut |bytes| rewritten.extend_from_slice(bytes)).unwrap();
    }
    let report = run(&original, &String::from_utf8(rewritten).unwrap(), slack(0.08, 0.06, 0.12));
    assert_eq!(report.missing, 0);
    assert!(report.after.max_mm < 0.001, "{report:?}");
}

#[test]
fn without_slack_the_tool_is_on_the_path() {
    let program = std::format!("{SEAT}G1 Z-1 F100\nX10 Z0\nG3 X20 Y10 R10\nG2 X20 Y10 I5 J5 Z-4\nG0 Z5\n");
    let report = run(&program, &program, slack(0.0, 0.0, 0.0));
    assert!(report.after.max_mm < 1.01e-4, "arcs are followed in chords: {report:?}");
    assert_eq!(report.answer, Answer::Good);
}

#[test]
fn a_lag_along_a_line_counts_at_the_end_it_does_not_reach() {
    let program = std::format!("{SEAT}G1 Z-1 F100\nX100\nX0\nG0 Z5\n");
    let report = run(&program, &program, slack(0.08, 0.0, 0.0));
    near(report.before.max_mm, 0.08);
    assert!(report.before.mean_mm < 0.001, "{report:?}");
}

#[test]
fn a_line_in_many_motions_is_judged_as_the_line_in_one() {
    let mut pieces = String::new();
    for i in (0..1000).rev() {
        pieces += &std::format!("X{:.2}\n", f64::from(i) / 10.0);
    }
    let one = std::format!("{SEAT}G1 Z-1 F100\nX100\nX0\nG0 Z5\n");
    let many = std::format!("{SEAT}G1 Z-1 F100\nX100\n{pieces}G0 Z5\n");
    let (one, many) = (run(&one, &one, slack(0.08, 0.0, 0.0)), run(&many, &many, slack(0.08, 0.0, 0.0)));
    near(many.before.max_mm, one.before.max_mm);
    assert!((many.before.mean_mm - one.before.mean_mm).abs() < 2e-4, "{one:?} {many:?}");
}

#[test]
fn take_ups_at_the_reversals_leave_nothing() {
    let original = std::format!("{SEAT}G1 Z-1 F100\nX10 Z0\nX20 Z-1\nX30 Z-0.95\nX40 Z-2\nG0 Z5\n");
    let rewritten = std::format!(
        "{SEAT}G1 Z-1 F100\nZ-.88\nX10 Z.12\nZ0\nX20 Z-1\nZ-.88\nX30 Z-.83\nZ-.95\nX40 Z-2\nG0 Z5\n"
    );
    let report = run(&original, &rewritten, slack(0.0, 0.0, 0.12));
    assert!(report.after.max_mm < 1e-9, "{report:?}");
    assert!(report.before.max_mm > 0.11);
    assert_eq!((report.missing, report.answer), (0, Answer::Good));
}

#[test]
fn hundreds_of_take_ups_do_not_lose_the_thread() {
    // Steps as long as the clearance: each take-up looks like a motion of the original.
    for step in [0.12, 0.05, 0.3] {
        let (mut original, mut rewritten) = (String::from(SEAT), String::from(SEAT));
        original += "G1 Z-1 F100\n";
        rewritten += "G1 Z-1 F100\n";
        for i in 0..300 {
            let up = i % 2 == 0;
            let z = if up { -1.0 + step } else { -1.0 };
            original += &std::format!("Z{z:.3}\n");
            let shift = if up { 0.12 } else { 0.0 };
            let from = if up { -1.0 } else { -1.0 + step };
            rewritten += &std::format!("Z{:.3}\nZ{:.3}\n", from + shift, z + shift);
            if i % 10 == 9 {
                original += &std::format!("X{}\n", i / 10);
                rewritten += &std::format!("X{}\n", i / 10);
            }
        }
        original += "X50\nG0 Z5\n";
        rewritten += "X50\nG0 Z5\n";
        let report = run(&original, &rewritten, slack(0.0, 0.0, 0.12));
        assert!(report.after.max_mm < 1e-6, "{step}: {report:?}");
        let same = run(&original, &original, slack(0.0, 0.0, 0.12));
        near(same.after.max_mm, 0.12_f64.min(step));
        assert_eq!(same.before, same.after);
    }
}

#[test]
fn split_motions_are_followed() {
    let original = std::format!("{SEAT}G1 Z-1 F100\nG2 X0 Y0 I10 J0\nG1 X40\nG0 Z5\n");
    let mut rewritten = std::format!(
        "{SEAT}G1 Z-1 F100\nG2 X10 Y10 I10 J0\nX20 Y0 I0 J-10\nX10 Y-10 I-10 J0\nX0 Y0 I0 J10\nG1\n"
    );
    for i in 1..=200 {
        rewritten += &std::format!("X{:.1}\n", f64::from(i) / 5.0);
    }
    rewritten += "G0 Z5\n";
    let report = run(&original, &rewritten, slack(0.0, 0.0, 0.1));
    assert!(report.after.max_mm < 1.01e-4, "arcs are followed in chords: {report:?}");
    assert_eq!(report.missing, 0);
}

#[test]
fn a_circle_shows_the_clearance_at_its_quadrants() {
    // Clockwise from the left: X rises to the right end, then falls; on the other seat the tool is
    // off by the clearance times the cosine, most at the right end, where X stands still first.
    let program = std::format!("{SEAT}G1 Z-1 F100\nG2 X0 Y0 I10 J0\nG0 Z5\n");
    let report = run(&program, &program, slack(0.1, 0.0, 0.0));
    assert!(report.before.max_mm > 0.09 && report.before.max_mm < 0.1001, "{report:?}");
}

#[test]
fn overruns_in_the_clear_are_no_deviation() {
    let original = std::format!("{SEAT}X20\nX10\nG1 Z-1 F100\nX30\nG0 Z5\n");
    let rewritten = std::format!("{SEAT}X20\nX10\nX9\nX10\nG1 Z-1 F100\nG0 Z1\nG1 Z-1\nX30\nG0 Z5\n");
    let report = run(&original, &rewritten, slack(0.1, 0.0, 0.1));
    assert!(report.after.max_mm < 1e-9, "{report:?}");
    near(report.before.max_mm, 0.1);
}

#[test]
fn what_nobody_asked_for_is_a_deviation() {
    let original = std::format!("{SEAT}G1 Z-1 F100\nX10\nX20\nX30\nG0 Z5\n");
    let deep = original.replace("X20\n", "X20\nZ-2\nZ-1\n");
    let rapid = original.replace("X20\n", "X20\nG0 Y3\nY0\nG1\n");
    let below = original.replace("G1 Z-1", "Z0\nX7\nX0\nG1 Z-1");
    let missing = original.replace("X20\n", "").replace("X30\n", "");
    for (name, rewritten, expected) in
        [("deep", deep, 1.0), ("rapid", rapid, 3.0), ("below", below, 3.0), ("missing", missing, 20.0)]
    {
        let report = run(&original, &rewritten, slack(0.0, 0.0, 0.1));
        assert_eq!(report.answer, Answer::BeyondTolerance, "{name}");
        assert!(report.after.max_mm > 0.9 * expected, "{name}: {report:?}");
    }
}

#[test]
fn a_correction_of_the_wrong_sign_is_worse() {
    let original = std::format!("{SEAT}G1 Z-1 F100\nX10 Z0\nX20 Z-1\nG0 Z5\n");
    let wrong = std::format!("{SEAT}G1 Z-1 F100\nZ-1.12\nX10 Z-.12\nZ0\nX20 Z-1\nG0 Z5\n");
    let report = run(&original, &wrong, slack(0.0, 0.0, 0.12));
    assert!(report.after.max_mm > 0.2, "{report:?}");
}

#[test]
fn one_peck_more_goes_on_from_where_the_drill_comes_back_to() {
    // 0.254 mm above the depth, which is farther than what counts as near.
    let program = |z: &str| std::format!("{SEAT}G99 G83 X1 Y1 Z{z} R1 Q.5 F99\nX2\nG80 G0 Z9\n");
    let report = run(&program("-2"), &program("-2.0005"), slack(0.0, 0.0, 0.06));
    near(report.after.max_mm, 0.0005);
    assert_eq!((report.missing, report.answer), (0, Answer::Good));
}

#[test]
fn a_full_circle_may_be_the_first_cut_behind_an_overrun() {
    // Its start is its end: behind the overrun the tool is at the one, not at the other.
    let original = "G0 X0 Y0 Z5\nG3 I1 F100\nG0 Z9\n";
    let rewritten = "G0 X0 Y0 Z5\nG0 Z5.5\nZ5\nG1 X-.1\nX0\nG3 X1 Y-1 I1\nX2 Y0 J1\nG1 X1.9\n\
                     G3 X.9 Y1 I-1\nX-.1 Y0 J-1\nG0 Z9\n";
    let report = run(original, rewritten, slack(0.1, 0.0, 0.1));
    assert!(report.after.max_mm < 1.01e-4, "{report:?}");
    assert!(report.after.mean_mm > 0.0, "{report:?}");
}

#[test]
fn the_worst_place_is_named_by_line_and_coordinates() {
    let program = std::format!("{SEAT}G1 Z-1 F100\nX10\nX50 Z-1\nX90 Z-.5\nG0 Z5\n");
    let report = run(&program, &program, slack(0.0, 0.0, 0.2));
    let worst = report.worst.first().unwrap();
    assert_eq!(worst.line, 8);
    assert!(worst.at.x >= 50.0 && worst.deviation_mm > 0.19, "{worst:?}");
}

#[test]
fn stations_make_the_deviation_depend_on_the_place() {
    let station = |position_mm, plus_mm| SeatStation { position_mm, plus_mm, minus_mm: 0.0 };
    let z = AxisSlack::of_stations([station(-10.0, 0.3), station(0.0, 0.1)], 0.0).unwrap();
    let slack = PerAxis { x: AxisSlack::NONE, y: AxisSlack::NONE, z };
    let program = std::format!("{SEAT}G1 Z-10 F100\nX10 Z-9\nZ-10\nG0 Z5\n");
    let report = run(&program, &program, slack);
    assert!(report.before.max_mm > 0.27 && report.before.max_mm < 0.3, "{report:?}");
}

#[test]
fn inches_increments_and_cycles_come_to_the_same() {
    let plain = std::format!("{SEAT}G1 Z-2.54 F100\nX25.4\nG0 Z2.54\nX50.8\nG1 Z-2.54\nG0 Z5\n");
    let inch =
        std::format!("{SEAT}G20 G1 Z-.1 F4\nG91 X1.\nG0 Z.2\nG90 G99 G81 X2. Z-.1 R.1\nG80 G0 G21 Z5\n");
    let report = run(&plain, &inch, slack(0.0, 0.0, 0.1));
    assert!(report.after.max_mm < 1e-6 && report.missing == 0, "{report:?}");
}

#[test]
fn what_cannot_be_followed_is_refused_by_line_and_word() {
    let refused = [
        "G0 X#1",
        "G1 X0 X1",
        "M98 P100",
        "G41 D1 X5",
        "G68 X0 Y0 R45",
        "G2 X10 Y0 I1 J5",
        "G2 X10 Y0",
        "M62 P3 G2 X10 Y0 I5 J0",
        "G2 X10 Y0 R5 P2",
        "G38.2 X5",
        "G999",
        "G81 X1 R1",
        "G81 X1 Z-1 R1 I3",
        "G28 Z0 G4 P1",
        "G0 X1.5 G4",
        "G70 I20 J0 L6",
        "G112",
    ];
    for block in refused {
        let program = std::format!("G0 X1 Y1 Z1\n{block}\n");
        let failure = try_run("G0 X1\n", &program, slack(0.1, 0.0, 0.1)).unwrap_err();
        assert_eq!((failure.source, failure.refusal.line), (Source::Rewritten, 2), "{block}");
        assert!(!failure.refusal.reason.way_out().is_empty());
    }
    // What only concerns an axis without slack passes.
    let program = "G0 X1 Y1 Z1\nG41 D1 X5\nG40 X6\nG1 Z0 F9\nX9\nG5.3\n";
    assert!(try_run(program, program, slack(0.0, 0.0, 0.1)).is_ok());
}

#[test]
fn an_arc_that_cannot_be_drawn_is_a_line_where_no_axis_of_its_plane_has_slack() {
    for arc in ["G2 X10 Y0", "G2 X10 Y0 I1 J5", "G2 X10 Y0 R2", "G3 X5 Y0 R2", "G2 X5 Y5 I0 J0"] {
        let program = |z: f64| std::format!("{SEAT}G0 X5 Y0\nG1 Z-1 F99\nZ{z}\n{arc}\nG1 X20 Y0\nG0 Z9\n");
        let report = run(&program(0.0), &program(0.1), slack(0.0, 0.0, 0.1));
        near(report.before.max_mm, 0.1);
        assert!(report.after.max_mm < 1e-9 && report.answer == Answer::Good, "{arc}: {report:?}");
        assert!(try_run(&program(0.0), &program(0.0), slack(0.0, 0.1, 0.0)).is_err(), "{arc}");
    }
}

#[test]
fn pecks_and_repeats_by_i_j_and_k() {
    let strokes = |cycle: &str| -> Vec<f64> {
        let mut interpreter = Interpreter::new(Reading::default());
        let (mut ends, mut last) = (Vec::new(), f64::NAN);
        for line in std::format!("{SEAT}{cycle}\n").lines() {
            interpreter.read(line.as_bytes()).unwrap();
            while let Some(event) = interpreter.next().unwrap() {
                if let Event::Motion(motion) = event {
                    let end = motion.curve.end.z;
                    if motion.rate == Rate::Feed && end != last {
                        ends.push(end);
                    }
                    last = end;
                }
            }
        }
        ends
    };
    // Each by 1 less, not below 1.5.
    assert_eq!(strokes("G99 G83 X5 Z-9 R1 I4 J1 K1.5 F90"), [-3.0, -6.0, -8.0, -9.0]);
    assert_eq!(strokes("G99 G73 X5 Z-9 R1 I4 F90"), [-3.0, -7.0, -9.0]);
    // The least of every hole, where it has none of its own.
    assert_eq!(strokes("G99 G83 X5 Z-9 R1 I5 J1 F90"), [-4.0, -9.0]);
    assert_eq!(strokes("G99 G82 X5 Z-9 R1 K2 F90"), [-9.0, -9.0]);
    assert_eq!(strokes("G99 G82 X5 Z-9 R1 K0 F90"), []);
    assert_eq!(strokes("G99 G76 X5 Z-9 R1 Q.3 F90"), [-9.0]);
    assert_eq!(strokes("G99 G74 X5 Z-9 R1 F90"), [-9.0, 1.0]);
    for foreign in ["G74 I1", "G76 K1", "G83 I4 Q1", "G83 K3", "G81 K2 L2", "G85 J1"] {
        let text = std::format!("{SEAT}{foreign} X5 Z-9 R1 F90\n");
        assert!(try_run(&text, &text, slack(0.0, 0.0, 0.1)).is_err(), "{foreign}");
    }
}

#[test]
fn behind_a_cycle_axes_move_as_before_it() {
    let program = |mode: &str, end: &str| {
        let cut = "G1 Z-1\nX20 Z0\n";
        std::format!("{SEAT}{mode} F200\nG99 G81 X5 Y9 Z-1 R1\n{end}\nX9 Y0\n{cut}")
    };
    for mode in ["G0", "G1"] {
        let said = |end: &str| {
            let text = program(mode, end);
            run(&text, &text, slack(0.05, 0.0, 0.12))
        };
        let by_word = said(&std::format!("G80\n{mode} Z3"));
        assert_eq!(said("G80 Z3").before, by_word.before);
        assert_eq!(said("G80\nZ3").before, by_word.before);
    }
    // As a feed it would be a cut.
    let [rapid, feed] = ["G0", "G1"].map(|mode| program(mode, "G80 Z3"));
    assert_ne!(run(&rapid, &rapid, slack(0.05, 0.0, 0.12)), run(&feed, &feed, slack(0.05, 0.0, 0.12)));
}

#[test]
fn a_cycle_in_another_plane_begins_anew() {
    let program =
        |end| std::format!("{SEAT}G98 G81 X5 Y9 Z-1 R1 F99\n{end}G18 G81 X3 Z-2 Y2 R5\nG80\nG0 X9\n");
    let report = run(&program("G80\n"), &program(""), slack(0.0, 0.0, 0.1));
    assert!(report.after.max_mm < 1e-9 && report.missing == 0, "{report:?}");
}

#[test]
fn an_overrun_before_the_next_hole_of_a_cycle_that_feeds_out_is_no_deviation() {
    let original = "G0 X0 Y0\nZ10\nX9\nX0\nG99 G85 X21 Y-47 Z-8 R2 F100\nX-5 Y23\nG80\nG0 Z10\n";
    let rewritten =
        "G0 X0 Y0\nZ10\nX9\nX0\nG99 G85 X21 Y-47 Z-8 R2 F100\nG0 X-5.5\nG85 Z-8 R2 X-5 Y23\nG80\nG0 Z10\n";
    let report = run(original, rewritten, slack(0.2, 0.0, 0.0));
    assert!(report.after.max_mm < 1e-9, "{report:?}");
    near(report.before.max_mm, 0.2);
}

#[test]
fn holes_drilled_from_the_side_may_lie_closer_than_the_clearance_by_which_their_level_is_corrected() {
    // The clearance is open while the drill goes in: depth and R plane are commanded 0.2 mm further.
    let program = |first, second, aside| {
        std::format!("{SEAT}G19 G99 G81 {first} Y-2 Z-27 F100\n{second} Y{aside}\nX-4 Y-9\nG80\nG0 X10\n")
    };
    let original = program("X-3 R0", "X-1 R3", "-2.07");
    let (first, second) = ("X-3.2 R-0.2", "X-1.2 R2.8");
    let rewritten = program(first, second, "-2.07").replace("X-4 ", "X-4.2 ");
    let report = run(&original, &rewritten, slack(0.2, 0.0, 0.0));
    assert!(report.after.max_mm < 1e-9 && report.hurried_mm == 0.0 && report.missing == 0, "{report:?}");
    // Where it drills, it is judged as ever; Y came down and lags.
    for lost in [0.0, 0.1] {
        let aside = program(first, second, "-2.01").replace("X-4 ", "X-4.2 ");
        near(run(&original, &aside, slack(0.2, lost, 0.0)).after.max_mm, 0.06 + lost);
    }
}

#[test]
fn a_hole_drilled_twice_leaves_nothing_at_its_upper_end() {
    let again = |hole: &str| std::format!("{SEAT}G99 G85 X9 Y9 Z-8 R2 F100\n{hole}\nG80\nG0 Z10\n");
    for hole in ["X9 Y9", "G91 X0 Z-10 R0 L3"] {
        let report = run(&again(hole), &again(hole), slack(0.0, 0.0, 0.1));
        assert!(report.after.max_mm < 1e-9 && report.cut_mm > 39.9, "{hole}: {report:?}");
    }
    // By feeds alone there is no rapid at which a cut ends: the upper end counts.
    let fed = std::format!("{SEAT}G0 X9 Y9 Z2\nG1 Z-8 F100\nZ2\nZ-8\nZ2\nG0 Z10\n");
    near(run(&fed, &fed, slack(0.0, 0.0, 0.1)).after.max_mm, 0.1);
}

#[test]
fn a_plunge_that_begins_far_below_its_place_and_a_cut_in_rapid_are_told() {
    let original = std::format!("{SEAT}G1 Z-1 F100\nX10\nX20\nG0 Z5\n");
    let low = original.replace("G1 Z-1", "Z1\nG1 Z-1");
    assert!(run(&original, &low, slack(0.0, 0.0, 0.1)).hurried_mm > 3.9);
    let rapid = original.replace("X10\nX20\n", "G0 X10\nG1 X20\n");
    let report = run(&original, &rapid, slack(0.0, 0.0, 0.1));
    assert!(report.hurried_mm > 9.9, "{report:?}");
    assert_eq!(report.answer, Answer::BeyondTolerance);
}

/// A program with lines put before one of its lines.
fn with(program: &str, before: &str, lines: &str) -> String {
    program.replacen(before, &std::format!("{lines}{before}"), 1)
}

#[test]
fn going_aside_between_walls_is_a_deviation() {
    let x = || slack(0.1, 0.0, 0.0);
    let aside = "G0 X-0.5\nX0\n";
    for (program, clear) in [
        // How high the walls of the slot are is not told, or they reach up to 5.
        ("G0 X0\nG1 Z-1 F99\nX20\nG0 Z-0.5\nX0\nG1 Z-2\nX20\nG0 Z9\n", 9.0),
        ("G0 X0 Z5\nG1 Z-1 F99\nX20\nG0 Z-0.5\nX0\nG1 Z-2\nX20\nG0 Z9\n", 5.0),
    ] {
        let report = run(program, &with(program, "G1 Z-2", aside), x());
        // Half a millimetre, of which the clearance is crossed first.
        near(report.after.max_mm, 0.4);
        assert_eq!(report.answer, Answer::BeyondTolerance);
        let above = program.replace("G0 Z-0.5", &std::format!("G0 Z{clear}"));
        let report = run(&above, &with(&above, "G1 Z-2", aside), x());
        assert_eq!(report.after.max_mm > 0.2, clear > 5.0, "{program} {report:?}");
    }
    // A person may know better, by the names that heights have when the program has first told one, and then by new ones.
    for program in [
        "G0 X0\nG1 Z-1 F99\nX20\nG0 Z9\nX0\nG1 Z-2\nX20\nG0 Z9\n",
        "G0 X0\nG1 Z-1 F99\nX20\nG0 Z9\nX0\nG1 Z-2\nG92 Z30\nX20\nG0 Z41\n",
        "G92 Z9\nG1 X5 F99\nG0 X0\nG1 Z-2\nX20\nG0 Z9\n",
    ] {
        let rewritten = with(program, "G1 Z-2", aside);
        for (word, strays) in [(Some(9.0), false), (Some(9.5), true)] {
            let mut replay =
                std::boxed::Box::new(Replay::new(Settings { clear_mm: word, ..Settings::new(x()) }));
            let (mut first, mut second) = (program.lines(), rewritten.lines());
            while let Want::Line(source) = replay.advance(&mut |_| {}).unwrap() {
                let next = if source == Source::Original { first.next() } else { second.next() };
                match next {
                    Some(line) => replay.read(source, line.as_bytes()).unwrap(),
                    None => replay.end(source),
                }
            }
            let report = replay.report(0.005);
            assert_eq!(
                report.after.max_mm > 0.2 || report.hurried_mm > 0.2,
                strays,
                "{program} {word:?} {report:?}"
            );
        }
    }
}

#[test]
fn numbers_of_tools_may_stand_twice() {
    let reason = |text: &str| try_run(text, text, slack(0.1, 0.0, 0.0)).err().map(|f| f.refusal.reason);
    assert_eq!(reason("T1 M6 T2\n"), None);
    assert_eq!(reason("G0 X1 X2\n"), Some(Reason::Twice(b'X')));
}

#[test]
fn a_drill_fed_out_to_its_level_may_leave_the_last_clearance_to_a_rapid() {
    // The R word is made for the way down, the level for the way up.
    let original = std::format!("{SEAT}G18 G98 G85 X5 Y-6 R0 F100\nG80\nG0 X9\n");
    let rewritten = original.replace("Y-6 R0", "Y-6.15 R-.15");
    let report = run(&original, &rewritten, slack(0.0, 0.15, 0.0));
    assert!(report.after.max_mm < 1e-9 && report.hurried_mm == 0.0, "{report:?}");
    // No more than that: twice a clearance is left here, and one of them on the way in.
    let hurried = run(&original, &rewritten.replace("R-.15", "R-.3"), slack(0.0, 0.15, 0.0));
    near(hurried.hurried_mm, 0.3);
}

#[test]
fn the_way_to_a_level_beside_a_hole_is_straight_out_along_any_axis() {
    let cycle = "G83 Y-8 R-7";
    let original = std::format!("{SEAT}G18 G99 {cycle} Q1 F120 X9 Z-20\nG98 X-9\n");
    let way = "G0 X-9\nG0 Y0\nG98 G83 Y-8.1 R-7.1 Q1 X-9";
    let rewritten = std::format!("{SEAT}G18 G99 G83 Y-8.1 R-7.1 Q1 F120 X9 Z-20\n{way}\n");
    let report = run(&original, &rewritten, slack(0.0, 0.1, 0.0));
    assert!(report.after.max_mm < 1e-9 && report.hurried_mm == 0.0, "{report:?}");
}

#[test]
fn many_short_pecks_are_told_apart() {
    // Coming out between them neither the command nor the tool is where the program was; the next hole is close by.
    let hole = "Q0.06 F120 Z0.622 ";
    let original = std::format!("{SEAT}G18 G99 G73 Y-4.7 R-1 {hole}X0\nX0.001\n");
    let again = "G0 Y-1\nG73 Y-4.884 R-1.184 Q0.06 X0.001";
    let rewritten = std::format!("{SEAT}G18 G99 G73 Y-4.884 R-1.184 {hole}X0\n{again}\n");
    let report = run(&original, &rewritten, slack(0.0, 0.184, 0.0));
    assert!(report.after.max_mm < 1e-9 && report.missing == 0, "{report:?}");
}

//! The words of inserted lines, and words that are refused for what they would become.

use super::judged::replayed;
use super::*;

fn refusal(program: &str, table: &Table) -> (u64, Reason) {
    let refusal = rewrite(program, table, &Settings::DEFAULT).unwrap_err();
    (refusal.line, refusal.reason)
}

#[test]
fn inserted_lines_choose_what_their_block_chooses() {
    let z = table(0.0, 0.0, 0.12);
    let before = "G0 Z5\nG1 Z-1 F100\nX1 Z-2\n";
    for (block, expected) in [
        ("G94 X2 Z-1 F50\n", "G94 G1 Z-1.88\nG94 X2 Z-0.88 F50\n"),
        ("G93 X2 Z-1 F2\n", "G93 G1 Z-1.88 F600.\nG93 X2 Z-0.88 F2\n"),
        ("G95 X2 Z-1 F0.1\n", "G95 G1 Z-1.88 F0.1\nG95 X2 Z-0.88 F0.1\n"),
        ("G91 G21 X2 Z1\n", "G21 G91 G1 Z0.12\nG91 G21 X2 Z1\n"),
        ("G91.1 X2 Z-1\n", "G91.1 G1 Z-1.88\nG91.1 X2 Z-0.88\n"),
    ] {
        let text = body(&std::format!("{before}{block}"), &z);
        assert!(text.ends_with(expected), "{text}");
    }
    // A modal arc whose block chooses its plane, and the meaning of its centre.
    let text = body(
        "G17 G90.1\nG0 X0 Y0 Z5\nG1 Z-1 F100\nG2 X0 Y0 I5 J0\nG18 G91.1 X0 Z-1 I5 K0\n",
        &table(0.1, 0.0, 0.0),
    );
    let pieces: Vec<&str> = text.lines().skip_while(|line| !line.contains("G18")).collect();
    assert!(pieces.len() > 2, "{text}");
    assert!(pieces.iter().all(|line| line.starts_with("G18 G91.1 ") || line.starts_with("G1 ")), "{text}");
}

#[test]
fn a_cut_in_inverse_time_has_its_own_time() {
    let z = table(0.0, 0.0, 0.12);
    assert_eq!(refusal("G0 Z5\nG93 G1 Z-1 F5\nX1 Z-2 F5\nX2 Z-1\n", &z), (4, Reason::NoTime));
    assert!(rewrite("G0 Z5\nG93 G1 Z-1 F5\nG0 Z5\nX1\n", &z, &Settings::DEFAULT).is_ok());
}

#[test]
fn a_rotary_axis_turns_where_its_line_says() {
    // The seat of Z is set again by an overrun before the tool turns into the work.
    let text = body("G0 Z0.05\nG1 F100\nN30 A90\n", &table(0.0, 0.0, 0.12));
    assert!(text.ends_with("G0 Z0.55\nG0 Z0.05\nN30 G1 A90\n"), "{text}");
    // Divided, an arc would turn the rotary axis in its last piece alone.
    let x = table(0.1, 0.0, 0.0);
    let program = "G0 X0 Y0 Z5\nG1 Z-1 F100\nG2 I5 A90\n";
    assert_eq!(refusal(program, &x), (3, Reason::RotaryArc));
    assert!(rewrite(&program.replace("I5", "X2.5 Y2.5 I2.5"), &x, &Settings::DEFAULT).is_ok());
    assert!(rewrite(program, &table(0.0, 0.0, 0.12), &Settings::DEFAULT).is_ok());
}

#[test]
fn words_with_two_meanings_are_refused() {
    assert_eq!(reason("G0 Z5\nG28 Z0 G4 P1\n"), (2, Reason::Conflict));
    assert_eq!(reason("G4 P1 G28 Z0\n"), (1, Reason::Conflict));
    assert_eq!(reason("G10 L2 P1 X0 G92 Y0\n"), (1, Reason::Conflict));
    assert_eq!(reason("G0 Z5\nG1 X1.5 G4\n"), (2, Reason::Conflict));
    for circle in ["G70 I20 J0 L6\n", "G71 P10 Q20\n", "G70 G3 X1 I2\n"] {
        assert_eq!(reason(circle), (1, Reason::UnknownCode));
    }
    assert_eq!(reason("G60 X5\n"), (1, Reason::UnknownCode));
    assert_eq!(reason("G0 Z5\nG4 P1 G2 X1.5 I1\n"), (2, Reason::Conflict));
    for fine in [
        "G71 G90 G0 X1\n",
        "G71 G64 P0.05\n",
        "G111\n",
        "G4 X1.5\n",
        "G0 G28 Z0\n",
        "G1 F90 G4 P1\n",
        "G60\n",
        "G60 G0 X5\n",
    ] {
        assert!(rewrite(fine, &table(0.08, 0.08, 0.12), &Settings::DEFAULT).is_ok(), "{fine}");
    }
}

#[test]
fn a_dwell_before_a_move_in_its_block() {
    let text = body("G0 Z5\nG4 P1 G1 Z-1 F100\nX1 Z-2\nG4 P.5 G1 X2 Z-1\n", &table(0.0, 0.0, 0.12));
    assert!(text.ends_with("G1 Z-1.88\nG4 P.5 G1 X2 Z-0.88\n"), "{text}");
}

#[test]
fn other_words_of_the_family_of_g92_act_on_the_axes_they_name() {
    let z = table(0.0, 0.0, 0.12);
    let program = |word: &str| std::format!("G0 Z5\nG1 Z-1 F100\n{word}\nX9\n");
    let unseated = |word: &str| rewrite(&program(word), &z, &Settings::DEFAULT).unwrap().2.len();
    assert_eq!(["G92.4 A0 S0", "G92.4 X0", "G92.4 Z0", "G92.4"].map(unseated), [0, 0, 1, 1]);
}

#[test]
fn a_parallel_axis_matters_where_its_own_is_corrected() {
    let z = table(0.0, 0.0, 0.12);
    assert_eq!(refusal("G0 Z5\nG1 W-1 F100\n", &z), (2, Reason::Parallel(Axis::Z)));
    let program = "G0 X0 Z5\nG1 Z-1 F100\nU2 Z-2\nV-1 Z-1\n";
    let text = body(program, &z);
    assert!(text.ends_with("U2 Z-2\nG1 Z-1.88\nV-1 Z-0.88\n"), "{text}");
    // Where X is from then on its own words tell.
    assert_eq!(refusal(program, &table(0.1, 0.0, 0.12)), (3, Reason::Parallel(Axis::X)));
}

#[test]
fn a_place_in_polar_coordinates_matters_where_its_plane_is_corrected() {
    let (x, y, z) = (table(0.1, 0.0, 0.0), table(0.0, 0.1, 0.0), table(0.0, 0.0, 0.12));
    let program = "G0 X0 Y0 Z5\nG1 Z-1 F100\n@9 ^30 Z-2\n@9 ^60 Z-1\n";
    let text = body(program, &z);
    assert!(text.ends_with("@9 ^30 Z-2\nG1 Z-1.88\n@9 ^60 Z-0.88\n"), "{text}");
    assert_eq!(
        (refusal(program, &x), refusal(program, &y)),
        ((3, Reason::Transformed), (3, Reason::Transformed))
    );
    // The plane is that of the whole block.
    let other = "G0 X0 Y0 Z5\nG1 Z-1 F100\n@9 ^30 G18\n";
    assert_eq!(refusal(other, &z), (3, Reason::Transformed));
    assert!(rewrite(other, &y, &Settings::DEFAULT).is_ok());
}

#[test]
fn behind_a_cycle_axes_move_as_before_it() {
    let z = table(0.0, 0.0, 0.12);
    let program = |before: &str, behind: &str| {
        std::format!("G0 X0 Z20\nX9\nX0\n{before}G99 G81 X5 Z-9 R2 F99\nX7\n{behind}")
    };
    // The command is written out: whatever was inserted may have been another motion.
    for (before, behind, expected) in [
        ("", "G80 Z20\nX9\n", "G0\nG80 Z20.12\nX9\n"),
        ("", "G80\n/X8 Z9\nX9\n", "G80\n/G0\n/X8 Z9.12\nG0\nX9\n"),
        ("G1 F50\n", "G80\nX9\nX7\n", "G80\nG1\nG0 Z2.5\nG0 Z2.\nG1 X9\nX7\n"),
        ("", "G80\nG0 X9\nX8\n", "G80\nG0 X9\nX8\n"),
        ("", "G80\nA90\n", "G80\nG0\nA90\n"),
        ("G1 F50\n", "G80 G53 Z0\nX9\n", "G1\nG80 G53 Z0\nX9\n"),
    ] {
        let text = body(&program(before, behind), &z);
        assert!(text.ends_with(expected), "{text}");
    }
    // Nothing has said yet how to move.
    assert_eq!(reason("G80\nX9\n"), (2, Reason::NoMotion));
    assert_eq!(refusal("G81 X5 Z-9 R2 F99\nG80\nX9\n", &z), (3, Reason::NoMotion));
}

#[test]
fn a_word_that_matters_stands_once() {
    for twice in ["G4 P1 P2\n", "G81 X1 Z-1 R2 L2 L3\n", "G83 X1 Z-1 R2 Q1 Q1\n", "G1 F9 F9\n", "G0 X1 X1\n"]
    {
        assert_eq!(reason(twice), (1, Reason::Twice), "{twice}");
    }
    assert!(rewrite("T1 M6 T2\nS100 S200\n", &table(0.08, 0.08, 0.12), &Settings::DEFAULT).is_ok());
}

#[test]
fn taps_in_step_with_the_spindle_are_taken_up_again_by_their_own_code() {
    for (code, lead) in [("G84", ""), ("G74", ""), ("G74", " Q2. P1"), ("G84.2", " Q1.5"), ("G184", "")] {
        let program = std::format!("G0 X0\nZ20\nG98 {code} X5 Z-9 R2{lead} F99\nX3\n");
        let settings = Settings { clear: Some(mm(20.0)), ..Settings::DEFAULT };
        let (text, ..) = rewrite(&program, &table(0.1, 0.0, 0.12), &settings).unwrap();
        assert!(text.ends_with(&std::format!("G0 X2.5\n{code} Z-9 R2{lead} X3\n")), "{text}");
    }
}

#[test]
fn codes_that_turn_the_coordinates_are_refused_as_such_and_their_ends_are_not() {
    let refused = |code: &str| reason(&std::format!("G0 X0 Y0 Z5\n{code}\n")).1;
    for code in ["G112", "G12.1", "G107 A90 R20", "G68.2 X0 Y0 Z0 I0 J30 K0", "G53.1"] {
        assert_eq!(refused(code), Reason::Transformed, "{code}");
    }
    assert_eq!((refused("G234"), refused("G141 D1")), (Reason::ToolPoint, Reason::CutterCompensation));
    let ends = "G113\nG13.1\nG40.1\nG62\nG69.1\nG235\nG255\nG0 X1 Y1 Z5\nG1 Z-1 F99\n";
    assert!(rewrite(ends, &table(0.1, 0.1, 0.1), &Settings::DEFAULT).is_ok());
}

#[test]
fn codes_of_three_digits_that_are_those_of_two_elsewhere() {
    let program = |codes: &str| std::format!("{codes}\nG0 X0 Z5\nG1 Z-1 F9\nX1 Z-1.1\nX2 Z-1\n");
    let text = body(&program("G700 G601 G450"), &table(0.0, 0.0, 0.127));
    assert!(text.ends_with("G1 Z-1.095\nX2 Z-0.995\n"), "{text}");
    // Another work offset leaves no seat known.
    let z = table(0.0, 0.0, 0.12);
    let unseated = |code: &str| {
        let program = std::format!("G500\nG0 Z5\nG1 Z-1 F100\n{code}\nX9\n");
        rewrite(&program, &z, &Settings::DEFAULT).unwrap().2.len()
    };
    assert_eq!(["G500", "G505", "G642"].map(unseated), [0, 1, 0]);
}

#[test]
fn a_cycle_has_the_words_that_it_defines() {
    let cycle = |words: &str| std::format!("G0 X0 Y0 Z20\nG98 {words} X5 Z-9 R2 F99\nX9\nG80\n");
    for words in ["G81 L2 K3", "G83 Q3 K0", "G83 K1", "G73 Q1 I2 J.5 K1", "G82 P1 I2", "G85 J1", "G84 I1"] {
        let text = cycle(words);
        assert_eq!(reason(&text), (2, Reason::Cycle(CycleTrouble::Foreign)), "{text}");
    }
    assert_eq!(reason(&cycle("G83 Q3").replace("X9", "X9 K3")).0, 3);
    assert_eq!(reason(&cycle("G81 K1.5")), (2, Reason::Cycle(CycleTrouble::Repeats)));
    for words in ["G87 I0 J0 K-5", "G81 L3", "G84 J2 K1"] {
        assert!(rewrite(&cycle(words), &table(0.08, 0.08, 0.12), &Settings::DEFAULT).is_ok(), "{words}");
    }
}

#[test]
fn a_hole_is_drilled_down_from_its_r_plane() {
    // Upward the depth would be taken for that of the other seat.
    let upward = CycleTrouble::Upward;
    for (line, words) in [
        (2, "G81 Z9 R2"),
        (2, "G83 Z2.1 R2 Q1"),
        (3, "G81 Z-9 R2\nX9 R-9.1"),
        (3, "G81 Z-9 R2\nX9 Z3"),
        (2, "G91 G82 Z.1 R-2"),
        (3, "G18 G81 Y-9 Z1 R2\nX9 Y3"),
    ] {
        let text = std::format!("G0 X0 Y0 Z20\nG98 F99 X5 {words}\nG80\n");
        assert_eq!(reason(&text), (line, Reason::Cycle(upward)), "{text}");
        // Where the axis of the drill is not corrected it is copied.
        assert!(rewrite(&text, &table(0.1, 0.0, 0.0), &Settings::DEFAULT).is_ok(), "{text}");
    }
    for words in ["G87 Z-2 R-9 I0 J0 K-5", "G81 Z2 R2", "G91 G81 Z0 R-2"] {
        let text = std::format!("G0 X0 Y0 Z20\nG98 F99 X5 {words}\nG80\n");
        assert!(rewrite(&text, &table(0.1, 0.1, 0.1), &Settings::DEFAULT).is_ok(), "{words}");
    }
}

#[test]
fn a_lag_behind_a_cycle_is_taken_up_before_a_cut_that_does_not_name_the_axis() {
    // Out of the hole Y bears on its other side, and its command is still the one for the way down.
    let program = "G0 X0 Y0 Z2\nX9 Y30\nX0 Y20\nG18 G98 G81 Y5 R18 X5 F99\nG80 G1 X9 Z1\nX12 Z2\n";
    let table = table(0.0, 0.2, 0.0);
    for settings in [Settings::DEFAULT, Settings { clear: Some(mm(9.0)), ..Settings::DEFAULT }] {
        let (text, report) = replayed(program, &table, &settings);
        assert!(text.contains("\nG1 Y20.\nG80 G1 X9 Z1\n"), "{text}");
        // But for where it begins, in the air still.
        assert!(report.after.mean_mm < 1e-9 && report.after.p99_mm < 1e-9, "{report:?}\n{text}");
        assert_eq!(rewrite(program, &table, &settings).unwrap().2, [], "{text}");
    }
}

#[test]
fn pecks_of_their_own_are_said_again_where_a_cycle_is_taken_up_again() {
    let settings = Settings { clear: Some(mm(20.0)), ..Settings::DEFAULT };
    let program = "G0 X0\nZ20\nG98 G83 X5 Z-9 R2 I3. J0.5 K1 F99\nX3\n";
    let (text, ..) = rewrite(program, &table(0.1, 0.0, 0.12), &settings).unwrap();
    assert!(text.ends_with("G0 X2.5\nG83 Z-9 R2 I3. J0.5 K1 X3\n"), "{text}");
}

#[test]
fn behind_a_fine_bore_the_axes_of_its_plane_may_bear_on_either_side() {
    let program = |cycle: &str| {
        std::format!(
            "G0 X9 Y9 Z25\nX0 Y0 Z20\nX9\nX0 G98\n{cycle} X5 Z-9 R2 F99\nX5.1\nG80 G0 Z2\nG1 Z-1\nX7\n"
        )
    };
    let unseated = |cycle: &str, x| {
        let settings = Settings {
            strategy: PerAxis { x: Strategy::TakeUp, ..Settings::DEFAULT.strategy },
            ..Settings::DEFAULT
        };
        rewrite(&program(cycle), &table(x, 0.0, 0.0), &settings).unwrap().2
    };
    // A tenth does not bring a clearance of two tenths to its end.
    assert_eq!((unseated("G86", 0.2), unseated("G76 Q.3", 0.2)), (std::vec![], std::vec![6, 8]));
    // Five hundredths it does, but where the last hole was nothing does.
    assert_eq!(unseated("G76 I.3", 0.05), [8]);
    let settings = Settings { clear: Some(mm(20.0)), ..Settings::DEFAULT };
    let holes = "G0 X0\nZ20\nG98 G76 X5 Z-9 R2 I.3 P1 F99\nX7\nX3\n";
    let (text, ..) = rewrite(holes, &table(0.1, 0.0, 0.12), &settings).unwrap();
    assert!(text.ends_with("X7\nG0 X2.5\nG76 Z-9 R2 P1 I.3 X3\n"), "{text}");
}

#[test]
fn repeats_counted_by_k_are_those_counted_by_l() {
    let (z, settings) = (table(0.1, 0.0, 0.12), Settings::DEFAULT);
    let program =
        |count: &str| std::format!("G0 X0 Z20\nX9\nX0\nG91 G98 G81 X-5 Z-14 R-18 {count} F90\nG80\n");
    let text = |count: &str| rewrite(&program(count), &z, &settings).unwrap().0;
    assert_eq!(text("K3").replace("K3", "L3"), text("L3"));
    assert_eq!(text("L3").replace(" L3", ""), text("L1").replace(" L1", ""));
    // None at all: where X is then, controls differ.
    let unseated = |count: &str| {
        let text = std::format!("{}G90 G1 X-7\n", program(count));
        rewrite(&text, &z, &settings).unwrap().2
    };
    assert_eq!((unseated("K0"), unseated("K1")), (std::vec![6], std::vec![]));
    let relative =
        std::format!("G0 X-3 Z20\nX-9\n{}G0 X5\n", program("L0").replace("G0 X0 Z20\nX9\nX0\n", ""));
    assert_eq!(refusal(&relative, &z), (5, Reason::Skipped));
}

#[test]
fn a_line_behind_a_rapid_is_an_entry_though_its_block_has_axis_words_alone() {
    let program = "G0 Z5\nG1 Z-3 F100\nX1\nG0 Z-1\nG1 F50\nX9\n";
    let text = body(program, &table(0.0, 0.0, 0.12));
    assert!(text.ends_with("G0 Z-0.88\nG1 F50\nG0 Z-0.5\nG0 Z-1.\nG1 X9\n"), "{text}");
}

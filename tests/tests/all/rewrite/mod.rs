//! Programs rewritten and replayed, and the command that does it.

use proptest::prelude::*;
use std::fmt::Write;
use takeup_tests::Folder;

mod command;
mod mill;
mod posted;

/// A program of straight cuts with hundreds of reversals, from random steps.
fn program(steps: &[(i32, i32, i32, bool)], incremental: bool) -> String {
    let mut text = String::from("G21 G90\nG0 X0 Y0\nG0 Z5\nG1 Z-20 F200\n");
    let mut at = [0_i32, 0, -20_000];
    if incremental {
        text += "G91\n";
    }
    for (x, y, z, lift) in steps {
        let next = [at[0] + x, at[1] + y, (at[2] + z).min(-1_000)];
        if *lift {
            let up = if incremental { 5_000 - at[2] } else { 5_000 };
            writeln!(text, "G0 Z{}", f64::from(up) / 1e3).unwrap();
            at[2] = 5_000;
        }
        let say = |i: usize| f64::from(if incremental { next[i] - at[i] } else { next[i] }) / 1e3;
        if *lift {
            writeln!(text, "G0 X{} Y{}\nG1 Z{} F150", say(0), say(1), say(2)).unwrap();
        } else {
            writeln!(text, "G1 X{} Y{} Z{} F300", say(0), say(1), say(2)).unwrap();
        }
        at = next;
    }
    text + "G90 G0 Z20\nM30\n"
}

/// Rewrites and replays; the largest error of the tool after rewriting (mm).
fn error_after(text: &str, play: &str) -> f64 {
    let folder = Folder::new();
    folder.write("in.nc", text);
    folder.takeup(&format!("rewrite in.nc -o out.nc --play {play}")).done().exit(0);
    let replay = folder.takeup(&format!("replay in.nc out.nc --play {play} --json")).done().exit(0).json();
    assert!(replay["before"]["max"].as_f64().unwrap() > 0.05, "the original must show the slack");
    replay["after"]["max"].as_f64().unwrap()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, ..ProptestConfig::default() })]
    #[test]
    fn straight_programs_with_hundreds_of_reversals_come_right(
        steps in prop::collection::vec(
            (-3000..3000_i32, -3000..3000_i32, -800..800_i32, prop::bool::weighted(0.05)), 300..400),
        incremental: bool,
        sideways: bool,
    ) {
        let play = if sideways { "x=0.08,y=0.0513,z=0.12" } else { "z=0.1234" };
        let error = error_after(&program(&steps, incremental), play);
        prop_assert!(error <= 0.001, "{error} mm, incremental {incremental}, play {play}");
    }
}

/// Rings, helices and half turns, by centre and by radius, absolute and incremental.
#[test]
fn arcs_in_every_form_come_right() {
    let program = "G21 G90 G17\nG0 X0 Y0\nZ5\nG1 Z-1 F200\nG2 I10 J0\nG3 X0 Y0 I-7.5 J3.2 Z-3\n\
                   G2 X12 Y5 R9\nG3 X0 Y-3 R-8\nG91\nG2 X10 Y10 I10\nG3 X-5 Y-5 R-6.5\nG90\n\
                   G1 X20 Y-6\nG2 X10 Y-6 I-5 J0\nG0 Z5\nM30\n";
    let error = error_after(program, "x=0.08,y=0.06,z=0.12");
    assert!(error <= 0.002, "{error}");
}

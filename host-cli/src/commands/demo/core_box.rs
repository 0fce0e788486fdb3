//! The program of the demo: half a core box for a pump housing, finished by passes across it.

use std::fmt::Write;

/// Radius of the trough (mm).
const RADIUS: f64 = 30.0;
/// Length of the trough (mm).
const LENGTH: f64 = 90.0;
/// From pass to pass (mm).
const STEP_OVER: f64 = 3.0;
/// Straight moves per pass: the trough is cut as a polygon.
const CHORDS: u32 = 24;

/// The program: down one flank of the trough, up the other, lift, back.
#[must_use]
pub fn program() -> String {
    let mut text = String::from(
        "%\n(CORE BOX, PUMP HOUSING, LOWER HALF: FINISH THE TROUGH)\n(BALL NOSE 10, TOP OF BLOCK IS Z0)\n\
         N10 G21 G90 G17 G40 G49\nN20 T3 M6\nN30 G54 G0 X0 Y0\nN40 S6000 M3\nN50 G43 H3 Z25\n",
    );
    let mut number = 60;
    let mut block = |words: &str| {
        let _ = writeln!(text, "N{number} {words}");
        number += 10;
    };
    let passes = (LENGTH / STEP_OVER) as u32;
    for pass in 0..=passes {
        let y = STEP_OVER * f64::from(pass);
        let at = |i: u32| {
            let angle = std::f64::consts::PI * f64::from(i) / f64::from(CHORDS);
            (-RADIUS * angle.cos(), -RADIUS * angle.sin())
        };
        let (x, _) = at(0);
        block(&format!("G0 X{x:.3} Y{y:.3}"));
        block("Z2");
        block("G1 Z0 F300");
        block("F1200");
        for i in 1..=CHORDS {
            let (x, z) = at(i);
            block(&format!("G1 X{x:.3} Z{z:.3}").replace("-0.000", "0.000"));
        }
        block("G0 Z5");
    }
    block("G0 Z25");
    block("M5");
    block("M30");
    text.push_str("%\n");
    text
}

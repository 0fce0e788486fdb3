//! The test of small steps. With words such as `35.0` only the lines that hold them all.

use takeup_tests::staircase::{Staircase, score};

/// Prints the table.
pub fn table(seeds: u64) {
    let wanted = super::wanted(&["small-steps"]);
    println!("\ntest of small steps, {seeds} seeds each; micrometres");
    println!(
        "{:>2} {:>5} {:>5} {:>5} {:>5} {:>5} {:>5} {:>5} {:>4} | {:>6} {:>6} {:>6} | {:>6} {:>6} {:>6} | {:>6} {:>6} {:>6} | {:>5} {:>5}",
        "cy",
        "gap",
        "wind",
        "stick",
        "noise",
        "dial",
        "drift",
        "grow",
        "mis",
        "b bias",
        "half",
        "cover",
        "w bias",
        "half",
        "cover",
        "L bias",
        "half",
        "cover",
        "stuck",
        "aside"
    );
    let troubles =
        [(0.0, 0.0, 0.0), (0.0002, 0.0, 0.0), (0.0, 0.02, 0.0), (0.0, 0.0, 0.1), (0.0002, 0.0, 0.1)];
    for (noise_mm, resolution_mm) in [(0.002, 0.001), (0.001, 0.01), (0.004, 0.01), (0.003, 0.0127)] {
        for cycles in [3, 5, 10] {
            for (clearance_mm, wind_up_mm, sticking_mm) in [
                (0.0, 0.0, 0.0),
                (0.08, 0.0, 0.0),
                (0.0, 0.05, 0.0),
                (0.05, 0.01, 0.0),
                (0.08, 0.03, 0.0),
                (0.05, 0.0, 0.035),
            ] {
                for (drift_mm, growth_mm, misread) in troubles {
                    let sitting = Staircase {
                        clearance_mm,
                        wind_up_mm,
                        sticking_mm,
                        cycles,
                        drift_mm,
                        growth_mm,
                        noise_mm,
                        resolution_mm,
                        misread,
                        ..Staircase::USUAL
                    };
                    let kind = format!(
                        "{cycles:>2} {:>5.1} {:>5.1} {:>5.1} {:>5.1} {:>5.1} {:>5.2} {:>5.1} {misread:>4}",
                        1e3 * clearance_mm,
                        1e3 * wind_up_mm,
                        1e3 * sticking_mm,
                        1e3 * noise_mm,
                        1e3 * resolution_mm,
                        1e3 * drift_mm,
                        1e3 * growth_mm
                    );
                    if !wanted(&kind) {
                        continue;
                    }
                    let s = score(&sitting, seeds);
                    print!("{kind}");
                    for part in [s.dead_band, s.wind_up, s.lost_motion] {
                        print!(
                            " | {:>6.2} {:>6.2} {:>6.2}",
                            1e3 * part.bias(),
                            1e3 * part.half(),
                            100.0 * part.coverage()
                        );
                    }
                    println!(" | {:>5.2} {:>5.2}", s.sticking, s.set_aside);
                }
            }
        }
    }
}

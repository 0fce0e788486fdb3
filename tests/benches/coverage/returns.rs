//! The return test.

use takeup_core::measure::routine::Pauses;
use takeup_tests::returning::{Returning, score};

/// Prints the table.
pub fn table(seeds: u64) {
    println!("\nreturn test, {seeds} seeds each; micrometres, per hour and per lift");
    println!(
        "{:>3} {:>6} {:>6} {:>6} {:>6} {:>5} {:>5} | {:>7} {:>7} {:>6} {:>5} | {:>7} {:>6} | {:>7} {:>6} {:>8}",
        "n",
        "noise",
        "step",
        "slip",
        "drift",
        "walk",
        "mis",
        "bias",
        "half",
        "cover",
        "ratio",
        "drift",
        "cover",
        "scatter",
        "cover",
        "together"
    );
    for (noise_mm, resolution_mm) in [(0.003, 0.001), (0.001, 0.01), (0.004, 0.01), (0.003, 0.0127)] {
        for returns in [5, 10, 20, 40] {
            let pauses = Pauses::Every { returns: returns / 4 + 1, seconds: 300 };
            for (drift_mm_per_h, misread) in [(0.0, 0.0), (0.05, 0.0), (0.0, 0.1), (0.05, 0.1)] {
                for (slip_mm, slip_scatter_mm) in [(0.0, 0.0), (0.01, 0.0), (0.02, 0.01)] {
                    let sitting = Returning {
                        returns,
                        pauses,
                        slip_mm,
                        slip_scatter_mm,
                        drift_mm_per_h,
                        noise_mm,
                        resolution_mm,
                        misread,
                    };
                    let s = score(&sitting, seeds);
                    println!(
                        "{returns:>3} {:>6.1} {:>6.1} {:>6.1} {:>6.1} {:>5.1} {misread:>5} | {:>7.2} {:>7.2} {:>6.2} {:>5.2} | {:>7.1} {:>6.2} | {:>7.2} {:>6.2} {:>8}",
                        1e3 * noise_mm,
                        1e3 * resolution_mm,
                        1e3 * slip_mm,
                        1e3 * drift_mm_per_h,
                        1e3 * slip_scatter_mm,
                        1e3 * s.per_cycle.bias(),
                        1e3 * s.per_cycle.half(),
                        100.0 * s.per_cycle.coverage(),
                        s.per_cycle.half() / s.told_mm,
                        1e3 * s.per_hour.half(),
                        100.0 * s.per_hour.coverage(),
                        1e3 * s.scatter.half(),
                        100.0 * s.scatter.coverage(),
                        s.together
                    );
                }
            }
        }
    }
}

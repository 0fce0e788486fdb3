//! The reversal test: bias, error against the mean of differences, coverage and width.

use takeup_tests::sitting::{Order, Sitting, Wander, score};

/// Prints the table.
pub fn table(seeds: u64) {
    println!("\nreversal test, {seeds} seeds each; lengths in micrometres");
    println!(
        "{:>2} {:>2} {:>6} {:>5} {:<15} {:>5} {:<6} | {:>6} {:>6} {:>6} {:>6} {:>6} {:>6} {:>5}",
        "st",
        "cy",
        "noise",
        "step",
        "wander",
        "mis",
        "order",
        "bias",
        "rms",
        "ref",
        "cover",
        "each",
        "half",
        "aside"
    );
    for (noise_mm, resolution_mm) in [(0.002, 0.001), (0.001, 0.01), (0.003, 0.01), (0.005, 0.01)] {
        for cycles in [3, 5, 10] {
            for wander in [
                Wander::None,
                Wander::Steady(0.001),
                Wander::Steady(0.005),
                Wander::WarmUp(0.03),
                Wander::Walk(0.003),
            ] {
                for misread in [0.0, 0.05] {
                    for order in [Order::InTurn, Order::Random] {
                        if (order == Order::Random) == (misread == 0.0) {
                            continue;
                        }
                        for stations in [1, 3] {
                            let sitting = Sitting {
                                stations,
                                cycles,
                                noise_mm,
                                resolution_mm,
                                wander,
                                misread,
                                order,
                                ..Sitting::USUAL
                            };
                            let s = score(&sitting, seeds);
                            println!(
                                "{stations:>2} {cycles:>2} {:>6.1} {:>5.1} {:<15} {misread:>5} {:<6} | {:>6.2} {:>6.2} {:>6.2} {:>6.2} {:>6.2} {:>6.2} {:>5.2}",
                                1e3 * noise_mm,
                                1e3 * resolution_mm,
                                format!("{wander:?}"),
                                format!("{order:?}"),
                                1e3 * s.bias_mm,
                                1e3 * s.rms_mm,
                                1e3 * s.reference_rms_mm,
                                100.0 * s.coverage,
                                100.0 * s.station_coverage,
                                1e3 * s.half_width_mm,
                                s.set_aside
                            );
                        }
                    }
                }
            }
        }
    }
}

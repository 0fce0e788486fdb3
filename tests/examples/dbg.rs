//! d
use takeup_tests::staircase::{Staircase, score};
fn main() {
    let seeds: u64 = std::env::args().nth(1).unwrap().parse().unwrap();
    let cyc: u16 = std::env::args().nth(2).unwrap().parse().unwrap();
    for (noise_mm, resolution_mm) in [(0.002, 0.001), (0.001, 0.01)] {
        for (clearance_mm, wind_up_mm, sticking_mm) in [
            (0.0, 0.0, 0.0),
            (0.08, 0.0, 0.0),
            (0.0, 0.05, 0.0),
            (0.05, 0.01, 0.0),
            (0.08, 0.03, 0.0),
            (0.05, 0.0, 0.035),
        ] {
            for (drift_mm, misread) in [(0.0, 0.0), (0.0002, 0.1)] {
                let sitting = Staircase {
                    clearance_mm,
                    wind_up_mm,
                    sticking_mm,
                    cycles: cyc,
                    drift_mm,
                    noise_mm,
                    resolution_mm,
                    misread,
                    ..Staircase::USUAL
                };
                let s = score(&sitting, seeds);
                print!(
                    "{cyc} {:>5.1} {:>5.1} {:>5.1} {:>5.1} {:>5.1} {:>5.2} {misread:>4}",
                    1e3 * clearance_mm,
                    1e3 * wind_up_mm,
                    1e3 * sticking_mm,
                    1e3 * noise_mm,
                    1e3 * resolution_mm,
                    1e3 * drift_mm
                );
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

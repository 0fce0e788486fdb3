//! The tests at one place: warm-up, push-pull and the indicator itself. For each quantity the share of seeds in which it is given,
//! how many of its 95 % intervals hold the truth, and their mean width beside that of an estimator that was told
//! the noise, its model made linear at the truth.

use takeup_tests::dialling::{self, Dialling};
use takeup_tests::pushing::{self, Pushing};
use takeup_tests::scored::Quantity;
use takeup_tests::warming::{self, Warming};

/// Noise and step of the dial, mm.
const DIALS: [(f64, f64); 4] = [(0.001, 0.001), (0.003, 0.001), (0.002, 0.01), (0.003, 0.0127)];

fn shown(quantity: &Quantity) -> String {
    let (given, coverage) = (100.0 * quantity.given(), 100.0 * quantity.coverage());
    if given == 0.0 {
        return format!("{given:>4.0} {:>5} {:>5}", "-", "-");
    }
    format!("{given:>4.0} {coverage:>5.1} {:>5.2}", quantity.width_ratio())
}

fn begin(seeds: u64) {
    println!(
        "\n{seeds} seeds each; lengths in micrometres; for each quantity: given %, coverage %, width ratio"
    );
}

/// The warm-up test.
pub fn warm_up(seeds: u64) {
    begin(seeds);
    println!(
        "warm-up    n span/tau growth noise  step mis | amplitude        | time constant    | left             | aside"
    );
    for (noise_mm, resolution_mm) in DIALS {
        for amplitude_mm in [0.02, 0.06] {
            for (readings, times) in [(8, 2.0), (13, 3.0), (19, 1.0), (19, 3.0), (40, 2.0), (40, 5.0)] {
                for misread in [0, (readings + 5) / 10] {
                    let span_s = 1800.0 * times;
                    let one = Warming {
                        amplitude_mm,
                        readings,
                        noise_mm,
                        resolution_mm,
                        misread,
                        span_s,
                        ..Warming::USUAL
                    };
                    let s = warming::score(&one, seeds);
                    println!(
                        "        {readings:>4} {times:>8} {:>6.0} {:>5.1} {:>5.1} {misread:>3} | {} | {} | {} | {:>5.2}",
                        1e3 * amplitude_mm,
                        1e3 * noise_mm,
                        1e3 * resolution_mm,
                        shown(&s.amplitude),
                        shown(&s.time_constant),
                        shown(&s.left),
                        s.set_aside
                    );
                }
            }
        }
    }
}

/// The push-pull test.
pub fn push_pull(seeds: u64) {
    begin(seeds);
    println!(
        "push-pull  n clearance N/mm balance noise  step mis | clearance        | stiffness        | aside"
    );
    for (noise_mm, resolution_mm) in DIALS {
        for (clearance_mm, balance_n, stiffness_n_per_mm) in
            [(0.0, 0.0, 4000.0), (0.02, 0.0, 20_000.0), (0.08, 150.0, 4000.0)]
        {
            for readings in [6, 8, 12, 20] {
                for misread in [0, (readings + 5) / 10] {
                    let one = Pushing {
                        clearance_mm,
                        balance_n,
                        stiffness_n_per_mm,
                        readings,
                        noise_mm,
                        resolution_mm,
                        misread,
                        ..Pushing::USUAL
                    };
                    let s = pushing::score(&one, seeds);
                    println!(
                        "        {readings:>4} {:>9.0} {stiffness_n_per_mm:>4.0} {balance_n:>7.0} {:>5.1} {:>5.1} {misread:>3} | {} | {} | {:>5.2}",
                        1e3 * clearance_mm,
                        1e3 * noise_mm,
                        1e3 * resolution_mm,
                        shown(&s.clearance),
                        shown(&s.stiffness),
                        s.set_aside
                    );
                }
            }
        }
    }
}

/// The test of the indicator itself.
pub fn indicator(seeds: u64) {
    begin(seeds);
    println!("indicator  cycles hysteresis noise  step mis | s                | hysteresis       | aside");
    for (noise_mm, resolution_mm) in DIALS {
        for hysteresis_mm in [0.0, 0.004] {
            for cycles in [3, 5, 10] {
                for misread in [0, (2 * cycles + 5) / 10] {
                    let one = Dialling { hysteresis_mm, cycles, noise_mm, resolution_mm, misread };
                    let s = dialling::score(&one, seeds);
                    println!(
                        "           {cycles:>6} {:>10.0} {:>5.1} {:>5.1} {misread:>3} | {} | {} | {:>5.2}",
                        1e3 * hysteresis_mm,
                        1e3 * noise_mm,
                        1e3 * resolution_mm,
                        shown(&s.s),
                        shown(&s.hysteresis),
                        s.set_aside
                    );
                }
            }
        }
    }
}

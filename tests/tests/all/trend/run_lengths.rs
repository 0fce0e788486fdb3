//! Run lengths of both charts by simulation, against published tables.

use takeup_core::slack::simulated::Noise;
use takeup_core::trend::cusum::{self, Cusum};
use takeup_core::trend::ewma::{self, Ewma};

const RUNS: u32 = 4000;

/// Mean run length and its standard error.
fn simulate(mut run: impl FnMut(&mut Noise) -> u32, seed: u64) -> (f64, f64) {
    let mut noise = Noise::new(seed);
    let lengths: Vec<f64> = (0..RUNS).map(|_| f64::from(run(&mut noise))).collect();
    let n = f64::from(RUNS);
    let mean = lengths.iter().sum::<f64>() / n;
    let variance = lengths.iter().map(|l| (l - mean).powi(2)).sum::<f64>() / (n - 1.0);
    (mean, (variance / n).sqrt())
}

#[track_caller]
fn close(name: &str, (mean, error): (f64, f64), published: f64, rounding: f64) {
    println!("{name:<40} {mean:>8.2} ± {:>5.2}   published {published}", 2.0 * error);
    assert!(
        (mean - published).abs() < 4.0 * error + rounding,
        "{name}: {mean} ± {error} against {published}"
    );
}

/// D. C. Montgomery, *Introduction to Statistical Quality Control*, run lengths of the tabular CUSUM with k = 1/2 (recalled
/// from memory).
#[test]
fn cusum_in_control_and_after_a_shift() {
    for (h, shift, published) in [(4.0, 0.0, 168.0), (5.0, 0.0, 465.0), (4.0, 1.5, 4.75), (5.0, 1.5, 5.75)] {
        let found = simulate(
            |noise| {
                let mut chart = Cusum::new(cusum::Design { k: 0.5, h });
                (1..).find(|_| chart.push(noise.normal() + shift).is_some()).unwrap_or(0)
            },
            11,
        );
        close(&format!("CUSUM k 0.5 h {h} shift {shift}, seed 11"), found, published, 0.006 * published);
    }
}

/// J. M. Lucas and M. S. Saccucci, Technometrics 32 (1990), schemes with an in-control run length of 500 (recalled from
/// memory). Those tables are for steady limits, the chart here starts with narrow ones: 200 values on target come first.
#[test]
fn ewma_in_control_and_after_a_shift() {
    for (lambda, width, shift, published) in
        [(0.2, 2.962, 0.0, 500.0), (0.1, 2.814, 0.0, 500.0), (0.2, 2.962, 1.5, 5.5), (0.1, 2.814, 1.5, 6.1)]
    {
        let found = simulate(
            |noise| {
                let mut chart = Ewma::new(ewma::Design { lambda, width });
                // At the target, with steady limits.
                for _ in 0..200 {
                    chart.push(0.0);
                }
                (1..).find(|_| chart.push(noise.normal() + shift).is_some()).unwrap_or(0)
            },
            12,
        );
        close(
            &format!("EWMA weight {lambda} shift {shift}, seed 12"),
            found,
            published,
            0.05 + 0.006 * published,
        );
    }
}

//! The reversal test that keeps no readings against simulated truth, by an indicator without misreads.

use takeup_core::measure::reversal::Running;
use takeup_tests::sitting::{Sitting, Wander, mean_of_differences_mm};

const SEEDS: u64 = 1000;

/// The shares of the 95 % intervals that hold the truth, of the mean and of single stations, and the root mean
/// square error of the mean over that of a spreadsheet.
fn score(sitting: &Sitting) -> (f64, f64, f64) {
    let (mut mean, mut stations, mut squares, mut reference) = (0, 0, 0.0, 0.0);
    for seed in 0..SEEDS {
        let (setup, readings) = (sitting.setup(), sitting.readings(seed));
        let mut running = Running::<10>::new(&setup).unwrap();
        readings.iter().for_each(|reading| running.take(reading).unwrap());
        let truth = sitting.truth_mm(seed);
        let found = running.lost_motion().unwrap();
        mean += usize::from((found.value - truth).abs() <= found.expanded_95());
        for (index, target) in running.stations().enumerate() {
            let (found, truth) = (running.at(target).unwrap(), sitting.lost_at_mm(index, seed));
            stations += usize::from((found.value - truth).abs() <= found.expanded_95());
        }
        squares += (found.value - truth).powi(2);
        reference += (mean_of_differences_mm(&readings) - truth).powi(2);
    }
    let share = |held: usize, of: usize| held as f64 / (of * SEEDS as usize) as f64;
    (share(mean, 1), share(stations, sitting.stations), (squares / reference).sqrt())
}

#[test]
fn intervals_hold_the_truth_as_often_as_they_say() {
    println!(
        "seeds 0 to {SEEDS}: cycles, step, wandering: mean held, stations held, error over a spreadsheet's"
    );
    for cycles in [3, 5, 10] {
        for resolution_mm in [0.001, 0.01, 0.0127] {
            for wander in [Wander::None, Wander::Steady(0.003), Wander::Walk(0.003)] {
                let sitting = Sitting { cycles, resolution_mm, wander, stations: 3, ..Sitting::USUAL };
                let (mean, stations, error) = score(&sitting);
                println!("{cycles} {resolution_mm} {wander:?}: {mean:.3} {stations:.3} {error:.2}");
                assert!(mean >= 0.93 && stations >= 0.93, "{sitting:?}: {mean} {stations}");
                // A walk is taken for scatter, and stations on a coarse dial for rounding alike: wide, and never narrow.
                if resolution_mm < 0.01 && !matches!(wander, Wander::Walk(_)) {
                    assert!(mean <= 0.99 && stations <= 0.99, "{sitting:?}: {mean} {stations}");
                }
                // A drift is taken out; where there is none, looking for it costs little.
                let most = if matches!(wander, Wander::Steady(_)) { 0.7 } else { 1.1 };
                assert!(error < most, "{sitting:?}: {error}");
            }
        }
    }
}

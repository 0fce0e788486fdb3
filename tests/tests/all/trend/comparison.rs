//! How often the interval of a comparison holds the truth, over simulated sittings before and after a repair.

use takeup_core::measure::reversal::Station;
use takeup_core::slack::simulated::Noise;
use takeup_core::trend::compare::{Model, Repeatability, change_at, repeatability_ratio};
use takeup_tests::sitting::Sitting;

const SEEDS: u64 = 1000;

/// A repair: what is lost before and after, how many stations and cycles, and how differently each station takes to it
/// (one standard deviation), the dial's noise before and after.
struct Repair {
    name: &'static str,
    before_mm: f64,
    after_mm: f64,
    stations: usize,
    cycles: u16,
    unlike_mm: f64,
    noise_mm: (f64, f64),
}

/// The share of intervals of the change and of the ratio of scatters that hold the truth, and of paired models.
fn score(repair: &Repair) -> (f64, f64, f64) {
    let (mut change_holds, mut ratio_holds, mut paired) = (0, 0, 0);
    for seed in 0..SEEDS {
        let mut noise = Noise::new(70_000 + seed);
        let assess = |lost_mm, noise_mm, seed| {
            let sitting = Sitting {
                lost_mm,
                stations: repair.stations,
                cycles: repair.cycles,
                noise_mm,
                ..Sitting::USUAL
            };
            (sitting.assess(seed), sitting.truth_mm(seed))
        };
        let (before, lost_before) = assess(repair.before_mm, repair.noise_mm.0, 2 * seed + 500_000);
        let (mut after, lost_after) = assess(repair.after_mm, repair.noise_mm.1, 2 * seed + 500_001);
        // Stations that take to the repair differently: the mean over the travel is still the truth.
        let off: Vec<f64> = after.stations.iter().map(|_| repair.unlike_mm * noise.normal()).collect();
        for (station, off) in after.stations.iter_mut().zip(&off) {
            station.lost_motion.value += off;
        }
        after.lost_motion.value += off.iter().sum::<f64>() / off.len() as f64;
        let lost = |station: &Station| station.lost_motion;
        let stations = before.stations.iter().map(lost).zip(after.stations.iter().map(lost));
        let (change, model) = change_at(before.lost_motion, after.lost_motion, stations);
        let truth = lost_after - lost_before;
        change_holds += u32::from((change.value - truth).abs() <= change.expanded_95());
        paired += u32::from(model == Model::Paired);
        let scatter = |a: &takeup_core::measure::reversal::Assessment<10>| Repeatability {
            s: a.repeatability_mm,
            dof: a.repeatability_dof,
        };
        let ratio = repeatability_ratio(scatter(&before), scatter(&after)).expect("scatter");
        // A dial with steps of its own adds its rounding to both.
        let with_steps = |noise: f64| (noise * noise + 1e-6 / 12.0).sqrt();
        let truth = with_steps(repair.noise_mm.1) / with_steps(repair.noise_mm.0);
        ratio_holds += u32::from(ratio.low_95 <= truth && truth <= ratio.high_95);
    }
    let share = |count: u32| f64::from(count) / SEEDS as f64;
    (share(change_holds), share(ratio_holds), share(paired))
}

#[test]
fn intervals_of_comparisons_hold_the_truth() {
    let usual = Repair {
        name: "two stations, five cycles",
        before_mm: 0.118,
        after_mm: 0.021,
        stations: 2,
        cycles: 5,
        unlike_mm: 0.0,
        noise_mm: (0.002, 0.002),
    };
    let repairs = [
        Repair { name: "one station, three cycles", stations: 1, cycles: 3, ..usual },
        Repair { name: "scatter halved by the repair", noise_mm: (0.004, 0.002), ..usual },
        Repair { name: "scatter doubled, no change", after_mm: 0.118, noise_mm: (0.002, 0.004), ..usual },
        Repair { name: "five stations alike", stations: 5, ..usual },
        Repair { name: "five stations, unlike by 4 um", stations: 5, unlike_mm: 0.004, ..usual },
        Repair { name: "eight stations, unlike by 10 um", stations: 8, unlike_mm: 0.010, ..usual },
        usual,
    ];
    println!("{SEEDS} repairs each, seeds from 500 000\n{:<32}  change holds  ratio holds  paired", "");
    for repair in repairs {
        let (change, ratio, paired) = score(&repair);
        println!(
            "{:<32}  {:>11.1}%  {:>10.1}%  {:>5.1}%",
            repair.name,
            100.0 * change,
            100.0 * ratio,
            100.0 * paired
        );
        assert!((0.93..=0.99).contains(&change), "{}: {change} of the changes hold", repair.name);
        assert!((0.93..=0.99).contains(&ratio), "{}: {ratio} of the ratios hold", repair.name);
    }
}

//! How often the interval of a comparison holds the truth, over simulated sittings before and after a repair.

use takeup_core::measure::returns::Trend;
use takeup_core::measure::reversal::Station;
use takeup_core::measure::{Estimate, Setup, indicator, push_pull};
use takeup_core::slack::simulated::Noise;
use takeup_core::trend::compare::{Model, Repeatability, change, change_at, repeatability_ratio};
use takeup_tests::dialling::Dialling;
use takeup_tests::pushing::Pushing;
use takeup_tests::returning::Returning;
use takeup_tests::sitting::Sitting;
use takeup_tests::warming::Warming;

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

const USUAL: Repair = Repair {
    name: "two stations, five cycles",
    before_mm: 0.118,
    after_mm: 0.021,
    stations: 2,
    cycles: 5,
    unlike_mm: 0.0,
    noise_mm: (0.002, 0.002),
};

fn hold(repairs: &[Repair]) {
    println!("{SEEDS} repairs each, seeds from 500 000\n{:<32}  change holds  ratio holds  paired", "");
    for repair in repairs {
        let (change, ratio, paired) = score(repair);
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

#[test]
fn intervals_of_comparisons_hold_the_truth() {
    hold(&[
        Repair { name: "one station, three cycles", stations: 1, cycles: 3, ..USUAL },
        Repair { name: "scatter halved by the repair", noise_mm: (0.004, 0.002), ..USUAL },
        Repair { name: "scatter doubled, no change", after_mm: 0.118, noise_mm: (0.002, 0.004), ..USUAL },
        USUAL,
    ]);
}

#[test]
fn intervals_of_comparisons_along_the_travel_hold_the_truth() {
    hold(&[
        Repair { name: "five stations alike", stations: 5, ..USUAL },
        Repair { name: "five stations, unlike by 4 um", stations: 5, unlike_mm: 0.004, ..USUAL },
        Repair { name: "eight stations, unlike by 10 um", stations: 8, unlike_mm: 0.010, ..USUAL },
    ]);
}

/// How many of the intervals of a change, and of a ratio, hold the truth; `found` gives the estimates before and after.
fn held(truth: f64, found: impl Fn(u64) -> Option<(Estimate, Estimate)>) -> (f64, f64) {
    let (mut changes, mut ratios, mut n) = (0.0, 0.0, 0.0);
    for seed in 0..200 {
        let Some((before, after)) = found(900_000 + 2 * seed) else { continue };
        n += 1.0;
        let change = change(before, after);
        changes += f64::from(u8::from((change.value - truth).abs() <= change.expanded_95()));
        if let (Some(before), Some(after)) = (Repeatability::of(&before), Repeatability::of(&after)) {
            let ratio = repeatability_ratio(before, after).expect("scatter");
            ratios += f64::from(u8::from((ratio.low_95..=ratio.high_95).contains(&truth)));
        }
    }
    assert!(n > 180.0, "{n} of 200 tests gave it");
    (changes / n, ratios / n)
}

#[test]
fn intervals_of_other_kinds_hold_the_truth() {
    let returns = |slip_mm, noise_mm, seed| {
        Returning { slip_mm, noise_mm, drift_mm_per_h: 0.02, ..Returning::USUAL }.assess(seed)
    };
    let slip = |slip_mm, seed| match returns(slip_mm, 0.003, seed).trend {
        Trend::Apart { per_cycle, .. } => Some(per_cycle),
        Trend::Together(_) => None,
    };
    let growth = |amplitude_mm, seed| Warming { amplitude_mm, ..Warming::USUAL }.assess(seed).amplitude;
    let push = |clearance_mm, stiffness_n_per_mm, seed| {
        let pushing = Pushing { clearance_mm, stiffness_n_per_mm, ..Pushing::USUAL };
        push_pull::assess(&pushing.readings(seed), &pushing.setup()).ok()
    };
    let dial = |hysteresis_mm, noise_mm, seed| {
        let dialling = Dialling { hysteresis_mm, noise_mm, ..Dialling::USUAL };
        let setup = Setup { resolution_mm: dialling.resolution_mm, ..Setup::default() };
        indicator::assess(&dialling.readings(seed), &setup).ok()
    };
    let lag = |lag_mm, seed| dial(lag_mm, 0.001, seed)?.hysteresis;
    let spring = |k, seed| push(0.08, k, seed)?.stiffness;
    let changes = [
        ("slip per lift", held(0.008, |seed| Some((slip(0.01, seed)?, slip(0.002, seed + 1)?)))),
        ("growth", held(-0.02, |seed| Some((growth(0.05, seed)?, growth(0.03, seed + 1)?)))),
        (
            "clearance",
            held(-0.06, |seed| {
                Some((push(0.08, 4e3, seed)?.clearance, push(0.02, 4e3, seed + 1)?.clearance))
            }),
        ),
        ("stiffness", held(1000.0, |seed| Some((spring(3000.0, seed)?, spring(4000.0, seed + 1)?)))),
        ("hysteresis", held(0.005, |seed| Some((lag(0.003, seed)?, lag(0.008, seed + 1)?)))),
    ];
    println!("200 pairs of tests each, seeds from 900 000\n{:<22}  interval holds", "");
    for (name, (share, _)) in changes {
        println!("{name:<22}  {:>13.1}%", 100.0 * share);
        assert!((0.92..=1.0).contains(&share), "change of {name}: {share}");
    }
    // The rounding of the dial is in the scatter of the indicator and taken out of that of returns.
    let rounded = |noise: f64| (noise * noise + 1e-6 / 12.0).sqrt();
    let ratios = [
        (
            "scatter of a return",
            held(0.5, |seed| {
                Some((returns(0.01, 0.006, seed).scatter, returns(0.01, 0.003, seed + 1).scatter))
            }),
        ),
        (
            "scatter of indicators",
            held(rounded(0.004) / rounded(0.002), |seed| {
                Some((dial(0.003, 0.002, seed)?.s, dial(0.003, 0.004, seed + 1)?.s))
            }),
        ),
    ];
    for (name, (_, share)) in ratios {
        println!("{name:<22}  {:>13.1}%", 100.0 * share);
        assert!((0.92..=1.0).contains(&share), "ratio of {name}: {share}");
    }
}

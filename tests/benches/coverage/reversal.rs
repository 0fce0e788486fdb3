//! The reversal test: bias, error against the mean of differences, coverage of the 95 % intervals, and their
//! width against that of somebody told the truth.
//!
//! Misreads: each row with a chance of 1 in 20, `1/10` never more than a tenth of the rows, `any` as it comes, so that a
//! station of few rows may have two of three readings of an approach misread.
//!
//! With the word `random` as many sittings of any kind as the number says, 400 seeds each; with other words only
//! the lines that hold them all.

use takeup_core::slack::simulated::Noise;
use takeup_tests::sitting::{Order, Sitting, Visits, Wander, score};

/// Prints the table.
pub fn table(seeds: u64) {
    let wanted = super::wanted(&["random", "reversal"]);
    let line = |sitting: &Sitting, seeds| line(sitting, seeds, &wanted);
    head();
    if std::env::args().any(|a| a == "random") {
        let mut noise = Noise::new(seeds ^ 0x5eed);
        (0..seeds).for_each(|_| line(&any(&mut noise), 400));
    } else {
        usual(seeds, line);
    }
}

/// The sittings that the tests hold, and their neighbours.
fn usual(seeds: u64, line: impl Fn(&Sitting, u64)) {
    const INCH: f64 = 0.0127;
    for (noise_mm, resolution_mm) in [(0.002, 0.001), (0.001, 0.01), (0.003, 0.01), (0.002, INCH)] {
        for cycles in [3, 5, 10] {
            for wander in [
                Wander::None,
                Wander::Steady(0.001),
                Wander::Steady(0.5 * resolution_mm),
                Wander::Steady(0.005),
                Wander::WarmUp(0.03),
                Wander::Walk(0.003),
            ] {
                let with = |most| (0.05, most, Order::Random);
                for (misread, most_misread, order) in [(0.0, 1.0, Order::InTurn), with(0.1), with(1.0)] {
                    for stations in [1, 3] {
                        let usual = Sitting {
                            stations,
                            cycles,
                            noise_mm,
                            resolution_mm,
                            wander,
                            misread,
                            most_misread,
                            order,
                            ..Sitting::USUAL
                        };
                        line(&usual, seeds);
                    }
                }
            }
        }
    }
}

/// Any sitting a shop might have.
fn any(noise: &mut Noise) -> Sitting {
    let mut one_of = |choices: &[f64]| choices[(noise.uniform() * choices.len() as f64) as usize];
    let step = one_of(&[0.001, 0.002, 0.003, 0.005]);
    let wander = match one_of(&[0.0, 1.0, 2.0, 3.0]) as u8 {
        0 => Wander::None,
        1 => Wander::Steady(step),
        2 => Wander::WarmUp(one_of(&[0.01, 0.03, 0.06])),
        _ => Wander::Walk(step),
    };
    Sitting {
        lost_mm: one_of(&[0.02, 0.05, 0.118, 0.3]),
        more_per_station_mm: one_of(&[0.0, 0.003]),
        stations: one_of(&[1.0, 2.0, 3.0, 5.0]) as usize,
        cycles: one_of(&[3.0, 4.0, 5.0, 7.0, 10.0]) as u16,
        noise_mm: one_of(&[0.001, 0.0015, 0.002, 0.003]),
        resolution_mm: one_of(&[0.001, 0.01, 0.0127]),
        wander,
        misread: one_of(&[0.0, 0.0, 0.05]),
        most_misread: 1.0,
        order: if one_of(&[0.0, 1.0]) > 0.0 { Order::Random } else { Order::InTurn },
        visits: match one_of(&[0.0, 0.0, 1.0, 2.0]) as u8 {
            0 => Visits::Once,
            1 => Visits::EveryCycle,
            _ => Visits::Rezeroed,
        },
        missing: one_of(&[0.0, 0.0, 0.15]),
        hysteresis_mm: one_of(&[0.0, 0.0, 0.003]),
        angle_deg: one_of(&[0.0, 0.0, 20.0]),
    }
}

fn head() {
    println!(
        "lengths in micrometres; told: half width of somebody told the truth about noise, drift and misreads"
    );
    println!(
        "{:>2} {:>2} {:>5} {:>5} {:<15} {:>4} {:<6} {:<10} | {:>6} {:>6} {:>6} {:>6} {:>6} {:>6} {:>6} {:>6} {:>5} {:>5}",
        "st",
        "cy",
        "noise",
        "step",
        "wander",
        "mis",
        "order",
        "visits",
        "bias",
        "rms",
        "ref",
        "cover",
        "each",
        "slope",
        "half",
        "told",
        "ratio",
        "aside"
    );
}

fn line(sitting: &Sitting, seeds: u64, wanted: &dyn Fn(&str) -> bool) {
    let kind = format!(
        "{:>2} {:>2} {:>5.1} {:>5.1} {:<15} {:>4} {:<6} {:<10}",
        sitting.stations,
        sitting.cycles,
        1e3 * sitting.noise_mm,
        1e3 * sitting.resolution_mm,
        format!("{:?}", sitting.wander),
        match sitting.misread {
            0.0 => "0",
            _ if sitting.most_misread < 1.0 => "1/10",
            _ => "any",
        },
        format!("{:?}", sitting.order),
        format!("{:?}", sitting.visits),
    );
    if !wanted(&kind) {
        return;
    }
    let s = score(sitting, seeds);
    let mut more = String::new();
    for (name, value) in [
        ("lost", sitting.lost_mm - Sitting::USUAL.lost_mm),
        ("missing", sitting.missing),
        ("hysteresis", sitting.hysteresis_mm),
        ("angle", sitting.angle_deg),
    ] {
        if value != 0.0 {
            more += &format!(" {name}");
        }
    }
    // What an acceptance of the intervals asks for.
    let mark = |bad: bool, name: &str| if bad { format!(" !{name}") } else { String::new() };
    more += &mark(!(0.93..=0.995).contains(&s.coverage), "cover");
    more += &mark(s.half_width_mm > 1.5 * s.told_half_width_mm, "wide");
    more += &mark(s.rms_mm > 1.01 * s.reference_rms_mm, "rms");
    more += &mark(s.bias_mm.abs() > (0.02 * sitting.lost_mm).max(0.0003), "bias");
    println!(
        "{kind} | {:>6.2} {:>6.2} {:>6.2} {:>6.2} {:>6.2} {:>6.2} {:>6.2} {:>6.2} {:>5.2} {:>5.2}{more}",
        1e3 * s.bias_mm,
        1e3 * s.rms_mm,
        1e3 * s.reference_rms_mm,
        100.0 * s.coverage,
        100.0 * s.station_coverage,
        100.0 * s.slope_coverage,
        1e3 * s.half_width_mm,
        1e3 * s.told_half_width_mm,
        s.half_width_mm / s.told_half_width_mm,
        s.set_aside
    );
}

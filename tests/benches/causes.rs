//! Prints what the tests say of simulated axes with one fault or two of 0.02 to 0.3 mm: a row for each fault, with
//! the causes that were named first and how often.
//!
//! `cargo bench -p takeup-tests --bench causes [-- SEEDS]`

use takeup_core::measure::Kind;
use takeup_core::measure::cause::Name;
use takeup_tests::faulty::tally;
use takeup_tests::together;

fn main() {
    let seeds = std::env::args().filter_map(|a| a.parse().ok()).next().unwrap_or(500);
    let common = [
        Name::NoneShown,
        Name::Clearance,
        Name::WornTravel,
        Name::OverCorrected,
        Name::Slip,
        Name::Thermal,
        Name::IndicatorSetup,
    ];
    for kind in [Kind::Reversal, Kind::Positioning] {
        println!(
            "{kind}, {seeds} seeds each: share in which the fault, or both, come first; what came first"
        );
        let screw = [Name::LeadError, Name::Periodic];
        let screw = if kind == Kind::Positioning { &screw[..] } else { &[] };
        for &name in common.iter().chain(screw) {
            line(kind, &[name], seeds);
        }
        let mut pairs = vec![];
        for with in [Name::Slip, Name::Thermal, Name::IndicatorSetup].iter().chain(screw) {
            for shape in [Name::Clearance, Name::WornTravel, Name::OverCorrected] {
                pairs.push([shape, *with]);
            }
        }
        if kind == Kind::Positioning {
            pairs.extend([[Name::LeadError, Name::Periodic], [Name::Thermal, Name::LeadError]]);
        }
        pairs.iter().for_each(|pair| line(kind, pair, seeds));
    }
    sittings(Kind::Reversal, &common, seeds);
    sittings(Kind::Positioning, &[&common[..], &[Name::LeadError, Name::Periodic]].concat(), seeds);
}

/// Three tests of one sitting: the share in which the faults come first by each alone, and by all together, and in which
/// the likeliest state is just these faults.
fn sittings(first: Kind, names: &[Name], seeds: u64) {
    println!("one sitting of {first}, small-steps and return, {seeds} seeds each: apart, and together");
    println!("{:<32} {:>8} {:>8} {:>8} {:>8} {:>8}", "", first.name(), "steps", "return", "together", "just");
    let mut all: Vec<Vec<Name>> = names.iter().map(|&name| vec![name]).collect();
    all.extend([vec![Name::WindUp], vec![Name::Sticking]]);
    let beside = [Name::Slip, Name::Thermal, Name::IndicatorSetup, Name::Sticking];
    let screw = names.iter().filter(|name| [Name::LeadError, Name::Periodic].contains(name));
    for with in beside.iter().chain(screw) {
        for shape in [Name::Clearance, Name::WindUp, Name::WornTravel, Name::OverCorrected] {
            all.push(vec![shape, *with]);
        }
    }
    all.extend([vec![Name::Clearance, Name::WindUp], vec![Name::Slip, Name::Thermal]]);
    for names in all {
        let tally = together::tally(first, &names, seeds);
        let words: Vec<&str> = names.iter().map(|name| name.name()).collect();
        let [a, b, c] = tally.alone.map(|share| 100.0 * share);
        let mut named: Vec<_> = tally.named.into_iter().collect();
        named.sort_by_key(|n| std::cmp::Reverse(n.1));
        let seen: Vec<String> = named.iter().take(4).map(|(what, n)| format!("{what} {n}")).collect();
        println!(
            "{:<32} {a:>7.1}% {b:>7.1}% {c:>7.1}% {:>7.1}% {:>7.1}% | {}",
            words.join("+"),
            100.0 * tally.together,
            100.0 * tally.just,
            seen.join(", ")
        );
    }
}

fn line(kind: Kind, names: &[Name], seeds: u64) {
    let (right, named) = tally(kind, names, seeds);
    let words: Vec<&str> = names.iter().map(|name| name.name()).collect();
    let mut named: Vec<_> = named.into_iter().collect();
    named.sort_by_key(|n| std::cmp::Reverse(n.1));
    let seen: Vec<String> = named.iter().take(5).map(|(what, n)| format!("{what} {n}")).collect();
    println!("{:<32} {:>6.1} % | {}", words.join("+"), 100.0 * right, seen.join(", "));
}

//! Prints what the tests say of simulated axes with one fault or two of 0.02 to 0.3 mm: a row for each fault, with
//! the causes that were named first and how often.
//!
//! `cargo bench -p takeup-tests --bench causes [-- SEEDS]`

use takeup_core::measure::Kind;
use takeup_core::measure::cause::Name;
use takeup_tests::faulty::tally;

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
}

fn line(kind: Kind, names: &[Name], seeds: u64) {
    let (right, named) = tally(kind, names, seeds);
    let words: Vec<&str> = names.iter().map(|name| name.name()).collect();
    let mut named: Vec<_> = named.into_iter().collect();
    named.sort_by_key(|n| std::cmp::Reverse(n.1));
    let seen: Vec<String> = named.iter().take(5).map(|(what, n)| format!("{what} {n}")).collect();
    println!("{:<32} {:>6.1} % | {}", words.join("+"), 100.0 * right, seen.join(", "));
}

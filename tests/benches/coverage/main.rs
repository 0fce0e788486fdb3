//! Prints how the estimators do on simulated sittings: bias, coverage of the 95 % intervals, and their width
//! over that of an estimator that is told noise and drift.
//!
//! `cargo bench -p takeup-tests --bench coverage [-- SEEDS] [KIND]`, KIND such as reversal or warm-up

mod returns;
mod reversal;
mod small_steps;
mod standing;

/// Whether a line of a table is wanted: it holds all words of the command that are neither a number nor an option nor one of
/// those given.
fn wanted(but: &[&str]) -> impl Fn(&str) -> bool {
    let is_word = |word: &String| {
        word.parse::<u64>().is_err() && !word.starts_with('-') && !but.contains(&word.as_str())
    };
    let words: Vec<String> = std::env::args().skip(1).filter(is_word).collect();
    move |line| words.iter().all(|word| line.contains(word.as_str()))
}

/// A table, by the name of its kind of test.
type Table = (&'static str, fn(u64));

const TABLES: [Table; 6] = [
    ("reversal", reversal::table),
    ("return", returns::table),
    ("small-steps", small_steps::table),
    ("warm-up", standing::warm_up),
    ("push-pull", standing::push_pull),
    ("indicator", standing::indicator),
];

fn main() {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let seeds = words.iter().find_map(|word| word.parse().ok()).unwrap_or(2000);
    let named = |kind: &str| words.iter().any(|word| word == kind);
    let all = !TABLES.iter().any(|(kind, _)| named(kind));
    for (kind, table) in TABLES {
        if all || named(kind) {
            table(seeds);
        }
    }
}

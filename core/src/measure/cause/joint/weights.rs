//! What several tests say together: how probable each cause is, and which causes at once are likeliest.

use super::{State, Testimony};
use crate::measure::cause::Name;
use heapless::Vec;

/// So many of the likeliest states are kept.
const KEPT: usize = 3;

/// What may be wrong all at once, and how probable that is.
#[derive(Clone, Debug, PartialEq)]
pub struct Likely {
    causes: Vec<Name, 8>,
    /// The probability that these causes are there and no others, from 0 to 1.
    pub probability: f64,
}

impl Likely {
    /// The causes: those of the lost motion first. Empty where nothing is wrong.
    #[must_use]
    pub fn causes(&self) -> &[Name] {
        &self.causes
    }
}

/// What is known of one cause.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Share {
    name: Name,
    weight: f64,
    there: f64,
}

/// How probable the causes are by several tests: the weight of each, which add up to 1, and the likeliest states.
#[derive(Clone, Debug, PartialEq)]
pub struct Weights {
    shares: Vec<Share, 11>,
    likely: Vec<Likely, KEPT>,
}

impl Weights {
    /// The causes that the tests can speak of with their weights, the likeliest first. Causes that are there together
    /// share the weight of that.
    pub fn iter(&self) -> impl Iterator<Item = (Name, f64)> + '_ {
        self.shares.iter().map(|one| (one.name, one.weight))
    }

    /// The weight of a cause.
    #[must_use]
    pub fn of(&self, name: Name) -> f64 {
        self.share(name).map_or(0.0, |one| one.weight)
    }

    /// The probability that a cause is there, alone or beside others, from 0 to 1; of nothing being shown, that there is none.
    #[must_use]
    pub fn there(&self, name: Name) -> f64 {
        self.share(name).map_or(0.0, |one| one.there)
    }

    /// The likeliest states, the likeliest first: which causes are there at once. At most three.
    pub fn likely(&self) -> impl Iterator<Item = &Likely> {
        self.likely.iter()
    }

    fn share(&self, name: Name) -> Option<&Share> {
        self.shares.iter().find(|one| one.name == name)
    }

    #[cfg(test)]
    pub(super) fn of_shares(weights: &[(Name, f64)]) -> Self {
        let share = |&(name, weight)| Share { name, weight, there: weight };
        Self { shares: weights.iter().map(share).collect(), likely: Vec::new() }
    }
}

/// Weighs the causes by several tests. A state has the weight of its likelihood under all tests times how common
/// it is; where it holds several causes, each has its part. Causes that no test speaks of are left out. With `without`,
/// the test with that index says nothing: so that it can be seen what it adds.
#[must_use]
pub fn weigh(tests: &[&Testimony], without: Option<usize>) -> Weights {
    let spoken = |name: Name| tests.iter().any(|test| test.speaks_of.contains(&name));
    let log = |state: State, place: usize| {
        let of = |(n, test): (usize, &&Testimony)| {
            if without == Some(n) { 0.0 } else { test.logs.get(place).copied().unwrap_or(0.0) }
        };
        state.log_prior() + tests.iter().enumerate().map(of).sum::<f64>()
    };
    let states = || State::all().enumerate().filter(|(_, state)| state.names().all(spoken));
    let top = states().map(|(place, state)| log(state, place)).fold(f64::NEG_INFINITY, f64::max);
    let mut shares = Name::ALL.map(|name| Share { name, weight: 0.0, there: 0.0 });
    let mut likeliest: Vec<(State, f64), KEPT> = Vec::new();
    let mut total = 0.0;
    for (place, state) in states() {
        let weight = libm::exp(log(state, place) - top);
        total += weight;
        keep(&mut likeliest, state, weight);
        let faults = state.names().count();
        for share in &mut shares {
            let there = if faults == 0 { share.name == Name::NoneShown } else { state.has(share.name) };
            if there {
                share.weight += weight / faults.max(1) as f64;
                share.there += weight;
            }
        }
    }
    let mut shares: Vec<_, 11> =
        shares.into_iter().filter(|one| one.name == Name::NoneShown || spoken(one.name)).collect();
    for share in &mut shares {
        share.weight /= total;
        share.there /= total;
    }
    shares.sort_unstable_by(|a, b| b.weight.total_cmp(&a.weight));
    let likely = |(state, weight): (State, f64)| Likely {
        causes: state.names().collect(),
        probability: weight / total,
    };
    Weights { shares, likely: likeliest.into_iter().map(likely).collect() }
}

/// Keeps a state if it is among the likeliest so far, which stand in order.
fn keep(likeliest: &mut Vec<(State, f64), KEPT>, state: State, weight: f64) {
    let place = likeliest.iter().position(|kept| kept.1 < weight).unwrap_or(likeliest.len());
    if place < KEPT {
        likeliest.truncate(KEPT - 1);
        // Just made room for one, and the place is not beyond those that are left.
        let _ = likeliest.insert(place, (state, weight));
    }
}

/// By how much a test multiplies the odds of a cause, as the others leave them.
#[must_use]
pub fn factor(tests: &[&Testimony], test: usize, name: Name) -> f64 {
    let odds = |weights: &Weights| {
        let weight = weights.of(name).clamp(1e-300, 1.0);
        let others = weights.iter().filter(|one| one.0 != name).map(|one| one.1).sum::<f64>();
        weight / libm::fmax(others, 1e-300)
    };
    odds(&weigh(tests, None)) / odds(&weigh(tests, Some(test)))
}

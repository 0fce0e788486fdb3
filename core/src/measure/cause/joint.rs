//! The cause argued from several tests of one sitting.
//!
//! What may be wrong is a *state*: a shape of lost motion (none, a gap, wind-up, both, different along the travel, too
//! much of a correction), and beside it slip, growth, a loose indicator, sticking ways and errors of the screw, each
//! there or not. A [`Testimony`] is the log likelihood of the readings of one test under every state. Given the state
//! the readings of one test say nothing of those of another, so the logarithms of several tests add up; how
//! common a state is beforehand counts once.
//!
//! Assumed: the same faults are there in all tests. Their sizes are integrated out in each test for itself, since the
//! tests are taken at different places. A test counts neither for nor against what it has no model of: there it is
//! as likely as under the best explanation that it has. And one test in ten thousand is spoilt in a way that no
//! model knows, so that none can overrule all the others by itself.
//!
//! How common the states are is common practice, no source. A testimony takes 3 kB.

use super::reversal::{self, MANNERS, SHAPES, told, told_of_both};
use super::single::{clearance_log_odds, growth_log_odds, indicator_log_odds};
use super::{Name, effect_log_odds, scatter_log_odds};
use crate::measure::positioning::Positioning;
use crate::measure::reversal::{Assessment, Station};
use crate::measure::{Estimate, Kind, Setup, indicator, push_pull, returns, small_steps, warm_up};
use heapless::Vec;

mod weights;

pub use weights::{Likely, Weights, factor, weigh};

/// The shapes: what each is called by, and how common it is, as a logarithm.
const ALL_SHAPES: [(&[Name], f64); 6] = [
    (&[], 1.0),
    (&[Name::Clearance], 0.0),
    (&[Name::WindUp], -1.5),
    (&[Name::Clearance, Name::WindUp], -2.0),
    (&[Name::OverCorrected], -0.7),
    (&[Name::WornTravel], -1.0),
];

/// What may be there beside them, and the logarithm of its odds.
const BESIDE: [(Name, f64); 6] = [
    (Name::Slip, -3.0),
    (Name::Thermal, -2.0),
    (Name::IndicatorSetup, -2.5),
    (Name::Sticking, -0.5),
    (Name::LeadError, -1.5),
    (Name::Periodic, -1.5),
];

/// Shapes times what is there or not.
const STATES: usize = ALL_SHAPES.len() << BESIDE.len();

/// All bits of a state.
const BITS: usize = (1 << BESIDE.len()) - 1;

/// The share of tests that are spoilt in a way that no model knows.
const SPOILT: f64 = 1e-4;

/// What may be wrong: a shape, and a bit for each of [`BESIDE`].
#[derive(Clone, Copy)]
struct State {
    shape: usize,
    bits: usize,
}

impl State {
    fn all() -> impl Iterator<Item = State> {
        (0..STATES).map(|n| State { shape: n >> BESIDE.len(), bits: n & BITS })
    }

    fn shape(self) -> &'static [Name] {
        ALL_SHAPES.get(self.shape).map_or(&[], |shape| shape.0)
    }

    /// What is there beside the shape.
    fn beside(self) -> impl Iterator<Item = (Name, f64)> {
        BESIDE.into_iter().enumerate().filter(move |(n, _)| self.bits & (1 << n) != 0).map(|(_, one)| one)
    }

    fn names(self) -> impl Iterator<Item = Name> {
        self.shape().iter().copied().chain(self.beside().map(|one| one.0))
    }

    fn has(self, name: Name) -> bool {
        self.names().any(|own| own == name)
    }

    /// How common it is, as a logarithm.
    fn log_prior(self) -> f64 {
        ALL_SHAPES.get(self.shape).map_or(0.0, |shape| shape.1) + self.beside().map(|one| one.1).sum::<f64>()
    }
}

/// What the readings of one test say of every state.
#[derive(Clone, Debug, PartialEq)]
pub struct Testimony {
    kind: Kind,
    speaks_of: Vec<Name, 11>,
    /// Log likelihoods; only differences mean something.
    logs: [f64; STATES],
}

impl Testimony {
    fn new(kind: Kind, speaks_of: &[Name], log: impl Fn(State) -> f64) -> Self {
        let mut logs = [f64::NEG_INFINITY; STATES];
        for (slot, state) in logs.iter_mut().zip(State::all()) {
            *slot = log(state);
        }
        let top = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        for slot in &mut logs {
            *slot = libm::log((1.0 - SPOILT) * libm::exp(*slot - top) + SPOILT);
        }
        Self { kind, speaks_of: speaks_of.iter().copied().collect(), logs }
    }

    /// The kind of test.
    #[must_use]
    pub const fn kind(&self) -> Kind {
        self.kind
    }

    /// What a reversal test says.
    #[must_use]
    pub fn of_reversal<const S: usize>(result: &Assessment<S>) -> Self {
        let told = (told(result, |_| 0.0), told_of_both(result, |_| 0.0));
        let speaks_of = SPOKEN_BY_REVERSAL.get(..if result.stations.len() > 1 { 7 } else { 6 });
        Self::new(Kind::Reversal, speaks_of.unwrap_or_default(), |state| by_pairs(&told, state))
    }

    /// What a positioning test says.
    #[must_use]
    pub fn of_positioning<const S: usize>(
        result: &Assessment<S>,
        positioning: &Positioning,
        setup: &Setup,
    ) -> Self {
        let known_mm = |station: &Station| reversal::by_screw_mm(result, positioning, setup, station);
        let plain = (told(result, |_| 0.0), told_of_both(result, |_| 0.0));
        // What an error within a turn adds to the lost motion is taken off only where there is one.
        let turning = (told(result, known_mm), told_of_both(result, known_mm));
        let mut speaks_of: Vec<Name, 11> = SPOKEN_BY_REVERSAL.into_iter().collect();
        let screw = reversal::of_screw(positioning);
        speaks_of.extend(screw.iter().flatten().map(|one| one.0));
        Self::new(Kind::Positioning, &speaks_of, |state| {
            let shown = screw.iter().flatten().filter(|one| state.has(one.0)).map(|one| one.1);
            let told = if state.has(Name::Periodic) { &turning } else { &plain };
            by_pairs(told, state) + shown.sum::<f64>()
        })
    }

    /// What a test of small steps says, by [`assess_beside_others`](small_steps::assess_beside_others). It is taken at one
    /// place: where a travel is worn, that may be worn or not. Whether a drive slips, or a screw errs within a turn, it does
    /// not tell; of the rest it tells what they leave.
    #[must_use]
    pub fn of_small_steps(result: &small_steps::Assessment, setup: &Setup) -> Self {
        let e = &result.evidence;
        let odds = |drift_mm: &Estimate, sticks, jumps, s_mm| BesideCurve {
            drifts: effect_log_odds(drift_mm, GROWTH_MM),
            sticks,
            // Where ways stick, jumps are not the indicator's.
            scatters: if jumps { f64::NEG_INFINITY } else { scatter_log_odds(s_mm, setup) },
        };
        let whole =
            odds(&result.drift_mm, e.sticking - e.smooth, result.sticking.is_some(), result.repeatability_mm);
        let with_model = |state: State| of_staircase(e, state) + whole.of(state);
        // Where a drive slips, the ways down still tell the rest; where the screw bends the staircase, what it leaves.
        let rest = |told: &Option<small_steps::Told>| {
            told.as_ref().map(|told| {
                let (sticks, s_mm) = (told.evidence.sticking, told.repeatability_mm);
                let beside = told.drift_mm.map(|drift_mm| odds(&drift_mm, sticks, sticks > 0.0, s_mm));
                Rest { evidence: told.evidence, beside }
            })
        };
        let (slips, bends) = (rest(&result.down), rest(&result.by_place));
        // Neither slip nor the screw makes a table hold and jump.
        let best = State::all()
            .filter(|state| !state.has(Name::Sticking))
            .map(with_model)
            .fold(f64::NEG_INFINITY, f64::max);
        let speaks_of = [
            Name::Clearance,
            Name::WindUp,
            Name::OverCorrected,
            Name::Sticking,
            Name::Thermal,
            Name::IndicatorSetup,
        ];
        Self::new(Kind::SmallSteps, &speaks_of, |state| {
            let own = with_model(state);
            let of = |rest: &Option<Rest>| rest.as_ref().map_or(0.0, |rest| rest.of(state));
            best + match (state.has(Name::Slip), state.has(Name::Periodic)) {
                (false, false) => return own,
                (false, true) => of(&bends),
                (true, false) => of(&slips),
                // Of both at once it has no model, but seldom needs one.
                (true, true) => one_of(of(&slips), 0.0, BENT),
            }
        })
    }

    /// What a return test says. It arrives from one side, and says nothing of lost motion.
    #[must_use]
    pub fn of_returns(result: &returns::Assessment) -> Self {
        let manners = result.manners;
        Self::new(Kind::Return, &[Name::Slip, Name::Thermal, Name::IndicatorSetup], |state| {
            let manner = match (state.has(Name::Slip), state.has(Name::Thermal)) {
                (false, false) => manners.holds,
                (true, false) => manners.slips,
                (false, true) => manners.grows,
                (true, true) => manners.both,
            };
            if state.has(Name::IndicatorSetup) { manner.loose } else { manner.sound }
        })
    }

    /// What a push-pull test says: whether there is a gap. One at this place may be wear, or hidden by what the control adds.
    #[must_use]
    pub fn of_push_pull(result: &push_pull::Assessment) -> Self {
        let gap = clearance_log_odds(result);
        Self::new(Kind::PushPull, &[Name::Clearance], |state| match state.shape() {
            [Name::WornTravel | Name::OverCorrected] => one_of(gap, 0.0, 0.5),
            shape if shape.contains(&Name::Clearance) => gap,
            _ => 0.0,
        })
    }

    /// What a warm-up test says.
    #[must_use]
    pub fn of_warm_up(result: &warm_up::Assessment) -> Self {
        let grows = growth_log_odds(result);
        let log = |state: State| if state.has(Name::Thermal) { grows } else { 0.0 };
        Self::new(Kind::WarmUp, &[Name::Thermal], log)
    }

    /// What a test of the indicator says.
    #[must_use]
    pub fn of_indicator(result: &indicator::Assessment, setup: &Setup) -> Self {
        let loose = indicator_log_odds(result, setup);
        let log = |state: State| if state.has(Name::IndicatorSetup) { loose } else { 0.0 };
        Self::new(Kind::Indicator, &[Name::IndicatorSetup], log)
    }
}

const SPOKEN_BY_REVERSAL: [Name; 7] = [
    Name::Clearance,
    Name::WindUp,
    Name::OverCorrected,
    Name::Thermal,
    Name::Slip,
    Name::IndicatorSetup,
    Name::WornTravel,
];

/// The share of periodic errors that bend a staircase, which is a small part of a turn, beyond what slip hides.
const BENT: f64 = 0.1;
/// What a machine usually grows while a test is taken, mm.
const GROWTH_MM: f64 = 0.02;

/// The log likelihood of a state by the pairs of manner and shape of a reversal test, and by the shapes where it slips and
/// grows: where several wander at once, that of those that explain most.
fn by_pairs((told, both): &([[f64; 5]; 4], [f64; 5]), state: State) -> f64 {
    let of = |shapes: &[f64; 5]| {
        let wanted = match state.shape() {
            // Both are seen as a gap is.
            [Name::Clearance, ..] => Name::Clearance,
            [name] => *name,
            _ => Name::NoneShown,
        };
        SHAPES.iter().zip(shapes).find(|(shape, _)| shape.0 == wanted).map_or(f64::NEG_INFINITY, |s| *s.1)
    };
    let wanders = MANNERS.iter().any(|manner| state.has(manner.0));
    let held = MANNERS
        .iter()
        .zip(told)
        .filter(|(manner, _)| if wanders { state.has(manner.0) } else { manner.0 == Name::NoneShown });
    let most = held.map(|(_, shapes)| of(shapes)).fold(f64::NEG_INFINITY, f64::max);
    if state.has(Name::Slip) && state.has(Name::Thermal) { libm::fmax(most, of(both)) } else { most }
}

/// How much likelier the readings of a staircase are if something is there beside the curve, as logarithms.
struct BesideCurve {
    drifts: f64,
    sticks: f64,
    scatters: f64,
}

impl BesideCurve {
    fn of(&self, state: State) -> f64 {
        let odds = state.beside().map(|(name, _)| match name {
            Name::Thermal => self.drifts,
            Name::Sticking => self.sticks,
            Name::IndicatorSetup => self.scatters,
            _ => 0.0,
        });
        odds.sum()
    }
}

/// What a staircase tells of the rest where something has a part in it.
struct Rest {
    evidence: small_steps::Evidence,
    /// If nothing winds up, and if something does.
    beside: [BesideCurve; 2],
}

impl Rest {
    /// The log likelihood of a state, less than that of the likeliest.
    fn of(&self, state: State) -> f64 {
        let [gap, wound] = &self.beside;
        let log = |state: State| {
            let beside = if state.has(Name::WindUp) { wound } else { gap };
            of_staircase(&self.evidence, state) + beside.of(state)
        };
        log(state) - State::all().map(log).fold(f64::NEG_INFINITY, f64::max)
    }
}

/// The log likelihood of the shape of a state by a staircase.
fn of_staircase(e: &small_steps::Evidence, state: State) -> f64 {
    match state.shape() {
        [] => e.none,
        [Name::Clearance] => e.clearance,
        [Name::WindUp] => e.wind_up,
        [Name::OverCorrected] => e.over_corrected,
        [Name::WornTravel] => one_of(e.none, e.clearance, 0.5),
        _ => e.both,
    }
}

/// The logarithm of the likelihood where it is the second of two with a probability, else the first.
fn one_of(first: f64, second: f64, probability: f64) -> f64 {
    let (a, b) = (first + libm::log(1.0 - probability), second + libm::log(probability));
    let (more, less) = (libm::fmax(a, b), libm::fmin(a, b));
    if less == f64::NEG_INFINITY { more } else { more + libm::log1p(libm::exp(less - more)) }
}

/// What a cause looks like in a kind of test; `None` where the test has no model of it.
fn looks(kind: Kind, cause: Name) -> Option<Name> {
    let seen = match kind {
        Kind::Reversal => &SPOKEN_BY_REVERSAL[..],
        Kind::Positioning => match cause {
            Name::LeadError | Name::Periodic => return Some(cause),
            _ => &SPOKEN_BY_REVERSAL,
        },
        Kind::SmallSteps => match cause {
            Name::Slip | Name::Periodic => return None,
            Name::WornTravel => return Some(Name::Clearance),
            Name::LeadError => return Some(Name::NoneShown),
            _ => return Some(cause),
        },
        Kind::Return => &[Name::Slip, Name::Thermal, Name::IndicatorSetup],
        Kind::PushPull => match cause {
            Name::OverCorrected => return None,
            Name::WornTravel => return Some(Name::Clearance),
            _ => &[Name::Clearance],
        },
        Kind::WarmUp => &[Name::Thermal],
        Kind::Indicator => &[Name::IndicatorSetup],
    };
    // A reversal test sees wind-up as it sees a gap.
    let cause = match (kind, cause) {
        (Kind::Reversal | Kind::Positioning, Name::WindUp) => Name::Clearance,
        _ => cause,
    };
    Some(if seen.contains(&cause) { cause } else { Name::NoneShown })
}

/// The test that would tell most of those not taken yet: how probable it is that two causes drawn by their weights look
/// different in it. `None` where that is less than one in fifty.
#[must_use]
pub fn next(weights: &Weights, taken: &[Kind]) -> Option<Kind> {
    let tells = |kind: Kind| {
        let mut sum = 0.0;
        for (a, of_a) in weights.iter() {
            for (b, of_b) in weights.iter() {
                if let (Some(one), Some(other)) = (looks(kind, a), looks(kind, b))
                    && one != other
                {
                    sum += of_a * of_b;
                }
            }
        }
        sum
    };
    let open = Kind::ALL.into_iter().filter(|kind| !taken.contains(kind)).map(|kind| (kind, tells(kind)));
    // Of two that tell as much, the one that comes first.
    let most = open.reduce(|best, one| if one.1 > best.1 + 1e-9 { one } else { best })?;
    (most.1 >= 0.02).then_some(most.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn says(kind: Kind, name: Name, log: f64) -> Testimony {
        Testimony::new(kind, &[name], |state| if state.has(name) { log } else { 0.0 })
    }

    #[test]
    fn a_test_that_says_nothing_changes_nothing() {
        let one = says(Kind::Return, Name::Slip, 4.0);
        let silent = Testimony::new(Kind::Return, &[Name::Slip], |_| 7.0);
        let (alone, both) = (weigh(&[&one], None), weigh(&[&one, &silent], None));
        for ((name, a), (other, b)) in alone.iter().zip(both.iter()) {
            assert_eq!(name, other);
            assert!((a - b).abs() < 1e-12, "{name:?}: {a} {b}");
        }
        assert!((factor(&[&one, &silent], 1, Name::Slip) - 1.0).abs() < 1e-9);
    }

    #[test]
    fn how_common_a_cause_is_counts_once() {
        let one = says(Kind::Return, Name::Slip, 2.0);
        let log_odds = |weights: &Weights| libm::log(weights.of(Name::Slip) / weights.of(Name::NoneShown));
        let (single, double) = (weigh(&[&one], None), weigh(&[&one, &one], None));
        let prior = -3.0;
        assert!((log_odds(&single) - (prior + 2.0)).abs() < 0.01, "{single:?}");
        assert!((log_odds(&double) - (prior + 4.0)).abs() < 0.01, "{double:?}");
    }

    #[test]
    fn no_test_overrules_all_others_by_itself() {
        let for_it = says(Kind::Return, Name::Slip, 500.0);
        let against = says(Kind::Reversal, Name::Slip, -500.0);
        let weights = weigh(&[&for_it, &for_it, &against], None);
        assert!(weights.of(Name::Slip) > 0.9, "{weights:?}");
    }

    #[test]
    fn two_causes_at_once_have_half_each() {
        let (one, other) =
            (says(Kind::Return, Name::Slip, 90.0), says(Kind::PushPull, Name::Clearance, 90.0));
        let weights = weigh(&[&one, &other], None);
        for name in [Name::Slip, Name::Clearance] {
            assert!((weights.of(name) - 0.5).abs() < 0.01, "{weights:?}");
            assert!(weights.there(name) > 0.99, "{weights:?}");
        }
        let likely = weights.likely().next().unwrap();
        assert!(likely.causes() == [Name::Clearance, Name::Slip] && likely.probability > 0.99, "{weights:?}");
        assert!((weights.iter().map(|one| one.1).sum::<f64>() - 1.0).abs() < 1e-12);
    }

    // By hand: slip has the odds e^(9 - 3), a gap e^(1.5 - 1) against none, and the one says nothing of the other.
    #[test]
    fn the_likeliest_states_come_with_their_probabilities() {
        let slips = says(Kind::Return, Name::Slip, 9.0);
        let gap = says(Kind::PushPull, Name::Clearance, 1.5);
        let weights = weigh(&[&slips, &gap], None);
        let odds = |log: f64| libm::exp(log) / (1.0 + libm::exp(log));
        let (slip, clearance) = (odds(9.0 - 3.0), odds(1.5 - 1.0));
        assert!((weights.there(Name::Slip) - slip).abs() < 0.002, "{weights:?}");
        assert!((weights.there(Name::Clearance) - clearance).abs() < 0.002, "{weights:?}");
        assert!(
            (weights.there(Name::NoneShown) - (1.0 - slip) * (1.0 - clearance)).abs() < 0.002,
            "{weights:?}"
        );
        let likely: Vec<&Likely, 3> = weights.likely().collect();
        let both = likely.first().unwrap();
        assert_eq!(both.causes(), [Name::Clearance, Name::Slip]);
        assert!((both.probability - slip * clearance).abs() < 0.002, "{likely:?}");
        let alone = likely.get(1).unwrap();
        assert_eq!(alone.causes(), [Name::Slip]);
        assert!((alone.probability - slip * (1.0 - clearance)).abs() < 0.002, "{likely:?}");
    }

    #[test]
    fn the_next_test_tells_what_is_open() {
        let open = |a, b| Weights::of_shares(&[(a, 0.5), (b, 0.5)]);
        let next = |a, b, taken: &[Kind]| next(&open(a, b), taken);
        assert_eq!(next(Name::Clearance, Name::WindUp, &[Kind::Reversal]), Some(Kind::SmallSteps));
        assert_eq!(next(Name::LeadError, Name::Clearance, &[Kind::Reversal]), Some(Kind::Positioning));
        let sure = Weights::of_shares(&[(Name::Clearance, 0.999), (Name::WindUp, 0.001)]);
        assert_eq!(super::next(&sure, &[Kind::Reversal]), None);
    }
}

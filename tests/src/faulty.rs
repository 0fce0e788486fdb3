//! Simulated axes with one fault or two, of a size between 0.02 and 0.3 mm, and the tests taken on them.

use takeup_core::axis::Direction;
use takeup_core::length::Length;
use takeup_core::measure::cause::{Causes, Name, of_positioning, of_reversal};
use takeup_core::measure::positioning;
use takeup_core::measure::reversal::{Reading, assess};
use takeup_core::measure::routine::{PositioningPlan, ReversalPlan, Step};
use takeup_core::measure::{Kind, Setup};
use takeup_core::slack::simulated::{Dial, Faults, Noise, SimulatedAxis, Worn};

/// The pitch of every screw here, in mm.
pub const PITCH_MM: f64 = 5.0;
const STATIONS_MM: [f64; 4] = [0.0, -40.0, -80.0, -120.0];
// Not whole turns of the screw, as the standard asks.
const TARGETS_MM: [f64; 11] = [0.0, 31.3, 58.9, 91.7, 122.1, 148.6, 181.2, 208.4, 241.9, 270.3, 299.5];

/// Adds a fault of a size in mm to an axis and its dial. Over how long a growth settles is drawn from the noise.
pub fn add(fault: Name, size_mm: f64, kind: Kind, faults: &mut Faults, dial: &mut Dial, noise: &mut Noise) {
    let (centre_mm, reach_mm, seconds) = match kind {
        Kind::Positioning => (noise.between(80.0, 220.0), noise.between(60.0, 120.0), 600.0),
        _ => (noise.between(-90.0, -30.0), noise.between(45.0, 80.0), 320.0),
    };
    match fault {
        Name::Clearance => faults.clearance_mm += size_mm,
        Name::WindUp => faults.wind_up_mm += size_mm,
        Name::Slip => {
            faults.slip_mm = size_mm;
            faults.slip_scatter_mm = 0.5 * size_mm;
        }
        Name::WornTravel => faults.worn = Worn { extra_mm: size_mm, centre_mm, reach_mm },
        Name::LeadError => {
            faults.lead_error = size_mm / 300.0 * if noise.chance(0.5) { 1.0 } else { -1.0 };
        }
        Name::Periodic => {
            faults.periodic_mm = size_mm;
            faults.pitch_mm = PITCH_MM;
            faults.periodic_phase_deg = noise.between(-180.0, 180.0);
        }
        Name::Thermal => {
            // The size is what falls within the test.
            faults.growth_time_s = seconds * noise.between(0.5, 3.0);
            let share = 1.0 - (-seconds / faults.growth_time_s).exp();
            faults.growth_mm = size_mm / share * if noise.chance(0.5) { 1.0 } else { -1.0 };
        }
        Name::Sticking => faults.sticking_mm = size_mm,
        // A loose stand: readings scatter by half of what it gives way.
        Name::IndicatorSetup => dial.noise_mm = 0.5 * size_mm,
        Name::OverCorrected => faults.compensation_mm += size_mm,
        Name::NoneShown => {}
    }
}

/// The readings of a test on a faulty axis.
#[must_use]
pub fn readings(kind: Kind, faults: Faults, mut dial: Dial, noise: &mut Noise) -> Vec<Reading> {
    let mut axis = SimulatedAxis::new(faults, 10.0, Direction::Minus);
    take(kind, &mut axis, &mut dial, &mut 0.0, noise)
}

/// Takes a test on an axis, from a time in seconds on.
pub fn take(
    kind: Kind,
    axis: &mut SimulatedAxis,
    dial: &mut Dial,
    time_s: &mut f64,
    noise: &mut Noise,
) -> Vec<Reading> {
    let mm = |mm| Length::from_mm(mm).unwrap_or(Length::ZERO);
    let overrun = mm(1.0);
    let steps: Vec<Step> = match kind {
        Kind::Positioning => {
            PositioningPlan::new(&TARGETS_MM.map(mm), 5, overrun).map(|p| p.steps().collect())
        }
        _ => ReversalPlan::new(&STATIONS_MM.map(mm), 5, overrun).map(|p| p.steps().collect()),
    }
    .unwrap_or_default();
    let mut taken = Vec::new();
    for step in steps {
        match step {
            Step::Move { to, .. } => {
                *time_s += 4.0;
                axis.move_to_mm(to.as_mm(), *time_s, noise);
                dial.watch(axis.position_mm());
            }
            Step::Read(stop) => taken.push(Reading {
                target: stop.target,
                cycle: stop.cycle,
                approach: stop.approach,
                value_mm: dial.read_mm(axis.position_mm(), noise),
                time_s: None,
            }),
        }
    }
    taken
}

/// What a test says of an axis with the faults named, each of a size drawn under a seed.
///
/// # Panics
/// If the readings are refused.
#[must_use]
pub fn causes(kind: Kind, names: &[Name], seed: u64) -> Causes {
    let mut noise = Noise::new(seed);
    let mut faults = Faults::default();
    let mut dial = Dial { resolution_mm: 0.001, noise_mm: 0.002, ..Dial::default() };
    for &name in names {
        let size_mm = 0.02 * 15.0_f64.powf(noise.uniform());
        add(name, size_mm, kind, &mut faults, &mut dial, &mut noise);
    }
    let readings = readings(kind, faults, dial, &mut noise);
    let setup = Setup { resolution_mm: 0.001, pitch_mm: Some(PITCH_MM), ..Setup::default() };
    if kind == Kind::Positioning {
        let (result, shown) = positioning::assess::<11>(&readings[..], &setup)
            .unwrap_or_else(|refused| panic!("seed {seed} of {names:?}: {refused}"));
        of_positioning(&result, &shown, &setup)
    } else {
        let result = assess::<4>(&readings[..], &setup)
            .unwrap_or_else(|refused| panic!("seed {seed} of {names:?}: {refused}"));
        of_reversal(&result, &setup)
    }
}

/// Which causes are named first, over seeds: how often all of `names` are among as many, and what else is.
#[must_use]
pub fn tally(kind: Kind, names: &[Name], seeds: u64) -> (f64, std::collections::BTreeMap<String, u64>) {
    let mut named = std::collections::BTreeMap::new();
    let mut right = 0;
    for seed in 0..seeds {
        let causes = causes(kind, names, seed);
        let first: Vec<Name> = causes.iter().take(names.len()).map(|c| c.cause).collect();
        if names.iter().all(|name| first.contains(name)) {
            right += 1;
        }
        let words: Vec<&str> = first.iter().map(|name| name.name()).collect();
        *named.entry(words.join("+")).or_insert(0) += 1;
    }
    (right as f64 / seeds as f64, named)
}

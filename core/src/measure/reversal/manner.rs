//! How likely the readings are under each manner in which a place may wander.
//!
//! A machine that grows moves smoothly in time; a drive that slips moves at each lift, by amounts that scatter, and
//! holds in between; a loose stand scatters every reading for itself. Each manner is a model of the readings with
//! its sizes integrated out over a few orders of magnitude, as in [`average`](super::average).

use super::Station;
use super::average::Mean;
use super::evidence::{Evidence, LOOSE, SOUND};
use super::model::{Clock, Drift, Ratios, Sitting};

/// Logarithms of the likelihood of the readings, sizes integrated out, but for what all have in common.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Manners {
    /// The place holds, as far as a dial can tell.
    pub holds: f32,
    /// The place moves smoothly in time.
    pub grows: f32,
    /// The place moves at each lift.
    pub slips: f32,
    /// Every reading scatters for itself, more than a dial that is read with care.
    pub scatters: f32,
}

const fn at(walk: f64, size: f64, bend: f64) -> Ratios {
    Ratios { walk, drift: Drift { size, bend } }
}

const HOLDS: [Ratios; 3] = [at(0.0, 0.0, 0.0), at(0.0, 0.1, 0.0), at(0.03, 0.0, 0.0)];
const GROWS: [Ratios; 8] = [
    at(0.0, 0.3, 0.0),
    at(0.0, 1.0, 0.0),
    at(0.0, 5.0, 0.0),
    at(0.0, 50.0, 0.0),
    at(0.0, 0.3, 0.7),
    at(0.0, 1.0, 0.7),
    at(0.0, 5.0, 0.7),
    at(0.0, 50.0, 0.7),
];
// From one lift to the next: by the size of what is lost each time, which scatters by a fourth or by most of itself.
const SLIPS: [Ratios; 8] = [
    at(0.5, 3.0, 0.0),
    at(4.0, 3.0, 0.0),
    at(6.0, 10.0, 0.0),
    at(50.0, 10.0, 0.0),
    at(60.0, 30.0, 0.0),
    at(500.0, 30.0, 0.0),
    at(600.0, 100.0, 0.0),
    at(5000.0, 100.0, 0.0),
];

/// The manners, and in each station the lost motion if the drive slips.
pub(super) fn weigh(sitting: &mut Sitting<'_>, stations: &mut [Station]) -> Manners {
    let mean =
        |sitting: &Sitting<'_>, stations: &[Station], list: &[Ratios], log: &dyn Fn(Evidence) -> f64| {
            let mut mean = Mean::<0>::new();
            for &ratios in list {
                if let Some(evidence) = sitting.evidence(stations, ratios) {
                    mean.take(log(evidence), []);
                }
            }
            mean.log_total() - libm::log(list.len() as f64)
        };
    let beforehand = sitting.beforehand;
    let belief = beforehand.belief(&SOUND);
    let sound = |evidence: Evidence| evidence.under(&belief, beforehand.least).log;
    let giving_way = beforehand.belief(&LOOSE);
    let loose = |evidence: Evidence| evidence.under(&giving_way, beforehand.least).log;
    let holds = mean(sitting, stations, &HOLDS, &sound);
    let grows = mean(sitting, stations, &GROWS, &sound);
    let scatters = mean(sitting, stations, &HOLDS, &loose);
    sitting.clock = Clock::Lifts;
    let slips = mean(sitting, stations, &SLIPS, &sound);
    let mut best: Option<(f64, Ratios, f64)> = None;
    for ratios in SLIPS {
        let Some(evidence) = sitting.evidence(stations, ratios) else { continue };
        let noise = evidence.under(&belief, beforehand.least);
        if best.is_none_or(|(most, ..)| noise.log > most) {
            best = Some((noise.log, ratios, noise.variance));
        }
    }
    for station in stations.iter_mut() {
        let fit = best.and_then(|(_, r, _)| sitting.condense(station.target, r.walk).fit(r.drift));
        let noise = best.map_or(beforehand.usual, |(.., variance)| variance);
        let slipping = fit.map(|fit| (-fit.reversal, libm::sqrt(fit.cofactor * noise)));
        let (value, u) = slipping.unwrap_or((station.lost_motion.value, station.repeatability_mm));
        station.slipping_mm = (value as f32, u as f32);
    }
    sitting.clock = Clock::Rows;
    Manners { holds: holds as f32, grows: grows as f32, slips: slips as f32, scatters: scatters as f32 }
}

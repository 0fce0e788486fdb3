//! What a reversal test, and a positioning test, can tell of the cause.

use super::{
    Cause, Causes, Evidence, Name, SIZES_MM, UNCOMMON, admit, effect_log_odds, effect_of, sort_by_weight,
};
use crate::measure::positioning::Positioning;
use crate::measure::reversal::{Assessment, Station};
use crate::measure::uncertainty::Source;
use crate::measure::{Kind, Setup};
use heapless::Vec;

/// The likely causes as far as a reversal test can tell.
///
/// The readings are compared under every pair of a *shape* of lost motion (none, the same everywhere,
/// different along the travel, negative) and a *manner* of wandering (steady, growing, slipping, the
/// indicator). A cause has the weight of all pairs that hold it; where a pair holds two, each has half.
#[must_use]
pub fn of_reversal<const S: usize>(result: &Assessment<S>, setup: &Setup) -> Causes {
    weigh(result, setup, |_| 0.0)
}

/// The causes; `known_mm` is the part of a station's lost motion that has another reason.
fn weigh<const S: usize>(
    result: &Assessment<S>,
    setup: &Setup,
    known_mm: impl Fn(&Station) -> f64,
) -> Causes {
    let told = told(result, known_mm);
    let pairs = || {
        MANNERS.iter().zip(&told).flat_map(|(&(manner, rare), shapes)| {
            let of = move |(&(shape, rarer), log): (&(Name, f64), &f64)| (shape, manner, log + rare + rarer);
            SHAPES.iter().zip(shapes).map(of)
        })
    };
    let mut weights = Name::ALL.map(|name| (name, 0.0));
    let top = pairs().map(|pair| pair.2).fold(f64::NEG_INFINITY, f64::max);
    let mut total = 0.0;
    for (shape, manner, log) in pairs() {
        let weight = libm::exp(log - top);
        total += weight;
        let faults = if shape == Name::NoneShown || manner == Name::NoneShown { 1.0 } else { 2.0 };
        let sound = shape == Name::NoneShown && manner == Name::NoneShown;
        for slot in &mut weights {
            let held = slot.0 == shape || slot.0 == manner;
            if held && (slot.0 != Name::NoneShown || sound) {
                slot.1 += weight / faults;
            }
        }
    }
    let mut causes = Causes::new();
    for (name, weight) in weights {
        if weight > 0.0 {
            let (evidence, next) = argue(name, result, setup);
            // Eleven causes, room for eleven.
            let _ = causes.push(Cause { cause: name, weight: weight / total, evidence, next });
        }
    }
    sort_by_weight(&mut causes);
    causes
}

/// The log likelihood of the readings under each pair of [`MANNERS`] and [`SHAPES`]; `known_mm` is the part of a
/// station's lost motion that has another reason.
pub(super) fn told<const S: usize>(
    result: &Assessment<S>,
    known_mm: impl Fn(&Station) -> f64,
) -> [[f64; 5]; 4] {
    let steady = shapes(result, 0.0, |s| (s.lost_motion.value - known_mm(s), s.repeatability_mm));
    let slipping = slipping(result, 0.0, &known_mm);
    let [holds, grows, slips, scatters] = manners(result);
    [(holds, steady), (grows, steady), (slips, slipping), (scatters, steady)]
        .map(|(manner, shapes)| shapes.map(|shape| shape + manner))
}

/// The shapes where a drive slips: that shifts one approach against the other, and that is not lost motion.
fn slipping<const S: usize>(
    result: &Assessment<S>,
    grown_mm: f64,
    known_mm: impl Fn(&Station) -> f64,
) -> [f64; 5] {
    shapes(result, grown_mm, |s| (f64::from(s.slipping_mm.0) - known_mm(s), f64::from(s.slipping_mm.1)))
}

/// The shapes where a drive slips and the machine grows. Slip is lost between one cycle and the next, so that what grows
/// between the two approaches of a cycle is all that is seen of growth; and it looks like lost motion of either sign.
pub(super) fn told_of_both<const S: usize>(
    result: &Assessment<S>,
    known_mm: impl Fn(&Station) -> f64,
) -> [f64; 5] {
    let [holds, grows, slips, _] = manners(result);
    let sizes = GROWN_MM.map(|(grown, share)| {
        let weight = libm::log(share * GROWN_MM.len() as f64);
        slipping(result, grown, &known_mm).map(|shape| shape + weight)
    });
    let mut shapes = [0.0; 5];
    for (n, shape) in shapes.iter_mut().enumerate() {
        *shape = log_mean(sizes.map(|of| of.get(n).copied().unwrap_or(f64::NEG_INFINITY)));
        *shape += libm::fmax(slips, libm::fmax(grows, holds));
    }
    shapes
}

/// The usual size of a lead error over the span of a test, and of a periodic error, mm.
const LEAD_MM: f64 = 0.05;
const PERIODIC_MM: f64 = 0.02;

/// The errors of the screw: how much likelier each is there than not, as a logarithm, and its evidence.
pub(super) fn of_screw(positioning: &Positioning) -> [Option<(Name, f64, Evidence)>; 2] {
    let lead = positioning.lead_error.map(|per_length| {
        let span_mm = positioning.span_mm;
        let log_odds = effect_log_odds(&per_length.scaled(span_mm), LEAD_MM);
        (Name::LeadError, log_odds, Evidence::LeadError { per_length, span_mm })
    });
    let periodic = positioning.periodic.map(|periodic| {
        let log_odds = effect_of(2.0, &periodic.amplitude, PERIODIC_MM);
        (Name::Periodic, log_odds, Evidence::PeriodicError(periodic.amplitude))
    });
    [lead, periodic]
}

/// What a periodic error adds to the lost motion of a station: it is seen at two places of a turn, a lost motion apart,
/// when approached from both sides.
pub(super) fn by_screw_mm<const S: usize>(
    result: &Assessment<S>,
    positioning: &Positioning,
    setup: &Setup,
    station: &Station,
) -> f64 {
    let (Some(pitch), Some(periodic)) = (setup.pitch_mm, positioning.periodic) else { return 0.0 };
    let turn = 2.0 * core::f64::consts::PI / pitch;
    let phase = turn * station.target.as_mm() + periodic.phase_deg * core::f64::consts::PI / 180.0;
    2.0 * periodic.amplitude.value * libm::cos(phase) * libm::sin(0.5 * turn * result.lost_motion.value)
}

/// The likely causes as far as a positioning test can tell: those of its reversal values, and with
/// them the errors of the screw, each for itself there or not.
#[must_use]
pub fn of_positioning<const S: usize>(
    result: &Assessment<S>,
    positioning: &Positioning,
    setup: &Setup,
) -> Causes {
    let mut causes = weigh(result, setup, |station| by_screw_mm(result, positioning, setup, station));
    for (name, log_odds, evidence) in of_screw(positioning).into_iter().flatten() {
        admit(&mut causes, name, log_odds + UNCOMMON, evidence);
    }
    sort_by_weight(&mut causes);
    causes
}

/// How much lost motion differs along a worn travel, mm.
const WEAR_MM: [f64; 4] = [0.01, 0.03, 0.1, 0.3];
/// What a machine grows from one reading to the next while a test is taken, mm.
const GROWTH_STEP_MM: f64 = 0.001;
/// What it grows between the two approaches to a station, where it is not told from slip, mm, and the share of machines that
/// do: the approaches are a reading apart or, where runs go over the travel, a run (common practice, no source).
const GROWN_MM: [(f64, f64); 4] = [(0.0005, 0.3), (0.002, 0.4), (0.008, 0.25), (0.03, 0.05)];

/// The shapes of lost motion, and how common each is, as a logarithm. A gap is commoner than wind-up.
pub(super) const SHAPES: [(Name, f64); 5] = [
    (Name::NoneShown, 1.0),
    (Name::Clearance, 0.0),
    (Name::WindUp, -1.5),
    (Name::OverCorrected, -0.7),
    (Name::WornTravel, -1.0),
];
/// The manners of wandering, likewise.
pub(super) const MANNERS: [(Name, f64); 4] =
    [(Name::NoneShown, 2.0), (Name::Thermal, 0.0), (Name::Slip, -1.0), (Name::IndicatorSetup, -0.5)];

/// The log likelihood of the stations under each of the [`SHAPES`]; `lost` gives a station's lost motion and the part of
/// its uncertainty that is its own. With growth between the two approaches, of a size in mm and either sign, all are off
/// by much the same, and each by half as much for itself, since machines grow ever slower.
fn shapes<const S: usize>(
    result: &Assessment<S>,
    grown_mm: f64,
    lost: impl Fn(&Station) -> (f64, f64),
) -> [f64; 5] {
    // What does not differ from station to station.
    let shared = result
        .budget
        .iter()
        .filter(|p| matches!(p.source, Source::IndicatorError | Source::IndicatorHysteresis))
        .map(|p| p.standard_uncertainty * p.standard_uncertainty)
        .sum::<f64>();
    let grown2 = grown_mm * grown_mm;
    let own = |station: &Station| {
        let repeatability = lost(station).1;
        // A t distribution has wider tails than a normal one of its scale.
        let wide = result.repeatability_dof / libm::fmax(result.repeatability_dof - 2.0, 0.5);
        repeatability * repeatability * libm::fmax(wide, 1.0)
            + station.rounding_mm * station.rounding_mm
            + 0.25 * grown2
            + 1e-8
    };
    let (mut weight, mut sum, mut logs) = (0.0, 0.0, 0.0);
    for station in &result.stations {
        let w = 1.0 / own(station);
        weight += w;
        sum += w * lost(station).0;
        logs += 0.5 * libm::log(w);
    }
    let centre = sum / weight;
    let chi2 = |about: f64| {
        result.stations.iter().map(|s| (lost(s).0 - about) * (lost(s).0 - about) / own(s)).sum::<f64>()
    };
    // What spreads the common value beyond the readings' own weight, shared, is a factor of all shapes and left out; but
    // not what growth spreads it by, since that is there or not.
    let variance = 1.0 / weight + shared + grown2;
    let grows = -0.5 * libm::log(variance / (1.0 / weight + shared));
    let left_out = 0.5 * libm::log(2.0 * core::f64::consts::PI * variance);
    let same = logs - 0.5 * chi2(centre);
    let none = same - 0.5 * centre * centre / variance;
    let clearance = same + any_size(centre, variance) + left_out;
    let over_corrected = same + any_size(-centre, variance) + left_out;
    // The stations differ by any of the sizes of wear, and the value they differ about is any size in proportion.
    let worn = |wear: f64| {
        let (mut weight_worn, mut sum, mut logs) = (0.0, 0.0, 0.0);
        for station in &result.stations {
            let w = 1.0 / (own(station) + wear * wear);
            weight_worn += w;
            sum += w * lost(station).0;
            logs += 0.5 * libm::log(w);
        }
        let about = sum / weight_worn;
        for station in &result.stations {
            let away = lost(station).0 - about;
            logs -= 0.5 * away * away / (own(station) + wear * wear);
        }
        // What the stations weigh together is less by the wear.
        logs + 0.5 * libm::log(weight / weight_worn)
            + any_size(about, 1.0 / weight_worn + shared + grown2)
            + left_out
    };
    let worn = if result.stations.len() > 1 { log_mean(WEAR_MM.map(worn)) } else { f64::NEG_INFINITY };
    // A reversal test sees wind-up as it sees a gap.
    [none, clearance, clearance, over_corrected, worn].map(|shape| shape + grows)
}

/// The density of a centre with a variance if it is any size above 0, as a logarithm.
fn any_size(centre: f64, variance: f64) -> f64 {
    let size = libm::fmax(centre, SIZES_MM.0);
    let miss = centre - size;
    -0.5 * miss * miss / variance - libm::log(size * libm::log(SIZES_MM.1 / SIZES_MM.0))
}

/// The logarithm of the mean of numbers given by theirs.
fn log_mean<const N: usize>(logs: [f64; N]) -> f64 {
    let top = logs.into_iter().fold(f64::NEG_INFINITY, f64::max);
    top + libm::log(logs.into_iter().map(|log| libm::exp(log - top)).sum::<f64>() / N as f64)
}

/// What little growth, alike at all stations, can gain: much shows at each.
const MOST_TOGETHER: f64 = 15.0;

/// The log likelihood of the readings under each of the [`MANNERS`].
fn manners<const S: usize>(result: &Assessment<S>) -> [f64; 4] {
    let drift = result.drift;
    let [holds, grows, slips, scatters] =
        [drift.manners.holds, drift.manners.grows, drift.manners.slips, drift.manners.scatters]
            .map(f64::from);
    // Stations grow alike, which each for itself does not know.
    let u = drift.per_reading.standard_uncertainty;
    let rate = |spread: f64| {
        let v = u * u + spread * spread + 1e-12;
        -0.5 * (drift.per_reading.value * drift.per_reading.value / v + libm::log(v))
    };
    let together = (rate(GROWTH_STEP_MM) - rate(0.0)).min(MOST_TOGETHER);
    let grows = libm::fmax(grows, holds + together);
    let out = result.set_aside.len() as f64;
    let misread = |share: f64| out * libm::log(share) + f64::from(result.used) * libm::log(1.0 - share);
    let usual = misread(0.05);
    let scatters = libm::fmax(scatters + usual, holds + misread(0.3));
    [holds + usual, grows + usual, slips + usual, scatters]
}

/// The numbers that speak for a cause, and the test that would tell most.
fn argue<const S: usize>(
    name: Name,
    result: &Assessment<S>,
    setup: &Setup,
) -> (Vec<Evidence, 4>, Option<Kind>) {
    let lost = result.lost_motion;
    let shown = libm::fabs(lost.value) > lost.expanded_95();
    let seen = if shown { Evidence::LostMotionShown(lost) } else { Evidence::LostMotionNotShown(lost) };
    let s_mm = result.repeatability_mm;
    let repeats = Evidence::Repeats { s_mm };
    let scatters = Evidence::DoesNotRepeat { s_mm, indicator_mm: 0.3 * setup.resolution_mm };
    let (least, most) = result
        .stations
        .iter()
        .map(|s| s.lost_motion.value)
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| (libm::fmin(a, v), libm::fmax(b, v)));
    let widest = result.stations.iter().map(|s| s.lost_motion.expanded_95()).fold(0.0, f64::max);
    let expanded_mm = widest * core::f64::consts::SQRT_2;
    let difference_mm = most - least;
    let along = (result.stations.len() > 1).then_some(if difference_mm > expanded_mm {
        Evidence::DiffersAlongTravel { difference_mm, expanded_mm }
    } else {
        Evidence::SameAlongTravel { difference_mm, expanded_mm }
    });
    let drifted = Evidence::Drifted { over_test_mm: result.drift.over_test_mm };
    let hysteresis = (setup.hysteresis_mm > 0.0)
        .then_some(Evidence::WithinHysteresis { hysteresis_mm: setup.hysteresis_mm });
    let count = result.set_aside.len() as u32;
    let out = (count > 0).then_some(Evidence::SetAside { count, of: result.used.saturating_add(count) });
    let (list, next) = match name {
        Name::Clearance => (
            [Some(seen), Some(repeats), along, Some(Evidence::NotTold { from: Name::WindUp })],
            Some(Kind::SmallSteps),
        ),
        Name::WindUp => (
            [Some(seen), Some(Evidence::NotTold { from: Name::Clearance }), None, None],
            Some(Kind::SmallSteps),
        ),
        Name::WornTravel => ([Some(seen), along, Some(repeats), None], Some(Kind::Positioning)),
        Name::OverCorrected => {
            let negative = (lost.value < 0.0).then_some(Evidence::NegativeLostMotion(lost));
            ([negative, Some(repeats), along, None], None)
        }
        Name::Slip => ([Some(drifted), Some(scatters), None, None], Some(Kind::Return)),
        Name::Thermal => ([Some(drifted), Some(repeats), None, None], Some(Kind::WarmUp)),
        Name::IndicatorSetup => ([Some(scatters), out, hysteresis, None], Some(Kind::Indicator)),
        Name::NoneShown => ([Some(seen), Some(repeats), hysteresis.filter(|_| !shown), None], None),
        Name::LeadError | Name::Periodic | Name::Sticking => ([None; 4], None),
    };
    (list.into_iter().flatten().collect(), next)
}

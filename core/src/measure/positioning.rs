//! The positioning test: target positions over the travel, runs up and runs down, one long scale.
//!
//! The figures are those of ISO 230-2:2014, recalled from memory: deviations of the runs up and down at
//! each target, their means and standard deviations with divisor n - 1, and
//!
//! - B = the largest |B_i|, its mean keeping the sign;
//! - R_i one way = 4 s_i; R_i = the largest of 2 s_i up + 2 s_i down + |B_i| and both one-way values;
//! - E = the range of the one-way means, M = the range of their means over both ways;
//! - A = from the largest mean + 2 s to the smallest mean - 2 s.
//!
//! R and A need two runs or more; one run each way gives the others.
//!
//! Lost motion, misread dials, drift and the budget come from [`reversal`]: each
//! target is a station of it. The lead error is the slope of a straight line through the targets' means, and
//! the periodic error a sine of the screw's pitch fitted along with it; their uncertainty is by the
//! targets' scatter about that curve, so that every other error of form counts, and by the scale itself.

mod one_run;

use crate::axis::Direction;
use crate::measure::regression::{Fit, LeastSquares};
use crate::measure::reversal::undithered;
use crate::measure::reversal::{self, Assessment, Group, NotEnough, Series, Station};
use crate::measure::uncertainty::{combine, rectangular};
use crate::measure::{Estimate, Setup};
use core::f64::consts::PI;

/// The edition whose formulas are used.
pub const EDITION: &str = "ISO 230-2:2014 (formulas recalled from memory)";

/// The figures of ISO 230-2, in millimetres.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Figures {
    /// Reversal value of the axis: the largest size.
    pub b_mm: f64,
    /// Mean reversal value, with its sign.
    pub b_mean_mm: f64,
    /// What repeated runs show; `None` where a target has only one reading left from an approach.
    pub repeated: Option<Repeated>,
    /// Systematic deviation, both ways.
    pub e_mm: f64,
    /// Systematic deviation of the runs up.
    pub e_plus_mm: f64,
    /// Systematic deviation of the runs down.
    pub e_minus_mm: f64,
    /// Range of the mean deviations of both ways together.
    pub m_mm: f64,
}

/// The figures of ISO 230-2 that need two or more runs, in millimetres.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Repeated {
    /// Repeatability, both ways.
    pub r_mm: f64,
    /// Repeatability of the runs up.
    pub r_plus_mm: f64,
    /// Repeatability of the runs down.
    pub r_minus_mm: f64,
    /// Accuracy, both ways.
    pub a_mm: f64,
    /// Accuracy of the runs up.
    pub a_plus_mm: f64,
    /// Accuracy of the runs down.
    pub a_minus_mm: f64,
}

/// An error that repeats with every turn of the screw: amplitude × sin(2π·position/pitch + phase).
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Periodic {
    /// Amplitude in millimetres.
    pub amplitude: Estimate,
    /// Phase in degrees, from -180 to 180.
    pub phase_deg: f64,
}

/// What a positioning test shows beyond its reversal values.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Positioning {
    /// The figures of the standard.
    pub figures: Figures,
    /// Length gained per length commanded; with three targets or more.
    pub lead_error: Option<Estimate>,
    /// The periodic error; with a pitch, and targets enough at different places of a turn.
    pub periodic: Option<Periodic>,
    /// The length from the first target to the last, in millimetres.
    pub span_mm: f64,
}

/// Assesses a positioning test. The stations of the assessment have their means relative to the one zero
/// of the test: the deviation of the first reading used.
pub fn assess<const S: usize>(
    readings: &(impl Series + ?Sized),
    setup: &Setup,
) -> Result<(Assessment<S>, Positioning), NotEnough> {
    let readings: &dyn Series = &readings;
    let mut result = if one_run::is_one::<S>(readings) {
        one_run::assess::<S>(readings, setup)?
    } else {
        reversal::assess::<S>(readings, setup)?
    };
    count_from_first_used(readings, setup, &mut result);
    let figures = figures(&result.stations);
    let (lead_error, periodic) = form(&result.stations, result.repeatability_mm, setup);
    let ends = result.stations.iter().map(|s| s.target.as_mm());
    let (low, high) = range(ends);
    Ok((result, Positioning { figures, lead_error, periodic, span_mm: high - low }))
}

/// Adds to each station's means, which count from its own first reading, what that reading deviates more than the first
/// of all used: then all count from that one.
fn count_from_first_used<const S: usize>(readings: &dyn Series, setup: &Setup, result: &mut Assessment<S>) {
    let motion = setup.motion_per_reading();
    let set_aside = &result.set_aside;
    let first_used = |station: Option<&Station>| {
        (0..readings.count())
            .filter(|i| !set_aside.iter().any(|s| usize::from(s.index) == *i))
            .filter_map(|i| readings.reading(i))
            .find(|r| station.is_none_or(|s| reversal::same_station(s.target, r.target)))
            .map(|r| motion * r.value_mm - r.target.as_mm())
    };
    let Some(zero) = first_used(None) else { return };
    for station in &mut result.stations {
        let offset = first_used(Some(station)).unwrap_or(zero) - zero;
        station.plus.mean_mm += offset;
        station.minus.mean_mm += offset;
    }
}

fn range(values: impl Iterator<Item = f64>) -> (f64, f64) {
    values
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (libm::fmin(low, v), libm::fmax(high, v)))
}

fn figures(stations: &[Station]) -> Figures {
    let means = |way| stations.iter().map(move |station| group(station, way).mean_mm);
    let (up, down) = (range(means(Direction::Plus)), range(means(Direction::Minus)));
    let middle = range(stations.iter().map(|t| 0.5 * (t.plus.mean_mm + t.minus.mean_mm)));
    Figures {
        b_mm: largest(stations.iter().map(|t| libm::fabs(t.reversal_mm))),
        b_mean_mm: stations.iter().map(|t| t.reversal_mm).sum::<f64>() / stations.len().max(1) as f64,
        repeated: repeated(stations),
        e_mm: libm::fmax(up.1, down.1) - libm::fmin(up.0, down.0),
        e_plus_mm: up.1 - up.0,
        e_minus_mm: down.1 - down.0,
        m_mm: middle.1 - middle.0,
    }
}

fn group(station: &Station, way: Direction) -> Group {
    match way {
        Direction::Plus => station.plus,
        Direction::Minus => station.minus,
    }
}

fn largest(values: impl Iterator<Item = f64>) -> f64 {
    values.fold(0.0, libm::fmax)
}

fn repeated(stations: &[Station]) -> Option<Repeated> {
    if stations.iter().any(|t| t.plus.s_mm.is_none() || t.minus.s_mm.is_none()) {
        return None;
    }
    // Every group has one, as was just seen.
    let twice = |station: &Station, way| 2.0 * group(station, way).s_mm.unwrap_or(f64::NAN);
    let (plus, minus) = (Direction::Plus, Direction::Minus);
    let one_way = |way| largest(stations.iter().map(|t| 2.0 * twice(t, way)));
    let both = largest(stations.iter().map(|t| twice(t, plus) + twice(t, minus) + libm::fabs(t.reversal_mm)));
    let high = |way| range(stations.iter().map(move |t| group(t, way).mean_mm + twice(t, way))).1;
    let low = |way| range(stations.iter().map(move |t| group(t, way).mean_mm - twice(t, way))).0;
    let (r_plus_mm, r_minus_mm) = (one_way(plus), one_way(minus));
    Some(Repeated {
        r_mm: libm::fmax(both, libm::fmax(r_plus_mm, r_minus_mm)),
        r_plus_mm,
        r_minus_mm,
        a_mm: libm::fmax(high(plus), high(minus)) - libm::fmin(low(plus), low(minus)),
        a_plus_mm: high(plus) - low(plus),
        a_minus_mm: high(minus) - low(minus),
    })
}

/// Lead and periodic error from the targets' means over both ways, in which drift that is steady over a run
/// up and a run down cancels. `s_mm` is the standard deviation of one reading.
fn form(stations: &[Station], s_mm: f64, setup: &Setup) -> (Option<Estimate>, Option<Periodic>) {
    let (low, high) = range(stations.iter().map(|s| s.target.as_mm()));
    let (centre, half_span) = (0.5 * (low + high), 0.5 * (high - low));
    if half_span <= 0.0 {
        return (None, None);
    }
    let mut line = LeastSquares::<2>::new();
    let mut wave = LeastSquares::<4>::new();
    for station in stations {
        let at = station.target.as_mm();
        let along = (at - centre) / half_span;
        let mean = 0.5 * (station.plus.mean_mm + station.minus.mean_mm);
        line.add([1.0, along], mean);
        if let Some(pitch) = setup.pitch_mm {
            let turn = 2.0 * PI * at / pitch;
            wave.add([1.0, along, libm::sin(turn), libm::cos(turn)], mean);
        }
    }
    let told = |dof: f64| dof >= 1.0;
    let wave = wave.solve().ok().filter(|fit| told(fit.dof) && well_spread(fit, stations.len()));
    let slope = match wave {
        Some(fit) => Some(fit.estimate(1)),
        None => line.solve().ok().filter(|fit| told(fit.dof)).map(|fit| fit.estimate(1)),
    };
    // What does not average out, in the curve from its middle to an end or a crest: half of the indicator's error over the
    // span, and of a step of the dial, since readings that all round alike hide a curve of that height.
    let error = (0.5 * rectangular(setup.indicator_error_mm) * setup.cosine(), f64::INFINITY);
    let rounding = (undithered(setup.resolution_mm * setup.cosine(), s_mm), f64::INFINITY);
    let whole = |own: Estimate| combine(own.value, [(own.standard_uncertainty, own.dof), error, rounding]);
    // A scale that is not parallel to the axis is a lead error of its own.
    let parallel = (setup.scale_alignment_share(), f64::INFINITY);
    let lead_error = slope.map(|slope| {
        let own = whole(slope).scaled(1.0 / half_span);
        combine(own.value, [(own.standard_uncertainty, own.dof), parallel])
    });
    let periodic = wave.map(|fit| {
        let own = periodic(&fit);
        Periodic { amplitude: whole(own.amplitude), ..own }
    });
    (lead_error, periodic)
}

/// Whether the targets lie at places of a turn different enough to tell a sine: else the coefficients'
/// variance is many times that of well-spread targets, 2 / n.
fn well_spread(fit: &Fit<4>, count: usize) -> bool {
    let usual = 2.0 / count as f64;
    fit.cofactor(2, 2) < 10.0 * usual && fit.cofactor(3, 3) < 10.0 * usual
}

fn periodic(fit: &Fit<4>) -> Periodic {
    let (sine, cosine) = (fit.coefficient(2), fit.coefficient(3));
    let amplitude = libm::hypot(sine, cosine);
    // The direction of the amplitude in the plane of both coefficients; either serves for none at all.
    let (a, b) = if amplitude > 0.0 { (sine / amplitude, cosine / amplitude) } else { (1.0, 0.0) };
    let variance = a * a * fit.cofactor(2, 2) + 2.0 * a * b * fit.cofactor(2, 3) + b * b * fit.cofactor(3, 3);
    let standard_uncertainty = libm::sqrt(libm::fmax(variance, 0.0) * fit.variance());
    Periodic {
        amplitude: Estimate { value: amplitude, standard_uncertainty, dof: fit.dof },
        phase_deg: libm::atan2(cosine, sine) * 180.0 / PI,
    }
}

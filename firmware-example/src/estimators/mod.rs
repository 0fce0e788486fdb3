//! Every estimator on readings that are held in flash, for a microcontroller and a host to compare: each gives the numbers
//! that it publishes.
//!
//! The [`readings`] are what simulated axes gave on a host; a test makes them again.

pub mod readings;

use readings::{INDICATOR, POSITIONING, PUSH_PULL, RETURNS, REVERSAL, SMALL_STEPS, WARM_UP};
use takeup_core::axis::Direction;
use takeup_core::length::Length;
use takeup_core::measure::reversal::{Reading, Series};
use takeup_core::measure::{
    Estimate, Setup, indicator, positioning, push_pull, returns, reversal, small_steps, warm_up,
};

/// Takes the numbers one by one.
pub type Take<'a> = &'a mut dyn FnMut(f64);

/// The step of every dial here: one count of the readings, in millimetres.
const STEP_MM: f64 = 0.001;

fn setup() -> Setup {
    Setup { resolution_mm: STEP_MM, ..Setup::default() }
}

fn mm(counts: i32) -> f64 {
    f64::from(counts) * STEP_MM
}

fn each(estimate: &Estimate, take: Take<'_>) {
    take(estimate.value);
    take(estimate.standard_uncertainty);
    take(estimate.dof);
}

/// Counts of a test that visits targets in turn, `+` before `-`, as they lie in flash: the caller's storage is 2 bytes or 4
/// a reading.
struct Packed<'a, const N: usize> {
    counts: &'a [i32; N],
    target: fn(usize) -> (Length, u16, Direction),
}

impl<const N: usize> Series for Packed<'_, N> {
    fn count(&self) -> usize {
        N
    }

    fn reading(&self, index: usize) -> Option<Reading> {
        let value_mm = mm(*self.counts.get(index)?);
        let (target, cycle, approach) = (self.target)(index);
        Some(Reading { target, cycle, approach, value_mm, time_s: None })
    }
}

/// Of the reading at an index, where ten stations are visited one after another in ten cycles each.
fn ten_by_ten(index: usize) -> (Length, u16, Direction) {
    let (station, within) = (index / 20, index % 20);
    let approach = if within.is_multiple_of(2) { Direction::Plus } else { Direction::Minus };
    (Length::from_counts(station as i64 * -200_000), (within / 2) as u16 + 1, approach)
}

/// Ten stations, ten cycles. Nothing is given to `take` if the readings are refused; so it is for all.
pub fn of_reversal(take: Take<'_>) {
    let packed = Packed { counts: &REVERSAL, target: ten_by_ten };
    if let Ok(result) = reversal::assess::<10>(&packed, &setup()) {
        each(&result.lost_motion, take);
        result.stations.iter().for_each(|station| each(&station.lost_motion, take));
        take(result.repeatability_mm);
    }
}

/// The same readings, of which none is kept.
pub fn of_running(take: Take<'_>) {
    let setup = setup();
    let Ok(mut test) = reversal::Running::<10>::new(&setup) else { return };
    let readings = Packed { counts: &REVERSAL, target: ten_by_ten };
    for reading in (0..readings.count()).filter_map(|index| readings.reading(index)) {
        if test.take(&reading).is_err() {
            return;
        }
    }
    let estimates = core::iter::once(test.lost_motion()).chain(test.stations().map(|target| test.at(target)));
    estimates.flatten().for_each(|estimate| each(&estimate, take));
    test.repeatability_mm().into_iter().for_each(take);
}

/// Eleven targets, five runs each way, over 300 mm.
pub fn of_positioning(take: Take<'_>) {
    let place = |index: usize| {
        let (run, within) = (index / 22, index % 22);
        let (target, approach) =
            if within < 11 { (within, Direction::Plus) } else { (21 - within, Direction::Minus) };
        let target = readings::TARGETS.get(target).copied().unwrap_or(0);
        (Length::from_counts(i64::from(target) * 10_000), run as u16 + 1, approach)
    };
    let packed = Packed { counts: &POSITIONING, target: place };
    let setup = Setup { pitch_mm: Some(5.0), ..setup() };
    if let Ok((result, shown)) = positioning::assess::<11>(&packed, &setup) {
        each(&result.lost_motion, take);
        shown.lead_error.iter().for_each(|lead| each(lead, take));
        shown.periodic.iter().for_each(|periodic| each(&periodic.amplitude, take));
        let figures = &shown.figures;
        [figures.b_mm, figures.e_mm, figures.m_mm].into_iter().for_each(take);
    }
}

/// A staircase of thirty steps, twice up and down.
pub fn of_small_steps(take: Take<'_>) {
    let rows: heapless::Vec<small_steps::Reading, { SMALL_STEPS.len() }> = SMALL_STEPS
        .iter()
        .map(|&(target, up, counts)| small_steps::Reading {
            target: Length::from_counts(i64::from(target) * 1_000),
            approach: if up { Direction::Plus } else { Direction::Minus },
            value_mm: mm(counts),
            time_s: None,
        })
        .collect();
    if let Ok(result) = small_steps::assess(&rows, &setup()) {
        [&result.dead_band, &result.wind_up, &result.lost_motion, &result.drift_mm]
            .into_iter()
            .for_each(|estimate| each(estimate, take));
    }
}

/// Twenty returns with pauses.
pub fn of_returns(take: Take<'_>) {
    let rows: heapless::Vec<returns::Reading, { RETURNS.len() }> = RETURNS
        .iter()
        .map(|&(lift, counts, seconds)| returns::Reading {
            lift,
            value_mm: mm(counts),
            time_s: Some(f64::from(seconds)),
        })
        .collect();
    if let Ok(result) = returns::assess(&rows, &setup()) {
        each(&result.per_return, take);
        each(&result.scatter, take);
        if let returns::Trend::Apart { per_cycle, per_hour } = &result.trend {
            each(per_cycle, take);
            each(per_hour, take);
        }
    }
}

/// Pushes and pulls with a luggage scale.
pub fn of_push_pull(take: Take<'_>) {
    let rows: heapless::Vec<push_pull::Reading, { PUSH_PULL.len() }> = PUSH_PULL
        .iter()
        .map(|&(newtons, counts)| push_pull::Reading { force_n: f64::from(newtons), value_mm: mm(counts) })
        .collect();
    if let Ok(result) = push_pull::assess(&rows, &setup()) {
        each(&result.clearance, take);
        result.stiffness.iter().for_each(|stiffness| each(stiffness, take));
    }
}

/// One place while the machine warms up.
pub fn of_warm_up(take: Take<'_>) {
    let rows: heapless::Vec<warm_up::Reading, { WARM_UP.len() }> = WARM_UP
        .iter()
        .map(|&(seconds, counts)| warm_up::Reading { time_s: f64::from(seconds), value_mm: mm(counts) })
        .collect();
    if let Ok(result) = warm_up::assess(&rows, &setup()) {
        let parts = [result.amplitude, result.time_constant_s, result.left, Some(result.seen)];
        parts.iter().flatten().for_each(|estimate| each(estimate, take));
    }
}

/// The indicator against a fixed face.
pub fn of_indicator(take: Take<'_>) {
    let rows: heapless::Vec<indicator::Reading, { INDICATOR.len() }> = INDICATOR
        .iter()
        .map(|&(up, counts)| indicator::Reading {
            approach: Some(if up { Direction::Plus } else { Direction::Minus }),
            value_mm: mm(counts),
        })
        .collect();
    if let Ok(result) = indicator::assess(&rows, &setup()) {
        each(&result.s, take);
        result.hysteresis.iter().for_each(|hysteresis| each(hysteresis, take));
    }
}

/// No estimator at all: what printing and starting cost.
pub fn of_nothing(take: Take<'_>) {
    take(STEP_MM);
}

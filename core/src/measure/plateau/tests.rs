use super::*;
use crate::axis::Direction;
use crate::length::Length;
use crate::measure::routine::{PositioningPlan, ReversalPlan, Step};
use crate::slack::simulated::Noise;
use proptest::prelude::*;
use std::vec::Vec;

fn mm(mm: f64) -> Length {
    Length::from_mm(mm).unwrap()
}

/// A dial that follows an axis with a clearance, as a stream of samples.
struct Stream {
    rate_hz: f64,
    noise_mm: f64,
    settle_s: f64,
    lost_mm: f64,
    noise: Noise,
    samples: Vec<(f64, f64)>,
    time_s: f64,
    /// Where the dial is while it settles on where it ought to be.
    dial: f64,
    command: f64,
    axis: f64,
}

impl Stream {
    fn new(rate_hz: f64, noise_mm: f64, settle_s: f64, lost_mm: f64, seed: u64) -> Self {
        let noise = Noise::new(seed);
        let samples = Vec::new();
        Self {
            rate_hz,
            noise_mm,
            settle_s,
            lost_mm,
            noise,
            samples,
            time_s: 0.0,
            dial: 0.0,
            command: 0.0,
            axis: 0.0,
        }
    }

    fn sample(&mut self) {
        self.time_s += 1.0 / self.rate_hz;
        let share = if self.settle_s > 0.0 { 1.0 - (-1.0 / self.rate_hz / self.settle_s).exp() } else { 1.0 };
        self.dial += share * (self.axis - self.dial);
        let shown = self.dial + self.noise_mm * self.noise.normal();
        self.samples.push((self.time_s, shown));
    }

    fn hold(&mut self, seconds: f64) {
        for _ in 0..(seconds * self.rate_hz) as usize {
            self.sample();
        }
    }

    /// Moves at 5 mm/s; clearance as of reference seat `-`.
    fn go(&mut self, to: f64) {
        let step = 5.0 / self.rate_hz;
        while (to - self.command).abs() > 1e-9 {
            self.command += (to - self.command).clamp(-step, step);
            self.axis = self.axis.min(self.command).max(self.command - self.lost_mm);
            self.sample();
        }
    }
}

fn cut(samples: &[(f64, f64)], settings: Settings) -> Vec<Plateau> {
    let mut cutter = Cutter::new(settings).unwrap();
    let mut found: Vec<Plateau> =
        samples.iter().filter_map(|&(time_s, value)| cutter.take(time_s, value).unwrap()).collect();
    found.extend(cutter.finish());
    found
}

const SETTINGS: Settings = Settings { still_s: 1.0, step_mm: 0.3 };

/// What happens at a stop besides what the plan says.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Mishap {
    None,
    /// The dwell was too short to count.
    Missed,
    /// The way on from it was stopped half-way.
    Extra,
}

/// Runs a plan, and lays what is seen against it: row and value of each stop found.
fn run(
    plan: &ReversalPlan<'_>,
    mut stream: Stream,
    mishap: impl Fn(u32) -> Mishap,
) -> (Vec<(u32, f64)>, u32) {
    let mut found = Vec::new();
    let mut cutter = Cutter::new(SETTINGS).unwrap();
    let mut layout = Layout::new(|| plan.steps(), Zero::OfEachStation, 1.0, 0.4);
    let mut seen = 0;
    let mut extra = false;
    for step in plan.steps() {
        match step {
            Step::Move { to, .. } => {
                if std::mem::take(&mut extra) {
                    stream.go(0.5 * (stream.command + to.as_mm()));
                    stream.hold(3.0);
                }
                stream.go(to.as_mm());
            }
            Step::Read(stop) => {
                extra = mishap(stop.row) == Mishap::Extra;
                stream.hold(if mishap(stop.row) == Mishap::Missed { 0.1 } else { 3.0 });
            }
        }
        for (time_s, value) in stream.samples.split_off(0) {
            if let Some(plateau) = cutter.take(time_s, value).unwrap() {
                seen += 1;
                found.extend(layout.lay(plateau).iter().map(|l| (l.stop.row, l.plateau.value_mm)));
            }
        }
    }
    if let Some(plateau) = cutter.finish() {
        seen += 1;
        found.extend(layout.lay(plateau).iter().map(|l| (l.stop.row, l.plateau.value_mm)));
    }
    assert_eq!(seen as usize, found.len() + layout.extra() as usize, "every plateau is a row or an extra");
    (found, layout.extra())
}

#[test]
fn settling_does_not_enter_the_reading() {
    for rate_hz in [10.0, 50.0, 200.0] {
        let mut stream = Stream::new(rate_hz, 0.0005, 0.2, 0.0, 1);
        stream.hold(3.0);
        stream.go(1.0);
        stream.hold(4.0);
        let found = cut(&stream.samples, SETTINGS);
        assert_eq!(found.len(), 2, "{rate_hz} Hz");
        assert!((found[1].value_mm - 1.0).abs() < 0.003, "{rate_hz} Hz: {:?}", found[1]);
    }
}

#[test]
fn a_spike_neither_ends_a_plateau_nor_enters_it() {
    let mut samples: Vec<(f64, f64)> = (0..200).map(|i| (f64::from(i) * 0.02, 0.25)).collect();
    samples[120].1 = 3.0;
    let found = cut(&samples, SETTINGS);
    assert_eq!(found.len(), 1);
    assert!((found[0].value_mm - 0.25).abs() < 1e-12);
    assert!(found[0].samples > 170 && found[0].high_mm < 0.3);
}

#[test]
fn settings_and_samples_that_cannot_be_are_refused() {
    assert!(Cutter::new(Settings { still_s: 0.0, step_mm: 0.1 }).is_err());
    assert!(Cutter::new(Settings { still_s: 1.0, step_mm: f64::NAN }).is_err());
    let mut cutter = Cutter::new(SETTINGS).unwrap();
    assert_eq!(cutter.take(0.0, f64::NAN), Err(BadSample::NotFinite));
    assert_eq!(cutter.take(1.0, 0.0), Ok(None));
    assert_eq!(cutter.take(0.5, 0.0), Err(BadSample::TimeRunsBack));
    assert!(size_of::<Cutter>() < 512, "{} bytes", size_of::<Cutter>());
}

#[test]
fn stations_with_a_dial_moved_along_are_told_apart() {
    let stations = [mm(0.0), mm(-40.0)];
    let plan = ReversalPlan::new(&stations, 3, mm(1.0)).unwrap();
    let (found, _) = run(&plan, Stream::new(50.0, 0.001, 0.1, 0.12, 3), |_| Mishap::None);
    let rows: Vec<u32> = found.iter().map(|f| f.0).collect();
    assert_eq!(rows, (1..=12).collect::<Vec<_>>());
}

// The way from the end of the overrun to the first target is the same as that from each target to the next.
#[test]
fn targets_as_far_apart_as_the_overrun_is_long_are_told_from_its_end() {
    let targets = [mm(-2.0), mm(-1.0), mm(0.0)];
    let plan = PositioningPlan::new(&targets, 2, mm(1.0)).unwrap();
    let mut layout = Layout::new(|| plan.steps(), Zero::OfAll, 1.0, 0.4);
    let mut stream = Stream::new(50.0, 0.001, 0.1, 0.12, 5);
    let mut rows = Vec::new();
    for step in plan.steps() {
        match step {
            Step::Move { to, .. } => stream.go(to.as_mm()),
            Step::Read(_) => stream.hold(3.0),
        }
    }
    for plateau in cut(&stream.samples, SETTINGS) {
        rows.extend(layout.lay(plateau).iter().map(|laid| laid.stop.row));
    }
    assert_eq!(rows, (1..=12).collect::<Vec<_>>());
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(120))]

    // Any rate, noise, settling and lost motion; one stop missed or stopped at again: every other row is found, with its reading.
    #[test]
    fn rows_are_found_whatever_is_missed_or_added(
        seed in any::<u64>(), rate_hz in 10.0..200.0f64, noise_mm in 0.0..0.004f64, settle_s in 0.0..0.1f64,
        lost_mm in 0.0..0.3f64, row in 2..=9u32, kind in 0..3u8,
    ) {
        let stations = [mm(0.0)];
        let plan = ReversalPlan::new(&stations, 5, mm(1.0)).unwrap();
        let mishap = [Mishap::None, Mishap::Missed, Mishap::Extra][usize::from(kind)];
        let stream = Stream::new(rate_hz, noise_mm, settle_s, lost_mm, seed);
        let (found, _) = run(&plan, stream, |r| if r == row { mishap } else { Mishap::None });
        let expected: Vec<u32> = (1..=10).filter(|&r| r != row || mishap != Mishap::Missed).collect();
        let rows: Vec<u32> = found.iter().map(|f| f.0).collect();
        prop_assert_eq!(&rows, &expected, "{:?}", mishap);
        for stop in plan.stops() {
            let Some((_, value)) = found.iter().find(|f| f.0 == stop.row) else { continue };
            let truth = if stop.approach == Direction::Plus { -lost_mm } else { 0.0 };
            prop_assert!((value - truth).abs() < 0.006, "row {} {value} {truth}", stop.row);
        }
    }

    // Whatever comes, plateaus are in order, made of samples that came, and never more than the time allows.
    #[test]
    fn any_stream_is_cut_into_what_it_holds(values in prop::collection::vec(-2.0..2.0f64, 0..400)) {
        let samples: Vec<(f64, f64)> =
            values.iter().enumerate().map(|(i, &v)| (i as f64 * 0.05, if i % 40 < 25 { 0.0 } else { v })).collect();
        let found = cut(&samples, SETTINGS);
        let mut before = f64::NEG_INFINITY;
        for plateau in &found {
            prop_assert!(plateau.start_s > before && plateau.end_s >= plateau.start_s);
            prop_assert!(plateau.low_mm <= plateau.value_mm + 0.3 && plateau.high_mm >= plateau.value_mm - 0.3);
            before = plateau.end_s;
        }
        prop_assert!(found.len() <= samples.len() / 10);
    }
}

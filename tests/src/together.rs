//! Several tests of one sitting on one simulated axis, and what they say of the cause apart and together.

use crate::faulty::{PITCH_MM, add, take};
use takeup_core::axis::Direction;
use takeup_core::length::Length;
use takeup_core::measure::cause::joint::{Testimony, weigh};
use takeup_core::measure::cause::{Causes, Name, of_positioning, of_reversal};
use takeup_core::measure::routine::{LiftPlan, Pauses, StaircasePlan, Step};
use takeup_core::measure::{Kind, Setup, positioning, returns, reversal, small_steps};
use takeup_core::slack::simulated::{Dial, Faults, Noise, SimulatedAxis};

/// The machine, the dial on it, and the clock.
struct Bench {
    axis: SimulatedAxis,
    dial: Dial,
    noise: Noise,
    time_s: f64,
}

/// What one test says: by itself, and as a part of several.
#[derive(Clone, Debug)]
pub struct Said {
    /// The causes by this test alone.
    pub alone: Causes,
    /// What it adds.
    pub testimony: Testimony,
    /// The readings, as a file of Z.
    pub file: String,
}

const RESOLUTION_MM: f64 = 0.001;

fn setup() -> Setup {
    Setup { resolution_mm: RESOLUTION_MM, pitch_mm: Some(PITCH_MM), ..Setup::default() }
}

fn mm(mm: f64) -> Length {
    Length::from_mm(mm).unwrap_or(Length::ZERO)
}

/// A readings file of a kind of test: one row for each of target, approach, reading, time.
fn file(kind: Kind, rows: impl Iterator<Item = (Length, Direction, f64, Option<f64>)>) -> String {
    let mut text = format!(
        "# axis: Z\n# routine: {kind}\n# units: mm\n# resolution: {RESOLUTION_MM}\n# pitch: {PITCH_MM}\n"
    );
    text.push_str("target,approach,reading,time\n");
    for (target, approach, value_mm, time_s) in rows {
        let time = time_s.map_or(String::new(), |time| format!("{time}"));
        text.push_str(&format!("{},{approach},{value_mm:.3},{time}\n", target.as_mm()));
    }
    text
}

impl Bench {
    /// A staircase at the middle of the travel, as high as the lost motion found before it asks for. Where it is too short
    /// for what is lost, or the table is seen to jump over a good part of it at once, it is taken again with steps twice as
    /// high.
    fn staircase(&mut self, lost_mm: f64, scatter_mm: f64) -> Said {
        let mut step_mm = (0.125 * lost_mm.abs()).clamp(0.005, 0.05);
        loop {
            let plan = StaircasePlan::new(mm(-60.0), mm(step_mm), 30, 3, mm(1.0)).expect("a plan");
            let mut readings = Vec::new();
            for step in plan.steps() {
                match step {
                    Step::Move { to, .. } => self.go(to, 1.0),
                    Step::Read(stop) => readings.push(small_steps::Reading {
                        target: stop.target,
                        approach: stop.approach,
                        value_mm: self.dial.read_mm(self.axis.position_mm(), &mut self.noise),
                        time_s: Some(self.time_s),
                    }),
                }
            }
            let jump_mm = readings
                .windows(2)
                .map(|pair| (pair[1].value_mm - pair[0].value_mm).abs())
                .fold(0.0, f64::max);
            if jump_mm > (6.0 * step_mm).max(8.0 * scatter_mm) && step_mm < 0.1 {
                step_mm *= 2.0;
                continue;
            }
            match small_steps::assess_beside_others(&readings, &setup()) {
                Ok(result) => {
                    return Said {
                        alone: small_steps::causes(&result, &setup()),
                        testimony: Testimony::of_small_steps(&result, &setup()),
                        file: file(
                            Kind::SmallSteps,
                            readings.iter().map(|r| (r.target, r.approach, r.value_mm, None)),
                        ),
                    };
                }
                Err(small_steps::NotEnough::TooShort { .. }) if step_mm < 1.0 => step_mm *= 2.0,
                Err(refused) => panic!("{refused}"),
            }
        }
    }

    fn returns(&mut self) -> Said {
        let pauses = Pauses::Every { returns: 5, seconds: 300 };
        let plan = LiftPlan::new(mm(-60.0), mm(5.0), 20, pauses).expect("a plan");
        let mut readings = Vec::new();
        for step in plan.steps() {
            match step {
                Step::Move { to, .. } => {
                    let row = readings.len() as u32 + 1;
                    if to > mm(-60.0) {
                        self.time_s += plan.pause_before(row).map_or(0.0, f64::from);
                    }
                    let seconds = 10.0 * self.noise.between(0.9, 1.1);
                    self.go(to, seconds);
                }
                Step::Read(stop) => readings.push(returns::Reading {
                    lift: stop.cycle,
                    value_mm: self.dial.read_mm(self.axis.position_mm(), &mut self.noise),
                    time_s: Some(self.time_s.round()),
                }),
            }
        }
        let result = returns::assess(&readings, &setup()).expect("enough returns");
        let rows = readings.iter().map(|r| (mm(-60.0), Direction::Minus, r.value_mm, r.time_s));
        Said {
            alone: returns::causes(&result, &setup()),
            testimony: Testimony::of_returns(&result),
            file: file(Kind::Return, rows),
        }
    }

    /// A reversal or a positioning test, the lost motion that it found, and how its readings scatter.
    fn over_the_travel(&mut self, kind: Kind) -> (Said, f64, f64) {
        let readings = take(kind, &mut self.axis, &mut self.dial, &mut self.time_s, &mut self.noise);
        let file = file(kind, readings.iter().map(|r| (r.target, r.approach, r.value_mm, None)));
        if kind == Kind::Positioning {
            let (result, shown) =
                positioning::assess::<11>(&readings[..], &setup()).expect("enough readings");
            let said = Said {
                alone: of_positioning(&result, &shown, &setup()),
                testimony: Testimony::of_positioning(&result, &shown, &setup()),
                file,
            };
            (said, result.lost_motion.value, result.repeatability_mm)
        } else {
            let result = reversal::assess::<4>(&readings[..], &setup()).expect("enough readings");
            let said = Said {
                alone: of_reversal(&result, &setup()),
                testimony: Testimony::of_reversal(&result),
                file,
            };
            (said, result.lost_motion.value, result.repeatability_mm)
        }
    }

    fn go(&mut self, to: Length, seconds: f64) {
        self.time_s += seconds;
        self.axis.move_to_mm(to.as_mm(), self.time_s, &mut self.noise);
        self.dial.watch(self.axis.position_mm());
    }
}

/// What a reversal (or positioning) test, a test of small steps and a return test say, taken one after another on an
/// axis with the faults named, each of a size drawn under a seed.
#[must_use]
pub fn sitting(first: Kind, names: &[Name], seed: u64) -> [Said; 3] {
    let mut noise = Noise::new(seed);
    let mut faults = Faults::default();
    let mut dial = Dial { resolution_mm: RESOLUTION_MM, noise_mm: 0.002, ..Dial::default() };
    for &name in names {
        let size_mm = 0.02 * 15.0_f64.powf(noise.uniform());
        add(name, size_mm, first, &mut faults, &mut dial, &mut noise);
    }
    let axis = SimulatedAxis::new(faults, 10.0, Direction::Minus);
    let mut bench = Bench { axis, dial, noise, time_s: 0.0 };
    let (over_the_travel, lost_mm, scatter_mm) = bench.over_the_travel(first);
    [over_the_travel, bench.staircase(lost_mm, scatter_mm), bench.returns()]
}

/// How often the faults come first: by each test alone, and by all together; and what came first by all.
#[derive(Clone, Debug, Default)]
pub struct Tally {
    /// By each test alone.
    pub alone: [f64; 3],
    /// By all three together.
    pub together: f64,
    /// How often the likeliest state by all three is just these faults.
    pub just: f64,
    /// What came first by all three, and how often.
    pub named: std::collections::BTreeMap<String, u64>,
}

/// Runs seeds of a sitting.
#[must_use]
pub fn tally(first: Kind, names: &[Name], seeds: u64) -> Tally {
    let mut tally = Tally::default();
    let share = |right: bool| f64::from(u8::from(right)) / seeds as f64;
    for seed in 0..seeds {
        let said = sitting(first, names, seed);
        let all_in = |found: &[Name]| names.iter().all(|name| found.contains(name));
        for (slot, one) in tally.alone.iter_mut().zip(&said) {
            let found: Vec<Name> = one.alone.iter().take(names.len()).map(|cause| cause.cause).collect();
            *slot += share(all_in(&found));
        }
        let [a, b, c] = &said;
        let weights = weigh(&[&a.testimony, &b.testimony, &c.testimony], None);
        let found: Vec<Name> = weights.iter().take(names.len()).map(|one| one.0).collect();
        tally.together += share(all_in(&found));
        let sorted = |names: &[Name]| {
            let mut words: Vec<&str> = names.iter().map(|name| name.name()).collect();
            words.retain(|word| *word != Name::NoneShown.name());
            words.sort_unstable();
            words
        };
        let just = weights.likely().next().is_some_and(|likely| sorted(likely.causes()) == sorted(names));
        tally.just += share(just);
        let words: Vec<&str> = found.iter().map(|name| name.name()).collect();
        *tally.named.entry(words.join("+")).or_insert(0) += 1;
    }
    tally
}

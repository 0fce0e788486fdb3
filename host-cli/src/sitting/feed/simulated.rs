//! A simulated axis with a dial on it, to try a sitting out.

use super::{Feed, News, Sent, Take};
use crate::refusal::Refusal;
use crate::sitting::plan::{Act, Plan, Stop};
use std::time::{Duration, Instant};
use takeup_core::length::Length;
use takeup_core::measure::Kind;
use takeup_core::slack::simulated::{Dial, Faults, Noise, SimulatedAxis};

/// The axis, where it was left.
#[derive(Debug)]
pub struct Simulated {
    axis: SimulatedAxis,
    dial: Dial,
    zero: Zero,
    /// What the axis weighs on the pushes: as many go each way from there.
    weight_n: f64,
    noise: Noise,
    seed: u64,
    /// The rows in order: those before the one aimed at are lived through first.
    stops: Vec<Stop>,
    lived: usize,
    time_s: f64,
    take: Take,
    /// What is left of the moves to the row aimed at; the last comes first.
    moves: Vec<Act>,
    aimed: bool,
    due: Instant,
}

/// Where the dial is set to zero.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Zero {
    AtEachStation,
    AtFirst(f64),
    OfTheScale,
}

/// How often a watched dial moves on.
const TICK: Duration = Duration::from_millis(120);

impl Simulated {
    /// An axis with clearance; the dial reads to 0.001 mm.
    #[must_use]
    pub fn new(plan: &Plan, clearance_mm: f64, seed: u64, take: Take) -> Self {
        let reference = plan.axis.usual_seat();
        let faults = Faults { reference, clearance_mm, ..Faults::default() };
        // Something to find for each kind of test.
        let faults = match plan.kind {
            Kind::SmallSteps => {
                Faults { clearance_mm: 0.6 * clearance_mm, wind_up_mm: 0.4 * clearance_mm, ..faults }
            }
            Kind::Return => Faults { slip_mm: 0.002, slip_scatter_mm: 0.001, ..faults },
            Kind::PushPull => Faults { stiffness_n_per_mm: 20_000.0, ..faults },
            Kind::WarmUp => Faults { growth_mm: 0.03, growth_time_s: 1200.0, ..faults },
            Kind::Reversal | Kind::Positioning | Kind::Indicator => faults,
        };
        let pushes = plan.stops.iter().flat_map(|stop| &stop.acts).filter_map(|act| match act {
            Act::Push(newtons) => Some(*newtons),
            _ => None,
        });
        let (count, sum) = pushes.fold((0.0_f64, 0.0), |(count, sum), newtons| (count + 1.0, sum + newtons));
        let first = plan.stops.first().and_then(|stop| stop.target);
        Self {
            axis: SimulatedAxis::new(faults, 0.0, reference),
            weight_n: sum / count.max(1.0),
            zero: match plan.kind {
                Kind::Reversal => Zero::AtEachStation,
                Kind::Positioning => Zero::OfTheScale,
                _ => Zero::AtFirst(first.map_or(0.0, Length::as_mm)),
            },
            dial: Dial {
                resolution_mm: 0.001,
                noise_mm: 0.001,
                hysteresis_mm: if plan.kind == Kind::Indicator { 0.004 } else { 0.0 },
                ..Dial::default()
            },
            noise: Noise::new(seed),
            seed,
            stops: plan.stops.clone(),
            lived: 0,
            time_s: 0.0,
            take,
            moves: Vec::new(),
            aimed: false,
            due: Instant::now(),
        }
    }

    /// Does one thing before a reading.
    fn act(&mut self, act: Act) {
        match act {
            Act::Pause(seconds) | Act::Work(seconds) => {
                // Of a watched dial the time is the person's own.
                if self.take == Take::Each {
                    self.time_s += f64::from(seconds);
                }
            }
            Act::Go(to) | Act::Arrive(to) => {
                self.time_s += 2.0;
                self.axis.move_to_mm(to.as_mm(), self.time_s, &mut self.noise);
            }
            Act::Push(newtons) => {
                self.time_s += 2.0;
                self.axis.push(newtons - self.weight_n);
            }
            Act::Face(way) => {
                let position = self.axis.position_mm();
                self.dial.watch(position - 0.5 * way.signum());
            }
        }
    }

    fn read(&mut self) -> Length {
        self.time_s += 3.0;
        let position = self.axis.wait_until(self.time_s);
        Length::from_mm(self.dial.read_mm(position, &mut self.noise)).unwrap_or_default()
    }
}

/// A move in a few steps, so that a dial that is watched is seen to run.
fn in_steps(from: Length, act: Act) -> Vec<Act> {
    let Act::Arrive(to) = act else { return vec![act] };
    let part = |n: i64| Length::from_counts(from.counts() + (to.counts() - from.counts()) / 4 * n);
    vec![Act::Go(part(1)), Act::Go(part(2)), Act::Go(part(3)), act]
}

impl Feed for Simulated {
    fn aim(&mut self, stop: &Stop) -> Result<Option<News>, Refusal> {
        let aimed = usize::try_from(stop.row).unwrap_or(usize::MAX).saturating_sub(1);
        // What an earlier command has read: the axis goes that way again, so that it arrives as it did then.
        while self.lived < aimed {
            let Some(before) = self.stops.get(self.lived).cloned() else { break };
            before.acts.iter().for_each(|act| self.act(*act));
            self.read();
            self.lived += 1;
        }
        self.lived = self.lived.max(aimed + 1);
        self.dial.zero_mm = match self.zero {
            Zero::AtEachStation => stop.target.map_or(0.0, |target| -target.as_mm()),
            Zero::AtFirst(place_mm) => -place_mm,
            Zero::OfTheScale => 0.0,
        };
        let mut moves = Vec::new();
        let mut from = None;
        for act in &stop.acts {
            match from.filter(|_| self.take == Take::Enter) {
                Some(from) => moves.extend(in_steps(from, *act)),
                None => moves.push(*act),
            }
            if let Act::Go(at) | Act::Arrive(at) = act {
                from = Some(*at);
            }
        }
        moves.reverse();
        self.moves = moves;
        self.aimed = true;
        Ok(None)
    }

    fn news(&mut self, wait: Duration) -> Option<News> {
        if self.take == Take::Each {
            if !std::mem::take(&mut self.aimed) {
                return None;
            }
            while let Some(act) = self.moves.pop() {
                self.act(act);
            }
            let value = self.read();
            return Some(News::Shows { value, sent: Sent::Meant(Some(self.time_s)) });
        }
        let now = Instant::now();
        if now < self.due {
            std::thread::sleep(wait.min(self.due - now));
            return None;
        }
        self.due = now + TICK;
        if let Some(act) = self.moves.pop() {
            self.act(act);
        }
        Some(News::Shows { value: self.read(), sent: Sent::Shown })
    }

    fn resolution(&self) -> Option<Length> {
        Length::from_mm(self.dial.resolution_mm)
    }

    fn taken_by(&self) -> Option<String> {
        Some(format!("Simulated axis, seed {}", self.seed))
    }

    fn is_watched(&self) -> bool {
        self.take != Take::Each
    }

    fn hint(&self) -> Option<&'static str> {
        (self.take == Take::Enter).then_some("Enter takes what the dial shows")
    }
}

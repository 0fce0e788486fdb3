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
    noise: Noise,
    /// The rows in order: those before the one aimed at are lived through first.
    stops: Vec<Stop>,
    lived: usize,
    time_s: f64,
    take: Take,
    /// What is left of the moves to the row aimed at; the last comes first.
    moves: Vec<f64>,
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
        let first = plan.stops.first().and_then(|stop| stop.target);
        Self {
            axis: SimulatedAxis::new(faults, 0.0, reference),
            zero: match plan.kind {
                Kind::Reversal => Zero::AtEachStation,
                Kind::Positioning => Zero::OfTheScale,
                _ => Zero::AtFirst(first.map_or(0.0, Length::as_mm)),
            },
            dial: Dial { resolution_mm: 0.001, noise_mm: 0.001, ..Dial::default() },
            noise: Noise::new(seed),
            stops: plan.stops.clone(),
            lived: 0,
            time_s: 0.0,
            take,
            moves: Vec::new(),
            aimed: false,
            due: Instant::now(),
        }
    }

    fn live(&mut self, moves: &[f64]) {
        for to in moves {
            self.time_s += 2.0;
            self.axis.move_to_mm(*to, self.time_s, &mut self.noise);
        }
    }

    /// Lives through the pause before a stop.
    fn pause(&mut self, stop: &Stop) {
        for act in &stop.acts {
            if let Act::Pause(seconds) = act {
                self.time_s += f64::from(*seconds);
            }
        }
    }

    fn read(&mut self) -> Length {
        self.time_s += 3.0;
        let position = self.axis.wait_until(self.time_s);
        Length::from_mm(self.dial.read_mm(position, &mut self.noise)).unwrap_or_default()
    }
}

fn places(stop: &Stop) -> Vec<f64> {
    stop.acts
        .iter()
        .filter_map(|act| match act {
            Act::Go(to) | Act::Arrive(to) => Some(to.as_mm()),
            Act::Pause(_) => None,
        })
        .collect()
}

impl Feed for Simulated {
    fn aim(&mut self, stop: &Stop) -> Result<Option<News>, Refusal> {
        let aimed = usize::try_from(stop.row).unwrap_or(usize::MAX).saturating_sub(1);
        // What an earlier command has read: the axis goes that way again, so that it arrives as it did then.
        while self.lived < aimed {
            let Some(before) = self.stops.get(self.lived).cloned() else { break };
            self.pause(&before);
            self.live(&places(&before));
            self.read();
            self.lived += 1;
        }
        self.lived = self.lived.max(aimed + 1);
        self.dial.zero_mm = match self.zero {
            Zero::AtEachStation => stop.target.map_or(0.0, |target| -target.as_mm()),
            Zero::AtFirst(place_mm) => -place_mm,
            Zero::OfTheScale => 0.0,
        };
        if self.take == Take::Each {
            self.pause(stop);
        }
        let mut moves = Vec::new();
        for place in places(stop) {
            if self.take == Take::Enter {
                // In a few steps, so that the dial is seen to run.
                let from = moves.last().copied().unwrap_or(place);
                moves.extend((1..4).map(|part| from + (place - from) * f64::from(part) / 4.0));
            }
            moves.push(place);
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
            while let Some(to) = self.moves.pop() {
                self.live(&[to]);
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
        if let Some(to) = self.moves.pop() {
            self.live(&[to]);
        }
        Some(News::Shows { value: self.read(), sent: Sent::Shown })
    }

    fn hint(&self) -> Option<&'static str> {
        (self.take == Take::Enter).then_some("Enter takes what the dial shows")
    }
}

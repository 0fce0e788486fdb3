//! An indicator that sends all the time, and nobody touches a key: each stop of the plan is found in its numbers.
//!
//! A dial that stands still for long enough gives a number, the mean over that time; core lays it against the plan by the way
//! that the dial went since the stop before (`measure::plateau`). So a stop that was missed leaves its row out, and one
//! that is not in the plan is passed over. Only tests whose stops the dial shows can be read like this: those of small steps
//! stand still inside a clearance, and a force or a plunger is moved by hand.

use super::serial::Serial;
use super::{Feed, News, Sent};
use crate::refusal::Refusal;
use crate::sitting::plan::{Act, Plan, Stop};
use std::collections::VecDeque;
use std::time::{Duration, Instant};
use takeup_core::length::Length;
use takeup_core::measure::plateau::{Cutter, Laid, Layout, Plateau, Settings, Zero};
use takeup_core::measure::routine::{self, Purpose, Step};
use takeup_core::measure::{Kind, Setup};

/// Numbers that must fall into the time for which the dial stands still.
const FEWEST: u32 = 10;
/// What the dial must move to have left a stop, as a share of the smallest way to the next.
const STEP_SHARE: f64 = 0.3;
/// How far a stop may be from where the plan has it, as a share of the same way: no lost motion is so large.
const TOLERANCE_SHARE: f64 = 0.4;

/// The steps of the plan from some row on.
type Steps = Box<dyn Fn() -> std::vec::IntoIter<Step>>;

/// The stream, and how far it has been followed.
pub struct Stops {
    serial: Serial,
    stops: Vec<Stop>,
    settings: Settings,
    zero: Zero,
    motion_per_reading: f64,
    tolerance_mm: f64,
    cutter: Cutter,
    layout: Layout<Steps>,
    /// Whether the first stop since the beginning, or since it was begun anew, has been found.
    found: bool,
    /// The last row that was told.
    row: u32,
    began: Instant,
    /// When the dial was first seen to stand still where it stands now.
    still: Option<Instant>,
    extra: u32,
    queue: VecDeque<News>,
    /// Numbers since the beginning, until it is known whether they come fast enough.
    counted: Option<u32>,
    /// Whether anybody waits for a reading: before the cautions are seen to, whatever moves is not the test.
    aimed: bool,
}

impl Stops {
    /// A stream for the stops of a plan from some row on.
    ///
    /// # Errors
    /// When the dial does not show the stops of such a test.
    pub fn new(serial: Serial, plan: &Plan, setup: &Setup, still_s: f64) -> Result<Self, Refusal> {
        let zero = match plan.kind {
            Kind::Reversal => Zero::OfEachStation,
            Kind::Positioning | Kind::Return => Zero::OfAll,
            Kind::SmallSteps | Kind::PushPull | Kind::WarmUp | Kind::Indicator => {
                return Err(Refusal::new(
                    format!(
                        "--take stops: the numbers of the dial do not show the stops of a {} test",
                        plan.kind
                    ),
                    "Give --take enter, or --take each with a data button.",
                ));
            }
        };
        let motion_per_reading = setup.motion_per_reading();
        let way_mm = smallest_way_mm(plan) / motion_per_reading.abs();
        let settings = Settings { still_s, step_mm: STEP_SHARE * way_mm };
        let cutter = Cutter::new(settings)
            .map_err(|bad| Refusal::new(bad.to_string(), "Give --still in seconds, such as 1."))?;
        let tolerance_mm = TOLERANCE_SHARE * way_mm;
        let stops = plan.stops.clone();
        let layout = Layout::new(steps_from(&stops, 1), zero, motion_per_reading, tolerance_mm);
        Ok(Self {
            serial,
            stops,
            settings,
            zero,
            motion_per_reading,
            tolerance_mm,
            cutter,
            layout,
            found: false,
            row: 0,
            began: Instant::now(),
            still: None,
            extra: 0,
            queue: VecDeque::new(),
            counted: Some(0),
            aimed: false,
        })
    }

    /// Follows the plan anew from a row on: what the dial did until now tells nothing of where it is.
    fn anew(&mut self, row: u32) {
        if let Ok(cutter) = Cutter::new(self.settings) {
            self.cutter = cutter;
        }
        let steps = steps_from(&self.stops, row);
        self.layout = Layout::new(steps, self.zero, self.motion_per_reading, self.tolerance_mm);
        self.queue.clear();
        (self.found, self.row, self.still, self.extra) = (false, row.saturating_sub(1), None, 0);
    }

    fn sample(&mut self, at: Instant, value: Length) {
        let time_s = at.duration_since(self.began).as_secs_f64();
        // Times are those of one clock, and lengths are numbers: a sample is never bad.
        let left = self.cutter.take(time_s, value.as_mm()).ok().flatten();
        let since = match self.cutter.still_mm() {
            Some(_) if left.is_none() => *self.still.get_or_insert(at),
            _ => {
                self.still = None;
                at
            }
        };
        // The half of the time that showed it to stand still is in the mean, and as much again makes the whole.
        let stood = at.duration_since(since).as_secs_f64() >= 0.5 * self.settings.still_s;
        let over = if stood { self.cutter.finish() } else { None };
        if stood {
            self.still = None;
        }
        for plateau in left.into_iter().chain(over) {
            self.stood(at, plateau);
        }
        self.count(time_s);
    }

    fn stood(&mut self, at: Instant, plateau: Plateau) {
        // It has not moved since the stop before, or since it was first seen: no stop of the plan.
        if plateau.came.is_none() {
            return;
        }
        let laid = self.layout.lay(plateau);
        for Laid { stop, plateau } in &laid {
            // Nobody reads to less than a tenth of a micrometre.
            let value = Length::from_mm((plateau.value_mm * 1e4).round() / 1e4).unwrap_or_default();
            let read_s = 0.5 * (plateau.start_s + plateau.end_s);
            let ago_s = (at.duration_since(self.began).as_secs_f64() - read_s).max(0.0);
            self.queue.push_back(News::Shows { value, sent: Sent::OfRow { row: stop.row, ago_s } });
            self.found = true;
        }
        let extra = self.layout.extra();
        if laid.is_empty() && extra > self.extra && self.found {
            self.queue.push_back(News::Says("a stop that is not in the plan is passed over".to_owned()));
        }
        if !laid.is_empty() {
            self.extra = self.layout.extra();
        }
    }

    /// Says once when the numbers come too seldom to tell standing from moving.
    fn count(&mut self, time_s: f64) {
        let Some(count) = &mut self.counted else { return };
        *count = count.saturating_add(1);
        if time_s < 5.0 {
            return;
        }
        let per_still = f64::from(*count) / time_s * self.settings.still_s;
        if per_still < f64::from(FEWEST) {
            let still_s = (f64::from(FEWEST) * self.settings.still_s / per_still).ceil();
            self.queue.push_back(News::Says(format!(
                "the indicator sends too seldom: pause, and go on with --still {still_s}"
            )));
        }
        self.counted = None;
    }
}

/// The smallest way that the dial goes between two stops of a plan, in millimetres of the axis.
fn smallest_way_mm(plan: &Plan) -> f64 {
    let mut at: Option<Length> = None;
    let mut ways = Vec::new();
    for stop in &plan.stops {
        for act in &stop.acts {
            let (Act::Go(to) | Act::Arrive(to)) = act else { continue };
            if let Some(from) = at.replace(*to) {
                ways.push(to.saturating_sub(from).saturating_abs().as_mm());
            }
        }
    }
    ways.into_iter().filter(|way| *way > 0.0).fold(f64::INFINITY, f64::min)
}

/// The plan as steps, from a row on.
fn steps_from(stops: &[Stop], row: u32) -> Steps {
    let mut steps = Vec::new();
    for stop in stops.iter().filter(|stop| stop.row >= row) {
        let (Some(target), Some(approach)) = (stop.target, stop.approach) else { continue };
        for act in &stop.acts {
            match act {
                Act::Go(to) => steps.push(Step::Move { to: *to, purpose: Purpose::Overrun }),
                Act::Arrive(to) => steps.push(Step::Move { to: *to, purpose: Purpose::Arrival }),
                Act::Pause(_) | Act::Work(_) | Act::Push(_) | Act::Face(_) => {}
            }
        }
        let cycle = stop.cycle.unwrap_or(1);
        steps.push(Step::Read(routine::Stop { row: stop.row, target, cycle, approach }));
    }
    Box::new(move || steps.clone().into_iter())
}

impl Feed for Stops {
    fn aim(&mut self, stop: &Stop) -> Result<Option<News>, Refusal> {
        self.aimed = true;
        // Gone on with from a row, or a reading was taken back: the plan is followed anew from there.
        if stop.row <= self.row || (!self.found && stop.row != self.row + 1) {
            self.anew(stop.row);
        }
        Ok(None)
    }

    fn news(&mut self, wait: Duration) -> Option<News> {
        if let Some(news) = self.queue.pop_front() {
            if let News::Shows { sent: Sent::OfRow { row, .. }, .. } = news {
                self.row = row;
            }
            return Some(news);
        }
        let was_there = self.serial.is_there();
        let (at, news) = self.serial.next(wait)?;
        match &news {
            News::Shows { value, .. } if self.aimed => self.sample(at, *value),
            News::Says(_) if !was_there && self.serial.is_there() => self.anew(self.row + 1),
            News::Shows { .. } | News::Says(_) | News::Halted(_) | News::Ended(_) => {}
        }
        Some(news)
    }

    fn hint(&self) -> Option<&'static str> {
        Some("hands free: each stop is found and kept by itself")
    }
}

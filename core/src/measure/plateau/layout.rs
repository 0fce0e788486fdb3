//! Plateaus laid against the plan of a test.
//!
//! Between two stops the dial goes a way that the plan knows: so far up, so far down, and where it ends. A plateau is the next stop, or
//! one of the next few, whose way from the last stop it shows: a missed stop leaves the way of both; an extra stop shows a way
//! that leads nowhere in the plan. Ends of overruns are places of the plan at which nothing is read.

use super::Plateau;
use crate::axis::Direction;
use crate::length::Length;
use crate::measure::routine::{Step, Stop};
use heapless::Vec;

/// Stops in a row that may be missed.
const MOST_MISSED: usize = 3;

/// Whether the dial keeps its zero over the whole plan.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Zero {
    /// It is moved along from station to station.
    OfEachStation,
    /// One long scale.
    OfAll,
}

/// A stop that was found.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Laid {
    /// The stop of the plan.
    pub stop: Stop,
    /// What the dial showed there.
    pub plateau: Plateau,
}

/// A place of the plan.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Node {
    /// Counted from 0 over all moves and readings.
    index: usize,
    place: Length,
    stop: Option<Stop>,
}

/// Where the plateaus have got to.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Anchor {
    node: Node,
    value_mm: f64,
}

/// Lays plateaus against a plan, given as a function that begins its steps anew, such as `|| plan.steps()`.
///
/// The dial follows the axis fast enough to show more than half of each overrun. The first two plateaus must be places of the plan, or one or both are passed over until two in a row are: an extra stop between the
/// first two rows loses the first. Holds two plateaus and no more; each plateau costs a walk through the plan. Rows that come out never fall.
///
/// ```
/// use takeup_core::length::Length;
/// use takeup_core::measure::plateau::{Layout, Plateau, Zero};
/// use takeup_core::measure::routine::ReversalPlan;
/// let stations = [Length::ZERO];
/// let plan = ReversalPlan::new(&stations, 2, Length::from_mm(1.0).unwrap()).unwrap();
/// let mut layout = Layout::new(|| plan.steps(), Zero::OfEachStation, 1.0, 0.4);
/// let at = |value_mm, low_mm, high_mm| Plateau {
///     value_mm, low_mm, high_mm, s_mm: 0.0, samples: 20, start_s: 0.0, end_s: 1.0, came: None,
/// };
/// // Read from +, from -, and then, one being missed, from -.
/// let mut rows = Vec::new();
/// for plateau in [at(0.0, -1.0, 0.0), at(0.1, 0.0, 1.0), at(0.1, -1.0, 1.0)] {
///     rows.extend(layout.lay(plateau).iter().map(|laid| laid.stop.row));
/// }
/// assert_eq!(rows, [1, 2, 4]);
/// ```
#[derive(Clone, Debug)]
pub struct Layout<F> {
    steps: F,
    zero: Zero,
    motion_per_reading: f64,
    tolerance_mm: f64,
    anchor: Option<Anchor>,
    /// The last plateau, if it found no place.
    pending: Option<Plateau>,
    /// How far the dial went since the anchor, over plateaus that found no place.
    low: f64,
    high: f64,
    extra: u32,
}

impl<I: Iterator<Item = Step>, F: Fn() -> I> Layout<F> {
    /// A layout of nothing yet. `motion_per_reading` as of [`Setup`](crate::measure::Setup); the tolerance, on
    /// the dial, is more than any lost motion and less than half of the smallest way between stops.
    pub fn new(steps: F, zero: Zero, motion_per_reading: f64, tolerance_mm: f64) -> Self {
        Self {
            steps,
            zero,
            motion_per_reading,
            tolerance_mm,
            anchor: None,
            pending: None,
            low: f64::INFINITY,
            high: f64::NEG_INFINITY,
            extra: 0,
        }
    }

    /// How many plateaus found no place in the plan so far.
    #[must_use]
    pub const fn extra(&self) -> u32 {
        self.extra
    }

    /// Takes a plateau, and gives the stops that are then known: none at an extra stop or at the end of an overrun, two when this one
    /// tells where the one before it was.
    pub fn lay(&mut self, plateau: Plateau) -> Vec<Laid, 2> {
        let mut laid = Vec::new();
        self.low = libm::fmin(self.low, plateau.low_mm);
        self.high = libm::fmax(self.high, plateau.high_mm);
        if let Some(anchor) = self.anchor {
            let way = Way { low: self.low, high: self.high, end: plateau.value_mm, came: plateau.came };
            if let Some((node, _)) = self.follow(anchor, way) {
                self.settle(node, plateau, &mut laid);
                return laid;
            }
        }
        if let Some(pending) = self.pending
            && let Some((first, node)) = self.begin(&pending, &plateau)
        {
            self.extra = self.extra.saturating_sub(1);
            if let Some(stop) = first.stop {
                // Two at most.
                let _ = laid.push(Laid { stop, plateau: pending });
            }
            self.settle(node, plateau, &mut laid);
            return laid;
        }
        self.extra = self.extra.saturating_add(1);
        self.pending = Some(plateau);
        laid
    }

    fn settle(&mut self, node: Node, plateau: Plateau, laid: &mut Vec<Laid, 2>) {
        if let Some(stop) = node.stop {
            let _ = laid.push(Laid { stop, plateau });
        }
        self.anchor = Some(Anchor { node, value_mm: plateau.value_mm });
        self.pending = None;
        (self.low, self.high) = (f64::INFINITY, f64::NEG_INFINITY);
    }

    /// The places of the plan: ends of overruns, and stops. An arrival is the place of its stop.
    fn nodes(&self) -> impl Iterator<Item = Node> {
        let mut steps = (self.steps)().enumerate().peekable();
        core::iter::from_fn(move || {
            loop {
                let (index, step) = steps.next()?;
                let next = steps.peek().map(|(_, step)| *step);
                match (step, next) {
                    (Step::Move { .. }, Some(Step::Read(_))) => {}
                    (Step::Move { to, .. }, _) => return Some(Node { index, place: to, stop: None }),
                    (Step::Read(stop), _) => {
                        return Some(Node { index, place: stop.target, stop: Some(stop) });
                    }
                }
            }
        })
    }

    /// The place that a way from another leads to, and how far it is off.
    fn follow(&self, from: Anchor, seen: Way) -> Option<(Node, f64)> {
        let station = from.node.stop.map(|stop| stop.target);
        let (mut low, mut high) = (from.value_mm, from.value_mm);
        let seen = seen.over(from.value_mm);
        let mut best: Option<(Node, f64)> = None;
        let (mut stops, mut later): (usize, f64) = (0, 0.0);
        for node in self.nodes().filter(|node| node.index > from.node.index) {
            if let (Some(stop), Some(station), Zero::OfEachStation) = (node.stop, station, self.zero)
                && stop.target != station
            {
                break;
            }
            let away = node.place.saturating_sub(from.node.place).as_mm();
            let value = from.value_mm + away / self.motion_per_reading;
            low = libm::fmin(low, value);
            high = libm::fmax(high, value);
            let came = node.stop.map(|stop| match self.motion_per_reading > 0.0 {
                true => stop.approach,
                false => stop.approach.reversed(),
            });
            let way = Way { low, high, end: value, came };
            if let Some(off) = seen.off(way, from.value_mm, self.tolerance_mm) {
                let off = off + later + self.turning(node);
                if best.is_none_or(|(_, least)| off < least) {
                    best = Some((node, off));
                }
            }
            later += LATER * self.tolerance_mm;
            if node.stop.is_some() {
                stops = stops.saturating_add(1);
                if stops > MOST_MISSED {
                    break;
                }
            }
        }
        best
    }

    /// The two places, of the beginning of the plan or of the next station, that two plateaus are most likely.
    fn begin(&self, first: &Plateau, second: &Plateau) -> Option<(Node, Node)> {
        let way = Way { low: second.low_mm, high: second.high_mm, end: second.value_mm, came: second.came };
        let after = match (self.anchor, self.zero) {
            (None, _) => None,
            (Some(_), Zero::OfAll) => return None,
            (Some(anchor), Zero::OfEachStation) => Some(self.last_of_station(anchor.node)?),
        };
        let mut best: Option<(Node, Node, f64)> = None;
        let (mut stops, mut later): (usize, f64) = (0, 0.0);
        for node in self.nodes().filter(|node| after.is_none_or(|last| node.index > last)) {
            if let Some((next, off)) = self.follow(Anchor { node, value_mm: first.value_mm }, way) {
                let off = off + later + self.turning(node);
                if best.is_none_or(|(_, _, least)| off < least) {
                    best = Some((node, next, off));
                }
            }
            later += LATER * self.tolerance_mm;
            if node.stop.is_some() {
                stops = stops.saturating_add(1);
                if stops > MOST_MISSED {
                    break;
                }
            }
        }
        best.map(|(node, next, _)| (node, next))
    }

    /// What speaks against the end of an overrun: an axis turns there, and stands at stops.
    fn turning(&self, node: Node) -> f64 {
        if node.stop.is_none() { TURNING * self.tolerance_mm } else { 0.0 }
    }

    /// The index of the last stop of the station that a place belongs to, if no more than may be missed are left.
    fn last_of_station(&self, from: Node) -> Option<usize> {
        let station = from.stop.map(|stop| stop.target);
        let mut last = from.index;
        let mut left: usize = 0;
        let mut of = station;
        for node in self.nodes().filter(|node| node.index > from.index) {
            let Some(stop) = node.stop else { continue };
            // The end of an overrun belongs to the station of the next stop.
            if stop.target != *of.get_or_insert(stop.target) {
                break;
            }
            last = node.index;
            left = left.saturating_add(1);
        }
        (left <= MOST_MISSED).then_some(last)
    }
}

/// How far the dial went, and where it ended.
#[derive(Clone, Copy)]
struct Way {
    low: f64,
    high: f64,
    end: f64,
    came: Option<Direction>,
}

impl Way {
    /// With its beginning and its end.
    fn over(self, begin: f64) -> Self {
        let low = libm::fmin(self.low, libm::fmin(begin, self.end));
        let high = libm::fmax(self.high, libm::fmax(begin, self.end));
        Self { low, high, ..self }
    }

    /// How far this is from a way of the plan; `None` where it is not that way at all. A dial that has not settled when the axis
    /// turns falls short of the turn: so much is forgiven that the turn cannot be taken for none.
    fn off(self, plan: Way, begin: f64, tolerance: f64) -> Option<f64> {
        let short = |turn: f64| libm::fmax(tolerance, FALLS_SHORT * libm::fabs(turn));
        let low = short(plan.low - libm::fmin(begin, plan.end));
        let high = short(plan.high - libm::fmax(begin, plan.end));
        let between = |off: f64, below: f64, above: f64| off >= -below && off <= above;
        let off = [self.end - plan.end, self.low - plan.low, self.high - plan.high];
        let [end_off, low_off, high_off] = off;
        let is = between(end_off, tolerance, tolerance)
            && between(low_off, tolerance, low)
            && between(high_off, high, tolerance);
        let came = self.came.is_none_or(|came| plan.came.is_none_or(|planned| came == planned));
        (is && came).then(|| off.into_iter().map(libm::fabs).sum())
    }
}

/// The share of a turn by which a dial may fall short of it.
const FALLS_SHORT: f64 = 0.55;
/// The end of an overrun must fit better than a stop by this share of the tolerance.
const TURNING: f64 = 0.1;
/// A place farther on in the plan must fit better by this share of the tolerance.
const LATER: f64 = 0.02;

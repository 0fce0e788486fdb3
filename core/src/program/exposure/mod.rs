//! What a given slack would do to a program: lifts, re-entries, reversals, and the steps they leave.
//!
//! A program is followed by replay's interpreter and slack machine, without a second program. Cutting is
//! every motion at a feed rate. Counted are
//!
//! - *lifts*: leaving the cut upward and coming back into it later, each with its re-entry. A lift whose way
//!   back comes down near the place that it left ([`Settings::near_mm`]) could have been a *link* between
//!   neighbouring cuts that a planner keeps down; whether the work is in the way, the program does not tell;
//! - *reversals* of an axis with slack, in the cut and in rapids: where its command turns round by more
//!   than a program step;
//! - the *length cut on the other seat*, where the tool is off its command by the clearance;
//! - *steps*: where one cut ends and the next begins, or where an axis reverses in the cut, the tool's
//!   deviation along an axis changes; the change is the step predicted there.
//!
//! That of two programs for one part the one with fewer lifts shows fewer height variations is common
//! practice, no source; [`Exposure::rank`] orders programs so.
//!
//! Not for proving a correction: [`super::replay`] compares two programs place by place.

use super::replay::{
    Event, Interpreter, Machine, Motion, Rate, Reading, Refusal, Slack,
    geometry::{Point, distance, minus},
};
use crate::{
    axis::{Axis, PerAxis},
    length::Unit,
    program::Integers,
};
use core::cmp::Ordering;
use heapless::Vec;

/// Most of the worst places that are kept, and of the shortest links.
pub const WORST: usize = 10;
/// A command that turns round by less than this (mm) has not reversed: a tenth of the usual program step.
const TURNED: f64 = 1e-4;
/// A step below this (mm) is none.
const LEAST_STEP: f64 = 1e-6;

/// How a program is looked at.
#[derive(Clone, Debug)]
pub struct Settings {
    /// The slack of the machine.
    pub slack: Slack,
    /// Unit of a program that names none.
    pub unit: Unit,
    /// Meaning of words without a decimal point.
    pub integers: Integers,
    /// A lift that comes back within this distance (mm), seen from above, could be kept down. 6 mm is
    /// about the diameter of a small finishing cutter: common practice, no source.
    pub near_mm: f64,
}

impl Settings {
    /// A machine with a slack; millimetres, whole units in words without a point, 6 mm.
    #[must_use]
    pub const fn new(slack: Slack) -> Self {
        Self { slack, unit: Unit::Mm, integers: Integers::Units, near_mm: 6.0 }
    }
}

/// What happens to one axis.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct AxisExposure {
    /// Reversals of the command while cutting.
    pub reversals_in_cut: u64,
    /// Reversals of the command in rapids, and from a rapid into the cut or out of it.
    pub reversals_in_rapid: u64,
    /// Length cut while the axis bears on its other seat, or crosses over (mm).
    pub length_on_other_seat_mm: f64,
    /// The largest step predicted (mm).
    pub largest_step_mm: f64,
}

/// A step predicted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Step {
    /// The line after which it shows.
    pub line: u64,
    /// The axis that makes it.
    pub axis: Axis,
    /// Its size (mm).
    pub step_mm: f64,
    /// Where.
    pub at: Point,
}

/// A lift that comes back near the place that it left.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Link {
    /// The line of the last cut before it.
    pub left_line: u64,
    /// The line of the first cut after it.
    pub back_line: u64,
    /// From the one place to the other, seen from above (mm).
    pub distance_mm: f64,
    /// The place left.
    pub at: Point,
}

/// Something to draw.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Mark {
    /// A place on a cut.
    Cut {
        /// Where (mm).
        at: Point,
        /// A cut begins here.
        begins: bool,
        /// Largest deviation of an axis from its command here (mm).
        off_mm: f64,
    },
    /// The tool leaves the cut here and comes back at another place.
    Lift {
        /// Where it left (mm).
        from: Point,
        /// Where it came back (mm).
        to: Point,
        /// How near that is.
        way: Way,
    },
}

/// How near to the place left a lift comes back.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Way {
    /// So near that a planner could keep the tool down.
    Near,
    /// Elsewhere.
    Far,
}

/// What was found.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Exposure {
    /// Lines of the program.
    pub lines: u64,
    /// Moves, rapids among them.
    pub moves: u64,
    /// Moves at a feed rate.
    pub cutting_moves: u64,
    /// Their length (mm).
    pub cutting_length_mm: f64,
    /// What of it is cut while a seat is not known: no step is predicted there (mm).
    pub unseated_length_mm: f64,
    /// Lifts.
    pub lifts: u64,
    /// Lifts that come back near the place that they left.
    pub near_lifts: u64,
    /// The shortest of them, the shortest first.
    pub links: Vec<Link, WORST>,
    /// Each axis; nothing of those without slack.
    pub axes: PerAxis<AxisExposure>,
    /// The largest steps, the largest first.
    pub worst: Vec<Step, WORST>,
    /// The first line whose lengths were read in [`Settings::unit`], for the program had named none.
    pub unit_assumed: Option<u64>,
}

impl Exposure {
    /// Orders two programs of one part: `Less` is less exposed. Fewer lifts first (common practice, no
    /// source), then fewer reversals in the cut, then the smaller step.
    #[must_use]
    pub fn rank(&self, other: &Self) -> Ordering {
        let step = |found: &Self| in_counts(found.largest_step_mm());
        (self.lifts.cmp(&other.lifts))
            .then(self.reversals_in_cut().cmp(&other.reversals_in_cut()))
            .then(step(self).cmp(&step(other)))
    }

    /// Reversals in the cut, of all axes with slack.
    #[must_use]
    pub fn reversals_in_cut(&self) -> u64 {
        self.axes.iter().map(|(_, axis)| axis.reversals_in_cut).fold(0, u64::saturating_add)
    }

    /// Whether no step is predicted only because seats are not known: where the axes reverse in the cut, or in all of it.
    #[must_use]
    pub fn leaves_steps_open(&self) -> bool {
        let nothing_seated = self.cutting_length_mm - self.unseated_length_mm <= LEAST_STEP;
        let unseated = self.unseated_length_mm > LEAST_STEP;
        self.largest_step_mm() <= LEAST_STEP && unseated && (nothing_seated || self.reversals_in_cut() > 0)
    }

    /// The largest step of all axes (mm).
    #[must_use]
    pub fn largest_step_mm(&self) -> f64 {
        self.axes.iter().map(|(_, axis)| axis.largest_step_mm).fold(0.0, f64::max)
    }
}

/// A length in counts of 0.1 nm, in which the noise of floats is nothing.
fn in_counts(mm: f64) -> i64 {
    libm::round(mm * 1e7) as i64
}

/// The last place at which an axis turned or stopped, and which way it goes.
#[derive(Clone, Copy, Debug, Default)]
struct Course {
    direction: f64,
    furthest: f64,
}

/// Looks at a program, line by line.
///
/// ```
/// use takeup_core::axis::{Direction, PerAxis};
/// use takeup_core::program::{exposure::{Exposed, Settings}, replay::AxisSlack};
/// use takeup_core::slack::Play;
///
/// let z = AxisSlack::of_play(&Play::new(0.12, Direction::Minus).unwrap());
/// let slack = PerAxis { x: AxisSlack::NONE, y: AxisSlack::NONE, z };
/// let mut exposed = Exposed::new(Settings::new(slack));
/// for line in ["G0 Z5", "G1 Z-1 F100", "X10", "G0 Z5", "X12", "G1 Z-1", "X20", "G0 Z5"] {
///     exposed.read(line.as_bytes(), &mut |_| {}).unwrap();
/// }
/// let found = exposed.finish();
/// assert_eq!((found.lifts, found.near_lifts, found.cutting_moves), (1, 1, 4));
/// ```
#[derive(Clone, Debug)]
pub struct Exposed {
    interpreter: Interpreter,
    machine: Machine,
    slack: PerAxis<bool>,
    near: f64,
    found: Exposure,
    course: PerAxis<Course>,
    /// The place of the last cut and the deviation of each axis there.
    last_cut: Option<(Point, Point)>,
    /// Where and in which line the tool left the cut.
    left: Option<(Point, u64)>,
    /// Deviation of each axis where it last stood still.
    stood: Point,
    /// Whether the tool has risen since.
    risen: bool,
    cutting: bool,
}

impl Exposed {
    /// At the start of a program.
    #[must_use]
    pub fn new(settings: Settings) -> Self {
        let Settings { slack, unit, integers, near_mm } = settings;
        let has = slack.map(|axis| !axis.is_none());
        Self {
            interpreter: Interpreter::new(Reading { unit, integers, slack: has }),
            machine: Machine::new(slack, &Point::default()),
            slack: has,
            near: near_mm,
            found: Exposure::default(),
            course: PerAxis::default(),
            last_cut: None,
            left: None,
            stood: Point::default(),
            risen: false,
            cutting: false,
        }
    }

    /// Takes a line; what there is to draw goes to `mark`.
    ///
    /// # Errors
    /// [`Refusal`] for what is not understood or cannot be followed.
    pub fn read(&mut self, line: &[u8], mark: &mut impl FnMut(Mark)) -> Result<(), Refusal> {
        self.found.lines = self.found.lines.saturating_add(1);
        self.interpreter.read(line)?;
        while let Some(event) = self.interpreter.next()? {
            match event {
                Event::Motion(motion) => self.motion(&motion, mark),
                Event::Unseat { axes, .. } => {
                    let command = self.interpreter.position();
                    for axis in Axis::ALL {
                        if *axes.get(axis) {
                            self.machine.unseat(axis, *command.get(axis));
                            *self.course.get_mut(axis) = Course::default();
                        }
                    }
                }
                Event::Rename { from, to } | Event::Jump { from, to } => {
                    let by = minus(&to, &from);
                    for axis in Axis::ALL {
                        if *by.get(axis) == 0.0 {
                            continue;
                        }
                        self.machine.shift(axis, *by.get(axis));
                        *self.course.get_mut(axis) = Course { furthest: *to.get(axis), direction: 0.0 };
                    }
                }
            }
        }
        Ok(())
    }

    /// What was found.
    #[must_use]
    pub fn finish(self) -> Exposure {
        Exposure { unit_assumed: self.interpreter.unit_assumed(), ..self.found }
    }

    fn motion(&mut self, motion: &Motion, mark: &mut impl FnMut(Mark)) {
        let cuts = motion.rate == Rate::Feed;
        let curve = &motion.curve;
        self.found.moves = self.found.moves.saturating_add(1);
        if cuts {
            self.found.cutting_moves = self.found.cutting_moves.saturating_add(1);
            self.found.cutting_length_mm += curve.length();
            if !self.cutting {
                self.enter(&curve.start, motion.line, mark);
            }
            self.left = Some((curve.end, motion.line));
        }
        let chords = curve.chords(0.002);
        let mut from = curve.start;
        for k in 1..=chords {
            let to = curve.at(f64::from(k) / f64::from(chords));
            self.chord(&from, &to, motion, mark);
            from = to;
        }
        if !cuts && curve.end.z > curve.start.z {
            self.risen = true;
        }
        self.cutting = cuts;
        for axis in Axis::ALL {
            if *motion.from_unknown.get(axis) {
                self.machine.unseat(axis, *curve.end.get(axis));
            }
        }
    }

    /// A cut begins.
    fn enter(&mut self, at: &Point, line: u64, mark: &mut impl FnMut(Mark)) {
        if let Some((left, left_line)) = self.left
            && self.risen
        {
            self.found.lifts = self.found.lifts.saturating_add(1);
            let above = |p: &Point| Point { z: 0.0, ..*p };
            let distance_mm = distance(&above(&left), &above(at));
            let way = if distance_mm <= self.near { Way::Near } else { Way::Far };
            if way == Way::Near {
                self.found.near_lifts = self.found.near_lifts.saturating_add(1);
                self.link(Link { left_line, back_line: line, distance_mm, at: left });
            }
            mark(Mark::Lift { from: left, to: *at, way });
        }
        self.risen = false;
        mark(Mark::Cut { at: *at, begins: true, off_mm: 0.0 });
    }

    fn link(&mut self, link: Link) {
        let links = &mut self.found.links;
        if links.is_full() && links.last().is_some_and(|longest| longest.distance_mm <= link.distance_mm) {
            return;
        }
        if links.is_full() {
            links.pop();
        }
        let _ = links.push(link);
        links.sort_unstable_by(|a, b| {
            a.distance_mm.total_cmp(&b.distance_mm).then(a.left_line.cmp(&b.left_line))
        });
    }

    fn chord(&mut self, from: &Point, to: &Point, motion: &Motion, mark: &mut impl FnMut(Mark)) {
        let cuts = motion.rate == Rate::Feed;
        for axis in Axis::ALL {
            if *self.slack.get(axis) {
                self.turn(axis, *from.get(axis), *to.get(axis), cuts);
            }
        }
        self.machine.drive(from, to, |_| {});
        if !cuts {
            return;
        }
        // A cut from a place that is not known says nothing about its axis.
        let lost = motion.from_unknown.iter().any(|(axis, lost)| *lost && *self.slack.get(axis));
        let seated = self.machine.seated() && !lost;
        if !seated {
            self.found.unseated_length_mm += distance(from, to);
        }
        let off = minus(&self.machine.tool(), to);
        let length = distance(from, to);
        let mut most: f64 = 0.0;
        for axis in Axis::ALL {
            if !*self.slack.get(axis) {
                continue;
            }
            let away = *off.get(axis);
            let reference = self.machine.reference_deviation(axis, *to.get(axis));
            // A smooth reversal crosses the clearance little by little: the step counts from where the
            // deviation last stood still.
            let settled =
                self.last_cut.is_none_or(|(_, last)| libm::fabs(away - last.get(axis)) <= LEAST_STEP);
            if settled && seated {
                *self.stood.get_mut(axis) = away;
            }
            let step = libm::fabs(away - self.stood.get(axis));
            let found = self.found.axes.get_mut(axis);
            if libm::fabs(away - reference) > LEAST_STEP {
                found.length_on_other_seat_mm += length;
            }
            most = most.max(libm::fabs(away));
            if seated && step > LEAST_STEP {
                found.largest_step_mm = found.largest_step_mm.max(step);
                self.keep(Step { line: motion.line, axis, step_mm: step, at: *to });
            }
        }
        if seated {
            self.last_cut = Some((*to, off));
        }
        mark(Mark::Cut { at: *to, begins: false, off_mm: most });
    }

    fn turn(&mut self, axis: Axis, from: f64, to: f64, cuts: bool) {
        let course = self.course.get_mut(axis);
        let travel = to - from;
        if travel == 0.0 {
            return;
        }
        if course.direction == 0.0 {
            *course = Course { direction: travel, furthest: to };
        } else if travel * course.direction > 0.0 {
            if (to - course.furthest) * travel > 0.0 {
                course.furthest = to;
            }
        } else if libm::fabs(to - course.furthest) > TURNED {
            let cut_before = self.cutting;
            *course = Course { direction: travel, furthest: to };
            let found = self.found.axes.get_mut(axis);
            if cuts && cut_before {
                found.reversals_in_cut = found.reversals_in_cut.saturating_add(1);
            } else {
                found.reversals_in_rapid = found.reversals_in_rapid.saturating_add(1);
            }
        }
    }

    fn keep(&mut self, step: Step) {
        let worst = &mut self.found.worst;
        // Steps that differ in the noise of floats alone are alike, and lie by their lines.
        let size = |step: &Step| in_counts(step.step_mm);
        if let Some(same) = worst.iter_mut().find(|s| s.line == step.line && s.axis == step.axis) {
            if size(same) < size(&step) {
                *same = step;
            }
        } else if worst.is_full() {
            match worst.last_mut() {
                Some(least) if size(least) < size(&step) => *least = step,
                _ => return,
            }
        } else {
            let _ = worst.push(step);
        }
        worst.sort_unstable_by_key(|step| (core::cmp::Reverse(size(step)), step.line));
    }
}

#[cfg(test)]
mod tests;

//! A program as motions, each with what happened between it and the one before.

use super::{
    geometry::{Point, minus},
    interpret::{Event, Interpreter, Motion, Reading},
    machine::{Machine, Piece},
    refusal::Refusal,
};
use crate::axis::{Axis, PerAxis};

/// How fine arcs are cut into chords: 0.1 µm, far below what is judged (mm).
const SAGITTA_MM: f64 = 1e-4;

/// Of which axes a program has told where they are.
#[derive(Clone, Copy, Debug, Default)]
pub struct Told {
    /// These axes.
    pub axes: PerAxis<bool>,
    /// How often the place of each was put in doubt before that.
    pub losses: PerAxis<u32>,
    /// The count of these under which the place of each was told when it was put in doubt last.
    pub until: PerAxis<Option<u32>>,
}

impl Told {
    /// Whether the place of an axis is told, or was, since it had been put in doubt so often.
    #[must_use]
    pub fn tells(&self, axis: Axis, losses: u32) -> bool {
        let now = *self.axes.get(axis) && *self.losses.get(axis) == losses;
        now || *self.until.get(axis) == Some(losses)
    }
}

/// A motion, and what changed before it.
#[derive(Clone, Copy, Debug)]
pub struct Action {
    /// The coordinates were renamed by this much, or places found.
    pub renamed: Point,
    /// How far all names that the program has given lie from the places they were given to.
    pub frame: Point,
    /// The seats of these axes were forgotten.
    pub unseat: PerAxis<bool>,
    /// What the program has told once the block of the motion is done.
    pub told: Told,
    /// Then this motion.
    pub motion: Motion,
}

impl Action {
    /// Lets a machine do it; hands over the pieces of the tool's path with the length of command that
    /// made each. With `coarse` chords of arcs are long, where only the end matters.
    pub fn drive(&self, machine: &mut Machine, coarse: Chords, mut piece: impl FnMut(&Piece, f64)) {
        let curve = &self.motion.curve;
        // Which way an axis with slack moved is not known: neither is where it stood on the way.
        let lost = self.motion.from_unknown.iter().any(|(axis, unknown)| *unknown && machine.is_slack(axis));
        for axis in Axis::ALL {
            machine.shift(axis, *self.renamed.get(axis));
            if *self.unseat.get(axis) {
                machine.unseat(axis, *curve.start.get(axis));
            }
        }
        let chords = match coarse {
            Chords::Fine => curve.chords(SAGITTA_MM),
            Chords::Coarse => curve.chords(1.0),
        };
        let mut from = curve.start;
        for k in 1..=chords {
            let to = curve.at(f64::from(k) / f64::from(chords));
            let shares = machine.shares(&from, &to);
            let length = super::geometry::distance(&from, &to) / f64::from(shares);
            for share in 0..shares {
                machine.drive_share(&from, &to, share, shares, |p| {
                    piece(&Piece { seated: p.seated && !lost, ..*p }, length * p.share);
                });
            }
            from = to;
        }
        for axis in Axis::ALL {
            if *self.motion.from_unknown.get(axis) {
                machine.unseat(axis, *curve.end.get(axis));
            }
        }
    }
}

fn plus(a: &Point, b: &Point) -> Point {
    PerAxis::from_fn(|axis| a.get(axis) + b.get(axis))
}

/// How arcs are cut into chords.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Chords {
    /// So fine that they pass for the arc.
    Fine,
    /// A few.
    Coarse,
}

/// A program being read.
#[derive(Clone, Debug)]
pub struct Feed {
    interpreter: Interpreter,
    renamed: Point,
    frame: Point,
    unseat: PerAxis<bool>,
    ended: bool,
}

impl Feed {
    /// At the start of a program.
    #[must_use]
    pub fn new(reading: Reading) -> Self {
        Self {
            interpreter: Interpreter::new(reading),
            renamed: Point::default(),
            frame: Point::default(),
            unseat: PerAxis::default(),
            ended: false,
        }
    }

    /// Takes a line.
    ///
    /// # Errors
    /// As [`Interpreter::read`].
    pub fn read(&mut self, line: &[u8]) -> Result<(), Refusal> {
        self.interpreter.read(line)
    }

    /// There are no more lines.
    pub const fn end(&mut self) {
        self.ended = true;
    }

    /// Whether no more lines are wanted.
    #[must_use]
    pub const fn ended(&self) -> bool {
        self.ended
    }

    /// As [`Interpreter::unit_assumed`].
    #[must_use]
    pub const fn unit_assumed(&self) -> Option<u64> {
        self.interpreter.unit_assumed()
    }

    /// The next action, or `None` when a line is wanted or the program has ended.
    ///
    /// # Errors
    /// As [`Interpreter::next`].
    pub fn next(&mut self) -> Result<Option<Action>, Refusal> {
        while let Some(event) = self.interpreter.next()? {
            match event {
                Event::Unseat { axes, .. } => {
                    self.unseat = PerAxis::from_fn(|axis| *self.unseat.get(axis) || *axes.get(axis));
                }
                Event::Rename { from, to } => {
                    let by = minus(&to, &from);
                    self.renamed = plus(&self.renamed, &by);
                    self.frame = plus(&self.frame, &by);
                }
                Event::Jump { from, to } => self.renamed = plus(&self.renamed, &minus(&to, &from)),
                Event::Motion(motion) => {
                    let (renamed, frame, unseat) = (self.renamed, self.frame, self.unseat);
                    let axes = PerAxis::from_fn(|axis| self.interpreter.is_known(axis));
                    let (losses, until) = (self.interpreter.losses(), self.interpreter.told_until());
                    let told = Told { axes, losses, until };
                    let action = Action { renamed, frame, unseat, told, motion };
                    self.renamed = Point::default();
                    self.unseat = PerAxis::default();
                    return Ok(Some(action));
                }
            }
        }
        Ok(None)
    }
}

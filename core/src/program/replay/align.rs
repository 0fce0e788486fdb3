//! Which motion of the rewritten program stands for which motion of the original.
//!
//! Judged by geometry and order alone: the cheapest way to turn one sequence of end points into the
//! other, as in an edit distance. A pair costs the distance of its ends, where either the command or
//! the tool may be what meets the original's end: the command does in a program that was not
//! corrected, the tool in one that was. An inserted motion is cheap while it keeps to the path (a
//! take-up, a part of a split motion), and dearer the farther it strays. A missing motion costs its
//! length. Only a window of each sequence is looked at; the first half of the result is settled.

use super::geometry::{Curve, Point, distance};
use crate::axis::PerAxis;
use heapless::Vec;

/// Motions of the original that are looked at together: small letters cut in several passes come back to the same
/// places, and half of a window must tell which pass it is.
pub const ORIGINALS: usize = 40;
/// Motions of the rewritten program that are looked at together: an arc in both axes becomes up to nine.
pub const REWRITTENS: usize = 120;

/// Cost of an inserted motion that keeps to the path (mm).
const INSERT: f32 = 0.002;
/// Share of the distance that a rapid costs that ends within a clearance of where it should: more than an insertion
/// costs that strays as far, so that an overrun is not taken for the rapid that it follows.
const SHIFTED: f64 = 0.1;
/// The share where both ways are equally long, as those between the pecks of a cycle are.
const SHIFTED_ALIKE: f64 = 0.01;
/// Cost of a missing motion, however short (mm).
const MISSING: f32 = 0.05;

/// An end of a motion of the original.
#[derive(Clone, Copy, Debug)]
pub struct Intended {
    /// The curve.
    pub curve: Curve,
    /// Its length (mm).
    pub length: f64,
    /// It is a rapid.
    pub rapid: bool,
}

/// A motion of the rewritten program.
#[derive(Clone, Copy, Debug)]
pub struct Driven {
    /// Where its command ends.
    pub command: Point,
    /// Where the tool was before it, and is after it.
    pub tool: (Point, Point),
    /// Length of the command (mm).
    pub length: f64,
    /// It is a rapid.
    pub rapid: bool,
    /// All seats were known before it.
    pub seated: bool,
}

/// One step of the alignment.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Step {
    /// The next motion of the rewritten program completes the next one of the original.
    Pair,
    /// The next motion of the rewritten program comes before the next one of the original is complete.
    Inserted,
    /// The next motion of the original has no counterpart.
    Missing,
}

/// Whether more of a sequence follows behind its window.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Rest {
    /// It goes on.
    More,
    /// The window holds the end.
    End,
}

fn pair_cost(p: &Intended, q: &Driven, lag: &PerAxis<f64>) -> f32 {
    let mut cost = 0.0;
    // To the last digits that are written.
    let share = if libm::fabs(p.length - q.length) < 0.002 { SHIFTED_ALIKE } else { SHIFTED };
    for axis in crate::axis::Axis::ALL {
        let end = *p.curve.end.get(axis);
        let command = libm::fabs(q.command.get(axis) - end);
        let tool = libm::fabs(q.tool.1.get(axis) - end);
        let off = command.min(tool);
        // A cycle's R plane is corrected with its depth, and both command and tool of the rapids at it are off. So are
        // they where a seat is not known.
        let shifted = ((p.rapid && q.rapid) || !q.seated) && off <= *lag.get(axis);
        // The tool decides where the command could stand for two motions.
        cost += if shifted { share * off } else { off } + 0.01 * tool;
    }
    // So for the length: a command that first crosses a clearance is longer than the way of the tool.
    cost += mismatch(p.length, q.length).min(mismatch(p.length, distance(&q.tool.0, &q.tool.1)));
    if p.rapid != q.rapid {
        cost += 0.05;
    }
    cost as f32
}

/// What two lengths that should be the same cost.
fn mismatch(a: f64, b: f64) -> f64 {
    let (short, long) = if a < b { (a, b) } else { (b, a) };
    if long > 0.0 { f64::min(0.05 * (1.0 - short / long), 0.2 * (long - short)) } else { 0.0 }
}

fn insert_cost(p: Option<&Intended>, q: &Driven) -> f32 {
    let Some(p) = p else { return 0.05 };
    let from_path = |point: &Point| p.curve.nearest(point, 0.0, 1.0).1;
    // Standing still is a take-up, wherever the command went.
    let moved = distance(&q.tool.0, &q.tool.1);
    let strayed = from_path(&q.tool.1).min(from_path(&q.command)).min(moved);
    INSERT + (0.05 * strayed) as f32
}

fn missing_cost(p: &Intended) -> f32 {
    MISSING + (0.5 * p.length) as f32
}

/// Aligns two windows; gives the steps of the part that is settled, in order.
pub fn align(
    originals: &[Intended],
    originals_rest: Rest,
    rewrittens: &[Driven],
    rewrittens_rest: Rest,
    lag: &PerAxis<f64>,
    steps: &mut Vec<Step, { ORIGINALS + REWRITTENS }>,
) {
    const WIDTH: usize = REWRITTENS + 1;
    steps.clear();
    // costs[j]: cheapest way to have used the originals of the row and j rewrittens.
    let mut costs = [f32::INFINITY; WIDTH];
    let mut came: [[Step; WIDTH]; ORIGINALS + 1] = [[Step::Inserted; WIDTH]; ORIGINALS + 1];
    let (n, m) = (originals.len(), rewrittens.len());
    let mut best = (f32::INFINITY, n, m);
    let mut consider = |cost: f32, i: usize, j: usize| {
        let reaches = (i == n && (originals_rest == Rest::More || j == m))
            || (j == m && (rewrittens_rest == Rest::More || i == n));
        if reaches && cost < best.0 {
            best = (cost, i, j);
        }
    };
    for (i, row) in came.iter_mut().enumerate().take(n.saturating_add(1)) {
        let above = i.checked_sub(1).and_then(|i| originals.get(i));
        let next = originals.get(i);
        let missing = above.map_or(f32::INFINITY, missing_cost);
        let mut diagonal = f32::INFINITY; // cost of (i - 1, j - 1)
        let mut left = f32::INFINITY; // cost of (i, j - 1)
        let mut previous: Option<&Driven> = None;
        let mut queue = rewrittens.iter();
        for (j, (cost, step)) in costs.iter_mut().zip(row.iter_mut()).enumerate().take(m.saturating_add(1)) {
            let up = *cost;
            let (mut least, mut how) =
                if i == 0 && j == 0 { (0.0, Step::Pair) } else { (up + missing, Step::Missing) };
            if let Some(q) = previous {
                if let Some(p) = above {
                    let pair = diagonal + if diagonal < least { pair_cost(p, q, lag) } else { 0.0 };
                    if pair < least {
                        (least, how) = (pair, Step::Pair);
                    }
                }
                if left < least {
                    let inserted = left + insert_cost(next, q);
                    if inserted < least {
                        (least, how) = (inserted, Step::Inserted);
                    }
                }
            }
            *cost = least;
            *step = how;
            consider(least, i, j);
            (diagonal, left) = (up, least);
            previous = queue.next();
        }
    }
    let (_, mut i, mut j) = best;
    while i > 0 || j > 0 {
        let step = came.get(i).and_then(|row| row.get(j)).copied().unwrap_or(Step::Inserted);
        let step = match step {
            Step::Pair if i == 0 => Step::Inserted,
            Step::Pair if j == 0 => Step::Missing,
            Step::Inserted if j == 0 => Step::Missing,
            Step::Missing if i == 0 => Step::Inserted,
            step => step,
        };
        if !matches!(step, Step::Inserted) {
            i = i.saturating_sub(1);
        }
        if !matches!(step, Step::Missing) {
            j = j.saturating_sub(1);
        }
        if steps.push(step).is_err() {
            break;
        }
    }
    steps.reverse();
    let ended = originals_rest == Rest::End && rewrittens_rest == Rest::End;
    if !ended {
        let settled = steps.len().div_ceil(2);
        steps.truncate(settled);
    }
}

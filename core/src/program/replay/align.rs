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

/// The steps of an alignment.
pub type Steps = Vec<Step, { ORIGINALS + REWRITTENS }>;

const WIDTH: usize = REWRITTENS + 1;
/// How each place of the table was come to.
type Came = [[Step; WIDTH]; ORIGINALS + 1];

/// Up to which cost ways are followed, one after the other: nearly all that is aligned costs little, and whatever costs
/// more than the bound is no part of a way within it.
const BOUNDS: [f32; 3] = [0.25, 2.5, f32::INFINITY];

/// Two windows.
struct Windows<'a> {
    originals: &'a [Intended],
    originals_rest: Rest,
    rewrittens: &'a [Driven],
    rewrittens_rest: Rest,
    lag: &'a PerAxis<f64>,
}

impl Windows<'_> {
    /// Whether a way may end once so many of both have been used.
    fn may_end(&self, i: usize, j: usize) -> bool {
        let (n, m) = (self.originals.len(), self.rewrittens.len());
        (i == n && (self.originals_rest == Rest::More || j == m))
            || (j == m && (self.rewrittens_rest == Rest::More || i == n))
    }

    /// The cheapest way within a bound: its cost, and how many of both it has used. Its steps are in `came`.
    fn cheapest(&self, bound: f32, came: &mut Came) -> (f32, usize, usize) {
        let (n, m) = (self.originals.len(), self.rewrittens.len());
        let mut best = (f32::INFINITY, n, m);
        // costs[j]: cheapest way to have used the originals of the row and j rewrittens, if it is within the bound.
        let mut costs = [f32::INFINITY; WIDTH];
        // Where those of the row above begin and end.
        let (mut low, mut high) = (0, 0);
        for (i, row) in came.iter_mut().enumerate().take(n.saturating_add(1)) {
            let above = i.checked_sub(1).and_then(|i| self.originals.get(i));
            let next = self.originals.get(i);
            let missing = above.map_or(f32::INFINITY, missing_cost);
            let mut diagonal = f32::INFINITY; // cost of (i - 1, j - 1)
            let mut left = f32::INFINITY; // cost of (i, j - 1)
            let mut within: Option<(usize, usize)> = None;
            let cells = costs.iter_mut().zip(row.iter_mut()).enumerate();
            for (j, (cost, step)) in cells.take(m.saturating_add(1)).skip(low) {
                if j > high && left.min(diagonal) == f32::INFINITY {
                    break; // no way leads here
                }
                let up = *cost;
                let (mut least, mut how) =
                    if i == 0 && j == 0 { (0.0, Step::Pair) } else { (up + missing, Step::Missing) };
                if let Some(q) = j.checked_sub(1).and_then(|j| self.rewrittens.get(j)) {
                    if let Some(p) = above {
                        let pair = diagonal + if diagonal < least { pair_cost(p, q, self.lag) } else { 0.0 };
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
                if least > bound {
                    least = f32::INFINITY;
                }
                if least < f32::INFINITY {
                    within = Some((within.map_or(j, |(first, _)| first), j));
                    if least < best.0 && self.may_end(i, j) {
                        best = (least, i, j);
                    }
                }
                (*cost, *step) = (least, how);
                (diagonal, left) = (up, least);
            }
            let Some(now) = within else { break };
            (low, high) = now;
        }
        best
    }

    /// The steps of the part that is settled, found within the first bound that is wide enough.
    fn settled(&self, bounds: &[f32], steps: &mut Steps) {
        steps.clear();
        let mut came: Came = [[Step::Inserted; WIDTH]; ORIGINALS + 1];
        let mut best = (f32::INFINITY, self.originals.len(), self.rewrittens.len());
        for bound in bounds {
            best = self.cheapest(*bound, &mut came);
            if best.0 <= *bound {
                break;
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
        let ended = self.originals_rest == Rest::End && self.rewrittens_rest == Rest::End;
        if !ended {
            let settled = steps.len().div_ceil(2);
            steps.truncate(settled);
        }
    }
}

/// Aligns two windows; gives the steps of the part that is settled, in order.
pub fn align(
    originals: &[Intended],
    originals_rest: Rest,
    rewrittens: &[Driven],
    rewrittens_rest: Rest,
    lag: &PerAxis<f64>,
    steps: &mut Steps,
) {
    Windows { originals, originals_rest, rewrittens, rewrittens_rest, lag }.settled(&BOUNDS, steps);
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// What becomes of one motion: which way it goes, by how much the end is off, whether it is rapid, inserted or missing.
    type Fate = ([f64; 3], f64, u8);

    fn windows(fates: &[Fate]) -> (std::vec::Vec<Intended>, std::vec::Vec<Driven>) {
        let (mut originals, mut rewrittens) = (std::vec::Vec::new(), std::vec::Vec::new());
        let (mut at, mut tool) = (Point::default(), Point::default());
        for ([x, y, z], off, kind) in fates.iter().copied() {
            let from = at;
            at = Point { x: at.x + x, y: at.y + y, z: at.z + z };
            let command = Point { z: at.z + off, ..at };
            let rapid = kind % 8 == 1;
            let curve = Curve::line(from, at);
            let (is_inserted, is_missing) = (kind % 5 == 2, kind % 7 == 3);
            if !is_inserted && originals.len() < ORIGINALS {
                originals.push(Intended { curve, length: curve.length(), rapid });
            }
            if !is_missing && rewrittens.len() < REWRITTENS {
                let length = distance(&from, &command);
                rewrittens.push(Driven { command, tool: (tool, at), length, rapid, seated: kind % 3 != 0 });
                tool = at;
            }
        }
        (originals, rewrittens)
    }

    /// The cost of the cheapest way by the whole table.
    fn by_the_whole_table(windows: &Windows<'_>) -> f32 {
        let (n, m) = (windows.originals.len(), windows.rewrittens.len());
        let mut costs = std::vec![std::vec![f32::INFINITY; m + 1]; n + 1];
        costs[0][0] = 0.0;
        let mut best = f32::INFINITY;
        for i in 0..=n {
            for j in 0..=m {
                let mut least = costs[i][j];
                if i > 0 {
                    least = least.min(costs[i - 1][j] + missing_cost(&windows.originals[i - 1]));
                }
                if j > 0 {
                    let q = &windows.rewrittens[j - 1];
                    least = least.min(costs[i][j - 1] + insert_cost(windows.originals.get(i), q));
                    if i > 0 {
                        let pair = pair_cost(&windows.originals[i - 1], q, windows.lag);
                        least = least.min(costs[i - 1][j - 1] + pair);
                    }
                }
                costs[i][j] = least;
                if windows.may_end(i, j) {
                    best = best.min(least);
                }
            }
        }
        best
    }

    proptest! {
        #[test]
        fn bounds_only_save_work(
            fates in proptest::collection::vec(
                (prop_oneof![Just([0.0; 3]), [-0.3..0.3, -0.3..0.3, -0.1..0.1f64], [-20.0..20.0, -20.0..20.0, -5.0..5.0f64]],
                 prop_oneof![3 => Just(0.0), 1 => -0.12..0.12f64], any::<u8>()),
                0..120),
            ends in any::<(bool, bool)>(),
        ) {
            let (originals, rewrittens) = windows(&fates);
            let rest = |ends| if ends { Rest::End } else { Rest::More };
            let windows = Windows {
                originals: &originals,
                originals_rest: rest(ends.0),
                rewrittens: &rewrittens,
                rewrittens_rest: rest(ends.1),
                lag: &PerAxis { x: 0.1, y: 0.0, z: 0.2 },
            };
            let (mut bounded, mut whole) = (Steps::new(), Steps::new());
            windows.settled(&BOUNDS, &mut bounded);
            windows.settled(&[f32::INFINITY], &mut whole);
            prop_assert_eq!(bounded, whole);
            let least = by_the_whole_table(&windows);
            for bound in BOUNDS {
                let mut came: Came = [[Step::Inserted; WIDTH]; ORIGINALS + 1];
                let found = windows.cheapest(bound, &mut came).0;
                prop_assert_eq!(found, if least <= bound { least } else { f32::INFINITY });
            }
        }
    }
}

//! How far one tool path is from the path intended.
//!
//! Both ways, as in a Hausdorff distance, but local: a place of the tool is compared with the cut
//! intended near the place where it belongs, and a place intended with what the tool does near
//! there. *Near* is a length along the path of a few clearances. So a lag along a straight line
//! counts where it matters, at the ends that the tool does not reach; a line cut in many short
//! motions is judged as the same line in one; and a neighbouring cut cannot stand in for this one.

use super::{
    figures::Collector,
    geometry::{Curve, Point, between, distance, distance_to_piece},
    interpret::Rate,
    machine::Piece,
};
use crate::axis::{Axis, PerAxis};
use heapless::Deque;

/// Motions of the original that are kept before and behind the present one.
pub const KEPT: usize = 96;
/// Places intended that wait for the tool to come by.
const WAITING: usize = 256;

/// A motion of the path intended.
#[derive(Clone, Copy, Debug)]
pub struct Intent {
    /// Where it runs.
    pub curve: Curve,
    /// Its length (mm).
    pub length: f64,
    /// Length of the path before it (mm).
    pub begins: f64,
    /// Rapid or feed.
    pub rate: Rate,
    /// The line that commands it.
    pub line: u64,
    /// The axis that goes into the work and out of it.
    pub depth: Axis,
    /// Its number, counted from 0.
    pub number: u64,
}

impl Intent {
    fn ends(&self) -> f64 {
        self.begins + self.length
    }

    fn cuts(&self) -> bool {
        self.rate == Rate::Feed
    }

    /// The share of the curve at a length along the path, held to the motion.
    fn share(&self, along: f64) -> f64 {
        let way = if self.length > 0.0 { (along - self.begins) / self.length } else { 0.0 };
        self.curve.share(way.clamp(0.0, 1.0))
    }

    /// The length along the path at a share of the curve.
    fn along(&self, share: f64) -> f64 {
        self.begins + self.length * self.curve.way(share)
    }
}

/// The motions around the present one.
#[derive(Clone, Debug, Default)]
pub struct Path {
    kept: Deque<Intent, KEPT>,
}

impl Path {
    /// Adds the next motion; the oldest goes when the room is full.
    pub fn push(&mut self, intent: Intent) {
        if self.kept.is_full() {
            self.kept.pop_front();
        }
        let _ = self.kept.push_back(intent);
    }

    /// A motion by its number, if it is kept.
    #[must_use]
    pub fn get(&self, number: u64) -> Option<&Intent> {
        let first = self.kept.front()?.number;
        self.kept.get(usize::try_from(number.checked_sub(first)?).ok()?)
    }

    /// The cutting motions from a number backward, then forward, without a gap, as far as a range of
    /// path length reaches.
    fn around(&self, number: u64, low: f64, high: f64) -> impl Iterator<Item = &Intent> {
        let back = (0..=number).rev().map_while(move |n| self.get(n));
        let back =
            back.take_while(move |m| m.cuts()).take_while(move |m| m.number == number || m.ends() >= low);
        let forward = (number.saturating_add(1)..).map_while(move |n| self.get(n));
        let forward = forward.take_while(move |m| m.cuts() && m.begins <= high);
        back.chain(forward)
    }
}

/// A place intended that the tool may still come by.
#[derive(Clone, Copy, Debug)]
struct Wanted {
    at: Point,
    along: f64,
    weight: f64,
    line: u64,
    nearest: f64,
    seated: bool,
    begins: bool,
}

/// A judged place, for plots.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Judged {
    /// Where on the path intended.
    pub at: Point,
    /// How far the tool stays from it (mm); `None` while a seat was not known.
    pub deviation_mm: Option<f64>,
    /// The line of the original.
    pub line: u64,
    /// A cut begins here.
    pub begins: bool,
}

/// The comparison of one tool path.
#[derive(Clone, Debug)]
pub struct Track {
    /// Length along the path that counts as near (mm).
    near: f64,
    /// How far the tool may lag behind its command (mm).
    lag: PerAxis<f64>,
    /// How far along the path the tool has come.
    along: f64,
    /// How far the command has come: where the tool would be without lag.
    commanded: f64,
    waiting: Deque<Wanted, WAITING>,
    /// The next place to wait for: motion, and which of its places.
    next: (u64, u32),
    unseated: f64,
    last: Option<Point>,
    /// What was found.
    pub found: Collector,
}

impl Track {
    /// A comparison on a machine whose clearances add up to a width, each the widest of its axis (mm).
    #[must_use]
    pub fn new(clearances_mm: f64, widest_mm: PerAxis<f64>) -> Self {
        Self {
            // Its command is written to a thousandth: half of that may be added.
            lag: widest_mm.map(|widest| widest + 0.5e-3),
            // A tool that lags stays within the sum of the clearances; three times that leaves room
            // for the alignment to be off by one.
            near: 3.0 * clearances_mm + 0.05,
            along: 0.0,
            commanded: 0.0,
            waiting: Deque::new(),
            next: (0, 0),
            unseated: 0.0,
            last: None,
            found: Collector::default(),
        }
    }

    /// The length that counts as near (mm).
    #[must_use]
    pub const fn near_mm(&self) -> f64 {
        self.near
    }

    /// The clearance of each axis at most, with what rounding of a command may add (mm).
    #[must_use]
    pub const fn lag(&self) -> &PerAxis<f64> {
        &self.lag
    }

    /// Length cut while a seat was not known (mm).
    #[must_use]
    pub const fn unseated_mm(&self) -> f64 {
        self.unseated
    }

    /// The tool leaves the path intended for a place not intended at all.
    pub fn strayed(&mut self, deviation: f64, length: f64, line: u64, at: Point) {
        self.found.add(deviation, length, line, at);
    }

    /// The distance of a place from the cut near the present place, and where along it that is.
    #[must_use]
    pub fn distance(&self, path: &Path, number: u64, q: &Point, reach: f64) -> Option<(f64, f64)> {
        let commanded = self.commanded + reach;
        let (low, high) = (self.along.min(commanded) - self.near, self.along.max(commanded) + self.near);
        let mut best: Option<(f64, f64)> = None;
        for motion in path.around(number, low, high) {
            let (t, d) = motion.curve.nearest(q, motion.share(low), motion.share(high));
            let along = motion.along(t);
            if best.is_none_or(|(least, place)| {
                // Where two places are equally near, the one that is not behind.
                d < least - 1e-9
                    || (d < least + 1e-9 && libm::fabs(along - commanded) < libm::fabs(place - commanded))
            }) {
                best = Some((d, along));
            }
        }
        best
    }

    /// A piece of the tool's path that belongs to a cutting motion; `command` is the length of
    /// command that made it.
    pub fn cut(
        &mut self,
        path: &Path,
        number: u64,
        piece: &Piece,
        command: f64,
        judged: &mut impl FnMut(Judged),
    ) {
        let length = distance(&piece.from, &piece.to);
        let line = path.get(number).map_or(0, |motion| motion.line);
        let from = self.along;
        let mut to = from;
        if self.last != Some(piece.from)
            && piece.seated
            && let Some((d, _)) = self.distance(path, number, &piece.from, 0.0)
        {
            self.found.add(d, 0.0, line, piece.from);
        }
        self.last = Some(piece.to);
        let count = libm::ceil(length / (self.near / 2.0)).clamp(1.0, 8.0) as u32;
        for k in 1..=count {
            let q = between(&piece.from, &piece.to, f64::from(k) / f64::from(count));
            let reach = command * f64::from(k) / f64::from(count);
            if let Some((d, along)) = self.distance(path, number, &q, reach) {
                if piece.seated {
                    self.found.add(d, length / f64::from(count), line, q);
                }
                // Never further than the command has gone, where the path comes near to itself.
                to = to.max(along.min(self.commanded + reach));
            }
        }
        if !piece.seated {
            self.unseated += command;
        }
        self.want(path, to + self.near, &piece.from, piece.seated);
        let (low, high) = (from - self.near, to + self.near);
        for wanted in self.waiting.iter_mut().filter(|w| w.along >= low && w.along <= high) {
            wanted.nearest = wanted.nearest.min(distance_to_piece(&piece.from, &piece.to, &wanted.at));
            wanted.seated &= piece.seated;
        }
        self.along = to;
        self.commanded += command;
        self.settle(to - 2.0 * self.near, judged);
    }

    /// The place of the path intended that the tool has come to, within a motion.
    #[must_use]
    pub fn reached(&self, motion: &Intent) -> Point {
        motion.curve.at(motion.share(self.along))
    }

    /// After an excursion the tool is at `q`: the nearest place of the motion it was in, which lies no
    /// further along than it had come. A full circle ends where it begins.
    pub fn resume(&mut self, path: &Path, number: u64, q: &Point) {
        if let Some(motion) = path.get(number) {
            self.along = motion.along(motion.curve.nearest(q, 0.0, motion.share(self.along)).0);
            self.commanded = self.along;
            self.last = Some(*q);
        }
    }

    /// Before more of the same cut: where the tool was taken away meanwhile it resumes from `q`.
    pub fn come_back(&mut self, path: &Path, number: u64, q: &Point) {
        if self.last != Some(*q) {
            self.resume(path, number, q);
        }
    }

    /// A motion of the original is over: the tool should now be at its end, if it is known where it is.
    pub fn complete(
        &mut self,
        path: &Path,
        number: u64,
        (tool, seated): (&Point, bool),
        judged: &mut impl FnMut(Judged),
    ) {
        let Some(motion) = path.get(number) else { return };
        if motion.cuts() {
            self.come_out(path, motion, (tool, seated));
        } else {
            self.close(judged);
            self.last = None;
            self.next = (number.saturating_add(1), 0);
        }
        self.along = motion.ends();
        self.commanded = self.along;
    }

    /// The tool is where it leaves a cut: within reach of its end, or a clearance short of it on its way straight out.
    pub fn come_out(&mut self, path: &Path, motion: &Intent, (tool, seated): (&Point, bool)) {
        self.want(path, motion.ends(), tool, seated);
        if !self.is_all_but_out(path, motion, tool) {
            return;
        }
        let height = *tool.get(motion.depth);
        let above = |w: &&mut Wanted| w.along >= motion.begins && *w.at.get(motion.depth) > height;
        for wanted in self.waiting.iter_mut().filter(above) {
            let mut level = wanted.at;
            *level.get_mut(motion.depth) = height;
            wanted.nearest = distance(&level, tool).min(wanted.nearest);
        }
    }

    /// Judges what still waits: a cut is over, or the program.
    pub fn close(&mut self, judged: &mut impl FnMut(Judged)) {
        self.settle(f64::INFINITY, judged);
    }

    /// Waits for the places of the path up to a length along it, within the present cut.
    fn want(&mut self, path: &Path, limit: f64, tool: &Point, seated: bool) {
        while let Some(motion) = path.get(self.next.0) {
            if !motion.cuts() || motion.begins > limit {
                return;
            }
            let Some((along, weight)) = place(motion.length, self.near, parts(motion), self.next.1) else {
                self.next = (self.next.0.saturating_add(1), 0);
                continue;
            };
            if motion.begins + along > limit {
                return;
            }
            if self.waiting.is_full() {
                self.settle_one(&mut |_| {});
            }
            let way = if motion.length > 0.0 { along / motion.length } else { 0.0 };
            let at = motion.curve.at(motion.curve.share(way));
            self.next.1 = self.next.1.saturating_add(1);
            let begins = after_rapid(path, motion) && along == 0.0;
            if self.began_below(path, motion, &at, tool) {
                continue;
            }
            let _ = self.waiting.push_back(Wanted {
                at,
                along: motion.begins + along,
                weight,
                line: motion.line,
                nearest: distance(&at, tool),
                seated,
                begins,
            });
        }
    }

    /// Whether a place is the upper part of a straight plunge that a rapid has taken already: a tool
    /// that lags on its way up starts the plunge lower, by its clearance at most, where nothing is left
    /// to cut.
    fn began_below(&self, path: &Path, motion: &Intent, at: &Point, tool: &Point) -> bool {
        let depth = motion.depth;
        let (start, end) = (*motion.curve.start.get(depth), *motion.curve.end.get(depth));
        let plunge = along_alone(motion) && end < start;
        let height = *tool.get(depth);
        let lags = height < *at.get(depth) && start - height <= *self.lag.get(depth);
        plunge && after_rapid(path, motion) && self.along <= motion.begins && lags
    }

    /// The counterpart of `began_below`: a tool that lags on its way straight out stops lower, by its clearance at most,
    /// where a rapid takes over, and nothing is cut above.
    #[must_use]
    pub fn is_all_but_out(&self, path: &Path, motion: &Intent, tool: &Point) -> bool {
        let depth = motion.depth;
        let (start, end) = (*motion.curve.start.get(depth), *motion.curve.end.get(depth));
        let rises = along_alone(motion) && end > start;
        let rapid_follows = path.get(motion.number.saturating_add(1)).is_none_or(|next| !next.cuts());
        rises && rapid_follows && end - tool.get(depth) <= *self.lag.get(depth)
    }

    fn settle(&mut self, limit: f64, judged: &mut impl FnMut(Judged)) {
        while self.waiting.front().is_some_and(|wanted| wanted.along < limit) {
            self.settle_one(judged);
        }
    }

    fn settle_one(&mut self, judged: &mut impl FnMut(Judged)) {
        let Some(wanted) = self.waiting.pop_front() else { return };
        if wanted.seated {
            self.found.add(wanted.nearest, wanted.weight, wanted.line, wanted.at);
        }
        let deviation_mm = wanted.seated.then_some(wanted.nearest);
        judged(Judged { at: wanted.at, deviation_mm, line: wanted.line, begins: wanted.begins });
    }
}

/// Whether a motion goes along its depth axis alone.
fn along_alone(motion: &Intent) -> bool {
    let (start, end) = (&motion.curve.start, &motion.curve.end);
    Axis::ALL.into_iter().all(|axis| axis == motion.depth || start.get(axis) == end.get(axis))
}

/// Whether a cut begins with a motion.
fn after_rapid(path: &Path, motion: &Intent) -> bool {
    motion.number.checked_sub(1).and_then(|n| path.get(n)).is_none_or(|earlier| !earlier.cuts())
}

/// Into how many parts the middle of a long motion is divided: more on arcs, which plots show.
fn parts(motion: &Intent) -> u32 {
    motion.curve.chords(0.05).clamp(14, 200)
}

/// The `k`-th place of a motion that is waited for, and the length it stands for: close together
/// within `near` of the ends, where a lag shows, and `parts` parts in between.
fn place(length: f64, near: f64, parts: u32, k: u32) -> Option<(f64, f64)> {
    let knot = |k: i64| -> Option<f64> {
        if length <= 8.0 * near {
            let count = libm::ceil(length / (near / 2.0)).max(1.0);
            return (k >= 0 && k as f64 <= count).then(|| length * k as f64 / count);
        }
        let end = |k: i64| match k {
            0 => 0.0,
            1 => near / 8.0,
            2 => near / 4.0,
            _ => near / 2.0,
        };
        // Four places at either end, and the ends of the parts between them.
        let last = i64::from(parts).saturating_add(8);
        match k {
            _ if k < 0 || k > last => None,
            0..=3 => Some(end(k)),
            _ if k > last.saturating_sub(4) => Some(length - end(last.saturating_sub(k))),
            _ => Some(near + (length - 2.0 * near) * k.saturating_sub(4) as f64 / f64::from(parts)),
        }
    };
    let here = knot(i64::from(k))?;
    let before = knot(i64::from(k).saturating_sub(1)).unwrap_or(here);
    let after = knot(i64::from(k).saturating_add(1)).unwrap_or(here);
    Some((here, (after - before) / 2.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_places_of_a_motion_stand_for_its_whole_length() {
        for length in [1e-4, 0.1, 1.0, 3.0, 4.0, 100.0] {
            let places: std::vec::Vec<_> = (0..).map_while(|k| place(length, 0.4, 14, k)).collect();
            let sum: f64 = places.iter().map(|p| p.1).sum();
            assert!((sum - length).abs() < 1e-9 * length, "{length}: {sum}");
            assert!(places.windows(2).all(|w| w[0].0 <= w[1].0));
            assert_eq!((places[0].0, places.last().unwrap().0), (0.0, length));
        }
    }
}

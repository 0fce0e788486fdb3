//! Drilling cycles G73, G74, G76 and G81 to G89 as strokes.
//!
//! After NISTIR 6556 (RS274/NGC), section 3.5.16: a first rapid up to the R plane when the tool is
//! below it, then for each repeat a rapid to the hole, a rapid to R, the strokes of the cycle, and
//! the way out to R (G99) or to the level before the cycle began if that is higher (G98).

use super::{geometry::Plane, interpret::Rate, refusal::Reason};
use crate::{
    axis::{Axis, PerAxis},
    length::Length,
};
use heapless::Deque;

/// How far short of the last depth a pecking drill stops its rapid, and how far G73 backs off:
/// 0.254 mm, the 0.010 in of NISTIR 6556.
const PECK_CLEARANCE: Length = Length::from_counts(2_540_000);

/// The most strokes into the work that one block may ask for, in one hole or in many: a peck mistyped by some powers of
/// ten asks for more than anybody waits for.
const MOST_STROKES: i64 = 20_000;

/// A cycle by its G word.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CycleKind {
    /// G81, G82, G86, G88: feed down, rapid out.
    Drill,
    /// G85, G89: feed down, feed out.
    FeedOut,
    /// G74, G84, G84.1 to G84.3, G184: tap down, tap out.
    Tap,
    /// G73: peck and back off a little.
    ChipBreak,
    /// G83: peck and come out to R.
    Peck,
    /// G76: feed down, step aside at the bottom by a way that the machine knows, rapid out, step back.
    FineBore,
    /// G87: bore upward from below.
    BackBore,
}

impl CycleKind {
    /// Whether it pecks.
    #[must_use]
    pub const fn pecks(self) -> bool {
        matches!(self, CycleKind::ChipBreak | CycleKind::Peck)
    }

    /// The cycle of a G code in tenths.
    #[must_use]
    pub const fn of_code(code: i64) -> Option<Self> {
        Some(match code {
            730 => CycleKind::ChipBreak,
            810 | 820 | 860 | 880 => CycleKind::Drill,
            830 => CycleKind::Peck,
            850 | 890 => CycleKind::FeedOut,
            740 | 840..=843 | 1840 => CycleKind::Tap,
            760 => CycleKind::FineBore,
            870 => CycleKind::BackBore,
            _ => return None,
        })
    }
}

/// The words that stay from hole to hole, and G98 or G99.
#[derive(Clone, Copy, Debug)]
pub struct Drilling {
    /// G98, which is in force at the start (recalled from memory: common default).
    pub to_initial_level: bool,
    level: Length,
    depth: Option<Length>,
    retract: Option<Length>,
    peck: Option<Length>,
    sides: [Option<Length>; 3],
}

impl Default for Drilling {
    fn default() -> Self {
        Self {
            to_initial_level: true,
            level: Length::ZERO,
            depth: None,
            retract: None,
            peck: None,
            sides: [None; 3],
        }
    }
}

impl Drilling {
    /// A series of cycles begins at a level.
    pub fn begin(&mut self, level: Length) {
        *self = Self { to_initial_level: self.to_initial_level, level, ..Self::default() };
    }

    /// The level before the series is not known: R stands for it, which is where the tool then comes from.
    /// `None` while R is not known either.
    pub fn from_unknown_level(&mut self) -> Option<Length> {
        self.level = self.retract?;
        self.retract
    }

    /// Whether the pecks have sizes of their own: I the first, J by how much each is less than the one before, K the
    /// least (common practice, no source).
    #[must_use]
    pub const fn pecks_by_centre(&self) -> bool {
        self.peck.is_none() && self.sides[0].is_some()
    }

    /// First peck, by how much less each is, the least.
    fn pecks(&self) -> [Length; 3] {
        let size = |length: Option<Length>| length.unwrap_or_default().saturating_abs();
        let [i, j, k] = self.sides.map(size);
        if !self.pecks_by_centre() {
            let all = size(self.peck);
            return [all, Length::ZERO, all];
        }
        let least = if k == Length::ZERO { i } else { k.min(i) };
        [i, j, least]
    }

    /// The series is over: sticky words are forgotten.
    pub fn forget(&mut self) {
        self.begin(Length::ZERO);
    }

    /// Takes the words of a block; what it lacks stays as it was.
    pub fn remember(
        &mut self,
        depth: Option<Length>,
        retract: Option<Length>,
        peck: Option<Length>,
        sides: [Option<Length>; 3],
    ) {
        self.depth = depth.or(self.depth);
        self.retract = retract.or(self.retract);
        self.peck = peck.or(self.peck);
        for (kept, new) in self.sides.iter_mut().zip(sides) {
            *kept = new.or(*kept);
        }
    }
}

/// One block's worth of a cycle, giving stroke after stroke.
#[derive(Clone, Debug)]
pub struct Cycle {
    kind: CycleKind,
    axes: (Axis, Axis, Axis),
    /// The way from hole to hole: a step when incremental, else the place.
    hole: PerAxis<Option<Length>>,
    incremental: bool,
    retract: Length,
    depth: Length,
    out: Length,
    /// The first peck of a hole, by how much each is less than the one before, the least.
    pecks: [Length; 3],
    /// The next one.
    peck: Length,
    sides: [Option<Length>; 3],
    repeats: u32,
    /// Depth reached by pecking, while a hole is being pecked.
    pecked: Option<Length>,
    first: bool,
    /// The rate of the last stroke.
    last: Rate,
    strokes: Deque<(Axes, Rate), 12>,
}

/// New coordinates of some axes.
type Axes = PerAxis<Option<Length>>;

impl Cycle {
    /// The cycle of a block.
    ///
    /// # Errors
    /// [`Reason::CycleLacks`], [`Reason::OutOfRange`], [`Reason::TooManyStrokes`].
    pub fn new(
        kind: CycleKind,
        plane: Plane,
        sticky: &Drilling,
        words: Axes,
        position: PerAxis<Length>,
        incremental: bool,
        repeats: u32,
    ) -> Result<Self, Reason> {
        let axes = plane.axes();
        let third = axes.2;
        let depth = sticky.depth.ok_or(Reason::CycleLacks(third.letter() as u8))?;
        let retract = sticky.retract.ok_or(Reason::CycleLacks(b'R'))?;
        let (retract, depth) = if incremental {
            let from = if sticky.to_initial_level { sticky.level } else { *position.get(third) };
            let retract = from.checked_add(retract).ok_or(Reason::OutOfRange)?;
            (retract, retract.checked_add(depth).ok_or(Reason::OutOfRange)?)
        } else {
            (retract, depth)
        };
        let out = if sticky.to_initial_level { sticky.level.max(retract) } else { retract };
        let mut hole = words;
        *hole.get_mut(third) = None;
        let pecks = sticky.pecks();
        let [first_peck, _, least] = pecks;
        let way = retract.saturating_sub(depth).counts();
        let most = if kind.pecks() { way.checked_div(least.counts()).unwrap_or(1).max(1) } else { 1 };
        if most.saturating_mul(i64::from(repeats)) > MOST_STROKES {
            return Err(Reason::TooManyStrokes);
        }
        Ok(Self {
            kind,
            axes,
            hole,
            incremental,
            retract,
            depth,
            out,
            pecks,
            peck: first_peck,
            sides: sticky.sides,
            repeats,
            pecked: None,
            first: true,
            last: Rate::Rapid,
            strokes: Deque::new(),
        })
    }

    /// The axes that may bear on either side behind it: those along which the tool may have stepped aside and back.
    #[must_use]
    pub fn unsettled(&self) -> PerAxis<bool> {
        PerAxis::from_fn(|axis| self.kind == CycleKind::FineBore && axis != self.axes.2)
    }

    /// The axis of the drill.
    #[must_use]
    pub const fn depth_axis(&self) -> Axis {
        self.axes.2
    }

    /// The rate of the last stroke given.
    #[must_use]
    pub const fn last_rate(&self) -> Rate {
        self.last
    }

    fn third(&self, place: Length) -> Axes {
        let mut axes = PerAxis::default();
        *axes.get_mut(self.axes.2) = Some(place);
        axes
    }

    fn push(&mut self, axes: Axes, rate: Rate) {
        // At most ten strokes are queued for one hole.
        let _ = self.strokes.push_back((axes, rate));
    }

    /// The next stroke from a position: where to and at which rate; `Some(None)` beyond the range of
    /// lengths, `None` when the cycle is done.
    pub fn next_stroke(&mut self, position: PerAxis<Length>) -> Option<Option<(PerAxis<Length>, Rate)>> {
        if self.strokes.is_empty() {
            if let Some(reached) = self.pecked {
                self.peck_from(reached);
            } else {
                self.repeats = self.repeats.checked_sub(1)?;
                if self.start_hole(position).is_none() {
                    return Some(None);
                }
            }
        }
        let (axes, rate) = self.strokes.pop_front()?;
        self.last = rate;
        let mut target = position;
        for axis in Axis::ALL {
            if let Some(place) = axes.get(axis) {
                *target.get_mut(axis) = *place;
            }
        }
        Some(Some((target, rate)))
    }

    fn start_hole(&mut self, position: PerAxis<Length>) -> Option<()> {
        if self.first && *position.get(self.axes.2) < self.retract {
            self.push(self.third(self.retract), Rate::Rapid);
        }
        self.first = false;
        let mut hole = PerAxis::default();
        for axis in [self.axes.0, self.axes.1] {
            let here = *position.get(axis);
            *hole.get_mut(axis) = Some(match self.hole.get(axis) {
                Some(step) if self.incremental => here.checked_add(*step)?,
                Some(place) => *place,
                None => here,
            });
        }
        if self.kind == CycleKind::BackBore {
            let mut aside = hole;
            for axis in [self.axes.0, self.axes.1] {
                let [i, j, k] = self.sides;
                let side = match axis {
                    Axis::X => i,
                    Axis::Y => j,
                    Axis::Z => k,
                };
                if let (Some(place), Some(side)) = (hole.get(axis), side) {
                    *aside.get_mut(axis) = Some(place.checked_add(side)?);
                }
            }
            let [i, j, k] = self.sides;
            let top = match self.axes.2 {
                Axis::X => i,
                Axis::Y => j,
                Axis::Z => k,
            };
            let top = match top {
                Some(top) if self.incremental => self.depth.checked_add(top)?,
                Some(top) => top,
                None => self.depth,
            };
            self.push(aside, Rate::Rapid);
            self.push(self.third(self.retract), Rate::Rapid);
            self.push(self.third(self.depth), Rate::Rapid);
            self.push(hole, Rate::Rapid);
            self.push(self.third(top), Rate::Feed);
            self.push(self.third(self.depth), Rate::Feed);
            self.push(aside, Rate::Rapid);
            self.push(self.third(self.out), Rate::Rapid);
            self.push(hole, Rate::Rapid);
            return Some(());
        }
        self.push(hole, Rate::Rapid);
        self.push(self.third(self.retract), Rate::Rapid);
        match self.kind {
            kind if kind.pecks() && self.pecks[0] > Length::ZERO => {
                self.peck = self.pecks[0];
                self.pecked = Some(self.retract);
            }
            CycleKind::FeedOut | CycleKind::Tap => {
                self.push(self.third(self.depth), Rate::Feed);
                self.push(self.third(self.retract), Rate::Feed);
                self.push(self.third(self.out), Rate::Rapid);
            }
            _ => {
                self.push(self.third(self.depth), Rate::Feed);
                self.push(self.third(self.out), Rate::Rapid);
            }
        }
        Some(())
    }

    fn peck_from(&mut self, reached: Length) {
        let [_, less, least] = self.pecks;
        let next = reached.saturating_sub(self.peck).max(self.depth);
        self.peck = self.peck.saturating_sub(less).max(least);
        if reached != self.retract && self.kind == CycleKind::Peck {
            self.push(self.third(reached.saturating_add(PECK_CLEARANCE).min(self.retract)), Rate::Rapid);
        }
        self.push(self.third(next), Rate::Feed);
        if next <= self.depth {
            self.pecked = None;
            self.push(self.third(self.out), Rate::Rapid);
            return;
        }
        self.pecked = Some(next);
        let back = match self.kind {
            CycleKind::Peck => self.retract,
            _ => next.saturating_add(PECK_CLEARANCE),
        };
        self.push(self.third(back), Rate::Rapid);
    }
}

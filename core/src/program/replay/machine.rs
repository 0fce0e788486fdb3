//! The slack machine: where the tool is while the drives are driven.
//!
//! Each axis is a play operator whose seats may lie differently along the travel. An axis whose seat
//! is not known is followed as the range of places where its table can be; motion in one direction
//! narrows the range until nothing of it is left. The tool's path along a straight piece of command
//! is straight between the places where an axis starts or stops to move, and is cut there.

use super::geometry::{Point, between};
use crate::{
    axis::{Axis, PerAxis},
    slack::Play,
};
use heapless::Vec;

/// Most stations along the travel of one axis.
pub const MOST_STATIONS: usize = 32;
/// A range of possible places narrower than this (mm) is one place: the tenth of a nanometre, the
/// smallest length of a program.
const KNOWN: f64 = 1e-7;

/// What a drive must be told, at one place of the travel, beyond the place wanted (mm).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SeatStation {
    /// The place.
    pub position_mm: f64,
    /// Added to the command while the axis bears on its `+` seat.
    pub plus_mm: f64,
    /// Added to the command while the axis bears on its `-` seat.
    pub minus_mm: f64,
}

/// The slack of one axis.
#[derive(Clone, Debug, PartialEq)]
pub struct AxisSlack {
    stations: Vec<SeatStation, MOST_STATIONS>,
    /// Machine position of the program's zero: where along the travel the work lies.
    offset: f64,
    widest: f64,
}

impl AxisSlack {
    /// An axis without slack.
    pub const NONE: AxisSlack = AxisSlack { stations: Vec::new(), offset: 0.0, widest: 0.0 };

    /// The same clearance everywhere.
    #[must_use]
    pub fn of_play(play: &Play) -> Self {
        let station = SeatStation {
            position_mm: 0.0,
            plus_mm: play.command_mm(0.0, crate::axis::Direction::Plus),
            minus_mm: play.command_mm(0.0, crate::axis::Direction::Minus),
        };
        Self::of_stations([station], 0.0).unwrap_or(Self::NONE)
    }

    /// Stations in rising order, linear between and constant beyond them; `offset_mm` is added to a
    /// position of the program to give the position of the stations. `None` if they are too many,
    /// not in order, not finite, or a clearance is negative.
    #[must_use]
    pub fn of_stations(stations: impl IntoIterator<Item = SeatStation>, offset_mm: f64) -> Option<Self> {
        let mut slack = Self { offset: offset_mm, ..Self::NONE };
        for station in stations {
            let width = station.plus_mm - station.minus_mm;
            let rising = slack.stations.last().is_none_or(|last| station.position_mm > last.position_mm);
            let finite = station.position_mm.is_finite() && width.is_finite();
            if !rising || !finite || width < 0.0 {
                return None;
            }
            slack.widest = slack.widest.max(width);
            slack.stations.push(station).ok()?;
        }
        Some(slack)
    }

    /// The widest clearance along the travel (mm).
    #[must_use]
    pub const fn widest_mm(&self) -> f64 {
        self.widest
    }

    /// Whether the command differs from the place anywhere, on either seat.
    #[must_use]
    pub fn is_none(&self) -> bool {
        self.stations.iter().all(|s| s.plus_mm == 0.0 && s.minus_mm == 0.0)
    }

    /// The corrections on the `+` and the `-` seat at a place of the program.
    fn corrections(&self, place: f64) -> (f64, f64) {
        let at = place + self.offset;
        let mut below: Option<&SeatStation> = None;
        for station in &self.stations {
            if station.position_mm > at {
                return match below {
                    None => (station.plus_mm, station.minus_mm),
                    Some(low) => {
                        let t = (at - low.position_mm) / (station.position_mm - low.position_mm);
                        let mix = |a: f64, b: f64| a + t * (b - a);
                        (mix(low.plus_mm, station.plus_mm), mix(low.minus_mm, station.minus_mm))
                    }
                };
            }
            below = Some(station);
        }
        below.map_or((0.0, 0.0), |last| (last.plus_mm, last.minus_mm))
    }

    /// The lowest and the highest place where the table can be while the drive is at `u`: bearing on
    /// the `+` seat and on the `-` seat.
    #[must_use]
    pub fn possible_mm(&self, u: f64) -> (f64, f64) {
        if let [one] = self.stations.as_slice() {
            return (u - one.plus_mm, u - one.minus_mm);
        }
        let (mut low, mut high) = (u, u);
        // place + correction(place) = u, by iteration: corrections change little along the travel
        // (a table of 10 mm over 25 mm would still gain a digit in three rounds).
        for _ in 0..12 {
            let (plus, minus) = (self.corrections(low).0, self.corrections(high).1);
            let (next_low, next_high) = (u - plus, u - minus);
            let settled = next_low == low && next_high == high;
            (low, high) = (next_low, next_high);
            if settled {
                break;
            }
        }
        (low.min(high), high.max(low))
    }

    /// How long a piece of command along this axis may be so that seats are straight along it.
    fn longest_piece(&self) -> f64 {
        if self.stations.len() < 2 { f64::INFINITY } else { 2.0 }
    }
}

/// The slack of every axis.
pub type Slack = PerAxis<AxisSlack>;

/// A straight piece of the tool's path.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Piece {
    /// Where the tool was.
    pub from: Point,
    /// Where it is.
    pub to: Point,
    /// The share of the command that made it.
    pub share: f64,
    /// Whether the seat of every axis was known.
    pub seated: bool,
}

/// Where the table of an axis can be.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Range {
    low: f64,
    high: f64,
}

impl Range {
    fn known(&self) -> bool {
        self.high - self.low <= KNOWN
    }

    fn middle(&self) -> f64 {
        self.low + (self.high - self.low) / 2.0
    }
}

/// The machine with its present state.
#[derive(Clone, Debug)]
pub struct Machine {
    slack: Slack,
    place: PerAxis<Range>,
}

impl Machine {
    /// A machine with its drives at `command` and no seat known.
    #[must_use]
    pub fn new(slack: Slack, command: &Point) -> Self {
        let mut machine = Self { slack, place: PerAxis::default() };
        for axis in Axis::ALL {
            machine.unseat(axis, *command.get(axis));
        }
        machine
    }

    /// Forgets the seat of an axis whose drive is at `u`.
    pub fn unseat(&mut self, axis: Axis, u: f64) {
        let (low, high) = self.slack.get(axis).possible_mm(u);
        *self.place.get_mut(axis) = Range { low, high };
    }

    /// Renames the places of an axis: everything lies `by` further.
    pub fn shift(&mut self, axis: Axis, by: f64) {
        let range = self.place.get_mut(axis);
        range.low += by;
        range.high += by;
    }

    /// Where the tool is; the middle of the range where that is not known.
    #[must_use]
    pub fn tool(&self) -> Point {
        self.place.map(Range::middle)
    }

    /// How far from its command an axis stands on the seat where the two agree best: none for a plain
    /// clearance, whose reference seat this is (mm).
    #[must_use]
    pub fn reference_deviation(&self, axis: Axis, u: f64) -> f64 {
        let (low, high) = self.slack.get(axis).possible_mm(u);
        if libm::fabs(low - u) < libm::fabs(high - u) { low - u } else { high - u }
    }

    /// Whether an axis has slack at all.
    #[must_use]
    pub fn is_slack(&self, axis: Axis) -> bool {
        !self.slack.get(axis).is_none()
    }

    /// Whether the seat of every axis is known.
    #[must_use]
    pub fn seated(&self) -> bool {
        self.place.iter().all(|(_, range)| range.known())
    }

    /// Into how many equal shares a straight command is cut so that the seats are straight along each.
    #[must_use]
    pub fn shares(&self, from: &Point, to: &Point) -> u32 {
        let mut most = 1.0_f64;
        for axis in Axis::ALL {
            let travel = libm::fabs(to.get(axis) - from.get(axis));
            most = most.max(libm::ceil(travel / self.slack.get(axis).longest_piece()));
        }
        most.min(1e6) as u32
    }

    /// Drives straight from `from` to `to` and hands over the pieces of the tool's path in order.
    pub fn drive(&mut self, from: &Point, to: &Point, mut piece: impl FnMut(&Piece)) {
        let before = self.place;
        let mut cuts: Vec<f64, 8> = Vec::new();
        let mut seats = PerAxis::<(Range, Range)>::default();
        for axis in Axis::ALL {
            let possible = |u: f64| {
                let (low, high) = self.slack.get(axis).possible_mm(u);
                Range { low, high }
            };
            let (at, start, end) = (*before.get(axis), possible(*from.get(axis)), possible(*to.get(axis)));
            *seats.get_mut(axis) = (start, end);
            // Where a seat meets a limit of the range: seat(t) = start + t (end - start).
            let meets = |seat0: f64, seat1: f64, place: f64| {
                let travel = seat1 - seat0;
                if travel == 0.0 { -1.0 } else { (place - seat0) / travel }
            };
            for t in [meets(start.low, end.low, at.low), meets(start.high, end.high, at.high)] {
                if t > 0.0 && t < 1.0 {
                    let _ = cuts.push(t);
                }
            }
            for t in [meets(start.low, end.low, at.high), meets(start.high, end.high, at.low)] {
                if t > 0.0 && t < 1.0 && !at.known() {
                    let _ = cuts.push(t);
                }
            }
        }
        let _ = cuts.push(1.0);
        cuts.sort_unstable_by(f64::total_cmp);
        let (mut last, mut done) = (self.tool(), 0.0);
        for t in cuts {
            let seated = self.seated();
            for axis in Axis::ALL {
                let (start, end) = seats.get(axis);
                let at = before.get(axis);
                let low = start.low * (1.0 - t) + end.low * t;
                let high = start.high * (1.0 - t) + end.high * t;
                *self.place.get_mut(axis) =
                    Range { low: at.low.max(low).min(high), high: at.high.max(low).min(high) };
            }
            let now = self.tool();
            piece(&Piece { from: last, to: now, share: t - done, seated });
            (last, done) = (now, t);
        }
    }

    /// Drives along a share of a straight command, see [`Machine::shares`].
    pub fn drive_share(&mut self, from: &Point, to: &Point, k: u32, n: u32, piece: impl FnMut(&Piece)) {
        let part = |k: u32| between(from, to, f64::from(k) / f64::from(n.max(1)));
        self.drive(&part(k), &part(k.saturating_add(1)), piece);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::axis::Direction;
    use proptest::prelude::*;

    fn z_only(width: f64) -> Slack {
        let play = Play::new(width, Direction::Minus).unwrap();
        PerAxis { x: AxisSlack::NONE, y: AxisSlack::NONE, z: AxisSlack::of_play(&play) }
    }

    fn at(x: f64, z: f64) -> Point {
        Point { x, y: 0.0, z }
    }

    #[test]
    fn motion_one_way_finds_the_seat() {
        let mut machine = Machine::new(z_only(0.1), &at(0.0, 0.0));
        assert!(!machine.seated());
        machine.drive(&at(0.0, 0.0), &at(0.0, 0.06), |piece| assert!(!piece.seated));
        assert!(!machine.seated());
        let mut seen = std::vec::Vec::new();
        machine.drive(&at(0.0, 0.06), &at(0.0, 1.0), |piece| seen.push(*piece));
        assert!(machine.seated());
        assert!((machine.tool().z - 0.9).abs() < 1e-12);
        assert!(!seen[0].seated && seen.last().unwrap().seated);
    }

    #[test]
    fn the_path_is_cut_where_the_table_starts_to_move() {
        let mut machine = Machine::new(z_only(0.1), &at(0.0, 5.0));
        machine.drive(&at(0.0, 5.0), &at(0.0, 0.0), |_| {});
        let mut seen = std::vec::Vec::new();
        machine.drive(&at(0.0, 0.0), &at(1.0, 1.0), |piece| seen.push((piece.from, piece.to)));
        let corner = at(0.1, 0.0);
        assert_eq!(seen.len(), 2);
        assert!((seen[0].1.x - corner.x).abs() < 1e-12 && (seen[0].1.z - corner.z).abs() < 1e-12);
        assert!((seen[1].1.x - 1.0).abs() < 1e-12 && (seen[1].1.z - 0.9).abs() < 1e-12);
    }

    #[test]
    fn stations_are_linear_between_and_constant_beyond() {
        let station = |position_mm, plus_mm| SeatStation { position_mm, plus_mm, minus_mm: 0.0 };
        let slack = AxisSlack::of_stations([station(-100.0, 0.2), station(0.0, 0.1)], 0.0).unwrap();
        for (place, width) in [(-50.0, 0.15), (10.0, 0.1), (-200.0, 0.2)] {
            let (low, high) = slack.possible_mm(place + width);
            assert!((low - place).abs() < 1e-9 && (high - place - width).abs() < 1e-9, "{place}");
        }
        let shifted = AxisSlack::of_stations([station(-100.0, 0.2), station(0.0, 0.1)], -50.0).unwrap();
        assert!((shifted.possible_mm(0.15).0).abs() < 1e-9);
        assert_eq!(AxisSlack::of_stations([station(0.0, 0.1), station(0.0, 0.1)], 0.0), None);
        assert_eq!(AxisSlack::of_stations([station(0.0, -0.1)], 0.0), None);
    }

    proptest! {
        // The play operator itself as the oracle, axis by axis, at the end of each drive.
        #[test]
        fn ends_agree_with_the_play_operator(width in 0.0..0.5f64, moves in prop::collection::vec(-1.0..1.0f64, 1..30)) {
            let play = Play::new(width, Direction::Minus).unwrap();
            let mut machine = Machine::new(z_only(width), &at(0.0, 9.0));
            machine.drive(&at(0.0, 9.0), &at(0.0, 0.0), |_| {});
            let (mut u, mut y) = (0.0, 0.0);
            for z in moves {
                machine.drive(&at(u, u), &at(z, z), |_| {});
                y = play.follow_mm(y, z);
                u = z;
                prop_assert!((machine.tool().z - y).abs() < 1e-12);
                prop_assert_eq!(machine.tool().x, z);
            }
        }
    }
}

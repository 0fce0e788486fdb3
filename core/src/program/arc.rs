//! Arcs: their centre, and where an axis turns round inside them.
//!
//! Centre and radius form as in NISTIR 6556, section 3.5.3. Places are in counts of 0.1 nm as
//! floats, which are exact far beyond any machine.

use heapless::Vec;

/// The sense of an arc in its plane, seen from the positive third axis.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Sense {
    /// G2.
    Clockwise,
    /// G3.
    Counterclockwise,
}

/// A place in the plane of an arc.
pub type Place = (f64, f64);

/// An arc.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Arc {
    /// Where it starts.
    pub start: Place,
    /// Where it ends; where it starts for a full circle.
    pub end: Place,
    /// Its centre.
    pub centre: Place,
    /// Its sense.
    pub sense: Sense,
}

/// The end of a part of an arc, and what share of the whole sweep the part is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Part {
    /// Where the part ends.
    pub end: Place,
    /// Its share of the sweep.
    pub share: f64,
}

/// By how much rounding may make half the chord of a small arc longer than its radius: three steps of a thousandth of a
/// millimetre.
const ROUNDING: f64 = 30_000.0;

/// By how much an axis may turn round elsewhere than at a quarter direction: 0.1 µm.
const SPIRAL: f64 = 1_000.0;

/// The centre of an arc in radius form; a negative radius means the longer way round. `None` if
/// the ends coincide or lie further apart than the diameter allows (by a hundredth of it, or what rounding does to
/// a small arc).
#[must_use]
pub fn centre_of_radius(start: Place, end: Place, radius: f64, sense: Sense) -> Option<Place> {
    let (dx, dy) = (end.0 - start.0, end.1 - start.1);
    let distance = libm::hypot(dx, dy);
    let most = (libm::fabs(radius) * 1.01).max(libm::fabs(radius) + ROUNDING);
    if distance <= 0.0 || libm::fabs(radius) <= 0.0 || distance / 2.0 > most {
        return None;
    }
    let height = libm::sqrt((radius * radius - distance * distance / 4.0).max(0.0));
    // Counterclockwise the shorter way has its centre on the left of the chord.
    let left = matches!(sense, Sense::Counterclockwise) == (radius > 0.0);
    let side = if left { height } else { -height };
    Some(((start.0 + end.0) / 2.0 - dy / distance * side, (start.1 + end.1) / 2.0 + dx / distance * side))
}

impl Arc {
    /// No arc yet.
    pub(crate) const NONE: Self =
        Self { start: (0.0, 0.0), end: (0.0, 0.0), centre: (0.0, 0.0), sense: Sense::Clockwise };

    /// The angle swept, in radians, positive.
    #[must_use]
    #[inline(never)] // the caller keeps its frame while much else runs
    pub fn sweep(&self) -> f64 {
        let turn = 2.0 * core::f64::consts::PI;
        if self.start == self.end {
            return turn;
        }
        let from = libm::atan2(self.start.1 - self.centre.1, self.start.0 - self.centre.0);
        let to = libm::atan2(self.end.1 - self.centre.1, self.end.0 - self.centre.0);
        let sweep = match self.sense {
            Sense::Clockwise => from - to,
            Sense::Counterclockwise => to - from,
        };
        if sweep <= 0.0 { sweep + turn } else { sweep }
    }

    /// The distance from the centre at a share of the sweep. Where rounding sets start and end at different
    /// distances, it runs evenly from the one to the other.
    #[must_use]
    pub fn radius(&self, share: f64) -> f64 {
        let distance = |place: Place| libm::hypot(place.0 - self.centre.0, place.1 - self.centre.1);
        let (start, end) = (distance(self.start), distance(self.end));
        start + (end - start) * share
    }

    /// How far behind a quarter direction, at an angle of the sweep, an axis turns round (radians): where the distance
    /// r grows by g with the angle, r cos a is greatest at tan a = g / r.
    fn turns_behind(&self, quarter_at: f64, sweep: f64) -> f64 {
        let growth = (self.radius(1.0) - self.radius(0.0)) / sweep;
        let radius = |angle: f64| self.radius((angle / sweep).clamp(0.0, 1.0));
        // By half of this the turn is missed at the quarter direction itself: rounding makes no difference.
        if growth * growth < SPIRAL * radius(quarter_at) {
            return 0.0;
        }
        (0..4).fold(0.0, |behind, _| libm::atan2(growth, radius(quarter_at + behind)))
    }

    /// The parts in which the chosen axes of the plane do not turn round. A turn that goes less than
    /// `least` beyond an end is left out: the path does not show it.
    #[must_use]
    #[inline(never)] // as above
    pub fn parts(&self, first_axis: bool, second_axis: bool, least: f64) -> Vec<Part, 6> {
        let quarter = core::f64::consts::FRAC_PI_2;
        let (dx, dy) = (self.start.0 - self.centre.0, self.start.1 - self.centre.1);
        let from = libm::atan2(dy, dx);
        let sweep = self.sweep();
        let mut parts = Vec::new();
        let mut done = 0.0;
        // Quarter directions passed on the way, in their order.
        let first = match self.sense {
            Sense::Counterclockwise => libm::floor(from / quarter) + 1.0,
            Sense::Clockwise => libm::ceil(from / quarter) - 1.0,
        };
        // Where the distance grows, an axis turns round behind its quarter direction, which may lie before the start.
        for i in -1..=4 {
            let step = f64::from(i);
            let (index, quarter_at) = match self.sense {
                Sense::Counterclockwise => (first + step, (first + step) * quarter - from),
                Sense::Clockwise => (first - step, from - (first - step) * quarter),
            };
            let behind = self.turns_behind(quarter_at, sweep);
            let passed = quarter_at + behind;
            if passed <= 0.0 {
                continue;
            }
            if passed >= sweep {
                break;
            }
            let radius = self.radius(passed / sweep);
            let (out, along) = (radius * libm::cos(behind), radius * libm::sin(behind));
            let along = if self.sense == Sense::Clockwise { -along } else { along };
            let direction = (index as i64).rem_euclid(4);
            let (out, along) = if direction < 2 { (out, along) } else { (-out, -along) };
            let (place, wanted, beyond) = if direction % 2 == 0 {
                let x = self.centre.0 + out;
                let beyond = libm::fabs(x - self.start.0).min(libm::fabs(x - self.end.0));
                ((x, self.centre.1 + along), first_axis, beyond)
            } else {
                let y = self.centre.1 + out;
                let beyond = libm::fabs(y - self.start.1).min(libm::fabs(y - self.end.1));
                ((self.centre.0 - along, y), second_axis, beyond)
            };
            // Near the start or the end a turn is small; half way round it never is.
            let near_end = passed < quarter || sweep - passed < quarter;
            if !wanted || (near_end && beyond < least) {
                continue;
            }
            let _ = parts.push(Part { end: place, share: (passed - done) / sweep });
            done = passed;
        }
        let _ = parts.push(Part { end: self.end, share: (sweep - done) / sweep });
        parts
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn radius_form_finds_the_centre_on_the_right_side() {
        let find = |radius, sense| centre_of_radius((0.0, 0.0), (10e6, 10e6), radius, sense).unwrap();
        let near = |a: Place, b: Place| (a.0 - b.0).abs() + (a.1 - b.1).abs() < 1e-3;
        assert!(near(find(10e6, Sense::Clockwise), (10e6, 0.0)));
        assert!(near(find(10e6, Sense::Counterclockwise), (0.0, 10e6)));
        assert!(near(find(-10e6, Sense::Clockwise), (0.0, 10e6)));
        assert_eq!(centre_of_radius((0.0, 0.0), (10e6, 0.0), 4e6, Sense::Clockwise), None);
        // 0.005 mm apart on a radius rounded to 0.002 mm.
        assert_eq!(centre_of_radius((0.0, 0.0), (5e4, 0.0), 2e4, Sense::Clockwise), Some((25e3, 0.0)));
    }

    #[test]
    fn a_full_circle_has_its_four_turns() {
        for sense in [Sense::Clockwise, Sense::Counterclockwise] {
            let arc = Arc { start: (3.0, 4.0), end: (3.0, 4.0), centre: (0.0, 0.0), sense };
            let parts = arc.parts(true, true, 0.01);
            assert_eq!(parts.len(), 5);
            let first = if sense == Sense::Clockwise { (5.0, 0.0) } else { (0.0, 5.0) };
            assert_eq!(parts[0].end, first);
            assert!((parts.iter().map(|part| part.share).sum::<f64>() - 1.0).abs() < 1e-12);
            assert_eq!(arc.parts(true, false, 0.01).len(), 3);
        }
    }

    #[test]
    fn ends_at_different_distances_are_joined_evenly() {
        let arc = |end| Arc { start: (5.0, 0.0), end, centre: (0.0, 0.0), sense: Sense::Counterclockwise };
        let parts = arc((-5.2, 0.0)).parts(true, true, 0.01);
        assert!((parts[0].end.1 - 5.1).abs() < 1e-12);
        // The end is the turn: between them nothing is left that a control could take for a full circle.
        assert_eq!(parts.len(), 2);
        let beyond = arc((-5.2, -1e-6)).parts(true, true, 0.01);
        assert_eq!(beyond.len(), 2);
    }

    #[test]
    fn a_circle_from_a_quarter_point_is_not_split_at_its_start() {
        let arc = Arc { start: (5.0, 0.0), end: (5.0, 0.0), centre: (0.0, 0.0), sense: Sense::Clockwise };
        assert_eq!(arc.parts(true, true, 0.01).len(), 4);
        assert_eq!(arc.parts(true, false, 0.01).len(), 2);
    }

    proptest::proptest! {
        #[test]
        fn no_axis_turns_round_inside_a_part(
            radius in 1.0..20.0f64, opens in -0.4..0.4f64, from in 0.0..6.3f64, sweep in 0.3..6.2f64,
            clockwise in proptest::bool::ANY) {
            let sense = if clockwise { Sense::Clockwise } else { Sense::Counterclockwise };
            let way = |share: f64| {
                let angle = from + share * if clockwise { -sweep } else { sweep };
                let radius = (radius + opens * share) * 1e7;
                (radius * angle.cos(), radius * angle.sin())
            };
            let arc = Arc { start: way(0.0), end: way(1.0), centre: (0.0, 0.0), sense };
            let (mut done, mut last) = (0.0, arc.start);
            for part in arc.parts(true, true, 0.0) {
                let mut back = [0.0, 0.0];
                for k in 1..=200 {
                    let here = way(done + part.share * f64::from(k) / 200.0);
                    let (dx, dy) = (here.0 - last.0, here.1 - last.1);
                    // Against the way that the ends of the part show.
                    let (x, y) = (part.end.0 - way(done).0, part.end.1 - way(done).1);
                    back = [back[0] + (-dx * x.signum()).max(0.0), back[1] + (-dy * y.signum()).max(0.0)];
                    last = here;
                }
                // A tenth of a micrometre, and what is left of a turn that opens by a third of its radius.
                let most = 1_000.0 + 1e7 * radius * (opens / sweep / radius).powi(6).abs();
                proptest::prop_assert!(back[0].max(back[1]) < most, "{back:?} {part:?} {arc:?}");
                done += part.share;
            }
        }
    }
}

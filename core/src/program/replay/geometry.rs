//! Curves of a tool path in millimetres: straight lines, arcs, helices.
//!
//! This is replay's own geometry, kept apart from the rewriter's on purpose: a mistake in one shows
//! against the other. Arcs are held as centre, angles and radii in their plane; the radius runs
//! evenly from the start's to the end's, so that the end point is met even where a program's
//! rounding makes the two differ.

use crate::axis::{Axis, PerAxis};

/// A point, or the difference of two, in millimetres.
pub type Point = PerAxis<f64>;

/// `a - b`.
#[must_use]
pub fn minus(a: &Point, b: &Point) -> Point {
    PerAxis { x: a.x - b.x, y: a.y - b.y, z: a.z - b.z }
}

/// The scalar product.
#[must_use]
pub fn dot(a: &Point, b: &Point) -> f64 {
    a.x * b.x + a.y * b.y + a.z * b.z
}

/// The distance between two points.
#[must_use]
pub fn distance(a: &Point, b: &Point) -> f64 {
    let d = minus(a, b);
    libm::sqrt(dot(&d, &d))
}

/// The point a share `t` of the way from `a` to `b`.
#[must_use]
pub fn between(a: &Point, b: &Point, t: f64) -> Point {
    // Weighted so that t = 0 and t = 1 give the ends exactly.
    let mix = |a: f64, b: f64| a * (1.0 - t) + b * t;
    PerAxis { x: mix(a.x, b.x), y: mix(a.y, b.y), z: mix(a.z, b.z) }
}

/// The share of the way from `a` to `b` at which `q` is nearest, held to `low..=high`.
#[must_use]
pub fn nearest_share(a: &Point, b: &Point, q: &Point, low: f64, high: f64) -> f64 {
    let along = minus(b, a);
    let square = dot(&along, &along);
    let t = if square > 0.0 { dot(&minus(q, a), &along) / square } else { low };
    t.max(low).min(high)
}

/// The distance from `q` to the straight piece from `a` to `b`.
#[must_use]
pub fn distance_to_piece(a: &Point, b: &Point, q: &Point) -> f64 {
    distance(q, &between(a, b, nearest_share(a, b, q, 0.0, 1.0)))
}

/// The plane of an arc: G17, G18, G19.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Plane {
    /// G17.
    #[default]
    Xy,
    /// G18.
    Zx,
    /// G19.
    Yz,
}

impl Plane {
    /// First axis, second axis, and the axis that stands on both, right-handed: turning from the
    /// first to the second is anticlockwise seen from the end of the third (ISO 6983-1; RS-274-D).
    #[must_use]
    pub const fn axes(self) -> (Axis, Axis, Axis) {
        match self {
            Plane::Xy => (Axis::X, Axis::Y, Axis::Z),
            Plane::Zx => (Axis::Z, Axis::X, Axis::Y),
            Plane::Yz => (Axis::Y, Axis::Z, Axis::X),
        }
    }
}

/// The sense of an arc.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Turn {
    /// G2.
    Clockwise,
    /// G3.
    Anticlockwise,
}

/// An arc or helix: everything but its ends.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Arc {
    plane: Plane,
    /// Centre in the first and second axis of the plane.
    centre: (f64, f64),
    /// Radius at start and end.
    radii: (f64, f64),
    /// Angle of the start, and the angle swept (positive anticlockwise).
    angle: f64,
    sweep: f64,
}

/// Why an arc cannot be drawn.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum ArcError {
    /// The centre is the start point: no radius.
    NoRadius,
    /// The distances of start and end from the centre differ by more than the allowance (mm).
    RadiiDiffer {
        /// Distance of the start from the centre.
        start_mm: f64,
        /// Distance of the end from the centre.
        end_mm: f64,
    },
    /// Half the chord is longer than the radius given (mm).
    RadiusTooShort {
        /// The radius.
        radius_mm: f64,
        /// Half the chord.
        half_chord_mm: f64,
    },
    /// A radius cannot say where the centre is when start and end are the same point.
    FullCircleByRadius,
}

/// Shape of a curve.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Shape {
    /// Straight.
    Line,
    /// Round in its plane, straight along the third axis.
    Arc(Arc),
}

/// A curve from a start to an end.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Curve {
    /// First point.
    pub start: Point,
    /// Last point.
    pub end: Point,
    /// What lies between.
    pub shape: Shape,
}

impl Curve {
    /// A straight curve.
    #[must_use]
    pub const fn line(start: Point, end: Point) -> Self {
        Self { start, end, shape: Shape::Line }
    }

    /// An arc about a centre, given in the first and second axis of the plane; a full circle when
    /// start and end are one point in the plane, and further whole `turns` on top of it.
    ///
    /// # Errors
    /// [`ArcError::NoRadius`]; [`ArcError::RadiiDiffer`] beyond `allowance_mm`.
    pub fn about_centre(
        plane: Plane,
        turn: Turn,
        start: Point,
        end: Point,
        centre: (f64, f64),
        extra_turns: u32,
        allowance_mm: f64,
    ) -> Result<Self, ArcError> {
        let (first, second, _) = plane.axes();
        let from = (start.get(first) - centre.0, start.get(second) - centre.1);
        let to = (end.get(first) - centre.0, end.get(second) - centre.1);
        let radii = (libm::hypot(from.0, from.1), libm::hypot(to.0, to.1));
        if radii.0 < 1e-7 {
            return Err(ArcError::NoRadius);
        }
        if libm::fabs(radii.0 - radii.1) > allowance_mm {
            return Err(ArcError::RadiiDiffer { start_mm: radii.0, end_mm: radii.1 });
        }
        let angle = libm::atan2(from.1, from.0);
        let full = 2.0 * core::f64::consts::PI;
        // The angle between the two radii, by their own products: exact where they nearly coincide.
        let between = libm::atan2(from.0 * to.1 - from.1 * to.0, from.0 * to.0 + from.1 * to.1);
        let same = start.get(first) == end.get(first) && start.get(second) == end.get(second);
        let mut sweep = match turn {
            Turn::Anticlockwise if same || between <= 0.0 => between + full,
            Turn::Clockwise if same || between >= 0.0 => between - full,
            Turn::Anticlockwise | Turn::Clockwise => between,
        };
        sweep += f64::from(extra_turns) * if sweep < 0.0 { -full } else { full };
        Ok(Self { start, end, shape: Shape::Arc(Arc { plane, centre, radii, angle, sweep }) })
    }

    /// An arc with a radius: the shorter way round when it is positive, the longer when negative
    /// (RS-274-D; NISTIR 6556, section on arcs in radius form).
    ///
    /// # Errors
    /// [`ArcError::FullCircleByRadius`]; [`ArcError::RadiusTooShort`] beyond `allowance_mm`, within
    /// which the chord counts as the diameter.
    pub fn with_radius(
        plane: Plane,
        turn: Turn,
        start: Point,
        end: Point,
        radius: f64,
        allowance_mm: f64,
    ) -> Result<Self, ArcError> {
        let (first, second, _) = plane.axes();
        let chord = (end.get(first) - start.get(first), end.get(second) - start.get(second));
        let half = libm::hypot(chord.0, chord.1) / 2.0;
        if half < 1e-9 {
            return Err(ArcError::FullCircleByRadius);
        }
        let size = libm::fabs(radius);
        if half > size + allowance_mm {
            return Err(ArcError::RadiusTooShort { radius_mm: size, half_chord_mm: half });
        }
        let height = libm::sqrt((size * size - half * half).max(0.0));
        // Left of the chord for the short anticlockwise arc; each reversal changes the side.
        let left = (turn == Turn::Anticlockwise) == (radius > 0.0);
        let side = if left { height } else { -height } / (2.0 * half);
        let centre = (
            (start.get(first) + end.get(first)) / 2.0 - chord.1 * side,
            (start.get(second) + end.get(second)) / 2.0 + chord.0 * side,
        );
        Self::about_centre(plane, turn, start, end, centre, 0, f64::INFINITY)
    }

    /// The point at a share `t` of the curve, from 0 at the start to 1 at the end.
    #[must_use]
    pub fn at(&self, t: f64) -> Point {
        match &self.shape {
            Shape::Arc(arc) if t > 0.0 && t < 1.0 => self.on_arc(arc, t).0,
            _ => between(&self.start, &self.end, t),
        }
    }

    /// The point of an arc at a share, and the derivative of [`Curve::at`] there: one sine and cosine for both.
    fn on_arc(&self, arc: &Arc, t: f64) -> (Point, Point) {
        self.towards(arc, t, libm::sincos(arc.angle + arc.sweep * t))
    }

    /// [`Curve::on_arc`] with the sine and cosine of its angle.
    fn towards(&self, arc: &Arc, t: f64, (sin, cos): (f64, f64)) -> (Point, Point) {
        let (first, second, _) = arc.plane.axes();
        let mut point = between(&self.start, &self.end, t);
        let mut slope = minus(&self.end, &self.start);
        let (radius, growth) = (arc.radii.0 * (1.0 - t) + arc.radii.1 * t, arc.radii.1 - arc.radii.0);
        if t > 0.0 && t < 1.0 {
            *point.get_mut(first) = arc.centre.0 + radius * cos;
            *point.get_mut(second) = arc.centre.1 + radius * sin;
        }
        *slope.get_mut(first) = growth * cos - radius * sin * arc.sweep;
        *slope.get_mut(second) = growth * sin + radius * cos * arc.sweep;
        (point, slope)
    }

    /// The length in millimetres (of an arc, with the mean of its two radii).
    #[must_use]
    pub fn length(&self) -> f64 {
        match &self.shape {
            Shape::Line => distance(&self.start, &self.end),
            Shape::Arc(arc) => {
                let (_, _, third) = arc.plane.axes();
                let round = (arc.radii.0 + arc.radii.1) / 2.0 * arc.sweep;
                libm::hypot(round, self.end.get(third) - self.start.get(third))
            }
        }
    }

    /// Which part of its length the curve has gone at a share: on an arc that opens, less than the share.
    #[must_use]
    pub fn way(&self, share: f64) -> f64 {
        match &self.shape {
            Shape::Arc(Arc { radii: (start, end), .. }) if start != end => {
                share * (2.0 * start + (end - start) * share) / (start + end)
            }
            _ => share,
        }
    }

    /// The share at which the curve has gone a part of its length: the inverse of [`Curve::way`].
    #[must_use]
    pub fn share(&self, way: f64) -> f64 {
        match &self.shape {
            Shape::Arc(Arc { radii: (start, end), .. }) if start != end => {
                let root = start * start + way * (end * end - start * start);
                way * (start + end) / (start + libm::sqrt(root.max(0.0)))
            }
            _ => way,
        }
    }

    /// The share of the curve at which it comes nearest to `q`, held to `low..=high`, and its distance there.
    ///
    /// On a helix or spiral the nearest place of the turn that the range holds is refined from the
    /// planar angle, which is exact for a circle; meant for points near the curve.
    #[must_use]
    pub fn nearest(&self, q: &Point, low: f64, high: f64) -> (f64, f64) {
        let Shape::Arc(arc) = &self.shape else {
            let t = nearest_share(&self.start, &self.end, q, low, high);
            return (t, distance(&between(&self.start, &self.end, t), q));
        };
        let (first, second, third) = arc.plane.axes();
        let full = 2.0 * core::f64::consts::PI;
        let (x, y) = (q.get(first) - arc.centre.0, q.get(second) - arc.centre.1);
        let angle = libm::atan2(y, x);
        // One candidate per turn; the turn nearest to the middle of the range and its neighbours.
        let turn = full / libm::fabs(arc.sweep);
        let base = (angle - arc.angle) / arc.sweep;
        let middle = base + turn * libm::round(((low + high) / 2.0 - base) / turn);
        let level = self.start.get(third) == self.end.get(third);
        let growth = libm::fabs(arc.radii.0 - arc.radii.1);
        let circle = level && growth < 1e-9;
        let rounds = if circle { 0 } else { 3 };
        let (mut best, mut least) = (low, f64::INFINITY);
        let inside = |candidate: &f64| *candidate > low && *candidate < high;
        // Round a circle the distance only grows for half a turn either way: an end no further off is not
        // nearer. So it does on a spiral that hardly opens, except about its centre.
        let radius = arc.radii.0.min(arc.radii.1);
        let hardly_opens = growth <= 1e-3 * radius * libm::fabs(arc.sweep);
        let from_centre = libm::sqrt(x * x + y * y);
        let off_centre = from_centre > radius / 2.0;
        let away = libm::fabs(middle - low).max(libm::fabs(high - middle));
        let within_half = level && inside(&middle) && away < turn / 2.0;
        // Within a quarter of a turn the square of the distance is convex, on a helix too.
        let within_quarter = away < turn / 4.0;
        let alone = hardly_opens && off_centre && (within_half || within_quarter);
        if circle && alone && inside(&middle) {
            // What is left is along the radius, and along the third axis.
            let (off, aside) = (from_centre - radius, q.get(third) - self.start.get(third));
            return (middle, libm::sqrt(off * off + aside * aside));
        }
        let ends = match alone {
            true if inside(&middle) => [None, None],
            true => [Some(middle.max(low).min(high)), None],
            false => [Some(low), Some(high)],
        };
        // Its own angle the point has brought along, turn by turn.
        let own = |t: f64| match from_centre > 0.0 {
            true => self.towards(arc, t, (y / from_centre, x / from_centre)),
            false => self.on_arc(arc, t),
        };
        // Outside the range a candidate would be held to an end of it, which stands first.
        let turns = [middle, middle - turn, middle + turn].into_iter().filter(inside);
        let ends = ends.into_iter().flatten().map(|t| (t, self.on_arc(arc, t)));
        for (mut t, (mut place, mut slope)) in ends.chain(turns.map(|t| (t, own(t)))) {
            for _ in 0..rounds {
                let square = dot(&slope, &slope);
                if square <= 0.0 {
                    break;
                }
                let off = minus(&place, q);
                // Newton's step for the distance: the arc bends towards its centre, and to a point close to that it
                // grows slowly with the angle. About the centre all places are as near.
                let out = (place.get(first) - arc.centre.0, place.get(second) - arc.centre.1);
                let bend = arc.sweep * arc.sweep * (off.get(first) * out.0 + off.get(second) * out.1);
                let curvature = if square - bend > 0.01 * square { square - bend } else { square };
                let next = (t - dot(&off, &slope) / curvature).max(low).min(high);
                // A step of a thousandth of a nanometre changes no distance.
                let settled = (next - t) * (next - t) * square < 1e-18;
                t = next;
                if settled {
                    break;
                }
                (place, slope) = self.on_arc(arc, t);
            }
            let d = minus(&place, q);
            let square = dot(&d, &d);
            if square < least {
                (best, least) = (t, square);
            }
        }
        (best, libm::sqrt(least))
    }

    /// Into how many equal shares the curve is cut so that chords stay within `sagitta_mm` of it.
    #[must_use]
    pub fn chords(&self, sagitta_mm: f64) -> u32 {
        match &self.shape {
            Shape::Line => 1,
            Shape::Arc(arc) => {
                let radius = arc.radii.0.max(arc.radii.1);
                // Sagitta of a chord over an angle a is r(1 - cos(a/2)), about r a²/8; no step over
                // an eighth of a turn, so that no reversal hides inside a chord of a tiny circle.
                let step = libm::sqrt(8.0 * sagitta_mm / radius).min(core::f64::consts::FRAC_PI_4);
                let count = libm::ceil(libm::fabs(arc.sweep) / step);
                if count < 1e6 { (count as u32).max(1) } else { 1_000_000 }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use std::f64::consts::PI;

    fn at(x: f64, y: f64, z: f64) -> Point {
        Point { x, y, z }
    }

    fn close(a: &Point, b: &Point) -> bool {
        distance(a, b) < 1e-9
    }

    #[test]
    fn quarter_circles_pass_through_the_middle_of_their_quadrant() {
        // Anticlockwise from +first to +second about the origin, in each plane (ISO 6983-1).
        for plane in [Plane::Xy, Plane::Zx, Plane::Yz] {
            let (first, second, _) = plane.axes();
            let (mut start, mut end, mut middle) = (Point::default(), Point::default(), Point::default());
            *start.get_mut(first) = 10.0;
            *end.get_mut(second) = 10.0;
            *middle.get_mut(first) = 10.0 / 2.0_f64.sqrt();
            *middle.get_mut(second) = 10.0 / 2.0_f64.sqrt();
            let arc =
                Curve::about_centre(plane, Turn::Anticlockwise, start, end, (0.0, 0.0), 0, 1e-6).unwrap();
            assert!(close(&arc.at(0.5), &middle), "{plane:?}");
            assert!((arc.length() - 5.0 * PI).abs() < 1e-9);
            let long = Curve::about_centre(plane, Turn::Clockwise, start, end, (0.0, 0.0), 0, 1e-6).unwrap();
            assert!((long.length() - 15.0 * PI).abs() < 1e-9);
        }
    }

    #[test]
    fn equal_ends_make_a_full_circle_in_centre_form_and_none_in_radius_form() {
        let start = at(3.0, 4.0, 0.0);
        for turn in [Turn::Clockwise, Turn::Anticlockwise] {
            let circle = Curve::about_centre(Plane::Xy, turn, start, start, (0.0, 0.0), 0, 1e-6).unwrap();
            assert!((circle.length() - 10.0 * PI).abs() < 1e-9);
            assert!(close(&circle.at(0.5), &at(-3.0, -4.0, 0.0)));
            let by_radius = Curve::with_radius(Plane::Xy, turn, start, start, 5.0, 1e-6);
            assert_eq!(by_radius, Err(ArcError::FullCircleByRadius));
        }
    }

    #[test]
    fn a_helix_rises_evenly() {
        let helix = Curve::about_centre(
            Plane::Xy,
            Turn::Clockwise,
            at(5.0, 0.0, 0.0),
            at(5.0, 0.0, -2.0),
            (0.0, 0.0),
            1,
            1e-6,
        )
        .unwrap();
        assert!(close(&helix.at(0.25), &at(-5.0, 0.0, -0.5)));
        assert!((helix.length() - (20.0 * PI).hypot(2.0)).abs() < 1e-9);
        let (t, _) = helix.nearest(&at(-5.01, 0.02, -1.5), 0.0, 1.0);
        assert!((t - 0.75).abs() < 0.01, "{t}");
    }

    #[test]
    fn radius_form_takes_the_shorter_way_when_positive() {
        let (start, end) = (at(0.0, 0.0, 0.0), at(10.0, 0.0, 0.0));
        let short = Curve::with_radius(Plane::Xy, Turn::Clockwise, start, end, 10.0, 1e-6).unwrap();
        assert!((short.length() - 10.0 * PI / 3.0).abs() < 1e-9);
        assert!(short.at(0.5).y > 0.0, "a clockwise arc from left to right bulges upward");
        let long = Curve::with_radius(Plane::Xy, Turn::Clockwise, start, end, -10.0, 1e-6).unwrap();
        assert!((long.length() - 50.0 * PI / 3.0).abs() < 1e-9);
        let none = Curve::with_radius(Plane::Xy, Turn::Clockwise, start, end, 4.0, 0.01);
        assert_eq!(none, Err(ArcError::RadiusTooShort { radius_mm: 4.0, half_chord_mm: 5.0 }));
    }

    #[test]
    fn impossible_arcs_are_refused_with_the_numbers() {
        let (start, end) = (at(1.0, 0.0, 0.0), at(0.0, 2.0, 0.0));
        let differ = Curve::about_centre(Plane::Xy, Turn::Clockwise, start, end, (0.0, 0.0), 0, 0.01);
        assert_eq!(differ, Err(ArcError::RadiiDiffer { start_mm: 1.0, end_mm: 2.0 }));
        let none = Curve::about_centre(Plane::Xy, Turn::Clockwise, start, end, (1.0, 0.0), 0, 0.01);
        assert_eq!(none, Err(ArcError::NoRadius));
    }

    fn any_curve() -> impl Strategy<Value = Curve> {
        let coordinate = -20.0..20.0f64;
        let point = (coordinate.clone(), coordinate.clone(), -3.0..3.0f64);
        (point.clone(), point, 0..3u8, any::<bool>(), 0..2u8, 1.0..1.5f64).prop_filter_map(
            "drawable",
            |(a, b, plane, left, kind, stretch)| {
                let (a, b) = (at(a.0, a.1, a.2), at(b.0, b.1, b.2));
                let plane = [Plane::Xy, Plane::Zx, Plane::Yz][usize::from(plane)];
                let turn = if left { Turn::Anticlockwise } else { Turn::Clockwise };
                if kind == 0 {
                    return Some(Curve::line(a, b));
                }
                let (first, second, _) = plane.axes();
                let half = (b.get(first) - a.get(first)).hypot(b.get(second) - a.get(second)) / 2.0;
                (half > 0.1)
                    .then(|| Curve::with_radius(plane, turn, a, b, half * stretch, 1e-6).ok())
                    .flatten()
            },
        )
    }

    proptest! {
        // A level arc whose ends the rounding of a program sets a little off, a part of it, and a place near it.
        #[test]
        fn on_a_part_of_an_arc_nothing_sampled_is_nearer(angle in -7.0..7.0f64, sweep in 0.01..6.2f64,
            left: bool, opens in -1e-3..1e-3f64, ends in (0.0..1.0f64, 0.0..1.0f64), near in (0.0..6.3f64, 8.0..12.0f64)) {
            let turn = if left { Turn::Anticlockwise } else { Turn::Clockwise };
            let place = |angle: f64, radius: f64| at(radius * angle.cos(), radius * angle.sin(), 0.0);
            let to = if left { angle + sweep } else { angle - sweep };
            let (start, end) = (place(angle, 10.0), place(to, 10.0 + opens));
            let curve = Curve::about_centre(Plane::Xy, turn, start, end, (0.0, 0.0), 0, 0.05).unwrap();
            let (low, high) = (ends.0.min(ends.1), ends.0.max(ends.1));
            let q = place(near.0, near.1);
            let (t, found) = curve.nearest(&q, low, high);
            prop_assert!(t >= low && t <= high && (distance(&curve.at(t), &q) - found).abs() < 1e-9);
            let share = |i: i32| low + (high - low) * f64::from(i) / 500.0;
            let sampled = (0..=500).map(|i| distance(&curve.at(share(i)), &q)).fold(f64::INFINITY, f64::min);
            prop_assert!(found <= sampled + 1e-9, "{found} {sampled}");
        }

        // The same on a helix, beside which the tool lags.
        #[test]
        fn on_a_part_of_a_helix_nothing_sampled_is_nearer(sweep in 0.01..6.2f64, rise in -8.0..8.0f64, t in -0.2..1.2f64,
            radius in 0.9..20.0f64, ends in (0.0..1.0f64, 0.0..1.0f64), off in (-0.3..0.3f64, -0.3..0.3f64, -0.3..0.3f64)) {
            let end = at(radius * sweep.cos(), radius * sweep.sin(), rise);
            let start = at(radius, 0.0, 0.0);
            let curve = Curve::about_centre(Plane::Xy, Turn::Anticlockwise, start, end, (0.0, 0.0), 0, 0.05).unwrap();
            let (low, high) = (ends.0.min(ends.1), ends.0.max(ends.1));
            let place = curve.at(t.clamp(0.0, 1.0));
            let q = at(place.x + off.0, place.y + off.1, place.z + off.2);
            let (t, found) = curve.nearest(&q, low, high);
            prop_assert!(t >= low && t <= high && (distance(&curve.at(t), &q) - found).abs() < 1e-9);
            let share = |i: i32| low + (high - low) * f64::from(i) / 500.0;
            let sampled = (0..=500).map(|i| distance(&curve.at(share(i)), &q)).fold(f64::INFINITY, f64::min);
            prop_assert!(found <= sampled + 1e-6, "{found} {sampled}");
        }

        // Exhaustive search over 2 000 places as the oracle.
        #[test]
        fn the_nearest_place_is_no_worse_than_any_sampled(curve in any_curve(), t in 0.0..1.0f64,
            off in (-0.3..0.3f64, -0.3..0.3f64, -0.3..0.3f64)) {
            let mut q = curve.at(t);
            q.x += off.0;
            q.y += off.1;
            q.z += off.2;
            let (_, found) = curve.nearest(&q, 0.0, 1.0);
            let sampled = (0..=2000).map(|i| distance(&curve.at(f64::from(i) / 2000.0), &q)).fold(f64::INFINITY, f64::min);
            prop_assert!(found <= sampled + 1e-3, "{found} {sampled}");
        }

        #[test]
        fn chords_stay_within_their_sagitta(curve in any_curve()) {
            let n = curve.chords(1e-3);
            for i in 0..n {
                let t = |k: u32| f64::from(k) / f64::from(n);
                let (a, b) = (curve.at(t(i)), curve.at(t(i + 1)));
                let middle = curve.at((f64::from(i) + 0.5) / f64::from(n));
                prop_assert!(distance_to_piece(&a, &b, &middle) < 1.01e-3);
            }
        }

        #[test]
        fn ways_and_shares_are_those_of_many_chords(
            ends in (0.5..20.0f64, 0.5..20.0f64), sweep in 0.3..6.2f64, t in 0.0..1.0f64) {
            let end = at(ends.1 * sweep.cos(), ends.1 * sweep.sin(), 0.0);
            let start = at(ends.0, 0.0, 0.0);
            let curve = Curve::about_centre(Plane::Xy, Turn::Anticlockwise, start, end, (0.0, 0.0), 0, 99.0).unwrap();
            prop_assert!((curve.share(curve.way(t)) - t).abs() < 1e-12);
            // Round the centre, as `length` counts it: what it opens by is left out.
            let n = 2000;
            let radius = |k: f64| ends.0 + (ends.1 - ends.0) * k;
            let round = |to: f64| (0..n).map(|k| radius(to * (f64::from(k) + 0.5) / f64::from(n))).sum::<f64>() * to;
            prop_assert!((curve.way(t) - round(t) / round(1.0)).abs() < 1e-6);
        }

        #[test]
        fn length_agrees_with_many_chords(curve in any_curve()) {
            let n = 4000;
            let sum: f64 = (0..n).map(|i| distance(&curve.at(f64::from(i) / f64::from(n)), &curve.at(f64::from(i + 1) / f64::from(n)))).sum();
            prop_assert!((sum - curve.length()).abs() < 1e-4 * sum.max(1.0), "{sum} {}", curve.length());
        }
    }
}

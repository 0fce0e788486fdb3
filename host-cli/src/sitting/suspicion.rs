//! Whether a reading is far from what the readings before it make likely: a person is asked to look
//! again while the dial still stands there. What is kept is judged once more, and better, by the
//! assessment.

use super::plan::Stop;
use takeup_core::measure::Kind;

/// What was expected, in millimetres.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Suspicion {
    /// Readings of the same place and approach lie between these.
    FarFromOthers {
        /// The lowest of them.
        low_mm: f64,
        /// The highest of them.
        high_mm: f64,
    },
    /// The reading before was this, and no loss or step is so large.
    BeyondLoss {
        /// That reading.
        other_mm: f64,
    },
    /// No dial shows so much.
    BeyondDial,
}

/// More than any dial indicator shows: 50 mm or 2 in (common practice, no source).
const MOST_MM: f64 = 50.8;

/// With a single fellow, readings may differ by this much before anybody is asked.
const ONE_FELLOW_MM: f64 = 0.05;

/// However well readings agree, this much is never asked about.
const LEAST_MM: f64 = 0.02;

/// Looks at a reading before it is kept. `before` are the readings taken so far with their stops, in order.
#[must_use]
pub fn look<'a>(
    kind: Kind,
    stop: &Stop,
    value_mm: f64,
    before: impl Iterator<Item = (&'a Stop, f64)> + Clone,
    beyond_mm: f64,
    resolution_mm: f64,
) -> Option<Suspicion> {
    // What is read at a force depends on all that is to be found out.
    if kind == Kind::PushPull {
        return (value_mm.abs() > MOST_MM).then_some(Suspicion::BeyondDial);
    }
    if matches!(kind, Kind::Return | Kind::WarmUp) {
        return wandered(value_mm, before.map(|(_, mm)| mm), resolution_mm);
    }
    let fellows = before
        .clone()
        .filter(|(other, _)| (other.target, other.approach) == (stop.target, stop.approach))
        .map(|(_, mm)| mm);
    let (mut n, mut low_mm, mut high_mm) = (0_u32, f64::INFINITY, f64::NEG_INFINITY);
    for mm in fellows {
        (n, low_mm, high_mm) = (n + 1, low_mm.min(mm), high_mm.max(mm));
    }
    if n > 0 {
        let room = if n == 1 { ONE_FELLOW_MM } else { (3.0 * (high_mm - low_mm)).max(LEAST_MM) };
        let room = room.max(5.0 * resolution_mm);
        let far = value_mm < low_mm - room || value_mm > high_mm + room;
        return far.then_some(Suspicion::FarFromOthers { low_mm, high_mm });
    }
    // From the other side of the same place; on a staircase from the step before.
    let other = before
        .clone()
        .filter(|(other, _)| kind == Kind::SmallSteps || other.target == stop.target)
        .map(|(_, mm)| mm)
        .last();
    if let Some(other_mm) = other {
        return ((value_mm - other_mm).abs() > beyond_mm).then_some(Suspicion::BeyondLoss { other_mm });
    }
    if kind == Kind::Positioning {
        // A scale shows the place itself: judged once one of them is known.
        let off = |at: &Stop, mm: f64| mm - at.target.map_or(0.0, |target| target.as_mm());
        let (first, mm) = before.clone().next()?;
        let expected = off(first, mm) + stop.target.map_or(0.0, |target| target.as_mm());
        let far = (value_mm - expected).abs() > beyond_mm;
        return far.then_some(Suspicion::FarFromOthers { low_mm: expected, high_mm: expected });
    }
    (value_mm.abs() > MOST_MM).then_some(Suspicion::BeyondDial)
}

/// A place that may creep or grow is judged by how far it went from one reading to the next.
fn wandered(value_mm: f64, before: impl Iterator<Item = f64>, resolution_mm: f64) -> Option<Suspicion> {
    let (mut last, mut largest) = (None, ONE_FELLOW_MM.max(5.0 * resolution_mm) / 3.0);
    for mm in before {
        if let Some(last) = last.replace(mm) {
            largest = (mm - last).abs().max(largest);
        }
    }
    match last {
        Some(other_mm) => {
            ((value_mm - other_mm).abs() > 3.0 * largest).then_some(Suspicion::BeyondLoss { other_mm })
        }
        None => (value_mm.abs() > MOST_MM).then_some(Suspicion::BeyondDial),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use takeup_core::axis::Direction;
    use takeup_core::length::Length;

    fn stop(target: f64, approach: Direction) -> Stop {
        Stop { target: Length::from_mm(target), approach: Some(approach), ..Stop::default() }
    }

    fn seen(before: &[(f64, Direction, f64)], now: (f64, Direction, f64)) -> Option<Suspicion> {
        let before: Vec<_> = before.iter().map(|(at, way, mm)| (stop(*at, *way), *mm)).collect();
        let before = before.iter().map(|(stop, mm)| (stop, *mm));
        look(Kind::Reversal, &stop(now.0, now.1), now.2, before, 1.0, 0.01)
    }

    #[test]
    fn a_misread_is_asked_about_and_usual_scatter_is_not() {
        use Direction::{Minus, Plus};
        let before = [(0.0, Plus, 0.12), (0.0, Minus, 0.24), (0.0, Plus, 0.13)];
        assert_eq!(
            seen(&before, (0.0, Plus, 0.81)),
            Some(Suspicion::FarFromOthers { low_mm: 0.12, high_mm: 0.13 })
        );
        for fine in [0.12, 0.10, 0.15] {
            assert_eq!(seen(&before, (0.0, Plus, fine)), None, "{fine}");
        }
        assert_eq!(seen(&before, (0.0, Minus, 0.27)), None);
        assert!(seen(&before, (0.0, Minus, 0.42)).is_some());
        // From the other side for the first time: as much as the overrun, not more.
        assert_eq!(seen(&before[..1], (0.0, Minus, 0.9)), None);
        assert!(seen(&before[..1], (0.0, Minus, 12.0)).is_some());
        // A new station has its own zero.
        assert_eq!(seen(&before, (-40.0, Plus, 7.3)), None);
        assert_eq!(seen(&[], (0.0, Plus, 120.0)), Some(Suspicion::BeyondDial));
    }

    #[test]
    fn creeping_is_no_misread() {
        let look = |value, before: &[f64]| wandered(value, before.iter().copied(), 0.001);
        assert_eq!(look(0.16, &[0.10, 0.12, 0.14]), None);
        assert!(look(0.41, &[0.10, 0.12, 0.14]).is_some());
        assert_eq!(look(0.5, &[0.1, 0.2, 0.3]), None);
        assert!(look(90.0, &[]).is_some());
    }

    #[test]
    fn a_scale_shows_the_place() {
        let before = [(stop(0.0, Direction::Plus), 1.0)];
        let before = || before.iter().map(|(stop, mm)| (stop, *mm));
        let at = stop(50.0, Direction::Plus);
        assert_eq!(look(Kind::Positioning, &at, 51.01, before(), 1.0, 0.0), None);
        assert!(look(Kind::Positioning, &at, 15.01, before(), 1.0, 0.0).is_some());
    }
}

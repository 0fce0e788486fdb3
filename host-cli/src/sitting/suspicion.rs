//! Whether a reading is far from what the readings before it make likely: a person is asked to look
//! again while the dial still stands there. What is kept is judged once more, and better, by the
//! assessment.

use super::Stop;
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
    /// The reading from the other side was this, and no more than the overrun can be lost.
    MoreThanOverrun {
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
    overrun_mm: f64,
    resolution_mm: f64,
) -> Option<Suspicion> {
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
    // From the other side of the same place, the same cycle.
    let other = before
        .clone()
        .filter(|(other, _)| other.target == stop.target && stop.target.is_some())
        .map(|(_, mm)| mm)
        .last();
    if let Some(other_mm) = other {
        return ((value_mm - other_mm).abs() > overrun_mm).then_some(Suspicion::MoreThanOverrun { other_mm });
    }
    if kind == Kind::Positioning {
        // A scale shows the place itself: judged once one of them is known.
        let off = |at: &Stop, mm: f64| mm - at.target.map_or(0.0, |target| target.as_mm());
        let (first, mm) = before.clone().next()?;
        let expected = off(first, mm) + stop.target.map_or(0.0, |target| target.as_mm());
        let far = (value_mm - expected).abs() > overrun_mm;
        return far.then_some(Suspicion::FarFromOthers { low_mm: expected, high_mm: expected });
    }
    (value_mm.abs() > MOST_MM).then_some(Suspicion::BeyondDial)
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
}

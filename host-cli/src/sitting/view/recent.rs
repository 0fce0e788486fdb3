//! Whether a dial has come to rest, by what it showed last.

use std::collections::VecDeque;
use std::time::{Duration, Instant};
use takeup_core::length::Length;

/// A dial that has moved by no more than this for so long stands still.
const STILL: Length = Length::from_counts(200_000);
const AT_REST: Duration = Duration::from_millis(500);
/// What an indicator shows within this is kept together.
const MOMENT: Duration = Duration::from_millis(25);

/// What the indicator showed last, the latest first: when a moment began, and the ends of what was shown in it. So few are
/// kept, however fast it sends.
#[derive(Debug, Default)]
pub(super) struct Recent(VecDeque<(Instant, Length, Length)>);

impl Recent {
    /// The indicator shows a value.
    pub fn shows(&mut self, value: Length, now: Instant) {
        match self.0.front_mut() {
            Some((began, low, high)) if now.duration_since(*began) < MOMENT => {
                (*low, *high) = (value.min(*low), value.max(*high));
            }
            _ => self.0.push_front((now, value, value)),
        }
        while self.0.back().is_some_and(|(began, ..)| now.duration_since(*began) > AT_REST + MOMENT) {
            self.0.pop_back();
        }
    }

    /// Whether the dial has not come to rest.
    pub fn moves(&self, now: Instant) -> bool {
        let late = || self.0.iter().filter(|(began, ..)| now.duration_since(*began) < AT_REST + MOMENT);
        let ends = late().map(|(_, low, _)| *low).min().zip(late().map(|(.., high)| *high).max());
        ends.is_some_and(|(low, high)| high.saturating_sub(low) > STILL)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_dial_moves_until_it_has_stood_for_half_a_second_however_fast_it_sends() {
        let begun = Instant::now();
        let at = |ms: u64| begun + Duration::from_millis(ms);
        for every_ms in [1, 10, 100, 450] {
            let mut dial = Recent::default();
            assert!(!dial.moves(begun));
            // It moves for a second by 1 mm, and stands then.
            for ms in (0..1900).step_by(every_ms) {
                dial.shows(Length::from_counts(10_000 * ms.min(1000)), at(ms as u64));
                let moves = dial.moves(at(ms as u64));
                if ms > 500 && ms < 1400 {
                    assert!(moves, "stands after {ms} ms, a number each {every_ms}");
                }
                if ms > 1550 {
                    assert!(!moves, "moves after {ms} ms, a number each {every_ms}");
                }
            }
            assert!(dial.0.len() < 25, "{} are kept", dial.0.len());
        }
    }
}

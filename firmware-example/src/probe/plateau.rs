//! A plateau: the indicator stands still, and what it shows meanwhile is one reading.

use crate::indicator::Look;

/// Counts that may change while an indicator stands still: its last digit flickers.
const FLICKER: i32 = 2;
/// A place that never comes to rest is read all the same after so many settling times, and its spread
/// tells of it.
const MOST_SETTLES: u64 = 20;
/// The same for settling times of nearly nothing.
const LEAST_PATIENCE_US: u64 = 1_000_000;

/// What the indicator showed while it stood still.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Reading {
    /// The mean of the looks, rounded to counts.
    pub counts: i32,
    /// From the lowest to the highest of them.
    pub spread: u16,
}

/// A plateau in the making.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Plateau {
    stands_us: u64,
    since_us: u64,
    low: i32,
    high: i32,
    sum: i64,
    looks: i64,
    last_us: u64,
}

impl Plateau {
    /// From the moment at which the axis stands.
    #[must_use]
    pub const fn new(stands_us: u64) -> Self {
        Self { stands_us, since_us: stands_us, low: 0, high: 0, sum: 0, looks: 0, last_us: 0 }
    }

    /// Takes a look; gives the reading once the indicator has stood still for the settling time.
    pub fn take(&mut self, look: Look, settle_us: u64, now_us: u64) -> Option<Reading> {
        // What was taken before the axis stood, and what was counted already, tells nothing.
        if look.taken_us < self.stands_us || (self.looks > 0 && look.taken_us == self.last_us) {
            return None;
        }
        self.last_us = look.taken_us;
        let (low, high) = (self.low.min(look.counts), self.high.max(look.counts));
        let patience_us = settle_us.saturating_mul(MOST_SETTLES).max(LEAST_PATIENCE_US);
        let patient = now_us.saturating_sub(self.stands_us) < patience_us;
        if self.looks == 0 || (patient && high.saturating_sub(low) > FLICKER) {
            self.since_us = look.taken_us;
            (self.low, self.high) = (look.counts, look.counts);
            (self.sum, self.looks) = (0, 0);
        } else {
            (self.low, self.high) = (low, high);
        }
        self.sum = self.sum.saturating_add(i64::from(look.counts));
        self.looks = self.looks.saturating_add(1);
        if now_us.saturating_sub(self.since_us) < settle_us {
            return None;
        }
        // Rounded to the nearest count, halves upward.
        let doubled = self.sum.saturating_mul(2).saturating_add(self.looks);
        let mean = doubled.checked_div_euclid(self.looks.saturating_mul(2))?;
        let spread = u16::try_from(self.high.saturating_sub(self.low)).unwrap_or(u16::MAX);
        Some(Reading { counts: i32::try_from(mean).ok()?, spread })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn look(counts: i32, taken_us: u64) -> Look {
        Look { counts, taken_us }
    }

    #[test]
    fn it_begins_afresh_while_the_indicator_moves() {
        let mut plateau = Plateau::new(0);
        for us in 0..100 {
            assert_eq!(plateau.take(look(us as i32, us), 50, us), None, "{us}");
        }
        for us in 100..149 {
            assert_eq!(plateau.take(look(98 + (us % 2) as i32, us), 50, us), None, "{us}");
        }
        // Still since count 99, which was shown at 99; one count of flicker since.
        assert_eq!(plateau.take(look(99, 149), 50, 149), Some(Reading { counts: 99, spread: 1 }));
    }

    #[test]
    fn a_look_from_before_the_stop_and_one_seen_twice_do_not_count() {
        let mut plateau = Plateau::new(1000);
        assert_eq!(plateau.take(look(5, 999), 0, 1001), None);
        assert_eq!(plateau.take(look(-7, 1001), 100, 1001), None);
        assert_eq!(plateau.take(look(-7, 1001), 100, 1200), None);
        assert_eq!(plateau.take(look(-8, 1201), 100, 1201), Some(Reading { counts: -7, spread: 1 }));
    }

    #[test]
    fn what_never_rests_is_read_with_its_spread() {
        let mut plateau = Plateau::new(0);
        let mut us = 0;
        let reading = loop {
            us += 1000;
            let counts = if us / 1000 % 2 == 0 { 20 } else { -20 };
            if let Some(reading) = plateau.take(look(counts, us), 10_000, us) {
                break reading;
            }
            assert!(us < 2_000_000);
        };
        assert_eq!((reading.spread, us), (40, 1_009_000));
    }
}

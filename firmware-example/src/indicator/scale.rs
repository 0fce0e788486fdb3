//! A digital scale that sends words of 24 bits by itself, on a clock and a data wire.
//!
//! The word of common scales and calipers (common practice, no source): the lowest bit first, each read at the
//! rising clock edge; bits 0 to 19 the size in counts, bit 20 set for negative, bit 23 set while the scale
//! shows inches. Between words the clock rests for many bit times. Count length and pace differ between makes:
//! watch the wires first. Levels of 1.5 V need a converter to those of the board.
//!
//! A word is taken when the clock rests behind it: one with a bit too few or too many is none. It is believed only if
//! the one before came in time, so that a scale in its slow mode is silent and never arms the box.
//!
//! Not for a loop slower than half a bit: such words have fewer bits, are dropped, and the scale counts as silent.

use super::{Fault, Indicator, Look};
use embedded_hal::digital::InputPin;

const BITS: u32 = 24;
const SIZE: u32 = (1 << 20) - 1;
const NEGATIVE: u32 = 1 << 20;
const INCHES: u32 = 1 << 23;
/// A clock that rests so long begins a new word with its next edge.
const GAP_US: u64 = 1_500;

/// The scale on two pins.
#[derive(Debug)]
pub struct Scale<C, D> {
    clock: C,
    data: D,
    count_mm: f64,
    most_silence_us: u64,
    high: Option<bool>,
    edge_us: u64,
    word: u32,
    bits: u32,
    begun_us: u64,
    last: Option<Look>,
    /// Whether the word before the last came in time before it.
    in_time: bool,
    fault: Option<Fault>,
}

impl<C: InputPin, D: InputPin> Scale<C, D> {
    /// A scale whose count is `count_mm` millimetres, and which sends a word at least every
    /// `most_silence_us` microseconds.
    pub const fn new(clock: C, data: D, count_mm: f64, most_silence_us: u64) -> Self {
        Self {
            clock,
            data,
            count_mm,
            most_silence_us,
            high: None,
            edge_us: 0,
            word: 0,
            bits: 0,
            begun_us: 0,
            last: None,
            in_time: false,
            fault: None,
        }
    }

    /// Looks at the clock; at a rising edge takes a bit, and in the rest behind the last one a word.
    fn look(&mut self, now_us: u64) -> Result<(), Fault> {
        if now_us.saturating_sub(self.edge_us) >= GAP_US {
            self.take_word()?;
        }
        let high = self.clock.is_high().map_err(|_| Fault::Pin)?;
        // The first look only tells how the clock stands.
        if !high || self.high.replace(high).unwrap_or(high) {
            self.high = Some(high);
            return Ok(());
        }
        let data = self.data.is_high().map_err(|_| Fault::Pin)?;
        if now_us.saturating_sub(self.edge_us) >= GAP_US {
            (self.word, self.bits, self.begun_us) = (0, 0, now_us);
        }
        self.edge_us = now_us;
        if data && self.bits < BITS {
            self.word |= 1_u32.checked_shl(self.bits).unwrap_or(0);
        }
        self.bits = self.bits.saturating_add(1);
        Ok(())
    }

    /// Takes the word that is behind the clock's rest, if it is whole; once.
    fn take_word(&mut self) -> Result<(), Fault> {
        if core::mem::take(&mut self.bits) != BITS {
            return Ok(());
        }
        if self.word & INCHES != 0 {
            return Err(Fault::OtherUnits);
        }
        // Twenty bits: fits.
        let size = i32::try_from(self.word & SIZE).unwrap_or(0);
        let counts = if self.word & NEGATIVE == 0 { size } else { 0_i32.saturating_sub(size) };
        self.in_time =
            self.last.is_some_and(|last| self.begun_us.saturating_sub(last.taken_us) <= self.delay_us());
        self.last = Some(Look { counts, taken_us: self.begun_us });
        Ok(())
    }
}

impl<C: InputPin, D: InputPin> Indicator for Scale<C, D> {
    fn poll(&mut self, now_us: u64) -> Result<Look, Fault> {
        if let Some(fault) = self.fault {
            return Err(fault);
        }
        if let Err(fault) = self.look(now_us) {
            self.fault = Some(fault);
            return Err(fault);
        }
        // Silence passes when the scale speaks again: its words tell all there is to know.
        match self.last {
            Some(look) if self.in_time && now_us.saturating_sub(look.taken_us) <= self.delay_us() => Ok(look),
            Some(_) | None => Err(Fault::Silent),
        }
    }

    fn count_mm(&self) -> f64 {
        self.count_mm
    }

    /// A word late, and the time that the word itself takes.
    fn delay_us(&self) -> u64 {
        self.most_silence_us.saturating_mul(2)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use core::{cell::Cell, convert::Infallible};
    use proptest::prelude::*;

    struct Wire<'a>(&'a Cell<bool>);

    impl embedded_hal::digital::ErrorType for Wire<'_> {
        type Error = Infallible;
    }

    impl InputPin for Wire<'_> {
        fn is_high(&mut self) -> Result<bool, Infallible> {
            Ok(self.0.get())
        }
        fn is_low(&mut self) -> Result<bool, Infallible> {
            Ok(!self.0.get())
        }
    }

    const PERIOD_US: u64 = 20_000;
    const HALF_US: u64 = 100;

    /// Sends the first bits of a word, looked at every 20 µs, then rests until the next word is due.
    fn send(
        scale: &mut Scale<Wire<'_>, Wire<'_>>,
        (clock, data): (&Cell<bool>, &Cell<bool>),
        word: u32,
        bits: u32,
        now: &mut u64,
    ) -> Result<Look, Fault> {
        let end = *now + PERIOD_US;
        let mut last = Err(Fault::Silent);
        for bit in 0..bits {
            data.set(word >> bit & 1 != 0);
            for high in [false, true] {
                clock.set(high);
                for _ in 0..HALF_US / 20 {
                    *now += 20;
                    last = scale.poll(*now);
                }
            }
        }
        while *now < end {
            *now += 20;
            last = scale.poll(*now);
        }
        last
    }

    proptest! {
        #[test]
        fn every_word_is_read(values in prop::collection::vec(-(SIZE as i32)..=SIZE as i32, 1..6)) {
            let (clock, data) = (Cell::new(true), Cell::new(false));
            let mut scale = Scale::new(Wire(&clock), Wire(&data), 0.01, PERIOD_US);
            let mut now = 10_000;
            // The first has none before it that came in time.
            let _ = send(&mut scale, (&clock, &data), 0, BITS, &mut now);
            for value in values {
                let word = value.unsigned_abs() | if value < 0 { NEGATIVE } else { 0 };
                let from = now;
                let look = send(&mut scale, (&clock, &data), word, BITS, &mut now).unwrap();
                prop_assert_eq!(look.counts, value);
                prop_assert!(look.taken_us >= from && look.taken_us <= from + 2 * HALF_US + 20);
            }
        }
    }

    #[test]
    fn a_word_cut_short_is_dropped_and_silence_is_told_and_passes() {
        let (clock, data) = (Cell::new(true), Cell::new(false));
        let mut scale = Scale::new(Wire(&clock), Wire(&data), 0.01, PERIOD_US);
        assert_eq!(scale.poll(0), Err(Fault::Silent));
        let mut now = 10_000;
        let wires = (&clock, &data);
        let mut told = |word, bits| send(&mut scale, wires, word, bits, &mut now).map(|look| look.counts);
        assert_eq!(told(5, BITS), Err(Fault::Silent));
        assert_eq!(told(7, BITS), Ok(7));
        // Half a word, and one with a bit too many.
        assert_eq!(told(9, 12), Ok(7));
        assert_eq!(told(9, BITS + 1), Err(Fault::Silent));
        // Believed again with the second in time.
        assert_eq!(told(9, BITS), Err(Fault::Silent));
        assert_eq!(told(10, BITS), Ok(10));
    }

    /// The slow mode of common scales: a word now and then is never believed, not even while it is fresh.
    #[test]
    fn a_scale_that_sends_too_seldom_is_silent_throughout() {
        let (clock, data) = (Cell::new(true), Cell::new(false));
        let mut scale = Scale::new(Wire(&clock), Wire(&data), 0.01, PERIOD_US);
        let mut now = 10_000;
        for word in 0..5 {
            let before = now;
            for _ in 0..BITS {
                for high in [false, true] {
                    clock.set(high);
                    for _ in 0..HALF_US / 20 {
                        now += 20;
                        assert_eq!(scale.poll(now), Err(Fault::Silent), "word {word}");
                    }
                }
            }
            while now < before + 3 * PERIOD_US {
                now += 20;
                assert_eq!(scale.poll(now), Err(Fault::Silent), "word {word}");
            }
        }
    }

    #[test]
    fn inches_are_a_fault_that_stays() {
        let (clock, data) = (Cell::new(true), Cell::new(false));
        let mut scale = Scale::new(Wire(&clock), Wire(&data), 0.01, PERIOD_US);
        let mut now = 10_000;
        let wires = (&clock, &data);
        assert_eq!(send(&mut scale, wires, 7 | INCHES, BITS, &mut now), Err(Fault::OtherUnits));
        assert_eq!(send(&mut scale, wires, 7, BITS, &mut now), Err(Fault::OtherUnits));
    }
}

//! An incremental indicator: two square waves a quarter period apart, one count per edge.

use super::{Fault, Indicator, Look};
use embedded_hal::digital::InputPin;

/// Counts the edges of two signals. Growing counts: the first signal leads.
///
/// Not for indicators faster than the loop that polls it: two edges between two looks are a
/// [`Fault::Missed`], never a wrong count.
#[derive(Debug)]
pub struct Quadrature<A, B> {
    a: A,
    b: B,
    count_mm: f64,
    phase: Option<u8>,
    count: i32,
    fault: Option<Fault>,
}

impl<A: InputPin, B: InputPin> Quadrature<A, B> {
    /// A counter at 0 on two pins; one edge is `count_mm` millimetres.
    pub const fn new(a: A, b: B, count_mm: f64) -> Self {
        Self { a, b, count_mm, phase: None, count: 0, fault: None }
    }

    /// The quarter of the period, 0 to 3, in the order in which growing counts pass them.
    fn look(&mut self) -> Result<u8, Fault> {
        let a = self.a.is_high().map_err(|_| Fault::Pin)?;
        let b = self.b.is_high().map_err(|_| Fault::Pin)?;
        Ok(match (a, b) {
            (false, false) => 0,
            (true, false) => 1,
            (true, true) => 2,
            (false, true) => 3,
        })
    }

    fn step(&mut self) -> Result<i32, Fault> {
        let phase = self.look()?;
        // The first look only tells where in the period the indicator stands.
        let before = self.phase.replace(phase).unwrap_or(phase);
        let change = match phase.wrapping_sub(before) & 3 {
            0 => 0,
            1 => 1,
            3 => -1,
            _ => return Err(Fault::Missed),
        };
        self.count = self.count.checked_add(change).ok_or(Fault::OutOfRange)?;
        Ok(self.count)
    }
}

impl<A: InputPin, B: InputPin> Indicator for Quadrature<A, B> {
    fn poll(&mut self, now_us: u64) -> Result<Look, Fault> {
        if let Some(fault) = self.fault {
            return Err(fault);
        }
        let result = self.step().map(|counts| Look { counts, taken_us: now_us });
        self.fault = result.err();
        result
    }

    fn count_mm(&self) -> f64 {
        self.count_mm
    }

    fn delay_us(&self) -> u64 {
        0
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use core::{cell::Cell, convert::Infallible};
    use proptest::prelude::*;

    /// A pin whose level is a bit of a shared number.
    struct Wire<'a>(&'a Cell<u8>, u8);

    impl embedded_hal::digital::ErrorType for Wire<'_> {
        type Error = Infallible;
    }

    impl InputPin for Wire<'_> {
        fn is_high(&mut self) -> Result<bool, Infallible> {
            Ok(self.0.get() & self.1 != 0)
        }
        fn is_low(&mut self) -> Result<bool, Infallible> {
            self.is_high().map(|high| !high)
        }
    }

    fn level(count: i32) -> u8 {
        [0b00, 0b01, 0b11, 0b10][count.rem_euclid(4) as usize]
    }

    proptest! {
        #[test]
        fn every_edge_is_counted(start in -5..5i32, moves in prop::collection::vec(-1..=1i32, 1..200)) {
            let wires = Cell::new(level(start));
            let mut counter = Quadrature::new(Wire(&wires, 1), Wire(&wires, 2), 0.001);
            prop_assert_eq!(counter.poll(0).map(|look| look.counts), Ok(0));
            let mut at = start;
            for step in moves {
                at += step;
                wires.set(level(at));
                prop_assert_eq!(counter.poll(7), Ok(Look { counts: at - start, taken_us: 7 }));
            }
        }
    }

    #[test]
    fn a_missed_edge_is_a_fault_that_stays() {
        let wires = Cell::new(level(0));
        let mut counter = Quadrature::new(Wire(&wires, 1), Wire(&wires, 2), 0.001);
        assert_eq!(counter.poll(0).map(|look| look.counts), Ok(0));
        wires.set(level(2));
        assert_eq!(counter.poll(0), Err(Fault::Missed));
        wires.set(level(0));
        assert_eq!(counter.poll(0), Err(Fault::Missed));
    }
}

//! Either of the two indicators, as the strap says.

use embedded_hal::digital::InputPin;
use takeup_firmware_example::indicator::{Fault, Indicator, Look, Quadrature, Scale};

/// The indicator that is wired to the two pins.
pub enum Dial<A, B> {
    /// Two square waves.
    Quadrature(Quadrature<A, B>),
    /// Clock and data.
    Scale(Scale<A, B>),
}

impl<A: InputPin, B: InputPin> Indicator for Dial<A, B> {
    fn poll(&mut self, now_us: u64) -> Result<Look, Fault> {
        match self {
            Dial::Quadrature(dial) => dial.poll(now_us),
            Dial::Scale(dial) => dial.poll(now_us),
        }
    }

    fn count_mm(&self) -> f64 {
        match self {
            Dial::Quadrature(dial) => dial.count_mm(),
            Dial::Scale(dial) => dial.count_mm(),
        }
    }

    fn delay_us(&self) -> u64 {
        match self {
            Dial::Quadrature(dial) => dial.delay_us(),
            Dial::Scale(dial) => dial.delay_us(),
        }
    }
}

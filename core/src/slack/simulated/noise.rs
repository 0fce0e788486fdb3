//! Seeded noise for simulations.
//!
//! The generator is SplitMix64 (G. L. Steele, D. Lea, C. H. Flood, "Fast splittable pseudorandom
//! number generators", OOPSLA 2014): eight bytes of state, every seed as good as another. Not for
//! secrets. Normal deviates by G. E. P. Box and M. E. Muller, Annals of Mathematical Statistics 29, 1958.

use core::f64::consts::PI;

/// A stream of random numbers that is the same for the same seed on every machine.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Noise {
    state: u64,
}

impl Noise {
    /// The stream of a seed.
    #[must_use]
    pub const fn new(seed: u64) -> Self {
        Self { state: seed }
    }

    /// The next 64 random bits.
    pub const fn bits(&mut self) -> u64 {
        self.state = self.state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.state;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Uniform from 0 up to, not including, 1.
    pub fn uniform(&mut self) -> f64 {
        // 53 bits fill the fraction of a float exactly.
        (self.bits() >> 11) as f64 / 9_007_199_254_740_992.0
    }

    /// Uniform between two bounds.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.uniform()
    }

    /// Normal with mean 0 and standard deviation 1.
    pub fn normal(&mut self) -> f64 {
        let radius = libm::sqrt(-2.0 * libm::log(1.0 - self.uniform()));
        radius * libm::cos(2.0 * PI * self.uniform())
    }

    /// True with a probability.
    pub fn chance(&mut self, probability: f64) -> bool {
        self.uniform() < probability
    }
}

//! A small generator of random numbers.

/// Random numbers from a seed (splitmix64, recalled from memory); the same on every machine.
#[derive(Clone, Debug)]
pub struct Dice(u64);

impl Dice {
    /// From a seed.
    pub fn new(seed: u64) -> Self {
        Self(seed)
    }

    /// The next number.
    pub fn roll(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// A whole number below a limit.
    pub fn below(&mut self, limit: u64) -> u64 {
        self.roll() % limit
    }

    /// True once in a while.
    pub fn once_in(&mut self, times: u64) -> bool {
        self.below(times) == 0
    }

    /// One of several.
    pub fn one_of<T: Copy>(&mut self, several: &[T]) -> T {
        several[self.below(several.len() as u64) as usize]
    }
}

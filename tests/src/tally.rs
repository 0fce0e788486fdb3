//! How estimates of one quantity did against the truth, over many seeds.

use takeup_core::measure::Estimate;

/// Sums over the seeds so far.
#[derive(Clone, Copy, Debug, Default)]
pub struct Tally {
    n: f64,
    held: f64,
    error: f64,
    squares: f64,
    half: f64,
}

impl Tally {
    /// Takes an estimate and the truth.
    pub fn add(&mut self, estimate: &Estimate, truth: f64) {
        let (error, half) = (estimate.value - truth, estimate.expanded_95());
        self.n += 1.0;
        self.held += f64::from(u8::from(error.abs() <= half));
        self.error += error;
        self.squares += error * error;
        self.half += half;
    }

    /// Share of 95 % intervals that hold the truth.
    #[must_use]
    pub fn coverage(&self) -> f64 {
        self.held / self.n
    }

    /// Mean error.
    #[must_use]
    pub fn bias(&self) -> f64 {
        self.error / self.n
    }

    /// Root mean square error.
    #[must_use]
    pub fn rms(&self) -> f64 {
        (self.squares / self.n).sqrt()
    }

    /// Mean half width of the intervals.
    #[must_use]
    pub fn half(&self) -> f64 {
        self.half / self.n
    }

    /// Estimates taken.
    #[must_use]
    pub fn count(&self) -> f64 {
        self.n
    }
}

//! How intervals of a simulated test do: how often they hold the truth, and how wide they are beside those of an
//! estimator that was told the noise.

use takeup_core::measure::Estimate;
use takeup_core::slack::simulated::Noise;

/// One published quantity over many seeds.
#[derive(Clone, Copy, Debug, Default)]
pub struct Quantity {
    seeds: f64,
    given: f64,
    held: f64,
    error: f64,
    squares: f64,
    half: f64,
    informed: f64,
}

impl Quantity {
    /// Takes the result of a seed: what was published, the truth, and the half width of the 95 % interval of an
    /// estimator that was told the noise.
    pub fn take(&mut self, published: Option<Estimate>, truth: f64, informed_half: f64) {
        self.seeds += 1.0;
        let Some(published) = published else { return };
        let half = published.expanded_95();
        let error = published.value - truth;
        self.given += 1.0;
        self.held += f64::from(u8::from(error.abs() <= half));
        self.error += error;
        self.squares += error * error;
        self.half += half;
        self.informed += informed_half;
    }

    /// The share of seeds that published it.
    #[must_use]
    pub fn given(&self) -> f64 {
        self.given / self.seeds
    }

    /// The share of published intervals that hold the truth.
    #[must_use]
    pub fn coverage(&self) -> f64 {
        self.held / self.given
    }

    /// The mean width over that of the informed estimator.
    #[must_use]
    pub fn width_ratio(&self) -> f64 {
        self.half / self.informed
    }

    /// The mean error.
    #[must_use]
    pub fn bias(&self) -> f64 {
        self.error / self.given
    }

    /// The root mean square error.
    #[must_use]
    pub fn rms(&self) -> f64 {
        (self.squares / self.given).sqrt()
    }
}

/// Some of so many rows, each as likely as another.
pub fn some_of(rows: usize, count: usize, noise: &mut Noise) -> Vec<usize> {
    let mut chosen = Vec::new();
    while chosen.len() < count.min(rows) {
        let row = (noise.uniform() * rows as f64) as usize;
        if !chosen.contains(&row) {
            chosen.push(row);
        }
    }
    chosen
}

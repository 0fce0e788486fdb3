//! What rounding to the step of the dial leaves in a difference of means.
//!
//! A reading is rounded by up to half a step. Where the noise, or the place itself, moves from reading to
//! reading by more than a step, the roundings are as good as independent, and the scatter of the readings
//! holds them. Where it does not, they are alike, and no repetition shows them.
//!
//! The rounding error is a saw-tooth of the place; by its Fourier series (B. Widrow and I. Kollár, Quantization
//! Noise, 2008; recalled from memory) the roundings of two readings have the covariance
//!
//! Σ step² / (2 π² k²) · exp(-4 π² k² (σ² + ½ walk) / step²) · cos(2 π k move / step)
//!
//! with σ the noise of each, walk the variance of what lies between them and move the steady drift between
//! them; the place within a step being unknown. Summed over all pairs of one approach and divided by the square of
//! their number, that is what the mean keeps beyond independent roundings.

/// Harmonics taken along; what the others would add is shared among these.
const HARMONICS: usize = 4;

/// The sum over pairs of readings of one approach, taken one reading at a time, in order.
#[derive(Clone, Copy)]
pub(super) struct Rounding {
    step: f64,
    noise: [f64; HARMONICS],
    walk: f64,
    rate: f64,
    sums: [(f64, f64); HARMONICS],
    total: f64,
    last: Option<f64>,
    count: f64,
}

impl Rounding {
    /// Whether noise of a variance, in mm², leaves nothing of a step: its first harmonic below 1e-12.
    pub fn is_nothing(step: f64, variance: f64) -> bool {
        variance > 0.7 * step * step
    }

    /// Nothing taken yet. The step in mm of motion, the variance of the noise in mm², the variance of the
    /// walk and the drift for one unit of time.
    pub fn new(step: f64, variance: f64, walk: f64, rate: f64) -> Self {
        let mut noise = [0.0; HARMONICS];
        for (i, slot) in noise.iter_mut().enumerate() {
            let k = (i as f64 + 1.0) / step;
            *slot = SHARE / ((i as f64 + 1.0) * (i as f64 + 1.0)) * libm::exp(-4.0 * PI2 * k * k * variance);
        }
        Self { step, noise, walk, rate, sums: [(0.0, 0.0); HARMONICS], total: 0.0, last: None, count: 0.0 }
    }

    /// Takes the next reading, at a time.
    pub fn take(&mut self, time: f64) {
        let away = time - self.last.unwrap_or(time);
        self.last = Some(time);
        self.count += 1.0;
        let turn = 2.0 * core::f64::consts::PI * self.rate * away / self.step;
        let (c, s) = (libm::cos(turn), libm::sin(turn));
        let fade = libm::exp(-2.0 * PI2 * self.walk * away / (self.step * self.step));
        let (mut re, mut im) = (1.0, 0.0);
        // The fade of the k-th harmonic is that of the first to the power of k², the turn k times as far.
        let (mut fading, mut faster) = (1.0, fade);
        for (sum, noise) in self.sums.iter_mut().zip(self.noise) {
            (re, im) = (re * c - im * s, re * s + im * c);
            fading *= faster;
            faster *= fade * fade;
            let moved = (fading * (sum.0 * re - sum.1 * im), fading * (sum.0 * im + sum.1 * re));
            self.total += 2.0 * noise * moved.0;
            *sum = (moved.0 + 1.0, moved.1);
        }
    }

    /// What comes next rounds as if apart from all before: the dial was set to another zero.
    pub fn part(&mut self) {
        self.sums = [(0.0, 0.0); HARMONICS];
        self.last = None;
    }

    /// What the mean keeps beyond independent roundings, as a variance in mm²; never below none.
    pub fn kept(&self) -> f64 {
        libm::fmax(self.total, 0.0) * self.step * self.step / (self.count * self.count)
    }
}

const PI2: f64 = core::f64::consts::PI * core::f64::consts::PI;
/// 1 / 12, the whole variance of rounding, shared as 1 / k² among the harmonics.
const SHARE: f64 = 1.0 / 12.0 / (1.0 + 1.0 / 4.0 + 1.0 / 9.0 + 1.0 / 16.0);

#[cfg(test)]
mod tests {
    use super::Rounding;

    fn kept(variance: f64, walk: f64, rate: f64, count: usize) -> f64 {
        let mut rounding = Rounding::new(10.0, variance, walk, rate);
        (0..count).for_each(|i| rounding.take(2.0 * i as f64));
        rounding.kept()
    }

    #[test]
    fn roundings_all_alike_are_kept_whole() {
        // JCGM 100, F.2.2.1: step² / 12, of which one part in n is in any single reading.
        for n in [2, 5, 50] {
            let whole = 100.0 / 12.0 * (1.0 - 1.0 / n as f64);
            assert!((kept(0.0, 0.0, 0.0, n) - whole).abs() < 1e-9, "{n}");
            // A drift by whole steps changes nothing.
            assert!((kept(0.0, 0.0, 5.0, n) - whole).abs() < 1e-6, "{n}");
        }
    }

    #[test]
    fn what_moves_the_place_spreads_the_roundings() {
        assert!(kept(100.0, 0.0, 0.0, 50) < 1e-9);
        assert!(kept(0.0, 1000.0, 0.0, 50) < 1e-9);
        assert!(kept(0.0, 0.0, 1.234, 50) < 0.2);
    }
}

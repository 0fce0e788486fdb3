//! What the readings say about the size of their noise, and how likely they are.
//!
//! The noise of a reading is believed to be one of two kinds beforehand: about what is usual for a dial that is
//! read with care, or anything at all. Each is a conjugate prior of the variance (scaled inverse chi-squared; A. Gelman and
//! others, Bayesian Data Analysis, chapter 3; recalled from memory), so that the noise can be integrated out.
//! It is worth one reading at most; with many cycles it does not matter.

use super::model::Without;

/// What one pair of ratios makes of the readings.
#[derive(Clone, Copy, Default)]
pub(in crate::measure) struct Evidence {
    /// The sum of squared whitened residuals, the drift's own row among them, in mm².
    pub residual_sum: f64,
    /// The logarithm of the determinant of the covariance in units of the noise, zeros and reversal
    /// values integrated out.
    pub log_determinant: f64,
    /// Readings less zeros and reversal values.
    pub dof: f64,
    /// How many of them the drift takes.
    pub drift_dof: f64,
}

/// What is known of the variance of a reading beforehand, in mm².
#[derive(Clone, Copy)]
pub(in crate::measure) struct Beforehand {
    /// The usual variance.
    pub usual: f64,
    /// That of rounding alone (JCGM 100, F.2.2.1): readings that agree better only round alike.
    pub least: f64,
    /// The kinds of noise that are believed in.
    kinds: [Belief; KINDS.len()],
}

impl Beforehand {
    /// About this much beyond rounding, or anything.
    pub fn new(beyond: f64, least: f64) -> Self {
        let usual = beyond + least;
        Self { usual, least, kinds: KINDS.map(|kind| kind.belief(usual)) }
    }

    /// A kind of noise about the usual variance.
    pub fn belief(&self, kind: &Kind) -> Belief {
        kind.belief(self.usual)
    }
}

/// A kind of noise about a known variance.
#[derive(Clone, Copy)]
pub(in crate::measure) struct Belief {
    dof: f64,
    sum: f64,
    /// What the log likelihood of any readings has of it.
    log: f64,
}

/// What is believed of the noise after the readings under one kind of noise.
#[derive(Clone, Copy)]
pub(in crate::measure) struct Noise {
    /// The log likelihood of the readings.
    pub log: f64,
    /// The variance of a reading, in mm².
    pub variance: f64,
    /// Its degrees of freedom.
    pub dof: f64,
}

/// A kind of noise beforehand: worth how many degrees of freedom, and its variance over the usual.
pub(in crate::measure) struct Kind {
    dof: f64,
    factor: f64,
}

impl Kind {
    fn belief(&self, usual: f64) -> Belief {
        let sum = self.dof * self.factor * usual;
        let log = 0.5 * self.dof * libm::log(sum) - libm::lgamma(0.5 * self.dof);
        Belief { dof: self.dof, sum, log }
    }
}

/// Readings with care: what a [manner](super::manner) takes for a sound stand.
pub(in crate::measure) const SOUND: Kind = Kind { dof: 4.0, factor: 1.0 };
/// Readings on a stand that gives way: ten times the scatter, give or take.
pub(in crate::measure) const LOOSE: Kind = Kind { dof: 1.5, factor: 100.0 };
/// About the usual or a little more, and anything: beforehand each as likely. Neither is worth more than a reading, since
/// dials that scatter by three times the usual are no rarity.
pub(super) const KINDS: [Kind; 2] = [Kind { dof: 0.7, factor: 3.0 }, Kind { dof: 0.3, factor: 0.25 }];

impl Evidence {
    /// This and what is independent of it.
    pub fn plus(self, other: Evidence) -> Evidence {
        Evidence {
            residual_sum: self.residual_sum + other.residual_sum,
            log_determinant: self.log_determinant + other.log_determinant,
            dof: self.dof + other.dof,
            drift_dof: self.drift_dof + other.drift_dof,
        }
    }

    /// This without a reading.
    pub(super) fn without(self, one: &Without) -> Evidence {
        Evidence {
            residual_sum: libm::fmax(self.residual_sum - one.fall, 0.0),
            log_determinant: self.log_determinant + one.log_determinant,
            dof: self.dof - 1.0,
            ..self
        }
    }

    /// The noise under each kind.
    pub fn noise(&self, beforehand: Beforehand) -> [Noise; KINDS.len()] {
        beforehand.kinds.map(|kind| self.under(&kind, beforehand.least))
    }

    /// The degrees of freedom of the noise, what was known beforehand among them: those under each kind, by their weight.
    pub fn believed_dof(&self, beforehand: Beforehand) -> f64 {
        let [a, b] = self.noise(beforehand);
        let share = 1.0 / (1.0 + libm::exp(b.log - a.log));
        share * a.dof + (1.0 - share) * b.dof
    }

    /// The noise under one kind.
    pub fn under(&self, belief: &Belief, least: f64) -> Noise {
        let dof = self.dof + belief.dof;
        let sum = libm::fmax(self.residual_sum, self.dof * least) + belief.sum;
        let log =
            belief.log + libm::lgamma(0.5 * dof) - 0.5 * dof * libm::log(sum) - 0.5 * self.log_determinant;
        let left = libm::fmax(dof - self.choosing(), 1.0);
        Noise { log, variance: sum / left, dof: left }
    }

    /// The log likelihood of the readings under either kind.
    pub fn log_likelihood(&self, beforehand: Beforehand) -> f64 {
        let [a, b] = self.noise(beforehand).map(|noise| noise.log);
        let either = libm::fmax(a, b) + libm::log1p(libm::exp(-libm::fabs(a - b)));
        either - core::f64::consts::LN_2 - 0.5 * self.dof * LN_PI
    }

    /// The degrees of freedom that choosing the ratios uses up of what the readings tell, found by simulation (at 4 to
    /// 60 degrees of freedom).
    fn choosing(&self) -> f64 {
        1.5 * self.dof / (self.dof + 8.0)
    }

    /// The variance of the noise by the readings alone, and its degrees of freedom.
    pub fn plain(&self) -> (f64, f64) {
        let dof = libm::fmax(self.dof - self.drift_dof - self.choosing(), 1.0);
        (self.residual_sum / dof, dof)
    }
}

const LN_PI: f64 = 1.144_729_885_849_400_2;

#[cfg(test)]
mod tests {
    use super::{Beforehand, Evidence};

    // The coarse branch is weighed against this one: both have to be densities.
    #[test]
    fn the_likelihood_of_one_reading_is_a_density() {
        let beforehand = Beforehand::new(4e-6, 0.0);
        let step = 0.01;
        let total: f64 = (-6000..16_000)
            .map(|n| {
                let x = (step * f64::from(n)).exp();
                let evidence = Evidence { residual_sum: x * x, dof: 1.0, ..Evidence::default() };
                2.0 * x * step * evidence.log_likelihood(beforehand).exp()
            })
            .sum();
        assert!((total - 1.0).abs() < 1e-3, "{total}");
    }
}

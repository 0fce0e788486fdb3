//! The figures of a replay: largest, mean and 99th percentile deviation, and the worst places.
//!
//! Constant memory: deviations are weighted with path length in a histogram of logarithmic bins,
//! 2 % wide, so that the percentile is right to 1 %; largest and mean are exact.

use super::geometry::Point;
use heapless::Vec;

/// The smallest deviation told apart from none: 0.1 nm (mm).
const LEAST: f64 = 1e-7;
/// Natural logarithm of the ratio of neighbouring bins.
const STEP: f64 = 0.02;
/// Bins from 0.1 nm to beyond 1 m.
const BINS: usize = 1168;
/// Worst places kept.
pub const WORST: usize = 10;

/// Deviation of the tool from the path intended.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Figures {
    /// The largest (mm).
    pub max_mm: f64,
    /// The mean over the length of the cut (mm).
    pub mean_mm: f64,
    /// Not exceeded over 99 % of the length of the cut (mm).
    pub p99_mm: f64,
}

/// A place where the tool is far from the path intended.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Worst {
    /// The line of the original that intends the cut.
    pub line: u64,
    /// How far (mm).
    pub deviation_mm: f64,
    /// Where on the path intended, or where the tool was.
    pub at: Point,
}

/// Collects deviations.
#[derive(Clone, Debug)]
pub struct Collector {
    bins: [f64; BINS],
    none: f64,
    length: f64,
    sum: f64,
    max: f64,
    worst: Vec<Worst, WORST>,
}

impl Default for Collector {
    fn default() -> Self {
        Self { bins: [0.0; BINS], none: 0.0, length: 0.0, sum: 0.0, max: 0.0, worst: Vec::new() }
    }
}

impl Collector {
    /// Takes a deviation that stands for a length of path (mm).
    pub fn add(&mut self, deviation_mm: f64, length_mm: f64, line: u64, at: Point) {
        self.length += length_mm;
        self.sum += deviation_mm * length_mm;
        self.max = self.max.max(deviation_mm);
        if deviation_mm <= LEAST {
            self.none += length_mm;
            return;
        }
        let bin = (libm::log(deviation_mm / LEAST) / STEP) as usize;
        if let Some(bin) = self.bins.get_mut(bin.min(BINS.saturating_sub(1))) {
            *bin += length_mm;
        }
        self.keep(Worst { line, deviation_mm, at });
    }

    fn keep(&mut self, place: Worst) {
        let full = self.worst.is_full();
        if full && self.worst.last().is_some_and(|least| place.deviation_mm <= least.deviation_mm) {
            return;
        }
        if let Some(same) = self.worst.iter_mut().find(|kept| kept.line == place.line) {
            if place.deviation_mm <= same.deviation_mm {
                return;
            }
            *same = place;
        } else {
            if full {
                self.worst.pop();
            }
            let _ = self.worst.push(place);
        }
        self.worst.sort_unstable_by(|a, b| b.deviation_mm.total_cmp(&a.deviation_mm));
    }

    /// The length collected: path intended and path of the tool together (mm).
    #[must_use]
    pub const fn length_mm(&self) -> f64 {
        self.length
    }

    /// The worst places, one per line of the program, the worst first.
    #[must_use]
    pub fn worst(&self) -> &[Worst] {
        &self.worst
    }

    /// The figures.
    #[must_use]
    pub fn figures(&self) -> Figures {
        if self.length <= 0.0 {
            return Figures { max_mm: self.max, mean_mm: self.max, p99_mm: self.max };
        }
        let (mut left, mut p99) = (self.length * 0.99 - self.none, 0.0);
        let mut middle = LEAST * libm::exp(STEP / 2.0);
        for bin in &self.bins {
            if left <= 0.0 {
                break;
            }
            left -= bin;
            p99 = middle;
            middle *= 1.020_201_340_026_755_8; // e^STEP
        }
        Figures { max_mm: self.max, mean_mm: self.sum / self.length, p99_mm: f64::min(p99, self.max) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        // The sorted sample as the oracle.
        #[test]
        fn figures_agree_with_the_sorted_sample(sample in prop::collection::vec((-6.0..1.0f64, 0.1..2.0f64), 1..200)) {
            let mut collector = Collector::default();
            let mut sorted: std::vec::Vec<(f64, f64)> = sample.iter().map(|(d, w)| (10f64.powf(*d), *w)).collect();
            for (line, (d, w)) in sorted.iter().enumerate() {
                collector.add(*d, *w, line as u64, Point::default());
            }
            sorted.sort_by(|a, b| a.0.total_cmp(&b.0));
            let total: f64 = sorted.iter().map(|s| s.1).sum();
            let mut sum = 0.0;
            let exact = sorted.iter().find(|s| { sum += s.1; sum >= 0.99 * total * (1.0 - 1e-12) }).unwrap().0;
            let figures = collector.figures();
            prop_assert!((figures.p99_mm / exact - 1.0).abs() < 0.011, "{} {exact}", figures.p99_mm);
            prop_assert_eq!(figures.max_mm, sorted.last().unwrap().0);
            let mean = sorted.iter().map(|s| s.0 * s.1).sum::<f64>() / total;
            prop_assert!((figures.mean_mm / mean - 1.0).abs() < 1e-9);
            let expected: std::vec::Vec<f64> = sorted.iter().rev().take(WORST).map(|s| s.0).collect();
            let kept: std::vec::Vec<f64> = collector.worst().iter().map(|w| w.deviation_mm).collect();
            prop_assert_eq!(kept, expected);
        }
    }
}

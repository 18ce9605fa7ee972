//! Chance, repeatable: part tolerance keyed by the part's own name, so that a
//! fault does not change the other parts, and the noise of single conversions.

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal, Uniform};

/// Draws the values of parts. The same seed and the same label give the same
/// draw, whatever else is drawn.
#[derive(Debug, Clone, Copy)]
pub(super) struct Spread {
    seed: u64,
    on: bool,
}

impl Spread {
    /// Draws from `seed`; with `on` false every draw is its nominal value.
    pub(super) fn new(seed: u64, on: bool) -> Self {
        Self { seed, on }
    }

    fn rng(self, label: &str) -> ChaCha8Rng {
        // FNV-1a, 64 bit: only has to tell labels apart, the same on every machine.
        let hash = label.bytes().fold(0xcbf2_9ce4_8422_2325_u64, |hash, byte| {
            (hash ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3)
        });
        ChaCha8Rng::seed_from_u64(self.seed.rotate_left(32) ^ hash)
    }

    /// Even between `nominal − half` and `nominal + half`.
    pub(super) fn uniform(self, label: &str, nominal: f64, half: f64) -> f64 {
        match Uniform::new_inclusive(-1.0, 1.0) {
            Ok(unit) if self.on => nominal + half * unit.sample(&mut self.rng(label)),
            _ => nominal,
        }
    }

    /// Gaussian around `mean`.
    pub(super) fn normal(self, label: &str, mean: f64, deviation: f64) -> f64 {
        if !self.on {
            return mean;
        }
        let unit: f64 = StandardNormal.sample(&mut self.rng(label));
        mean + deviation * unit
    }

    /// Even in the logarithm between `least` and `most` (both above 0); the
    /// geometric mean if there is no spread.
    pub(super) fn logarithmic(self, label: &str, least: f64, most: f64) -> f64 {
        let (low, high) = (least.ln(), most.ln());
        self.uniform(label, (low + high) / 2.0, (high - low) / 2.0)
            .exp()
    }
}

/// The noise of single conversions, one draw after the other.
#[derive(Debug)]
pub(super) struct Noise {
    rng: ChaCha8Rng,
    on: bool,
}

impl Noise {
    /// Draws from `seed`; with `on` false there is no noise.
    pub(super) fn new(seed: u64, on: bool) -> Self {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        rng.set_stream(1);
        Self { rng, on }
    }

    /// A Gaussian draw around 0.
    pub(super) fn draw(&mut self, deviation: f64) -> f64 {
        if !self.on {
            return 0.0;
        }
        let unit: f64 = StandardNormal.sample(&mut self.rng);
        deviation * unit
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_draw_depends_on_seed_and_label_alone() {
        let spread = Spread::new(7, true);
        assert_eq!(
            spread.uniform("lead W1", 1.0, 0.05),
            spread.uniform("lead W1", 1.0, 0.05)
        );
        assert_ne!(
            spread.uniform("lead W1", 1.0, 0.05),
            spread.uniform("lead W2", 1.0, 0.05)
        );
        assert_ne!(
            spread.uniform("lead W1", 1.0, 0.05),
            Spread::new(8, true).uniform("lead W1", 1.0, 0.05)
        );
        assert_eq!(Spread::new(7, false).uniform("lead W1", 1.0, 0.05), 1.0);
    }

    #[test]
    fn draws_fill_their_range_and_keep_to_it() {
        let draws: Vec<f64> = (0..500)
            .map(|seed| Spread::new(seed, true).uniform("lead W1", 10.0, 2.0))
            .collect();
        assert!(draws.iter().all(|value| (8.0..=12.0).contains(value)));
        assert!(draws.iter().any(|value| *value < 8.2) && draws.iter().any(|value| *value > 11.8));
        let logs: Vec<f64> = (0..500)
            .map(|seed| Spread::new(seed, true).logarithmic("load", 10.0, 1000.0))
            .collect();
        assert!(logs.iter().all(|value| (9.99..=1000.1).contains(value)));
        let below = logs.iter().filter(|value| **value < 100.0).count();
        assert!(
            (200..300).contains(&below),
            "{below} of 500 below the geometric mean"
        );
    }

    #[test]
    fn noise_has_the_deviation_asked_for() {
        let mut noise = Noise::new(3, true);
        let draws: Vec<f64> = (0..4000).map(|_| noise.draw(50e-6)).collect();
        let square = draws.iter().map(|v| v * v).sum::<f64>() / draws.len() as f64;
        assert!((square.sqrt() / 50e-6 - 1.0).abs() < 0.05);
        assert_eq!(Noise::new(3, false).draw(1.0), 0.0);
    }
}

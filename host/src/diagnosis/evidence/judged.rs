//! One judged quantity.

use loomproof_core::expect::{Band, Quantity};
use loomproof_core::judge::{Judgement, Value};
use loomproof_core::layout::Group;
use loomproof_core::units::Volts;

use crate::diagnosis::likelihood::{ln_density, widened};

/// How much larger a standard deviation may be between two resistances than at
/// the larger of the two ends: an allowance of ours, held against every pair by
/// `tests/tests/proved.rs`.
const HULL_SPREAD: f64 = 1.5;

/// One judged quantity of a scan.
#[derive(Debug, Clone)]
pub struct Judged {
    /// The round of the hook-up that it was read in, from 0.
    pub round: usize,
    /// Index of the step in the scan, round after round.
    pub step: usize,
    /// What is judged.
    pub quantity: Quantity,
    /// What was measured.
    pub value: Value,
    /// What the plan lets expect.
    pub band: Band,
    /// The verdict on it.
    pub judgement: Judgement,
    pub(super) islands: [Group; 2],
    /// How much likelier than by the plan the reading could be at best: under
    /// a circuit that predicts just this value, with the converter's own
    /// deviation and nothing else.
    pub(super) spare: f64,
    /// Logarithm of its density by the plan.
    pub(super) healthy: f64,
    /// How much of a reading it is: one of several that repeat each other
    /// (driven elsewhere, by the plan) is a part of one.
    pub(super) weight: f64,
}

impl Judged {
    /// Whether the reading is as the plan lets expect.
    #[must_use]
    pub fn is_within(&self) -> bool {
        self.judgement == Judgement::Within
    }

    /// How much likelier a band makes the reading than the plan's does, as a
    /// natural logarithm, unknown loads being as the reading wants them.
    #[must_use]
    pub fn gain(&self, band: &Band) -> f64 {
        self.weight * (ln_density(band, self.value) - self.healthy)
    }

    /// The most that a band between some others is likely to gain: where the mean moves
    /// from one to another over the reading, as much as with the mean on it and the least of
    /// their spreads; elsewhere the most of them. Unlike [`Self::best_in`] it is no proof, as
    /// the spread can be larger between them than at any.
    pub(super) fn likely_between(&self, bands: &[Band]) -> f64 {
        let Value::Volts(volts) = self.value else {
            return 0.0;
        };
        let sigmas = bands.iter().map(|band| band.sigma.0);
        let met = Band {
            low: volts,
            high: volts,
            sigma: Volts(sigmas.fold(f64::INFINITY, f64::min)),
        };
        let below = bands.iter().any(|band| band.low.0 <= volts.0);
        let above = bands.iter().any(|band| band.high.0 >= volts.0);
        if below && above {
            return self.gain(&met);
        }
        let gains = bands.iter().map(|band| self.gain(band));
        gains.fold(f64::NEG_INFINITY, f64::max)
    }

    /// How many standard deviations the reading lies outside a band, below it with a minus
    /// sign: half its square is what the reading costs.
    pub(super) fn deviation(&self, band: &Band) -> f64 {
        match self.value {
            Value::Volts(volts) => self.weight.sqrt() * widened(band).excess(volts),
            Value::Unsettled => 0.0,
        }
    }

    /// The most that any band within a hull of bands could gain, where the
    /// mean moves one way from corner to corner (in a linear circuit a voltage
    /// is a ratio of two linear functions of any one resistance; `from memory`).
    pub(super) fn best_in(&self, hull: &Band) -> f64 {
        let Value::Volts(volts) = self.value else {
            return 0.0;
        };
        let hull = widened(&Band {
            // Between the ends the spread may be larger than at both.
            sigma: Volts(HULL_SPREAD * hull.sigma.0),
            ..*hull
        });
        let z = hull.excess(volts);
        self.spare - self.weight * 0.5 * z * z
    }
}

#[cfg(test)]
mod tests {
    use loomproof_core::judge::judge;
    use loomproof_core::units::Micros;
    use loomproof_core::wire::{LeadId, LeadSet, Sense, SenseMode, Senses, Step};

    use super::*;
    use crate::diagnosis::likelihood::spare;

    fn band(volts: f64, sigma: f64) -> Band {
        Band {
            low: Volts(volts),
            high: Volts(volts),
            sigma: Volts(sigma),
        }
    }

    /// A reading of 1 V where 2 V are expected.
    fn read() -> Judged {
        let (healthy, value) = (band(2.0, 1e-3), Value::Volts(Volts(1.0)));
        let quantity = Quantity {
            plus: Sense {
                lead: LeadId(0),
                mode: SenseMode::Plain,
            },
            minus: None,
        };
        let step = Step {
            high: LeadSet::EMPTY,
            low: LeadSet::EMPTY,
            settle: Micros(0),
            pulled: Micros(0),
            samples: 16,
            senses: Senses::new(),
        };
        Judged {
            round: 0,
            step: 0,
            quantity,
            value,
            band: healthy,
            judgement: judge(&healthy, value),
            islands: [Group(0); 2],
            spare: spare(&step, quantity, &healthy, value),
            healthy: ln_density(&healthy, value),
            weight: 1.0,
        }
    }

    #[test]
    fn a_mean_that_passes_over_the_reading_is_likely_to_meet_it() {
        let read = read();
        let met = read.gain(&band(1.0, 1e-3));
        let across = [band(0.8, 2e-3), band(1.2, 1e-3)];
        assert_eq!(read.likely_between(&across), met);
        assert!(across.iter().all(|band| read.gain(band) < met - 1000.0));
    }

    #[test]
    fn elsewhere_the_better_end_is_likely_the_most() {
        let read = read();
        let bands = [band(1.2, 1e-3), band(1.1, 1e-3)];
        let likely = read.likely_between(&bands);
        assert_eq!(likely, read.gain(&bands[1]));
        // What is proved allows for a spread that grows in between.
        let hull = bands[0].hull(&bands[1]);
        assert!(likely < read.best_in(&hull));
    }
}

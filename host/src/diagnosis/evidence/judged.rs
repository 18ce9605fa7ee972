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
        self.weight * (ln_density(band, self.value) - ln_density(&self.band, self.value))
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

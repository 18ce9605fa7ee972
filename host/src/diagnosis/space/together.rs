//! Several unknown resistances that pull at the same readings: what the best of each by
//! itself leaves is found by moving all at once.

use nalgebra::{DMatrix, DVector};

use crate::diagnosis::ohms::OHMS;

use super::Catalogue;

/// Steps at most.
const STEPS: usize = 12;

/// How often a step that makes it worse is shortened.
const SHORTER: usize = 5;

/// The first damping, and by what it changes (`common practice`).
const DAMPING: f64 = 1e-3;
const DAMPING_BY: f64 = 10.0;

/// Change of a logarithm by which slopes are taken.
const APART: f64 = 1e-3;

/// The farthest that a step may go, as a logarithm: a factor of e.
const FARTHEST: f64 = 1.0;

/// A gain that is not worth another step.
pub(super) const NOTHING: f64 = 0.1;

impl Catalogue<'_, '_> {
    /// Moves all unknown resistances of a set at once, by the squares of the readings'
    /// deviations, as long as the gain rises (Levenberg 1944, Marquardt 1963: `from
    /// memory`).
    pub(super) fn together(
        &self,
        set: &[usize],
        mut ohms: Vec<Option<f64>>,
        mut best: f64,
    ) -> Result<Vec<Option<f64>>, String> {
        let mut damping = DAMPING;
        for _ in 0..STEPS {
            let (slopes, deviations) = self.slopes(set, &ohms)?;
            let (pull, bend) = (slopes.tr_mul(&deviations), slopes.tr_mul(&slopes));
            let before = best;
            for _ in 0..SHORTER {
                let mut damped = bend.clone();
                for at in 0..bend.nrows() {
                    damped[(at, at)] *= 1.0 + damping;
                }
                let step = damped.lu().solve(&pull);
                let Some(step) = step.filter(|step| step.iter().all(|by| by.is_finite())) else {
                    break;
                };
                let tried = moved(&ohms, &step);
                let gain = self.gain_with(set, &tried, best)?;
                if gain > best {
                    (best, ohms) = (gain, tried);
                    damping /= DAMPING_BY;
                    break;
                }
                damping *= DAMPING_BY;
            }
            if best < before + NOTHING {
                break;
            }
        }
        Ok(ohms)
    }

    /// How much each reading's deviation falls with the logarithm of each unknown
    /// resistance, a column each; and the deviations.
    fn slopes(
        &self,
        set: &[usize],
        ohms: &[Option<f64>],
    ) -> Result<(DMatrix<f64>, DVector<f64>), String> {
        let here = DVector::from_vec(self.evidence.deviations(&self.changes(set, ohms))?);
        let mut columns = Vec::new();
        for (at, known) in ohms.iter().enumerate() {
            let Some(known) = known else {
                continue;
            };
            // Away from the greatest.
            let by = if *known * APART.exp() < OHMS.1 {
                APART
            } else {
                -APART
            };
            let mut near = ohms.to_vec();
            if let Some(slot) = near.get_mut(at) {
                *slot = Some(known * by.exp());
            }
            let there = DVector::from_vec(self.evidence.deviations(&self.changes(set, &near))?);
            columns.push((&here - there) / by);
        }
        Ok((DMatrix::from_columns(&columns), here))
    }
}

/// The resistances, moved by a step of their logarithms within the span that is looked at.
fn moved(ohms: &[Option<f64>], step: &DVector<f64>) -> Vec<Option<f64>> {
    let mut steps = step.iter();
    let one = |known: &Option<f64>| {
        let known = (*known)?;
        let by = steps.next().copied().unwrap_or_default();
        Some((known * by.clamp(-FARTHEST, FARTHEST).exp()).clamp(OHMS.0, OHMS.1))
    };
    ohms.iter().map(one).collect()
}

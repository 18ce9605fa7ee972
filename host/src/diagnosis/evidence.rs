//! All readings of a scan against the model, and how well a set of faults
//! explains them.

use std::collections::BTreeSet;

use loomproof_core::circuit::Edit;
use loomproof_core::expect::{Band, Quantity};
use loomproof_core::judge::{Judgement, LIMIT, Value, judge};
use loomproof_core::layout::Group;
use loomproof_core::scan::Purpose;
use loomproof_core::wire::Step;

use super::predict::Predictor;
use crate::circuit::Model;
use crate::ringout::Taken;

/// What the model does not know (contact noise, thermal voltages of joints of
/// two metals): added in quadrature to every deviation when explanations are
/// compared, in volts (`common practice`: tens of microvolts each).
const MODEL_FLOOR: f64 = 1e-4;

/// One judged quantity of a scan.
#[derive(Debug, Clone)]
pub struct Judged {
    /// Index of the step in the scan.
    pub step: usize,
    /// What is judged.
    pub quantity: Quantity,
    /// What was measured.
    pub value: Value,
    /// What the plan lets expect.
    pub band: Band,
    /// The verdict on it.
    pub judgement: Judgement,
    islands: [Group; 2],
}

impl Judged {
    /// Whether the reading is as the plan lets expect.
    #[must_use]
    pub fn is_within(&self) -> bool {
        self.judgement == Judgement::Within
    }
}

/// All readings of a scan, judged against the plan.
#[derive(Debug)]
pub struct Evidence<'m> {
    predictor: Predictor<'m>,
    steps: Vec<(Step, Purpose)>,
    judged: Vec<Judged>,
}

/// How well a set of edits explains the readings.
#[derive(Debug, Clone)]
pub struct Fit {
    /// Natural logarithm of the likelihood of all readings, less that of the
    /// healthy harness.
    pub gain: f64,
    /// The bands that differ from the healthy ones: index of the quantity, band.
    pub bands: Vec<(usize, Band)>,
    /// Quantities that are still out of their band.
    pub unexplained: Vec<usize>,
}

impl<'m> Evidence<'m> {
    /// Judges a scan against the plan.
    ///
    /// # Errors
    /// A sentence that says what cannot be computed.
    pub fn new(model: &'m Model, taken: &[Taken]) -> Result<Self, String> {
        let mut predictor = Predictor::new(model);
        let mut judged = Vec::new();
        for (at, step) in taken.iter().enumerate() {
            for (quantity, value) in step.values() {
                let band = predictor.band(&[], &step.planned.step, quantity)?;
                judged.push(Judged {
                    step: at,
                    quantity,
                    value,
                    band,
                    judgement: judge(&band, value),
                    islands: predictor.read_in(quantity),
                });
            }
        }
        let steps = taken
            .iter()
            .map(|t| (t.planned.step.clone(), t.planned.purpose))
            .collect();
        Ok(Self {
            predictor,
            steps,
            judged,
        })
    }

    /// The judged quantities, in the order they were read.
    #[must_use]
    pub fn judged(&self) -> &[Judged] {
        &self.judged
    }

    /// What a step was for.
    #[must_use]
    pub fn purpose(&self, step: usize) -> Option<Purpose> {
        self.steps.get(step).map(|(_, purpose)| *purpose)
    }

    /// The model.
    #[must_use]
    pub fn model(&self) -> &'m Model {
        self.predictor.model()
    }

    /// Whether every settled reading is as planned.
    #[must_use]
    pub fn all_within(&self) -> bool {
        self.judged.iter().all(Judged::is_within)
    }

    /// The islands of the leads whose quantities are named.
    #[must_use]
    pub fn islands_of(&self, quantities: &[usize]) -> BTreeSet<Group> {
        quantities
            .iter()
            .filter_map(|q| self.judged.get(*q))
            .flat_map(|j| j.islands)
            .collect()
    }

    /// Every quantity that is off, by the plan.
    #[must_use]
    pub fn off(&self) -> Vec<usize> {
        let off = |j: &Judged| matches!(j.judgement, Judgement::Low(_) | Judgement::High(_));
        self.judged
            .iter()
            .enumerate()
            .filter(|(_, j)| off(j))
            .map(|(at, _)| at)
            .collect()
    }

    /// The islands that edits touch.
    #[must_use]
    pub fn touched(&self, edits: &[Edit]) -> BTreeSet<Group> {
        self.predictor.touched(edits)
    }

    /// How well these edits explain the readings.
    ///
    /// Only quantities read in an island that the edits touch are computed again.
    ///
    /// # Errors
    /// A sentence that says what cannot be computed.
    pub fn fit(&mut self, edits: &[Edit]) -> Result<Fit, String> {
        let mut islands = self.touched(edits);
        let affected: Vec<bool> = self
            .judged
            .iter()
            .map(|judged| judged.islands.iter().any(|island| islands.contains(island)))
            .collect();
        for (judged, _) in self
            .judged
            .iter()
            .zip(&affected)
            .filter(|(_, affected)| **affected)
        {
            islands.extend(judged.islands);
        }
        let elements = self.predictor.elements(&islands, edits);
        let mut fit = Fit {
            gain: 0.0,
            bands: Vec::new(),
            unexplained: Vec::new(),
        };
        for ((at, judged), affected) in self.judged.iter().enumerate().zip(affected) {
            let mut band = judged.band;
            if affected && let Some((step, _)) = self.steps.get(judged.step) {
                band = self.predictor.band_of(&elements, step, judged.quantity)?;
                fit.gain +=
                    ln_likelihood(&band, judged.value) - ln_likelihood(&judged.band, judged.value);
                fit.bands.push((at, band));
            }
            if let Value::Volts(volts) = judged.value
                && widened(&band).excess(volts).abs() > LIMIT
            {
                fit.unexplained.push(at);
            }
        }
        Ok(fit)
    }

    /// How much likelier these edits make some readings than another fit does:
    /// a quick look before the whole [`Self::fit`].
    ///
    /// # Errors
    /// A sentence that says what cannot be computed.
    pub fn gain_on(&mut self, some: &[usize], edits: &[Edit], than: &Fit) -> Result<f64, String> {
        let mut islands = self.touched(edits);
        islands.extend(self.islands_of(some));
        let elements = self.predictor.elements(&islands, edits);
        let mut gain = 0.0;
        for at in some {
            let Some(judged) = self.judged.get(*at) else {
                continue;
            };
            let Some((step, _)) = self.steps.get(judged.step) else {
                continue;
            };
            let band = self.predictor.band_of(&elements, step, judged.quantity)?;
            let before = than.bands.iter().find(|(index, _)| index == at);
            let before = before.map_or(judged.band, |(_, band)| *band);
            gain += ln_likelihood(&band, judged.value) - ln_likelihood(&before, judged.value);
        }
        Ok(gain)
    }

    /// Whether two fits predict the same for every reading, within three
    /// standard deviations.
    #[must_use]
    pub fn alike(&self, a: &Fit, b: &Fit) -> bool {
        let quantities: BTreeSet<usize> =
            a.bands.iter().chain(&b.bands).map(|(at, _)| *at).collect();
        let band = |fit: &Fit, at: usize| {
            let found = fit
                .bands
                .iter()
                .find(|(index, _)| *index == at)
                .map(|(_, band)| *band);
            found.or_else(|| self.judged.get(at).map(|judged| judged.band))
        };
        quantities
            .into_iter()
            .all(|at| match (band(a, at), band(b, at)) {
                (Some(a), Some(b)) => {
                    gap(&a, &b) <= 3.0 * widened(&a).sigma.0.min(widened(&b).sigma.0)
                        && gap(&b, &a) <= 3.0 * widened(&b).sigma.0.min(widened(&a).sigma.0)
                }
                _ => false,
            })
    }
}

/// Distance between two bands' means, in volts.
#[must_use]
pub fn gap(a: &Band, b: &Band) -> f64 {
    (b.low.0 - a.high.0).max(a.low.0 - b.high.0).max(0.0)
}

fn widened(band: &Band) -> Band {
    Band {
        sigma: loomproof_core::units::Volts(band.sigma.0.hypot(MODEL_FLOOR)),
        ..*band
    }
}

/// Logarithm of the density of a value under a band: flat between the means,
/// normal outside, normalised so that a wide band is not a better one.
fn ln_likelihood(band: &Band, value: Value) -> f64 {
    let Value::Volts(volts) = value else {
        return 0.0;
    };
    let band = widened(band);
    let z = band.excess(volts);
    let width = band.sigma.0 * (2.0 * std::f64::consts::PI).sqrt() + (band.high.0 - band.low.0);
    -0.5 * z * z - width.ln()
}

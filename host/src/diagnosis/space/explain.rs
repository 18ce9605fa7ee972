//! What explains a scan, for the report: the sets that the search found, worked out and
//! weighed again.

use std::collections::BTreeSet;

use super::shared::same;
use super::{Catalogue, with_ohms};
use crate::diagnosis::edits::Changes;
use crate::diagnosis::evidence::{Evidence, Fit};
use crate::diagnosis::ohms::{Estimate, OHMS, REFINEMENTS, three_digits};
use crate::diagnosis::search::{EQUAL, Found, Outcome, Proof, Settings, Space as _, search};
use crate::fault::Fault;

/// Fall of the log likelihood at the ends of a 95 % interval: half of the 95 %
/// quantile of χ² with one degree of freedom, 3.841 (`tests/tests/quantiles.rs`).
const INTERVAL: f64 = 1.92;

/// Resistances whose gain is within this of the best explain as well (an allowance of ours).
const AS_WELL: f64 = 0.5;

/// How many sets are worked out for the report.
const MOST_SETS: usize = 300;

/// How many single faults that were too far behind are weighed again.
const MORE_SINGLES: usize = 24;

/// Faults that together might explain the readings.
#[derive(Debug, Clone)]
pub struct Candidate {
    /// The faults.
    pub faults: Vec<Fault>,
    /// Per fault, how well its resistance is known, where it has one.
    pub estimates: Vec<Option<Estimate>>,
    /// Per fault, the round whose clips it is of; `None` for one of the wiring.
    pub rounds: Vec<Option<usize>>,
    /// What they do to the circuit.
    pub changes: Changes,
    /// How well they explain the readings.
    pub fit: Fit,
    /// Natural logarithm of prior times likelihood, less that of the healthy harness.
    pub weight: f64,
}

/// What explains a scan, best first, and how far that is proved.
#[derive(Debug, Clone)]
pub struct Explained {
    /// Sets of faults, best first.
    pub candidates: Vec<Candidate>,
    /// What the search did. Its proof is of the readings each taken by itself, and empty
    /// where a part's deviation, which counts once, puts another set first.
    pub outcome: Outcome,
}

/// Searches a catalogue for what explains the readings.
///
/// # Errors
/// A sentence that says what cannot be computed.
pub fn explain(evidence: &Evidence<'_>, catalogue: &[Fault]) -> Result<Explained, String> {
    let space = Catalogue::new(evidence, catalogue);
    let settings = Settings::default();
    let mut outcome = search(&space, &settings)?;
    let mut sets: Vec<Found> = outcome.found.iter().take(MOST_SETS).cloned().collect();
    // One fault that explains the readings needs no second look.
    let several = sets.first().is_some_and(|best| best.set.len() > 1);
    if several {
        sets.extend(space.best_singles(&sets, &outcome.singles, settings.least_gain));
    }
    let mut worked = Vec::new();
    for found in sets {
        let (changes, fit) = space.worked(&found)?;
        worked.push((found, changes, fit));
    }
    let relief = if several {
        space.relief(&worked)?
    } else {
        vec![0.0; worked.len()]
    };
    let mut order: Vec<(f64, usize)> = worked
        .iter()
        .zip(&relief)
        .map(|((found, ..), relief)| found.weight + relief)
        .zip(0..)
        .collect();
    order.sort_by(|(a, _), (b, _)| b.total_cmp(a));
    if let Some((weight, best)) = order.first()
        && let (Some((.., first)), Some((.., best))) = (worked.first(), worked.get(*best))
    {
        if !same(evidence, first, best) {
            // The search proved another one.
            outcome.proof = Proof::default();
        }
        let cut = weight - settings.negligible;
        order.retain(|(weight, _)| *weight > cut);
    }
    let mut candidates = Vec::new();
    for (_, at) in order {
        if let (Some(worked), Some(relief)) = (worked.get(at), relief.get(at)) {
            candidates.push(space.candidate(worked, *relief)?);
        }
    }
    candidates.sort_by(|a, b| b.weight.total_cmp(&a.weight));
    Ok(Explained {
        candidates,
        outcome,
    })
}

/// A set with its best resistances: what it does, and how well it explains.
pub(super) type Worked = (Found, Changes, Fit);

impl Catalogue<'_, '_> {
    /// The best single hypotheses that were too far behind to be found, and what is as
    /// good as the last of them, so that numbering decides nothing.
    fn best_singles(&self, known: &[Found], singles: &[f64], least: f64) -> Vec<Found> {
        let known: BTreeSet<&[usize]> = known.iter().map(|found| found.set.as_slice()).collect();
        let singles = singles.iter().zip(0..).map(|(gain, one)| Found {
            set: vec![one],
            gain: *gain,
            weight: gain + self.ln_prior(one),
        });
        let fits = |found: &Found| found.gain > least && !known.contains(found.set.as_slice());
        let mut singles: Vec<Found> = singles.filter(fits).collect();
        singles.sort_by(|a, b| b.weight.total_cmp(&a.weight));
        if let Some(last) = singles.get(MORE_SINGLES - 1).map(|found| found.weight) {
            singles.retain(|found| found.weight > last - EQUAL);
            singles.truncate(2 * MORE_SINGLES);
        }
        singles
    }

    /// What a found set does at its best resistances, and how well it explains.
    fn worked(&self, found: &Found) -> Result<(Changes, Fit), String> {
        let changes = self.changes(&found.set, &self.ohms(&found.set)?);
        let fit = self.evidence.fit(&changes)?;
        Ok((changes, fit))
    }

    /// A found set for the report; `relief` is what it gains besides ([`Self::relief`]).
    fn candidate(&self, (found, changes, fit): &Worked, relief: f64) -> Result<Candidate, String> {
        let set = &found.set;
        let mut ohms = self.ohms(set)?;
        let mut estimates = Vec::new();
        for (at, known) in ohms.iter().enumerate() {
            estimates.push(match known {
                Some(best) => Some(self.interval(set, &ohms, at, *best, fit.gain)?),
                None => None,
            });
        }
        let (mut changes, mut fit) = (changes.clone(), fit.clone());
        if let Some(middle) = self.in_the_middle(set, &ohms, &estimates, fit.gain)? {
            ohms = middle;
            changes = self.changes(set, &ohms);
            fit = self.evidence.fit(&changes)?;
        }
        let faults = self.items(set).zip(&ohms).map(|(item, ohms)| {
            ohms.and_then(|ohms| with_ohms(&item.fault, ohms))
                .unwrap_or_else(|| item.fault.clone())
        });
        let priors: f64 = self.items(set).map(|item| item.ln_prior).sum();
        let chances: f64 = estimates.iter().flatten().map(|e| e.ln_chance()).sum();
        Ok(Candidate {
            faults: faults.collect(),
            estimates,
            rounds: self.items(set).map(|item| item.round).collect(),
            weight: fit.gain + relief + priors + chances,
            changes,
            fit,
        })
    }

    /// Resistances in the middle of their intervals, where the best ones lie at an end: an
    /// unknown load beside a joint lets all between explain as much. `None` where all stay.
    fn in_the_middle(
        &self,
        set: &[usize],
        ohms: &[Option<f64>],
        estimates: &[Option<Estimate>],
        gain: f64,
    ) -> Result<Option<Vec<Option<f64>>>, String> {
        let mut middle = ohms.to_vec();
        for (at, estimate) in estimates.iter().enumerate() {
            if let (Some(Some(best)), Some(estimate)) = (ohms.get(at), estimate)
                && estimate.is_lopsided(*best)
            {
                let mut tried = middle.clone();
                if let Some(slot) = tried.get_mut(at) {
                    *slot = Some(three_digits(estimate.middle()));
                }
                let changes = self.changes(set, &tried);
                if self.evidence.gain(&changes, gain - AS_WELL)?.is_some() {
                    middle = tried;
                }
            }
        }
        Ok((middle != ohms).then_some(middle))
    }

    /// Where the likelihood has fallen to the ends of a 95 % interval, by
    /// bisection on either side of the best. The other faults of a set hardly
    /// change it, so it is worked out once.
    fn interval(
        &self,
        set: &[usize],
        ohms: &[Option<f64>],
        at: usize,
        best: f64,
        gain: f64,
    ) -> Result<Estimate, String> {
        let key = (set.get(at).copied().unwrap_or_default(), best.to_bits());
        if let Some(known) = self.intervals.borrow().get(&key) {
            return Ok(*known);
        }
        let inside = |ln_ohms: f64| -> Result<bool, String> {
            let mut tried = ohms.to_vec();
            if let Some(slot) = tried.get_mut(at) {
                *slot = Some(ln_ohms.exp());
            }
            let changes = self.changes(set, &tried);
            Ok(self.evidence.gain(&changes, gain - INTERVAL)?.is_some())
        };
        let mut ends = [0.0; 2];
        for (slot, outer) in ends.iter_mut().zip([OHMS.0, OHMS.1]) {
            let (mut near, mut far) = (best.ln(), outer.ln());
            if inside(far)? {
                near = far;
            }
            for _ in 0..REFINEMENTS {
                let middle = f64::midpoint(near, far);
                if inside(middle)? {
                    near = middle;
                } else {
                    far = middle;
                }
            }
            *slot = near.exp();
        }
        let [low, high] = ends;
        let estimate = Estimate { low, high };
        self.intervals.borrow_mut().insert(key, estimate);
        Ok(estimate)
    }
}

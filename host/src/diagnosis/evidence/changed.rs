//! The circuit with some changes, where its readings are affected.

use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet};

use loomproof_core::expect::Band;
use loomproof_core::layout::Group;
use loomproof_core::wire::Step;

use super::{Evidence, Judged};
use crate::diagnosis::edits::Changes;
use crate::diagnosis::likelihood::ln_share;
use crate::diagnosis::predict::{Altered, Reach};

/// What changes in some islands bear on.
#[derive(Debug)]
pub(super) struct Scope {
    pub(super) islands: BTreeSet<Group>,
    /// Quantities that are read there, worst off first.
    pub(super) affected: Vec<usize>,
    /// What belongs to the islands, round by round; nothing for a round whose
    /// readings are not affected.
    pub(super) reach: Vec<Option<Reach>>,
    /// The most that the quantities could gain, and the islands' shares.
    pub(super) spare: f64,
    pub(super) shares: f64,
}

/// A circuit with changes: the islands that they touch, and one island more
/// where a quantity is the difference to one elsewhere.
pub(super) struct Changed<'e, 'm> {
    evidence: &'e Evidence<'m>,
    scope: &'e Scope,
    changes: Cow<'e, Changes>,
    altered: Vec<Option<Altered<'m>>>,
    with: BTreeMap<(usize, Group), Altered<'m>>,
}

impl<'e, 'm> Changed<'e, 'm> {
    pub(super) fn new(
        evidence: &'e Evidence<'m>,
        scope: &'e Scope,
        changes: Cow<'e, Changes>,
    ) -> Self {
        Self {
            evidence,
            scope,
            changes,
            altered: scope.reach.iter().map(|_| None).collect(),
            with: BTreeMap::new(),
        }
    }

    fn altered(&self, round: usize, reach: &Reach) -> Option<Altered<'m>> {
        let predictor = self.evidence.predictors.get(round)?;
        Some(predictor.altered(reach, &self.changes.in_round(round)))
    }

    pub(super) fn band(&mut self, step: &Step, judged: &Judged) -> Result<Band, String> {
        let round = judged.round;
        let outside = judged
            .islands
            .into_iter()
            .find(|island| !self.scope.islands.contains(island));
        if let Some(island) = outside {
            if !self.with.contains_key(&(round, island)) {
                let mut islands = self.scope.islands.clone();
                islands.insert(island);
                let reach = self
                    .evidence
                    .predictors
                    .get(round)
                    .map(|p| p.reach(&islands));
                if let Some(altered) = reach.and_then(|reach| self.altered(round, &reach)) {
                    self.with.insert((round, island), altered);
                }
            }
            return match self.with.get_mut(&(round, island)) {
                Some(altered) => solved(self.evidence, altered, step, judged),
                None => Ok(judged.band),
            };
        }
        if self.altered.get(round).is_some_and(Option::is_none)
            && let Some(Some(reach)) = self.scope.reach.get(round)
        {
            let altered = self.altered(round, reach);
            if let Some(slot) = self.altered.get_mut(round) {
                *slot = altered;
            }
        }
        match self.altered.get_mut(round) {
            Some(Some(altered)) => solved(self.evidence, altered, step, judged),
            // A round that does not see the changes.
            _ => Ok(judged.band),
        }
    }
}

/// The band of a quantity in some islands with changes; what it took is counted.
fn solved(
    evidence: &Evidence<'_>,
    altered: &mut Altered<'_>,
    step: &Step,
    judged: &Judged,
) -> Result<Band, String> {
    let band = altered.band(step, judged.quantity);
    evidence.worked(altered.work());
    band
}

/// The least share of a band that is read in each of some islands.
#[derive(Debug, Default)]
pub(super) struct Shares(pub(super) BTreeMap<Group, f64>);

impl Shares {
    pub(super) fn note(&mut self, island: Group, band: &Band) {
        if band.low == band.high {
            // Without unknown loads a band is all of its span.
            return;
        }
        let least = self.0.entry(island).or_insert(0.0);
        *least = least.min(ln_share(band));
    }
}

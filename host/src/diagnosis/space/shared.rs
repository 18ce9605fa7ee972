//! What a part deviates by is one, however many readings it is in.
//!
//! The search takes every reading's deviation as its own, so that what a set gains adds
//! up over readings. A coil near the end of its tolerance then counts once in every
//! reading through it, and a bad joint in series with it seems to explain all of them.
//! So where it matters the sets that were found, and the best of those that were too far
//! behind, are weighed again with every part of the islands in question at the value
//! that fits best: it costs δ²/2 for δ standard deviations, once. The spread of the
//! readings keeps the part's share, so that the deviation is found a little too small.

use std::collections::{BTreeMap, BTreeSet};

use loomproof_core::circuit::{Edit, ElementId, Part};
use loomproof_core::layout::Group;
use loomproof_core::units::Ohms;

use super::Catalogue;
use super::explain::Worked;
use crate::diagnosis::edits::Changes;
use crate::diagnosis::evidence::{Evidence, Fit};

/// The farthest that a part may be off, in standard deviations: beyond it a part is
/// faulty (`common practice`: a tolerance is two to three).
const FARTHEST: f64 = 4.0;

/// Passes over the parts of an island.
const PASSES: usize = 3;

/// Relief that is not worth another pass.
const NOTHING: f64 = 0.1;

/// Sets that predict the same for every reading gain the same to within so much.
const SAME: f64 = 0.5;

/// A part of the harness and its standard deviation.
type Spread = (ElementId, Ohms);

/// Whether two sets predict the same for every reading.
pub(super) fn same(evidence: &Evidence<'_>, a: &Fit, b: &Fit) -> bool {
    (a.gain - b.gain).abs() < SAME && evidence.alike(a, b)
}

impl Catalogue<'_, '_> {
    /// How much more each of these sets gains when a part's deviation counts once.
    /// What predicts the same is worked out once.
    pub(super) fn relief(&self, sets: &[Worked]) -> Result<Vec<f64>, String> {
        let touched: Vec<_> = sets
            .iter()
            .map(|(_, changes, _)| self.evidence.touched(changes))
            .collect();
        let all: BTreeSet<_> = touched.iter().flatten().copied().collect();
        let by_island = self.parts_of(&all);
        let mut alone: BTreeMap<&BTreeSet<Group>, f64> = BTreeMap::new();
        let mut heads: Vec<(usize, f64)> = Vec::new();
        let mut reliefs = Vec::new();
        for (at, ((_, changes, fit), touched)) in sets.iter().zip(&touched).enumerate() {
            let known = heads.iter().find(|(head, _)| {
                let other = sets.get(*head);
                other.is_some_and(|(.., other)| same(self.evidence, other, fit))
            });
            if let Some((_, relief)) = known {
                reliefs.push(*relief);
                continue;
            }
            let mut own: Vec<Spread> = Vec::new();
            let mut relief = 0.0;
            for (island, parts) in &by_island {
                if !island.is_disjoint(touched) {
                    own.extend(parts);
                } else if let Some(known) = alone.get(island) {
                    relief += known;
                } else {
                    let found = self.fitted_parts(&Changes::default(), parts)?;
                    alone.insert(island, found);
                    relief += found;
                }
            }
            relief += self.fitted_parts(changes, &own)?;
            heads.push((at, relief));
            reliefs.push(relief);
        }
        Ok(reliefs)
    }

    /// The components in some islands, island by island.
    fn parts_of(&self, islands: &BTreeSet<Group>) -> BTreeMap<BTreeSet<Group>, Vec<Spread>> {
        let mut parts: BTreeMap<BTreeSet<Group>, Vec<Spread>> = BTreeMap::new();
        let model = self.evidence.models().next();
        let elements = model.into_iter().flat_map(|model| model.circuit.elements());
        for (element, id) in elements.zip(0..) {
            if let Part::Resistor { spread, .. } = element.part
                && spread.0 > 0.0
            {
                let here = Changes::of(vec![Edit::AddOhms(ElementId(id), Ohms(0.0))], None);
                let island = self.evidence.touched(&here);
                if !island.is_disjoint(islands) {
                    let part = (ElementId(id), spread);
                    parts.entry(island).or_default().push(part);
                }
            }
        }
        parts
    }

    /// What these changes gain with the parts at their best, less what they cost.
    fn fitted_parts(&self, changes: &Changes, parts: &[Spread]) -> Result<f64, String> {
        let with = |off: &[f64]| -> Result<f64, String> {
            let mut all = changes.clone();
            for ((id, spread), off) in parts.iter().zip(off).filter(|(_, off)| **off != 0.0) {
                let more = Edit::AddOhms(*id, Ohms(spread.0 * off));
                all.extend(&Changes::of(vec![more], None));
            }
            let gain = self.evidence.gain(&all, f64::NEG_INFINITY)?;
            let cost: f64 = off.iter().map(|off| 0.5 * off * off).sum();
            Ok(gain.unwrap_or(f64::NEG_INFINITY) - cost)
        };
        let mut off = vec![0.0; parts.len()];
        let start = with(&off)?;
        let mut best = start;
        for _ in 0..PASSES {
            let before = best;
            for at in 0..parts.len() {
                let tried = |by: f64| {
                    let mut tried = off.clone();
                    if let Some(slot) = tried.get_mut(at) {
                        *slot = (*slot + by).clamp(-FARTHEST, FARTHEST);
                    }
                    tried
                };
                // The gain is nearly a parabola of what one part is off by.
                let (less, more) = (with(&tried(-0.5))?, with(&tried(0.5))?);
                let bend = less + more - 2.0 * best;
                let towards = if bend < 0.0 {
                    0.25 * (less - more) / bend
                } else {
                    f64::from(u8::from(more > less)) - 0.5
                };
                let there = tried(towards);
                let found = with(&there)?;
                if found > best {
                    (best, off) = (found, there);
                }
            }
            if best < before + NOTHING {
                break;
            }
        }
        Ok((best - start).max(0.0))
    }
}

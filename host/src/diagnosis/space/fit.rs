//! The best resistances of a set, and how well it explains the readings with them.

use std::collections::HashMap;

use crate::diagnosis::edits::Changes;
use crate::diagnosis::ohms::{OHMS, SWEEP, peak, three_digits};
use crate::diagnosis::search::{MAX_FAULTS, Settings, Space};

use super::{Catalogue, Fitted};

/// Passes over the unknown resistances of a set that has several.
const PASSES: usize = 2;

impl Catalogue<'_, '_> {
    /// Takes a set apart into parts that bear on different readings.
    fn parts(&self, set: &[usize]) -> Vec<Vec<usize>> {
        let mut parts: Vec<Vec<usize>> = Vec::new();
        for one in set {
            let (mut joined, apart): (Vec<_>, Vec<_>) = parts
                .into_iter()
                .partition(|part| part.iter().any(|other| !self.separate(*one, *other)));
            let mut part = joined.pop().unwrap_or_default();
            part.extend(joined.into_iter().flatten());
            part.push(*one);
            part.sort_unstable();
            parts = apart;
            parts.push(part);
        }
        parts
    }

    /// The best resistances of a set and the gain with them; `None` where it
    /// is certain to be less than `floor`. Parts that bear on different readings
    /// are worked out apart.
    pub(super) fn fit(&self, set: &[usize], floor: f64) -> Result<Option<Fitted>, String> {
        let parts = self.parts(set);
        if parts.len() < 2 {
            return self.fit_part(set, floor);
        }
        let (mut gain, mut known) = (0.0, HashMap::new());
        // Single faults are mostly known already: the rest needs the less.
        let mut parts: Vec<&Vec<usize>> = parts.iter().collect();
        parts.sort_by_key(|part| part.len());
        let last = parts.len() - 1;
        for (at, part) in parts.into_iter().enumerate() {
            let floor = if at == last {
                floor - gain
            } else {
                f64::NEG_INFINITY
            };
            let Some(fitted) = self.fit_part(part, floor)? else {
                return Ok(None);
            };
            gain += fitted.gain;
            known.extend(part.iter().copied().zip(fitted.ohms));
        }
        let ohms = set.iter().map(|one| known.get(one).copied().flatten());
        Ok(Some(Fitted {
            gain,
            ohms: ohms.collect(),
        }))
    }

    fn fit_part(&self, set: &[usize], floor: f64) -> Result<Option<Fitted>, String> {
        if let Some(fitted) = self.fitted.borrow().get(set) {
            return Ok(Some(fitted.clone()).filter(|fitted| fitted.gain >= floor));
        }
        let mut ohms: Vec<Option<f64>> = self
            .items(set)
            .map(|item| item.unknown.then_some(OHMS.0))
            .collect();
        let unknown: Vec<usize> = (0..ohms.len())
            .filter(|at| ohms.get(*at).is_some_and(Option::is_some))
            .collect();
        if unknown.is_empty() {
            let gain = self.evidence.gain(&self.changes(set, &ohms), floor)?;
            return Ok(gain.map(|gain| self.note(set, Fitted { gain, ohms })));
        }
        let least = Settings::default().least_gain;
        let mut possible = true;
        for at in &unknown {
            possible &= self.some_stretch(set, &unknown, *at, floor.max(least))?;
        }
        if !possible && floor > least {
            return Ok(None);
        }
        let gain = |ohms: &[Option<f64>], floor: f64| {
            let gain = self.evidence.gain(&self.changes(set, ohms), floor)?;
            Ok::<f64, String>(gain.unwrap_or(f64::NEG_INFINITY))
        };
        let mut best = gain(&ohms, f64::NEG_INFINITY)?;
        if !possible {
            // However large it is, it explains nothing.
            return Ok(Some(self.note(set, Fitted { gain: best, ohms })));
        }
        let passes = if unknown.len() > 1 { PASSES } else { 1 };
        for _ in 0..passes {
            for at in &unknown {
                let with = |ln_ohms: f64| {
                    let mut tried = ohms.clone();
                    if let Some(slot) = tried.get_mut(*at) {
                        *slot = Some(three_digits(ln_ohms.exp()));
                    }
                    tried
                };
                let (found, ln_ohms) = peak(|ln_ohms, floor| gain(&with(ln_ohms), floor))?;
                if found > best {
                    best = found;
                    ohms = with(ln_ohms);
                }
            }
        }
        let fitted = self.note(set, Fitted { gain: best, ohms });
        Ok((best >= floor).then_some(fitted))
    }

    fn note(&self, set: &[usize], fitted: Fitted) -> Fitted {
        let mut known = self.fitted.borrow_mut();
        known.insert(set.to_vec(), fitted.clone());
        fitted
    }

    /// Whether a set could gain `floor` with any resistances, looking at the
    /// one at `at` stretch by stretch: every voltage lies between those at the
    /// ends of the stretch and of all other resistances.
    fn some_stretch(
        &self,
        set: &[usize],
        unknown: &[usize],
        at: usize,
        floor: f64,
    ) -> Result<bool, String> {
        let others: Vec<usize> = unknown.iter().copied().filter(|o| *o != at).collect();
        let stride = (OHMS.1 / OHMS.0).ln() / f64::from(SWEEP);
        let knot = |k: u32| -> Vec<Changes> {
            let here = (OHMS.0.ln() + stride * f64::from(k)).exp();
            let corner = |corner: usize| {
                let ohms = |place: usize| {
                    if place == at {
                        return Some(here);
                    }
                    let bit = others.iter().position(|other| *other == place)?;
                    let up = corner >> bit & 1 == 1;
                    Some(if up { OHMS.1 } else { OHMS.0 })
                };
                let ohms: Vec<Option<f64>> = (0..set.len()).map(ohms).collect();
                self.changes(set, &ohms)
            };
            (0..1_usize << others.len().min(MAX_FAULTS))
                .map(corner)
                .collect()
        };
        self.evidence.between(SWEEP, knot, floor)
    }
}

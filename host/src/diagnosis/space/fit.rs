//! The best resistances of a set, and how well it explains the readings with them.

use std::collections::HashMap;

use crate::diagnosis::edits::Changes;
use crate::diagnosis::evidence::Stretch;
use crate::diagnosis::ohms::{OHMS, SWEEP, knot, peak, peak_in, three_digits};
use crate::diagnosis::search::{MAX_FAULTS, Settings, Space};

use super::together::NOTHING;
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
        let ohms: Vec<Option<f64>> = self
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
        let mut stretches = Vec::new();
        for at in &unknown {
            // Of several, one stretch of each is enough: the others stand anywhere there.
            let enough = if unknown.len() > 1 { 1 } else { SWEEP as usize };
            stretches = self.stretches(set, &unknown, *at, (enough, floor.max(least)))?;
            if stretches.is_empty() {
                break;
            }
        }
        if stretches.is_empty() {
            if floor > least {
                return Ok(None);
            }
            // However large it is, it explains nothing.
            let gain = self.gain_with(set, &ohms, f64::NEG_INFINITY)?;
            return Ok(Some(self.note(set, Fitted { gain, ohms })));
        }
        let fitted = match unknown.as_slice() {
            [at] => self.fit_one(set, ohms, *at, stretches)?,
            several => self.fit_several(set, ohms, several)?,
        };
        // What could not reach the floor was not looked at.
        let whole = fitted.gain >= floor || floor <= least;
        let fitted = if whole {
            self.note(set, fitted)
        } else {
            fitted
        };
        Ok(Some(fitted).filter(|fitted| fitted.gain >= floor))
    }

    /// The best of the one resistance that is unknown, in the stretches where it can be.
    fn fit_one(
        &self,
        set: &[usize],
        ohms: Vec<Option<f64>>,
        at: usize,
        stretches: Vec<Stretch>,
    ) -> Result<Fitted, String> {
        let start = (self.gain_with(set, &ohms, f64::NEG_INFINITY)?, OHMS.0.ln());
        let tried = |ln_ohms, floor| self.gain_with(set, &with(&ohms, at, ln_ohms), floor);
        let (gain, ln_ohms) = peak_in(tried, stretches, Settings::default().least_gain, start)?;
        let ohms = with(&ohms, at, ln_ohms);
        Ok(Fitted { gain, ohms })
    }

    /// The best of several unknown resistances, one after the other, from the least, or
    /// from what is best for each alone.
    fn fit_several(
        &self,
        set: &[usize],
        ohms: Vec<Option<f64>>,
        unknown: &[usize],
    ) -> Result<Fitted, String> {
        let mut best = self.gain_with(set, &ohms, f64::NEG_INFINITY)?;
        let mut ohms = ohms;
        let alone = self.alone(set, &ohms);
        let gain = self.gain_with(set, &alone, best)?;
        if gain > best {
            (best, ohms) = (gain, alone);
        }
        for _ in 0..PASSES {
            for at in unknown {
                let tried = |ln_ohms, floor| self.gain_with(set, &with(&ohms, *at, ln_ohms), floor);
                let here = ohms.get(*at).copied().flatten().unwrap_or(OHMS.0);
                let (found, ln_ohms) = peak(tried, (best, here.ln()))?;
                if found > best {
                    (best, ohms) = (found, with(&ohms, *at, ln_ohms));
                }
            }
            let before = best;
            let all = self.together(set, ohms.clone(), best)?.into_iter();
            let all: Vec<Option<f64>> = all.map(|one| one.map(three_digits)).collect();
            let found = self.gain_with(set, &all, best)?;
            if found > best {
                (best, ohms) = (found, all);
            }
            if best < before + NOTHING {
                break;
            }
        }
        Ok(Fitted { gain: best, ohms })
    }

    /// The resistances that are best for each member alone, as far as they were worked out.
    fn alone(&self, set: &[usize], ohms: &[Option<f64>]) -> Vec<Option<f64>> {
        let known = self.fitted.borrow();
        let best = |(one, ohms): (&usize, &Option<f64>)| {
            let single = known.get([*one].as_slice());
            single.map_or(*ohms, |single| single.ohms.first().copied().flatten())
        };
        set.iter().zip(ohms).map(best).collect()
    }

    /// The gain with these resistances; minus infinity where it is certain to be less than
    /// a floor.
    pub(super) fn gain_with(
        &self,
        set: &[usize],
        ohms: &[Option<f64>],
        floor: f64,
    ) -> Result<f64, String> {
        let gain = self.evidence.gain(&self.changes(set, ohms), floor)?;
        Ok(gain.unwrap_or(f64::NEG_INFINITY))
    }

    fn note(&self, set: &[usize], fitted: Fitted) -> Fitted {
        let mut known = self.fitted.borrow_mut();
        known.insert(set.to_vec(), fitted.clone());
        fitted
    }

    /// The stretches of the resistance at `at` in which a set could gain a floor with
    /// any of the others, each with the most it could; so many are enough. Every voltage
    /// lies between those at the ends of the stretch and of all other resistances.
    fn stretches(
        &self,
        set: &[usize],
        unknown: &[usize],
        at: usize,
        (enough, floor): (usize, f64),
    ) -> Result<Vec<Stretch>, String> {
        let others: Vec<usize> = unknown.iter().copied().filter(|o| *o != at).collect();
        let corners = |k: u32| -> Vec<Changes> {
            let here = three_digits(knot(k).exp());
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
        self.evidence.stretches(SWEEP, enough, corners, floor)
    }
}

/// The resistances with another one at a place.
fn with(ohms: &[Option<f64>], at: usize, ln_ohms: f64) -> Vec<Option<f64>> {
    let mut tried = ohms.to_vec();
    if let Some(slot) = tried.get_mut(at) {
        *slot = Some(three_digits(ln_ohms.exp()));
    }
    tried
}

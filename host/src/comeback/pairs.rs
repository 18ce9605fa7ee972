//! Two causes at once, where no single one explains everything.

use std::collections::BTreeSet;

use super::asks::Asks;
use super::belief::{self, Answer};
use super::inquiry::Inquiry;
use super::next::alike;
use super::suspects::{Reckoner, Suspect};
use super::told::{MISTOLD, told, told_each};
use crate::powered::{Cause, Scenario};

/// Singles that are tried in pairs, at most; of those that nothing tells apart one.
const PAIRED: usize = 60;

/// Pairs in which one cause is replaced by another that nothing tells from it, at most.
const TWINS: usize = 4;

/// One cause that may be part of a pair.
struct Single<'s> {
    /// What is told and read that it explains.
    explained: Vec<bool>,
    suspect: &'s Suspect,
    /// Others that nothing tells from it.
    twins: Vec<&'s Suspect>,
}

/// Of singles that explain the same, a few each, so that every sort is there; who cannot
/// be told apart goes with the first of them.
fn chosen<'s>(asks: &Asks, singles: Vec<Single<'s>>) -> Vec<Single<'s>> {
    let nothing = BTreeSet::new();
    let mut kept: Vec<Single<'s>> = Vec::new();
    for single in singles {
        let mut same: Vec<&mut Single<'s>> = kept
            .iter_mut()
            .filter(|it| it.explained == single.explained)
            .collect();
        let twin = same
            .iter_mut()
            .find(|it| alike(asks, it.suspect, single.suspect, &nothing));
        if let Some(twin) = twin {
            if twin.twins.len() < TWINS {
                twin.twins.push(single.suspect);
            }
        } else if same.len() < PAIRED / 3 && kept.len() < PAIRED {
            kept.push(single);
        }
    }
    kept
}

/// Whether two causes cannot be there together.
fn clash(one: &Suspect, other: &Suspect) -> bool {
    let mut ends = one.scenarios.iter().zip(&other.scenarios);
    ends.any(|(one, other)| one.clashes(other))
}

impl Inquiry<'_> {
    /// Takes up the pairs that explain everything that no single cause explains.
    ///
    /// # Errors
    /// A sentence that says what cannot be computed.
    pub(super) fn pair(&mut self, answers: &[Answer]) -> Result<(), String> {
        self.suspects.retain(|suspect| suspect.causes.len() < 2);
        let mut reckoner = Reckoner::new(&self.powered, &self.asks, [], self.battery)?;
        for suspect in &mut self.partly {
            if suspect.forecasts.is_empty() {
                let own = suspect.ways.first();
                if let Some(way) = own.and_then(|number| self.pool.way(*number)) {
                    suspect.forecasts = way.forecasts(&mut reckoner)?;
                }
            }
        }
        let asks = &self.asks;
        let forecast = |suspect: &Suspect, answer: &Answer| {
            let at = belief::number(asks, &answer.ask)?;
            suspect.forecasts.get(at).copied()
        };
        // What is told and read that each explains.
        let explained = |suspect: &Suspect| -> Vec<bool> {
            let told = told_each(asks, &suspect.forecasts, &self.symptoms);
            let told = told.into_iter().map(|chance| chance > MISTOLD * 1.5);
            let read = answers.iter().map(|answer| {
                forecast(suspect, answer).is_none_or(|it| belief::fits(&it, &answer.reply))
            });
            told.chain(read).collect()
        };
        let singles = self.suspects.iter().chain(&self.partly);
        let singles = singles.filter(|suspect| !suspect.causes.is_empty());
        let mut singles: Vec<Single<'_>> = singles
            .filter(|suspect| !self.is_cleared(suspect))
            .map(|suspect| Single {
                explained: explained(suspect),
                suspect,
                twins: Vec::new(),
            })
            .collect();
        let weight = |single: &Single<'_>| {
            let all = single.explained.iter().filter(|it| **it).count();
            (i32::try_from(all).unwrap_or(0) as f64) * 3.0 + single.suspect.prior.ln()
        };
        singles.sort_by(|one, other| weight(other).total_cmp(&weight(one)));
        let kept = chosen(asks, singles);
        let mut found = Vec::new();
        for (at, first) in kept.iter().enumerate() {
            for second in kept.iter().skip(at + 1) {
                let (a, b) = (first.suspect, second.suspect);
                let mut each = first.explained.iter().zip(&second.explained);
                if clash(a, b) || !each.all(|(a, b)| *a || *b) {
                    continue;
                }
                let most = a.scenarios.len().max(b.scenarios.len());
                let scenarios: Vec<Scenario> = (0..most)
                    .filter_map(|end| {
                        let one = a.scenarios.get(end).or(a.scenarios.last())?;
                        let other = b.scenarios.get(end).or(b.scenarios.last())?;
                        Some(Scenario::together([one, other].into_iter()))
                    })
                    .collect();
                let both = |a: &Suspect, b: &Suspect| -> Vec<Cause> {
                    a.causes.iter().chain(&b.causes).cloned().collect()
                };
                let (Some(one), Some(other)) = (a.ways.first(), b.ways.first()) else {
                    continue;
                };
                let made = || reckoner.forecasts(&both(a, b), &scenarios).ok();
                let Some(forecasts) = self.pool.pair((*one, *other), made) else {
                    continue;
                };
                let told = told(asks, &forecasts, &self.symptoms);
                let pairs = [(a, b)].into_iter();
                let pairs = pairs.chain(first.twins.iter().map(|twin| (*twin, b)));
                let pairs = pairs.chain(second.twins.iter().map(|twin| (a, *twin)));
                let pairs = pairs.filter(|(a, b)| !clash(a, b));
                found.extend(pairs.map(|(a, b)| Suspect {
                    prior: a.prior * b.prior * told,
                    causes: both(a, b),
                    scenarios: scenarios.clone(),
                    ways: a.ways.iter().chain(&b.ways).copied().collect(),
                    forecasts: forecasts.clone(),
                }));
            }
        }
        self.suspects.extend(found);
        // The explanation that all is well stays the last one.
        if let Some(at) = self.suspects.iter().position(|it| it.causes.is_empty()) {
            let well = self.suspects.remove(at);
            self.suspects.push(well);
        }
        Ok(())
    }
}

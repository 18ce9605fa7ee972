//! Finds the sets of hypotheses that explain what was observed best, and says
//! how far that is proved.
//!
//! The search knows nothing of wiring: it works on any [`Space`]. All single
//! hypotheses are scored. Of the pairs, those that do not touch each other add
//! up exactly; every other pair is either scored, or shown by a bound to be
//! worse than what is known, or holds a single one that leaves nothing to
//! explain (and is then no explanation of its own), so that the best of all
//! singles and pairs is proved (`tests/tests/proved.rs` works all of them out), unless
//! that would take too long ([`Settings::effort`]): then the likeliest pairs are scored,
//! and the singles are all that is proved.
//! Larger sets grow best-first from the best smaller ones and are improved by
//! leaving out, exchanging and adding one member at a time, as far as
//! [`Settings::larger_effort`] goes, and begin anew from others where the best leaves
//! something to explain or is as large as may be; of these no proof is claimed.

mod anew;
mod larger;
mod settings;

use std::collections::BTreeSet;

pub use settings::{MAX_FAULTS, Settings};

/// What can be searched.
pub trait Space {
    /// How many single hypotheses there are; they are numbered from 0.
    fn len(&self) -> usize;

    /// Whether there is none.
    fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// Natural logarithm of a hypothesis's prior odds.
    fn ln_prior(&self, one: usize) -> f64;

    /// Whether two hypotheses can be true together.
    fn compatible(&self, a: usize, b: usize) -> bool;

    /// Whether two hypotheses bear on different observations, so that their
    /// gains add up.
    fn separate(&self, a: usize, b: usize) -> bool;

    /// The most that this hypothesis could gain by itself or add to others.
    fn bound(&self, one: usize) -> f64;

    /// The most that two hypotheses could gain together.
    fn bound_of_two(&self, a: usize, b: usize) -> f64;

    /// Log likelihood of all observations under a set, less that under none;
    /// `None` as soon as it is certain to be less than `floor`.
    ///
    /// # Errors
    /// A sentence that says what cannot be computed.
    fn gain(&self, set: &[usize], floor: f64) -> Result<Option<f64>, String>;

    /// Whether a hypothesis alone leaves nothing to explain, so that a set which
    /// holds it and more is no explanation of its own.
    ///
    /// # Errors
    /// A sentence that says what cannot be computed.
    fn suffices(&self, _one: usize) -> Result<bool, String> {
        Ok(false)
    }

    /// How much was computed so far, in units that take about the same time each.
    fn work(&self) -> u64 {
        0
    }

    /// Hypotheses that bear on what a set leaves unexplained; none where it
    /// explains everything.
    ///
    /// # Errors
    /// A sentence that says what cannot be computed.
    fn open_to(&self, set: &[usize]) -> Result<Vec<usize>, String>;
}

/// Weights that differ by less than this are the same but for rounding.
pub const EQUAL: f64 = 1e-3;

/// A set that explains something.
#[derive(Debug, Clone, PartialEq)]
pub struct Found {
    /// The hypotheses, in rising order.
    pub set: Vec<usize>,
    /// Log likelihood less that of the empty set.
    pub gain: f64,
    /// Gain and log priors together.
    pub weight: f64,
}

/// How far the best set is proved to be the best.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Proof {
    /// Best among all sets of at most so many hypotheses.
    pub size: usize,
    /// How many sets of that size and smaller there are.
    pub sets: u64,
    /// How many of them were scored; the others add up, were bounded, or hold a
    /// single one that suffices.
    pub scored: u64,
}

/// What a search found.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Outcome {
    /// Sets, best first.
    pub found: Vec<Found>,
    /// Gain of each single hypothesis.
    pub singles: Vec<f64>,
    /// How far the best is proved.
    pub proof: Proof,
}

/// Searches a space.
///
/// # Errors
/// A sentence that says what cannot be computed.
pub fn search(space: &impl Space, settings: &Settings) -> Result<Outcome, String> {
    let mut hunt = Hunt {
        space,
        settings,
        found: Vec::new(),
        seen: BTreeSet::new(),
        best: 0.0,
        until: u64::MAX,
    };
    let mut outcome = Outcome::default();
    for one in 0..space.len() {
        let gain = space.gain(&[one], f64::NEG_INFINITY)?;
        outcome.singles.push(gain.unwrap_or(f64::NEG_INFINITY));
    }
    outcome.proof = Proof {
        size: 1,
        sets: space.len() as u64,
        scored: space.len() as u64,
    };
    for (one, gain) in outcome.singles.iter().enumerate() {
        if *gain > settings.least_gain {
            hunt.keep(vec![one], *gain);
        }
    }
    let enough = !settings.pairs && hunt.best_explains_all()?;
    if settings.most >= 2 && !enough {
        hunt.pairs(&outcome.singles, &mut outcome.proof)?;
    }
    hunt.until = space.work().saturating_add(settings.larger_effort);
    for size in 2..settings.most {
        if enough || !hunt.grow(size, &outcome.singles)? {
            break;
        }
    }
    hunt.exchange(&outcome.singles)?;
    if hunt.begin_anew(&outcome.singles, &outcome.proof)? {
        hunt.until = space.work().saturating_add(settings.larger_effort);
        hunt.exchange(&outcome.singles)?;
    }
    hunt.close(&outcome.singles)?;
    hunt.trim();
    outcome.found = hunt.found;
    Ok(outcome)
}

struct Hunt<'s, S> {
    space: &'s S,
    settings: &'s Settings,
    found: Vec<Found>,
    seen: BTreeSet<Vec<usize>>,
    best: f64,
    /// The work at which sets of more than two have had enough.
    until: u64,
}

impl<S: Space> Hunt<'_, S> {
    fn ln_prior(&self, set: &[usize]) -> f64 {
        set.iter().map(|one| self.space.ln_prior(*one)).sum()
    }

    /// The weight below which a set is not worth keeping.
    fn cut(&self) -> f64 {
        self.best - self.settings.negligible
    }

    /// Whether the best of what was kept is one that leaves nothing to explain.
    fn best_explains_all(&mut self) -> Result<bool, String> {
        self.trim();
        match self.found.first() {
            Some(best) => Ok(self.space.open_to(&best.set)?.is_empty()),
            None => Ok(false),
        }
    }

    /// Keeps a set if it is not too far behind; whether it is new.
    fn keep(&mut self, mut set: Vec<usize>, gain: f64) -> bool {
        set.sort_unstable();
        let weight = gain + self.ln_prior(&set);
        if weight > self.cut() && self.seen.insert(set.clone()) {
            self.best = self.best.max(weight);
            self.found.push(Found { set, gain, weight });
            return true;
        }
        false
    }

    fn trim(&mut self) {
        self.found
            .sort_by(|a, b| b.weight.total_cmp(&a.weight).then(a.set.cmp(&b.set)));
        let cut = self.cut();
        self.found.retain(|found| found.weight > cut);
    }

    /// All pairs: added up, bounded or scored.
    fn pairs(&mut self, singles: &[f64], proof: &mut Proof) -> Result<(), String> {
        let least = self.settings.least_gain;
        let mut touching: Vec<(f64, f64, usize, usize)> = Vec::new();
        let mut sets = proof.sets;
        for (a, gain_a) in singles.iter().enumerate() {
            let (prior_a, bound_a) = (self.space.ln_prior(a), self.space.bound(a));
            for (b, gain_b) in singles.iter().enumerate().skip(a + 1) {
                sets += 1;
                if self.space.separate(a, b) {
                    if *gain_a > least && *gain_b > least && self.space.compatible(a, b) {
                        self.keep(vec![a, b], gain_a + gain_b);
                    }
                    continue;
                }
                let floor = self.floor(prior_a + self.space.ln_prior(b), gain_a.max(*gain_b));
                if bound_a + self.space.bound(b) > floor {
                    touching.push((gain_a.max(*gain_b), gain_a.min(*gain_b), a, b));
                }
            }
        }
        // What explains most by itself is likeliest to be half of a good pair, with what
        // explains most of the others, and a good pair shortens the rest.
        touching.sort_by(|x, y| y.0.total_cmp(&x.0).then(y.1.total_cmp(&x.1)));
        // A set that holds a whole explanation is none of its own.
        let mut enough = BTreeSet::new();
        for (one, gain) in singles.iter().enumerate() {
            if gain + self.space.ln_prior(one) > self.cut() && self.space.suffices(one)? {
                enough.insert(one);
            }
        }
        let mut scored = 0;
        let before = self.space.work();
        for (single, _, a, b) in touching {
            if enough.contains(&a) || enough.contains(&b) {
                continue;
            }
            let floor = self.floor(self.ln_prior(&[a, b]), single);
            if !self.space.compatible(a, b) || self.space.bound_of_two(a, b) < floor {
                continue;
            }
            scored += 1;
            let work = self.space.work() - before;
            if scored > self.settings.patience || work > self.settings.effort {
                proof.scored += scored;
                return Ok(());
            }
            if let Some(gain) = self.space.gain(&[a, b], floor)? {
                self.keep(vec![a, b], gain);
            }
        }
        *proof = Proof {
            size: 2,
            sets,
            scored: proof.scored + scored,
        };
        Ok(())
    }

    /// The gain that a set must have to be kept: enough against the best, and
    /// enough more than without one of its members.
    fn floor(&self, ln_prior: f64, without: f64) -> f64 {
        (self.cut() - ln_prior).max(without.max(0.0) + self.settings.least_gain)
    }
}

#[cfg(test)]
mod tests;

//! Every fault of a catalogue, as hypotheses about a scan.

mod fit;
mod shared;

use std::cell::RefCell;
use std::collections::{BTreeSet, HashMap};

use loomproof_core::circuit::Edit;
use loomproof_core::layout::Group;
use loomproof_core::units::Ohms;

use super::edits::Changes;
use super::evidence::{Evidence, Fit};
use super::ohms::{Estimate, OHMS, REFINEMENTS};
use super::search::{EQUAL, Found, Outcome, Proof, Settings, Space, search};
use crate::circuit::Model;
use crate::fault::Fault;
use shared::same;

/// Fall of the log likelihood at the ends of a 95 % interval: half of the 95 %
/// quantile of χ² with one degree of freedom, 3.841 (`tests/tests/quantiles.rs`).
const INTERVAL: f64 = 1.92;

/// A fault that leaves no reading further off than this, in standard
/// deviations, leaves nothing to explain (three sigma: `common practice`).
const SUFFICES: f64 = 3.0;

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
type Worked = (Found, Changes, Fit);

/// One hypothesis.
#[derive(Debug)]
struct Item {
    fault: Fault,
    round: Option<usize>,
    changes: Changes,
    /// Whether it has an unknown resistance.
    unknown: bool,
    islands: BTreeSet<Group>,
    mask: Mask,
    ln_prior: f64,
    bound: f64,
}

/// Islands as bits; islands that share a bit are taken for one, which costs
/// time and no truth.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
struct Mask([u64; 4]);

impl Mask {
    fn of(islands: &BTreeSet<Group>) -> Self {
        let mut mask = Self::default();
        for Group(number) in islands {
            if let Some(word) = mask.0.get_mut(usize::from(number / 64 % 4)) {
                *word |= 1 << (number % 64);
            }
        }
        mask
    }

    fn overlaps(self, other: Self) -> bool {
        self.0.iter().zip(other.0).any(|(a, b)| a & b != 0)
    }
}

/// Every fault of a catalogue that shows in the circuit.
#[derive(Debug)]
pub struct Catalogue<'e, 'm> {
    evidence: &'e Evidence<'m>,
    items: Vec<Item>,
    /// Sets that were worked out.
    fitted: RefCell<HashMap<Vec<usize>, Fitted>>,
    /// Intervals of single resistances, by hypothesis and estimate.
    intervals: RefCell<HashMap<(usize, u64), Estimate>>,
}

/// A set's best resistances, where they are unknown, and the gain with them.
#[derive(Debug, Clone)]
struct Fitted {
    gain: f64,
    ohms: Vec<Option<f64>>,
}

impl<'e, 'm> Catalogue<'e, 'm> {
    /// The faults that change the circuit of these readings.
    #[must_use]
    pub fn new(evidence: &'e Evidence<'m>, faults: &[Fault]) -> Self {
        let models: Vec<&Model> = evidence.models().collect();
        let item = |fault: &Fault, round: Option<usize>, changes: Changes| {
            let islands = evidence.touched(&changes);
            // A quantity that is read in two islands ties them together.
            let mut read = evidence.islands_of(&evidence.affected(&islands, round));
            read.extend(&islands);
            Item {
                unknown: with_ohms(fault, OHMS.0).is_some(),
                fault: fault.clone(),
                round,
                mask: Mask::of(&read),
                bound: evidence.bound(&islands, round),
                changes,
                islands,
                ln_prior: fault.prior().ln(),
            }
        };
        let each = faults.iter().flat_map(|fault| {
            let ways = Changes::of_fault(fault, &models).into_iter();
            ways.map(move |(round, changes)| item(fault, round, changes))
        });
        let items = each.collect();
        Self {
            evidence,
            items,
            fitted: RefCell::default(),
            intervals: RefCell::default(),
        }
    }

    fn items<'s>(&'s self, set: &'s [usize]) -> impl Iterator<Item = &'s Item> {
        set.iter().filter_map(|one| self.items.get(*one))
    }

    /// The changes of a set with these resistances where they are unknown.
    fn changes(&self, set: &[usize], ohms: &[Option<f64>]) -> Changes {
        let mut all = Changes::default();
        for (item, ohms) in self.items(set).zip(ohms) {
            let with = ohms.and_then(|ohms| changes_with(self.evidence, item, ohms));
            all.extend(with.as_ref().unwrap_or(&item.changes));
        }
        all
    }

    fn ohms(&self, set: &[usize]) -> Result<Vec<Option<f64>>, String> {
        let fitted = self.fit(set, f64::NEG_INFINITY)?;
        Ok(fitted.map_or_else(|| vec![None; set.len()], |fitted| fitted.ohms))
    }

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
        let ohms = self.ohms(set)?;
        let mut estimates = Vec::new();
        for (at, known) in ohms.iter().enumerate() {
            estimates.push(match known {
                Some(best) => Some(self.interval(set, &ohms, at, *best, fit.gain)?),
                None => None,
            });
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
            changes: changes.clone(),
            weight: fit.gain + relief + priors + chances,
            fit: fit.clone(),
        })
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

impl Space for Catalogue<'_, '_> {
    fn len(&self) -> usize {
        self.items.len()
    }

    fn ln_prior(&self, one: usize) -> f64 {
        self.items.get(one).map_or(0.0, |item| item.ln_prior)
    }

    fn compatible(&self, a: usize, b: usize) -> bool {
        match (self.items.get(a), self.items.get(b)) {
            (Some(a), Some(b)) => !clash(&a.changes, &b.changes),
            _ => false,
        }
    }

    fn separate(&self, a: usize, b: usize) -> bool {
        match (self.items.get(a), self.items.get(b)) {
            (Some(a), Some(b)) => !a.mask.overlaps(b.mask),
            _ => true,
        }
    }

    fn bound(&self, one: usize) -> f64 {
        self.items.get(one).map_or(0.0, |item| item.bound)
    }

    fn bound_of_two(&self, a: usize, b: usize) -> f64 {
        let pair = [a, b];
        let mut islands = BTreeSet::new();
        for item in self.items(&pair) {
            islands.extend(&item.islands);
        }
        let mut rounds = self.items(&pair).map(|item| item.round);
        let first = rounds.next().flatten();
        let round = first.filter(|_| rounds.all(|round| round == first));
        self.evidence.bound(&islands, round)
    }

    fn gain(&self, set: &[usize], floor: f64) -> Result<Option<f64>, String> {
        Ok(self.fit(set, floor)?.map(|fitted| fitted.gain))
    }

    fn work(&self) -> u64 {
        self.evidence.work()
    }

    fn suffices(&self, one: usize) -> Result<bool, String> {
        let fit = self
            .evidence
            .fit(&self.changes(&[one], &self.ohms(&[one])?))?;
        Ok(self.evidence.worst(&fit) < SUFFICES)
    }

    fn open_to(&self, set: &[usize]) -> Result<Vec<usize>, String> {
        let ohms = self.ohms(set)?;
        let own = self.changes(set, &ohms);
        let fit = self.evidence.fit(&own)?;
        let mut open = self.evidence.islands_of(&fit.unexplained);
        // Islands that the set's own edits reach count as well: a further fault
        // may sit where the first one leads.
        let reached = self.evidence.touched(&own);
        if !reached.is_disjoint(&open) {
            open.extend(reached);
        }
        let touches = |item: &Item| !item.islands.is_disjoint(&open);
        Ok(self
            .items
            .iter()
            .enumerate()
            .filter(|(_, item)| touches(item))
            .map(|(at, _)| at)
            .collect())
    }
}

fn with_ohms(fault: &Fault, ohms: f64) -> Option<Fault> {
    fault.with_ohms(Ohms(ohms))
}

fn changes_with(evidence: &Evidence<'_>, item: &Item, ohms: f64) -> Option<Changes> {
    let model = evidence.models().nth(item.round.unwrap_or_default())?;
    let edits = with_ohms(&item.fault, ohms)?.edits(model)?;
    Some(Changes::of(edits, item.round))
}

/// Two faults that change the same element say two different things of it
/// (though what sits elsewhere may be off as well), two touches of the same
/// places are one, and a cavity takes one terminal.
fn clash(a: &Changes, b: &Changes) -> bool {
    let same = |x: &Edit, y: &Edit| match (x, y) {
        (Edit::Join { a, b, .. }, Edit::Join { a: c, b: d, .. })
        | (Edit::Touch { a, b, .. }, Edit::Touch { a: c, b: d, .. }) => {
            (a, b) == (c, d) || (a, b) == (d, c)
        }
        (Edit::Remove(_), Edit::Move(..)) | (Edit::Move(..), Edit::Remove(_)) => false,
        (Edit::Move(one, a, b), Edit::Move(other, c, d)) => one == other || (a, b) == (c, d),
        _ => x.element().is_some() && x.element() == y.element(),
    };
    a.iter()
        .any(|(of, x)| b.iter().any(|(its, y)| of == its && same(x, y)))
}

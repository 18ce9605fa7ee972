//! Every fault of a catalogue, as hypotheses about a scan.

mod explain;
mod fit;
mod shared;
mod together;

pub use explain::{Candidate, Explained, explain};

use std::cell::RefCell;
use std::collections::{BTreeSet, HashMap};

use loomproof_core::circuit::Edit;
use loomproof_core::layout::Group;
use loomproof_core::units::Ohms;

use super::edits::Changes;
use super::evidence::Evidence;
use super::ohms::{Estimate, OHMS};
use super::search::Space;
use crate::circuit::Model;
use crate::fault::Fault;

/// A fault that leaves no reading further off than this, in standard
/// deviations, leaves nothing to explain (three sigma: `common practice`).
const SUFFICES: f64 = 3.0;

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

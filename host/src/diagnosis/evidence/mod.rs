//! All readings of a scan against the model, and how well a set of faults
//! explains them.

mod changed;
mod fit;
mod judged;

use std::cell::{Cell, RefCell};
use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::rc::Rc;

use loomproof_core::judge::{Judgement, judge};
use loomproof_core::layout::Group;
use loomproof_core::wire::Step;

use changed::{Scope, Shares};
pub use fit::{Fit, Stretch};
pub use judged::Judged;

use super::edits::Changes;
use super::likelihood::{excess, ln_density, spare};
use super::predict::{Healthy, Predictor};
use crate::circuit::Model;
use crate::ringout::Taken;

/// All readings of a scan, in one round of clips or several, judged against the
/// plan.
///
/// The wiring of all rounds is one, so that its elements and islands have the
/// same numbers in every round's model; the clips are each round's own.
#[derive(Debug)]
pub struct Evidence<'m> {
    /// Round by round.
    predictors: Vec<Predictor<'m>>,
    steps: Vec<Step>,
    judged: Vec<Judged>,
    /// Quantities read in each island, worst off first.
    of_island: BTreeMap<Group, Vec<usize>>,
    /// Place of each quantity in the order of how far it is off.
    rank: Vec<usize>,
    /// Least share of a healthy band, as a natural logarithm, in each island
    /// with unknown loads.
    shares: BTreeMap<Group, f64>,
    scopes: RefCell<HashMap<Where, Rc<Scope>>>,
    /// Elements of every circuit that was solved.
    work: Cell<u64>,
}

/// Some islands, in every round or in one.
type Where = (BTreeSet<Group>, Option<usize>);

impl<'m> Evidence<'m> {
    /// Judges a scan against the plan.
    ///
    /// # Errors
    /// A sentence that says what cannot be computed.
    pub fn new(model: &'m Model, taken: &[Taken]) -> Result<Self, String> {
        Self::of_rounds([(model, taken)])
    }

    /// Judges a scan in several rounds: the circuit with the clips of each, and
    /// what was read with them.
    ///
    /// # Errors
    /// A sentence that says what cannot be computed.
    pub fn of_rounds<'t>(
        rounds: impl IntoIterator<Item = (&'m Model, &'t [Taken])>,
    ) -> Result<Self, String> {
        let mut predictors = Vec::new();
        let mut steps = Vec::new();
        let mut judged: Vec<Judged> = Vec::new();
        let mut repeats: HashMap<_, Vec<usize>> = HashMap::new();
        for (round, (model, taken)) in rounds.into_iter().enumerate() {
            let predictor = Predictor::new(model);
            let mut healthy = Healthy::of(&predictor);
            for step in taken {
                for (quantity, value) in step.values() {
                    let step = &step.planned.step;
                    let (band, islands) = healthy.band(step, quantity)?;
                    let key = (round, predictor.repeat_key(step, quantity));
                    repeats.entry(key).or_default().push(judged.len());
                    judged.push(Judged {
                        round,
                        step: steps.len(),
                        quantity,
                        value,
                        band,
                        judgement: judge(&band, value),
                        islands,
                        spare: spare(step, quantity, &band, value),
                        healthy: ln_density(&band, value),
                        weight: 1.0,
                    });
                }
                steps.push(step.planned.step.clone());
            }
            predictors.push(predictor);
        }
        for repeated in repeats.into_values() {
            let weight = 1.0 / repeated.len() as f64;
            for at in repeated {
                if let Some(judged) = judged.get_mut(at) {
                    judged.weight = weight;
                    judged.spare *= weight;
                }
            }
        }
        let mut order: Vec<usize> = (0..judged.len()).collect();
        let off = |at: &usize| judged.get(*at).map_or(0.0, |j| excess(&j.band, j.value));
        order.sort_by(|a, b| off(b).total_cmp(&off(a)));
        let mut rank = vec![0; judged.len()];
        let mut of_island: BTreeMap<Group, Vec<usize>> = BTreeMap::new();
        for (place, at) in order.into_iter().enumerate() {
            if let (Some(slot), Some(judged)) = (rank.get_mut(at), judged.get(at)) {
                *slot = place;
                for island in BTreeSet::from(judged.islands) {
                    of_island.entry(island).or_default().push(at);
                }
            }
        }
        let mut shares = Shares::default();
        for judged in &judged {
            let [island, _] = judged.islands;
            shares.note(island, &judged.band);
        }
        Ok(Self {
            predictors,
            steps,
            judged,
            of_island,
            rank,
            shares: shares.0,
            scopes: RefCell::default(),
            work: Cell::default(),
        })
    }

    /// The judged quantities, in the order they were read.
    #[must_use]
    pub fn judged(&self) -> &[Judged] {
        &self.judged
    }

    /// A step of the scan.
    #[must_use]
    pub fn step(&self, step: usize) -> Option<&Step> {
        self.steps.get(step)
    }

    /// The models, round by round.
    pub fn models(&self) -> impl Iterator<Item = &'m Model> + '_ {
        self.predictors.iter().map(Predictor::model)
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

    /// How much was computed so far: the elements of every circuit that was solved.
    #[must_use]
    pub fn work(&self) -> u64 {
        self.work.get()
    }

    fn worked(&self, more: u64) {
        self.work.set(self.work.get().saturating_add(more));
    }

    /// The islands that changes touch.
    #[must_use]
    pub fn touched(&self, changes: &Changes) -> BTreeSet<Group> {
        let mut islands = BTreeSet::new();
        for round in changes.rounds() {
            let here = self.predictors.get(round);
            let touched = here.map(|predictor| predictor.touched(&changes.in_round(round)));
            islands.extend(touched.into_iter().flatten());
        }
        islands
    }

    /// Quantities read in these islands, worst off first; in one round, where
    /// one is named.
    #[must_use]
    pub fn affected(&self, islands: &BTreeSet<Group>, round: Option<usize>) -> Vec<usize> {
        self.scope(islands, round).affected.clone()
    }

    /// The most that any changes of these islands could gain; `round` where
    /// only one round sees them.
    #[must_use]
    pub fn bound(&self, islands: &BTreeSet<Group>, round: Option<usize>) -> f64 {
        let scope = self.scope(islands, round);
        scope.spare + scope.shares
    }

    fn scope_of(&self, changes: &Changes) -> Rc<Scope> {
        self.scope(&self.touched(changes), changes.only_round())
    }

    fn scope(&self, islands: &BTreeSet<Group>, round: Option<usize>) -> Rc<Scope> {
        let key = (islands.clone(), round);
        if let Some(scope) = self.scopes.borrow().get(&key) {
            return Rc::clone(scope);
        }
        let seen = |at: usize| round.is_none_or(|round| round == at);
        let mut affected: Vec<usize> = islands
            .iter()
            .filter_map(|island| self.of_island.get(island))
            .flatten()
            .filter(|at| {
                self.judged
                    .get(**at)
                    .is_some_and(|judged| seen(judged.round))
            })
            .copied()
            .collect();
        affected.sort_unstable_by_key(|at| self.rank.get(*at).copied());
        affected.dedup();
        let spare = |at: &usize| self.judged.get(*at).map(|judged| judged.spare);
        let share = |island| self.shares.get(island).copied();
        let rounds = self.predictors.iter().enumerate();
        let scope = Rc::new(Scope {
            reach: rounds
                .map(|(at, predictor)| seen(at).then(|| predictor.reach(islands)))
                .collect(),
            spare: affected.iter().filter_map(spare).sum(),
            shares: -islands.iter().filter_map(share).sum::<f64>(),
            islands: islands.clone(),
            affected,
        });
        let mut scopes = self.scopes.borrow_mut();
        scopes.insert(key, Rc::clone(&scope));
        scope
    }
}

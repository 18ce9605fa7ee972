//! All readings of a scan against the model, and how well a set of faults
//! explains them.

mod changed;
mod judged;

use std::borrow::Cow;
use std::cell::{Cell, RefCell};
use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::rc::Rc;

use loomproof_core::expect::Band;
use loomproof_core::judge::{Judgement, LIMIT, judge};
use loomproof_core::layout::Group;
use loomproof_core::wire::Step;

use changed::{Changed, Scope, Shares};
pub use judged::Judged;

use super::edits::Changes;
use super::likelihood::{excess, gap, spare, telling};
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

/// How well a set of changes explains the readings.
#[derive(Debug, Clone)]
pub struct Fit {
    /// Natural logarithm of the likelihood of all readings, less that of the
    /// healthy harness.
    pub gain: f64,
    /// The bands that differ from the healthy ones: index of the quantity, band.
    pub bands: Vec<(usize, Band)>,
    /// Quantities that are still out of their band.
    pub unexplained: Vec<usize>,
}

impl Fit {
    /// The band of a quantity, where it differs from the healthy one.
    #[must_use]
    pub fn band(&self, quantity: usize) -> Option<Band> {
        let place = self
            .bands
            .binary_search_by_key(&quantity, |(index, _)| *index);
        place.ok().and_then(|at| self.bands.get(at)).map(|b| b.1)
    }
}

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

    /// What the bands of some changes gain by narrower spans, or lose by wider ones.
    fn gain_of_shares(&self, islands: &BTreeSet<Group>, shares: &Shares) -> f64 {
        let one = |island: &Group| {
            let now = shares.0.get(island).copied().unwrap_or(0.0);
            now - self.shares.get(island).copied().unwrap_or(0.0)
        };
        islands.iter().map(one).sum()
    }

    /// How well these changes explain the readings.
    ///
    /// Only quantities read in an island that they touch are computed again.
    ///
    /// # Errors
    /// A sentence that says what cannot be computed.
    pub fn fit(&self, changes: &Changes) -> Result<Fit, String> {
        let scope = self.scope_of(changes);
        let mut changed = Changed::new(self, &scope, Cow::Borrowed(changes));
        let mut affected = scope.affected.clone();
        affected.sort_unstable();
        let mut fit = Fit {
            gain: 0.0,
            bands: Vec::new(),
            unexplained: Vec::new(),
        };
        let mut affected = affected.into_iter().peekable();
        let mut shares = Shares::default();
        for (at, judged) in self.judged.iter().enumerate() {
            let mut band = judged.band;
            if affected.next_if_eq(&at).is_some()
                && let Some(step) = self.steps.get(judged.step)
            {
                band = changed.band(step, judged)?;
                fit.gain += judged.gain(&band);
                fit.bands.push((at, band));
                let [island, _] = judged.islands;
                shares.note(island, &band);
            }
            if excess(&band, judged.value) > LIMIT {
                fit.unexplained.push(at);
            }
        }
        fit.gain += self.gain_of_shares(&scope.islands, &shares);
        Ok(fit)
    }

    /// How much likelier these changes make the readings; `None` as soon as it
    /// is certain to be less than `floor`.
    ///
    /// # Errors
    /// A sentence that says what cannot be computed.
    pub fn gain(&self, changes: &Changes, floor: f64) -> Result<Option<f64>, String> {
        let mut shares = Shares::default();
        let scope = self.scope_of(changes);
        let mut changed = None;
        let gain = self.sum(&scope, floor, |judged, step| {
            let changed =
                changed.get_or_insert_with(|| Changed::new(self, &scope, Cow::Borrowed(changes)));
            let band = changed.band(step, judged)?;
            let [island, _] = judged.islands;
            shares.note(island, &band);
            Ok(judged.gain(&band))
        })?;
        let shares = self.gain_of_shares(&scope.islands, &shares);
        Ok(gain.map(|gain| gain + shares).filter(|gain| *gain >= floor))
    }

    /// Whether changes between some knots and the next ones could gain `floor`.
    ///
    /// A knot is a list of changes, all the same but for resistances, that are
    /// the corners on its side of the stretch to the next knot; `knot` gives
    /// the one of a number from 0 to `stretches`.
    ///
    /// # Errors
    /// A sentence that says what cannot be computed.
    pub fn between(
        &self,
        stretches: u32,
        knot: impl Fn(u32) -> Vec<Changes>,
        floor: f64,
    ) -> Result<bool, String> {
        let first = knot(0);
        let Some(changes) = first.first() else {
            return Ok(false);
        };
        let scope = self.scope_of(changes);
        if scope.spare + scope.shares < floor {
            return Ok(false);
        }
        let corners = |knot: Vec<Changes>| -> Vec<Changed<'_, 'm>> {
            let corner = |changes| Changed::new(self, &scope, Cow::Owned(changes));
            knot.into_iter().map(corner).collect()
        };
        let mut near = corners(first);
        for k in 1..=stretches {
            // What was computed at a knot serves both stretches that meet there.
            let mut far = corners(knot(k));
            let gain = self.sum(&scope, floor, |judged, step| {
                let mut hull: Option<Band> = None;
                for corner in near.iter_mut().chain(&mut far) {
                    let band = corner.band(step, judged)?;
                    hull = Some(hull.map_or(band, |hull| hull.hull(&band)));
                }
                Ok(hull.map_or(0.0, |hull| judged.best_in(&hull)))
            })?;
            if gain.is_some() {
                return Ok(true);
            }
            near = far;
        }
        Ok(false)
    }

    fn sum(
        &self,
        scope: &Scope,
        floor: f64,
        mut one: impl FnMut(&Judged, &Step) -> Result<f64, String>,
    ) -> Result<Option<f64>, String> {
        let mut left = scope.spare + scope.shares;
        if left < floor {
            return Ok(None);
        }
        let mut gain = 0.0;
        for at in &scope.affected {
            let Some(judged) = self.judged.get(*at) else {
                continue;
            };
            let Some(step) = self.steps.get(judged.step) else {
                continue;
            };
            gain += one(judged, step)?;
            left -= judged.spare;
            if gain + left < floor {
                return Ok(None);
            }
        }
        Ok(Some(gain))
    }

    /// How far the worst reading is off under a fit, in standard deviations.
    #[must_use]
    pub fn worst(&self, fit: &Fit) -> f64 {
        let off = |(at, judged): (usize, &Judged)| {
            excess(&fit.band(at).unwrap_or(judged.band), judged.value)
        };
        self.judged.iter().enumerate().map(off).fold(0.0, f64::max)
    }

    /// Whether two fits predict the same for every reading, within three
    /// standard deviations.
    #[must_use]
    pub fn alike(&self, a: &Fit, b: &Fit) -> bool {
        let quantities: BTreeSet<usize> =
            a.bands.iter().chain(&b.bands).map(|(at, _)| *at).collect();
        let band = |fit: &Fit, at: usize| {
            let healthy = || self.judged.get(at).map(|judged| judged.band);
            fit.band(at).or_else(healthy)
        };
        quantities
            .into_iter()
            .all(|at| match (band(a, at), band(b, at)) {
                (Some(a), Some(b)) => gap(&a, &b) <= 3.0 * telling(&a, &b),
                _ => false,
            })
    }
}

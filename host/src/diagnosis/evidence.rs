//! All readings of a scan against the model, and how well a set of faults
//! explains them.

use std::borrow::Cow;
use std::cell::RefCell;
use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::rc::Rc;

use loomproof_core::circuit::Edit;
use loomproof_core::expect::{Band, Quantity};
use loomproof_core::judge::{Judgement, LIMIT, Value, judge};
use loomproof_core::layout::Group;
use loomproof_core::units::Volts;
use loomproof_core::wire::Step;

use super::likelihood::{excess, gap, ln_density, ln_share, spare, telling, widened};
use super::predict::{Altered, Predictor, Reach};
use crate::circuit::Model;
use crate::ringout::Taken;

/// How much larger a standard deviation may be between two resistances than at
/// the larger of the two ends: an allowance of ours, held against every pair by
/// `tests/tests/proved.rs`.
const HULL_SPREAD: f64 = 1.5;

/// One judged quantity of a scan.
#[derive(Debug, Clone)]
pub struct Judged {
    /// Index of the step in the scan.
    pub step: usize,
    /// What is judged.
    pub quantity: Quantity,
    /// What was measured.
    pub value: Value,
    /// What the plan lets expect.
    pub band: Band,
    /// The verdict on it.
    pub judgement: Judgement,
    islands: [Group; 2],
    /// How much likelier than by the plan the reading could be at best: under
    /// a circuit that predicts just this value, with the converter's own
    /// deviation and nothing else.
    spare: f64,
    /// How much of a reading it is: one of several that repeat each other
    /// (driven elsewhere, by the plan) is a part of one.
    weight: f64,
}

impl Judged {
    /// Whether the reading is as the plan lets expect.
    #[must_use]
    pub fn is_within(&self) -> bool {
        self.judgement == Judgement::Within
    }

    /// How much likelier a band makes the reading than the plan's does, as a
    /// natural logarithm, unknown loads being as the reading wants them.
    #[must_use]
    pub fn gain(&self, band: &Band) -> f64 {
        self.weight * (ln_density(band, self.value) - ln_density(&self.band, self.value))
    }

    /// The most that any band within a hull of bands could gain, where the
    /// mean moves one way from corner to corner (in a linear circuit a voltage
    /// is a ratio of two linear functions of any one resistance; `from memory`).
    fn best_in(&self, hull: &Band) -> f64 {
        let Value::Volts(volts) = self.value else {
            return 0.0;
        };
        let hull = widened(&Band {
            // Between the ends the spread may be larger than at both.
            sigma: Volts(HULL_SPREAD * hull.sigma.0),
            ..*hull
        });
        let z = hull.excess(volts);
        self.spare - self.weight * 0.5 * z * z
    }
}

/// All readings of a scan, judged against the plan.
#[derive(Debug)]
pub struct Evidence<'m> {
    predictor: Predictor<'m>,
    steps: Vec<Step>,
    judged: Vec<Judged>,
    /// Quantities read in each island, worst off first.
    of_island: BTreeMap<Group, Vec<usize>>,
    /// Place of each quantity in the order of how far it is off.
    rank: Vec<usize>,
    /// Least share of a healthy band, as a natural logarithm, in each island
    /// with unknown loads.
    shares: BTreeMap<Group, f64>,
    scopes: RefCell<HashMap<BTreeSet<Group>, Rc<Scope>>>,
}

/// What a change in some islands bears on.
#[derive(Debug)]
struct Scope {
    islands: BTreeSet<Group>,
    /// Quantities that are read there, worst off first.
    affected: Vec<usize>,
    reach: Reach,
    /// The most that the quantities could gain, and the islands' shares.
    spare: f64,
    shares: f64,
}

/// A circuit with edits: the islands that they touch, and one island more
/// where a quantity is the difference to one elsewhere.
struct Changed<'e, 'm> {
    evidence: &'e Evidence<'m>,
    scope: &'e Scope,
    edits: Cow<'e, [Edit]>,
    altered: Altered<'m>,
    with: BTreeMap<Group, Altered<'m>>,
}

impl Changed<'_, '_> {
    fn band(&mut self, step: &Step, judged: &Judged) -> Result<Band, String> {
        let outside = judged
            .islands
            .into_iter()
            .find(|island| !self.scope.islands.contains(island));
        let altered = match outside {
            None => &mut self.altered,
            Some(island) => self.with.entry(island).or_insert_with(|| {
                let mut islands = self.scope.islands.clone();
                islands.insert(island);
                let reach = self.evidence.predictor.reach(&islands);
                self.evidence.predictor.altered(&reach, &self.edits)
            }),
        };
        altered.band(step, judged.quantity)
    }
}

/// The least share of a band that is read in each of some islands.
#[derive(Debug, Default)]
struct Shares(BTreeMap<Group, f64>);

impl Shares {
    fn note(&mut self, island: Group, band: &Band) {
        let least = self.0.entry(island).or_insert(0.0);
        *least = least.min(ln_share(band));
    }
}

/// How well a set of edits explains the readings.
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
        let predictor = Predictor::new(model);
        let mut healthy: BTreeMap<[Group; 2], Altered<'m>> = BTreeMap::new();
        let mut judged: Vec<Judged> = Vec::new();
        let mut repeats: HashMap<_, Vec<usize>> = HashMap::new();
        for (at, step) in taken.iter().enumerate() {
            for (quantity, value) in step.values() {
                let step = &step.planned.step;
                let islands = predictor.read_in(quantity);
                let altered = healthy.entry(islands).or_insert_with(|| {
                    predictor.altered(&predictor.reach(&BTreeSet::from(islands)), &[])
                });
                let band = altered.band(step, quantity)?;
                let key = predictor.repeat_key(step, quantity);
                repeats.entry(key).or_default().push(judged.len());
                judged.push(Judged {
                    step: at,
                    quantity,
                    value,
                    band,
                    judgement: judge(&band, value),
                    islands,
                    spare: spare(step, quantity, &band, value),
                    weight: 1.0,
                });
            }
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
        let steps = taken.iter().map(|t| t.planned.step.clone()).collect();
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
            predictor,
            steps,
            judged,
            of_island,
            rank,
            shares: shares.0,
            scopes: RefCell::default(),
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

    /// The model.
    #[must_use]
    pub fn model(&self) -> &'m Model {
        self.predictor.model()
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

    /// The islands that edits touch.
    #[must_use]
    pub fn touched(&self, edits: &[Edit]) -> BTreeSet<Group> {
        self.predictor.touched(edits)
    }

    /// Quantities read in these islands, worst off first.
    #[must_use]
    pub fn affected(&self, islands: &BTreeSet<Group>) -> Vec<usize> {
        self.scope(islands).affected.clone()
    }

    /// The most that any change in these islands could gain.
    #[must_use]
    pub fn bound(&self, islands: &BTreeSet<Group>) -> f64 {
        let scope = self.scope(islands);
        scope.spare + scope.shares
    }

    fn scope(&self, islands: &BTreeSet<Group>) -> Rc<Scope> {
        if let Some(scope) = self.scopes.borrow().get(islands) {
            return Rc::clone(scope);
        }
        let mut affected: Vec<usize> = islands
            .iter()
            .filter_map(|island| self.of_island.get(island))
            .flatten()
            .copied()
            .collect();
        affected.sort_unstable_by_key(|at| self.rank.get(*at).copied());
        affected.dedup();
        let spare = |at: &usize| self.judged.get(*at).map(|judged| judged.spare);
        let share = |island| self.shares.get(island).copied();
        let scope = Rc::new(Scope {
            reach: self.predictor.reach(islands),
            spare: affected.iter().filter_map(spare).sum(),
            shares: -islands.iter().filter_map(share).sum::<f64>(),
            islands: islands.clone(),
            affected,
        });
        let mut scopes = self.scopes.borrow_mut();
        scopes.insert(islands.clone(), Rc::clone(&scope));
        scope
    }

    fn changed<'e>(&'e self, scope: &'e Scope, edits: Cow<'e, [Edit]>) -> Changed<'e, 'm> {
        Changed {
            evidence: self,
            scope,
            altered: self.predictor.altered(&scope.reach, &edits),
            edits,
            with: BTreeMap::new(),
        }
    }

    /// What the bands of some edits gain by narrower spans, or lose by wider ones.
    fn gain_of_shares(&self, islands: &BTreeSet<Group>, shares: &Shares) -> f64 {
        let one = |island: &Group| {
            let now = shares.0.get(island).copied().unwrap_or(0.0);
            now - self.shares.get(island).copied().unwrap_or(0.0)
        };
        islands.iter().map(one).sum()
    }

    /// How well these edits explain the readings.
    ///
    /// Only quantities read in an island that the edits touch are computed again.
    ///
    /// # Errors
    /// A sentence that says what cannot be computed.
    pub fn fit(&self, edits: &[Edit]) -> Result<Fit, String> {
        let scope = self.scope(&self.touched(edits));
        let mut changed = self.changed(&scope, Cow::Borrowed(edits));
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

    /// How much likelier these edits make the readings; `None` as soon as it
    /// is certain to be less than `floor`.
    ///
    /// # Errors
    /// A sentence that says what cannot be computed.
    pub fn gain(&self, edits: &[Edit], floor: f64) -> Result<Option<f64>, String> {
        let mut shares = Shares::default();
        let scope = self.scope(&self.touched(edits));
        let mut changed = None;
        let gain = self.sum(&scope, floor, |judged, step| {
            let changed = changed.get_or_insert_with(|| self.changed(&scope, Cow::Borrowed(edits)));
            let band = changed.band(step, judged)?;
            let [island, _] = judged.islands;
            shares.note(island, &band);
            Ok(judged.gain(&band))
        })?;
        let shares = self.gain_of_shares(&scope.islands, &shares);
        Ok(gain.map(|gain| gain + shares).filter(|gain| *gain >= floor))
    }

    /// Whether edits between some knots and the next ones could gain `floor`.
    ///
    /// A knot is a list of edits, all the same but for resistances, that are
    /// the corners on its side of the stretch to the next knot; `knot` gives
    /// the one of a number from 0 to `stretches`.
    ///
    /// # Errors
    /// A sentence that says what cannot be computed.
    pub fn between(
        &self,
        stretches: u32,
        knot: impl Fn(u32) -> Vec<Vec<Edit>>,
        floor: f64,
    ) -> Result<bool, String> {
        let first = knot(0);
        let Some(edits) = first.first() else {
            return Ok(false);
        };
        let scope = self.scope(&self.touched(edits));
        if scope.spare + scope.shares < floor {
            return Ok(false);
        }
        let corners = |edits: Vec<Vec<Edit>>| -> Vec<Changed<'_, 'm>> {
            let edits = edits.into_iter();
            edits.map(|e| self.changed(&scope, Cow::Owned(e))).collect()
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

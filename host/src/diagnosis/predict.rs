//! Bands of quantities under any set of edits: core's expectation over the
//! circuit as trees and chords.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use foldhash::fast::FixedState;
use loomproof_core::circuit::{Edit, Element, ElementId, GROUND, NodeId};
use loomproof_core::expect::{Band, ExpectError, Quantity, expect};
use loomproof_core::layout::{Group, Islands};
use loomproof_core::wire::{LeadId, LeadSet, Step};

use super::tree::Forest;
use crate::circuit::Model;

/// Room for this many bands is made at once: a few dozen are read in most islands.
const READINGS: usize = 100;

/// Predicts quantities of one model.
///
/// Only the islands that a quantity is read in, and those that edits join to
/// them, are looked at.
pub struct Predictor<'m> {
    model: &'m Model,
    islands: Islands,
    members: BTreeMap<Group, Vec<ElementId>>,
}

impl std::fmt::Debug for Predictor<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Predictor")
            .field("islands", &self.members.len())
            .finish_non_exhaustive()
    }
}

impl<'m> Predictor<'m> {
    /// A predictor for a model.
    #[must_use]
    pub fn new(model: &'m Model) -> Self {
        let islands = Islands::of(&model.circuit, &[]);
        let mut members: BTreeMap<Group, Vec<ElementId>> = BTreeMap::new();
        for (element, id) in model.circuit.elements().iter().zip(0..) {
            let node = if element.a == GROUND {
                element.b
            } else {
                element.a
            };
            members
                .entry(islands.group(node))
                .or_default()
                .push(ElementId(id));
        }
        Self {
            model,
            islands,
            members,
        }
    }

    /// The model.
    #[must_use]
    pub fn model(&self) -> &'m Model {
        self.model
    }

    /// The island that a probe lead reads in.
    #[must_use]
    pub fn island(&self, lead: LeadId) -> Group {
        self.islands
            .group(self.model.circuit.tip(lead).unwrap_or(GROUND))
    }

    /// The islands that a quantity is read in.
    #[must_use]
    pub fn read_in(&self, quantity: Quantity) -> [Group; 2] {
        let plus = self.island(quantity.plus.lead);
        [plus, quantity.minus.map_or(plus, |lead| self.island(lead))]
    }

    /// What a quantity depends on by the plan: readings with one key repeat
    /// each other, leakage and all.
    #[must_use]
    pub fn repeat_key(&self, step: &Step, quantity: Quantity) -> (LeadSet, LeadSet, Quantity) {
        let read = self.read_in(quantity);
        let near = |set: &LeadSet| -> LeadSet {
            set.iter()
                .filter(|lead| read.contains(&self.island(*lead)))
                .collect()
        };
        (near(&step.high), near(&step.low), quantity)
    }

    /// The islands that edits touch.
    #[must_use]
    pub fn touched(&self, edits: &[Edit]) -> BTreeSet<Group> {
        let elements = self.model.circuit.elements();
        let mut nodes: Vec<NodeId> = Vec::new();
        for edit in edits {
            let planned = edit
                .element()
                .and_then(|id| elements.get(usize::from(id.0)));
            nodes.extend(planned.into_iter().flat_map(|e| [e.a, e.b]));
            match *edit {
                Edit::Remove(_) | Edit::AddOhms(..) => {}
                Edit::Move(_, a, b) => nodes.extend([a, b]),
                Edit::Join { a, b, .. } | Edit::Touch { a, b, .. } => nodes.extend([a, b]),
                Edit::Clip(lead, node) => {
                    nodes.push(node);
                    nodes.extend(self.model.circuit.tip(lead));
                }
            }
        }
        let off_chassis = nodes.into_iter().filter(|node| *node != GROUND);
        off_chassis.map(|node| self.islands.group(node)).collect()
    }

    /// The elements that are reached, with edits applied.
    #[must_use]
    pub fn elements(&self, reach: &Reach, edits: &[Edit]) -> Vec<Element> {
        let circuit = &self.model.circuit;
        let mut elements: Vec<Element> = Vec::with_capacity(reach.elements.len() + edits.len());
        // Few are named by any edit: the others stay as they are planned.
        let named = edits.iter().filter_map(|edit| match *edit {
            Edit::Clip(lead, _) => circuit.clip_of(lead),
            _ => edit.element(),
        });
        let named: Vec<ElementId> = named.collect();
        let planned = circuit.elements();
        elements.extend(reach.elements.iter().filter_map(|id| {
            if named.contains(id) {
                return circuit.edited_element(*id, edits);
            }
            planned.get(usize::from(id.0)).copied()
        }));
        elements.extend(circuit.joins(edits));
        elements
    }

    /// The band of one quantity with edits applied; for many, see [`Self::altered`].
    ///
    /// # Errors
    /// A sentence that says what cannot be computed.
    pub fn band(&self, edits: &[Edit], step: &Step, quantity: Quantity) -> Result<Band, String> {
        let mut islands = self.touched(edits);
        islands.extend(self.read_in(quantity));
        self.altered(&self.reach(&islands), edits)
            .band(step, quantity)
    }

    /// What belongs to some islands.
    #[must_use]
    pub fn reach(&self, islands: &BTreeSet<Group>) -> Reach {
        let mut reach = Reach {
            elements: islands
                .iter()
                .filter_map(|group| self.members.get(group))
                .flatten()
                .copied()
                .collect(),
            leads: LeadSet::EMPTY,
            tips: Vec::new(),
        };
        for lead in self.model.circuit.leads() {
            if let Some(tip) = self.model.circuit.tip(lead)
                && islands.contains(&self.islands.group(tip))
            {
                reach.leads.insert(lead);
                reach.tips.push(tip);
            }
        }
        reach
    }

    /// Some islands with edits applied, as trees and chords, for all quantities
    /// that are read in them.
    #[must_use]
    pub fn altered(&self, reach: &Reach, edits: &[Edit]) -> Altered<'m> {
        let elements = self.elements(reach, edits);
        Altered {
            model: self.model,
            forest: Forest::new(self.model.circuit.nodes(), &elements, &reach.tips),
            leads: reach.leads,
            elements: elements.len() as u64,
            worked: elements.len() as u64,
            known: HashMap::with_capacity_and_hasher(READINGS, FixedState::default()),
        }
    }
}

/// The bands of the healthy harness, each island solved once.
#[derive(Debug)]
pub struct Healthy<'p, 'm> {
    predictor: &'p Predictor<'m>,
    islands: BTreeMap<[Group; 2], Altered<'m>>,
}

impl<'p, 'm> Healthy<'p, 'm> {
    /// Of a predictor's model.
    #[must_use]
    pub fn of(predictor: &'p Predictor<'m>) -> Self {
        Self {
            predictor,
            islands: BTreeMap::new(),
        }
    }

    /// The band of a quantity, and the islands that it is read in.
    ///
    /// # Errors
    /// A sentence that says what cannot be computed.
    pub fn band(&mut self, step: &Step, quantity: Quantity) -> Result<(Band, [Group; 2]), String> {
        let islands = self.predictor.read_in(quantity);
        let altered = self.islands.entry(islands).or_insert_with(|| {
            let reach = self.predictor.reach(&BTreeSet::from(islands));
            self.predictor.altered(&reach, &[])
        });
        Ok((altered.band(step, quantity)?, islands))
    }
}

/// Elements and probe leads of some islands.
#[derive(Debug, Clone)]
pub struct Reach {
    elements: Vec<ElementId>,
    leads: LeadSet,
    tips: Vec<NodeId>,
}

/// Some islands of a circuit with edits applied.
#[derive(Debug)]
pub struct Altered<'m> {
    model: &'m Model,
    forest: Forest,
    leads: LeadSet,
    elements: u64,
    /// Elements of every solution so far.
    worked: u64,
    known: HashMap<(LeadSet, LeadSet, Quantity, u8), Band, FixedState>,
}

impl Altered<'_> {
    /// The band of a quantity that is read in these islands.
    ///
    /// Steps that drive the same leads of these islands give the same band;
    /// it is computed once.
    ///
    /// # Errors
    /// A sentence that says what cannot be computed.
    pub fn band(&mut self, step: &Step, quantity: Quantity) -> Result<Band, String> {
        let key = (
            step.high.shared(&self.leads),
            step.low.shared(&self.leads),
            quantity,
            step.samples,
        );
        if let Some(band) = self.known.get(&key) {
            return Ok(*band);
        }
        self.worked += self.elements;
        let circuit = &self.model.circuit;
        let band =
            expect(&mut self.forest, circuit, step, quantity).map_err(|error| match error {
                ExpectError::NotClipped(lead) => {
                    format!("{lead} is read but is not in the hook-up; make the hook-up again")
                }
                ExpectError::Solve(error) => format!(
                    "{error:?} around {}; please keep the plan and report this",
                    quantity.plus.lead
                ),
            })?;
        self.known.insert(key, band);
        Ok(band)
    }

    /// What was computed since this was asked last: the elements of every circuit that was
    /// planted or solved.
    pub(super) fn work(&mut self) -> u64 {
        std::mem::take(&mut self.worked)
    }
}

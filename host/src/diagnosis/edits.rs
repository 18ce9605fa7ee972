//! What several kinds of faults do to the expected circuit; each kind says its
//! own in [`crate::fault::kinds`].

use std::borrow::Cow;
use std::collections::BTreeSet;

use loomproof_core::circuit::{Edit, Element, ElementId, GROUND, NodeId};
use loomproof_core::units::Ohms;

use crate::circuit::Model;
use crate::circuit::places::CavityNodes;
use crate::fault::{Cavity, Fault, Joint, Touches};
use crate::plan::model::End;

/// Least and greatest resistance of two conductors that touch
/// (`common practice`: between a hard short and a grazing one).
pub(crate) const TOUCH: (Ohms, Ohms) = (Ohms(0.03), Ohms(0.5));

/// The nodes of a cavity.
pub(crate) fn cavity(model: &Model, cavity: &Cavity) -> Option<CavityNodes> {
    let key = (cavity.connector.clone(), cavity.number);
    model.places.cavities.get(&key).copied()
}

/// Moves terminals, each from the cavity it belongs in to another: its lead end
/// and its contact go with it.
pub(crate) fn reseat(model: &Model, moves: &[(Cavity, Cavity)]) -> Option<Vec<Edit>> {
    let mut edits = Vec::new();
    for (from, to) in moves {
        let target = cavity(model, to)?;
        let crimps = model.places.joints.get(&Joint::At(from.end()))?;
        for id in crimps {
            let crimp = model.circuit.elements().get(usize::from(id.0))?;
            edits.push(Edit::Move(*id, target.wire_side, crimp.b));
        }
        let contact = cavity(model, from)?.contact?;
        edits.push(Edit::Move(contact, target.wire_side, target.mating_side));
    }
    Some(edits)
}

/// A touch between a node and the middle of a lead, or chassis.
pub(crate) fn touch(model: &Model, from: NodeId, touches: &Touches) -> Option<Vec<Edit>> {
    let to = match touches {
        Touches::Lead(name) => *model.places.middles.get(name)?,
        Touches::Chassis => GROUND,
    };
    Some(vec![Edit::Touch {
        a: from,
        b: to,
        least: TOUCH.0,
        most: TOUCH.1,
    }])
}

/// Takes every element of a part away.
pub(crate) fn without_part(model: &Model, name: &str) -> Option<Vec<Edit>> {
    let ids = model.places.parts.get(name)?;
    Some(ids.iter().map(|id| Edit::Remove(*id)).collect())
}

/// The clip of the probe lead meant for a point: tip at its first node.
pub(crate) fn clip(model: &Model, point: &End) -> Option<(ElementId, Element)> {
    let id = *model.places.clips.get(point)?;
    let element = model.circuit.elements().get(usize::from(id.0))?;
    Some((id, *element))
}

/// What is changed: the wiring, which every round of a hook-up sees, and what is
/// of single rounds, which are their clips and what is plugged.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Changes {
    wiring: Vec<Edit>,
    clips: Vec<(usize, Edit)>,
}

impl Changes {
    /// The edits of a fault: of the wiring, or of the clips of one round.
    #[must_use]
    pub fn of(edits: Vec<Edit>, round: Option<usize>) -> Self {
        match round {
            None => Self {
                wiring: edits,
                clips: Vec::new(),
            },
            Some(round) => Self {
                wiring: Vec::new(),
                clips: edits.into_iter().map(|edit| (round, edit)).collect(),
            },
        }
    }

    /// A fault as changes of the circuits of a hook-up, round by round: once, or
    /// of the clips in each round that it can be in.
    #[must_use]
    pub fn of_fault(fault: &Fault, rounds: &[&Model]) -> Vec<(Option<usize>, Self)> {
        if fault.is_operators() {
            // Clips are put on anew in every round.
            let each = rounds.iter().enumerate().map(|(at, model)| {
                let edits = fault.edits(model)?;
                Some((Some(at), Self::of(edits, Some(at))))
            });
            return each.flatten().collect();
        }
        if fault.is_of_halves() {
            // Whatever places these rounds are of, the connector is as it is in
            // all that want it otherwise.
            let clips = rounds.iter().enumerate().flat_map(|(at, model)| {
                let edits = fault.edits(model).unwrap_or_default();
                edits.into_iter().map(move |edit| (at, edit))
            });
            let all = Self {
                wiring: Vec::new(),
                clips: clips.collect(),
            };
            return (!all.clips.is_empty())
                .then_some((None, all))
                .into_iter()
                .collect();
        }
        let edits = rounds.first().and_then(|model| fault.edits(model));
        edits
            .map(|edits| (None, Self::of(edits, None)))
            .into_iter()
            .collect()
    }

    /// These and others.
    pub fn extend(&mut self, others: &Self) {
        self.wiring.extend(&others.wiring);
        self.clips.extend(&others.clips);
    }

    /// The edits of the circuit of one round.
    #[must_use]
    pub fn in_round(&self, round: usize) -> Cow<'_, [Edit]> {
        let here = self.clips.iter().filter(|(other, _)| *other == round);
        let mut here = here.map(|(_, edit)| *edit).peekable();
        if here.peek().is_none() {
            return Cow::Borrowed(&self.wiring);
        }
        Cow::Owned(self.wiring.iter().copied().chain(here).collect())
    }

    /// Rounds whose circuits show every island that is touched: those with
    /// changes of their clips, or any one, since the wiring is the same in all.
    #[must_use]
    pub fn rounds(&self) -> BTreeSet<usize> {
        let mut rounds: BTreeSet<usize> = self.clips.iter().map(|(round, _)| *round).collect();
        if rounds.is_empty() {
            rounds.insert(0);
        }
        rounds
    }

    /// The round that alone sees these changes, where they are of its clips.
    #[must_use]
    pub fn only_round(&self) -> Option<usize> {
        let (first, _) = self.clips.first()?;
        let alone = self.clips.iter().all(|(round, _)| round == first);
        (self.wiring.is_empty() && alone).then_some(*first)
    }

    /// The edits, each with the round that it is of.
    pub fn iter(&self) -> impl Iterator<Item = (Option<usize>, &Edit)> {
        let wiring = self.wiring.iter().map(|edit| (None, edit));
        wiring.chain(self.clips.iter().map(|(round, edit)| (Some(*round), edit)))
    }
}

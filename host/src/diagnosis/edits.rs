//! What several kinds of faults do to the expected circuit; each kind says its
//! own in [`crate::fault::kinds`].

use loomproof_core::circuit::{Edit, Element, ElementId, GROUND, NodeId};
use loomproof_core::units::Ohms;

use crate::circuit::Model;
use crate::circuit::places::CavityNodes;
use crate::fault::{Cavity, Joint, Touches};
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

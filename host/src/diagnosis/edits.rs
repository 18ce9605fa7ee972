//! What a fault does to the expected circuit.

use loomproof_core::circuit::{Edit, GROUND, NodeId};
use loomproof_core::units::Ohms;

use crate::circuit::Model;
use crate::circuit::places::CavityNodes;
use crate::fault::{Fault, Joint, Touches};
use crate::plan::model::End;

/// Resistance of two conductors that touch, mean and one standard deviation
/// (`common practice`: between a hard short and a grazing one).
const TOUCH: (Ohms, Ohms) = (Ohms(0.2), Ohms(0.1));

/// The edits that make a circuit of the plan one with this fault; `None` where
/// the fault does not show in a circuit (a live lead) or its place is not in
/// this model.
#[must_use]
pub fn edits(model: &Model, fault: &Fault) -> Option<Vec<Edit>> {
    let places = &model.places;
    match fault {
        Fault::Open(joint) => {
            let ids = places.joints.get(joint)?;
            Some(ids.iter().map(|id| Edit::Remove(*id)).collect())
        }
        Fault::HighResistance(joint, ohms) => {
            let ids = places.joints.get(joint)?;
            // Along a lead the ohms sit in one place.
            let ids = if matches!(joint, Joint::Along(_)) {
                ids.get(..1)?
            } else {
                ids
            };
            Some(
                ids.iter()
                    .map(|id| Edit::AddOhms(*id, Ohms(*ohms)))
                    .collect(),
            )
        }
        Fault::Unseated(connector, cavity) => Some(vec![Edit::Remove(
            nodes(model, connector, *cavity)?.contact?,
        )]),
        Fault::WrongCavity(connector, from, to) => {
            let target = nodes(model, connector, *to)?;
            let contact = nodes(model, connector, *from)?.contact?;
            let mut edits = crimp(model, connector, *from, target.wire_side)?;
            edits.push(Edit::Move(contact, target.wire_side, target.mating_side));
            Some(edits)
        }
        Fault::Exchanged(connector, a, b) => {
            let mut edits = crimp(model, connector, *a, nodes(model, connector, *b)?.wire_side)?;
            edits.extend(crimp(
                model,
                connector,
                *b,
                nodes(model, connector, *a)?.wire_side,
            )?);
            Some(edits)
        }
        Fault::TapMissed(tap) => Some(vec![Edit::Remove(*places.bites.get(tap)?)]),
        Fault::TapNeighbour(tap, on) => {
            let terminal = *places.terminals.get(&End::Tap(tap.clone()))?;
            let body = *places.conductors.get(on)?;
            Some(vec![Edit::Move(*places.bites.get(tap)?, terminal, body)])
        }
        Fault::Short(lead, touches) => touch(model, *places.middles.get(lead)?, touches),
        Fault::CapTouching(lead, touches) => touch(model, *places.caps.get(lead)?, touches),
        Fault::Live(..) => None,
    }
}

fn nodes(model: &Model, connector: &str, cavity: u16) -> Option<CavityNodes> {
    model
        .places
        .cavities
        .get(&(connector.to_owned(), cavity))
        .copied()
}

/// Moves the lead end that belongs in a cavity to another cavity's wire side.
fn crimp(model: &Model, connector: &str, cavity: u16, target: NodeId) -> Option<Vec<Edit>> {
    let joint = Joint::At(End::Cavity(connector.to_owned(), cavity));
    let ids = model.places.joints.get(&joint)?;
    ids.iter()
        .map(|id| {
            let element = model.circuit.elements().get(usize::from(id.0))?;
            Some(Edit::Move(*id, target, element.b))
        })
        .collect()
}

fn touch(model: &Model, from: NodeId, touches: &Touches) -> Option<Vec<Edit>> {
    let to = match touches {
        Touches::Lead(name) => *model.places.middles.get(name)?,
        Touches::Chassis => GROUND,
    };
    Some(vec![Edit::Join {
        a: from,
        b: to,
        ohms: TOUCH.0,
        spread: TOUCH.1,
    }])
}

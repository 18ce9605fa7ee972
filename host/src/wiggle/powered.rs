//! Which joints can be watched with the battery on.
//!
//! The powered circuit says where every point stands with the switches as they are,
//! and where with a joint open; a point that goes from high to low, or the other
//! way, shows that joint. A gap may be too short for a relay to follow, so a point
//! counts as sure only where it moves with the relays as they were and as they come
//! to rest.

use std::collections::BTreeSet;

use loomproof_core::circuit::{Edit, GROUND, NodeId, Part};
use loomproof_core::units::{Farads, Volts};
use loomproof_core::wire::{LeadId, LeadSet, MAX_WATCHED};

use super::spots::{Group, Watch, Why};
use crate::fault::Joint;
use crate::fault::catalogue::joints;
use crate::plan::model::{Job, Signal};
use crate::powered::{HIGH, LOW, Powered, Scenario, Shown, Solver};

/// How far beyond the limit a point must stand by the plan.
const CLEAR: f64 = 0.3;

/// Where a point stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Stand {
    High,
    Low,
    Neither,
}

/// A joint, where it shows: leads that surely and that perhaps move, and whether a
/// capacitor may hide the shorter dropouts.
type Shows = (Joint, LeadSet, LeadSet, bool);

/// Finds what can be watched in one state of the switches.
///
/// # Errors
/// A sentence that says what cannot be computed.
pub fn watchable(job: &Job, powered: &Powered, switches: &[u8]) -> Result<Watch, String> {
    let low = Volts(job.supply.0 * LOW);
    let high = Volts(job.supply.0 * HIGH);
    let failed = |error| format!("the powered job cannot be worked out ({error:?})");
    let mut solver = Solver::new(powered, job.supply);
    let everything = solver.everything();
    let scope = solver.scope(&everything);
    let whole = Scenario::default();
    let rest = solver.settle(&scope, &whole, switches, 0).map_err(failed)?;
    let shown = solver.shown(&scope, &whole, &rest).map_err(failed)?;
    let leads: Vec<LeadId> = scope
        .points
        .iter()
        .filter_map(|at| Some(powered.points.get(*at)?.lead))
        .collect();
    let stands: Vec<Stand> = shown.iter().map(|it| stand(it, low, high)).collect();
    let mut found: Vec<Shows> = Vec::new();
    let mut unwatched = Vec::new();
    for joint in joints(job) {
        let Some(ids) = powered.model.places.joints.get(&joint) else {
            continue;
        };
        let scenario = Scenario {
            edits: ids.iter().map(|id| Edit::Remove(*id)).collect(),
            ..Scenario::default()
        };
        let at_once = solver.shown(&scope, &scenario, &rest).map_err(failed)?;
        let relays = rest.setting.relays;
        let later = solver
            .settle(&scope, &scenario, switches, relays)
            .map_err(failed)?;
        let later = solver.shown(&scope, &scenario, &later).map_err(failed)?;
        let (mut sure, mut may) = (LeadSet::EMPTY, LeadSet::EMPTY);
        let pairs = stands.iter().zip(at_once.iter().zip(&later)).zip(&leads);
        for ((stand, (at_once, later)), lead) in pairs {
            let (surely, perhaps) = moves(*stand, [at_once, later], (low, high));
            if surely {
                sure.insert(*lead);
            }
            if perhaps {
                may.insert(*lead);
            }
        }
        if sure.is_empty() {
            unwatched.push((joint, Why::Still));
        } else {
            let slow = sure
                .iter()
                .any(|lead| holds_charge(powered, lead, &scenario.edits));
            found.push((joint, sure, may, slow));
        }
    }
    let high = leads.iter().zip(&stands);
    let high = high.filter(|(_, stand)| **stand == Stand::High);
    Ok(grouped(
        found,
        &high.map(|(lead, _)| *lead).collect(),
        unwatched,
    ))
}

fn stand(shown: &Shown, low: Volts, high: Volts) -> Stand {
    match shown {
        Shown::Known {
            on,
            signal: Signal::Steady,
            ..
        } if on.least.0 > high.0 + CLEAR => Stand::High,
        Shown::Known {
            on,
            signal: Signal::Steady,
            ..
        } if on.most.0 < low.0 - CLEAR => Stand::Low,
        _ => Stand::Neither,
    }
}

/// Whether a point surely, and whether it perhaps, leaves where it stands.
fn moves(stand: Stand, then: [&Shown; 2], (low, high): (Volts, Volts)) -> (bool, bool) {
    let one = |shown: &Shown| match (stand, shown) {
        (Stand::High, Shown::Known { on, .. }) => {
            (on.most.0 < low.0 - CLEAR, on.least.0 < low.0 + CLEAR)
        }
        (Stand::Low, Shown::Known { on, .. }) => {
            (on.least.0 > high.0 + CLEAR, on.most.0 > high.0 - CLEAR)
        }
        (Stand::Neither, _) => (false, false),
        (_, Shown::Unknown) => (false, true),
    };
    let [a, b] = then.map(one);
    (a.0 && b.0, a.1 || b.1)
}

/// Whether a module's capacitor stays on the lead's side of what is gone.
fn holds_charge(powered: &Powered, lead: LeadId, edits: &[Edit]) -> bool {
    let circuit = &powered.model.circuit;
    let Some(tip) = circuit.tip(lead) else {
        return false;
    };
    let mut side: BTreeSet<NodeId> = BTreeSet::from([tip]);
    loop {
        let before = side.len();
        for element in circuit.edited(edits) {
            if matches!(element.part, Part::Wire { .. }) {
                for (near, far) in [(element.a, element.b), (element.b, element.a)] {
                    if side.contains(&near) && far != GROUND {
                        side.insert(far);
                    }
                }
            }
        }
        if side.len() == before {
            break;
        }
    }
    circuit.edited(edits).any(|element| {
        matches!(element.part, Part::Load { .. })
            && (side.contains(&element.a) || side.contains(&element.b))
    })
}

/// Groups of as many leads as are watched at once. Leads that show the same joints
/// are one too many: the first of them does.
fn grouped(found: Vec<Shows>, high: &LeadSet, unwatched: Vec<(Joint, Why)>) -> Watch {
    let mut needed: Vec<LeadId> = Vec::new();
    let all: LeadSet = found.iter().flat_map(|(_, sure, ..)| sure.iter()).collect();
    for lead in all.iter() {
        let shows = |lead: LeadId| {
            let which = found
                .iter()
                .map(move |(_, sure, may, _)| (sure.contains(lead), may.contains(lead)));
            which.collect::<Vec<_>>()
        };
        if !needed.iter().any(|other| shows(*other) == shows(lead)) {
            needed.push(lead);
        }
    }
    let groups: Vec<Group> = needed
        .chunks(MAX_WATCHED)
        .map(|leads| {
            let watched: LeadSet = leads.iter().copied().collect();
            Group {
                low: LeadSet::EMPTY,
                watched,
                against: Vec::new(),
                wiring: Farads(0.0),
                high: watched.shared(high),
                signs: Vec::new(),
            }
        })
        .collect();
    let signs = found
        .into_iter()
        .map(|(joint, sure, may, slow)| {
            let own = groups.iter().enumerate().map(|(at, group)| {
                let here = |set: &LeadSet| set.shared(&group.watched);
                (at, here(&sure), here(&may))
            });
            let own = own.filter(|(_, sure, _)| !sure.is_empty()).collect();
            (joint, own, slow)
        })
        .collect();
    Watch::gathered(groups, signs, unwatched)
}

//! The one further reading that would split a group.

use std::collections::BTreeMap;

use loomproof_core::circuit::{Edit, NodeId};
use loomproof_core::expect::{Band, quantities};
use loomproof_core::scan::{COARSE, SETTLE_LOADED, SETTLE_PULLED};
use loomproof_core::wire::{LeadId, LeadSet, MAX_LEADS, Sense, SenseMode, Senses, Step};

use super::evidence::{Evidence, gap};
use super::groups::Group;
use super::predict::Predictor;
use crate::circuit::Model;
use crate::hookup::Point;
use crate::plan::model::{End, Side};

/// A reading that tells the sets of a group apart.
#[derive(Debug, Clone, PartialEq)]
pub struct Next {
    /// The lead to drive.
    pub drive: LeadId,
    /// The point to touch with a free probe lead.
    pub touch: Point,
    /// What could then be read, and which sets of the group (by index) say so.
    pub parts: Vec<(Band, Vec<usize>)>,
    /// How much uncertainty the reading takes away, in bits.
    pub bits: f64,
}

/// Looks for the touch that splits a group best; `None` where the group has
/// one set only, or no touch splits it.
///
/// # Errors
/// A sentence that says what cannot be computed.
pub fn next(evidence: &Evidence<'_>, group: &Group) -> Result<Option<Next>, String> {
    if group.sets.len() < 2 {
        return Ok(None);
    }
    let model = evidence.model();
    let Some(free) = (0..MAX_LEADS as u8)
        .map(LeadId)
        .find(|l| model.circuit.tip(*l).is_none())
    else {
        return Ok(None);
    };
    let drives = suspects(evidence);
    let mut best: Option<Next> = None;
    for (point, node) in touchable(model) {
        let mut probed = Model {
            circuit: model.circuit.clone(),
            places: model.places.clone(),
        };
        if probed.circuit.clip(free, node).is_err() {
            continue;
        }
        for drive in &drives {
            let parts = split(&probed, *drive, free, group)?;
            let bits = entropy(&parts, group);
            // Points come in order of effort: a later one must be clearly better.
            if bits > best.as_ref().map_or(0.05, |b| b.bits + 0.2) {
                best = Some(Next {
                    drive: *drive,
                    touch: point.clone(),
                    parts,
                    bits,
                });
            }
        }
    }
    Ok(best)
}

/// The leads whose readings were off, each a possible source.
fn suspects(evidence: &Evidence<'_>) -> Vec<LeadId> {
    let mut leads: Vec<LeadId> = evidence
        .off()
        .into_iter()
        .filter_map(|at| evidence.judged().get(at))
        .flat_map(|judged| std::iter::once(judged.quantity.plus.lead).chain(judged.quantity.minus))
        .collect();
    leads.sort();
    leads.dedup();
    leads.truncate(12);
    leads
}

/// Points that can be touched without a clip there yet, least effort first.
/// The inside of a female terminal is never one.
fn touchable(model: &Model) -> Vec<(Point, NodeId)> {
    let places = &model.places;
    let effort = |end: &End| match end {
        End::Ring(_) => 0,
        End::Tap(_) => 1,
        End::Splice(_) => 2,
        End::Plug(..) => 3,
        _ => 4,
    };
    let mut terminals: Vec<_> = places.terminals.iter().collect();
    terminals.sort_by_key(|(end, _)| effort(end));
    let terminals = terminals.into_iter().map(|(end, node)| {
        let point = match end {
            End::Tap(name) => Point::Tap(name.clone()),
            End::Ring(name) => Point::Ring(name.clone()),
            other => Point::Terminal(other.clone()),
        };
        (point, *node)
    });
    let backs = places
        .cavities
        .iter()
        .filter(|(_, nodes)| nodes.contact.is_some())
        .map(|((connector, cavity), nodes)| {
            let point = Point::Cavity {
                connector: connector.clone(),
                cavity: *cavity,
                side: Side::Wire,
            };
            (point, nodes.wire_side)
        });
    let clipped: Vec<NodeId> = model
        .circuit
        .leads()
        .filter_map(|lead| model.circuit.tip(lead))
        .filter_map(|tip| {
            model
                .circuit
                .elements()
                .iter()
                .find(|e| e.a == tip)
                .map(|e| e.b)
        })
        .collect();
    terminals
        .chain(backs)
        .filter(|(_, node)| !clipped.contains(node))
        .collect()
}

/// Which sets would look alike with this lead driven and that one read.
fn split(
    probed: &Model,
    drive: LeadId,
    read: LeadId,
    group: &Group,
) -> Result<Vec<(Band, Vec<usize>)>, String> {
    let mut senses = Senses::new();
    let _ = senses.push(Sense {
        lead: read,
        mode: SenseMode::PullDown,
    });
    let step = Step {
        high: std::iter::once(drive).collect(),
        low: LeadSet::EMPTY,
        settle: SETTLE_LOADED,
        pulled: SETTLE_PULLED,
        samples: COARSE,
        senses,
    };
    let mut predictor = Predictor::new(probed);
    let mut parts: Vec<(Band, Vec<usize>)> = Vec::new();
    for (at, set) in group.sets.iter().enumerate() {
        let Some(quantity) = quantities(&step).next() else {
            continue;
        };
        // The point itself is touched, wherever the clip meant for it sits.
        let clip = probed.circuit.clip_of(drive);
        let edits: Vec<Edit> = set
            .edits
            .iter()
            .filter(|edit| clip.is_none() || edit.element() != clip)
            .copied()
            .collect();
        let band = predictor.band(&edits, &step, quantity)?;
        let home = parts
            .iter_mut()
            .find(|(other, _)| gap(other, &band) <= 3.0 * other.sigma.0.max(band.sigma.0));
        match home {
            Some((_, members)) => members.push(at),
            None => parts.push((band, vec![at])),
        }
    }
    Ok(parts)
}

/// Expected information of a split, by the weights of the sets, in bits.
fn entropy(parts: &[(Band, Vec<usize>)], group: &Group) -> f64 {
    let best = group.sets.first().map_or(0.0, |set| set.weight);
    let weight = |at: &usize| {
        group
            .sets
            .get(*at)
            .map_or(0.0, |set| (set.weight - best).exp())
    };
    let sums: BTreeMap<usize, f64> = parts
        .iter()
        .enumerate()
        .map(|(index, (_, members))| (index, members.iter().map(weight).sum::<f64>()))
        .collect();
    let total: f64 = sums.values().sum();
    -sums
        .values()
        .map(|w| w / total)
        .filter(|p| *p > 0.0)
        .map(|p| p * p.log2())
        .sum::<f64>()
}

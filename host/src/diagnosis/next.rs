//! The one further step that would split what the readings cannot tell apart.
//!
//! Steps are compared by the information that is to be expected of them, for
//! the effort that they take.

use std::collections::BTreeSet;

use loomproof_core::circuit::{Edit, NodeId};
use loomproof_core::expect::{Band, quantities};
use loomproof_core::scan;
use loomproof_core::units::{Ohms, Volts};
use loomproof_core::wire::{LeadId, MAX_LEADS};

use super::evidence::Evidence;
use super::likelihood::gap;
use super::predict::Predictor;
use super::space::Candidate;
use crate::circuit::Model;
use crate::fault::Fault;
use crate::hookup::Point;
use crate::plan::model::{End, Side};

/// What could be done next.
#[derive(Debug, Clone, PartialEq)]
pub enum Action {
    /// Ohms between a clipped point and one that a free probe lead touches.
    Touch {
        /// The lead to drive.
        drive: LeadId,
        /// The free probe lead; `None` where all are clipped.
        free: Option<LeadId>,
        /// The point to touch with it.
        touch: Point,
    },
    /// Look at a clip, set it anew and ring out again.
    Reclip,
    /// Move the suspects one after the other while the readings are watched.
    Wiggle,
}

/// What a step would show.
#[derive(Debug, Clone, PartialEq)]
pub enum Shows {
    /// So many ohms; infinite without a connection.
    Ohms(Ohms),
    /// The fault is gone.
    Gone,
    /// The fault is still there.
    Same,
}

/// A step that tells suspects apart.
#[derive(Debug, Clone, PartialEq)]
pub struct Next {
    /// What to do.
    pub action: Action,
    /// What it could show, and which of the suspects (by index) say so.
    pub parts: Vec<(Shows, Vec<usize>)>,
    /// How much uncertainty the step is expected to take away, in bits.
    pub bits: f64,
    /// Effort, in units of touching a point at a place that is open already
    /// (`common practice`).
    pub effort: f64,
}

impl Next {
    /// Bits for the effort.
    #[must_use]
    pub fn worth(&self) -> f64 {
        self.bits / self.effort
    }
}

/// A step that takes away less than this is not worth doing, in bits.
const LEAST_BITS: f64 = 0.05;

/// The most leads that are tried as the other end of a reading.
const MOST_DRIVES: usize = 12;

/// How often moving a bad joint shows it (`common practice`: about every
/// second one answers to a tug).
const WIGGLE_SHOWS: f64 = 0.5;

/// Looks for the step that tells suspects apart best; `None` where there are
/// fewer than two, or no step tells. `leads` is how many leads the probe has.
///
/// # Errors
/// A sentence that says what cannot be computed.
pub fn next(
    evidence: &Evidence<'_>,
    suspects: &[&Candidate],
    leads: u8,
) -> Result<Option<Next>, String> {
    if suspects.len() < 2 {
        return Ok(None);
    }
    let shares = shares(suspects);
    let mut best = reclip(suspects, &shares);
    for other in [
        touch(evidence, suspects, &shares, leads)?,
        wiggle(suspects, &shares),
    ] {
        let worth = best.as_ref().map_or(0.0, Next::worth);
        if let Some(other) = other
            && other.worth() > worth
        {
            best = Some(other);
        }
    }
    Ok(best.filter(|next| next.bits > LEAST_BITS))
}

/// How probable each suspect is among them all.
fn shares(suspects: &[&Candidate]) -> Vec<f64> {
    let top = suspects
        .iter()
        .map(|set| set.weight)
        .fold(f64::NEG_INFINITY, f64::max);
    let odds: Vec<f64> = suspects
        .iter()
        .map(|set| (set.weight - top).exp())
        .collect();
    let total: f64 = odds.iter().sum();
    odds.into_iter().map(|odds| odds / total).collect()
}

/// Expected information of a split, in bits.
fn bits(parts: &[(Shows, Vec<usize>)], shares: &[f64]) -> f64 {
    let share = |at: &usize| shares.get(*at).copied().unwrap_or(0.0);
    let part = |members: &Vec<usize>| members.iter().map(share).sum::<f64>();
    parts
        .iter()
        .map(|(_, members)| part(members))
        .filter(|p| *p > 0.0)
        .map(|p| -p * p.log2())
        .sum()
}

fn reclip(suspects: &[&Candidate], shares: &[f64]) -> Option<Next> {
    let clip = |set: &Candidate| set.faults.iter().any(Fault::is_operators);
    let (gone, same): (Vec<usize>, Vec<usize>) =
        (0..suspects.len()).partition(|at| suspects.get(*at).is_some_and(|set| clip(set)));
    if gone.is_empty() || same.is_empty() {
        return None;
    }
    let parts = vec![(Shows::Gone, gone), (Shows::Same, same)];
    Some(Next {
        bits: bits(&parts, shares),
        action: Action::Reclip,
        parts,
        // The clips are at hand; nothing has to be reached.
        effort: 0.7,
    })
}

/// Moving suspects shows a bad one sometimes; what it shows names the joint.
fn wiggle(suspects: &[&Candidate], shares: &[f64]) -> Option<Next> {
    let joint = |set: &&Candidate| set.faults.iter().any(|f| f.ohms().is_some());
    if !suspects.iter().all(joint) {
        return None;
    }
    let parts: Vec<(Shows, Vec<usize>)> = (0..suspects.len())
        .map(|at| (Shows::Gone, vec![at]))
        .collect();
    Some(Next {
        bits: WIGGLE_SHOWS * bits(&parts, shares),
        action: Action::Wiggle,
        parts,
        // One after the other, at several places.
        effort: 1.0 + suspects.len() as f64 / 2.0,
    })
}

fn touch(
    evidence: &Evidence<'_>,
    suspects: &[&Candidate],
    shares: &[f64],
    leads: u8,
) -> Result<Option<Next>, String> {
    // What is clipped now is the last round.
    let Some((round, model)) = evidence.models().enumerate().last() else {
        return Ok(None);
    };
    let Some(free) = (0..MAX_LEADS as u8)
        .map(LeadId)
        .find(|l| model.circuit.tip(*l).is_none())
    else {
        return Ok(None);
    };
    let drives = drives(evidence, round);
    let mut best: Option<Next> = None;
    for (point, node, effort) in touchable(model) {
        let mut probed = model.clone();
        if probed.circuit.clip(free, node).is_err() {
            continue;
        }
        let layout = probed.layout();
        let predictor = Predictor::new(&probed);
        // The points themselves are touched, wherever the clips meant for them sit.
        let clipped = probed.circuit.leads();
        let clips: BTreeSet<_> = clipped.filter_map(|l| probed.circuit.clip_of(l)).collect();
        let mut bands: Vec<Vec<Band>> = Vec::new();
        for set in suspects {
            let off_clips = |edit: &&Edit| edit.element().is_none_or(|e| !clips.contains(&e));
            let edits: Vec<Edit> = set
                .changes
                .in_round(round)
                .iter()
                .filter(off_clips)
                .copied()
                .collect();
            let mut islands = predictor.touched(&edits);
            islands.insert(predictor.island(free));
            islands.extend(drives.iter().map(|lead| predictor.island(*lead)));
            let mut altered = predictor.altered(&predictor.reach(&islands), &edits);
            let mut of_set = Vec::new();
            for drive in &drives {
                let step = scan::pair(&layout, *drive, free, &[]).step;
                // The driven lead against the free one.
                let Some(quantity) = quantities(&step).find(|q| q.plus.lead == *drive) else {
                    continue;
                };
                of_set.push(altered.band(&step, quantity)?);
            }
            bands.push(of_set);
        }
        for (at, drive) in drives.iter().enumerate() {
            let parts = split(bands.iter().filter_map(|of_set| of_set.get(at)));
            let next = Next {
                bits: bits(&parts, shares),
                action: Action::Touch {
                    drive: *drive,
                    free: (free.0 < leads).then_some(free),
                    touch: point.clone(),
                },
                parts,
                effort,
            };
            if next.worth() > best.as_ref().map_or(0.0, Next::worth) {
                best = Some(next);
            }
        }
    }
    Ok(best)
}

/// Which suspects would show the same.
fn split<'b>(bands: impl Iterator<Item = &'b Band>) -> Vec<(Shows, Vec<usize>)> {
    let mut parts: Vec<(Band, Vec<usize>)> = Vec::new();
    for (at, band) in bands.enumerate() {
        let same = |other: &Band| gap(other, band) <= 3.0 * other.sigma.0.max(band.sigma.0);
        match parts.iter_mut().find(|(other, _)| same(other)) {
            Some((_, members)) => members.push(at),
            None => parts.push((*band, vec![at])),
        }
    }
    parts
        .into_iter()
        .map(|(band, members)| {
            let middle = Volts(f64::midpoint(band.low.0, band.high.0));
            (Shows::Ohms(scan::pair_ohms(middle)), members)
        })
        .collect()
}

/// The leads whose readings were off in a round, each a possible other end.
fn drives(evidence: &Evidence<'_>, round: usize) -> Vec<LeadId> {
    let mut leads: BTreeSet<LeadId> = BTreeSet::new();
    for judged in evidence
        .off()
        .into_iter()
        .filter_map(|at| evidence.judged().get(at))
        .filter(|judged| judged.round == round)
    {
        leads.insert(judged.quantity.plus.lead);
        leads.extend(judged.quantity.minus);
    }
    leads.into_iter().take(MOST_DRIVES).collect()
}

/// Points that can be touched without a clip there yet, with their effort.
/// The inside of a female terminal is never one.
#[must_use]
pub fn touchable(model: &Model) -> Vec<(Point, NodeId, f64)> {
    let places = &model.places;
    // A splice is under tape, a socket's terminals under its part.
    let effort = |end: &End| match end {
        End::Ring(_) | End::Tap(_) => 1.0,
        End::Plug(..) => 2.0,
        _ => 3.0,
    };
    let terminals = places.terminals.iter().map(|(end, node)| {
        let point = match end {
            End::Tap(name) => Point::Tap(name.clone()),
            End::Ring(name) => Point::Ring(name.clone()),
            other => Point::Terminal(other.clone()),
        };
        (point, *node, effort(end))
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
            (point, nodes.wire_side, 1.5)
        });
    let leads = model.circuit.leads();
    let clipped: Vec<NodeId> = leads.filter_map(|l| model.circuit.clipped(l)).collect();
    terminals
        .chain(backs)
        .filter(|(_, node, _)| !clipped.contains(node))
        .collect()
}

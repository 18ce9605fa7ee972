//! What a hook-up can see and tell apart, by simulating every fault.

use std::collections::{BTreeMap, BTreeSet};

use loomproof_core::expect::Band;
use loomproof_core::judge::LIMIT;
use loomproof_core::layout::{Group, Layout};
use loomproof_core::scan::{self, Planned};
use loomproof_core::units::MicroVolts;
use loomproof_core::wire::{LeadId, MAX_LEADS, Reading};

use super::edits::Changes;
use super::evidence::{Evidence, Fit};
use super::likelihood::gap;
use super::next::touchable;
use crate::circuit::Model;
use crate::fault::Fault;
use crate::fault::kinds::Exchanged;
use crate::hookup::Point;
use crate::ringout::Taken;

/// One fault and whether the first pass would show it.
#[derive(Debug, Clone, PartialEq)]
pub struct Covered {
    /// The fault.
    pub fault: Fault,
    /// Whether some reading would leave its band.
    pub covered: bool,
}

/// How far beyond the limit a fault's own scatter must leave its reading for
/// the fault to count as covered, in its standard deviations: at 4 one covered
/// fault in 30,000 escapes (normal tables).
const MARGIN: f64 = 4.0;

/// Simulates every fault of a catalogue on the first pass.
///
/// # Errors
/// A sentence that says what cannot be computed.
pub fn coverage(model: &Model, catalogue: &[Fault]) -> Result<Vec<Covered>, String> {
    coverage_of_rounds(&[model], catalogue)
}

/// Simulates every fault of a catalogue on the first passes of a hook-up in
/// several rounds.
///
/// # Errors
/// A sentence that says what cannot be computed.
pub fn coverage_of_rounds(rounds: &[&Model], catalogue: &[Fault]) -> Result<Vec<Covered>, String> {
    let first: Vec<Vec<Planned>> = layouts(rounds)
        .iter()
        .map(|layout| scan::first_pass(layout).collect())
        .collect();
    let steps = first.iter().map(Vec::as_slice);
    let rounds: Vec<(&Model, &[Planned])> = rounds.iter().copied().zip(steps).collect();
    coverage_of_steps(&rounds, catalogue)
}

/// Simulates every fault of a catalogue on given steps of each round. A fault
/// of a clip has to show in every round that it can be in.
///
/// # Errors
/// A sentence that says what cannot be computed.
pub fn coverage_of_steps(
    rounds: &[(&Model, &[Planned])],
    catalogue: &[Fault],
) -> Result<Vec<Covered>, String> {
    let evidence = simulated(rounds.iter().map(|(model, steps)| (*model, steps.to_vec())))?;
    let rounds: Vec<&Model> = rounds.iter().map(|(model, _)| *model).collect();
    let layouts = layouts(&rounds);
    let seen = |changes: &Changes| -> Result<bool, String> {
        let fit = evidence.fit(changes)?;
        Ok(fit.bands.iter().any(|(at, band)| {
            evidence.judged().get(*at).is_some_and(|judged| {
                gap(&judged.band, band) > LIMIT * judged.band.sigma.0 + MARGIN * band.sigma.0
            })
        }))
    };
    let one = |fault: &Fault| -> Result<bool, String> {
        match fault {
            // Every clipped lead is looked at before anything is driven.
            Fault::Live(..) => return Ok(true),
            // Leads of one net look alike from everywhere.
            Fault::Exchanged(pair) if one_net(&rounds, &layouts, pair) => return Ok(false),
            _ => {}
        }
        let ways = Changes::of_fault(fault, &rounds);
        for (_, changes) in &ways {
            if !seen(changes)? {
                return Ok(false);
            }
        }
        Ok(!ways.is_empty())
    };
    let covered = |fault: &Fault| {
        Ok(Covered {
            fault: fault.clone(),
            covered: one(fault)?,
        })
    };
    catalogue.iter().map(covered).collect()
}

fn layouts(rounds: &[&Model]) -> Vec<Layout> {
    let layout = |model: &&Model| model.layout();
    rounds.iter().map(layout).collect()
}

/// A scan that was not carried out: readings do not matter here, evidence
/// brings the healthy bands and which quantity lies in which island.
fn simulated<'m>(
    rounds: impl Iterator<Item = (&'m Model, Vec<Planned>)>,
) -> Result<Evidence<'m>, String> {
    let nothing = |planned: Planned| Taken {
        readings: vec![Reading::NotSettled(MicroVolts(0)); planned.step.senses.len()],
        planned,
    };
    let taken = |(model, steps): (&'m Model, Vec<Planned>)| {
        (model, steps.into_iter().map(nothing).collect::<Vec<_>>())
    };
    let rounds: Vec<(&Model, Vec<Taken>)> = rounds.map(taken).collect();
    Evidence::of_rounds(
        rounds
            .iter()
            .map(|(model, taken)| (*model, taken.as_slice())),
    )
}

/// For each fault, how many covered faults look alike, itself included, when
/// every lead is walked from after the first pass; 0 where it is not covered.
/// A fault that stands alone is isolated.
///
/// # Errors
/// A sentence that says what cannot be computed.
pub fn alike(rounds: &[&Model], covered: &[Covered]) -> Result<Vec<usize>, String> {
    let layouts = layouts(rounds);
    let evidence = simulated(rounds.iter().zip(&layouts).map(|(model, layout)| {
        let leads = layout.leads().iter();
        let walks = leads.flat_map(|lead| scan::walk(layout, lead));
        (*model, scan::first_pass(layout).chain(walks).collect())
    }))?;
    // Only faults that touch the same islands can look alike.
    let mut classes: BTreeMap<BTreeSet<Group>, Vec<(Fit, Vec<usize>)>> = BTreeMap::new();
    let mut live = Vec::new();
    for (at, one) in covered.iter().enumerate().filter(|(_, c)| c.covered) {
        let ways = Changes::of_fault(&one.fault, rounds);
        let Some((_, changes)) = ways.first() else {
            live.push(at);
            continue;
        };
        let fit = evidence.fit(changes)?;
        let changed = |(at, band): &(usize, Band)| {
            let judged = evidence.judged().get(*at)?;
            (gap(&judged.band, band) > LIMIT * judged.band.sigma.0).then_some(*at)
        };
        let seen: Vec<usize> = fit.bands.iter().filter_map(changed).collect();
        let near = classes.entry(evidence.islands_of(&seen)).or_default();
        match near.iter_mut().find(|(head, _)| evidence.alike(head, &fit)) {
            Some((_, members)) => members.push(at),
            None => near.push((fit, vec![at])),
        }
    }
    let mut sizes = vec![0; covered.len()];
    let all = classes.into_values().flatten().map(|(_, members)| members);
    // A live lead is named by the look itself.
    for members in all.chain(live.into_iter().map(|at| vec![at])) {
        for at in &members {
            if let Some(size) = sizes.get_mut(*at) {
                *size = members.len();
            }
        }
    }
    Ok(sizes)
}

/// One more test point, and what it would show.
#[derive(Debug, Clone, PartialEq)]
pub struct Extra {
    /// Where a free probe lead could be clipped.
    pub point: Point,
    /// Faults that the hook-up does not see without it.
    pub shows: Vec<Fault>,
}

/// The test points that would show most of what a hook-up cannot see, best
/// first; each adds to those before it. The points are not chosen all at once:
/// the best one first, then the best beside it.
///
/// # Errors
/// A sentence that says what cannot be computed.
pub fn extra_points(model: &Model, covered: &[Covered], most: usize) -> Result<Vec<Extra>, String> {
    let mut hidden: Vec<Fault> = covered
        .iter()
        .filter(|c| !c.covered)
        .map(|c| c.fault.clone())
        .collect();
    let mut model = model.clone();
    let mut extras = Vec::new();
    while extras.len() < most && !hidden.is_empty() {
        let Some(free) = (0..MAX_LEADS as u8)
            .map(LeadId)
            .find(|lead| model.circuit.tip(*lead).is_none())
        else {
            break;
        };
        let mut best: Option<(Extra, Model)> = None;
        for (point, node, _) in touchable(&model) {
            let mut probed = model.clone();
            if probed.circuit.clip(free, node).is_err() {
                continue;
            }
            let seen = coverage(&probed, &hidden)?;
            let shows: Vec<Fault> = seen
                .into_iter()
                .filter(|c| c.covered)
                .map(|c| c.fault)
                .collect();
            if shows.len() > best.as_ref().map_or(0, |(extra, _)| extra.shows.len()) {
                best = Some((Extra { point, shows }, probed));
            }
        }
        let Some((extra, probed)) = best else {
            break;
        };
        hidden.retain(|fault| !extra.shows.contains(fault));
        extras.push(extra);
        model = probed;
    }
    Ok(extras)
}

/// Whether two cavities of a connector are hooked up and one net by the plan.
fn one_net(rounds: &[&Model], layouts: &[Layout], pair: &Exchanged) -> bool {
    rounds.iter().zip(layouts).any(|(model, layout)| {
        let net = |cavity: u16| {
            let key = (pair.connector.clone(), cavity);
            let nodes = model.places.cavities.get(&key)?;
            let sides = [nodes.wire_side, nodes.mating_side];
            let here = |lead: &LeadId| {
                let node = model.circuit.clipped(*lead);
                node.is_some_and(|node| sides.contains(&node))
            };
            layout.net(model.circuit.leads().find(here)?)
        };
        net(pair.a).is_some() && net(pair.a) == net(pair.b)
    })
}

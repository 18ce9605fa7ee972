//! Which joints can be watched dead.
//!
//! A watched lead is pulled up weakly and its net is held at 0 V by one lead, or by
//! chassis. When a joint opens, the leads beyond it rise, unless something there
//! still leads to 0 V. So of every net one lead is held low after the other, until
//! every joint that can be seen is seen; what does not disturb each other is watched
//! together.

use std::collections::{BTreeMap, BTreeSet};

use loomproof_core::circuit::{Edit, GROUND, NodeId, Part};
use loomproof_core::layout::Group as Net;
use loomproof_core::units::Farads;
use loomproof_core::wire::{LeadId, LeadSet, Place};
use loomproof_firmware::guard::{HELD_BY_ONE, OWN, SURELY_OPEN};

use super::spots::{Group, Watch, Why};
use crate::circuit::Model;
use crate::fault::Joint;
use crate::fault::catalogue::joints;
use crate::plan::model::Job;

/// Capacitance of wiring to its surroundings, a metre (`common practice`:
/// 100 pF/m).
const PER_METRE: f64 = 100e-12;

/// A joint, by number, and the leads that rise when it opens.
type Shows = (usize, LeadSet);

/// Leads of one net with one way to hold it.
#[derive(Debug, Clone)]
struct Piece {
    net: Net,
    low: Option<LeadId>,
    watched: LeadSet,
    /// Joints that it is there for, by number.
    shows: BTreeSet<usize>,
}

/// Finds what can be watched on a hook-up.
#[must_use]
pub fn watchable(job: &Job, model: &Model, place: Place) -> Watch {
    let finder = Finder::new(job, model);
    let all: Vec<(Joint, Vec<Edit>)> = joints(job)
        .into_iter()
        .filter_map(|joint| {
            let ids = model.places.joints.get(&joint)?;
            Some((joint, ids.iter().map(|id| Edit::Remove(*id)).collect()))
        })
        .collect();
    let mut seen = BTreeSet::new();
    let mut pieces = Vec::new();
    for (net, leads) in &finder.nets {
        pieces.extend(finder.pieces(*net, leads, &all, &mut seen));
    }
    let groups = finder.together(pieces, &all, place.max_watched());
    let mut signs = Vec::new();
    let mut unwatched = Vec::new();
    for (joint, edits) in &all {
        let own: Vec<(usize, LeadSet, LeadSet)> = groups
            .iter()
            .enumerate()
            .map(|(at, group)| {
                let sure = finder.rising(&group.watched, &group.low, edits);
                (at, sure, finder.perhaps(group, edits))
            })
            .filter(|(_, sure, _)| !sure.is_empty())
            .collect();
        if own.is_empty() {
            unwatched.push((joint.clone(), finder.why(edits)));
        } else {
            signs.push((joint.clone(), own, false));
        }
    }
    let groups = groups
        .into_iter()
        .map(|mut group| {
            let open = all.iter().map(|(_, edits)| finder.open_side(&group, edits));
            group.wiring = Farads(open.fold(0.0, f64::max));
            group
        })
        .collect();
    Watch::gathered(groups, signs, unwatched)
}

struct Finder<'m> {
    model: &'m Model,
    /// Elements at each node, by number.
    around: Vec<Vec<usize>>,
    /// Nets that may be driven, with their leads.
    nets: Vec<(Net, Vec<LeadId>)>,
    on_chassis: BTreeSet<Net>,
    islands: BTreeMap<Net, Net>,
    /// Nodes of data buses.
    buses: BTreeSet<NodeId>,
    /// What a node has to its surroundings, F.
    farads: BTreeMap<NodeId, f64>,
}

impl<'m> Finder<'m> {
    fn new(job: &Job, model: &'m Model) -> Self {
        let circuit = &model.circuit;
        let mut around = vec![Vec::new(); circuit.nodes()];
        for (at, element) in circuit.elements().iter().enumerate() {
            for node in [element.a, element.b] {
                if let Some(list) = around.get_mut(usize::from(node.0)) {
                    list.push(at);
                }
            }
        }
        let conductors = &model.places.conductors;
        let bus = job.conductors.iter().filter(|it| it.data_bus);
        let buses = bus.filter_map(|it| conductors.get(&it.name).copied());
        let mut farads = BTreeMap::new();
        for lead in &job.leads {
            if let Some(middle) = model.places.middles.get(&lead.name) {
                farads.insert(*middle, lead.length.0 * PER_METRE);
            }
        }
        for conductor in &job.conductors {
            if let Some(body) = conductors.get(&conductor.name) {
                farads.insert(*body, conductor.length.0 * PER_METRE);
            }
        }
        let mut finder = Self {
            model,
            around,
            nets: Vec::new(),
            on_chassis: BTreeSet::new(),
            islands: BTreeMap::new(),
            buses: buses.collect(),
            farads,
        };
        let layout = model.layout();
        let mut nets: BTreeMap<Net, Vec<LeadId>> = BTreeMap::new();
        for lead in circuit.leads() {
            let (Some(net), Some(island)) = (layout.net(lead), layout.island(lead)) else {
                continue;
            };
            if finder.on_a_bus(lead) {
                continue;
            }
            nets.entry(net).or_default().push(lead);
            finder.islands.insert(net, island);
            if layout.on_chassis(lead) {
                finder.on_chassis.insert(net);
            }
        }
        finder.nets = nets.into_iter().collect();
        finder
    }

    fn on_a_bus(&self, lead: LeadId) -> bool {
        let tip = self.model.circuit.tip(lead);
        let reached = tip.map(|tip| self.reached(tip, &[], Way::Metal));
        reached.is_some_and(|reached| reached.iter().any(|node| self.buses.contains(node)))
    }

    /// The nodes that current comes to from a node that is pulled up.
    fn reached(&self, from: NodeId, edits: &[Edit], way: Way) -> BTreeSet<NodeId> {
        let gone: Vec<usize> = edits
            .iter()
            .filter_map(|edit| Some(usize::from(edit.element()?.0)))
            .collect();
        let elements = self.model.circuit.elements();
        let mut reached = BTreeSet::from([from]);
        let mut open = vec![from];
        while let Some(node) = open.pop() {
            if node == GROUND {
                continue;
            }
            let around = self.around.get(usize::from(node.0)).into_iter().flatten();
            for at in around.filter(|at| !gone.contains(at)) {
                let Some(element) = elements.get(*at) else {
                    continue;
                };
                let other = if element.a == node {
                    element.b
                } else {
                    element.a
                };
                if way.goes(element.part, element.a == node) && reached.insert(other) {
                    open.push(other);
                }
            }
        }
        reached
    }

    fn is_low(&self, reached: &BTreeSet<NodeId>, low: &LeadSet) -> bool {
        let circuit = &self.model.circuit;
        let tips = low.iter().filter_map(|lead| circuit.tip(lead));
        reached.contains(&GROUND) || tips.into_iter().any(|tip| reached.contains(&tip))
    }

    fn risers(&self, watched: &LeadSet, low: &LeadSet, edits: &[Edit], way: Way) -> LeadSet {
        watched
            .iter()
            .filter(|lead| {
                let tip = self.model.circuit.tip(*lead);
                tip.is_some_and(|tip| !self.is_low(&self.reached(tip, edits, way), low))
            })
            .collect()
    }

    /// Leads that surely rise when these elements are gone.
    fn rising(&self, watched: &LeadSet, low: &LeadSet, edits: &[Edit]) -> LeadSet {
        self.risers(watched, low, edits, Way::Anything)
    }

    /// Leads that may rise: nothing but parts and modules still holds them.
    fn perhaps(&self, group: &Group, edits: &[Edit]) -> LeadSet {
        self.risers(&group.watched, &group.low, edits, Way::Metal)
    }

    /// Ways to hold one net that show joints which were not seen yet; the best first.
    fn pieces(
        &self,
        net: Net,
        leads: &[LeadId],
        all: &[(Joint, Vec<Edit>)],
        seen: &mut BTreeSet<usize>,
    ) -> Vec<Piece> {
        let chassis = self.on_chassis.contains(&net);
        let ways: Vec<Option<LeadId>> = if chassis {
            vec![None]
        } else {
            leads.iter().copied().map(Some).collect()
        };
        let tips = leads
            .iter()
            .filter_map(|lead| self.model.circuit.tip(*lead));
        // From every lead: what meets at chassis is one net, and no way goes through it.
        let nodes: BTreeSet<NodeId> = tips
            .flat_map(|tip| self.reached(tip, &[], Way::Metal))
            .filter(|node| *node != GROUND)
            .collect();
        let here: Vec<usize> = all
            .iter()
            .enumerate()
            .filter(|(_, (_, edits))| self.ends(edits).iter().any(|node| nodes.contains(node)))
            .map(|(at, _)| at)
            .collect();
        let shown: Vec<(Option<LeadId>, LeadSet, Vec<Shows>)> = ways
            .into_iter()
            .map(|low| {
                let watched: LeadSet = leads
                    .iter()
                    .copied()
                    .filter(|it| Some(*it) != low)
                    .collect();
                let held: LeadSet = low.into_iter().collect();
                let signs = here.iter().filter_map(|at| {
                    let sign = self.rising(&watched, &held, &all.get(*at)?.1);
                    (!sign.is_empty()).then_some((*at, sign))
                });
                (low, watched, signs.collect())
            })
            .collect();
        let mut found = Vec::new();
        loop {
            let new =
                |signs: &Vec<Shows>| signs.iter().filter(|(at, _)| !seen.contains(at)).count();
            let best = shown.iter().max_by_key(|(low, _, signs)| {
                // Of equals the first one.
                (new(signs), std::cmp::Reverse(low.map_or(0, |lead| lead.0)))
            });
            let Some((low, watched, signs)) = best.filter(|(_, _, signs)| new(signs) > 0) else {
                return found;
            };
            let useful: LeadSet = watched
                .iter()
                .filter(|lead| signs.iter().any(|(_, sign)| sign.contains(*lead)))
                .collect();
            let useful: Vec<LeadId> = useful.iter().collect();
            let most = if low.is_some() {
                HELD_BY_ONE
            } else {
                usize::MAX
            };
            for part in useful.chunks(most.min(Place::Vehicle.max_watched())) {
                let watched: LeadSet = part.iter().copied().collect();
                let shows = signs.iter().filter(|(_, sign)| sign.overlaps(&watched));
                found.push(Piece {
                    net,
                    low: *low,
                    watched,
                    shows: shows.map(|(at, _)| *at).collect(),
                });
            }
            seen.extend(signs.iter().map(|(at, _)| *at));
        }
    }

    fn ends(&self, edits: &[Edit]) -> Vec<NodeId> {
        let elements = self.model.circuit.elements();
        let found = edits.iter().filter_map(|edit| {
            let element = elements.get(usize::from(edit.element()?.0))?;
            Some([element.a, element.b])
        });
        found.flatten().collect()
    }

    /// Puts pieces into as few groups as do not disturb each other.
    fn together(&self, pieces: Vec<Piece>, all: &[(Joint, Vec<Edit>)], most: usize) -> Vec<Group> {
        let mut groups: Vec<Vec<Piece>> = Vec::new();
        for piece in pieces {
            let fitting = groups
                .iter_mut()
                .find(|group| self.fits(group, &piece, all, most));
            match fitting {
                Some(group) => group.push(piece),
                None => groups.push(vec![piece]),
            }
        }
        let made = |pieces: Vec<Piece>| Group {
            low: pieces.iter().filter_map(|piece| piece.low).collect(),
            watched: pieces
                .iter()
                .flat_map(|piece| piece.watched.iter())
                .collect(),
            against: pieces
                .iter()
                .flat_map(|piece| piece.watched.iter().map(|lead| (lead, piece.low)))
                .collect(),
            wiring: Farads(0.0),
            high: LeadSet::EMPTY,
            signs: Vec::new(),
        };
        groups.into_iter().map(made).collect()
    }

    fn fits(
        &self,
        group: &[Piece],
        piece: &Piece,
        all: &[(Joint, Vec<Edit>)],
        most: usize,
    ) -> bool {
        let leads: usize = group.iter().map(|it| it.watched.len()).sum();
        if leads + piece.watched.len() > most || group.iter().any(|it| it.net == piece.net) {
            return false;
        }
        let island = |net: &Net| self.islands.get(net).copied();
        let near: Vec<&Piece> = group
            .iter()
            .filter(|it| island(&it.net) == island(&piece.net))
            .chain([piece])
            .collect();
        if near.len() == 1 {
            return true;
        }
        let low: LeadSet = near.iter().filter_map(|it| it.low).collect();
        near.iter().all(|it| {
            it.shows.iter().all(|at| {
                let Some((_, edits)) = all.get(*at) else {
                    return false;
                };
                let alone: LeadSet = it.low.into_iter().collect();
                self.rising(&it.watched, &low, edits) == self.rising(&it.watched, &alone, edits)
            })
        })
    }

    /// Why nothing shows a joint.
    fn why(&self, edits: &[Edit]) -> Why {
        let ends = self.ends(edits);
        let (Some(a), Some(b)) = (ends.first(), ends.get(1)) else {
            return Why::NoLead;
        };
        let whole = self.reached(*a, &[], Way::Metal);
        if whole.iter().any(|node| self.buses.contains(node)) {
            return Why::DataBus;
        }
        let sides = [a, b].map(|end| self.reached(*end, edits, Way::Metal));
        let [near, far] = &sides;
        if near.contains(b) {
            return Why::Parallel;
        }
        let circuit = &self.model.circuit;
        let has_lead = |side: &BTreeSet<NodeId>| {
            let mut tips = circuit.leads().filter_map(|lead| circuit.tip(lead));
            tips.any(|tip| side.contains(&tip))
        };
        let held = |side: &BTreeSet<NodeId>| side.contains(&GROUND);
        let seen =
            (has_lead(near) && (has_lead(far) || held(far))) || (has_lead(far) && held(near));
        if !seen {
            return Why::NoLead;
        }
        let loaded = sides
            .iter()
            .filter(|side| has_lead(side) && !held(side))
            .all(|side| {
                let mut reached = side
                    .iter()
                    .flat_map(|node| self.reached(*node, edits, Way::Anything));
                let modules: BTreeSet<NodeId> = circuit
                    .elements()
                    .iter()
                    .filter(|element| matches!(element.part, Part::Load { .. }))
                    .flat_map(|element| [element.a, element.b])
                    .filter(|node| *node != GROUND)
                    .collect();
                reached.any(|node| modules.contains(&node))
            });
        if loaded { Why::Module } else { Why::Part }
    }

    /// What one pull has to charge beyond a joint, F.
    fn open_side(&self, group: &Group, edits: &[Edit]) -> f64 {
        let rising = self.rising(&group.watched, &group.low, edits);
        let Some(tip) = rising
            .iter()
            .next()
            .and_then(|lead| self.model.circuit.tip(lead))
        else {
            return 0.0;
        };
        let side = self.reached(tip, edits, Way::Anything);
        let circuit = &self.model.circuit;
        let on_it = |lead: &LeadId| circuit.tip(*lead).is_some_and(|tip| side.contains(&tip));
        let clipped = circuit.leads().filter(on_it).count();
        let pulls = rising.iter().filter(on_it).count().max(1);
        let wiring: f64 = side.iter().filter_map(|node| self.farads.get(node)).sum();
        let own = OWN.0 * clipped as f64;
        // The probe's own part of one lead is counted where the time is worked out.
        ((wiring + own) / pulls as f64 - OWN.0).max(0.0)
    }
}

/// What current goes through.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Way {
    /// Metal only.
    Metal,
    /// Whatever may hold a lead that is pulled up.
    Anything,
}

impl Way {
    fn goes(self, part: Part, forward: bool) -> bool {
        match part {
            Part::Wire { .. } => true,
            _ if self == Self::Metal => false,
            // Below it, it would not surely be seen; a module has a capacitor as well.
            Part::Resistor { ohms, .. } => ohms.0 < SURELY_OPEN.0 * 4.0,
            Part::Load { .. } => true,
            Part::Diode(_) => forward,
        }
    }
}

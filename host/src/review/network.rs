//! The job as a powered network: what the vehicle feeds, what the harness
//! joins, what draws current, and which switch or relay opens what.
//!
//! Battery plus is not a node: every place where it reaches the wiring is a
//! source of its own, so that the network falls apart into small islands. What
//! the vehicle's own wires drop up to there is not counted.

use std::collections::BTreeMap;

use loomproof_core::circuit::{GROUND, Junction, NodeId, Part};
use loomproof_core::copper;
use loomproof_core::units::Ohms;

pub use super::elements::{
    Across, Branch, Compiled, Drawing, Feed, Fused, Gate, RATED, What, through,
};

use crate::circuit::joint;
use crate::plan::model::{Consumer, End, Half, Job, RingOn, Sort, States, Suppression, Terminal};

// Joints, as the dead test expects them.
const CRIMP: f64 = joint::CRIMP.0.0;
const CONTACT: f64 = joint::CONTACT.0.0;
const BITE: f64 = joint::BITE.0.0;
const BOLT: f64 = joint::BOLT.0.0;
/// A closed switch or relay contact.
const CLOSED: f64 = joint::CLOSED_CONTACT.0.0;
/// Between battery plus and the place where the harness meets the vehicle: as
/// good as nothing, the vehicle's own drop is not counted.
pub(super) const SOURCE: f64 = 0.001;
/// The powered network of a job.
#[derive(Debug, Clone, Default)]
pub struct Network {
    /// Number of nodes, chassis included.
    pub nodes: u16,
    /// What is between nodes.
    pub branches: Vec<Branch>,
    /// Where battery plus comes in.
    pub feeds: Vec<Feed>,
    /// What draws current.
    pub drawing: Vec<Drawing>,
    /// Node of each end that leads, loads and switches meet at.
    pub ends: BTreeMap<End, NodeId>,
    /// Node of each conductor and pin.
    pub bodies: BTreeMap<String, NodeId>,
    mates: BTreeMap<(String, u16), NodeId>,
}

/// A plain resistance as metal.
pub(super) const fn metal(ohms: f64) -> Part {
    Part::Wire {
        ohms: Ohms(ohms),
        spread: Ohms(0.0),
    }
}

const fn resistor(ohms: Ohms) -> Part {
    Part::Resistor {
        ohms,
        spread: Ohms(0.0),
    }
}

/// Resistance of a lead's copper alone.
#[must_use]
pub fn copper_of(job: &Job, lead: usize) -> Ohms {
    let lead = &job.leads[lead];
    copper::resistance(lead.length, lead.size, job.electrics.service)
}

impl Network {
    /// The network of a job in service; without the harness it is the vehicle
    /// as it was.
    #[must_use]
    pub fn new(job: &Job, with_harness: bool) -> Self {
        let mut network = Self {
            nodes: 1,
            ..Self::default()
        };
        network.vehicle(job, with_harness);
        if with_harness {
            network.joints(job);
            network.parts(job);
            network.leads(job);
            network.outside(job);
        }
        network
    }

    fn node(&mut self) -> NodeId {
        let node = NodeId(self.nodes);
        self.nodes = self.nodes.saturating_add(1);
        node
    }

    fn end(&mut self, end: &End) -> NodeId {
        if let Some(node) = self.ends.get(end) {
            return *node;
        }
        let node = self.node();
        self.ends.insert(end.clone(), node);
        node
    }

    /// The vehicle's half of a cavity, or what else an end is seen from outside.
    pub(super) fn mate(&mut self, end: &End) -> NodeId {
        let End::Cavity(connector, cavity) = end else {
            return self.end(end);
        };
        let key = (connector.clone(), *cavity);
        if let Some(node) = self.mates.get(&key) {
            return *node;
        }
        let (inner, outer) = (self.end(end), self.node());
        self.mates.insert(key, outer);
        self.add(
            inner,
            outer,
            metal(CONTACT),
            What::Mating(end.to_string()),
            Gate::Open,
        );
        outer
    }

    pub(super) fn body(&mut self, name: &str) -> NodeId {
        if let Some(node) = self.bodies.get(name) {
            return *node;
        }
        let node = self.node();
        self.bodies.insert(name.to_owned(), node);
        node
    }

    pub(super) fn add(
        &mut self,
        a: NodeId,
        b: NodeId,
        part: Part,
        what: What,
        gate: Gate,
    ) -> usize {
        self.branches.push(Branch {
            a,
            b,
            part,
            what,
            gate,
        });
        self.branches.len() - 1
    }

    pub(super) fn draws(&mut self, what: What, across: Across, of_vehicle: bool) {
        self.drawing.push(Drawing {
            what,
            across,
            of_vehicle,
        });
    }

    pub(super) fn consumer(
        &mut self,
        a: NodeId,
        b: NodeId,
        ohms: Ohms,
        what: What,
        of_vehicle: bool,
    ) {
        let branch = self.add(a, b, resistor(ohms), what.clone(), Gate::Open);
        self.draws(what, Across::Branch(branch), of_vehicle);
    }

    pub(super) fn series_feed(
        &mut self,
        node: NodeId,
        ohms: Ohms,
        name: &str,
        what: What,
        of_vehicle: bool,
    ) {
        self.feeds.push(Feed {
            node,
            ohms,
            name: name.to_owned(),
            consumer: Some(what.clone()),
            fuse: Fused::NotStated,
            most: None,
            gate: Gate::Open,
        });
        self.draws(what, Across::Feed(self.feeds.len() - 1), of_vehicle);
    }

    fn joints(&mut self, job: &Job) {
        for tap in &job.taps {
            let (end, body) = (self.end(&End::Tap(tap.name.clone())), self.body(&tap.on));
            self.add(
                end,
                body,
                metal(BITE),
                What::Tap(tap.name.clone()),
                Gate::Open,
            );
        }
        for ring in &job.rings {
            let end = self.end(&End::Ring(ring.name.clone()));
            match ring.on {
                RingOn::Chassis => {
                    let what = What::Ring(ring.name.clone());
                    self.add(end, GROUND, metal(BOLT), what, Gate::Open);
                }
                RingOn::BatteryPlus => {
                    let fuse = job.electrics.fused_rings.get(&ring.name);
                    self.feeds.push(Feed {
                        node: end,
                        ohms: Ohms(BOLT),
                        name: ring.name.clone(),
                        consumer: None,
                        fuse: fuse.map_or(Fused::Bare, |rating| Fused::By(*rating)),
                        most: None,
                        gate: Gate::Open,
                    });
                }
            }
        }
        for plug in &job.plugs {
            for way in 1..=plug.ways {
                let end = |half| End::Plug(plug.name.clone(), half, way);
                if self.used(job, &end(Half::A)) || self.used(job, &end(Half::B)) {
                    let (a, b) = (self.end(&end(Half::A)), self.end(&end(Half::B)));
                    let what = What::Way(format!("{}:{way}", plug.name));
                    self.add(a, b, metal(CONTACT), what, Gate::Open);
                }
            }
        }
    }

    fn used(&self, job: &Job, end: &End) -> bool {
        job.leads
            .iter()
            .any(|lead| lead.from == *end || lead.to == *end)
    }

    fn parts(&mut self, job: &Job) {
        for (number, relay) in job.relays.iter().enumerate() {
            let mut at =
                |terminal: &str| self.end(&End::Part(relay.name.clone(), terminal.to_owned()));
            let (a85, a86, common, make) = (at("85"), at("86"), at("30"), at("87"));
            let rest = relay.changeover.then(|| at("87a"));
            let coil = self.add(
                a86,
                a85,
                resistor(relay.coil),
                What::Coil(number),
                Gate::Open,
            );
            self.draws(What::Coil(number), Across::Branch(coil), false);
            let part = match relay.suppression {
                Suppression::None => None,
                Suppression::Diode => Some(Part::Diode(Junction::SILICON)),
                Suppression::Resistor(ohms) => Some(resistor(ohms)),
            };
            if let Some(part) = part {
                self.add(a85, a86, part, What::Suppression(number), Gate::Open);
            }
            let what = What::Contact(number, true);
            self.add(common, make, metal(CLOSED), what, Gate::Relay(number, true));
            if let Some(rest) = rest {
                let what = What::Contact(number, false);
                self.add(
                    common,
                    rest,
                    metal(CLOSED),
                    what,
                    Gate::Relay(number, false),
                );
            }
        }
        let part = |name: &str, terminal: &str| End::Part(name.to_owned(), terminal.to_owned());
        for diode in &job.diodes {
            let (a, k) = (
                self.end(&part(&diode.name, "A")),
                self.end(&part(&diode.name, "K")),
            );
            let what = What::Diode(diode.name.clone());
            self.add(a, k, Part::Diode(Junction::SILICON), what, Gate::Open);
        }
        for (number, lamp) in job.lamps.iter().enumerate() {
            let (a, b) = (
                self.end(&part(&lamp.name, "1")),
                self.end(&part(&lamp.name, "2")),
            );
            let ohms = Ohms(lamp.volts.0 * lamp.volts.0 / lamp.power.0);
            self.consumer(a, b, ohms, What::Lamp(number), false);
        }
        for (number, fuse) in job.fuses.iter().enumerate() {
            let (a, b) = (
                self.end(&part(&fuse.name, "1")),
                self.end(&part(&fuse.name, "2")),
            );
            self.add(
                a,
                b,
                metal(joint::FUSE_DROP / fuse.rating.0),
                What::Fuse(number),
                Gate::Open,
            );
        }
    }

    fn leads(&mut self, job: &Job) {
        for (number, lead) in job.leads.iter().enumerate() {
            let (from, to) = (self.lead_end(&lead.from), self.lead_end(&lead.to));
            let ohms = copper_of(job, number).0 + 2.0 * CRIMP;
            self.add(from, to, metal(ohms), What::Lead(number), Gate::Open);
        }
    }

    fn lead_end(&mut self, end: &End) -> NodeId {
        match end {
            End::Cap => self.node(),
            end => self.end(end),
        }
    }

    /// Loads and switches that the harness is plugged to.
    fn outside(&mut self, job: &Job) {
        for (number, load) in job.electrics.loads.iter().enumerate() {
            self.load(job, number, load);
        }
        for (number, switch) in job.electrics.switches.iter().enumerate() {
            let Some((first, second)) = &switch.between else {
                continue;
            };
            let closed = switch.closed_in.iter();
            let closed = closed.map(|state| States::Is(switch.name.clone(), state.clone()));
            let gate = Gate::States(Compiled::new(&States::Any(closed.collect()), job));
            let what = What::Switch(number);
            match (self.terminal(first), self.terminal(second)) {
                (Some(a), Some(b)) => {
                    self.add(a, b, metal(CLOSED), what, gate);
                }
                (Some(node), None) | (None, Some(node)) => self.feeds.push(Feed {
                    node,
                    ohms: Ohms(CLOSED),
                    name: switch.name.clone(),
                    consumer: None,
                    fuse: switch.fused.map_or(Fused::NotStated, Fused::By),
                    most: None,
                    gate,
                }),
                (None, None) => {}
            }
        }
    }

    /// The node of a terminal; `None` for battery plus, which is no node.
    fn terminal(&mut self, terminal: &Terminal) -> Option<NodeId> {
        match terminal {
            Terminal::At(end) => Some(self.mate(end)),
            Terminal::Chassis => Some(GROUND),
            Terminal::BatteryPlus => None,
        }
    }

    fn load(&mut self, job: &Job, number: usize, load: &Consumer) {
        let ohms = load.draws.resistance(load.volts.unwrap_or(job.supply));
        let what = What::Load(number);
        let (first, second) = (
            self.terminal(&load.between.0),
            self.terminal(&load.between.1),
        );
        let (first, second) = match (first, second) {
            (Some(a), Some(b)) => (a, b),
            (Some(node), None) | (None, Some(node)) => {
                return self.series_feed(node, ohms, &load.name, what, false);
            }
            (None, None) => return,
        };
        let a = if load.sort == Sort::OneWay {
            let inner = self.node();
            let part = Part::Diode(Junction::SILICON);
            self.add(
                first,
                inner,
                part,
                What::Diode(load.name.clone()),
                Gate::Open,
            );
            inner
        } else {
            first
        };
        self.consumer(a, second, ohms, what, false);
    }
}

//! From the expected circuit of the dead test to that of the powered job.

use std::collections::{BTreeMap, BTreeSet};

use loomproof_core::circuit::{ElementId, GROUND, Junction, NodeId, Part};
use loomproof_core::units::{Amperes, Ohms, Volts};
use loomproof_core::wire::LeadId;

use crate::circuit::{BuildError, Model, build, joint};
use crate::hookup::{Hookup, Point};
use crate::plan::model::{
    Behaviour, Draw, End, Job, OtherEnd, RingOn, Signal, Sort, States, Terminal,
};
use crate::review::elements::{Compiled, Gate};
use crate::review::states::coil_volts;

/// From battery plus to where the harness meets the vehicle, a fuse not counted: battery,
/// holder, wire and switch as they are found (`common practice`). It decides what a short
/// circuit draws.
const FEED: Ohms = Ohms(0.030);

/// From a conductor to chassis, through the vehicle's switch (`common practice`).
const TO_CHASSIS: Ohms = Ohms(0.050);

/// One standard deviation of them from vehicle to vehicle, as a part of each
/// (`common practice`): it matters where much flows.
const SUPPLY_SPREAD: f64 = 0.3;

/// A way of the vehicle from battery plus, its fuse included.
fn feed(fuse: Option<Amperes>) -> Ohms {
    let own = fuse.map_or(0.0, |rating| joint::FUSE_DROP / rating.0);
    FEED + Ohms(own)
}

/// Spread of what a consumer draws, as a fraction (`common practice`).
const CONSUMER_SPREAD: f64 = 0.1;

/// A way from battery plus into the wiring.
#[derive(Debug, Clone)]
pub struct Feed {
    /// Conductor, pin, ring, switch or load that it belongs to.
    pub name: String,
    /// Where it comes in.
    pub node: NodeId,
    /// Resistance in series; a consumer's, where one is in between.
    pub ohms: Ohms,
    /// One standard deviation of it.
    pub spread: Ohms,
    /// When it is there.
    pub gate: Gate,
    /// The fuse in front of it.
    pub fuse: Option<Amperes>,
    /// What it gives while it is there.
    pub signal: Signal,
    /// It is a consumer of this name in series, not the supply itself.
    pub consumer: bool,
}

/// A relay coil, and the voltages at which it pulls in and lets go.
#[derive(Debug, Clone, Copy)]
pub struct Coil {
    /// The relay, by its place in the job.
    pub relay: usize,
    /// The coil itself.
    pub element: ElementId,
    /// Pulls in from here.
    pub operates: Volts,
    /// Lets go below.
    pub releases: Volts,
}

/// A probe lead on a test point.
#[derive(Debug, Clone)]
pub struct Touched {
    /// The probe lead.
    pub lead: LeadId,
    /// The point.
    pub point: Point,
    /// The probe's side of the clip.
    pub tip: NodeId,
}

/// The expected circuit of a job with the battery on.
#[derive(Debug, Clone)]
pub struct Powered {
    /// The circuit with the places of the plan in it.
    pub model: Model,
    /// Elements that are there in some states only, or never.
    pub gates: BTreeMap<ElementId, Gate>,
    /// Elements that are something else when they are warm.
    pub warm: BTreeMap<ElementId, Part>,
    /// Elements that come and go by themselves while they are there.
    pub modulated: BTreeMap<ElementId, Signal>,
    /// Ways from battery plus.
    pub feeds: Vec<Feed>,
    /// Relay coils.
    pub coils: Vec<Coil>,
    /// Fuses of the harness: element and rating.
    pub fuses: Vec<(ElementId, Amperes)>,
    /// The element of each consumer that is plugged to the harness or is a lamp of it.
    pub consumers: BTreeMap<String, ElementId>,
    /// The way to chassis that the vehicle makes on a conductor or pin.
    pub to_chassis: BTreeMap<String, ElementId>,
    /// Conductors of which the plan does not say what they do with the battery on.
    pub unknown: BTreeSet<NodeId>,
    /// Where the probe is.
    pub points: Vec<Touched>,
    /// How many states each switch has.
    pub states: Vec<u8>,
}

impl Powered {
    /// The powered job on a hook-up in the vehicle, everything plugged.
    ///
    /// # Errors
    /// [`BuildError`] when the job is too large or the hook-up does not fit it.
    pub fn new(job: &Job, hookup: &Hookup) -> Result<Self, BuildError> {
        let model = build(job, hookup)?;
        let points = hookup.clips.iter().filter_map(|clip| {
            Some(Touched {
                lead: clip.lead,
                point: clip.point.clone(),
                tip: model.circuit.tip(clip.lead)?,
            })
        });
        let mut powered = Self {
            points: points.collect(),
            model,
            gates: BTreeMap::new(),
            warm: BTreeMap::new(),
            modulated: BTreeMap::new(),
            feeds: Vec::new(),
            coils: Vec::new(),
            fuses: Vec::new(),
            consumers: BTreeMap::new(),
            to_chassis: BTreeMap::new(),
            unknown: BTreeSet::new(),
            states: job
                .electrics
                .switches
                .iter()
                .map(|switch| u8::try_from(switch.states.len()).unwrap_or(u8::MAX))
                .collect(),
        };
        powered.conductors(job)?;
        powered.pins(job)?;
        powered.rings(job);
        powered.parts(job)?;
        powered.plugged(job)?;
        Ok(powered)
    }

    fn add(&mut self, a: NodeId, b: NodeId, part: Part) -> Result<ElementId, BuildError> {
        Ok(self.model.circuit.add(a, b, part)?)
    }

    /// A way of the vehicle's own, or a closed contact.
    fn wire(&mut self, a: NodeId, b: NodeId, ohms: Ohms) -> Result<ElementId, BuildError> {
        let spread = ohms * SUPPLY_SPREAD;
        self.add(a, b, Part::Wire { ohms, spread })
    }

    fn conductors(&mut self, job: &Job) -> Result<(), BuildError> {
        for conductor in &job.conductors {
            let Some(body) = self.model.places.conductors.get(&conductor.name).copied() else {
                continue;
            };
            match job.electrics.behaviours.get(&conductor.name) {
                Some(behaviour) => {
                    if behaviour.draws.is_some() {
                        self.without_load(body);
                    }
                    self.behaves(job, &conductor.name, body, behaviour)?;
                    if behaviour.plus_when.is_none()
                        && behaviour.chassis_when.is_none()
                        && behaviour.draws.is_none()
                    {
                        self.unknown.insert(body);
                    }
                }
                None => {
                    self.unknown.insert(body);
                }
            }
        }
        Ok(())
    }

    /// What an ohmmeter sees of a conductor's consumer is not what that draws.
    fn without_load(&mut self, body: NodeId) {
        let elements = self.model.circuit.elements().iter();
        let load = elements.zip(0..).find(|(element, _)| {
            element.a == body && element.b == GROUND && matches!(element.part, Part::Load { .. })
        });
        if let Some((_, id)) = load {
            let never = Gate::States(Compiled::Fixed(false));
            self.gates.insert(ElementId(id), never);
        }
    }

    fn pins(&mut self, job: &Job) -> Result<(), BuildError> {
        for pin in &job.electrics.pins {
            let (connector, cavity) = &pin.at;
            if let Some(node) = self.seen(&End::Cavity(connector.clone(), *cavity)) {
                self.behaves(job, &pin.name, node, &pin.behaviour)?;
                let said = &pin.behaviour;
                if said.plus_when.is_none() && said.chassis_when.is_none() && said.draws.is_none() {
                    self.unknown.insert(node);
                }
            }
        }
        Ok(())
    }

    fn behaves(
        &mut self,
        job: &Job,
        name: &str,
        node: NodeId,
        known: &Behaviour,
    ) -> Result<(), BuildError> {
        if let Some(states) = &known.plus_when {
            let fuse = known.fused.or(known.most);
            self.feeds.push(Feed {
                name: name.to_owned(),
                node,
                ohms: feed(fuse),
                spread: feed(fuse) * SUPPLY_SPREAD,
                gate: gate(states, job),
                fuse,
                signal: known.signal,
                consumer: false,
            });
        }
        if let Some(states) = &known.chassis_when {
            let way = self.wire(node, GROUND, TO_CHASSIS)?;
            self.gates.insert(way, gate(states, job));
            if known.signal != Signal::Steady {
                self.modulated.insert(way, known.signal);
            }
            self.to_chassis.insert(name.to_owned(), way);
        }
        let Some(draws) = known.draws else {
            return Ok(());
        };
        let ohms = draws.resistance(job.supply);
        match &known.other_end {
            OtherEnd::BatteryPlus => self.in_series(name, node, ohms),
            OtherEnd::Chassis => {
                self.add(node, GROUND, consumer(ohms))?;
            }
            OtherEnd::Named(other) => {
                if let Some(other) = self.named(job, other) {
                    self.add(node, other, consumer(ohms))?;
                }
            }
        }
        Ok(())
    }

    /// A consumer between battery plus and a node.
    fn in_series(&mut self, name: &str, node: NodeId, ohms: Ohms) {
        self.feeds.push(Feed {
            name: name.to_owned(),
            node,
            ohms,
            spread: ohms * CONSUMER_SPREAD,
            gate: Gate::Open,
            fuse: None,
            signal: Signal::Steady,
            consumer: true,
        });
    }

    /// The node of a conductor or pin.
    fn named(&self, job: &Job, name: &str) -> Option<NodeId> {
        if let Some(node) = self.model.places.conductors.get(name) {
            return Some(*node);
        }
        let pin = job.electrics.pins.iter().find(|pin| pin.name == name)?;
        self.seen(&End::Cavity(pin.at.0.clone(), pin.at.1))
    }

    /// The node that is met from outside at an end.
    fn seen(&self, end: &End) -> Option<NodeId> {
        let places = &self.model.places;
        match end {
            End::Cavity(connector, cavity) => {
                let nodes = places.cavities.get(&(connector.clone(), *cavity))?;
                Some(nodes.mating_side)
            }
            other => places.terminals.get(other).copied(),
        }
    }

    fn rings(&mut self, job: &Job) {
        let rings = job.rings.iter().filter(|it| it.on == RingOn::BatteryPlus);
        for ring in rings {
            if let Some(node) = self.seen(&End::Ring(ring.name.clone())) {
                self.feeds.push(Feed {
                    name: ring.name.clone(),
                    node,
                    ohms: joint::BOLT.0,
                    spread: joint::BOLT.0 * SUPPLY_SPREAD,
                    gate: Gate::Open,
                    fuse: job.electrics.fused_rings.get(&ring.name).copied(),
                    signal: Signal::Steady,
                    consumer: false,
                });
            }
        }
    }

    /// Contacts that relays close, what is warm, what can blow.
    fn parts(&mut self, job: &Job) -> Result<(), BuildError> {
        for (number, relay) in job.relays.iter().enumerate() {
            let own = self.model.places.parts.get(&relay.name).cloned();
            let own = own.unwrap_or_default();
            let (_, operates, releases) = coil_volts(job, number);
            if let Some(element) = own.first().copied() {
                self.coils.push(Coil {
                    relay: number,
                    element,
                    operates,
                    releases,
                });
            }
            if relay.changeover
                && let Some(rest) = own.last()
            {
                self.gates.insert(*rest, Gate::Relay(number, false));
            }
            let at = |terminal: &str| self.seen(&End::Part(relay.name.clone(), terminal.into()));
            if let (Some(common), Some(make)) = (at("30"), at("87")) {
                let contact = self.wire(common, make, joint::CLOSED_CONTACT.0)?;
                self.gates.insert(contact, Gate::Relay(number, true));
                let places = &mut self.model.places;
                places
                    .parts
                    .entry(relay.name.clone())
                    .or_default()
                    .push(contact);
            }
        }
        for lamp in &job.lamps {
            let own = self.model.places.parts.get(&lamp.name);
            if let Some(element) = own.and_then(|own| own.first()).copied() {
                let ohms = Draw::Power(lamp.power).resistance(lamp.volts);
                self.warm.insert(element, consumer(ohms));
                self.consumers.insert(lamp.name.clone(), element);
            }
        }
        for fuse in &job.fuses {
            let own = self.model.places.parts.get(&fuse.name);
            if let Some(element) = own.and_then(|own| own.first()).copied() {
                self.fuses.push((element, fuse.rating));
            }
        }
        Ok(())
    }

    /// Loads and switches that are plugged to the harness.
    fn plugged(&mut self, job: &Job) -> Result<(), BuildError> {
        for load in &job.electrics.loads {
            let ohms = load.draws.resistance(load.volts.unwrap_or(job.supply));
            let (first, second) = (self.side(&load.between.0), self.side(&load.between.1));
            let (first, second) = match (first, second) {
                (Side::At(a), Side::At(b)) => (a, b),
                (Side::Plus, Side::At(node)) | (Side::At(node), Side::Plus) => {
                    self.in_series(&load.name, node, ohms);
                    continue;
                }
                _ => continue,
            };
            let first = if load.sort == Sort::OneWay {
                let inner = self.model.circuit.node()?;
                self.add(first, inner, Part::Diode(Junction::SILICON))?;
                inner
            } else {
                first
            };
            let element = self.add(first, second, consumer(ohms))?;
            self.consumers.insert(load.name.clone(), element);
        }
        for switch in &job.electrics.switches {
            let Some((first, second)) = &switch.between else {
                continue;
            };
            let closed = switch.closed_in.iter();
            let closed = closed.map(|state| States::Is(switch.name.clone(), state.clone()));
            let gate = gate(&States::Any(closed.collect()), job);
            match (self.side(first), self.side(second)) {
                (Side::At(a), Side::At(b)) => {
                    let contact = self.wire(a, b, joint::CLOSED_CONTACT.0)?;
                    self.gates.insert(contact, gate);
                }
                (Side::Plus, Side::At(node)) | (Side::At(node), Side::Plus) => {
                    self.feeds.push(Feed {
                        name: switch.name.clone(),
                        node,
                        ohms: joint::CLOSED_CONTACT.0,
                        spread: joint::CLOSED_CONTACT.0 * SUPPLY_SPREAD,
                        gate,
                        fuse: switch.fused,
                        signal: Signal::Steady,
                        consumer: false,
                    });
                }
                _ => {}
            }
        }
        Ok(())
    }

    fn side(&self, terminal: &Terminal) -> Side {
        match terminal {
            Terminal::At(end) => self.seen(end).map_or(Side::Nowhere, Side::At),
            Terminal::Chassis => Side::At(GROUND),
            Terminal::BatteryPlus => Side::Plus,
        }
    }
}

/// One side of a load or contact.
enum Side {
    At(NodeId),
    Plus,
    /// At a terminal that this variant does not have.
    Nowhere,
}

fn consumer(ohms: Ohms) -> Part {
    Part::Resistor {
        ohms,
        spread: ohms * CONSUMER_SPREAD,
    }
}

fn gate(states: &States, job: &Job) -> Gate {
    match states {
        States::Always => Gate::Open,
        states => Gate::States(Compiled::new(states, job)),
    }
}

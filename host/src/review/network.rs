//! The job as a powered network: what the vehicle feeds, what the harness
//! joins, what draws current, and which switch or relay opens what.
//!
//! Battery plus is not a node: every place where it reaches the wiring is a
//! source of its own, so that the network falls apart into small islands. What
//! the vehicle's own wires drop up to there is not counted.

use std::collections::BTreeMap;

use loomproof_core::circuit::{GROUND, Junction, NodeId, Part};
use loomproof_core::copper;
use loomproof_core::units::{Amperes, Celsius, Ohms, Volts};

use crate::plan::model::{
    Behaviour, Consumer, End, Half, Job, Load, OtherEnd, Pin, RingOn, Sort, States, Suppression,
    Terminal,
};

/// Joints, as the dead test expects them (`common practice`).
const CRIMP: f64 = 0.002;
const CONTACT: f64 = 0.004;
const BITE: f64 = 0.008;
const BOLT: f64 = 0.003;
/// A closed switch or relay contact (`common practice`).
const CLOSED: f64 = 0.02;
/// Between battery plus and the place where the harness meets the vehicle: as
/// good as nothing, the vehicle's own drop is not counted.
const SOURCE: f64 = 0.001;
/// A blade fuse drops about this at its rating (`common practice`).
const FUSE_DROP: f64 = 0.08;

/// What a branch of the network is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum What {
    /// A lead, by its place in the job.
    Lead(usize),
    /// A tap's bite.
    Tap(String),
    /// Two contacts that mate, at a cavity.
    Mating(String),
    /// A way of an in-line plug.
    Way(String),
    /// A fuse, by its place in the job.
    Fuse(usize),
    /// A relay's coil, by its place in the job.
    Coil(usize),
    /// The part across a relay's coil.
    Suppression(usize),
    /// A contact of a relay: make (`true`) or break.
    Contact(usize, bool),
    /// A diode.
    Diode(String),
    /// A lamp of the harness, by its place in the job.
    Lamp(usize),
    /// A load plugged to the harness, by its place in the job.
    Load(usize),
    /// A switch's contact, by its place in the job.
    Switch(usize),
    /// A stretch of a conductor.
    Stretch(String),
    /// The vehicle's own consumer on a conductor or pin.
    Own(String),
    /// The vehicle's way to chassis on a conductor or pin.
    ToChassis(String),
    /// A ring on chassis.
    Ring(String),
}

/// When a branch or feed is there.
#[derive(Debug, Clone, PartialEq)]
pub enum Gate {
    /// Always.
    Open,
    /// In some states of the switches.
    States(Compiled),
    /// While a relay is pulled in (`true`) or let go.
    Relay(usize, bool),
}

/// [`States`] with numbers in the place of names.
#[derive(Debug, Clone, PartialEq)]
pub enum Compiled {
    /// Always so, or never.
    Fixed(bool),
    /// A switch is in a state.
    Is(usize, u8),
    /// The contrary.
    Not(Box<Compiled>),
    /// All of them.
    All(Vec<Compiled>),
    /// Any of them.
    Any(Vec<Compiled>),
}

impl Compiled {
    /// From names to numbers; what is not there in this variant is in no state.
    #[must_use]
    pub fn new(states: &States, job: &Job) -> Self {
        let all = |parts: &[States]| parts.iter().map(|part| Self::new(part, job)).collect();
        match states {
            States::Always => Self::Fixed(true),
            States::Is(name, state) => {
                let switches = &job.electrics.switches;
                let found = switches.iter().position(|switch| switch.name == *name);
                let place = found.and_then(|at| {
                    let mut states = switches[at].states.iter();
                    Some((at, states.position(|own| own == state)?))
                });
                place.map_or(Self::Fixed(false), |(at, state)| {
                    Self::Is(at, u8::try_from(state).unwrap_or(0))
                })
            }
            States::Not(inner) => Self::Not(Box::new(Self::new(inner, job))),
            States::All(parts) => Self::All(all(parts)),
            States::Any(parts) => Self::Any(all(parts)),
        }
    }

    /// Whether it holds; `state` gives the state of a switch.
    pub fn holds(&self, state: &dyn Fn(usize) -> u8) -> bool {
        match self {
            Self::Fixed(so) => *so,
            Self::Is(switch, wanted) => state(*switch) == *wanted,
            Self::Not(inner) => !inner.holds(state),
            Self::All(parts) => parts.iter().all(|part| part.holds(state)),
            Self::Any(parts) => parts.iter().any(|part| part.holds(state)),
        }
    }

    /// The switches that it speaks of.
    pub fn switches(&self, into: &mut Vec<usize>) {
        match self {
            Self::Fixed(_) => {}
            Self::Is(switch, _) => into.push(*switch),
            Self::Not(inner) => inner.switches(into),
            Self::All(parts) | Self::Any(parts) => {
                parts.iter().for_each(|part| part.switches(into));
            }
        }
    }
}

/// Something between two nodes.
#[derive(Debug, Clone)]
pub struct Branch {
    /// First node; a diode's anode.
    pub a: NodeId,
    /// Second node.
    pub b: NodeId,
    /// Its electrical part.
    pub part: Part,
    /// What it is in the plan.
    pub what: What,
    /// When it is there.
    pub gate: Gate,
}

/// A way from battery plus into the network.
#[derive(Debug, Clone)]
pub struct Feed {
    /// Where it comes in.
    pub node: NodeId,
    /// Resistance in series.
    pub ohms: Ohms,
    /// Name of the conductor, pin, ring, switch or load.
    pub name: String,
    /// The consumer that is in series, when the resistance is one.
    pub consumer: Option<What>,
    /// The fuse in front of it.
    pub fuse: Fused,
    /// The most that may be taken from it.
    pub most: Option<Amperes>,
    /// When it is there.
    pub gate: Gate,
}

/// What protects a feed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Fused {
    /// A fuse or an output of this size.
    By(Amperes),
    /// The vehicle has a fuse, or not: the plan does not say.
    NotStated,
    /// Nothing.
    Bare,
}

/// Where the voltage across a consumer is taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Across {
    /// Across a branch.
    Branch(usize),
    /// Across the resistance of a feed.
    Feed(usize),
}

/// Something that is on when it has voltage.
#[derive(Debug, Clone)]
pub struct Drawing {
    /// What it is.
    pub what: What,
    /// Where its voltage is.
    pub across: Across,
    /// Whether it belongs to the vehicle.
    pub of_vehicle: bool,
}

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
const fn metal(ohms: f64) -> Part {
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
    fn mate(&mut self, end: &End) -> NodeId {
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

    fn body(&mut self, name: &str) -> NodeId {
        if let Some(node) = self.bodies.get(name) {
            return *node;
        }
        let node = self.node();
        self.bodies.insert(name.to_owned(), node);
        node
    }

    fn add(&mut self, a: NodeId, b: NodeId, part: Part, what: What, gate: Gate) -> usize {
        self.branches.push(Branch {
            a,
            b,
            part,
            what,
            gate,
        });
        self.branches.len() - 1
    }

    fn draws(&mut self, what: What, across: Across, of_vehicle: bool) {
        self.drawing.push(Drawing {
            what,
            across,
            of_vehicle,
        });
    }

    /// Conductors and pins, as far as anything meets them.
    fn vehicle(&mut self, job: &Job, with_harness: bool) {
        for conductor in &job.conductors {
            let known = job.electrics.behaviours.get(&conductor.name);
            let body = self.body(&conductor.name);
            self.behaves(
                job,
                &conductor.name,
                body,
                known.unwrap_or(&Behaviour::UNKNOWN),
            );
            if known.is_none_or(|known| known.draws.is_none())
                && let Load::Range { least, most } = conductor.load
            {
                let what = What::Own(conductor.name.clone());
                let branch = self.add(
                    body,
                    GROUND,
                    Part::Load { least, most },
                    what.clone(),
                    Gate::Open,
                );
                self.draws(what, Across::Branch(branch), true);
            }
            for (connector, cavity) in conductor.at.iter().filter(|_| with_harness) {
                let of_harness = job
                    .connectors
                    .iter()
                    .any(|it| it.name == *connector && it.of_harness);
                if of_harness {
                    let mate = self.mate(&End::Cavity(connector.clone(), *cavity));
                    let ohms =
                        copper::resistance(conductor.length, conductor.size, job.electrics.service);
                    let what = What::Stretch(conductor.name.clone());
                    self.add(mate, body, metal(ohms.0), what, Gate::Open);
                }
            }
        }
        for pin in &job.electrics.pins {
            let body = self.body(&pin.name);
            self.behaves(job, &pin.name, body, &pin.behaviour);
            if with_harness {
                self.pin(pin, body);
            }
        }
    }

    fn pin(&mut self, pin: &Pin, body: NodeId) {
        let mate = self.mate(&End::Cavity(pin.at.0.clone(), pin.at.1));
        let what = What::Stretch(pin.name.clone());
        self.add(mate, body, metal(SOURCE), what, Gate::Open);
    }

    fn behaves(&mut self, job: &Job, name: &str, body: NodeId, known: &Behaviour) {
        let gate = |states: &States| match states {
            States::Always => Gate::Open,
            states => Gate::States(Compiled::new(states, job)),
        };
        if let Some(states) = &known.plus_when {
            let limit = known.fused.or(known.most);
            self.feeds.push(Feed {
                node: body,
                ohms: Ohms(SOURCE),
                name: name.to_owned(),
                consumer: None,
                fuse: limit.map_or(Fused::NotStated, Fused::By),
                most: known.most,
                gate: gate(states),
            });
        }
        if let Some(states) = &known.chassis_when {
            let what = What::ToChassis(name.to_owned());
            self.add(body, GROUND, metal(SOURCE), what, gate(states));
        }
        let Some(draws) = known.draws else { return };
        let (ohms, what) = (draws.resistance(job.supply), What::Own(name.to_owned()));
        match &known.other_end {
            OtherEnd::BatteryPlus => self.series_feed(body, ohms, name, what, true),
            OtherEnd::Chassis => self.consumer(body, GROUND, ohms, what, true),
            OtherEnd::Named(other) => {
                let other = self.body(other);
                self.consumer(other, body, ohms, what, true);
            }
        }
    }

    fn consumer(&mut self, a: NodeId, b: NodeId, ohms: Ohms, what: What, of_vehicle: bool) {
        let branch = self.add(a, b, resistor(ohms), what.clone(), Gate::Open);
        self.draws(what, Across::Branch(branch), of_vehicle);
    }

    fn series_feed(&mut self, node: NodeId, ohms: Ohms, name: &str, what: What, of_vehicle: bool) {
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
                metal(FUSE_DROP / fuse.rating.0),
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

/// Temperature that coils and lamps are rated at.
pub const RATED: Celsius = Celsius(20.0);

/// Current through a resistive branch from its first node to its second.
#[must_use]
pub fn through(part: &Part, across: Volts) -> Amperes {
    Amperes(match part {
        Part::Wire { ohms, .. } | Part::Resistor { ohms, .. } => across.0 / ohms.0,
        Part::Load { least, .. } => across.0 / least.0,
        // Shockley, as core has it.
        Part::Diode(junction) => {
            let scale = junction.emission * loomproof_core::solve::THERMAL;
            junction.saturation.0 * ((across.0 / scale).min(80.0).exp() - 1.0)
        }
    })
}

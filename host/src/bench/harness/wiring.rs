//! The fitted harness as a network, joint by joint.

use super::fitted::{Fitted, Spot, Who};
use super::values::{self, Values};
use crate::bench::error::BenchError;
use crate::bench::network::{Element, Netlist};
use crate::bench::scene::{By, Contact, Power, To};
use crate::bench::stored::Charge;
use crate::bench::upset::Upsets;
use crate::fault::{Cavity, Joint};
use crate::plan::model::{End, Half, Load, RingOn, Side, Suppression};
use std::collections::HashMap;

/// What a node of the network is.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub(super) enum Spotted {
    /// Copper at one end of a lead.
    LeadEnd(usize, usize),
    /// Half-way along a lead.
    Middle(usize),
    /// A harness terminal, by its planned cavity: what a back-probe touches.
    Terminal(String, u16),
    /// What a probe in the mating half touches at a cavity.
    Mating(String, u16),
    /// The wire side of a cavity without a terminal.
    Empty(String, u16),
    /// The end of a conductor in a vehicle terminal (conductor, place in its list).
    ConductorEnd(usize, usize),
    /// Where taps bite a conductor and its load hangs.
    Conductor(usize),
    /// A tap, splice, ring, plug way or part terminal.
    Place(End),
}

/// Builds the network.
pub(super) struct Wiring<'a> {
    pub(super) fitted: &'a Fitted<'a>,
    pub(super) values: Values<'a>,
    in_vehicle: bool,
    /// The battery is on.
    powered: bool,
    nodes: HashMap<Spotted, usize>,
    /// What has been built so far.
    pub(super) netlist: Netlist,
    /// What opens and closes.
    pub(super) power: Power,
    /// Live sources: node, volts.
    pub(super) live: Vec<(usize, f64)>,
}

impl<'a> Wiring<'a> {
    /// The network of the fitted harness, in the vehicle or without it.
    pub(super) fn build(
        fitted: &'a Fitted<'a>,
        values: Values<'a>,
        (in_vehicle, powered): (bool, Option<Upsets>),
    ) -> Result<Self, BenchError> {
        let mut wiring = Self {
            fitted,
            values,
            in_vehicle,
            powered: powered.is_some(),
            nodes: HashMap::new(),
            netlist: Netlist::default(),
            power: Power::default(),
            live: Vec::new(),
        };
        wiring.leads()?;
        wiring.terminals();
        wiring.plugs();
        wiring.parts()?;
        if in_vehicle {
            wiring.vehicle()?;
        }
        if let Some(upsets) = powered {
            wiring.power_up(&upsets)?;
        }
        wiring.shorts();
        for (end, volts) in &fitted.live {
            let node = wiring.place(end);
            wiring.live.push((node, *volts));
        }
        Ok(wiring)
    }

    /// Where charged capacitors hang: nodes, one each.
    pub(super) fn charged(&mut self, charges: &[Charge]) -> Result<Vec<usize>, BenchError> {
        let job = self.fitted.job;
        let mut nodes = Vec::new();
        for charge in charges {
            let who = Who::new(format!("charge on {}", charge.at));
            if let Err(why) = charge.check() {
                return who.senseless(why);
            }
            let mut conductors = job.conductors.iter();
            let mut pins = job.electrics.pins.iter();
            let spot = conductors
                .position(|it| it.name == charge.at)
                .map(Spotted::Conductor)
                .or_else(|| {
                    let pin = pins.find(|it| it.name == charge.at)?;
                    Some(Spotted::Mating(pin.at.0.clone(), pin.at.1))
                });
            match spot {
                Some(spot) if self.in_vehicle => nodes.push(self.at(spot)),
                _ => return who.unknown(format!("conductor or pin {}", charge.at)),
            }
        }
        Ok(nodes)
    }

    /// A resistor at a joint, which may have something added or open now and then.
    fn jointed(&mut self, a: usize, b: usize, ohms: f64, joint: &Joint) {
        let ohms = ohms + self.added(joint);
        match self.fitted.gaps.get(joint) {
            None => self.netlist.resistor(a, b, ohms),
            Some((gap, dropout)) => {
                self.power.contacts.push(Contact {
                    at: a,
                    to: To::Node(b),
                    ohms,
                    by: By::Joint(*gap, *dropout),
                    fuse: None,
                });
            }
        }
    }

    pub(super) fn at(&mut self, spot: Spotted) -> usize {
        let netlist = &mut self.netlist;
        *self.nodes.entry(spot).or_insert_with(|| netlist.node())
    }

    fn added(&self, joint: &Joint) -> f64 {
        self.fitted.added.get(joint).copied().unwrap_or(0.0)
    }

    /// The node of a place in the plan; of a cavity, its mating side.
    pub(super) fn place(&mut self, end: &End) -> usize {
        match end {
            End::Cavity(connector, cavity) => self.at(Spotted::Mating(connector.clone(), *cavity)),
            other => self.at(Spotted::Place(other.clone())),
        }
    }

    fn leads(&mut self) -> Result<(), BenchError> {
        let job = self.fitted.job;
        for (number, lead) in job.leads.iter().enumerate() {
            let label = format!("lead {}", lead.name);
            let half = self.values.wire(&label, lead.length, lead.size)? / 2.0;
            let middle = self.at(Spotted::Middle(number));
            // A break along the lead sits between its first end and its middle.
            let along = Joint::Along(lead.name.clone());
            for (end, place) in [&lead.from, &lead.to].into_iter().enumerate() {
                let copper = self.at(Spotted::LeadEnd(number, end));
                if end == 0 {
                    self.jointed(copper, middle, half, &along);
                } else {
                    self.netlist.resistor(copper, middle, half);
                }
                let farads = values::LEAD_CAPACITANCE * lead.length.value() / 2.0;
                self.netlist.add(Element::Capacitor(copper, farads));
                let joint_label = format!("{label} end {end}");
                let (node, kind, joint) = match place {
                    End::Cap => continue,
                    End::Cavity(connector, cavity) => (
                        self.at(Spotted::Terminal(connector.clone(), *cavity)),
                        values::CRIMP,
                        Joint::At(place.clone()),
                    ),
                    End::Splice(splice) => (
                        self.place(place),
                        values::SPLICE,
                        Joint::Splice(splice.clone(), lead.name.clone()),
                    ),
                    _ => (self.place(place), values::CRIMP, Joint::At(place.clone())),
                };
                let ohms = self.values.joint(&joint_label, kind);
                self.jointed(copper, node, ohms, &joint);
            }
        }
        Ok(())
    }

    fn terminals(&mut self) {
        for terminal in self
            .fitted
            .terminals
            .iter()
            .filter(|terminal| terminal.seated)
        {
            let Cavity { connector, number } = terminal.planned.clone();
            let wire = self.at(Spotted::Terminal(connector, number));
            let Cavity { connector, number } = terminal.sits.clone();
            let mating = self.at(Spotted::Mating(connector, number));
            let label = format!("contact {}", terminal.planned);
            let ohms = self.values.joint(&label, values::CONTACT);
            self.netlist.resistor(wire, mating, ohms);
        }
    }

    fn plugs(&mut self) {
        for plug in &self.fitted.job.plugs {
            let mating = Joint::Mating(plug.name.clone());
            for way in 1..=plug.ways {
                let a = self.place(&End::Plug(plug.name.clone(), Half::A, way));
                let b = self.place(&End::Plug(plug.name.clone(), Half::B, way));
                let label = format!("plug {}:{way}", plug.name);
                let ohms = self.values.joint(&label, values::PLUG);
                self.jointed(a, b, ohms, &mating);
            }
        }
    }

    /// Without the battery a relay is at rest: the probe cannot pull one in.
    fn parts(&mut self) -> Result<(), BenchError> {
        let job = self.fitted.job;
        let part = |name: &str, terminal: &str| End::Part(name.to_owned(), terminal.to_owned());
        let fitted = self.fitted;
        let turned = |name: &str| fitted.turned.contains(name);
        let there = |name: &str| !fitted.gone.contains(name);
        for relay in job.relays.iter().filter(|relay| there(&relay.name)) {
            let mut low = self.place(&part(&relay.name, "85"));
            let mut high = self.place(&part(&relay.name, "86"));
            if turned(&relay.name) {
                (low, high) = (high, low);
            }
            let coil = self.values.coil(relay)?;
            self.netlist.resistor(low, high, coil);
            match relay.suppression {
                Suppression::None => {}
                Suppression::Diode => {
                    let law = self.values.diode(&relay.name);
                    self.netlist.add(Element::Diode(low, high, law));
                }
                Suppression::Resistor(ohms) => {
                    let ohms = self.values.suppression(relay, ohms)?;
                    self.netlist.resistor(low, high, ohms);
                }
            }
            if relay.changeover && !self.powered {
                let common = self.place(&part(&relay.name, "30"));
                let rest = self.place(&part(&relay.name, "87a"));
                let ohms = self.values.relay_contact(relay);
                self.netlist.resistor(common, rest, ohms);
            }
        }
        for diode in job.diodes.iter().filter(|diode| there(&diode.name)) {
            let mut anode = self.place(&part(&diode.name, "A"));
            let mut cathode = self.place(&part(&diode.name, "K"));
            if turned(&diode.name) {
                (anode, cathode) = (cathode, anode);
            }
            let law = self.values.diode(&diode.name);
            self.netlist.add(Element::Diode(anode, cathode, law));
        }
        for lamp in job.lamps.iter().filter(|lamp| there(&lamp.name)) {
            let mut ohms = self.values.lamp(lamp)?;
            if self.powered {
                ohms /= values::COLD_LAMP;
            }
            let (one, two) = (
                self.place(&part(&lamp.name, "1")),
                self.place(&part(&lamp.name, "2")),
            );
            self.netlist.resistor(one, two, ohms);
        }
        let fuses = job.fuses.iter().filter(|fuse| there(&fuse.name));
        let powered = self.powered;
        for fuse in fuses.filter(|_| !powered) {
            let ohms = self.values.fuse(fuse)?;
            let (one, two) = (
                self.place(&part(&fuse.name, "1")),
                self.place(&part(&fuse.name, "2")),
            );
            self.netlist.resistor(one, two, ohms);
        }
        Ok(())
    }

    /// What only the vehicle has: its conductors with their loads, its
    /// chassis, and what the taps and rings meet there.
    fn vehicle(&mut self) -> Result<(), BenchError> {
        let job = self.fitted.job;
        for (number, conductor) in job.conductors.iter().enumerate() {
            let hub = self.at(Spotted::Conductor(number));
            for (place, (connector, cavity)) in conductor.at.iter().enumerate() {
                let label = format!("conductor {} at {connector}:{cavity}", conductor.name);
                let ohms = self.values.wire(&label, conductor.length, conductor.size)?;
                let end = self.at(Spotted::ConductorEnd(number, place));
                self.netlist.resistor(hub, end, ohms);
                let farads = values::LEAD_CAPACITANCE * conductor.length.value();
                self.netlist.add(Element::Capacitor(hub, farads));
                let mating = self.at(Spotted::Mating(connector.clone(), *cavity));
                let contact = self
                    .values
                    .joint(&format!("contact {label}"), values::CONTACT);
                self.netlist.resistor(end, mating, contact);
            }
            // With the battery on everything is plugged.
            let open = |name: &String| !self.powered && self.fitted.mated.open.contains(name);
            if conductor.through.as_ref().is_some_and(open) {
                continue;
            }
            if let Load::Range { least, most } = conductor.load {
                let (ohms, farads) = self.values.load(&conductor.name, least, most)?;
                // What it draws in service is stated apart.
                let behaviours = &job.electrics.behaviours;
                let draws = behaviours.get(&conductor.name).and_then(|it| it.draws);
                if !self.powered || draws.is_none() {
                    self.netlist.resistor(hub, 0, ohms);
                }
                self.netlist.add(Element::Capacitor(hub, farads));
            }
        }
        self.behind_pins()?;
        for (tap, bites) in job.taps.iter().zip(&self.fitted.bites) {
            let conductor = job
                .conductors
                .iter()
                .position(|c| Some(&c.name) == bites.as_ref());
            if let Some(conductor) = conductor {
                let terminal = self.place(&End::Tap(tap.name.clone()));
                let hub = self.at(Spotted::Conductor(conductor));
                let ohms = self
                    .values
                    .joint(&format!("bite {}", tap.name), values::BITE);
                self.netlist.resistor(terminal, hub, ohms);
            }
        }
        for ring in job.rings.iter().filter(|ring| ring.on == RingOn::Chassis) {
            let terminal = self.place(&End::Ring(ring.name.clone()));
            let ohms = self
                .values
                .joint(&format!("bolt {}", ring.name), values::BOLT);
            self.netlist.resistor(terminal, 0, ohms);
        }
        for (cavity, ohms) in &self.fitted.foreign {
            let place = Spotted::Mating(cavity.connector.clone(), cavity.number);
            let mating = self.at(place);
            self.netlist.resistor(mating, 0, *ohms);
        }
        Ok(())
    }

    /// What the vehicle has behind spare cavities, where their connector is plugged.
    /// With the battery on it is what the plan says of it in service.
    fn behind_pins(&mut self) -> Result<(), BenchError> {
        let fitted = self.fitted;
        if self.powered {
            return Ok(());
        }
        for pin in &fitted.job.electrics.pins {
            let (connector, number) = &pin.at;
            let Load::Range { least, most } = pin.load else {
                continue;
            };
            if fitted.mated.plugged.contains(connector) {
                let (ohms, farads) = self.values.load(&pin.name, least, most)?;
                let mating = self.at(Spotted::Mating(connector.clone(), *number));
                self.netlist.resistor(mating, 0, ohms);
                self.netlist.add(Element::Capacitor(mating, farads));
            }
        }
        Ok(())
    }

    fn shorts(&mut self) {
        for short in &self.fitted.shorts {
            let mut side = |spot: &Spot| match *spot {
                Spot::Middle(lead) => Some(self.at(Spotted::Middle(lead))),
                Spot::End(lead, end) => Some(self.at(Spotted::LeadEnd(lead, end))),
                // On the bench there is no chassis to touch.
                Spot::Chassis => self.in_vehicle.then_some(0),
            };
            if let (Some(a), Some(b)) = (side(&short.a), side(&short.b)) {
                let ohms = self.values.short(&short.label);
                self.netlist.resistor(a, b, ohms);
            }
        }
    }

    /// What a probe touches at a cavity. In an empty one it meets nothing but
    /// another probe's tip.
    pub(super) fn cavity(&mut self, connector: &str, cavity: u16, side: Side) -> usize {
        let empty = Spotted::Empty(connector.to_owned(), cavity);
        if side == Side::Mating {
            return self.at(Spotted::Mating(connector.to_owned(), cavity));
        }
        if let Some(terminal) = self.fitted.sitting(connector, cavity) {
            let Cavity { connector, number } = terminal.planned.clone();
            return self.at(Spotted::Terminal(connector, number));
        }
        if !self.in_vehicle {
            return self.at(empty);
        }
        let conductors = self.fitted.job.conductors.iter().enumerate();
        let here = |(c, n): &(String, u16)| c == connector && *n == cavity;
        let found = conductors
            .filter_map(|(number, conductor)| Some((number, conductor.at.iter().position(here)?)))
            .next();
        match found {
            Some((number, place)) => self.at(Spotted::ConductorEnd(number, place)),
            None => self.at(empty),
        }
    }

    /// Places of the plan that are in the network, by their spelling; of a cavity
    /// its mating side, and with ` wire side` its crimp.
    pub(super) fn known_places(&mut self) -> Vec<(String, usize)> {
        let mut behind = Vec::new();
        for connector in &self.fitted.job.connectors {
            for cavity in 1..=connector.cavities {
                let mating = Spotted::Mating(connector.name.clone(), cavity);
                if self.nodes.contains_key(&mating) {
                    let node = self.cavity(&connector.name, cavity, Side::Wire);
                    behind.push((format!("{}:{cavity} wire side", connector.name), node));
                }
            }
        }
        let named = self.nodes.iter().filter_map(|(spot, node)| match spot {
            Spotted::Mating(connector, cavity) => Some((format!("{connector}:{cavity}"), *node)),
            Spotted::Place(end) => Some((end.to_string(), *node)),
            _ => None,
        });
        named.chain(behind).collect()
    }

    /// What a probe touches at a tap, ring, plug way or part terminal.
    pub(super) fn terminal(&mut self, end: &End) -> usize {
        self.place(end)
    }
}

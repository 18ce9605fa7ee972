//! What is there when the battery is on: battery, feeds, consumers, contacts.
//!
//! Chassis is the body, where the probe's C1 and the harness's rings are; what the
//! vehicle itself joins to chassis goes to a ground that differs a little.

use super::values;
use super::wiring::{Spotted, Wiring};
use crate::bench::error::BenchError;
use crate::bench::network::Element;
use crate::bench::scene::{By, Coil, Contact, Knob, Link, Source, To};
use crate::bench::upset::Upsets;
use crate::plan::model::{Behaviour, Draw, End, OtherEnd, RingOn, Signal, Sort, Terminal};
use loomproof_core::units::{Amperes, Hertz, PerMinute};

/// A relay pulls in at this share of its rated voltage when its plan states no
/// other: 8 V of 12 V, as `docs/plan-file.md` says.
const OPERATES: f64 = 8.0 / 12.0;
/// Likewise it lets go below this share: 1.5 V of 12 V.
const RELEASES: f64 = 1.5 / 12.0;

/// A conductor or pin of the vehicle.
struct Body<'j> {
    name: &'j str,
    hub: usize,
    behaviour: Option<&'j Behaviour>,
}

impl<'a> Wiring<'a> {
    /// Adds all that needs the battery.
    pub(super) fn power_up(&mut self, upsets: &Upsets) -> Result<(), BenchError> {
        self.power.on = true;
        let job = self.fitted.job;
        let battery = self.netlist.node();
        let ohms = self.values.joint("battery", values::BATTERY);
        let volts = self.values.battery();
        self.netlist.add(Element::Source(battery, volts, ohms));
        let mut bodies = Vec::new();
        for (number, conductor) in job.conductors.iter().enumerate() {
            bodies.push(Body {
                name: &conductor.name,
                hub: self.at(Spotted::Conductor(number)),
                behaviour: job.electrics.behaviours.get(&conductor.name),
            });
        }
        for pin in &job.electrics.pins {
            bodies.push(Body {
                name: &pin.name,
                hub: self.at(Spotted::Mating(pin.at.0.clone(), pin.at.1)),
                behaviour: Some(&pin.behaviour),
            });
        }
        for body in &bodies {
            if let Some(behaviour) = body.behaviour {
                self.feed((body, behaviour), battery, upsets)?;
                self.own_consumer((body, behaviour), &bodies, battery)?;
            }
        }
        self.rings(battery)?;
        self.relays();
        self.fuses()?;
        self.switches(battery, upsets)?;
        self.consumers(battery, upsets)?;
        self.places(&bodies);
        Ok(())
    }

    fn link(&mut self, name: &str, rating: Amperes) -> usize {
        self.power.links.push(Link {
            name: name.to_owned(),
            rating: rating.value(),
            blown: false,
        });
        self.power.links.len() - 1
    }

    /// How the vehicle joins a conductor to plus and chassis.
    fn feed(
        &mut self,
        (body, behaviour): (&Body<'_>, &Behaviour),
        battery: usize,
        upsets: &Upsets,
    ) -> Result<(), BenchError> {
        let name = body.name;
        let plus = behaviour.plus_when.clone();
        let plus = plus.filter(|_| !upsets.dead.contains(name));
        let chassis = behaviour.chassis_when.clone();
        let chassis = chassis.filter(|_| !upsets.no_ground.contains(name));
        let signal = match (behaviour.signal, upsets.rates.get(name)) {
            (Signal::Flashing { duty, .. }, Some(rate)) => {
                let rate = PerMinute(*rate);
                Signal::Flashing { rate, duty }
            }
            (Signal::Dimmed { duty, .. }, Some(rate)) => {
                let rate = Hertz(*rate);
                Signal::Dimmed { rate, duty }
            }
            (signal, _) => signal,
        };
        let number = self.power.sources.len();
        if plus.is_some() {
            let mut ohms = self.values.joint(&format!("feed of {name}"), values::FEED);
            let mut fuse = None;
            if let Some(rating) = behaviour.fused {
                ohms += self.values.own_fuse(name, rating)?;
                fuse = Some(self.link(name, rating));
            }
            let to = match upsets.volts.get(name) {
                Some(volts) => To::Volts(*volts),
                None => To::Node(battery),
            };
            self.power.contacts.push(Contact {
                at: body.hub,
                to,
                ohms,
                by: By::Plus(number),
                fuse,
            });
        }
        if chassis.is_some() {
            let label = format!("{name} to chassis");
            self.power.contacts.push(Contact {
                at: body.hub,
                to: To::Volts(self.values.ground()),
                ohms: self.values.joint(&label, values::TO_CHASSIS),
                by: By::Chassis(number),
                fuse: None,
            });
        }
        let source = Source::new(plus, chassis, signal);
        self.power.sources.push(source);
        Ok(())
    }

    /// What the vehicle itself has on a conductor.
    fn own_consumer(
        &mut self,
        (body, behaviour): (&Body<'_>, &Behaviour),
        bodies: &[Body<'_>],
        battery: usize,
    ) -> Result<(), BenchError> {
        let Some(draws) = behaviour.draws else {
            return Ok(());
        };
        let label = format!("what {} draws", body.name);
        let ohms = self
            .values
            .consumer(&label, draws, self.fitted.job.supply)?;
        match &behaviour.other_end {
            OtherEnd::Chassis => {
                let ground = Element::Source(body.hub, self.values.ground(), ohms);
                self.netlist.add(ground);
            }
            OtherEnd::BatteryPlus => self.netlist.resistor(body.hub, battery, ohms),
            OtherEnd::Named(name) => {
                if let Some(other) = bodies.iter().find(|other| other.name == name) {
                    self.netlist.resistor(body.hub, other.hub, ohms);
                }
            }
        }
        Ok(())
    }

    fn rings(&mut self, battery: usize) -> Result<(), BenchError> {
        let job = self.fitted.job;
        let rings = job.rings.iter();
        for ring in rings.filter(|ring| ring.on == RingOn::BatteryPlus) {
            let at = self.place(&End::Ring(ring.name.clone()));
            let label = format!("bolt {}", ring.name);
            let mut ohms = self.values.joint(&label, values::BOLT);
            let mut fuse = None;
            if let Some(rating) = job.electrics.fused_rings.get(&ring.name) {
                ohms += self.values.own_fuse(&ring.name, *rating)?;
                fuse = Some(self.link(&ring.name, *rating));
            }
            self.power.contacts.push(Contact {
                at,
                to: To::Node(battery),
                ohms,
                by: By::Nothing,
                fuse,
            });
        }
        Ok(())
    }

    fn part(&mut self, name: &str, terminal: &str) -> usize {
        self.place(&End::Part(name.to_owned(), terminal.to_owned()))
    }

    fn relays(&mut self) {
        let job = self.fitted.job;
        let relays = job.relays.iter();
        for relay in relays.filter(|relay| !self.fitted.gone.contains(&relay.name)) {
            let ratings = job.electrics.relays.get(&relay.name);
            let rated = ratings.and_then(|it| it.volts).unwrap_or(job.supply);
            let operates = ratings.and_then(|it| it.operates);
            let releases = ratings.and_then(|it| it.releases);
            // The current moves the armature; a warm coil needs more volts for it.
            let rise = self.values.coil_rise();
            let ends = (self.part(&relay.name, "85"), self.part(&relay.name, "86"));
            let number = self.power.coils.len();
            self.power.coils.push(Coil {
                name: relay.name.clone(),
                ends,
                operates: operates.unwrap_or(rated * OPERATES).value() * rise,
                releases: releases.unwrap_or(rated * RELEASES).value() * rise,
                pulled: false,
            });
            let common = self.part(&relay.name, "30");
            let make = self.part(&relay.name, "87");
            let label = format!("make contact {}", relay.name);
            self.power.contacts.push(Contact {
                at: common,
                to: To::Node(make),
                ohms: self.values.joint(&label, values::RELAY_CONTACT),
                by: By::Make(number),
                fuse: None,
            });
            if relay.changeover {
                let rest = self.part(&relay.name, "87a");
                self.power.contacts.push(Contact {
                    at: common,
                    to: To::Node(rest),
                    ohms: self.values.relay_contact(relay),
                    by: By::Break(number),
                    fuse: None,
                });
            }
        }
    }

    fn fuses(&mut self) -> Result<(), BenchError> {
        let fuses = self.fitted.job.fuses.iter();
        for fuse in fuses.filter(|fuse| !self.fitted.gone.contains(&fuse.name)) {
            let (one, two) = (self.part(&fuse.name, "1"), self.part(&fuse.name, "2"));
            let ohms = self.values.fuse(fuse)?;
            let link = self.link(&fuse.name, fuse.rating);
            self.power.contacts.push(Contact {
                at: one,
                to: To::Node(two),
                ohms,
                by: By::Nothing,
                fuse: Some(link),
            });
        }
        Ok(())
    }

    fn terminal_node(&mut self, terminal: &Terminal, battery: usize) -> usize {
        match terminal {
            Terminal::At(end) => self.place(end),
            Terminal::Chassis => 0,
            Terminal::BatteryPlus => battery,
        }
    }

    fn switches(&mut self, battery: usize, upsets: &Upsets) -> Result<(), BenchError> {
        for (number, switch) in self.fitted.job.electrics.switches.iter().enumerate() {
            self.power.knobs.push(Knob {
                name: switch.name.clone(),
                states: switch.states.clone(),
                closed_in: switch.closed_in.clone(),
                set: switch.states.first().cloned().unwrap_or_default(),
                stuck: upsets.stuck.get(&switch.name).cloned(),
            });
            let Some((one, two)) = &switch.between else {
                continue;
            };
            let one = self.terminal_node(one, battery);
            let two = self.terminal_node(two, battery);
            // A contact is described from a node of its own.
            let (at, to) = if one == 0 { (two, one) } else { (one, two) };
            let label = format!("switch {}", switch.name);
            let mut ohms = self.values.joint(&label, values::CONTACT_CLOSED);
            let mut fuse = None;
            if let Some(rating) = switch.fused {
                ohms += self.values.own_fuse(&switch.name, rating)?;
                fuse = Some(self.link(&switch.name, rating));
            }
            self.power.contacts.push(Contact {
                at,
                to: To::Node(to),
                ohms,
                by: By::Switch(number),
                fuse,
            });
        }
        Ok(())
    }

    /// What is plugged to the harness.
    fn consumers(&mut self, battery: usize, upsets: &Upsets) -> Result<(), BenchError> {
        let job = self.fitted.job;
        let loads = job.electrics.loads.iter();
        for load in loads.filter(|load| !upsets.out.contains(&load.name)) {
            let mut plus = self.terminal_node(&load.between.0, battery);
            let minus = self.terminal_node(&load.between.1, battery);
            let rated = load.volts.unwrap_or(job.supply);
            let draws: Draw = load.draws;
            let label = format!("load {}", load.name);
            let ohms = self.values.consumer(&label, draws, rated)?;
            if load.sort == Sort::OneWay {
                let inner = self.netlist.node();
                let law = self.values.diode(&load.name);
                self.netlist.add(Element::Diode(plus, inner, law));
                plus = inner;
            }
            self.netlist.resistor(plus, minus, ohms);
        }
        Ok(())
    }

    /// Every place of the plan that has a node, by its spelling.
    fn places(&mut self, bodies: &[Body<'_>]) {
        let known = self.known_places();
        let bodies = bodies.iter().map(|body| (body.name.to_owned(), body.hub));
        self.power.places = known.into_iter().chain(bodies).collect();
    }
}

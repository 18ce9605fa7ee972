//! Makes the expected circuit of a job on a hook-up.

use loomproof_core::circuit::{Circuit, CircuitError, ElementId, GROUND, Junction, NodeId, Part};
use loomproof_core::copper;
use loomproof_core::units::{Celsius, Metres, Ohms, SquareMillimetres};
use loomproof_core::wire::Place;

use super::joint;
use super::places::{Behind, CavityNodes};
use super::{Model, Places};
use crate::fault::Joint;
use crate::hookup::{Clip, Hookup, Mated, Point};
use crate::plan::model::{End, Half, Job, Load, RingOn, Suppression};

/// Spread of a wire's resistance: strand count, draw, temperature along the
/// way, as a fraction (`common practice`).
const WIRE_SPREAD: f64 = 0.06;

/// Spread of a relay coil, one standard deviation of its ±10 % (mini ISO relay
/// datasheet, references).
const COIL_SPREAD: f64 = 0.05;

/// A cold filament has about a tenth of its hot resistance (kfz-tech.de),
/// and lamps differ.
const COLD_FILAMENT: f64 = 0.1;
const FILAMENT_SPREAD: f64 = 0.15;

/// Why the circuit of a job could not be made.
#[derive(Debug, thiserror::Error)]
pub enum BuildError {
    /// The job is larger than the model holds.
    #[error("this job is too large for the model ({0:?}); split the plan into two jobs")]
    Circuit(CircuitError),
    /// The hook-up names a point that this job does not have.
    #[error(
        "the hook-up puts {lead} on {point}, which this plan does not have in this variant; make the hook-up again"
    )]
    NoSuchPoint {
        /// The probe lead.
        lead: String,
        /// The point.
        point: String,
    },
}

impl From<CircuitError> for BuildError {
    fn from(error: CircuitError) -> Self {
        Self::Circuit(error)
    }
}

/// Makes the expected circuit.
///
/// On the bench the vehicle is not there: no conductor, no chassis under a
/// ring, nothing for a tap to bite.
///
/// # Errors
/// [`BuildError`] when the job is too large or the hook-up does not fit it.
pub fn build(job: &Job, hookup: &Hookup) -> Result<Model, BuildError> {
    make(job, hookup, &mut |clip| {
        Err(BuildError::NoSuchPoint {
            lead: clip.lead.to_string(),
            point: clip.point.to_string(),
        })
    })
}

/// As [`build`], for a hook-up that was made for another variant: clips on points that
/// this one does not have sit on nothing. Returns those points as well.
///
/// # Errors
/// [`BuildError::Circuit`] when the job is too large or does not fit.
pub fn build_for_another(job: &Job, hookup: &Hookup) -> Result<(Model, Vec<Point>), BuildError> {
    let mut without = Vec::new();
    let model = make(job, hookup, &mut |clip| {
        without.push(clip.point.clone());
        Ok(())
    })?;
    Ok((model, without))
}

fn make(
    job: &Job,
    hookup: &Hookup,
    missing: &mut dyn FnMut(&Clip) -> Result<(), BuildError>,
) -> Result<Model, BuildError> {
    let mut builder = Builder {
        circuit: Box::new(Circuit::new()),
        places: Places::default(),
        at: job.temperature,
        in_vehicle: hookup.place == Place::Vehicle,
    };
    builder.nodes(job)?;
    if builder.in_vehicle {
        builder.vehicle(job)?;
    }
    builder.parts(job)?;
    builder.leads(job)?;
    for clip in &hookup.clips {
        let Some(node) = builder.places.node(&clip.point) else {
            missing(clip)?;
            let nothing = builder.circuit.node()?;
            builder.circuit.clip(clip.lead, nothing)?;
            continue;
        };
        builder.circuit.clip(clip.lead, node)?;
        if let Some(element) = builder.circuit.clip_of(clip.lead) {
            builder.places.clips.insert(clip.point.end(), element);
        }
    }
    if builder.in_vehicle {
        // Last, so that the wiring has the same numbers whatever is plugged.
        builder.behind(job, &hookup.mated)?;
        builder.places.plugged = hookup.mated.plugged.clone();
    }
    Ok(Model {
        circuit: builder.circuit,
        places: builder.places,
    })
}

struct Builder {
    circuit: Box<super::HostCircuit>,
    places: Places,
    at: Celsius,
    in_vehicle: bool,
}

impl Builder {
    fn wire(
        &mut self,
        a: NodeId,
        b: NodeId,
        (ohms, spread): (Ohms, Ohms),
    ) -> Result<ElementId, BuildError> {
        Ok(self.circuit.wire(a, b, ohms, spread)?)
    }

    fn copper(&self, length: Metres, size: SquareMillimetres) -> (Ohms, Ohms) {
        let ohms = copper::resistance(length, size, self.at);
        (ohms, ohms * WIRE_SPREAD)
    }

    /// Nodes of every cavity and terminal.
    fn nodes(&mut self, job: &Job) -> Result<(), BuildError> {
        for connector in &job.connectors {
            for cavity in 1..=connector.cavities {
                let nodes = CavityNodes {
                    wire_side: self.circuit.node()?,
                    mating_side: self.circuit.node()?,
                    contact: None,
                };
                self.places
                    .cavities
                    .insert((connector.name.clone(), cavity), nodes);
            }
        }
        let taps = job.taps.iter().map(|tap| End::Tap(tap.name.clone()));
        let splices = job
            .splices
            .iter()
            .map(|splice| End::Splice(splice.name.clone()));
        let rings = job.rings.iter().map(|ring| End::Ring(ring.name.clone()));
        for end in taps.chain(splices).chain(rings) {
            let node = self.circuit.node()?;
            self.places.terminals.insert(end, node);
        }
        Ok(())
    }

    /// Host conductors, with the taps that bite them, and chassis under the rings.
    fn vehicle(&mut self, job: &Job) -> Result<(), BuildError> {
        for conductor in &job.conductors {
            let body = self.circuit.node()?;
            self.places.conductors.insert(conductor.name.clone(), body);
            for (connector, cavity) in &conductor.at {
                let length = self.copper(conductor.length, conductor.size);
                if let Some(nodes) = self.occupy(connector, *cavity)? {
                    self.wire(body, nodes.wire_side, length)?;
                }
            }
            if let (Load::Range { least, most }, None) = (conductor.load, &conductor.through) {
                self.circuit.add(body, GROUND, Part::Load { least, most })?;
            }
        }
        for tap in &job.taps {
            let terminal = self
                .places
                .terminals
                .get(&End::Tap(tap.name.clone()))
                .copied();
            let body = self.places.conductors.get(&tap.on).copied();
            if let (Some(terminal), Some(body)) = (terminal, body) {
                let bite = self.wire(terminal, body, joint::BITE)?;
                self.places.bites.insert(tap.name.clone(), bite);
            }
        }
        for ring in job.rings.iter().filter(|ring| ring.on == RingOn::Chassis) {
            if let Some(node) = self
                .places
                .terminals
                .get(&End::Ring(ring.name.clone()))
                .copied()
            {
                self.wire(node, GROUND, joint::BOLT)?;
            }
        }
        Ok(())
    }

    /// What hangs behind connectors: there unless the connector is pulled apart;
    /// of a pin, which is not looked at otherwise, where it is said to be plugged.
    fn behind(&mut self, job: &Job, mated: &Mated) -> Result<(), BuildError> {
        let through = job.conductors.iter().filter_map(|conductor| {
            let connector = conductor.through.as_ref()?;
            let body = self.places.conductors.get(&conductor.name)?;
            let there = !mated.open.contains(connector);
            Some((connector, *body, conductor.load, there))
        });
        let pins = job.electrics.pins.iter().filter_map(|pin| {
            let (connector, _) = &pin.at;
            let there = mated.plugged.contains(connector);
            let said = there || mated.open.contains(connector);
            let nodes = self.places.cavities.get(&pin.at).filter(|_| said)?;
            Some((connector, nodes.mating_side, pin.load, there))
        });
        let mut behind: Vec<(&String, Behind)> = Vec::new();
        for (connector, node, load, there) in through.chain(pins) {
            let Load::Range { least, most } = load else {
                continue;
            };
            let part = Part::Load { least, most };
            let element = there.then(|| self.circuit.add(node, GROUND, part));
            let behind_it = Behind {
                node,
                least,
                most,
                element: element.transpose()?,
            };
            behind.push((connector, behind_it));
        }
        for (connector, one) in behind {
            let known = self.places.behind.entry(connector.clone()).or_default();
            known.push(one);
        }
        Ok(())
    }

    /// Puts a terminal into a cavity: its contact joins wire side and mating side.
    fn occupy(&mut self, connector: &str, cavity: u16) -> Result<Option<CavityNodes>, BuildError> {
        let key = (connector.to_owned(), cavity);
        let Some(mut nodes) = self.places.cavities.get(&key).copied() else {
            return Ok(None);
        };
        if nodes.contact.is_none() {
            nodes.contact = Some(self.wire(nodes.wire_side, nodes.mating_side, joint::CONTACT)?);
            self.places.cavities.insert(key, nodes);
        }
        Ok(Some(nodes))
    }

    fn terminal(&mut self, end: End) -> Result<NodeId, BuildError> {
        if let Some(node) = self.places.terminals.get(&end) {
            return Ok(*node);
        }
        let node = self.circuit.node()?;
        self.places.terminals.insert(end, node);
        Ok(node)
    }

    fn part_terminal(&mut self, part: &str, terminal: &str) -> Result<NodeId, BuildError> {
        self.terminal(End::Part(part.to_owned(), terminal.to_owned()))
    }

    /// Plugs, relays, diodes, lamps and fuses.
    fn parts(&mut self, job: &Job) -> Result<(), BuildError> {
        for plug in &job.plugs {
            let mut ways = Vec::new();
            for way in 1..=plug.ways {
                let a = self.terminal(End::Plug(plug.name.clone(), Half::A, way))?;
                let b = self.terminal(End::Plug(plug.name.clone(), Half::B, way))?;
                ways.push(self.wire(a, b, joint::CONTACT)?);
            }
            self.places
                .joints
                .insert(Joint::Mating(plug.name.clone()), ways);
        }
        for relay in &job.relays {
            let name = &relay.name;
            let a85 = self.part_terminal(name, "85")?;
            let a86 = self.part_terminal(name, "86")?;
            let resistor = |ohms: Ohms, share: f64| Part::Resistor {
                ohms,
                spread: ohms * share,
            };
            self.part(name, a85, a86, resistor(relay.coil, COIL_SPREAD))?;
            match relay.suppression {
                Suppression::None => {}
                Suppression::Diode => {
                    self.part(name, a85, a86, Part::Diode(Junction::SILICON))?;
                }
                Suppression::Resistor(ohms) => {
                    self.part(name, a85, a86, resistor(ohms, COIL_SPREAD))?;
                }
            }
            let common = self.part_terminal(name, "30")?;
            self.part_terminal(name, "87")?;
            if relay.changeover {
                let rest = self.part_terminal(name, "87a")?;
                let (ohms, spread) = joint::CLOSED_CONTACT;
                self.part(name, common, rest, Part::Wire { ohms, spread })?;
            }
        }
        for diode in &job.diodes {
            let anode = self.part_terminal(&diode.name, "A")?;
            let cathode = self.part_terminal(&diode.name, "K")?;
            let junction = Part::Diode(Junction::SILICON);
            self.part(&diode.name, anode, cathode, junction)?;
        }
        for lamp in &job.lamps {
            let a = self.part_terminal(&lamp.name, "1")?;
            let b = self.part_terminal(&lamp.name, "2")?;
            let ohms = Ohms(lamp.volts.0 * lamp.volts.0 / lamp.power.0 * COLD_FILAMENT);
            let spread = ohms * FILAMENT_SPREAD;
            self.part(&lamp.name, a, b, Part::Resistor { ohms, spread })?;
        }
        for fuse in &job.fuses {
            let a = self.part_terminal(&fuse.name, "1")?;
            let b = self.part_terminal(&fuse.name, "2")?;
            let ohms = Ohms(joint::FUSE_DROP / fuse.rating.0);
            let spread = ohms * 0.3;
            self.part(&fuse.name, a, b, Part::Wire { ohms, spread })?;
        }
        Ok(())
    }

    /// One element of a part.
    fn part(&mut self, name: &str, a: NodeId, b: NodeId, part: Part) -> Result<(), BuildError> {
        let element = self.circuit.add(a, b, part)?;
        let elements = self.places.parts.entry(name.to_owned()).or_default();
        elements.push(element);
        Ok(())
    }

    /// The leads of the harness, each as two halves that meet in its middle.
    fn leads(&mut self, job: &Job) -> Result<(), BuildError> {
        for lead in &job.leads {
            let middle = self.circuit.node()?;
            self.places.middles.insert(lead.name.clone(), middle);
            let (ohms, spread) = self.copper(lead.length, lead.size);
            for end in [&lead.from, &lead.to] {
                let node = match end {
                    End::Cap => {
                        let node = self.circuit.node()?;
                        self.places.caps.insert(lead.name.clone(), node);
                        node
                    }
                    End::Cavity(connector, cavity) => match self.occupy(connector, *cavity)? {
                        Some(nodes) => nodes.wire_side,
                        None => self.circuit.node()?,
                    },
                    other => self.terminal(other.clone())?,
                };
                let half = (
                    ohms * 0.5 + joint::CRIMP.0,
                    // Two halves in quadrature make the spread of the whole.
                    Ohms(
                        (spread * std::f64::consts::FRAC_1_SQRT_2)
                            .0
                            .hypot(joint::CRIMP.1.0),
                    ),
                );
                let element = self.wire(node, middle, half)?;
                let key = match end {
                    End::Splice(name) => Joint::Splice(name.clone(), lead.name.clone()),
                    End::Cap => Joint::Along(lead.name.clone()),
                    other => Joint::At(other.clone()),
                };
                self.places.joints.entry(key).or_default().push(element);
                self.places
                    .joints
                    .entry(Joint::Along(lead.name.clone()))
                    .or_insert_with(|| vec![element]);
            }
        }
        Ok(())
    }
}

//! Which leads are one piece of metal by the plan, so that their touching is
//! no fault.

use std::collections::BTreeMap;

use loomproof_core::wire::Place;

use super::Touches;
use crate::plan::model::{End, Half, Job, Lead, RingOn};

/// Nets of a job: everything that metal joins has one number.
#[derive(Debug, Clone)]
pub struct Nets {
    numbers: BTreeMap<String, usize>,
    parents: Vec<usize>,
}

/// The name of chassis among the nets; no plan name has a space in it.
const CHASSIS: &str = "the chassis";

impl Nets {
    /// The nets of a job at a place; on the bench the vehicle's part is missing.
    #[must_use]
    pub fn of(job: &Job, place: Place) -> Self {
        let mut nets = Self {
            numbers: BTreeMap::new(),
            parents: Vec::new(),
        };
        for lead in &job.leads {
            for end in [&lead.from, &lead.to] {
                if *end != End::Cap {
                    nets.join(&lead_key(&lead.name), &end.to_string());
                }
            }
        }
        for plug in &job.plugs {
            for way in 1..=plug.ways {
                let half = |half| End::Plug(plug.name.clone(), half, way).to_string();
                nets.join(&half(Half::A), &half(Half::B));
            }
        }
        for fuse in &job.fuses {
            nets.join(&format!("{}:1", fuse.name), &format!("{}:2", fuse.name));
        }
        for relay in job.relays.iter().filter(|relay| relay.changeover) {
            nets.join(
                &format!("{}:30", relay.name),
                &format!("{}:87a", relay.name),
            );
        }
        if place == Place::Vehicle {
            for tap in &job.taps {
                nets.join(&tap.name, &tap.on);
            }
            for conductor in &job.conductors {
                for (connector, cavity) in &conductor.at {
                    nets.join(&conductor.name, &format!("{connector}:{cavity}"));
                }
            }
            for ring in job.rings.iter().filter(|ring| ring.on == RingOn::Chassis) {
                nets.join(&ring.name, CHASSIS);
            }
        }
        nets
    }

    /// Whether a lead and what it touches are one net anyway.
    #[must_use]
    pub fn joined(&self, lead: &str, touches: &Touches) -> bool {
        let other = match touches {
            Touches::Lead(name) => self.find(&lead_key(name)),
            Touches::Chassis => self.find(CHASSIS),
        };
        other.is_some() && self.find(&lead_key(lead)) == other
    }

    /// Whether two ends are one net.
    #[must_use]
    pub fn one(&self, a: &End, b: &End) -> bool {
        let a = self.find(&a.to_string());
        a.is_some() && a == self.find(&b.to_string())
    }

    /// What a lead can touch that it is not joined to anyway: chassis, in the
    /// vehicle, and others of these leads.
    #[must_use]
    pub fn strangers(&self, lead: &Lead, leads: &[Lead], place: Place) -> Vec<Touches> {
        let chassis = (place == Place::Vehicle).then_some(Touches::Chassis);
        let names = leads.iter().filter(|other| other.name != lead.name);
        chassis
            .into_iter()
            .chain(names.map(|other| Touches::Lead(other.name.clone())))
            .filter(|touches| !self.joined(&lead.name, touches))
            .collect()
    }

    fn number(&mut self, name: &str) -> usize {
        if let Some(number) = self.numbers.get(name) {
            return *number;
        }
        let number = self.parents.len();
        self.parents.push(number);
        self.numbers.insert(name.to_owned(), number);
        number
    }

    fn root(&self, mut at: usize) -> usize {
        while let Some(&parent) = self.parents.get(at) {
            if parent == at {
                break;
            }
            at = parent;
        }
        at
    }

    fn find(&self, name: &str) -> Option<usize> {
        self.numbers.get(name).map(|number| self.root(*number))
    }

    fn join(&mut self, a: &str, b: &str) {
        let (a, b) = (self.number(a), self.number(b));
        let (a, b) = (self.root(a), self.root(b));
        if let Some(parent) = self.parents.get_mut(a) {
            *parent = b;
        }
    }
}

/// Leads and ends share no names, but an end may be spelled like nothing else.
fn lead_key(name: &str) -> String {
    format!("lead {name}")
}

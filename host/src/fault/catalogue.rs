//! Every fault that a job allows.

use std::collections::BTreeSet;

use loomproof_core::wire::Place;

use super::nets::Nets;
use super::{Fault, Joint, Touches};
use crate::hookup::Hookup;
use crate::plan::model::{End, Job, Lead};

/// Ohms of a bad joint where none are given.
pub const BAD_JOINT: f64 = 10.0;

/// Whether nothing is planned in a cavity: no terminal, no conductor.
#[must_use]
pub fn empty(job: &Job, connector: &str, cavity: u16) -> bool {
    let end = End::Cavity(connector.to_owned(), cavity);
    let led = job
        .leads
        .iter()
        .any(|lead| lead.from == end || lead.to == end);
    let there = |k: &crate::plan::model::Conductor| {
        k.at.iter()
            .any(|(name, number)| name == connector && *number == cavity)
    };
    !led && !job.conductors.iter().any(there)
}

/// Conductors that share a connector with the one a tap belongs on.
pub fn neighbours<'j>(job: &'j Job, conductor: &str) -> impl Iterator<Item = &'j str> {
    let connectors: BTreeSet<&str> = job
        .conductors
        .iter()
        .filter(|k| k.name == conductor)
        .flat_map(|k| k.at.iter().map(|(connector, _)| connector.as_str()))
        .collect();
    let own = conductor.to_owned();
    job.conductors
        .iter()
        .filter(move |k| {
            k.name != own
                && k.at
                    .iter()
                    .any(|(name, _)| connectors.contains(name.as_str()))
        })
        .map(|k| k.name.as_str())
}

/// Lists every fault that makes sense for the job at this place, once each.
#[must_use]
pub fn all(job: &Job, hookup: &Hookup) -> Vec<Fault> {
    let in_vehicle = hookup.place == Place::Vehicle;
    let mut faults = Vec::new();
    for joint in joints(job) {
        faults.push(Fault::Open(joint.clone()));
        faults.push(Fault::HighResistance(joint, BAD_JOINT));
    }
    terminals(job, &mut faults);
    if in_vehicle {
        for tap in &job.taps {
            faults.push(Fault::TapMissed(tap.name.clone()));
            for on in neighbours(job, &tap.on) {
                faults.push(Fault::TapNeighbour(tap.name.clone(), on.to_owned()));
            }
        }
    }
    touching(job, hookup.place, &mut faults);
    for clip in &hookup.clips {
        let end = clip.point.end();
        if job
            .leads
            .iter()
            .any(|lead| lead.from == end || lead.to == end)
        {
            faults.push(Fault::Live(end, 12.0));
        }
    }
    faults
}

/// Every joint of the harness, in plan order.
#[must_use]
pub fn joints(job: &Job) -> Vec<Joint> {
    let mut joints = Vec::new();
    for lead in &job.leads {
        for end in [&lead.from, &lead.to] {
            match end {
                End::Cap => {}
                End::Splice(name) => {
                    joints.push(Joint::Splice(name.clone(), lead.name.clone()));
                }
                other => joints.push(Joint::At(other.clone())),
            }
        }
        joints.push(Joint::Along(lead.name.clone()));
    }
    joints.extend(
        job.plugs
            .iter()
            .map(|plug| Joint::Mating(plug.name.clone())),
    );
    joints
}

/// Terminals not home, in a wrong cavity, or in each other's.
fn terminals(job: &Job, faults: &mut Vec<Fault>) {
    for connector in &job.connectors {
        let used: Vec<u16> = (1..=connector.cavities)
            .filter(|cavity| {
                let end = End::Cavity(connector.name.clone(), *cavity);
                job.leads
                    .iter()
                    .any(|lead| lead.from == end || lead.to == end)
            })
            .collect();
        let name = || connector.name.clone();
        for (at, cavity) in used.iter().enumerate() {
            faults.push(Fault::Unseated(name(), *cavity));
            for to in (1..=connector.cavities).filter(|to| empty(job, &connector.name, *to)) {
                faults.push(Fault::WrongCavity(name(), *cavity, to));
            }
            for with in used.iter().skip(at + 1) {
                faults.push(Fault::Exchanged(name(), *cavity, *with));
            }
        }
    }
}

/// Leads and capped ends that touch something they are not joined to anyway.
fn touching(job: &Job, place: Place, faults: &mut Vec<Fault>) {
    let nets = Nets::of(job, place);
    let chassis = (place == Place::Vehicle).then_some(Touches::Chassis);
    for (at, lead) in job.leads.iter().enumerate() {
        let others = |leads: &[Lead]| -> Vec<Touches> {
            let names = leads.iter().filter(|other| other.name != lead.name);
            let touches = names.map(|other| Touches::Lead(other.name.clone()));
            chassis
                .iter()
                .cloned()
                .chain(touches)
                .filter(|t| !nets.joined(&lead.name, t))
                .collect()
        };
        for touches in others(job.leads.get(at..).unwrap_or_default()) {
            faults.push(match touches {
                Touches::Lead(other) if other < lead.name => {
                    Fault::Short(other, Touches::Lead(lead.name.clone()))
                }
                touches => Fault::Short(lead.name.clone(), touches),
            });
        }
        if lead.from == End::Cap || lead.to == End::Cap {
            for touches in others(&job.leads) {
                faults.push(Fault::CapTouching(lead.name.clone(), touches));
            }
        }
    }
}

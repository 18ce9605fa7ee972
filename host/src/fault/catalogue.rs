//! Every fault that a job allows, and the questions about a plan that the
//! kinds ask to find where they can occur.

use std::collections::BTreeSet;

use super::{Cavity, Fault, Joint, kinds};
use crate::hookup::Hookup;
use crate::plan::model::{Connector, End, Job, Load};

/// Lists every fault that makes sense for the job at this place, once each,
/// kind by kind.
#[must_use]
pub fn all(job: &Job, hookup: &Hookup) -> Vec<Fault> {
    kinds::all(job, hookup)
}

/// Lists every fault that makes sense for the job on a hook-up in several
/// rounds, once each: what can happen to the wiring does not change from round
/// to round, what can happen to the clips does.
#[must_use]
pub fn of_rounds<'h>(job: &Job, rounds: impl IntoIterator<Item = &'h Hookup>) -> Vec<Fault> {
    let mut listed = BTreeSet::new();
    let mut faults = Vec::new();
    for hookup in rounds {
        let new = |fault: &Fault| listed.insert(fault.to_string());
        faults.extend(all(job, hookup).into_iter().filter(new));
    }
    faults
}

/// Whether nothing is planned in a cavity: no terminal, no conductor.
#[must_use]
pub fn empty(job: &Job, connector: &str, cavity: u16) -> bool {
    !led(job, connector, cavity) && !host(job, connector, cavity)
}

/// Whether a terminal of the harness belongs in a cavity.
pub(super) fn led(job: &Job, connector: &str, cavity: u16) -> bool {
    let here = |end: &End| matches!(end, End::Cavity(name, number) if name == connector && *number == cavity);
    job.leads
        .iter()
        .any(|lead| here(&lead.from) || here(&lead.to))
}

/// Whether a conductor of the vehicle is in a cavity.
pub(super) fn host(job: &Job, connector: &str, cavity: u16) -> bool {
    job.conductors.iter().any(|conductor| {
        conductor
            .at
            .iter()
            .any(|(name, number)| name == connector && *number == cavity)
    })
}

/// Whether the plan has something of the vehicle behind a connector: it is there
/// while the connector is plugged.
pub(super) fn something_behind(job: &Job, connector: &str) -> bool {
    let hangs = |load: &Load| matches!(load, Load::Range { .. });
    let mut through = job.conductors.iter();
    let mut pins = job.electrics.pins.iter();
    through
        .any(|conductor| conductor.through.as_deref() == Some(connector) && hangs(&conductor.load))
        || pins.any(|pin| pin.at.0 == connector && hangs(&pin.load))
}

/// The cavities of a connector where terminals of the harness belong, rising.
pub(super) fn used(job: &Job, connector: &Connector) -> Vec<u16> {
    (1..=connector.cavities)
        .filter(|cavity| led(job, &connector.name, *cavity))
        .collect()
}

/// Every cavity where a terminal of the harness belongs.
pub(super) fn terminals(job: &Job) -> impl Iterator<Item = Cavity> {
    job.connectors.iter().flat_map(|connector| {
        let used = used(job, connector).into_iter();
        used.map(|number| Cavity::new(&connector.name, number))
    })
}

/// The same place of a row counted from its other end, seen from the wire
/// side; `None` where there is no cavity.
pub(super) fn mirror(connector: &Connector, cavity: u16) -> Option<u16> {
    let (row, column) = column(connector, cavity)?;
    row.iter().rev().nth(column).copied().flatten()
}

/// The cavities left and right of one in its row.
pub(super) fn beside(connector: &Connector, cavity: u16) -> Vec<u16> {
    let Some((row, column)) = column(connector, cavity) else {
        return Vec::new();
    };
    let left = column.checked_sub(1).and_then(|at| row.get(at));
    let right = row.get(column + 1);
    left.into_iter().chain(right).copied().flatten().collect()
}

fn column(connector: &Connector, cavity: u16) -> Option<(&[Option<u16>], usize)> {
    connector.face.iter().find_map(|row| {
        let column = row.iter().position(|cell| *cell == Some(cavity))?;
        Some((row.as_slice(), column))
    })
}

/// Where the terminals of a connector go when each sits where `to` says; with
/// no answer where one would fall off, sit on a vehicle conductor, or share.
///
/// One terminal, or two in each other's place, are listed as `wrong-cavity` or
/// `exchanged` alone: one finding has one name.
pub(super) fn moved(
    job: &Job,
    connector: &Connector,
    to: impl Fn(u16) -> Option<u16>,
) -> Option<Vec<(Cavity, Cavity)>> {
    let at = |number| Cavity::new(&connector.name, number);
    let mut taken = BTreeSet::new();
    let mut moves = Vec::new();
    for from in used(job, connector) {
        let target = to(from)?;
        let there = (1..=connector.cavities).contains(&target);
        if !there || host(job, &connector.name, target) || !taken.insert(target) {
            return None;
        }
        if target != from {
            moves.push((at(from), at(target)));
        }
    }
    Some(moves)
}

/// Whether moves have no shorter name: `wrong-cavity` or `exchanged`.
pub(super) fn of_their_own(moves: &[(Cavity, Cavity)]) -> bool {
    match moves {
        [] | [_] => false,
        [(a, to_a), (b, to_b)] => !(a == to_b && b == to_a),
        _ => true,
    }
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

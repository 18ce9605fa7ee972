//! What no reading shows, and the fitter must look at, tug or hear.

use loomproof_core::wire::Place;

use super::report::HandCheck;
use crate::diagnosis::words::Speaker;
use crate::plan::model::{End, Job, Occupied, Proof};

/// Marks the checks of these places as attested (`all` stands for every place). What
/// was measured stays so, and the wire of an occupied cavity is vouched for by the
/// name of its cavity only.
///
/// # Errors
/// The first place that has no hand check, with those that have.
pub fn attest(checks: &mut [HandCheck], places: &[String]) -> Result<(), String> {
    for place in places {
        let mut found = false;
        for check in checks.iter_mut() {
            if check.place == *place || (place == "all" && check.wire.is_none()) {
                found = true;
                if check.state == "open" {
                    "attested".clone_into(&mut check.state);
                }
            }
        }
        if !found {
            let known: Vec<&str> = checks.iter().map(|check| check.place.as_str()).collect();
            return Err(format!(
                "--attest {place}: nothing is checked by hand there; hand checks are at {} \
                 (or all)",
                known.join(", ")
            ));
        }
    }
    Ok(())
}

/// What stands open before the lead of an occupied cavity is capped.
fn proof(job: &Job, occupied: &Occupied) -> HandCheck {
    let wire = &occupied.conductor;
    let state = match occupied.proof {
        Proof::Open => "open",
        Proof::Measured => "measured",
        Proof::Attested => "attested",
        Proof::Refuted => "refuted",
    };
    HandCheck {
        place: occupied.place(),
        check: format!(
            "Before {} is capped: prove that the wire in {} is {} and does what the plan says.              Battery on: `loomproof live PLAN --follow {wire}`, with the same --so-far; or work what              switches it, watch it with a meter, and vouch for it with --attest {}.",
            occupied.lead,
            occupied.place(),
            Speaker::new(job).supply(wire),
            occupied.place(),
        ),
        state: state.to_owned(),
        wire: Some(wire.clone()),
    }
}

/// The hand checks of a job, place by place. They are attested, never measured: but
/// for the wires of occupied cavities, which the probe can follow.
#[must_use]
pub fn hand_checks(job: &Job, place: Place) -> Vec<HandCheck> {
    let mut checks = Vec::new();
    let mut add = |place: String, check: &str| {
        checks.push(HandCheck {
            place,
            check: check.to_owned(),
            state: "open".to_owned(),
            wire: None,
        });
    };
    for connector in &job.connectors {
        let here = |end: &End| matches!(end, End::Cavity(name, _) if *name == connector.name);
        if job
            .leads
            .iter()
            .any(|lead| here(&lead.from) || here(&lead.to))
        {
            add(
                connector.name.clone(),
                "Tug every new terminal; see that none is turned round, no strand stands out, and \
                 the secondary lock is home.",
            );
        }
    }
    if place == Place::Vehicle {
        for tap in &job.taps {
            add(
                tap.name.clone(),
                "See that the tap is closed all round, the conductor in its slot and not pinched \
                 beside it.",
            );
        }
        for ring in &job.rings {
            add(
                ring.name.clone(),
                "See that the ring lies on bare metal and its bolt is tight.",
            );
        }
    }
    for plug in &job.plugs {
        add(plug.name.clone(), "Hear the latch click; tug both halves.");
    }
    for lead in job
        .leads
        .iter()
        .filter(|lead| lead.from == End::Cap || lead.to == End::Cap)
    {
        add(
            lead.name.clone(),
            "See that the capped end is insulated and tied back.",
        );
    }
    if place == Place::Vehicle {
        let occupied = job.electrics.occupied.iter();
        checks.extend(occupied.map(|one| proof(job, one)));
    }
    checks
}

//! What no reading shows, and the fitter must look at, tug or hear.

use loomproof_core::wire::Place;

use super::report::HandCheck;
use crate::plan::model::{End, Job};

/// Marks the checks of these places as attested (`all` stands for every place).
///
/// # Errors
/// The first place that has no hand check, with those that have.
pub fn attest(checks: &mut [HandCheck], places: &[String]) -> Result<(), String> {
    for place in places {
        let mut found = false;
        for check in checks.iter_mut() {
            if place == "all" || check.place == *place {
                "attested".clone_into(&mut check.state);
                found = true;
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

/// The hand checks of a job, place by place. They are attested, never measured.
#[must_use]
pub fn hand_checks(job: &Job, place: Place) -> Vec<HandCheck> {
    let mut checks = Vec::new();
    let mut add = |place: String, check: &str| {
        checks.push(HandCheck {
            place,
            check: check.to_owned(),
            state: "open".to_owned(),
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
    checks
}

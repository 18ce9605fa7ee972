//! Ends that meet nothing, and places of which the plan says nothing.

use std::collections::{BTreeMap, BTreeSet};

use crate::plan::model::{End, Half, Job, Terminal};
use crate::review::finding::{Finding, Level, source};

/// Checks a job's ends.
pub fn check(job: &Job, found: &mut Vec<Finding>) {
    let ends: BTreeSet<&End> = job
        .leads
        .iter()
        .flat_map(|lead| [&lead.from, &lead.to])
        .collect();
    plugs(job, &ends, found);
    parts(job, &ends, found);
    nowhere(job, found);
    outside(job, &ends, found);
    cavities(job, &ends, found);
}

fn wrong(rule: &'static str, place: impl Into<String>, say: String, fix: &str) -> Finding {
    Finding::new(rule, Level::Wrong, source::PRACTICE, place, say, fix)
}

fn plugs(job: &Job, ends: &BTreeSet<&End>, found: &mut Vec<Finding>) {
    for plug in &job.plugs {
        for way in 1..=plug.ways {
            let at = |half| End::Plug(plug.name.clone(), half, way);
            let (a, b) = (at(Half::A), at(Half::B));
            for (here, there) in [(&a, &b), (&b, &a)] {
                if ends.contains(here) && !ends.contains(there) {
                    let say =
                        format!("A lead ends at {here}, but none at {there}: it meets nothing.");
                    let fix = "end a lead at the other half too, or cap this one";
                    found.push(wrong("dead-end", here.to_string(), say, fix));
                }
            }
        }
    }
}

fn parts(job: &Job, ends: &BTreeSet<&End>, found: &mut Vec<Finding>) {
    let has = |name: &str, terminal: &str| {
        ends.contains(&End::Part(name.to_owned(), terminal.to_owned()))
    };
    let mut pair = |name: &str, here: &[&str], there: &[&str]| {
        let (a, b) = (
            here.iter().find(|t| has(name, t)),
            there.iter().find(|t| has(name, t)),
        );
        let (met, missing) = match (a, b) {
            (Some(met), None) => (met, there),
            (None, Some(met)) => (met, here),
            _ => return a.is_some(),
        };
        let say = format!(
            "A lead ends at {name}:{met}, but none at {name}:{}: nothing can flow.",
            missing.join(&format!(" or {name}:"))
        );
        let fix = "end a lead at the other terminal too, or take the part out";
        found.push(wrong("dead-end", format!("{name}:{met}"), say, fix));
        true
    };
    let mut idle = Vec::new();
    for relay in &job.relays {
        let coil = pair(&relay.name, &["86"], &["85"]);
        let contact = pair(&relay.name, &["30"], &["87", "87a"]);
        if !coil || !contact {
            idle.push((&relay.name, if coil { "contact" } else { "coil" }));
        }
    }
    for diode in &job.diodes {
        if !pair(&diode.name, &["A"], &["K"]) {
            idle.push((&diode.name, "diode"));
        }
    }
    let two = job.lamps.iter().map(|it| (&it.name, "lamp"));
    for (name, word) in two.chain(job.fuses.iter().map(|it| (&it.name, "fuse"))) {
        if !pair(name, &["1"], &["2"]) {
            idle.push((name, word));
        }
    }
    for (name, what) in idle {
        let say = format!("No lead ends at the {what} of {name}.");
        let fix = "end leads there, or take the part out of the plan";
        found.push(Finding::new(
            "part-idle",
            Level::Note,
            source::PRACTICE,
            name,
            say,
            fix,
        ));
    }
}

/// Leads that hang together and have fewer than two ends that go anywhere.
fn nowhere(job: &Job, found: &mut Vec<Finding>) {
    let mut group: Vec<usize> = (0..job.leads.len()).collect();
    let mut at_splice: BTreeMap<&str, usize> = BTreeMap::new();
    for (number, lead) in job.leads.iter().enumerate() {
        for end in [&lead.from, &lead.to] {
            let End::Splice(name) = end else { continue };
            let first = *at_splice.entry(name).or_insert(number);
            let (from, to) = (
                group[number].max(group[first]),
                group[number].min(group[first]),
            );
            group
                .iter_mut()
                .filter(|g| **g == from)
                .for_each(|g| *g = to);
        }
    }
    let mut live: BTreeMap<usize, usize> = BTreeMap::new();
    for (lead, &home) in job.leads.iter().zip(&group) {
        let ends = [&lead.from, &lead.to];
        let goes = ends
            .iter()
            .filter(|end| !matches!(end, End::Splice(_) | End::Cap))
            .count();
        *live.entry(home).or_default() += goes;
    }
    for (home, count) in live {
        let leads = job.leads.iter().zip(&group).filter(|(_, g)| **g == home);
        let names: Vec<&str> = leads.map(|(lead, _)| lead.name.as_str()).collect();
        // A single lead with one capped end is a spare.
        if count >= 2 || (names.len() == 1 && count == 1) {
            continue;
        }
        let place = names.join(", ");
        let say = format!("{place}: spliced together, but they lead to fewer than two places.");
        let fix = "end one more of them somewhere, or take them out";
        found.push(wrong("dead-end", place, say, fix));
    }
}

/// Loads, switches and pins at places where no lead ends.
fn outside(job: &Job, ends: &BTreeSet<&End>, found: &mut Vec<Finding>) {
    let loads = job
        .electrics
        .loads
        .iter()
        .map(|it| ("Load", &it.name, Some(&it.between)));
    let switches = job.electrics.switches.iter();
    let switches = switches.map(|it| ("Switch", &it.name, it.between.as_ref()));
    for (what, name, between) in loads.chain(switches) {
        let Some((first, second)) = between else {
            continue;
        };
        for terminal in [first, second] {
            let Terminal::At(end) = terminal else {
                continue;
            };
            if !ends.contains(end) && !conductor_at(job, end) {
                let say = format!("{what} {name} is at {end}, where no lead ends.");
                let fix = "count the cavities again, or end a lead there";
                found.push(wrong("dead-end", end.to_string(), say, fix));
            }
        }
    }
}

fn conductor_at(job: &Job, end: &End) -> bool {
    let End::Cavity(connector, cavity) = end else {
        return false;
    };
    let at = |place: &(String, u16)| place.0 == *connector && place.1 == *cavity;
    job.conductors
        .iter()
        .any(|conductor| conductor.at.iter().any(at))
        || job.electrics.pins.iter().any(|pin| at(&pin.at))
}

/// Cavities that take a lead, and nothing is said of what it meets there.
fn cavities(job: &Job, ends: &BTreeSet<&End>, found: &mut Vec<Finding>) {
    let between = job.electrics.loads.iter().map(|it| &it.between);
    let between = between.chain(
        job.electrics
            .switches
            .iter()
            .filter_map(|it| it.between.as_ref()),
    );
    let plugged: BTreeSet<&End> = between
        .flat_map(|(a, b)| [a, b])
        .filter_map(|terminal| match terminal {
            Terminal::At(end) => Some(end),
            _ => None,
        })
        .collect();
    for connector in &job.connectors {
        let open: Vec<String> = (1..=connector.cavities)
            .map(|cavity| End::Cavity(connector.name.clone(), cavity))
            .filter(|end| ends.contains(end) && !plugged.contains(end) && !conductor_at(job, end))
            .map(|end| end.to_string())
            .collect();
        if open.is_empty() {
            continue;
        }
        let place = open.join(", ");
        let (rule, fix) = if connector.of_harness {
            (
                NOTHING_PLUGGED,
                "state it as [load.NAME], [switch.NAME] or a conductor, so that its current is counted",
            )
        } else {
            (
                NOT_PROVED,
                "look that each cavity is empty before crimping; state what is behind as [pin.NAME]",
            )
        };
        let say = words(rule, &place);
        found.push(Finding::new(
            rule,
            Level::Note,
            source::PRACTICE,
            place,
            say,
            fix,
        ));
    }
}

/// A harness connector to which the plan plugs nothing.
pub const NOTHING_PLUGGED: &str = "nothing-plugged";

/// A cavity of the vehicle that is taken for empty.
pub const NOT_PROVED: &str = "cavity-not-proved";

/// What one of these two rules says of some places.
#[must_use]
pub fn words(rule: &str, places: &str) -> String {
    if rule == NOTHING_PLUGGED {
        format!("The plan does not say what is plugged to {places}.")
    } else {
        format!("The plan takes {places} for empty and does not say what the vehicle has behind.")
    }
}

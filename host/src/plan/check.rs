//! What has to hold between the tables of a plan.
//!
//! [`all`] looks at the plan as written. What depends on the answers is looked
//! at once more for the variant in hand: [`occupied`] and [`lonely`] take the
//! question "is this table there?" as an argument.

use super::electrics::Terminal;
use super::model::{Conductor, End, Halves, Lead};
use super::names::Kind;
use super::plan_type::{Entry, KeepOff, Lists};
use super::problem::{Problems, Span};
use super::read::Walk;
use super::when::Condition;
use std::collections::BTreeMap;

/// Whether a table with this `when` is to be looked at.
pub(crate) type Present<'a> = &'a dyn Fn(Option<&Condition>) -> bool;

/// Checks the whole plan, whatever the answers will be.
pub(crate) fn all(walk: &mut Walk<'_>) {
    let Walk {
        problems,
        lists,
        lost_ends,
        ..
    } = walk;
    if lists.leads.is_empty() && problems.is_empty() {
        problems.note(&(0..0), "this plan has no lead", "add one: [lead.W1]");
    }
    mark_data_bus(lists);
    unsafe_places(lists, problems);
    // Tables that have a `when` are compared once the options are answered.
    occupied(lists, problems, &|when| when.is_none());
    occupants(lists, problems);
    if !*lost_ends {
        lonely(lists, problems, &|_| true, "");
    }
}

/// A data-bus connector makes every conductor at it part of the bus.
fn mark_data_bus(lists: &mut Lists) {
    let connectors = &lists.connectors;
    for conductor in &mut lists.conductors {
        let at_bus = conductor.item.at.iter().any(|(name, _)| {
            let mut all = connectors.iter();
            all.any(|entry| entry.item.data_bus && entry.item.connector.name == *name)
        });
        conductor.item.data_bus |= at_bus;
    }
}

/// Refuses everything that reaches into restraint and high-voltage connectors,
/// and leads put into a data-bus connector.
fn unsafe_places(lists: &Lists, problems: &mut Problems<'_>) {
    let by_name: BTreeMap<&str, _> = lists
        .connectors
        .iter()
        .map(|entry| (entry.item.connector.name.as_str(), entry))
        .collect();
    let help = "take it out of the plan: such circuits are not touched, tapped or measured; \
                follow the vehicle maker's service information";
    let keep_off = |name: &str| -> Option<(KeepOff, &Span)> {
        let entry = by_name.get(name)?;
        entry.item.keep_off.map(|why| (why, &entry.at))
    };
    for lead in &lists.leads {
        for (end, at) in [&lead.item.from, &lead.item.to].into_iter().zip(&lead.refs) {
            let End::Cavity(name, _) = end else { continue };
            let lead = &lead.item.name;
            if let Some((why, declared)) = keep_off(name) {
                let message = format!("lead {lead} ends in `{name}`, {why}");
                let because = (declared, format!("{why}, declared here"));
                problems.refuse(at, message, help, Some(because));
            } else if let Some(entry) = by_name.get(name.as_str()).filter(|e| e.item.data_bus) {
                let message = format!("lead {lead} ends in `{name}`, a data-bus connector");
                let help = "a data bus is never driven, so this lead could not be proved; \
                            put data_bus = true on the bus conductors alone if others are here too";
                let because = (&entry.at, "data-bus connector, declared here".to_owned());
                problems.refuse(at, message, help, Some(because));
            }
        }
    }
    let mut touched: Vec<(&str, &str, &str, &Span)> = Vec::new();
    for pin in &lists.pins {
        for at in &pin.refs {
            touched.push(("pin", &pin.item.name, &pin.item.at.0, at));
        }
    }
    let loads = lists.loads.iter();
    let loads = loads.map(|e| ("load", &e.item.name, Some(&e.item.between), &e.refs));
    let switches = lists.switches.iter();
    let switches = switches.map(|e| ("switch", &e.item.name, e.item.between.as_ref(), &e.refs));
    for (what, name, between, refs) in loads.chain(switches) {
        let Some((first, second)) = between else {
            continue;
        };
        for (terminal, at) in [first, second].into_iter().zip(refs) {
            if let Terminal::At(End::Cavity(connector, _)) = terminal {
                touched.push((what, name, connector, at));
            }
        }
    }
    for (what, name, connector, at) in touched {
        if let Some((why, declared)) = keep_off(connector) {
            let message = format!("{what} {name} is at `{connector}`, {why}");
            let because = (declared, format!("{why}, declared here"));
            problems.refuse(at, message, help, Some(because));
        }
    }
    halves(lists, problems);
    let mut reaching: BTreeMap<&str, (KeepOff, &Span)> = BTreeMap::new();
    for conductor in &lists.conductors {
        let name = &conductor.item.name;
        for ((connector, _), at) in conductor.item.at.iter().zip(&conductor.refs) {
            if let Some((why, declared)) = keep_off(connector) {
                reaching.insert(name, (why, declared));
                let message = format!("conductor {name} is reached at `{connector}`, {why}");
                let because = (declared, format!("{why}, declared here"));
                problems.refuse(at, message, help, Some(because));
            }
        }
    }
    for tap in &lists.taps {
        let (Some((why, declared)), Some(at)) =
            (reaching.get(tap.item.on.as_str()), tap.refs.first())
        else {
            continue;
        };
        let message = format!(
            "tap {} bites `{}`, which reaches {why}",
            tap.item.name, tap.item.on
        );
        let because = (*declared, format!("{why}, declared here"));
        problems.refuse(at, message, help, Some(because));
    }
}

/// Refuses to open or plug restraint and high-voltage connectors, and to count on
/// what is behind one.
fn halves(lists: &Lists, problems: &mut Problems<'_>) {
    let help = "take it out of the plan: such connectors are neither opened nor plugged; follow \
                the vehicle maker's service information";
    for entry in &lists.connectors {
        let Some(why) = entry.item.keep_off else {
            continue;
        };
        let connector = &entry.item.connector;
        if connector.halves != Halves::default() {
            let message = format!("`{}`, {why}, is to be opened or plugged", connector.name);
            problems.refuse(&entry.at, message, help, None);
        }
        for conductor in &lists.conductors {
            if let (Some(through), Some(at)) = (&conductor.item.through, conductor.refs.last())
                && *through == connector.name
            {
                let name = &conductor.item.name;
                let message = format!("conductor {name} goes through `{through}`, {why}");
                let because = (&entry.at, format!("{why}, declared here"));
                problems.refuse(at, message, help, Some(because));
            }
        }
    }
}

/// Who holds a place, and where the plan says so.
struct Holder<'a> {
    what: &'static str,
    name: &'a str,
    at: &'a Span,
}

/// Notes every place that is taken twice: a cavity, a tap, a ring, a plug way,
/// a part's terminal. A splice takes any number of leads.
pub(crate) fn occupied(lists: &Lists, problems: &mut Problems<'_>, present: Present<'_>) {
    let mut holders: BTreeMap<End, Holder<'_>> = BTreeMap::new();
    let mut conductors: BTreeMap<End, Holder<'_>> = BTreeMap::new();
    let mate: Vec<&str> = lists
        .connectors
        .iter()
        .filter(|entry| entry.item.connector.of_harness)
        .map(|entry| entry.item.connector.name.as_str())
        .collect();
    for conductor in lists.conductors.iter().filter(|c| present(c.when.as_ref())) {
        for ((connector, cavity), at) in conductor.item.at.iter().zip(&conductor.refs) {
            let end = End::Cavity(connector.clone(), *cavity);
            let name = &conductor.item.name;
            if let Some(earlier) = conductors.get(&end) {
                let message = format!("conductors {} and {name} are both at {end}", earlier.name);
                let help =
                    "one conductor sits in one cavity; count the cavities from the wire side";
                problems.note_pair(at, message, help, earlier.at, "the other conductor");
                continue;
            }
            let what = "conductor";
            conductors.insert(end, Holder { what, name, at });
        }
    }
    let mut pins: BTreeMap<End, Holder<'_>> = BTreeMap::new();
    for pin in lists.pins.iter().filter(|pin| present(pin.when.as_ref())) {
        let end = End::Cavity(pin.item.at.0.clone(), pin.item.at.1);
        let (name, Some(at)) = (&pin.item.name, pin.refs.first()) else {
            continue;
        };
        if let Some(earlier) = conductors.get(&end).or_else(|| pins.get(&end)) {
            let message = format!(
                "pin {name} is at {end}, where {} {} is",
                earlier.what, earlier.name
            );
            let help = "one cavity has one contact of the vehicle: state it once";
            let label = format!("{} {}", earlier.what, earlier.name);
            problems.note_pair(at, message, help, earlier.at, label);
            continue;
        }
        pins.insert(
            end,
            Holder {
                what: "pin",
                name,
                at,
            },
        );
    }
    for lead in lists
        .leads
        .iter()
        .filter(|lead| present(lead.when.as_ref()))
    {
        for (end, at) in [&lead.item.from, &lead.item.to].into_iter().zip(&lead.refs) {
            if matches!(end, End::Splice(_) | End::Cap) {
                continue;
            }
            let name = &lead.item.name;
            // This end is a cap where the conductor is there that may be.
            let yields = |by: &String| conductors.get(end).is_some_and(|it| it.name == by);
            if lead.item.occupied_by.as_ref().is_some_and(yields) {
                continue;
            }
            // A conductor named at a harness connector sits in the vehicle's
            // half, which mates with it.
            let mates = matches!(end, End::Cavity(name, _) if mate.contains(&name.as_str()));
            let earlier = holders.get(end);
            let earlier = earlier.or_else(|| conductors.get(end).filter(|_| !mates));
            match earlier {
                Some(earlier) if earlier.name == name => {}
                Some(earlier) => {
                    let message = format!(
                        "lead {name} ends at {end}, where {} {} is",
                        earlier.what, earlier.name
                    );
                    let label = format!("{} {}", earlier.what, earlier.name);
                    problems.note_pair(at, message, one_place(end), earlier.at, label);
                }
                None => {
                    let what = "lead";
                    holders.insert(end.clone(), Holder { what, name, at });
                }
            }
        }
    }
}

/// Notes leads that are capped where a conductor occupies their cavity, and cannot be.
fn occupants(lists: &Lists, problems: &mut Problems<'_>) {
    for lead in &lists.leads {
        let (Some(by), Some(at)) = (&lead.item.occupied_by, lead.refs.get(2)) else {
            continue;
        };
        let name = &lead.item.name;
        let mut conductors = lists.conductors.iter();
        // One that is not there was noted where it was read.
        let Some(conductor) = conductors.find(|entry| entry.item.name == *by) else {
            continue;
        };
        if occupied_end(&lead.item, &conductor.item).is_none() {
            let message = format!("lead {name} does not end in a cavity where conductor {by} is");
            let help =
                "name the wire that may sit in the lead's own cavity: its `at` is that cavity";
            problems.note_pair(at, message, help, &conductor.at, "the conductor");
        } else if lead.item.from == End::Cap || lead.item.to == End::Cap {
            let message = format!("lead {name} is capped at its other end already");
            let help = "leave the whole lead out instead, by its `when`";
            problems.note(at, message, help);
        } else if conductor.when.is_none() {
            let message =
                format!("conductor {by} is there in every variant, so lead {name} is never needed");
            let help =
                "give the conductor a `when`: an option that asks whether the cavity is occupied";
            problems.note_pair(at, message, help, &conductor.at, "the conductor");
        }
        let harness = |connector: &str| {
            let mut connectors = lists.connectors.iter();
            connectors.any(|it| it.item.connector.of_harness && it.item.connector.name == connector)
        };
        if let Some(End::Cavity(connector, _)) = occupied_end(&lead.item, &conductor.item)
            && harness(connector)
        {
            let message = format!(
                "connector {connector} belongs to the harness; no wire of the vehicle is in it"
            );
            let help = "only a cavity of the vehicle's connectors can be occupied";
            problems.note(at, message, help);
        }
    }
}

/// The end of a lead that is in a cavity where a conductor is.
pub(crate) fn occupied_end<'l>(lead: &'l Lead, conductor: &Conductor) -> Option<&'l End> {
    [&lead.from, &lead.to].into_iter().find(|end| {
        let mut places = conductor.at.iter();
        places.any(|(name, cavity)| matches!(end, End::Cavity(n, c) if n == name && c == cavity))
    })
}

const fn one_place(end: &End) -> &'static str {
    match end {
        End::Cavity(..) => "one terminal sits in one cavity: use a free cavity, a tap or a splice",
        _ => "it takes one lead: join the leads by a splice, or use another place",
    }
}

/// Notes splices with fewer than two leads, taps and rings without a lead.
/// `variant` is added to the message.
pub(crate) fn lonely(
    lists: &Lists,
    problems: &mut Problems<'_>,
    present: Present<'_>,
    variant: &str,
) {
    let mut met: BTreeMap<&str, usize> = BTreeMap::new();
    for lead in lists
        .leads
        .iter()
        .filter(|lead| present(lead.when.as_ref()))
    {
        for end in [&lead.item.from, &lead.item.to] {
            if let End::Splice(name) | End::Tap(name) | End::Ring(name) = end {
                *met.entry(name).or_default() += 1;
            }
        }
    }
    let mut look = |kind: Kind, name: &str, at: &Span, when: Option<&Condition>, least: usize| {
        let count = met.get(name).copied().unwrap_or(0);
        if count >= least || !present(when) {
            return;
        }
        let leads = if count == 0 {
            "no lead"
        } else {
            "only one lead"
        };
        let message = format!("{} {name} has {leads}{variant}", kind.word());
        let help = match kind {
            Kind::Splice => "a splice joins two leads or more: end leads at it, or take it out",
            _ => "end a lead at it, or take it out",
        };
        problems.note(at, message, help);
    };
    fn each<T>(entries: &[Entry<T>]) -> impl Iterator<Item = (&Span, Option<&Condition>, &T)> {
        entries.iter().map(|e| (&e.at, e.when.as_ref(), &e.item))
    }
    for (at, when, splice) in each(&lists.splices) {
        look(Kind::Splice, &splice.name, at, when, 2);
    }
    for (at, when, tap) in each(&lists.taps) {
        look(Kind::Tap, &tap.name, at, when, 1);
    }
    for (at, when, ring) in each(&lists.rings) {
        look(Kind::Ring, &ring.name, at, when, 1);
    }
}

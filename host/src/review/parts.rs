//! A plan falls apart into parts that have no wire in common; each is looked
//! at in every combination of the options that concern it. That is every
//! variant of the plan, at the cost of the parts' variants added instead of
//! multiplied.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use super::combinations::{Combinations, combinations, concerned};
use crate::plan::Plan;
use crate::plan::model::{End, OtherEnd, States, Terminal};
use crate::plan::when::Condition;

/// Names that hang together.
#[derive(Default)]
struct Groups {
    number: HashMap<String, usize>,
    parent: Vec<usize>,
}

impl Groups {
    fn of(&mut self, name: &str) -> usize {
        if let Some(at) = self.number.get(name) {
            return self.root(*at);
        }
        let at = self.parent.len();
        self.parent.push(at);
        self.number.insert(name.to_owned(), at);
        at
    }

    fn root(&self, mut at: usize) -> usize {
        while self.parent[at] != at {
            at = self.parent[at];
        }
        at
    }

    fn join(&mut self, one: &str, other: &str) {
        let (a, b) = (self.of(one), self.of(other));
        self.parent[a.max(b)] = a.min(b);
    }
}

fn key(end: &End) -> Option<String> {
    match end {
        End::Cavity(connector, cavity) => Some(format!("{connector}:{cavity}")),
        End::Tap(name)
        | End::Splice(name)
        | End::Ring(name)
        | End::Plug(name, ..)
        | End::Part(name, _) => Some(name.clone()),
        End::Cap => None,
    }
}

fn terminals(between: &(Terminal, Terminal)) -> Vec<String> {
    let at = |terminal: &Terminal| match terminal {
        Terminal::At(end) => key(end),
        _ => None,
    };
    [at(&between.0), at(&between.1)]
        .into_iter()
        .flatten()
        .collect()
}

/// The parts of a plan, each a plan of its own with all options, and the
/// combinations in which it has to be looked at.
#[must_use]
pub fn split(plan: &Plan, fixed: &BTreeMap<String, String>) -> Vec<(Plan, Combinations)> {
    let lists = &plan.lists;
    let mut groups = Groups::default();
    for lead in &lists.leads {
        for end in [&lead.item.from, &lead.item.to].into_iter().filter_map(key) {
            groups.join(&lead.item.name, &end);
        }
    }
    for conductor in &lists.conductors {
        let name = &conductor.item.name;
        for (connector, cavity) in &conductor.item.at {
            groups.join(name, &format!("{connector}:{cavity}"));
        }
        if let Some(OtherEnd::Named(other)) =
            lists.more.behaviours.get(name).map(|it| &it.other_end)
        {
            groups.join(name, other);
        }
    }
    for pin in &lists.pins {
        groups.join(
            &pin.item.name,
            &format!("{}:{}", pin.item.at.0, pin.item.at.1),
        );
        if let OtherEnd::Named(other) = &pin.item.behaviour.other_end {
            groups.join(&pin.item.name, other);
        }
    }
    for tap in &lists.taps {
        groups.join(&tap.item.name, &tap.item.on);
    }
    for load in &lists.loads {
        for end in terminals(&load.item.between) {
            groups.join(&load.item.name, &end);
        }
    }
    for switch in &lists.switches {
        for end in switch.item.between.iter().flat_map(terminals) {
            groups.join(&switch.item.name, &end);
        }
    }
    for function in &lists.functions {
        for place in &function.item.seen_at {
            for name in places(plan, place) {
                groups.join(&function.item.name, &name);
            }
        }
    }
    let leads = lists.leads.iter().map(|it| &it.item.name);
    let loads = lists.loads.iter().map(|it| &it.item.name);
    let functions = lists.functions.iter().map(|it| &it.item.name);
    let contacts = lists.switches.iter().filter(|it| it.item.between.is_some());
    let contacts = contacts.map(|it| &it.item.name);
    let mut roots: Vec<usize> = Vec::new();
    for name in leads.chain(loads).chain(functions).chain(contacts) {
        let root = groups.of(name);
        if !roots.contains(&root) {
            roots.push(root);
        }
    }
    roots
        .iter()
        .map(|&root| part(plan, &mut groups, root, fixed))
        .collect()
}

/// What a function's place stands for, as keys of groups.
fn places(plan: &Plan, place: &str) -> Vec<String> {
    let connectors = plan.lists.connectors.iter();
    let connector = |name: &str| connectors.clone().any(|it| it.item.connector.name == name);
    let head = place.split(':').next().unwrap_or_default();
    if connector(head) && head != place {
        return vec![place.to_owned()];
    }
    if connector(place) {
        let leads = plan
            .lists
            .leads
            .iter()
            .flat_map(|lead| [&lead.item.from, &lead.item.to]);
        let here = leads.filter(|end| matches!(end, End::Cavity(name, _) if name == place));
        return here.filter_map(key).collect();
    }
    let stem = head.strip_suffix("-A").or_else(|| head.strip_suffix("-B"));
    vec![stem.unwrap_or(head).to_owned()]
}

fn part(
    plan: &Plan,
    groups: &mut Groups,
    root: usize,
    fixed: &BTreeMap<String, String>,
) -> (Plan, Combinations) {
    let mut part = plan.clone();
    // The text is looked at for problems only, and those of a part are those
    // of the plan.
    let lists = &mut part.lists;
    macro_rules! keep {
        ($($list:ident)*) => {$(lists.$list.retain(|entry| groups.of(&entry.item.name) == root);)*};
    }
    keep!(conductors leads taps splices rings plugs relays diodes lamps fuses functions loads pins);
    let mut conditions: Vec<Condition> = Vec::new();
    macro_rules! gather {
        ($($list:ident)*) => {$(conditions.extend(lists.$list.iter().filter_map(|it| it.when.clone()));)*};
    }
    gather!(conductors leads taps splices rings plugs relays diodes lamps fuses functions loads pins);
    let here = |name: &String| {
        groups
            .number
            .get(name)
            .is_some_and(|at| groups.root(*at) == root)
    };
    lists.more.behaviours.retain(|name, _| here(name));
    lists.more.relays.retain(|name, _| here(name));
    lists.more.fused_rings.retain(|name, _| here(name));
    lists.more.on_when.retain(|name, _| here(name));
    lists.more.tap_reasons.retain(|name, _| here(name));
    let mut named: Vec<&str> = Vec::new();
    let pins = lists.pins.iter().map(|pin| &pin.item.behaviour);
    for behaviour in lists.more.behaviours.values().chain(pins) {
        let states = [&behaviour.plus_when, &behaviour.chassis_when];
        states
            .into_iter()
            .flatten()
            .for_each(|states: &States| states.switches(&mut named));
    }
    lists
        .more
        .on_when
        .values()
        .for_each(|states| states.switches(&mut named));
    let named: BTreeSet<String> = named.into_iter().map(str::to_owned).collect();
    lists.switches.retain_mut(|entry| {
        let at_home = here(&entry.item.name);
        if !at_home {
            entry.item.between = None;
            entry.refs.clear();
        }
        (at_home && entry.item.between.is_some()) || named.contains(&entry.item.name)
    });
    lists.connectors.retain(|entry| {
        let name = &entry.item.connector.name;
        (1..=entry.item.connector.cavities).any(|cavity| here(&format!("{name}:{cavity}")))
    });
    gather!(switches connectors);
    let options = concerned(&part, conditions.iter());
    let combinations = combinations(&part, &options, fixed);
    (part, combinations)
}

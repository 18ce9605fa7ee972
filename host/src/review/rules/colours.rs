//! Colours that invite a mistake.

use std::collections::BTreeMap;

use crate::plan::Plan;
use crate::plan::model::End;
use crate::review::combinations::together;
use crate::review::finding::{Finding, Level, source};

/// Compares the colours of leads, tapped conductors and their neighbours.
pub fn check(plan: &Plan, fixed: &BTreeMap<String, String>, found: &mut Vec<Finding>) {
    let lists = &plan.lists;
    for tap in &lists.taps {
        let Some(bitten) = lists
            .conductors
            .iter()
            .find(|it| it.item.name == tap.item.on)
        else {
            continue;
        };
        let beside =
            lists.conductors.iter().filter(|other| {
                other.item.name != bitten.item.name
                    && other.item.at.iter().any(|(connector, _)| {
                        bitten.item.at.iter().any(|(own, _)| own == connector)
                    })
            });
        for other in beside {
            let Some(colour) = &other.item.colour else {
                continue;
            };
            let (name, of) = (&tap.item.name, &bitten.item.name);
            if bitten.item.colour.as_ref() == Some(colour) {
                let variants = together(plan, fixed, &[&tap.when, &bitten.when, &other.when]);
                let say = format!(
                    "Tap {name} bites {of} ({colour}); {} beside it has the same colour.",
                    other.item.name
                );
                let fix = "identify the conductor by its cavity and by what it does, before the tap is closed";
                push(
                    found,
                    "conductor-colour-twice",
                    Level::Note,
                    name,
                    say,
                    fix,
                    variants,
                );
                continue;
            }
            for lead in &lists.leads {
                let at = [&lead.item.from, &lead.item.to];
                let ends = at.iter().any(|end| **end == End::Tap(name.clone()));
                if ends && lead.item.colour == *colour {
                    let conditions = [&tap.when, &bitten.when, &other.when, &lead.when];
                    let variants = together(plan, fixed, &conditions);
                    let say = format!(
                        "Lead {} to tap {name} is {colour}, the colour of {}, which lies beside {of} and is not the one to bite.",
                        lead.item.name, other.item.name
                    );
                    let fix = format!(
                        "another colour for {}: best a tracer that none of the conductors there has",
                        lead.item.name
                    );
                    push(
                        found,
                        "colour-clash",
                        Level::Wrong,
                        &lead.item.name,
                        say,
                        &fix,
                        variants,
                    );
                }
            }
        }
    }
    doubles(plan, fixed, found);
}

/// Leads of one colour in one connector.
fn doubles(plan: &Plan, fixed: &BTreeMap<String, String>, found: &mut Vec<Finding>) {
    let mut groups: BTreeMap<(&str, &str), Vec<usize>> = BTreeMap::new();
    for (number, lead) in plan.lists.leads.iter().enumerate() {
        for end in [&lead.item.from, &lead.item.to] {
            // A diode or fuse sits in its lead: both sides may look alike.
            let (End::Cavity(name, _) | End::Part(name, _)) = end else {
                continue;
            };
            let relay = plan.lists.relays.iter().any(|it| it.item.name == *name);
            if matches!(end, End::Part(..)) && !relay {
                continue;
            }
            let group = groups.entry((name, &lead.item.colour)).or_default();
            if group.last() != Some(&number) {
                group.push(number);
            }
        }
    }
    for ((name, colour), leads) in groups {
        let entries: Vec<_> = leads.iter().map(|&at| &plan.lists.leads[at]).collect();
        // The first two that are ever there together.
        let pair = entries.iter().enumerate().find_map(|(at, first)| {
            let mut later = entries[at + 1..].iter();
            later.find_map(|second| {
                let variants = together(plan, fixed, &[&first.when, &second.when]);
                (!variants.is_empty()).then_some((first, second, variants))
            })
        });
        let Some((first, second, variants)) = pair else {
            continue;
        };
        let more = if entries.len() > 2 { " and more" } else { "" };
        let say = format!(
            "Leads {} and {}{more} end at {name} and are both {colour}.",
            first.item.name, second.item.name
        );
        let fix = "a tracer that tells them apart, or a label on each";
        push(
            found,
            "lead-colour-twice",
            Level::Note,
            name,
            say,
            fix,
            variants,
        );
    }
}

fn push(
    found: &mut Vec<Finding>,
    rule: &'static str,
    level: Level,
    place: &str,
    say: String,
    fix: &str,
    variants: Vec<BTreeMap<String, String>>,
) {
    if variants.is_empty() {
        return;
    }
    let mut finding = Finding::new(rule, level, source::PRACTICE, place, say, fix);
    finding.variants = variants;
    found.push(finding);
}

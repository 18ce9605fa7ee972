//! A review in words.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use super::finding::{Finding, Level};
use super::report::{Outcome, Review};
use crate::ringout::text::width;

/// The review as it is printed.
#[must_use]
pub fn text(review: &Review) -> String {
    let mut out = String::new();
    let wrong: Vec<&Finding> = of(review, Level::Wrong);
    let notes: Vec<&Finding> = of(review, Level::Note);
    let things =
        |count: usize, word: &str| format!("{count} {word}{}", if count == 1 { "" } else { "s" });
    let head = match review.verdict {
        Outcome::Findings => format!("REVIEW: {} to put right", things(wrong.len(), "thing")),
        Outcome::Pass => "REVIEW: nothing to put right".to_owned(),
    };
    let _ = writeln!(out, "{head}, {}", things(notes.len(), "note"));
    let _ = writeln!(
        out,
        "{}, at {} V and {} °C in service",
        review.title, review.supply_v, review.service_temperature_c
    );
    out.push('\n');
    for (number, finding) in wrong.iter().enumerate() {
        out.push_str(&one(&format!("{}. ", number + 1), finding));
    }
    if !notes.is_empty() {
        out.push_str("Notes:\n");
        for group in alike(&notes) {
            out.push_str(&together(&group));
        }
    }
    out.push_str(&leads(review));
    out.push_str(&looked_at(review));
    out
}

fn of(review: &Review, level: Level) -> Vec<&Finding> {
    review
        .findings
        .iter()
        .filter(|finding| finding.level == level)
        .collect()
}

/// A paragraph with a first line that starts with `lead` and others below it.
fn wrapped(lead: &str, text: &str) -> String {
    let indent = " ".repeat(lead.chars().count());
    let mut out = String::new();
    let mut line = lead.to_owned();
    let mut fresh = true;
    for word in text.split_whitespace() {
        let long = line.chars().count() + 1 + word.chars().count() > width();
        if long && !fresh {
            out.push_str(line.trim_end());
            out.push('\n');
            line.clone_from(&indent);
            fresh = true;
        }
        if !fresh {
            line.push(' ');
        }
        line.push_str(word);
        fresh = false;
    }
    out.push_str(line.trim_end());
    out.push('\n');
    out
}

fn one(lead: &str, finding: &Finding) -> String {
    let indent = " ".repeat(lead.chars().count());
    let mut out = wrapped(lead, &finding.say);
    if !finding.route.is_empty() {
        out.push_str(&wrapped(
            &format!("{indent}Route: "),
            &finding.route.join(" → "),
        ));
    }
    out.push_str(&wrapped(
        &format!("{indent}Do: "),
        &format!("{}.", finding.fix),
    ));
    let variants = variants(&finding.variants);
    let what = format!("[{}; {}]{variants}", finding.rule, finding.source);
    out.push_str(&wrapped(&indent, &what));
    out.push('\n');
    out
}

/// Notes of one rule with one remedy, together.
fn alike<'f>(notes: &[&'f Finding]) -> Vec<Vec<&'f Finding>> {
    let mut groups: Vec<Vec<&Finding>> = Vec::new();
    for note in notes {
        let fits = |group: &&mut Vec<&Finding>| {
            group
                .first()
                .is_some_and(|it| it.rule == note.rule && it.fix == note.fix)
        };
        match groups.iter_mut().find(fits) {
            Some(group) => group.push(note),
            None => groups.push(vec![note]),
        }
    }
    groups
}

fn together(group: &[&Finding]) -> String {
    if let [only] = group {
        return one(" - ", only);
    }
    let mut out = String::new();
    for (number, finding) in group.iter().enumerate() {
        let lead = if number == 0 { " - " } else { "   " };
        let say = format!("{}{}", finding.say, variants(&finding.variants));
        out.push_str(&wrapped(lead, &say));
        if !finding.route.is_empty() {
            out.push_str(&wrapped("     Route: ", &finding.route.join(" → ")));
        }
    }
    if let Some(first) = group.first() {
        out.push_str(&wrapped("   Do: ", &format!("{}.", first.fix)));
        out.push_str(&wrapped(
            "   ",
            &format!("[{}; {}]", first.rule, first.source),
        ));
    }
    out.push('\n');
    out
}

/// " In variants: …", nothing where it holds in every one.
fn variants(variants: &[BTreeMap<String, String>]) -> String {
    if variants.iter().any(BTreeMap::is_empty) {
        return String::new();
    }
    let told = variants.iter().take(4).map(|variant| {
        let answers = variant.iter().map(|(k, v)| format!("{k} = {v}"));
        answers.collect::<Vec<_>>().join(" and ")
    });
    let mut told = told.collect::<Vec<_>>().join("; or ");
    if variants.len() > 4 {
        let _ = write!(told, "; and {} more", variants.len() - 4);
    }
    format!(" Only with {told}.")
}

/// The table of leads that carry current.
fn leads(review: &Review) -> String {
    let carrying: Vec<_> = review
        .leads
        .iter()
        .filter(|line| line.amperes >= 0.001)
        .collect();
    if carrying.is_empty() {
        return String::new();
    }
    let mut out = String::from("Strongest current and voltage drop of each lead (copper alone):\n");
    for line in &carrying {
        let _ = writeln!(
            out,
            "  {:<8} {:>9} {:>6} m {:>8.3} A {:>8.3} V  {}",
            line.lead, line.size, line.length_m, line.amperes, line.drop_v, line.state
        );
    }
    let idle = review.leads.len() - carrying.len();
    if idle > 0 {
        let _ = writeln!(out, "  {idle} more carry nothing that the plan states.");
    }
    out.push('\n');
    out
}

fn looked_at(review: &Review) -> String {
    let mut out = String::new();
    let variants = &review.variants;
    let given: Vec<String> = review
        .answers
        .iter()
        .map(|(k, v)| format!("{k} = {v}"))
        .collect();
    let given = if given.is_empty() {
        String::new()
    } else {
        format!(" with {}", given.join(", "))
    };
    let how = if variants.complete {
        "all".to_owned()
    } else {
        "a set in which every pair of answers occurs, not all".to_owned()
    };
    let line = format!(
        "{} variant{}{given}, {how}: {} part{} without a common wire, looked at in {} combination{} of the options that concern them.",
        variants.variants,
        plural(variants.variants),
        variants.parts,
        plural(variants.parts as u64),
        variants.looked_at,
        plural(variants.looked_at as u64),
    );
    out.push_str(&wrapped("Looked at: ", &line));
    let states = &review.states;
    let how = if states.complete {
        "all"
    } else {
        "a set in which every pair of switch states occurs, not all"
    };
    let line = format!(
        "{} combination{} of switches, {how}; {} state{} with the relays (at most {} switch{} and {} relay{} together), {} solved.",
        states.combinations,
        plural(states.combinations),
        states.looked_at,
        plural(states.looked_at),
        states.switches,
        if states.switches == 1 { "" } else { "es" },
        states.relays,
        plural(states.relays as u64),
        states.solved,
    );
    out.push_str(&wrapped("           ", &line));
    let line = "heat in bundles, fuse and relay ageing, interference, sparks, what the vehicle has and the plan does not state. A review does not replace the vehicle maker's service information, local codes and licensed practice.";
    out.push_str(&wrapped("Not looked at: ", line));
    if !review.keep_off.is_empty() {
        let line = format!(
            "{}: never opened, probed or tapped.",
            review.keep_off.join(", ")
        );
        out.push_str(&wrapped("Keep off ", &line));
    }
    out
}

const fn plural(count: u64) -> &'static str {
    if count == 1 { "" } else { "s" }
}

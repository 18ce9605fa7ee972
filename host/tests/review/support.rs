//! Plans, and what a review says of them.

use std::path::{Path, PathBuf};

use loomproof::plan::{Plan, read, render};
use loomproof::review::{Finding, Level, Review, Settings, review};

/// The top folder of the project.
pub fn top() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

/// A plan from its text.
#[track_caller]
pub fn plan(text: &str) -> Plan {
    read("test.toml", text).unwrap_or_else(|p| panic!("{}", render(&p, "test.toml", text, false)))
}

/// The review of a plan in every variant.
#[track_caller]
pub fn reviewed(text: &str) -> Review {
    let plan = plan(text);
    review(&plan, &Settings::default()).unwrap_or_else(|p| panic!("{}", plan.render(&p, false)))
}

/// A plan around some tables: a feed at X1:1 that `key` switches, and a ground.
pub fn around(tables: &str) -> String {
    format!(
        "plan = 1\ntitle = \"t\"\nservice_temperature = \"20 degC\"\n[switch.key]\n\
         [connector.X1]\ncavities = 8\n[connector.X2]\ncavities = 8\nwith = \"harness\"\n\
         [ring.G1]\non = \"chassis\"\n{tables}\n"
    )
}

/// A lead of a size and length between two ends.
pub fn lead(name: &str, from: &str, to: &str, size: &str, length: &str) -> String {
    format!(
        "[lead.{name}]\ncolour = \"BN\"\nsize = \"{size}\"\nlength = \"{length}\"\nfrom = \"{from}\"\nto = \"{to}\"\n"
    )
}

/// `rule@place` of every finding of a level.
pub fn rules(review: &Review, level: Level) -> Vec<String> {
    let findings = review
        .findings
        .iter()
        .filter(|finding| finding.level == level);
    findings
        .map(|it| format!("{}@{}", it.rule, it.place))
        .collect()
}

/// The one finding of a rule.
#[track_caller]
pub fn only<'r>(review: &'r Review, rule: &str) -> &'r Finding {
    let mut all = review
        .findings
        .iter()
        .filter(|finding| finding.rule == rule);
    let first = all
        .next()
        .unwrap_or_else(|| panic!("no {rule} in {:#?}", review.findings));
    assert!(
        all.next().is_none(),
        "more than one {rule}: {:#?}",
        review.findings
    );
    first
}

/// Whether a rule says anything.
pub fn says(review: &Review, rule: &str) -> bool {
    review.findings.iter().any(|finding| finding.rule == rule)
}

/// A number of a finding.
#[track_caller]
pub fn number(finding: &Finding, name: &str) -> f64 {
    let value = finding.values.iter().find(|value| value.name == name);
    value
        .unwrap_or_else(|| panic!("no {name} in {finding:?}"))
        .value
}

//! What a review says, as an object.

use schemars::JsonSchema;
use serde::Serialize;

use super::Settings;
use super::finding::{Finding, Level};
use super::part::Part;
use super::rules::current::LeadLine;
use crate::plan::Plan;

/// The result of the whole.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Outcome {
    /// Nothing worse than a note.
    Pass,
    /// Something has to be put right.
    Findings,
}

/// Which variants were looked at.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, JsonSchema)]
pub struct VariantsLine {
    /// How many variants the answers to the options make.
    pub variants: u64,
    /// Parts of the plan that share no wire.
    pub parts: usize,
    /// Parts times the combinations of options that concern them.
    pub looked_at: usize,
    /// Every variant was looked at; otherwise a set in which every pair of
    /// answers occurs.
    pub complete: bool,
}

/// Which states were looked at, over all parts and variants.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, JsonSchema)]
pub struct StatesLine {
    /// Most switches that were searched together.
    pub switches: usize,
    /// Most relays that were searched together.
    pub relays: usize,
    /// Combinations of switch states, added up.
    pub combinations: u64,
    /// States of switches and relays that can be reached and were looked at.
    pub looked_at: u64,
    /// How often equations were solved for that.
    pub solved: u64,
    /// Every combination was looked at; otherwise a set in which every pair
    /// of switch states occurs.
    pub complete: bool,
}

impl StatesLine {
    /// What was searched in a part.
    #[must_use]
    pub fn of(part: &Part<'_>) -> Self {
        let mut line = Self {
            complete: true,
            solved: part.with.solves as u64,
            ..Self::default()
        };
        for (cluster, search) in &part.searches {
            line.switches = line.switches.max(cluster.switches.len());
            line.relays = line.relays.max(cluster.relays.len());
            let combinations = u64::try_from(search.combinations).unwrap_or(u64::MAX);
            line.combinations = line.combinations.saturating_add(combinations);
            line.looked_at += search.visits.len() as u64;
            line.complete &= search.complete;
        }
        line
    }

    /// Adds another part's.
    pub fn add(&mut self, other: &Self) {
        let first = *self == Self::default();
        self.switches = self.switches.max(other.switches);
        self.relays = self.relays.max(other.relays);
        self.combinations = self.combinations.saturating_add(other.combinations);
        self.looked_at += other.looked_at;
        self.solved += other.solved;
        self.complete = other.complete && (first || self.complete);
    }
}

/// A review.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Review {
    /// The plan's title.
    pub title: String,
    /// SHA-256 of the plan file, hexadecimal.
    pub digest: String,
    /// Whether anything has to be put right.
    pub verdict: Outcome,
    /// Supply in volts.
    pub supply_v: f64,
    /// Temperature of the wiring in service, in degrees Celsius.
    pub service_temperature_c: f64,
    /// Answers that were given; all others took every value.
    pub answers: std::collections::BTreeMap<String, String>,
    /// Which variants were looked at.
    pub variants: VariantsLine,
    /// Which states were looked at.
    pub states: StatesLine,
    /// Findings, what is wrong first.
    pub findings: Vec<Finding>,
    /// Strongest current and drop of every lead, over variants and states.
    pub leads: Vec<LeadLine>,
    /// Connectors to keep off.
    pub keep_off: Vec<String>,
}

impl Review {
    pub(super) fn new(
        plan: &Plan,
        settings: &Settings,
        variants: VariantsLine,
        states: StatesLine,
        leads: Vec<LeadLine>,
        findings: Vec<Finding>,
    ) -> Self {
        let wrong = findings.iter().any(|finding| finding.level == Level::Wrong);
        Self {
            title: plan.title().to_owned(),
            digest: plan.digest().to_owned(),
            verdict: if wrong {
                Outcome::Findings
            } else {
                Outcome::Pass
            },
            supply_v: plan.supply.0,
            service_temperature_c: plan.lists.more.service.0,
            answers: settings.fixed.clone(),
            variants,
            states,
            findings,
            leads,
            keep_off: plan.keep_off().map(str::to_owned).collect(),
        }
    }
}

/// The JSON Schema of a review.
#[must_use]
pub fn schema() -> schemars::Schema {
    schemars::schema_for!(Review)
}

//! What touching points reports, as data: printed as JSON as it stands, and put into
//! plain words by [`super::text`].

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::ringout::report::{ProbeReport, Verdict};

/// The report of one call.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[schemars(title = "Touch-and-tell report")]
pub struct Report {
    /// `pass`: everything answered as the plan lets expect. `faults`: something did not,
    /// or a clip sits elsewhere than the hook-up says. `undecided`: of some clips it is
    /// not known where they sit.
    pub verdict: Verdict,
    /// Title of the plan.
    pub title: String,
    /// SHA-256 of the plan file.
    pub plan_digest: String,
    /// The answers to the plan's options.
    pub answers: BTreeMap<String, String>,
    /// `bench` or `vehicle`.
    pub place: String,
    /// The probe.
    pub probe: ProbeReport,
    /// The lead in the hand.
    pub tip: String,
    /// What was asked for.
    pub task: Task,
    /// What was touched, in order.
    pub touches: Vec<Touch>,
    /// Where the clips sit, as far as that was found; empty where points were only told.
    pub clips: Vec<Sits>,
    /// What is still to be done or known, a sentence each.
    pub open: Vec<String>,
    /// Whether it was broken off before its end; left out where it was not.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub broken_off: bool,
}

/// What touching is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Task {
    /// Points are named as they are touched.
    Tell,
    /// The hook-up is proved.
    Prove,
    /// The hook-up is made of clips that were put on as they came.
    Make,
}

/// What was touched.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Kind {
    /// A net of the plan.
    Point,
    /// The chassis.
    Chassis,
    /// Nothing that is clipped.
    Nothing,
    /// Something live.
    Live,
    /// Two nets at once.
    TwoPoints,
    /// Leads that the plan keeps apart answer together, or one of a net does not answer.
    NotByPlan,
}

/// One touch.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Touch {
    /// The point that was asked for; null where any could be touched.
    pub asked: Option<String>,
    /// What it was.
    pub kind: Kind,
    /// That in a word, as it is shown large.
    pub large: String,
    /// What it was, in a sentence.
    pub say: String,
    /// The leads that answered.
    pub leads: Vec<String>,
    /// Where these are clipped, by the hook-up.
    pub points: Vec<String>,
    /// Every point that it can have been, by the plan.
    pub candidates: Vec<String>,
    /// What stood there, where it was live; volts.
    pub volts: Option<f64>,
}

impl Touch {
    /// One without words.
    #[must_use]
    pub fn of(kind: Kind, large: &str) -> Self {
        Self {
            asked: None,
            kind,
            large: large.to_owned(),
            say: String::new(),
            leads: Vec::new(),
            points: Vec::new(),
            candidates: Vec::new(),
            volts: None,
        }
    }
}

/// Where a clip sits.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Sits {
    /// The lead.
    pub lead: String,
    /// The point that it was found on.
    pub point: String,
    /// The point that the hook-up gives it; null where none was given.
    pub meant: Option<String>,
}

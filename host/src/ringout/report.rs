//! What a ring-out reports, as data: printed as JSON as it stands, and put
//! into plain words by [`super::text`].

use std::collections::{BTreeMap, BTreeSet};

use loomproof_core::wire::Hello;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::diagnosis::next::Action;

/// The overall verdict.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Verdict {
    /// Every reading is as the plan lets expect.
    Pass,
    /// At least one reading is not.
    Faults,
    /// No reading is off, but some prove nothing.
    Undecided,
    /// The probe would not drive, for safety.
    Refused,
}

impl Verdict {
    /// The word in JSON.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Pass => "pass",
            Self::Faults => "faults",
            Self::Undecided => "undecided",
            Self::Refused => "refused",
        }
    }
}

/// The report of one ring-out.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[schemars(title = "Ring-out report")]
pub struct Report {
    /// The overall verdict.
    pub verdict: Verdict,
    /// Title of the plan.
    pub title: String,
    /// `bench` or `vehicle`.
    pub place: String,
    /// SHA-256 of the plan file.
    pub plan_digest: String,
    /// The answers to the plan's options.
    pub answers: BTreeMap<String, String>,
    /// The probe that took the readings.
    pub probe: ProbeReport,
    /// In how many rounds of clips they were taken.
    pub rounds: usize,
    /// What is wrong, most probable first: sets of faults that the readings
    /// cannot tell apart are one group.
    pub groups: Vec<GroupReport>,
    /// Readings are off in a way that none of the groups explains well: the plan,
    /// its answers, the place or the hook-up may be wrong rather than the wiring.
    pub lost: bool,
    /// What to look at before any wire: something is wrong with the hook-up as a
    /// whole. Left out where nothing is.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub first: Option<Advice>,
    /// How far the first group is proved to be the best; null where there is none.
    pub proof: Option<ProofReport>,
    /// Why the probe would not drive, where it would not.
    pub refusal: Option<Refused>,
    /// Places that were in no round of clips yet, and those that have to be rung
    /// out again because the answers changed. Without it there is no pass.
    pub still_to_do: Vec<Undecided>,
    /// What these readings leave undecided.
    pub undecided: Vec<Undecided>,
    /// What the hook-up can see of all single faults that the plan allows.
    pub coverage: CoverageReport,
    /// What no reading shows: to be looked at, tugged, heard.
    pub hand_checks: Vec<HandCheck>,
    /// Every judged reading.
    pub readings: Vec<ReadingReport>,
    /// The one further reading that would split the best group.
    pub next_reading: Option<NextReading>,
}

impl Report {
    /// How many readings were taken for a purpose.
    #[must_use]
    pub fn taken_for(&self, purpose: &str) -> usize {
        let readings = self.readings.iter();
        readings
            .filter(|reading| reading.purpose == purpose)
            .count()
    }
}

/// The probe that took the readings.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct ProbeReport {
    /// Board name.
    pub board: String,
    /// Serial number.
    pub serial: String,
    /// Firmware version and build.
    pub build: String,
    /// Number of probe leads.
    pub leads: u8,
}

impl ProbeReport {
    /// As the probe gives itself out.
    #[must_use]
    pub fn of(hello: &Hello) -> Self {
        Self {
            board: hello.board.to_string(),
            serial: hello.serial.to_string(),
            build: hello.build.to_string(),
            leads: hello.leads,
        }
    }
}

/// Sets of faults that the readings cannot tell apart.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
pub struct GroupReport {
    /// Posterior probability of the group.
    pub probability: f64,
    /// Whether it explains every reading.
    pub explains_all: bool,
    /// Readings that speak for the group and against it, strongest first.
    pub because: Vec<Because>,
    /// The sets, most probable first; the faults of one set hold together.
    pub sets: Vec<Vec<FaultReport>>,
    /// How much of the group's probability each set has, by its prior.
    pub shares: Vec<f64>,
}

/// A reading that speaks for or against a group.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
pub struct Because {
    /// Index of the reading in `readings`.
    pub reading: usize,
    /// How much likelier the group makes the reading than the healthy harness
    /// does (for the other groups: than the best one does), as a natural
    /// logarithm; negative where the reading speaks against it.
    pub weight: f64,
    /// The reading in words.
    pub say: String,
}

/// How far the best group is proved to be the best.
#[derive(Debug, Clone, Copy, Serialize, Deserialize, JsonSchema)]
pub struct ProofReport {
    /// No other set of at most so many faults explains the readings better; a
    /// set that holds a whole explanation and more is none of its own.
    pub faults: usize,
    /// How many sets that are.
    pub sets: u64,
    /// How many of them were worked out; the others add up, were shown by a
    /// bound to be worse, or hold a whole explanation.
    pub scored: u64,
}

/// An estimated resistance, with a 95 % interval.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct OhmsReport {
    /// Best estimate.
    pub estimate: f64,
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

/// One fault, as spelled in `--fault` and in words.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
pub struct FaultReport {
    /// Kind, as spelled in `--fault`.
    pub kind: String,
    /// Place, as spelled in `--fault`.
    pub place: String,
    /// The whole spelling.
    pub fault: String,
    /// The round of clips that it is of, from 1, where there are several; null
    /// for a fault of the wiring.
    pub round: Option<usize>,
    /// What is wrong, and where.
    pub say: String,
    /// What to do about it.
    #[serde(rename = "do")]
    pub act: String,
    /// The resistance that was estimated, where the fault has one.
    pub ohms: Option<OhmsReport>,
}

/// Something that is wrong with the hook-up as a whole.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Advice {
    /// What is wrong.
    pub say: String,
    /// What to do about it.
    #[serde(rename = "do")]
    pub act: String,
}

/// A refusal for safety.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
pub struct Refused {
    /// What was found.
    pub say: String,
    /// What to do about it.
    #[serde(rename = "do")]
    pub act: String,
}

/// Something that these readings leave open.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
pub struct Undecided {
    /// Where.
    pub place: String,
    /// What is open, and why.
    pub say: String,
}

/// What the hook-up can see.
#[derive(Debug, Clone, Default, Serialize, Deserialize, JsonSchema)]
pub struct CoverageReport {
    /// Single faults that the plan allows.
    pub faults: usize,
    /// How many of them the hook-up shows.
    pub covered: usize,
    /// Those it cannot show.
    pub not_covered: Vec<FaultName>,
}

impl CoverageReport {
    /// Places that the hook-up cannot show, by kind of fault, each once: where no
    /// connection can be shown, a bad one cannot either and is not named again.
    #[must_use]
    pub fn not_tested(&self) -> BTreeMap<&str, Vec<&str>> {
        let mut by_kind: BTreeMap<&str, Vec<&str>> = BTreeMap::new();
        let mut seen = BTreeSet::new();
        for FaultName { kind, place, .. } in &self.not_covered {
            if seen.insert((kind, place)) {
                by_kind.entry(kind).or_default().push(place);
            }
        }
        let open = by_kind.get("open").cloned().unwrap_or_default();
        if let Some(ohms) = by_kind.get_mut("high-resistance") {
            ohms.retain(|place| !open.contains(place));
        }
        by_kind.retain(|_, places| !places.is_empty());
        by_kind
    }
}

/// A fault by its spelling.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
pub struct FaultName {
    /// The whole spelling.
    pub fault: String,
    /// Kind.
    pub kind: String,
    /// Place.
    pub place: String,
}

/// Something to be looked at, tugged or heard.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct HandCheck {
    /// Where.
    pub place: String,
    /// What to do.
    pub check: String,
    /// `open` until somebody attests it, then `attested`; never measured. Of the wire in
    /// an occupied cavity also `measured`, where the probe has seen that it follows its
    /// switches, or `refuted`, where it has seen that it does not.
    pub state: String,
    /// The conductor that sits in an occupied cavity, where this is its proof; left out
    /// of every other check.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wire: Option<String>,
}

impl HandCheck {
    /// Whether somebody still has to do it.
    #[must_use]
    pub fn is_open(&self) -> bool {
        matches!(self.state.as_str(), "open" | "refuted")
    }
}

/// One judged reading.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
pub struct ReadingReport {
    /// The round of clips, from 1.
    pub round: usize,
    /// What it was taken for: `continuity`, `isolation`, `across`, `walk` or `pair`.
    pub purpose: String,
    /// Probe leads driven to 3.3 V.
    pub high: Vec<String>,
    /// Probe leads driven to 0 V; where many are held down, only their number is in `low_count`.
    pub low: Vec<String>,
    /// How many probe leads were driven to 0 V.
    pub low_count: usize,
    /// The probe lead that was read.
    pub lead: String,
    /// The test point it sits on.
    pub point: String,
    /// The probe lead whose reading was taken off it.
    pub minus: Option<String>,
    /// Load of the sense bus: `plain`, `pull-down` or `pull-up`.
    pub mode: String,
    /// Lowest mean expected, microvolts.
    pub expected_low_uv: i64,
    /// Highest mean expected, microvolts.
    pub expected_high_uv: i64,
    /// One standard deviation, microvolts.
    pub sigma_uv: i64,
    /// What was measured, microvolts; null where it did not settle.
    pub measured_uv: Option<i64>,
    /// `within`, `low`, `high` or `not settled`.
    pub verdict: String,
}

/// A further step that would tell the best group apart.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
pub struct NextReading {
    /// `touch` a point with a free probe lead, `re-clip` the probe leads, or
    /// `wiggle` the suspects.
    pub step: String,
    /// The point to touch, as spelled in the plan; empty for other steps.
    pub touch: String,
    /// The probe lead that is driven meanwhile; empty for other steps.
    pub drive: String,
    /// How much uncertainty the step is expected to take away, in bits.
    pub bits: f64,
    /// What to do and what it will tell.
    pub say: String,
    /// The step itself, for whoever carries it out.
    #[serde(skip)]
    #[schemars(skip)]
    pub action: Option<Action>,
}

//! What a wiggle test reports, as data: printed as JSON as it stands, and put into
//! plain words by [`super::text`].

use std::collections::BTreeMap;

use loomproof_core::units::Micros;
use loomproof_core::wire::Hello;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::spots::{Watch, spelled};
use super::tally::{Line, Tally};
use crate::diagnosis::words::Speaker;
use crate::plan::model::Job;
use crate::ringout::report::{ProbeReport, Verdict};

/// The report of one wiggle test.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[schemars(title = "Wiggle test report")]
pub struct Report {
    /// `pass`: nothing came apart. `faults`: something did. `undecided`: nothing was
    /// watched, or it was broken off before every terminal was pulled. `refused`: the probe would not drive, or let go.
    pub verdict: Verdict,
    /// Title of the plan.
    pub title: String,
    /// `bench` or `vehicle`.
    pub place: String,
    /// With the battery on.
    pub live: bool,
    /// SHA-256 of the plan file.
    pub plan_digest: String,
    /// The answers to the plan's options.
    pub answers: BTreeMap<String, String>,
    /// The probe.
    pub probe: ProbeReport,
    /// How long it was watched, seconds, by the probe's clock.
    pub seconds: f64,
    /// The shortest dropout that is certain on the group with the most leads,
    /// microseconds; null where nothing was watched.
    pub certain_microseconds: Option<u32>,
    /// Leads of the group with the most.
    pub leads_at_once: usize,
    /// Groups that took turns.
    pub groups: usize,
    /// Why the probe would not go on, where it would not.
    pub refusal: Option<String>,
    /// What was watched. Joints that no watched lead can tell apart are one entry.
    pub joints: Vec<JointReport>,
    /// Joints that could not be watched.
    pub not_watched: Vec<NotWatched>,
    /// Every opening, in order.
    pub events: Vec<EventReport>,
    /// How often leads let go in a way that no single joint explains.
    pub unexplained: u32,
    /// Terminals that were pulled and held.
    pub pulled: Vec<Pulled>,
    /// Whether it was broken off before its end; left out where it was not.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub broken_off: bool,
}

/// A joint, or several that cannot be told apart.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct JointReport {
    /// The joints, spelled as behind `intermittent@`.
    pub places: Vec<String>,
    /// In words.
    pub say: String,
    /// How often it came apart.
    pub count: u32,
    /// When first, seconds since the beginning; null where it never did.
    pub first_seconds: Option<f64>,
    /// When last.
    pub last_seconds: Option<f64>,
    /// The longest opening, microseconds; null where there was none.
    pub longest_microseconds: Option<u64>,
    /// It was open in the end.
    pub open_at_end: bool,
    /// The worst resistance of a path through it that was measured in between, clips
    /// included; null where none was.
    pub worst_ohms: Option<f64>,
    /// For how much of the time it was watched, percent.
    pub watched_percent: f64,
    /// A module's capacitor may hide dropouts that are not much longer than the
    /// certain one.
    pub slow: bool,
}

/// A joint that could not be watched.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct NotWatched {
    /// The joint, spelled as behind `intermittent@`.
    pub place: String,
    /// Why.
    pub why: String,
}

/// One opening, or several of one joint in one window.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct EventReport {
    /// The joints that it may have been.
    pub places: Vec<String>,
    /// When, seconds since the beginning.
    pub at_seconds: f64,
    /// How often in that window.
    pub count: u32,
    /// The longest, microseconds.
    pub longest_microseconds: u64,
}

/// A terminal that was pulled and held.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Pulled {
    /// The terminal.
    pub place: String,
    /// It stayed closed.
    pub held: bool,
}

/// What a test has to go by.
pub struct Wiggled<'w> {
    /// The job.
    pub job: &'w Job,
    /// `bench` or `vehicle`.
    pub place: &'static str,
    /// With the battery on.
    pub live: bool,
    /// The probe.
    pub hello: &'w Hello,
    /// What was watched.
    pub watch: &'w Watch,
    /// What came apart.
    pub tally: &'w Tally,
    /// The shortest certain dropout of the widest group.
    pub certain: Option<Micros>,
    /// Terminals that were pulled.
    pub pulled: Vec<Pulled>,
    /// Why the probe would not go on.
    pub refusal: Option<String>,
    /// Broken off, and whether something was still to be pulled.
    pub broken_off: Option<bool>,
}

/// The report.
#[must_use]
pub fn report(wiggled: Wiggled<'_>) -> Report {
    let Wiggled {
        job,
        place,
        live,
        hello,
        watch,
        tally,
        certain,
        pulled,
        refusal,
        broken_off,
    } = wiggled;
    let speaker = Speaker::new(job);
    let verdict = if refusal.is_some() {
        Verdict::Refused
    } else if tally.any() {
        Verdict::Faults
    } else if watch.groups.is_empty() || tally.lasted == 0 || broken_off == Some(true) {
        Verdict::Undecided
    } else {
        Verdict::Pass
    };
    let places = |spot: usize| {
        let spot = watch.spots.get(spot);
        spot.map_or(Vec::new(), |spot| spot.joints.iter().map(spelled).collect())
    };
    let joints = watch.seen().into_iter().filter_map(|at| {
        let (spot, line) = (watch.spots.get(at)?, tally.lines.get(at)?);
        let words: Vec<String> = spot
            .joints
            .iter()
            .map(|joint| speaker.joint(joint))
            .collect();
        Some(joint_report(
            places(at),
            words.join(", or "),
            line,
            (tally.lasted, spot.slow),
        ))
    });
    let events = tally.events.iter().map(|event| EventReport {
        places: event.spots.iter().flat_map(|spot| places(*spot)).collect(),
        at_seconds: seconds(event.at),
        count: event.count,
        longest_microseconds: event.longest,
    });
    Report {
        verdict,
        title: job.title.clone(),
        place: place.to_owned(),
        live,
        plan_digest: job.digest.clone(),
        answers: job.answers.clone(),
        probe: ProbeReport::of(hello),
        seconds: seconds(tally.lasted),
        certain_microseconds: certain.map(|Micros(us)| us),
        leads_at_once: watch.widest(),
        groups: watch.groups.len(),
        refusal,
        joints: joints.collect(),
        not_watched: watch
            .unwatched
            .iter()
            .map(|(joint, why)| NotWatched {
                place: spelled(joint),
                why: why.words().to_owned(),
            })
            .collect(),
        events: events.collect(),
        unexplained: tally.unexplained,
        pulled,
        broken_off: broken_off.is_some(),
    }
}

fn joint_report(
    places: Vec<String>,
    say: String,
    line: &Line,
    (lasted, slow): (u64, bool),
) -> JointReport {
    let apart = line.count > 0;
    let ohms = line
        .worst
        .map(|ohms| ohms.0)
        .filter(|ohms| ohms.is_finite());
    JointReport {
        places,
        say,
        count: line.count,
        first_seconds: apart.then(|| seconds(line.first)),
        last_seconds: apart.then(|| seconds(line.last)),
        longest_microseconds: apart.then_some(line.longest),
        open_at_end: line.open,
        worst_ohms: ohms.map(|ohms| (ohms * 1e3).round() / 1e3),
        watched_percent: if lasted == 0 {
            0.0
        } else {
            (line.watched as f64 / lasted as f64 * 1e3).round() / 10.0
        },
        slow,
    }
}

fn seconds(microseconds: u64) -> f64 {
    microseconds as f64 / 1e6
}

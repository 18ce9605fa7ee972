//! What a first power reports, as data: printed as JSON as it stands, and put into plain
//! words by [`super::text`].

use std::collections::BTreeMap;

use loomproof_core::units::Amperes;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::course::Course;
use super::look::PointReport;
use crate::plan::model::Job;
use crate::ringout::report::{ProbeReport, Verdict};

/// The report of one first power.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[schemars(title = "First power report")]
pub struct Report {
    /// `pass`, `faults` or `undecided`.
    pub verdict: Verdict,
    /// Title of the plan.
    pub title: String,
    /// SHA-256 of the plan file.
    pub plan_digest: String,
    /// The answers to the plan's options.
    pub answers: BTreeMap<String, String>,
    /// The probe; null where it never looked.
    pub probe: Option<ProbeReport>,
    /// The current limit that was stated, amperes.
    pub limit_amperes: f64,
    /// How the current was read: `shunt` or `typed`.
    pub read_by: String,
    /// The harness's own fuses, as they went in.
    pub fuses: Vec<String>,
    /// With them out; null where it did not come so far.
    pub without: Option<PowerReport>,
    /// With them in; null where it did not come so far.
    pub with: Option<PowerReport>,
    /// What that means.
    pub say: String,
    /// What to do.
    #[serde(rename = "do")]
    pub act: String,
    /// Whether it was broken off before its end; left out where it was not.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub broken_off: bool,
}

/// Power on once.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PowerReport {
    /// The holders of the own fuses.
    pub points: Vec<PointReport>,
    /// The current; null where it was not read.
    pub current: Option<Course>,
}

impl PowerReport {
    /// Points that are off.
    pub fn off(&self) -> impl Iterator<Item = &PointReport> {
        self.points.iter().filter(|it| it.verdict == "off")
    }

    /// Whether power must not stay on.
    #[must_use]
    pub fn stops(&self) -> bool {
        self.off().next().is_some() || self.current.is_some_and(|it| it.limited)
    }
}

/// What a report is made of.
pub struct Powered<'p> {
    /// The job.
    pub job: &'p Job,
    /// The limit.
    pub limit: Amperes,
    /// Whether a shunt was watched.
    pub shunt: bool,
    /// The probe.
    pub probe: Option<ProbeReport>,
    /// With the fuses out, and in.
    pub looks: (Option<PowerReport>, Option<PowerReport>),
    /// Broken off before its end.
    pub broken_off: bool,
}

/// Makes the report.
#[must_use]
pub fn report(powered: Powered<'_>) -> Report {
    let Powered {
        job,
        looks: (without, with),
        ..
    } = powered;
    let (verdict, say, act) = judge(job, without.as_ref(), with.as_ref());
    Report {
        verdict,
        title: job.title.clone(),
        plan_digest: job.digest.clone(),
        answers: job.answers.clone(),
        probe: powered.probe,
        limit_amperes: powered.limit.0,
        read_by: if powered.shunt { "shunt" } else { "typed" }.to_owned(),
        fuses: job.fuses.iter().map(|fuse| fuse.name.clone()).collect(),
        without,
        with,
        say,
        act,
        broken_off: powered.broken_off,
    }
}

/// The verdict on what was seen.
fn judge(
    job: &Job,
    without: Option<&PowerReport>,
    with: Option<&PowerReport>,
) -> (Verdict, String, String) {
    let faults = |say: String, act: &str| (Verdict::Faults, say, act.to_owned());
    let undecided = |say: &str, act: &str| (Verdict::Undecided, say.to_owned(), act.to_owned());
    let said =
        |look: &PowerReport| -> Vec<String> { look.off().map(|point| point.say.clone()).collect() };
    let on = [(without, false), (with, true)];
    for (look, fused) in on.into_iter().filter_map(|(look, it)| Some((look?, it))) {
        let off = said(look);
        if !off.is_empty() && !fused {
            return faults(
                format!("With its own fuses out: {}.", off.join("; ")),
                "Leave the fuse out. Battery off, and ring out what is behind it; the fuse goes in \
                 when that has passed.",
            );
        }
        if look.current.is_some_and(|it| it.limited) {
            let what = match fused {
                false => "With its own fuses out the current stays at the limit.",
                true => "With its own fuses in the current stays at the limit.",
            };
            return faults(
                what.to_owned(),
                match fused {
                    false => {
                        "Battery off. What draws is the vehicle's own, or a feed of the harness in \
                         front of its fuse: ring that out. If the vehicle takes so much at rest, \
                         state a higher limit."
                    }
                    true => {
                        "Battery off, fuses out. One after the other goes back in: the one with \
                         which it comes back leads to the wire."
                    }
                },
            );
        }
        if !off.is_empty() {
            return faults(
                format!("With its own fuses in: {}.", off.join("; ")),
                "Battery off, fuses out; look whether one has blown, and ring out what is behind \
                 it.",
            );
        }
    }
    let (Some(without), Some(with)) = (without, with) else {
        return undecided(
            "Nothing is off so far, but it was not gone through to the end.",
            "Begin again with the own fuses out.",
        );
    };
    let (Some(before), Some(after)) = (without.current, with.current) else {
        return undecided(
            "Nothing is off at the fuses, but the current was not read.",
            "Read it at the supply, or state a shunt with --shunt.",
        );
    };
    if !before.rests || !after.rests {
        return undecided(
            "The current did not come to rest in the time.",
            "Ignition off, every switch at rest, key away; then once more.",
        );
    }
    let hidden: Vec<&str> = without
        .points
        .iter()
        .filter(|it| it.verdict == "cannot be seen")
        .map(|it| it.point.as_str())
        .collect();
    let mut say =
        "Nothing behind the own fuses is joined to chassis at rest, and the current stays \
                   below the limit."
            .to_owned();
    if job.fuses.is_empty() {
        "The current stays below the limit. This plan has no fuse of its own.".clone_into(&mut say);
    } else if !hidden.is_empty() {
        say = format!(
            "The current stays below the limit. At {} the look itself shows nothing: what is \
             plugged there is as low as a short.",
            hidden.join(", ")
        );
    }
    (
        Verdict::Pass,
        say,
        "Take the limit out and go on with the live check.".to_owned(),
    )
}

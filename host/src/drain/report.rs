//! What a test of the standing drain reports, as data: printed as JSON as it stands,
//! and put into plain words by [`super::text`].

use std::collections::BTreeMap;
use std::time::Duration;

use loomproof_core::units::{Amperes, Ohms, Volts};
use loomproof_core::wire::Hello;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::budget::{LOADS, noise, shunt, uncertainty};
use super::course::{Sample, settled};
use super::measure::{LOOKS, NULL_LOOKS};
use crate::plan::electrics::{Across, Drain};
use crate::plan::model::Job;
use crate::ringout::report::{ProbeReport, Verdict};

/// The report of one test of the standing drain.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[schemars(title = "Standing drain report")]
pub struct Report {
    /// `pass`: below the limit. `faults`: above it. `undecided`: the probe cannot tell,
    /// or it has not settled.
    pub verdict: Verdict,
    /// Title of the plan.
    pub title: String,
    /// SHA-256 of the plan file.
    pub plan_digest: String,
    /// The answers to the plan's options.
    pub answers: BTreeMap<String, String>,
    /// The probe.
    pub probe: ProbeReport,
    /// Its name in the plan.
    pub drain: String,
    /// Where the two leads stood.
    pub place: String,
    /// `fuse` or `shunt`.
    pub across: String,
    /// Least and most resistance of it, by the plan.
    pub ohms: (f64, f64),
    /// The limit, milliamperes.
    pub limit_milliamperes: f64,
    /// Battery voltage, volts.
    pub battery_volts: f64,
    /// Uncertainty of the settled voltage, millivolts, twice the standard deviation.
    pub uncertainty_millivolts: f64,
    /// What flows with everything asleep; null where it did not settle.
    pub settled: Option<Current>,
    /// The mean since it was asleep for the first time, with all that woke up.
    pub average: Option<Current>,
    /// The most that flowed in any sample; null where nothing was read.
    pub highest: Option<Current>,
    /// How often something woke up since then.
    pub woke: u32,
    /// When it was quiet at the settled value for the first time, seconds.
    pub asleep_after_seconds: Option<f64>,
    /// How long it was watched, seconds.
    pub seconds: f64,
    /// What that means.
    pub say: String,
    /// What to do.
    #[serde(rename = "do")]
    pub act: String,
    /// A shunt in place of the fuse with which the probe could tell; null where it can,
    /// or where none helps.
    pub shunt_ohms: Option<f64>,
    /// Whether it was broken off before its end; left out where it was not.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub broken_off: bool,
}

/// A current with all that is uncertain of it, milliamperes.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Current {
    /// At least.
    pub least: f64,
    /// Best estimate.
    pub estimate: f64,
    /// At most.
    pub most: f64,
}

/// What a report is made of.
pub struct Drained<'d> {
    /// The job.
    pub job: &'d Job,
    /// What was measured.
    pub drain: &'d Drain,
    /// The probe.
    pub hello: &'d Hello,
    /// The battery's voltage.
    pub battery: Volts,
    /// What was read.
    pub samples: &'d [Sample],
    /// Broken off before its end.
    pub broken_off: bool,
}

/// The current by a voltage across the fuse or shunt; what the probe itself draws
/// behind it is taken off.
#[must_use]
pub fn current(across: Volts, ohms: (Ohms, Ohms), own: Amperes, by: Volts) -> Current {
    let amperes = |volts: f64, more: Ohms, less: Ohms| {
        let ohms = if volts < 0.0 { less } else { more };
        volts / ohms.0 - own.0
    };
    let (low, high) = ohms;
    let middle = Ohms(f64::midpoint(low.0, high.0));
    let milli = |amperes: f64| (amperes * 1e6).round() / 1e3;
    Current {
        least: milli(amperes(across.0 - by.0, high, low)),
        estimate: milli(amperes(across.0, middle, middle)),
        most: milli(amperes(across.0 + by.0, low, high)),
    }
}

/// Makes the report.
#[must_use]
pub fn report(drained: &Drained<'_>) -> Report {
    let Drained {
        job,
        drain,
        battery,
        samples,
        ..
    } = *drained;
    let own = Amperes(battery.0 / LOADS.0);
    let of = |across: Volts, count: usize| {
        let by = uncertainty(across, battery, LOOKS * count, NULL_LOOKS);
        current(across, drain.ohms, own, by)
    };
    let sigma = Volts(noise(LOOKS).0 * std::f64::consts::SQRT_2);
    let found = settled(samples, drain.asleep_after, sigma);
    let highest = samples
        .iter()
        .max_by(|a, b| a.across.0.total_cmp(&b.across.0));
    let rest = found.map_or(Volts(0.0), |it| it.across);
    let count = found.map_or(1, |it| it.samples);
    let mut report = Report {
        verdict: Verdict::Undecided,
        title: job.title.clone(),
        plan_digest: job.digest.clone(),
        answers: job.answers.clone(),
        probe: ProbeReport::of(drained.hello),
        drain: drain.name.clone(),
        place: drain.place.clone(),
        across: match drain.across {
            Across::Fuse => "fuse",
            Across::Shunt => "shunt",
        }
        .to_owned(),
        ohms: (drain.ohms.0.0, drain.ohms.1.0),
        limit_milliamperes: drain.limit.0 * 1e3,
        battery_volts: (battery.0 * 100.0).round() / 100.0,
        uncertainty_millivolts: {
            let by = uncertainty(rest, battery, LOOKS * count, NULL_LOOKS);
            (by.0 * 1e6).round() / 1e3
        },
        settled: found.map(|it| of(it.across, it.samples)),
        average: found.map(|it| of(it.since, it.samples_since)),
        highest: highest.map(|it| of(it.across, 1)),
        woke: found.map_or(0, |it| it.woke),
        asleep_after_seconds: found.map(|it| it.first.as_secs_f64()),
        seconds: samples.last().map_or(0.0, |it| it.at.as_secs_f64()),
        say: String::new(),
        act: String::new(),
        shunt_ohms: None,
        broken_off: drained.broken_off,
    };
    judge(&mut report, drain, battery);
    report
}

/// The verdict on what was read.
fn judge(report: &mut Report, drain: &Drain, battery: Volts) {
    let limit = report.limit_milliamperes;
    let (verdict, say, act) = match (report.settled, report.average) {
        (Some(rest), _) if rest.most < 0.0 => (
            Verdict::Undecided,
            "Current flows into the battery: the leads are exchanged, or something charges it.",
            "Put P1 on the battery's side, take chargers off, and test again.",
        ),
        (Some(rest), _) if rest.least > limit => (
            Verdict::Faults,
            "More than the limit flows with everything asleep.",
            "Pull the fuses of the job one after the other and watch the value: the one that \
             brings it down leads to what stays awake. Then the vehicle's own.",
        ),
        (Some(rest), Some(all)) if rest.most <= limit && all.least > limit => (
            Verdict::Faults,
            "Asleep it is below the limit, but something wakes up so often that the average is \
             above it.",
            "Look for what wakes it: a door switch, a module of the job that keeps calling.",
        ),
        (Some(rest), Some(all)) if rest.most <= limit && all.most <= limit => (
            Verdict::Pass,
            "Less than the limit flows with everything asleep.",
            "",
        ),
        (Some(_), _) => {
            undecided(report, drain, battery);
            return;
        }
        (None, _) => (
            Verdict::Undecided,
            "It did not settle: something stays awake or keeps waking up, or it was not watched \
             long enough.",
            "Lock the vehicle, keep the key away, close every door and lid (or its latch), and \
             watch longer; then pull fuses one after the other.",
        ),
    };
    report.verdict = verdict;
    say.clone_into(&mut report.say);
    act.clone_into(&mut report.act);
}

/// The limit lies within the uncertainty.
fn undecided(report: &mut Report, drain: &Drain, battery: Volts) {
    "The limit lies within what the probe does not know: it cannot tell whether the drain is \
     above it."
        .clone_into(&mut report.say);
    let least = uncertainty(Volts(0.0), battery, LOOKS, NULL_LOOKS);
    let better = shunt(drain.limit.0, least).filter(|better| {
        // More volts for the same current, or a resistance that is better known.
        let known = (drain.ohms.1.0 - drain.ohms.0.0) / drain.ohms.0.0 < 0.05;
        better.0 > drain.ohms.1.0 || !known
    });
    report.shunt_ohms = better.map(|ohms| ohms.0);
    report.act = match better {
        Some(ohms) => format!(
            "Put a shunt of {} Ω (1 %) in its place, bridged until everything is asleep, \
             state it in the plan, and test again.",
            ohms.0
        ),
        None => "It is so near to the limit that no usual shunt decides it; measure with a bench \
                 meter in place of the fuse."
            .to_owned(),
    };
}

/// How long is watched at most: until everything has to be asleep, and then as long
/// again as somebody is patient.
#[must_use]
pub fn longest(drain: &Drain) -> Duration {
    const PATIENCE: Duration = Duration::from_secs(600);
    drain.asleep_after + PATIENCE
}

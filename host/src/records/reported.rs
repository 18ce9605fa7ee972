//! What a record takes from the report of any test, and the report again as it is
//! read.

use std::collections::BTreeMap;

use serde::Serialize;

use super::record::{Found, Test};
use crate::ringout::report::{FaultReport, ProbeReport, Verdict};
use crate::ringout::text::is_simulated;
use crate::{comeback, drain, first_power, live, own, ringout, wiggle};

/// What stands at the head of a record.
#[derive(Debug, Clone)]
pub struct Head<'r> {
    /// What was done.
    pub test: Test,
    /// The verdict.
    pub verdict: Verdict,
    /// Title of the plan.
    pub title: &'r str,
    /// SHA-256 of the plan file.
    pub plan_digest: &'r str,
    /// The answers to the plan's options.
    pub answers: &'r BTreeMap<String, String>,
    /// `bench` or `vehicle`.
    pub place: &'r str,
    /// The probe; none where somebody typed what a multimeter showed.
    pub probe: Option<&'r ProbeReport>,
    /// Whether harness or vehicle were simulated.
    pub simulated: bool,
    /// Whether it was broken off before its end.
    pub broken_off: bool,
    /// What was found.
    pub found: Vec<Found>,
}

/// A report that a record can be made of.
pub trait Reports: Serialize {
    /// What stands at the head of its record.
    fn head(&self) -> Head<'_>;
}

impl Reports for ringout::report::Report {
    fn head(&self) -> Head<'_> {
        let best = self.groups.first().filter(|_| !self.lost);
        Head {
            test: Test::Ringout,
            verdict: self.verdict,
            title: &self.title,
            plan_digest: &self.plan_digest,
            answers: &self.answers,
            place: &self.place,
            simulated: is_simulated(&self.probe.board),
            probe: Some(&self.probe),
            broken_off: false,
            found: best.map_or_else(Vec::new, |best| {
                found(best.sets.iter().map(names).zip(best.shares.iter().copied()))
            }),
        }
    }
}

impl Reports for live::Report {
    fn head(&self) -> Head<'_> {
        Head {
            test: Test::Live,
            verdict: self.verdict,
            title: &self.title,
            plan_digest: &self.plan_digest,
            answers: &self.answers,
            place: "vehicle",
            simulated: is_simulated(&self.probe.board),
            probe: Some(&self.probe),
            broken_off: self.broken_off,
            found: self.groups.first().map_or_else(Vec::new, |best| {
                found(best.sets.iter().map(names).zip(best.shares.iter().copied()))
            }),
        }
    }
}

impl Reports for wiggle::Report {
    /// Found is every joint that came apart; of those that cannot be told apart each
    /// counts alike.
    fn head(&self) -> Head<'_> {
        let apart = self.joints.iter().filter(|joint| joint.count > 0);
        Head {
            test: Test::Wiggle,
            verdict: self.verdict,
            title: &self.title,
            plan_digest: &self.plan_digest,
            answers: &self.answers,
            place: &self.place,
            simulated: is_simulated(&self.probe.board),
            probe: Some(&self.probe),
            broken_off: self.broken_off,
            found: apart
                .flat_map(|joint| {
                    let each = 1.0 / joint.places.len() as f64;
                    found(joint.places.iter().map(|place| {
                        let name = ("intermittent".to_owned(), place.clone());
                        (vec![name], each)
                    }))
                })
                .collect(),
        }
    }
}

impl Reports for comeback::report::Report {
    /// Found is the first group, where the verdict names it as the cause; each of its
    /// sets counts alike.
    fn head(&self) -> Head<'_> {
        let best = self.groups.first();
        let best = best.filter(|_| self.verdict == Verdict::Faults);
        Head {
            test: Test::Comeback,
            verdict: self.verdict,
            title: &self.title,
            plan_digest: &self.plan_digest,
            answers: &self.answers,
            place: "vehicle",
            probe: self.probe.as_ref(),
            simulated: self.simulated,
            broken_off: self.broken_off,
            found: best.map_or_else(Vec::new, |best| {
                let each = 1.0 / best.sets.len() as f64;
                let set = |set: &Vec<_>| names_of(set.iter().map(suspect));
                found(best.sets.iter().map(|own| (set(own), each)))
            }),
        }
    }
}

impl Reports for drain::Report {
    /// Nothing is found by name: what draws is looked for by hand.
    fn head(&self) -> Head<'_> {
        Head {
            test: Test::Drain,
            verdict: self.verdict,
            title: &self.title,
            plan_digest: &self.plan_digest,
            answers: &self.answers,
            place: "vehicle",
            simulated: is_simulated(&self.probe.board),
            probe: Some(&self.probe),
            broken_off: self.broken_off,
            found: Vec::new(),
        }
    }
}

impl Reports for own::Report {
    /// Found is what did not work at the conductors that the probe was on.
    fn head(&self) -> Head<'_> {
        let best = self.measured.as_ref().and_then(|it| it.groups.first());
        Head {
            test: Test::Own,
            verdict: self.verdict,
            title: &self.title,
            plan_digest: &self.plan_digest,
            answers: &self.answers,
            place: "vehicle",
            simulated: self
                .probe
                .as_ref()
                .is_some_and(|probe| is_simulated(&probe.board)),
            probe: self.probe.as_ref(),
            broken_off: self.broken_off,
            found: best.map_or_else(Vec::new, |best| {
                found(best.sets.iter().map(names).zip(best.shares.iter().copied()))
            }),
        }
    }
}

impl Reports for first_power::Report {
    /// Nothing is found by name: which wire it is, the ring-out says.
    fn head(&self) -> Head<'_> {
        Head {
            test: Test::Power,
            verdict: self.verdict,
            title: &self.title,
            plan_digest: &self.plan_digest,
            answers: &self.answers,
            place: "vehicle",
            simulated: self
                .probe
                .as_ref()
                .is_some_and(|probe| is_simulated(&probe.board)),
            probe: self.probe.as_ref(),
            broken_off: self.broken_off,
            found: Vec::new(),
        }
    }
}

fn suspect(one: &comeback::report::SuspectReport) -> &FaultReport {
    &one.fault
}

fn names(set: &Vec<FaultReport>) -> Vec<(String, String)> {
    names_of(set)
}

/// Kind and place of each, once.
fn names_of<'f>(set: impl IntoIterator<Item = &'f FaultReport>) -> Vec<(String, String)> {
    let set = set.into_iter();
    let mut named: Vec<(String, String)> = set
        .map(|fault| (fault.kind.clone(), fault.place.clone()))
        .collect();
    named.sort_unstable();
    named.dedup();
    named
}

/// The faults of sets, each with the share of the sets that hold it, the largest
/// first.
fn found(sets: impl IntoIterator<Item = (Vec<(String, String)>, f64)>) -> Vec<Found> {
    let mut weights: BTreeMap<(String, String), f64> = BTreeMap::new();
    for (set, share) in sets {
        for name in set {
            *weights.entry(name).or_default() += share;
        }
    }
    let mut found: Vec<Found> = weights
        .into_iter()
        .map(|((kind, place), weight)| Found {
            kind,
            place,
            permille: permille(weight),
        })
        .filter(|found| found.permille > 0)
        .collect();
    found.sort_by_key(|found| std::cmp::Reverse(found.permille));
    found
}

#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a share is between 0 and 1"
)]
fn permille(share: f64) -> u32 {
    (share.clamp(0.0, 1.0) * 1000.0).round() as u32
}

/// The report of a record, as this version of the program knows reports.
#[derive(Debug, Clone)]
pub enum Reported {
    /// Of a dead test.
    Ringout(Box<ringout::report::Report>),
    /// Of a live check.
    Live(Box<live::Report>),
    /// Of a wiggle test.
    Wiggle(Box<wiggle::Report>),
    /// Of a comeback.
    Comeback(Box<comeback::report::Report>),
    /// Of a test of the standing drain.
    Drain(Box<drain::Report>),
    /// Of a round through the vehicle's own functions.
    Own(Box<own::Report>),
    /// Of a first power.
    Power(Box<first_power::Report>),
}

impl Reported {
    /// As a fitter reads it.
    #[must_use]
    pub fn render(&self) -> String {
        match self {
            Self::Ringout(report) => ringout::text::render(report, ringout::text::Detail::Plain),
            Self::Live(report) => live::text::render(report),
            Self::Wiggle(report) => wiggle::text::render(report),
            Self::Comeback(report) => comeback::text::render(report),
            Self::Drain(report) => drain::text::render(report),
            Self::Own(report) => own::text::render(report),
            Self::Power(report) => first_power::text::render(report),
        }
    }
}

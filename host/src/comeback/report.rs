//! What a comeback reports, as data: printed as JSON as it stands, and put into plain
//! words by [`super::text`].

use std::collections::{BTreeMap, BTreeSet};

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::asks::Ask;
use super::belief::{Answer, Belief, fits, number};
use super::confirm::confirm;
use super::inquiry::{FITTING, Inquiry};
use super::next::{Field, Group, Position, Proposal, settled};
use super::told::{How, Symptom};
use super::{session, text};
use crate::bench::Upset;
use crate::diagnosis::words::Speaker;
use crate::plan::model::Job;
use crate::powered::Cause;
use crate::ringout::report::{FaultReport, ProbeReport, Verdict};

/// The report of one comeback.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[schemars(title = "Comeback report")]
pub struct Report {
    /// `pass`, `faults` or `undecided`.
    pub verdict: Verdict,
    /// Title of the plan.
    pub title: String,
    /// SHA-256 of the plan file.
    pub plan_digest: String,
    /// The answers to the plan's options.
    pub answers: BTreeMap<String, String>,
    /// Battery voltage that was reckoned with.
    pub battery_volts: f64,
    /// Whether a simulated vehicle answered.
    pub simulated: bool,
    /// The probe that read; null where somebody typed what a multimeter showed, and for a
    /// simulated vehicle.
    pub probe: Option<ProbeReport>,
    /// Whether it was left before a cause was found; left out where it was not.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub broken_off: bool,
    /// What was told of each function: `works`, `fails`, `stays-on`.
    pub symptoms: BTreeMap<String, How>,
    /// What was put right before in this session, first one first; left out where nothing
    /// was.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub repaired: Vec<SuspectReport>,
    /// What was named, looked at and is sound; left out where nothing was.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub sound: Vec<SuspectReport>,
    /// Suspects, most probable first; those in one group cannot be told apart by anything
    /// that can be asked.
    pub groups: Vec<GroupReport>,
    /// How to confirm the repair of the first group.
    pub confirm: Vec<String>,
    /// What was asked and answered.
    pub asked: Vec<AskedReport>,
    /// How many readings and looks that were.
    pub readings: usize,
    /// Their effort, in readings.
    pub effort: f64,
    /// What would tell more; null where nothing does.
    pub next: Option<NextReport>,
}

/// Suspects that nothing tells apart.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
pub struct GroupReport {
    /// Its probability.
    pub probability: f64,
    /// Whether it explains every answer.
    pub explains_all: bool,
    /// Sets of causes, most probable first.
    pub sets: Vec<Vec<SuspectReport>>,
}

/// One cause, and whose it is.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
pub struct SuspectReport {
    /// What is wrong and what to do.
    #[serde(flatten)]
    pub fault: FaultReport,
    /// Whose fault it is.
    pub whose: Whose,
}

/// Whose fault it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Whose {
    /// The harness or one of its joints.
    Ours,
    /// The vehicle's own.
    Vehicle,
    /// What is plugged to the harness.
    Consumer,
    /// Somebody was at it since, or the vehicle was changed before.
    SomebodyElse,
}

/// An ask with its answer.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
pub struct AskedReport {
    /// `volts` or `function`.
    pub ask: String,
    /// The point with its side, or the function.
    pub at: String,
    /// State of every switch.
    pub switches: BTreeMap<String, String>,
    /// As typed.
    pub reply: String,
    /// What the plan lets expect, in words.
    pub expected: String,
    /// The first group of suspects does not explain it: worth reading again.
    pub odd: bool,
}

/// The ask that tells most for its effort.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
pub struct NextReport {
    /// In words.
    pub say: String,
    /// `volts` or `function`.
    pub ask: String,
    /// The point with its side, or the function.
    pub at: String,
    /// State of every switch.
    pub switches: BTreeMap<String, String>,
    /// What it tells.
    pub bits: f64,
    /// What it costs, in readings.
    pub effort: f64,
}

/// Where nothing more can be asked, a group is named as the cause from here on.
const LIKELY: f64 = 0.5;

/// How many groups are reported, and sets of each.
const GROUPS: usize = 5;
const SETS: usize = 8;

/// Whose fault a cause is; `passed` where a record shows that all was right once.
#[must_use]
pub fn whose(job: &Job, cause: &Cause, passed: bool) -> Whose {
    match cause {
        Cause::Wiring(fault) => match fault.kind() {
            "occupied" | "live" => Whose::SomebodyElse,
            kind if passed && FITTING.contains(&kind) => Whose::SomebodyElse,
            _ => Whose::Ours,
        },
        Cause::Upset(Upset::BulbOut(name)) => {
            if job.lamps.iter().any(|lamp| lamp.name == *name) {
                Whose::Ours
            } else if job.electrics.loads.iter().any(|load| load.name == *name) {
                Whose::Consumer
            } else {
                Whose::Vehicle
            }
        }
        Cause::Upset(_) => Whose::Vehicle,
    }
}

/// Everything a report is made of.
pub struct Came<'c, 'j> {
    /// The inquiry.
    pub inquiry: &'c Inquiry<'j>,
    /// The probabilities.
    pub belief: &'c Belief,
    /// What was told of the functions.
    pub symptoms: &'c [Symptom],
    /// What was asked.
    pub answers: &'c [Answer],
    /// Asks that cannot be made.
    pub barred: &'c BTreeSet<Ask>,
    /// How the vehicle stands.
    pub position: &'c Position,
    /// Places open at the start.
    pub open: &'c BTreeSet<usize>,
    /// The battery's voltage.
    pub battery_volts: f64,
    /// A record shows that the harness was right once.
    pub passed: bool,
    /// A simulated vehicle answered.
    pub simulated: bool,
    /// The probe that read.
    pub probe: Option<ProbeReport>,
    /// It was left before its end.
    pub broken_off: bool,
    /// What was put right before.
    pub repaired: &'c [Cause],
    /// What was looked at and is sound.
    pub sound: &'c [Cause],
}

/// Makes the report.
#[must_use]
pub fn report(came: &Came<'_, '_>) -> Report {
    let Came {
        inquiry,
        belief,
        symptoms,
        answers,
        barred,
        position,
        ..
    } = *came;
    let job = inquiry.job;
    let field = Field::new(&inquiry.asks, &inquiry.suspects, belief, barred);
    let groups = field.groups(belief);
    let next = if settled(&groups, answers.len()) {
        None
    } else {
        field.best(position)
    };
    let well = |group: &Group| {
        let mut members = group
            .members
            .iter()
            .filter_map(|at| inquiry.suspects.get(*at));
        members.any(|suspect| suspect.causes.is_empty())
    };
    let wrong = symptoms.iter().any(|it| it.how != How::Works);
    let verdict = match groups.first() {
        Some(best) if well(best) && settled(&groups, answers.len()) && !wrong => Verdict::Pass,
        Some(best) if well(best) || best.unfit > 1 => Verdict::Undecided,
        // Where nothing that can be asked tells more, the first group is the answer.
        Some(best)
            if settled(&groups, answers.len()) || (next.is_none() && best.share > LIKELY) =>
        {
            Verdict::Faults
        }
        _ => Verdict::Undecided,
    };
    let told = symptoms.iter().filter_map(|symptom| {
        let function = job.functions.get(symptom.function)?;
        Some((function.name.clone(), symptom.how))
    });
    Report {
        verdict,
        title: job.title.clone(),
        plan_digest: job.digest.clone(),
        answers: job.answers.clone(),
        battery_volts: came.battery_volts,
        simulated: came.simulated,
        probe: came.probe.clone(),
        broken_off: came.broken_off,
        symptoms: told.collect(),
        repaired: suspects(job, came.repaired.iter(), came.passed),
        sound: suspects(job, came.sound.iter(), came.passed),
        confirm: groups
            .first()
            .filter(|_| verdict == Verdict::Faults)
            .map_or_else(Vec::new, |best| confirm(came, best)),
        groups: groups
            .iter()
            .take(GROUPS)
            .map(|group| group_report(came, group))
            .collect(),
        asked: answers
            .iter()
            .map(|answer| asked(inquiry, answer, groups.first()))
            .collect(),
        readings: answers.len(),
        effort: spent(inquiry, answers, came.open),
        next: next.map(|proposal| next_report(inquiry, &proposal)),
    }
}

/// The effort of asks in their order.
#[must_use]
pub fn spent(inquiry: &Inquiry<'_>, answers: &[Answer], open: &BTreeSet<usize>) -> f64 {
    let mut position = Position {
        setting: 0,
        open: open.clone(),
    };
    let mut sum = 0.0;
    for answer in answers {
        sum += inquiry
            .asks
            .effort(&answer.ask, position.setting, &position.open);
        position = position.after(&inquiry.asks, &answer.ask);
    }
    sum
}

fn group_report(came: &Came<'_, '_>, group: &Group) -> GroupReport {
    let job = came.inquiry.job;
    let sets = sets(came.inquiry, group).into_iter();
    GroupReport {
        probability: (group.share * 1e4).round() / 1e4,
        explains_all: group.unfit == 0,
        sets: sets
            .map(|set| suspects(job, set.iter(), came.passed))
            .collect(),
    }
}

/// The sets of causes of a group that are named, most probable first: causes that differ
/// by their ohms only are one, and eight are enough. What was looked at is named again only
/// where there is nothing else.
#[must_use]
pub fn sets<'i>(inquiry: &'i Inquiry<'_>, group: &Group) -> Vec<&'i [Cause]> {
    let members = group.members.iter();
    let members = members.filter_map(|at| inquiry.suspects.get(*at));
    let left = members.clone().any(|suspect| !inquiry.is_cleared(suspect));
    let members = members.filter(|suspect| !left || !inquiry.is_cleared(suspect));
    let mut told = BTreeSet::new();
    let new = members.filter(|suspect| {
        let names = suspect.causes.iter().map(Cause::name);
        told.insert(names.collect::<Vec<_>>())
    });
    let sets = new.map(|suspect| suspect.causes.as_slice());
    sets.take(SETS).collect()
}

fn suspects<'c>(
    job: &Job,
    causes: impl Iterator<Item = &'c Cause>,
    passed: bool,
) -> Vec<SuspectReport> {
    let speaker = Speaker::new(job);
    let each = causes.map(|cause| SuspectReport {
        fault: crate::live::text::cause(&speaker, cause),
        whose: whose(job, cause, passed),
    });
    each.collect()
}

fn asked(inquiry: &Inquiry<'_>, answer: &Answer, best: Option<&Group>) -> AskedReport {
    let at = number(&inquiry.asks, &answer.ask);
    let best = best.and_then(|best| inquiry.suspects.get(*best.members.first()?));
    let odd = at.zip(best).is_some_and(|(at, best)| {
        best.forecasts
            .get(at)
            .is_some_and(|it| !fits(it, &answer.reply))
    });
    let entry = session::Entry::new(inquiry.job, &inquiry.asks, &answer.ask, &answer.reply);
    AskedReport {
        ask: entry.ask,
        at: entry.at,
        switches: entry.switches,
        reply: entry.reply,
        odd,
        expected: at
            .and_then(|at| inquiry.healthy.get(at))
            .map_or_else(String::new, |it| text::expected(answer.ask.what, it)),
    }
}

fn next_report(inquiry: &Inquiry<'_>, proposal: &Proposal) -> NextReport {
    let nothing = super::belief::Reply::NotPossible;
    let entry = session::Entry::new(inquiry.job, &inquiry.asks, &proposal.ask, &nothing);
    NextReport {
        say: text::ask(inquiry, &proposal.ask),
        ask: entry.ask,
        at: entry.at,
        switches: entry.switches,
        bits: (proposal.bits * 100.0).round() / 100.0,
        effort: proposal.effort,
    }
}

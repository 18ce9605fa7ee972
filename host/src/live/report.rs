//! What a live check reports, as data: printed as JSON as it stands, and put into
//! plain words by [`super::text`].

use std::collections::BTreeMap;

use loomproof_core::wire::Hello;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::battery::Battery;
use super::causes::{Case, Course};
use super::judge::{Distance, alike};
use super::observe::Observed;
use super::rhythm::{Rhythm, allowed};
use super::steps::Step;
use super::text;
use crate::diagnosis::words::Speaker;
use crate::fault::Fault;
use crate::plan::model::{Job, Signal};
use crate::powered::wiring::Touched;
use crate::powered::{Powered, Shown};
use crate::ringout::report::{
    FaultReport, GroupReport, ProbeReport, ProofReport, Undecided, Verdict,
};

/// The report of one live check.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[schemars(title = "Live check report")]
pub struct Report {
    /// `pass`, `faults` or `undecided`.
    pub verdict: Verdict,
    /// Title of the plan.
    pub title: String,
    /// SHA-256 of the plan file.
    pub plan_digest: String,
    /// The answers to the plan's options.
    pub answers: BTreeMap<String, String>,
    /// The probe that measured.
    pub probe: ProbeReport,
    /// Battery voltage as found at the points that are fed, volts; the nominal one
    /// where nothing is.
    pub battery_volts: f64,
    /// Each function of the plan, in its order.
    pub functions: Vec<FunctionReport>,
    /// What is wrong, most probable first: sets of causes that the observations
    /// cannot tell apart are one group.
    pub groups: Vec<GroupReport>,
    /// How far the first group is proved to be the best; null where there is none.
    pub proof: Option<ProofReport>,
    /// What is off and not explained, or was not steady enough to be judged.
    pub undecided: Vec<Undecided>,
    /// What flashes or is dimmed, and how.
    pub rhythms: Vec<RhythmReport>,
    /// What this check does not show.
    pub not_tested: Vec<String>,
    /// Whether it was broken off before its last step; left out where it was not.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub broken_off: bool,
    /// How many steps the whole check has.
    pub planned_steps: usize,
    /// What was observed, step by step.
    pub steps: Vec<StepReport>,
}

/// How a function did.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
pub struct FunctionReport {
    /// Its name.
    pub name: String,
    /// `works`, `fails` or `not tested`.
    pub verdict: String,
    /// What is wrong with it, or why it was not tested; empty where it works.
    pub say: String,
}

/// Something that flashes or is dimmed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RhythmReport {
    /// The test point.
    pub point: String,
    /// The step, from 1.
    pub step: usize,
    /// Cycles a minute, where it flashes.
    pub per_minute: Option<f64>,
    /// Cycles a second, where it is dimmed.
    pub hertz: Option<f64>,
    /// The share of the time that it is on, in percent.
    pub on_percent: f64,
    /// Whether that is what plan and rules ask for.
    pub good: bool,
    /// In words.
    pub say: String,
}

/// What was observed in one state of the switches.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
pub struct StepReport {
    /// State of every switch, by name.
    pub switches: BTreeMap<String, String>,
    /// Functions that must be on.
    pub on: Vec<String>,
    /// Every test point.
    pub points: Vec<PointReport>,
}

/// One test point in one state.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
pub struct PointReport {
    /// The probe lead.
    pub lead: String,
    /// The test point.
    pub point: String,
    /// Voltage, or the higher one where it changes by itself.
    pub volts: f64,
    /// The lower one where it changes by itself.
    pub low_volts: Option<f64>,
    /// Nothing holds it: it follows a weak pull both ways.
    pub floating: bool,
    /// Least and most voltage expected; null where the plan does not say.
    pub expected_volts: Option<(f64, f64)>,
    /// `as expected`, `off` or `not judged`.
    pub verdict: String,
}

/// What a check has to go by.
pub struct Checked<'c> {
    /// The job.
    pub job: &'c Job,
    /// Its powered circuit.
    pub powered: &'c Powered,
    /// The steps of the whole check; the first of them were taken.
    pub steps: &'c [Step],
    /// What was observed in each.
    pub seen: &'c [Vec<Observed>],
    /// Faults that the plan allows on this hook-up.
    pub faults: Vec<Fault>,
    /// The probe.
    pub hello: &'c Hello,
}

/// How many groups are reported.
const GROUPS: usize = 5;

/// Judges a check and looks for causes.
///
/// # Errors
/// A sentence that says what cannot be computed.
pub fn report(checked: Checked<'_>) -> Result<Report, String> {
    let Checked {
        job,
        powered,
        steps: planned,
        seen,
        faults,
        hello,
    } = checked;
    let steps = planned.get(..seen.len()).unwrap_or(planned);
    let broken_off = seen.len() < planned.len();
    let nominal = super::causes::expected(powered, steps, job.supply)?;
    let battery = Battery::of(&nominal, seen, job.supply);
    let mut case = Case::new(powered, steps, seen, &battery.steps)?;
    let mut groups = Vec::new();
    let mut proof = None;
    let mut undecided = Vec::new();
    if case.off() {
        case.suspect(job, faults);
        (groups, proof) = explain(job, &case)?;
        if !groups.first().is_some_and(|best| best.explains_all) {
            undecided.extend(open(job, &case, powered, steps, seen));
        }
    }
    let rhythms = rhythms(powered, &case.healthy, seen);
    let mut functions = functions(job, powered, steps, &case);
    if broken_off {
        not_reached(planned, steps, &mut functions);
    }
    let fails = functions.iter().any(|function| function.verdict == "fails");
    let works = functions.iter().any(|function| function.verdict == "works");
    let verdict = if case.off() || fails || rhythms.iter().any(|rhythm| !rhythm.good) {
        Verdict::Faults
    } else if works && !broken_off {
        Verdict::Pass
    } else {
        Verdict::Undecided
    };
    Ok(Report {
        verdict,
        title: job.title.clone(),
        plan_digest: job.digest.clone(),
        answers: job.answers.clone(),
        probe: ProbeReport::of(hello),
        battery_volts: round(battery.middle.0),
        not_tested: not_tested(job, powered, &case, &functions),
        broken_off,
        planned_steps: planned.len(),
        functions,
        groups,
        proof,
        undecided,
        rhythms,
        steps: step_reports(job, powered, steps, seen, &case),
    })
}

/// Groups of causes, and how far the best is proved.
fn explain(job: &Job, case: &Case<'_>) -> Result<(Vec<GroupReport>, Option<ProofReport>), String> {
    let speaker = Speaker::new(job);
    let outcome = case.search()?;
    let best = outcome.found.first().map_or(0.0, |found| found.weight);
    let total: f64 = outcome
        .found
        .iter()
        .map(|it| (it.weight - best).exp())
        .sum();
    let mut courses: Vec<Course> = Vec::new();
    let mut groups: Vec<(GroupReport, Vec<f64>)> = Vec::new();
    for found in &outcome.found {
        let share = (found.weight - best).exp() / total;
        let course = case.course(&found.set)?;
        let set: Vec<FaultReport> = found
            .set
            .iter()
            .filter_map(|one| Some(text::cause(&speaker, case.cause(*one)?)))
            .collect();
        let home = courses.iter().position(|other| Case::same(other, &course));
        match home.and_then(|at| groups.get_mut(at)) {
            Some((group, shares)) => {
                let names = |set: &[FaultReport]| -> Vec<String> {
                    set.iter().map(|one| one.fault.clone()).collect()
                };
                let own = names(&set);
                let holds =
                    |other: &Vec<FaultReport>| names(other).iter().all(|name| own.contains(name));
                group.probability = (group.probability + share).min(1.0);
                if !group.sets.iter().any(holds) {
                    group.sets.push(set);
                    shares.push(share);
                }
            }
            None => {
                groups.push((
                    GroupReport {
                        probability: share.min(1.0),
                        explains_all: case.unexplained(&course).is_empty(),
                        because: Vec::new(),
                        sets: vec![set],
                        shares: Vec::new(),
                    },
                    vec![share],
                ));
                courses.push(course);
            }
        }
    }
    groups.sort_by(|(a, _), (b, _)| b.probability.total_cmp(&a.probability));
    let groups = groups.into_iter().take(GROUPS).map(|(mut group, shares)| {
        let all: f64 = shares.iter().sum();
        group.shares = shares.iter().map(|share| share / all).collect();
        group
    });
    let proof = (!outcome.found.is_empty()).then_some(ProofReport {
        faults: outcome.proof.size,
        sets: outcome.proof.sets,
        scored: outcome.proof.scored,
    });
    Ok((groups.collect(), proof))
}

/// What is off and stays unexplained.
fn open(
    job: &Job,
    case: &Case<'_>,
    powered: &Powered,
    steps: &[Step],
    seen: &[Vec<Observed>],
) -> Vec<Undecided> {
    let mut told = std::collections::BTreeSet::new();
    let off = case.apart.iter().enumerate().flat_map(|(step, points)| {
        let points = points.iter().enumerate().filter(|(_, apart)| apart.off());
        points.map(move |(point, _)| (step, point))
    });
    let mut open = Vec::new();
    for (step, point) in off {
        let (Some(touched), Some(seen)) = (
            powered.points.get(point),
            seen.get(step).and_then(|seen| seen.get(point)),
        ) else {
            continue;
        };
        if told.insert(point) {
            let shown = case.healthy.get(step).and_then(|shown| shown.get(point));
            open.push(Undecided {
                place: touched.point.to_string(),
                say: format!(
                    "{} {}{}.",
                    touched.point,
                    text::seen(seen, shown),
                    steps.get(step).map_or(String::new(), |step| format!(
                        " with {}",
                        text::setting(job, &step.switches)
                    )),
                ),
            });
        }
    }
    open
}

fn functions(job: &Job, powered: &Powered, steps: &[Step], case: &Case<'_>) -> Vec<FunctionReport> {
    job.functions
        .iter()
        .enumerate()
        .map(|(at, function)| {
            let on = |step: &Step| step.on.get(at).copied().flatten() == Some(true);
            let is_named = |point: &Touched| function.seen_at.contains(&point.point.to_string());
            // Where the plan says where to look, only that counts against it.
            let somewhere = powered.points.iter().any(is_named);
            let mut proved = false;
            let mut wrong: Vec<String> = Vec::new();
            let own = |step: &Step| on(step) || step.shows.contains(&at);
            for (number, step) in steps.iter().enumerate().filter(|(_, step)| own(step)) {
                let off = nearest(steps, step, at, !on(step));
                let other = off.and_then(|off| case.healthy.get(off));
                let points = powered.points.iter().enumerate();
                for (point, touched) in points {
                    let shown = |number: usize| case.healthy.get(number)?.get(point);
                    let (Some(now), Some(before)) =
                        (shown(number), other.and_then(|other| other.get(point)))
                    else {
                        continue;
                    };
                    let tells = !alike(now, before);
                    let apart: Option<&Distance> =
                        case.apart.get(number).and_then(|step| step.get(point));
                    let off = apart.is_some_and(Distance::off);
                    let counts = if somewhere { is_named(touched) } else { tells };
                    proved |= on(step) && tells && !off;
                    if off && counts {
                        let seen = case.observed(number, point);
                        wrong.extend(seen.map(|seen| {
                            format!(
                                "{} {} with {}",
                                touched.point,
                                text::seen(seen, Some(now)),
                                text::setting(job, &step.switches)
                            )
                        }));
                    }
                }
            }
            let (verdict, say) = if let Some(first) = wrong.first() {
                ("fails", first.clone())
            } else if proved {
                ("works", String::new())
            } else if !job.electrics.on_when.contains_key(&function.name) {
                (
                    "not tested",
                    "the plan does not say in which states it is on (on_when)".to_owned(),
                )
            } else {
                (
                    "not tested",
                    "no test point of this hook-up changes when it is switched on".to_owned(),
                )
            };
            FunctionReport {
                name: function.name.clone(),
                verdict: verdict.to_owned(),
                say,
            }
        })
        .collect()
}

/// What was to be on in a later step only was not looked at yet.
fn not_reached(planned: &[Step], taken: &[Step], functions: &mut [FunctionReport]) {
    for (at, function) in functions.iter_mut().enumerate() {
        let on = |step: &Step| step.on.get(at).copied().flatten() == Some(true);
        if function.verdict == "not tested" && planned.iter().any(on) && !taken.iter().any(on) {
            "the check was broken off before it was switched on".clone_into(&mut function.say);
        }
    }
}

/// The step with the fewest switches in another state in which a function is on or off.
fn nearest(steps: &[Step], step: &Step, function: usize, on: bool) -> Option<usize> {
    let apart = |other: &Step| {
        let both = other.switches.iter().zip(&step.switches);
        both.filter(|(one, other)| one != other).count()
    };
    let others = steps.iter().enumerate();
    others
        .filter(|(_, other)| other.on.get(function).copied().flatten() == Some(on))
        .min_by_key(|(_, other)| apart(other))
        .map(|(number, _)| number)
}

fn rhythms(powered: &Powered, healthy: &Course, seen: &[Vec<Observed>]) -> Vec<RhythmReport> {
    let mut list = Vec::new();
    for (number, (shown, seen)) in healthy.iter().zip(seen).enumerate() {
        for ((touched, shown), seen) in powered.points.iter().zip(shown).zip(seen) {
            let planned = match shown {
                Shown::Known { signal, .. } => *signal,
                Shown::Unknown => Signal::Steady,
            };
            let (per_minute, hertz, on, good) = match seen.rhythm {
                Rhythm::Steady | Rhythm::Unsteady => continue,
                Rhythm::Flashing { per_minute, on } => {
                    let good = match planned {
                        // A plan that asks for what the rules do not allow knows why.
                        Signal::Flashing { rate, .. } => {
                            allowed(per_minute)
                                || !allowed(rate.0) && super::judge::fits(seen.rhythm, planned)
                        }
                        _ => true,
                    };
                    (Some(per_minute), None, on, good)
                }
                Rhythm::Dimmed { hertz, on } => (None, Some(hertz), on, true),
            };
            list.push(RhythmReport {
                point: touched.point.to_string(),
                step: number + 1,
                per_minute: per_minute.map(round),
                hertz: hertz.map(round),
                on_percent: round(on * 100.0),
                good,
                say: text::rhythm(&touched.point.to_string(), seen.rhythm, good),
            });
        }
    }
    list
}

fn not_tested(
    job: &Job,
    powered: &Powered,
    case: &Case<'_>,
    functions: &[FunctionReport],
) -> Vec<String> {
    let mut list: Vec<String> = functions
        .iter()
        .filter(|function| function.verdict == "not tested")
        .map(|function| format!("{}: {}", function.name, function.say))
        .collect();
    let unknown: Vec<String> = powered
        .points
        .iter()
        .enumerate()
        .filter(|(point, _)| {
            let mut steps = case.healthy.iter();
            steps.all(|shown| matches!(shown.get(*point), Some(Shown::Unknown) | None))
        })
        .map(|(_, touched)| touched.point.to_string())
        .collect();
    if !unknown.is_empty() {
        list.push(format!(
            "{}: the plan does not say what the vehicle does there with the battery on",
            unknown.join(", ")
        ));
    }
    if job.functions.is_empty() {
        list.push("the plan lists no function".to_owned());
    }
    list.push(
        "joints that only fail when they are moved (see `wiggle`), and currents: the probe \
         measures voltages"
            .to_owned(),
    );
    list
}

fn step_reports(
    job: &Job,
    powered: &Powered,
    steps: &[Step],
    seen: &[Vec<Observed>],
    case: &Case<'_>,
) -> Vec<StepReport> {
    let list = steps.iter().zip(seen).enumerate();
    list.map(|(number, (step, seen))| {
        let on = job.functions.iter().zip(&step.on);
        let on = on.filter(|(_, on)| **on == Some(true));
        let points = powered.points.iter().zip(seen).enumerate();
        StepReport {
            switches: switch_states(job, step),
            on: on.map(|(function, _)| function.name.clone()).collect(),
            points: points
                .map(|(point, (touched, seen))| {
                    let shown = case.healthy.get(number).and_then(|s| s.get(point));
                    let apart = case.apart.get(number).and_then(|s| s.get(point));
                    point_report(touched.point.to_string(), seen, shown, apart)
                })
                .collect(),
        }
    })
    .collect()
}

/// State of every switch in a step, by name.
pub(super) fn switch_states(job: &Job, step: &Step) -> BTreeMap<String, String> {
    let switches = job.electrics.switches.iter().zip(&step.switches);
    let named = switches.map(|(switch, state)| {
        let state = switch.states.get(usize::from(*state));
        (switch.name.clone(), state.cloned().unwrap_or_default())
    });
    named.collect()
}

pub(super) fn point_report(
    point: String,
    seen: &Observed,
    shown: Option<&Shown>,
    apart: Option<&Distance>,
) -> PointReport {
    let expected = match shown {
        Some(Shown::Known { on, .. }) => Some((round(on.least.0), round(on.most.0))),
        _ => None,
    };
    PointReport {
        lead: seen.lead.to_string(),
        point,
        volts: round(seen.on.0),
        low_volts: (seen.rhythm != Rhythm::Steady).then(|| round(seen.off.0)),
        floating: seen.floats(),
        expected_volts: expected,
        verdict: match (expected, apart) {
            (None, _) => "not judged",
            (_, Some(apart)) if apart.off() => "off",
            _ => "as expected",
        }
        .to_owned(),
    }
}

/// To a hundredth: the probe does not know more.
pub(super) fn round(value: f64) -> f64 {
    (value * 100.0).round() / 100.0
}

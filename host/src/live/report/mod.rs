//! What a live check reports, as data: printed as JSON as it stands, and put into
//! plain words by [`super::text`].

mod functions;
mod groups;
mod rhythms;
mod steps;

use std::collections::BTreeMap;

use loomproof_core::wire::Hello;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::battery::Battery;
use super::causes::Case;
use super::observe::Observed;
use super::steps::Step;
use crate::fault::Fault;
use crate::plan::model::Job;
use crate::powered::{Powered, Shown};
use crate::ringout::report::{GroupReport, ProbeReport, ProofReport, Undecided, Verdict};
use functions::{functions, not_reached};
use groups::{explain, open};
use rhythms::rhythms;
use steps::step_reports;
pub(super) use steps::{point_report, switch_states};

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

/// What this check does not show.
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

/// To a hundredth: the probe does not know more.
pub(in crate::live) fn round(value: f64) -> f64 {
    (value * 100.0).round() / 100.0
}

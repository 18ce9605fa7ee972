//! What a round through the vehicle's own functions reports, as data: printed as JSON as
//! it stands, kept as the notes of the arrival, and put into plain words by
//! [`super::text`].

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::list::Own;
use crate::live;
use crate::plan::model::Job;
use crate::ringout::report::{ProbeReport, Verdict};

/// The report of one round through the vehicle's own functions.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[schemars(title = "Report on the vehicle's own functions")]
pub struct Report {
    /// At arrival, `pass`: all work; `faults`: some do not; `undecided`: some were not
    /// tried. After the job, `faults`: something that worked at arrival does not now.
    pub verdict: Verdict,
    /// Title of the plan.
    pub title: String,
    /// SHA-256 of the plan file.
    pub plan_digest: String,
    /// The answers to the plan's options.
    pub answers: BTreeMap<String, String>,
    /// The stage of the job, as `--stage` spells it.
    pub stage: String,
    /// The vehicle, by the user's own number for it.
    pub vehicle: Option<String>,
    /// The probe; null where nothing was measured.
    pub probe: Option<ProbeReport>,
    /// Each function, in the order of the plan.
    pub functions: Vec<FunctionReport>,
    /// What else does not work, in the words of whoever tried.
    pub remarks: Vec<String>,
    /// What else was noted at arrival.
    pub remarks_at_arrival: Vec<String>,
    /// What the probe measured; null where nothing was.
    pub measured: Option<Box<live::Report>>,
    /// Whether it was broken off before its end; left out where it was not.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub broken_off: bool,
}

/// How a function does.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub enum State {
    /// It works.
    #[serde(rename = "works")]
    Works,
    /// It does not.
    #[serde(rename = "does not work")]
    Fails,
    /// Nobody tried.
    #[serde(rename = "not tried")]
    NotTried,
}

/// How that is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum How {
    /// By the probe.
    Measured,
    /// Somebody says so.
    Attested,
    /// It is not known.
    Unknown,
}

/// What the change since arrival means.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub enum Means {
    /// It worked at arrival and does not now: ours to look at.
    #[serde(rename = "ours")]
    Ours,
    /// It did not work at arrival and does not now: not ours.
    #[serde(rename = "not ours")]
    NotOurs,
    /// It does not work now, and nobody tried it at arrival.
    #[serde(rename = "cannot tell")]
    CannotTell,
    /// It worked at arrival and was not tried now.
    #[serde(rename = "still to try")]
    StillToTry,
    /// It did not work at arrival and does now.
    #[serde(rename = "works again")]
    WorksAgain,
    /// Nothing to say: it works, or was never tried.
    #[serde(rename = "nothing")]
    Nothing,
}

impl Means {
    /// From how it was and how it is.
    #[must_use]
    pub fn of(then: State, now: State) -> Self {
        match (then, now) {
            (State::Works, State::Fails) => Self::Ours,
            (State::Fails, State::Fails) => Self::NotOurs,
            (State::NotTried, State::Fails) => Self::CannotTell,
            (State::Works, State::NotTried) => Self::StillToTry,
            (State::Fails, State::Works) => Self::WorksAgain,
            _ => Self::Nothing,
        }
    }
}

/// One function.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct FunctionReport {
    /// The conductor.
    pub name: String,
    /// What it does, in the plan's words.
    pub what: Option<String>,
    /// How it does now.
    pub state: State,
    /// How that is known.
    pub how: How,
    /// What was seen, where it does not work.
    pub say: String,
    /// How it did at arrival; null in the notes of the arrival themselves.
    pub at_arrival: Option<State>,
    /// What the change means; null likewise.
    pub means: Option<Means>,
}

/// What a report is made of.
pub struct Gone<'g> {
    /// The job.
    pub job: &'g Job,
    /// Its functions.
    pub own: &'g [Own],
    /// The stage, as `--stage` spells it.
    pub stage: &'g str,
    /// The vehicle's number.
    pub vehicle: Option<String>,
    /// What the probe saw.
    pub measured: Option<live::Report>,
    /// What somebody said: conductor to state.
    pub said: &'g BTreeMap<String, State>,
    /// What else does not work.
    pub remarks: Vec<String>,
    /// The notes of the arrival.
    pub arrival: Option<&'g Report>,
    /// Broken off before its end.
    pub broken_off: bool,
}

/// What the probe says of a function; `None` where it cannot tell.
#[must_use]
pub fn seen(measured: &live::Report, own: &Own) -> Option<(State, String)> {
    let function = measured.functions.iter().find(|it| it.name == own.name)?;
    match function.verdict.as_str() {
        "works" => return Some((State::Works, String::new())),
        "fails" => return Some((State::Fails, function.say.clone())),
        _ => {}
    }
    // What is fed all the time never changes: it works where it has what it should.
    let at = own.point.as_ref()?.to_string();
    let steps = measured.steps.iter();
    let points: Vec<_> = steps
        .flat_map(|step| step.points.iter().filter(|point| point.point == at))
        .collect();
    if own.on != Some(crate::plan::model::States::Always) {
        return None;
    }
    if let Some(off) = points.iter().find(|point| point.verdict == "off") {
        return Some((State::Fails, format!("{at} has {:.1} V", off.volts)));
    }
    let fed = |least: f64| least > measured.battery_volts / 2.0;
    let good = points.iter().any(|point| {
        point.verdict == "as expected" && point.expected_volts.is_some_and(|(least, _)| fed(least))
    });
    good.then(|| (State::Works, String::new()))
}

/// Puts it together.
#[must_use]
pub fn report(gone: Gone<'_>) -> Report {
    let Gone {
        job,
        own,
        arrival,
        measured,
        ..
    } = gone;
    let mut functions: Vec<FunctionReport> = own
        .iter()
        .map(|own| {
            let probed = measured.as_ref().and_then(|it| seen(it, own));
            let said = gone.said.get(&own.name).copied();
            let (state, how, say) = match (probed, said) {
                // What somebody saw fail counts, whatever the wire there carries.
                (Some((State::Works, _)), Some(State::Fails)) => {
                    let say = "its wire carries what it should; look further along".to_owned();
                    (State::Fails, How::Attested, say)
                }
                (Some((state, say)), _) => (state, How::Measured, say),
                (None, Some(state)) if state != State::NotTried => {
                    (state, How::Attested, String::new())
                }
                _ => (State::NotTried, How::Unknown, String::new()),
            };
            FunctionReport {
                name: own.name.clone(),
                what: own.what.clone(),
                state,
                how,
                say,
                at_arrival: None,
                means: None,
            }
        })
        .collect();
    if let Some(arrival) = arrival {
        compare(&mut functions, &arrival.functions);
    }
    let verdict = verdict(&functions, &gone.remarks, arrival);
    Report {
        verdict,
        title: job.title.clone(),
        plan_digest: job.digest.clone(),
        answers: job.answers.clone(),
        stage: gone.stage.to_owned(),
        vehicle: gone.vehicle,
        probe: measured.as_ref().map(|it| it.probe.clone()),
        functions,
        remarks: gone.remarks,
        remarks_at_arrival: arrival.map_or_else(Vec::new, |it| it.remarks.clone()),
        measured: measured.map(Box::new),
        broken_off: gone.broken_off,
    }
}

/// Puts what was noted at arrival beside it; what is no longer in the plan stays listed.
fn compare(functions: &mut Vec<FunctionReport>, then: &[FunctionReport]) {
    for function in functions.iter_mut() {
        let before = then.iter().find(|it| it.name == function.name);
        let before = before.map_or(State::NotTried, |it| it.state);
        function.at_arrival = Some(before);
        function.means = Some(Means::of(before, function.state));
    }
    for gone in then {
        if functions.iter().all(|it| it.name != gone.name) {
            functions.push(FunctionReport {
                state: State::NotTried,
                how: How::Unknown,
                say: "it is not in the plan any more".to_owned(),
                at_arrival: Some(gone.state),
                means: Some(Means::of(gone.state, State::NotTried)),
                ..gone.clone()
            });
        }
    }
}

fn verdict(functions: &[FunctionReport], remarks: &[String], arrival: Option<&Report>) -> Verdict {
    let state = |wanted: State| functions.iter().any(|it| it.state == wanted);
    let means = |wanted: Means| functions.iter().any(|it| it.means == Some(wanted));
    match arrival {
        None if state(State::Fails) || !remarks.is_empty() => Verdict::Faults,
        None if state(State::NotTried) || functions.is_empty() => Verdict::Undecided,
        Some(_) if means(Means::Ours) => Verdict::Faults,
        // A remark is in free words: whether it is new, somebody has to read.
        Some(arrival)
            if means(Means::CannotTell)
                || means(Means::StillToTry)
                || remarks.iter().any(|it| !arrival.remarks.contains(it)) =>
        {
            Verdict::Undecided
        }
        _ => Verdict::Pass,
    }
}

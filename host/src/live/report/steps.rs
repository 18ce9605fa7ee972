//! What was observed, step by step.

use std::collections::BTreeMap;

use super::{PointReport, StepReport, round};
use crate::live::causes::Case;
use crate::live::judge::Distance;
use crate::live::observe::Observed;
use crate::live::rhythm::Rhythm;
use crate::live::steps::Step;
use crate::plan::model::Job;
use crate::powered::{Powered, Shown};

/// Every step that was taken, with every test point.
pub(super) fn step_reports(
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
pub(in crate::live) fn switch_states(job: &Job, step: &Step) -> BTreeMap<String, String> {
    let switches = job.electrics.switches.iter().zip(&step.switches);
    let named = switches.map(|(switch, state)| {
        let state = switch.states.get(usize::from(*state));
        (switch.name.clone(), state.cloned().unwrap_or_default())
    });
    named.collect()
}

pub(in crate::live) fn point_report(
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

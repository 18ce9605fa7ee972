//! How each function of the plan did.

use super::FunctionReport;
use crate::live::causes::Case;
use crate::live::judge::{Distance, alike};
use crate::live::steps::Step;
use crate::live::text;
use crate::plan::model::Job;
use crate::powered::Powered;
use crate::powered::wiring::Touched;

/// Each function of the plan, in its order.
pub(super) fn functions(
    job: &Job,
    powered: &Powered,
    steps: &[Step],
    case: &Case<'_>,
) -> Vec<FunctionReport> {
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
pub(super) fn not_reached(planned: &[Step], taken: &[Step], functions: &mut [FunctionReport]) {
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

//! Groups of causes, and what is off that none of them explains.

use std::collections::BTreeSet;

use crate::diagnosis::words::Speaker;
use crate::live::causes::{Case, Course};
use crate::live::observe::Observed;
use crate::live::steps::Step;
use crate::live::text;
use crate::plan::model::Job;
use crate::powered::Powered;
use crate::ringout::report::{FaultReport, GroupReport, ProofReport, Undecided};

/// How many groups are reported.
const GROUPS: usize = 5;

/// Groups of causes, and how far the best is proved.
pub(super) fn explain(
    job: &Job,
    case: &Case<'_>,
) -> Result<(Vec<GroupReport>, Option<ProofReport>), String> {
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
pub(super) fn open(
    job: &Job,
    case: &Case<'_>,
    powered: &Powered,
    steps: &[Step],
    seen: &[Vec<Observed>],
) -> Vec<Undecided> {
    let mut told = BTreeSet::new();
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

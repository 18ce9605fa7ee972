//! Whether the readings are those of another answer to one of the plan's questions.

use std::collections::BTreeSet;

use super::report::{Advice, Report, Verdict};
use super::{Round, Taken};
use crate::circuit::{Model, build_for_another};
use crate::diagnosis::evidence::Evidence;
use crate::plan::Plan;
use crate::plan::model::Job;

/// Says so in a report of faults: each other answer, one question at a time, is held
/// against all that was read. One that cannot be computed is not spoken of.
pub fn doubt_answers(plan: &Plan, job: &Job, rounds: &[Round<'_>], report: &mut Report) {
    if report.verdict != Verdict::Faults || report.first.is_some() {
        return;
    }
    let mut fitting = Vec::new();
    let mut groups = report.groups.iter().filter(|group| group.explains_all);
    let one_fault = groups.any(|group| group.sets.iter().any(|set| set.len() == 1));
    for option in plan.options() {
        let Some(given) = job.answers.get(&option.name) else {
            continue;
        };
        for choice in option.choices.iter().filter(|choice| *choice != given) {
            let mut answers = job.answers.clone();
            answers.insert(option.name.clone(), choice.clone());
            let Ok(other) = plan.resolve(&answers) else {
                continue;
            };
            // Clips on nothing read as an open wire does: one wire that only this answer
            // has, and is open, is no reason to doubt the answer.
            if let Some(without) = explains(&other, rounds)
                && (without.is_empty() || !one_fault)
            {
                fitting.push((option, choice, given, without));
            }
        }
    }
    let [(option, choice, given, without), others @ ..] = fitting.as_slice() else {
        return;
    };
    let mut say = format!(
        "Every reading is as it should be if the answer is \"{choice}\" and not \"{given}\" to: {}",
        option.ask
    );
    say.push_str(&on_nothing(without));
    for (option, choice, given, without) in others {
        say.push_str(&format!(
            " Just so if it is \"{choice}\" and not \"{given}\" to: {}",
            option.ask
        ));
        say.push_str(&on_nothing(without));
    }
    report.first = Some(Advice {
        say,
        act: format!(
            "Look which it is. If it is \"{choice}\", leave the wires as they are and ring out \
             again with `--answer {}={choice}`. If it is \"{given}\", go by what is listed below.",
            option.name
        ),
    });
}

/// What is to be said of clips for which an answer has no point.
fn on_nothing(points: &BTreeSet<String>) -> String {
    if points.is_empty() {
        return String::new();
    }
    let points: Vec<&str> = points.iter().map(String::as_str).collect();
    format!(
        " (There is no {} then: a clip that is meant to sit there reads as one on nothing.)",
        points.join(", no ")
    )
}

/// Where nothing that was read is off by this job: the points that were clipped to and
/// that it does not have.
fn explains(job: &Job, rounds: &[Round<'_>]) -> Option<BTreeSet<String>> {
    let mut points = BTreeSet::new();
    let mut models = Vec::new();
    for round in rounds {
        let (model, without) = build_for_another(job, round.hookup).ok()?;
        points.extend(without.iter().map(ToString::to_string));
        models.push(model);
    }
    let taken = rounds.iter().map(|round| round.taken);
    let all: Vec<(&Model, &[Taken])> = models.iter().zip(taken).collect();
    let evidence = Evidence::of_rounds(all).ok()?;
    evidence.off().is_empty().then_some(points)
}

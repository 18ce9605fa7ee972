//! Whether the readings are those of another answer to one of the plan's questions.

use super::report::{Advice, Report, Verdict};
use super::{Round, Taken};
use crate::circuit::{Model, build};
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
            if explains(&other, rounds) {
                fitting.push((option, choice, given));
            }
        }
    }
    let [(option, choice, given), others @ ..] = fitting.as_slice() else {
        return;
    };
    let mut say = format!(
        "Every reading is as it should be if the answer is \"{choice}\" and not \"{given}\" to: {}",
        option.ask
    );
    for (option, choice, given) in others {
        say.push_str(&format!(
            " Just so if it is \"{choice}\" and not \"{given}\" to: {}",
            option.ask
        ));
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

/// Whether nothing that was read is off by this job.
fn explains(job: &Job, rounds: &[Round<'_>]) -> bool {
    let models: Result<Vec<Model>, _> = rounds
        .iter()
        .map(|round| build(job, round.hookup))
        .collect();
    // A point that this answer does not have was clipped to.
    let Ok(models) = models else {
        return false;
    };
    let taken = rounds.iter().map(|round| round.taken);
    let all: Vec<(&Model, &[Taken])> = models.iter().zip(taken).collect();
    Evidence::of_rounds(all).is_ok_and(|evidence| evidence.off().is_empty())
}

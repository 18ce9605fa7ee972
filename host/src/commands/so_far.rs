//! `--so-far`: a job that is rung out place by place, in one file.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use loomproof_core::wire::Place;

use super::{Failure, note};
use crate::circuit::build;
use crate::plan::Plan;
use crate::plan::model::Job;
use crate::probe::nulls;
use crate::ringout::Rung;
use crate::ringout::recording::Recording;

/// What was rung out before.
#[derive(Default)]
pub(super) struct Earlier {
    found: Option<(PathBuf, Recording)>,
}

impl Earlier {
    /// What a file holds; nothing where there is none yet.
    ///
    /// # Errors
    /// [`Failure`] for a file that is of another plan or place, or no recording.
    pub(super) fn load(file: &Path, plan: &Plan, place: Place) -> Result<Self, Failure> {
        if !file.exists() {
            return Ok(Self::default());
        }
        let recording = Recording::load(file)?;
        recording.check_plan(file, plan.digest())?;
        if recording.place() != place {
            return Err(Failure::usage(format!(
                "{}: it was taken elsewhere; --where {} is meant, or another file",
                file.display(),
                crate::ringout::verdict::place_word(recording.place())
            )));
        }
        Ok(Self {
            found: Some((file.to_owned(), recording)),
        })
    }

    /// The answers that it was rung out with: they hold until they are changed.
    pub(super) fn answers(&self) -> BTreeMap<String, String> {
        let found = self.found.as_ref();
        found
            .map(|(_, kept)| kept.answers().clone())
            .unwrap_or_default()
    }

    /// Puts what was learned of plugged modules before into a job.
    pub(super) fn learn(&self, job: &mut Job) {
        if let Some((_, kept)) = &self.found {
            kept.learn(job);
        }
    }

    /// The rounds, for this variant: what was read stays true, whatever the
    /// answers.
    ///
    /// # Errors
    /// [`Failure`] for a file that is damaged, or has clips on points that this
    /// variant does not have: nothing of it is thrown away for an answer.
    pub(super) fn rungs(&self, job: &Job) -> Result<Vec<Rung>, Failure> {
        let Some((file, recording)) = &self.found else {
            return Ok(Vec::new());
        };
        if recording.answers() != &job.answers {
            for (option, answer) in &job.answers {
                let before = recording.answers().get(option);
                if before != Some(answer) {
                    let before = before.map_or("not asked", String::as_str);
                    note(&format!(
                        "Answer changed: {option} is {answer}, it was {before}."
                    ));
                }
            }
            note("What was read before is judged by the new answers.");
        }
        rungs(recording, file, job)
    }
}

/// The rounds of a recording, for a job.
///
/// # Errors
/// [`Failure`] for a file that is damaged, or names points that the job does not
/// have.
pub(super) fn rungs(recording: &Recording, file: &Path, job: &Job) -> Result<Vec<Rung>, Failure> {
    let mut rungs = Vec::new();
    for (hookup, taken, clips) in recording.rounds(file, job)? {
        let mut model = build(job, &hookup)?;
        nulls::apply(&mut model, &clips);
        rungs.push(Rung {
            hookup,
            model,
            taken,
            clips,
        });
    }
    Ok(rungs)
}

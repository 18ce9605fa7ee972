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
        self.say_changes(job);
        rungs(recording, file, job)
    }

    /// Says which answers are other ones than before.
    pub(super) fn say_changes(&self, job: &Job) {
        let Some((_, recording)) = &self.found else {
            return;
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
    }

    /// Whether some of it was read with other answers than a job has.
    pub(super) fn has_changed(&self, job: &Job) -> bool {
        let found = self.found.as_ref();
        found.is_some_and(|(_, recording)| recording.has_changed(job))
    }

    /// The recording, where there is one.
    pub(super) fn into_recording(self) -> Option<Recording> {
        self.found.map(|(_, recording)| recording)
    }
}

/// The rounds of a recording, for a job.
///
/// # Errors
/// [`Failure`] for a file that is damaged, or names points that the job does not
/// have.
pub(super) fn rungs(recording: &Recording, file: &Path, job: &Job) -> Result<Vec<Rung>, Failure> {
    let mut rungs = Vec::new();
    let rounds = recording.rounds(file, job)?.into_iter().enumerate();
    for (at, (hookup, taken, clips)) in rounds {
        let mut model = build(job, &hookup)?;
        nulls::apply(&mut model, &clips);
        rungs.push(Rung {
            hookup,
            model,
            taken,
            clips,
            set_anew: recording.was_set_anew(at),
        });
    }
    Ok(rungs)
}

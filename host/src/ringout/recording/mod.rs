//! A scan kept in a file: everything needed to judge it again.

mod records;

use std::collections::BTreeMap;
use std::io::{Read as _, Write as _};
use std::path::{Path, PathBuf};

use loomproof_core::null::MOST;
use loomproof_core::units::Ohms;
use loomproof_core::wire::{Hello, MAX_LEADS, Place};
use serde::{Deserialize, Serialize};

use super::learned::{Loads, apply};
use super::{Round, Taken};
use crate::hookup::Hookup;
use crate::plan::model::{Job, Proof};
use crate::probe::nulls::Clips;
use crate::whole_file::WholeFile;
pub use records::ClipRecord;
use records::{MatedRecord, RoundRecord, StepRecord, hookup, taken};

/// Version of the file's layout.
const FORMAT: u32 = 1;

/// The largest file that is read, bytes.
const MOST_BYTES: u64 = 32 << 20;

/// A recorded scan.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Recording {
    format: u32,
    title: String,
    plan_digest: String,
    answers: BTreeMap<String, String>,
    /// Some rounds were read with other answers, so that they need not hold what a
    /// first pass of this variant reads.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    answers_changed: bool,
    place: PlaceRecord,
    /// What was learned of plugged modules before.
    #[serde(default, skip_serializing_if = "Loads::is_empty")]
    learned: Loads,
    /// How the proof stands of wires in occupied cavities, by conductor; left out where
    /// nobody has looked.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    proofs: BTreeMap<String, ProofRecord>,
    hookup: Vec<ClipRecord>,
    probe: ProbeRecord,
    /// Ohms of each probe lead's clip that was nulled.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    nulls: Vec<Option<f64>>,
    /// Which connectors were open and which plugged, where the plan says so.
    #[serde(default, skip_serializing_if = "MatedRecord::is_empty")]
    mated: MatedRecord,
    /// The clips were looked at and set anew before these readings.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    set_anew: bool,
    steps: Vec<StepRecord>,
    /// Rounds after the first; most scans have none.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    further: Vec<RoundRecord>,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
enum PlaceRecord {
    Bench,
    Vehicle,
}

impl From<Place> for PlaceRecord {
    fn from(place: Place) -> Self {
        match place {
            Place::Bench => Self::Bench,
            Place::Vehicle => Self::Vehicle,
        }
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
enum ProofRecord {
    Measured,
    Attested,
    Refuted,
}

impl ProofRecord {
    fn of(proof: Proof) -> Option<Self> {
        match proof {
            Proof::Open => None,
            Proof::Measured => Some(Self::Measured),
            Proof::Attested => Some(Self::Attested),
            Proof::Refuted => Some(Self::Refuted),
        }
    }
}

impl From<ProofRecord> for Proof {
    fn from(record: ProofRecord) -> Self {
        match record {
            ProofRecord::Measured => Self::Measured,
            ProofRecord::Attested => Self::Attested,
            ProofRecord::Refuted => Self::Refuted,
        }
    }
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct ProbeRecord {
    board: String,
    serial: String,
    build: String,
    leads: u8,
}

/// A place for a recording: taken before the scan, so that a folder that is not
/// there or cannot be written to is found out first.
#[derive(Debug)]
pub struct Slot(WholeFile);

impl Slot {
    /// Makes sure that a recording can be written there.
    ///
    /// # Errors
    /// [`RecordingError::File`], or [`RecordingError::NotAFile`].
    pub fn reserve(path: &Path) -> Result<Self, RecordingError> {
        if !WholeFile::may_replace(path) {
            return Err(RecordingError::NotAFile(path.to_owned()));
        }
        let file = WholeFile::beside(path).map_err(|error| RecordingError::File {
            path: path.to_owned(),
            error,
        })?;
        Ok(Self(file))
    }

    /// Where the recording will be.
    #[must_use]
    pub fn path(&self) -> &Path {
        self.0.target()
    }

    /// Writes the recording, whole or not at all.
    ///
    /// # Errors
    /// [`RecordingError::File`]; the target is then as it was.
    pub fn keep(self, recording: &Recording) -> Result<(), RecordingError> {
        let Self(mut file) = self;
        let path = file.target().to_owned();
        let written = serde_json::to_writer_pretty(&mut file, recording)
            .map_err(std::io::Error::from)
            .and_then(|()| file.write_all(b"\n"))
            .and_then(|()| file.put());
        written.map_err(|error| RecordingError::File { path, error })
    }
}

/// Why a recorded scan cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum RecordingError {
    /// The file cannot be read or written.
    #[error("{}: {error}; check the path and the rights on it", path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// What the system said.
        error: std::io::Error,
    },
    /// There is something else than a file.
    #[error("{}: this is a folder, device, pipe or link, not a file; give another name", .0.display())]
    NotAFile(PathBuf),
    /// The file is not a recorded scan.
    #[error("{}: this is not a whole recorded scan ({reason}); record the scan again with --save", path.display())]
    Content {
        /// The file.
        path: PathBuf,
        /// What is wrong with it.
        reason: String,
    },
    /// The scan belongs to something else.
    #[error("{}: this scan was taken of another {what} ({found}, not {wanted}); {advice}", path.display())]
    Mismatch {
        /// The file.
        path: PathBuf,
        /// What differs.
        what: &'static str,
        /// In the file.
        found: String,
        /// Now.
        wanted: String,
        /// What to do.
        advice: &'static str,
    },
}

impl Recording {
    /// Puts a scan into a recording.
    #[must_use]
    pub fn new(job: &Job, place: Place, rounds: &[Round<'_>], probe: &Hello) -> Self {
        let mut rounds = rounds.iter().map(RoundRecord::from);
        let first = rounds.next();
        let (hookup, mated, steps) = first
            .map(|round| (round.hookup, round.mated, round.steps))
            .unwrap_or_default();
        Self {
            format: FORMAT,
            title: job.title.clone(),
            plan_digest: job.digest.clone(),
            answers: job.answers.clone(),
            answers_changed: false,
            place: place.into(),
            learned: job.electrics.learned.clone(),
            proofs: proofs(job),
            hookup,
            probe: ProbeRecord {
                board: probe.board.to_string(),
                serial: probe.serial.to_string(),
                build: probe.build.to_string(),
                leads: probe.leads,
            },
            nulls: Vec::new(),
            mated,
            set_anew: false,
            steps,
            further: rounds.collect(),
        }
    }

    /// Also keeps what the clips were nulled to, round by round.
    #[must_use]
    pub fn with_nulls<'c>(mut self, rounds: impl IntoIterator<Item = &'c Clips>) -> Self {
        let further = self.further.iter_mut().map(|round| &mut round.nulls);
        let slots = std::iter::once(&mut self.nulls).chain(further);
        for (slot, clips) in slots.zip(rounds) {
            if clips.iter().any(Option::is_some) {
                *slot = clips.iter().map(|clip| clip.map(Ohms::value)).collect();
            }
        }
        self
    }

    /// Also keeps that some rounds were read with other answers.
    #[must_use]
    pub fn with_answers_changed(mut self, changed: bool) -> Self {
        self.answers_changed = changed;
        self
    }

    /// Whether some rounds were read with other answers than a job has.
    #[must_use]
    pub fn has_changed(&self, job: &Job) -> bool {
        self.answers_changed || self.answers != job.answers
    }

    /// Also keeps in which rounds the clips were set anew.
    #[must_use]
    pub fn with_set_anew(mut self, rounds: impl IntoIterator<Item = bool>) -> Self {
        let further = self.further.iter_mut().map(|round| &mut round.set_anew);
        let slots = std::iter::once(&mut self.set_anew).chain(further);
        for (slot, anew) in slots.zip(rounds) {
            *slot = anew;
        }
        self
    }

    /// Whether the clips of a round, from 0, were set anew before its readings.
    #[must_use]
    pub fn was_set_anew(&self, round: usize) -> bool {
        match round.checked_sub(1) {
            None => self.set_anew,
            Some(at) => self.further.get(at).is_some_and(|round| round.set_anew),
        }
    }

    /// Reads a recording.
    ///
    /// # Errors
    /// [`RecordingError`] when the file is missing, too long or not a recording.
    pub fn load(path: &Path) -> Result<Self, RecordingError> {
        let fail = |error: std::io::Error| RecordingError::File {
            path: path.to_owned(),
            error,
        };
        if !std::fs::metadata(path).map_err(fail)?.is_file() {
            return Err(RecordingError::NotAFile(path.to_owned()));
        }
        let mut bytes = Vec::new();
        let file = std::fs::File::open(path).map_err(fail)?;
        file.take(MOST_BYTES + 1)
            .read_to_end(&mut bytes)
            .map_err(fail)?;
        if bytes.len() as u64 > MOST_BYTES {
            return Err(RecordingError::Content {
                path: path.to_owned(),
                reason: "it is longer than any scan".to_owned(),
            });
        }
        Self::read(path, &bytes)
    }

    /// Reads a recording from the bytes of a file, which `path` names in messages.
    ///
    /// # Errors
    /// [`RecordingError::Content`] when they are not a recording.
    pub fn read(path: &Path, bytes: &[u8]) -> Result<Self, RecordingError> {
        let content = |reason: String| RecordingError::Content {
            path: path.to_owned(),
            reason,
        };
        let recording: Self =
            serde_json::from_slice(bytes).map_err(|error| content(error.to_string()))?;
        if recording.format != FORMAT {
            return Err(content(format!(
                "its format is {}, this program reads {FORMAT}",
                recording.format
            )));
        }
        Ok(recording)
    }

    /// Whether the scan was taken with this plan file.
    ///
    /// # Errors
    /// [`RecordingError::Mismatch`].
    pub fn check_plan(&self, path: &Path, digest: &str) -> Result<(), RecordingError> {
        if self.plan_digest == digest {
            return Ok(());
        }
        Err(RecordingError::Mismatch {
            path: path.to_owned(),
            what: "plan",
            found: format!("\"{}\", {}", self.title, short(&self.plan_digest)),
            wanted: short(digest),
            advice: "it is another plan, or was changed since; give the one the scan was taken with",
        })
    }

    /// The answers that the scan was taken with.
    #[must_use]
    pub fn answers(&self) -> &BTreeMap<String, String> {
        &self.answers
    }

    /// Puts what was learned of plugged modules before the scan, and how the proof of
    /// wires in occupied cavities stands, into a job.
    pub fn learn(&self, job: &mut Job) {
        apply(job, &self.learned);
        for occupied in &mut job.electrics.occupied {
            if let Some(known) = self.proofs.get(&occupied.conductor) {
                occupied.proof = (*known).into();
            }
        }
    }

    /// Keeps what was proved or refuted since, and the answers that it was with.
    pub fn keep_proofs(&mut self, job: &Job) {
        self.proofs.extend(proofs(job));
        self.answers_changed = self.has_changed(job);
        self.answers.clone_from(&job.answers);
    }

    /// Where the scan was taken.
    #[must_use]
    pub fn place(&self) -> Place {
        match self.place {
            PlaceRecord::Bench => Place::Bench,
            PlaceRecord::Vehicle => Place::Vehicle,
        }
    }

    /// How many probe leads the probe had.
    #[must_use]
    pub fn leads(&self) -> u8 {
        self.probe.leads
    }

    /// The probe that took the scan.
    #[must_use]
    pub fn hello(&self) -> Hello {
        let cut = |text: &str| text.chars().take(8).collect();
        Hello {
            protocol: loomproof_core::wire::PROTOCOL,
            leads: self.probe.leads,
            board: text(&self.probe.board).unwrap_or_else(|| cut(&self.probe.board)),
            serial: text(&self.probe.serial).unwrap_or_else(|| cut(&self.probe.serial)),
            build: text(&self.probe.build).unwrap_or_else(|| cut(&self.probe.build)),
        }
    }

    /// Whether the scan was taken of this variant.
    ///
    /// # Errors
    /// [`RecordingError::Mismatch`].
    pub fn check_variant(&self, path: &Path, job: &Job) -> Result<(), RecordingError> {
        if self.answers == job.answers {
            return Ok(());
        }
        Err(RecordingError::Mismatch {
            path: path.to_owned(),
            what: "variant",
            found: format!("{:?}", self.answers),
            wanted: format!("{:?}", job.answers),
            advice: "leave --answer and --defaults away, the scan brings its answers",
        })
    }

    /// Where the clips sat, what was read and what the clips were nulled to, round
    /// by round, if the scan
    /// belongs to this plan and its points are in this variant.
    ///
    /// # Errors
    /// [`RecordingError`] when it was taken of another plan, or names points or
    /// leads that there are not.
    pub fn rounds(
        &self,
        path: &Path,
        job: &Job,
    ) -> Result<Vec<(Hookup, Vec<Taken>, Clips)>, RecordingError> {
        self.check_plan(path, &job.digest)?;
        let content = |reason| RecordingError::Content {
            path: path.to_owned(),
            reason,
        };
        if self.hookup.is_empty() && self.further.is_empty() && !self.proofs.is_empty() {
            // A wire was followed, and nothing is rung out yet.
            return Ok(Vec::new());
        }
        if self.steps.is_empty() {
            return Err(content("it holds no reading".to_owned()));
        }
        if !self.probe.leads.is_multiple_of(16) || usize::from(self.probe.leads) > MAX_LEADS {
            return Err(content(format!("no probe has {} leads", self.probe.leads)));
        }
        let further = self.further.iter();
        let further =
            further.map(|round| (&round.hookup, &round.mated, &round.steps, &round.nulls));
        std::iter::once((&self.hookup, &self.mated, &self.steps, &self.nulls))
            .chain(further)
            .map(|(clips, mated, steps, nulls)| {
                let hookup = hookup(job, self.place(), (clips, mated)).map_err(|point| {
                    RecordingError::Mismatch {
                        path: path.to_owned(),
                        what: "hook-up",
                        found: format!("a clip on {point}"),
                        wanted: "points of this plan".to_owned(),
                        advice: "ring out again with the present hook-up",
                    }
                })?;
                let taken = taken(&hookup, steps).map_err(content)?;
                Ok((hookup, taken, sensible(nulls)))
            })
            .collect()
    }
}

/// What is known of the wires in a job's occupied cavities.
fn proofs(job: &Job) -> BTreeMap<String, ProofRecord> {
    let occupied = job.electrics.occupied.iter();
    occupied
        .filter_map(|it| Some((it.conductor.clone(), ProofRecord::of(it.proof)?)))
        .collect()
}

/// What clips were nulled to. Values that are no resistance are left out.
fn sensible(nulls: &[Option<f64>]) -> Clips {
    let sensible = |ohms: &f64| (0.0..=MOST.value()).contains(ohms);
    let nulls = nulls.iter();
    nulls.map(|clip| clip.filter(sensible).map(Ohms)).collect()
}

fn short(digest: &str) -> String {
    digest.chars().take(12).collect()
}

fn text<const N: usize>(text: &str) -> Option<heapless::String<N>> {
    text.parse().ok()
}

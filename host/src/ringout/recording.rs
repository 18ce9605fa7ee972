//! A scan kept in a file: everything needed to judge it again.

use std::collections::BTreeMap;
use std::io::{Read as _, Write as _};
use std::path::{Path, PathBuf};

use loomproof_core::null::MOST;
use loomproof_core::scan::{Planned, Purpose};
use loomproof_core::units::{MicroVolts, Micros, Ohms};
use loomproof_core::wire::{
    Hello, LeadId, LeadSet, MAX_LEADS, Place, Reading, Sense, SenseMode, Senses, Step,
};
use serde::{Deserialize, Serialize};

use super::Taken;
use crate::hookup::{Hookup, Point};
use crate::plan::model::{Job, Side};
use crate::probe::nulls::Clips;

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
    place: PlaceRecord,
    hookup: Vec<ClipRecord>,
    probe: ProbeRecord,
    /// Ohms of each probe lead's clip that was nulled.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    nulls: Vec<Option<f64>>,
    steps: Vec<StepRecord>,
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

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct ClipRecord {
    lead: u8,
    point: String,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct ProbeRecord {
    board: String,
    serial: String,
    build: String,
    leads: u8,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct StepRecord {
    purpose: PurposeRecord,
    high: Vec<u8>,
    low: Vec<u8>,
    settle_us: u32,
    pulled_us: u32,
    samples: u8,
    readings: Vec<SenseRecord>,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
enum PurposeRecord {
    Continuity(u8, Option<u8>),
    Isolation(u8),
    Across(u8, u8),
    Walk(u8),
    Pair(u8, u8),
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct SenseRecord {
    lead: u8,
    mode: ModeRecord,
    value: ValueRecord,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum ModeRecord {
    Plain,
    PullDown,
    PullUp,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
enum ValueRecord {
    Uv(i32),
    NotSettledUv(i32),
    Beyond(Beyond),
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
enum Beyond {
    Above,
    Below,
}

/// A place for a recording: taken before the scan, so that a folder that is not
/// there or cannot be written to is found out first.
#[derive(Debug)]
pub struct Slot {
    path: PathBuf,
    folder: PathBuf,
    file: tempfile::NamedTempFile,
}

impl Slot {
    /// Makes sure that a recording can be written there.
    ///
    /// # Errors
    /// [`RecordingError::File`].
    pub fn reserve(path: &Path) -> Result<Self, RecordingError> {
        let folder = match path.parent() {
            Some(folder) if !folder.as_os_str().is_empty() => folder,
            _ => Path::new("."),
        };
        let fail = |error: std::io::Error| RecordingError::File {
            path: path.to_owned(),
            // The name of the scratch file says nothing to anybody.
            error: match error.kind() {
                std::io::ErrorKind::NotFound => std::io::Error::other("there is no such folder"),
                kind => kind.into(),
            },
        };
        // Only an ordinary file is ever replaced: no device, pipe, folder or link.
        match std::fs::symlink_metadata(path) {
            Ok(there) if !there.is_file() => return Err(RecordingError::NotAFile(path.to_owned())),
            _ => {}
        }
        let mut builder = tempfile::Builder::new();
        #[cfg(unix)]
        builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o644));
        let file = builder.tempfile_in(folder).map_err(fail)?;
        Ok(Self {
            path: path.to_owned(),
            folder: folder.to_owned(),
            file,
        })
    }

    /// Writes the recording whole or not at all: into a new file beside the
    /// target, flushed to disk, then renamed onto it.
    ///
    /// # Errors
    /// [`RecordingError::File`]; the target is then as it was.
    pub fn keep(mut self, recording: &Recording) -> Result<(), RecordingError> {
        let path = self.path;
        let fail = |error: std::io::Error| RecordingError::File {
            path: path.clone(),
            error,
        };
        serde_json::to_writer_pretty(&mut self.file, recording)
            .map_err(|error| fail(error.into()))?;
        self.file.write_all(b"\n").map_err(fail)?;
        self.file.as_file().sync_all().map_err(fail)?;
        self.file
            .persist(&path)
            .map_err(|error| fail(error.error))?;
        // The new name survives a power cut only once its folder is on disk.
        #[cfg(unix)]
        std::fs::File::open(&self.folder)
            .and_then(|folder| folder.sync_all())
            .map_err(fail)?;
        Ok(())
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
    pub fn new(job: &Job, hookup: &Hookup, probe: &Hello, taken: &[Taken]) -> Self {
        Self {
            format: FORMAT,
            title: job.title.clone(),
            plan_digest: job.digest.clone(),
            answers: job.answers.clone(),
            place: hookup.place.into(),
            hookup: clips(hookup),
            probe: ProbeRecord {
                board: probe.board.to_string(),
                serial: probe.serial.to_string(),
                build: probe.build.to_string(),
                leads: probe.leads,
            },
            nulls: Vec::new(),
            steps: taken.iter().map(StepRecord::from).collect(),
        }
    }

    /// Also keeps what the clips were nulled to.
    #[must_use]
    pub fn with_nulls(mut self, clips: &Clips) -> Self {
        if clips.iter().any(Option::is_some) {
            self.nulls = clips.iter().map(|clip| clip.map(Ohms::value)).collect();
        }
        self
    }

    /// What the clips were nulled to. Values that are no resistance are left out.
    #[must_use]
    pub fn nulls(&self) -> Clips {
        let sensible = |ohms: &f64| (0.0..=MOST.value()).contains(ohms);
        let nulls = self.nulls.iter();
        nulls.map(|clip| clip.filter(sensible).map(Ohms)).collect()
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
        let content = |reason: String| RecordingError::Content {
            path: path.to_owned(),
            reason,
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
            return Err(content("it is longer than any scan".to_owned()));
        }
        let recording: Self =
            serde_json::from_slice(&bytes).map_err(|error| content(error.to_string()))?;
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

    /// The steps with their readings, if the scan belongs to this job and
    /// hook-up.
    ///
    /// # Errors
    /// [`RecordingError`] when it was taken of another plan, variant or
    /// hook-up, or names leads that no probe has.
    pub fn taken(
        &self,
        path: &Path,
        job: &Job,
        hookup: &Hookup,
    ) -> Result<Vec<Taken>, RecordingError> {
        let mismatch = |what, found: String, wanted: String, advice| RecordingError::Mismatch {
            path: path.to_owned(),
            what,
            found,
            wanted,
            advice,
        };
        self.check_plan(path, &job.digest)?;
        if self.answers != job.answers {
            return Err(mismatch(
                "variant",
                format!("{:?}", self.answers),
                format!("{:?}", job.answers),
                "leave --answer and --defaults away, the scan brings its answers",
            ));
        }
        if self.hookup != clips(hookup) {
            return Err(mismatch(
                "hook-up",
                "its clips sit elsewhere".to_owned(),
                "those of `loomproof hookup`".to_owned(),
                "ring out again with the present hook-up",
            ));
        }
        let content = |reason| RecordingError::Content {
            path: path.to_owned(),
            reason,
        };
        if self.steps.is_empty() {
            return Err(content("it holds no reading".to_owned()));
        }
        if !self.probe.leads.is_multiple_of(16) || usize::from(self.probe.leads) > MAX_LEADS {
            return Err(content(format!("no probe has {} leads", self.probe.leads)));
        }
        self.steps
            .iter()
            .map(|step| step.taken(hookup).map_err(content))
            .collect()
    }
}

fn clips(hookup: &Hookup) -> Vec<ClipRecord> {
    hookup
        .clips
        .iter()
        .map(|clip| ClipRecord {
            lead: clip.lead.0,
            point: match &clip.point {
                Point::Cavity {
                    side: Side::Wire, ..
                } => format!("{} wire side", clip.point),
                Point::Cavity {
                    side: Side::Mating, ..
                } => format!("{} mating side", clip.point),
                other => other.to_string(),
            },
        })
        .collect()
}

fn short(digest: &str) -> String {
    digest.chars().take(12).collect()
}

fn text<const N: usize>(text: &str) -> Option<heapless::String<N>> {
    text.parse().ok()
}

impl From<&Taken> for StepRecord {
    fn from(taken: &Taken) -> Self {
        let step = &taken.planned.step;
        let leads = |set: &LeadSet| set.iter().map(|lead| lead.0).collect();
        let readings = step.senses.iter().zip(&taken.readings);
        Self {
            purpose: taken.planned.purpose.into(),
            high: leads(&step.high),
            low: leads(&step.low),
            settle_us: step.settle.0,
            pulled_us: step.pulled.0,
            samples: step.samples,
            readings: readings
                .map(|(sense, reading)| SenseRecord {
                    lead: sense.lead.0,
                    mode: match sense.mode {
                        SenseMode::Plain => ModeRecord::Plain,
                        SenseMode::PullDown => ModeRecord::PullDown,
                        SenseMode::PullUp => ModeRecord::PullUp,
                    },
                    value: match *reading {
                        Reading::Volts(v) => ValueRecord::Uv(v.0),
                        Reading::NotSettled(v) => ValueRecord::NotSettledUv(v.0),
                        Reading::Above => ValueRecord::Beyond(Beyond::Above),
                        Reading::Below => ValueRecord::Beyond(Beyond::Below),
                    },
                })
                .collect(),
        }
    }
}

impl StepRecord {
    fn taken(&self, hookup: &Hookup) -> Result<Taken, String> {
        let known = |lead: u8| -> Result<LeadId, String> {
            let lead = LeadId(lead);
            match usize::from(lead.0) < MAX_LEADS && hookup.point(lead).is_some() {
                true => Ok(lead),
                false => Err(format!("{lead} is not in its hook-up")),
            }
        };
        let set = |leads: &[u8]| {
            leads
                .iter()
                .map(|l| known(*l))
                .collect::<Result<LeadSet, _>>()
        };
        let mut senses = Senses::new();
        let mut readings = Vec::new();
        for record in &self.readings {
            let mode = match record.mode {
                ModeRecord::Plain => SenseMode::Plain,
                ModeRecord::PullDown => SenseMode::PullDown,
                ModeRecord::PullUp => SenseMode::PullUp,
            };
            let sense = Sense {
                lead: known(record.lead)?,
                mode,
            };
            senses
                .push(sense)
                .map_err(|_| "a step has too many readings".to_owned())?;
            readings.push(match record.value {
                ValueRecord::Uv(uv) => Reading::Volts(MicroVolts(uv)),
                ValueRecord::NotSettledUv(uv) => Reading::NotSettled(MicroVolts(uv)),
                ValueRecord::Beyond(Beyond::Above) => Reading::Above,
                ValueRecord::Beyond(Beyond::Below) => Reading::Below,
            });
        }
        let purpose = Purpose::from(self.purpose);
        let (a, b) = purpose.leads();
        for lead in [Some(a), b].into_iter().flatten() {
            known(lead.0)?;
        }
        if set(&self.high)?.overlaps(&set(&self.low)?) {
            return Err("a step drives one lead both high and low".to_owned());
        }
        let step = Step {
            high: set(&self.high)?,
            low: set(&self.low)?,
            settle: Micros(self.settle_us),
            pulled: Micros(self.pulled_us),
            samples: self.samples,
            senses,
        };
        Ok(Taken {
            planned: Planned { step, purpose },
            readings,
        })
    }
}

impl From<Purpose> for PurposeRecord {
    fn from(purpose: Purpose) -> Self {
        match purpose {
            Purpose::Continuity(a, b) => Self::Continuity(a.0, b.map(|b| b.0)),
            Purpose::Isolation(a) => Self::Isolation(a.0),
            Purpose::Across(a, b) => Self::Across(a.0, b.0),
            Purpose::Walk(a) => Self::Walk(a.0),
            Purpose::Pair(a, b) => Self::Pair(a.0, b.0),
        }
    }
}

impl From<PurposeRecord> for Purpose {
    fn from(purpose: PurposeRecord) -> Self {
        match purpose {
            PurposeRecord::Continuity(a, b) => Self::Continuity(LeadId(a), b.map(LeadId)),
            PurposeRecord::Isolation(a) => Self::Isolation(LeadId(a)),
            PurposeRecord::Across(a, b) => Self::Across(LeadId(a), LeadId(b)),
            PurposeRecord::Walk(a) => Self::Walk(LeadId(a)),
            PurposeRecord::Pair(a, b) => Self::Pair(LeadId(a), LeadId(b)),
        }
    }
}

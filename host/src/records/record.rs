//! One run as a document; the seal on it is [`super::seal`]'s.

use std::collections::BTreeMap;

use jiff::Timestamp;
use rand::RngExt as _;
use schemars::JsonSchema;
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use serde_json::Value;

use super::paths::Path;
use super::reported::{Reported, Reports};
pub use super::seal::{Digest, Sealed};
use crate::ringout::report::{ProbeReport, Report, Verdict};

/// The latest layout of the document. Ring-outs keep layout 1, which every version of
/// the program reads; an older one says of the other tests' records that they need a
/// newer program, not that they were altered.
pub const FORMAT: u32 = 2;

/// The longest name of a person, vehicle, unit or batch, characters.
pub const LONGEST_NAME: usize = 200;

/// Whose run it was and of what; each as far as somebody said so.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Subject {
    /// Who measured.
    pub who: Option<String>,
    /// The vehicle.
    pub vehicle: Option<String>,
    /// Serial number of the harness.
    pub unit: Option<String>,
    /// Batch that the harness is of.
    pub batch: Option<String>,
}

impl Subject {
    /// What a run is counted under: the harness if it has a number, else the
    /// vehicle; `None` where neither was given.
    #[must_use]
    pub fn key(&self) -> Option<&str> {
        self.unit.as_deref().or(self.vehicle.as_deref())
    }

    /// Whether every name can be kept: not empty, not too long, without control
    /// characters.
    ///
    /// # Errors
    /// What is wrong with the first that cannot.
    pub fn check(&self) -> Result<(), String> {
        let names = [
            ("who", &self.who),
            ("vehicle", &self.vehicle),
            ("unit", &self.unit),
            ("batch", &self.batch),
        ];
        for (what, name) in names {
            let Some(name) = name else { continue };
            if name.trim().is_empty() {
                return Err(format!("{what}: it is empty; give a name or leave it out"));
            }
            if name.chars().count() > LONGEST_NAME {
                return Err(format!(
                    "{what}: it is longer than {LONGEST_NAME} characters; give a shorter one"
                ));
            }
            if name.chars().any(char::is_control) {
                return Err(format!(
                    "{what}: it holds a line break or another control character; leave it out"
                ));
            }
        }
        Ok(())
    }
}

/// What was done.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Test {
    /// The dead test.
    Ringout,
    /// The powered check.
    Live,
    /// The watch for joints that come apart.
    Wiggle,
    /// From a function that does not work to the cause.
    Comeback,
    /// What the vehicle takes with everything asleep.
    Drain,
    /// The vehicle's own functions, at arrival and after the job.
    Own,
    /// The first power through a current limit.
    Power,
}

impl Test {
    /// The word for it: the verb.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Ringout => "ringout",
            Self::Live => "live",
            Self::Wiggle => "wiggle",
            Self::Comeback => "comeback",
            Self::Drain => "drain",
            Self::Own => "own",
            Self::Power => "power",
        }
    }

    /// In words, as in "record 3 is a live check".
    #[must_use]
    pub fn say(self) -> &'static str {
        match self {
            Self::Ringout => "a ring-out",
            Self::Live => "a live check",
            Self::Wiggle => "a wiggle test",
            Self::Comeback => "a comeback",
            Self::Drain => "a test of the standing drain",
            Self::Own => "a round through the vehicle's own functions",
            Self::Power => "a first power",
        }
    }

    /// The layout of its records.
    pub(super) fn format(self) -> u32 {
        match self {
            Self::Ringout => 1,
            Self::Live | Self::Wiggle | Self::Comeback | Self::Drain | Self::Own | Self::Power => {
                FORMAT
            }
        }
    }
}

/// One fault of the best explanation.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Found {
    /// Kind, as spelled in `--fault`.
    pub kind: String,
    /// Place, as spelled in `--fault`.
    pub place: String,
    /// How much of the best group's weight the sets with this fault have, in
    /// thousandths: 1000 where nothing else explains the readings as well.
    pub permille: u32,
}

/// One run, with everything that it rests on.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(title = "Record of a run")]
pub struct Record {
    /// Version of the document's layout: 1 of a ring-out, 2 of the other tests.
    pub format: u32,
    /// A number drawn at random, so that two runs that read alike stay two.
    pub run: String,
    /// When it was done: RFC 3339, UTC, milliseconds.
    pub taken: String,
    /// What was done.
    pub test: Test,
    /// Version of the program.
    pub program: String,
    /// Title of the plan.
    pub title: String,
    /// SHA-256 of the plan file.
    pub plan_digest: String,
    /// The answers to the plan's options.
    pub answers: BTreeMap<String, String>,
    /// `bench` or `vehicle`.
    pub place: String,
    /// The probe, with its firmware; null where somebody typed what a multimeter
    /// showed.
    pub probe: Option<ProbeReport>,
    /// Whether harness or vehicle were simulated.
    pub simulated: bool,
    /// Whose run it was and of what.
    pub subject: Subject,
    /// The verdict.
    pub verdict: Verdict,
    /// Whether it was broken off before its end; left out where it was not.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub broken_off: bool,
    /// What was found, by the best explanation.
    pub found: Vec<Found>,
    /// Resistances of the metal paths; of a ring-out only.
    pub paths: Vec<Path>,
    /// The report as the verb prints it with `--format json`.
    pub report: Value,
    /// The scan as `ringout --save` keeps it; null where it was broken off, and of other
    /// tests.
    pub scan: Option<Value>,
}

/// Why a document is not a record, or not the one it should be.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum RecordError {
    /// The bytes are not those that were sealed.
    #[error("it was altered since it was kept: its digest is {found}, and {wanted} was kept")]
    Altered {
        /// Of the bytes as they are.
        found: Digest,
        /// As kept.
        wanted: Digest,
    },
    /// The bytes cannot be read.
    #[error("it was altered since it was kept: {0}")]
    Unreadable(String),
    /// Another layout.
    #[error("its layout is {0}, this program reads up to {FORMAT}; use the program that kept it")]
    Format(u32),
    /// A column of the store differs from the document.
    #[error("it was altered since it was kept: its {0} in the list is not that of the record")]
    Column(&'static str),
    /// The chain is broken.
    #[error("the chain is broken here: a record before it was altered, taken out or put in")]
    Link,
    /// A number is missing or there twice.
    #[error("the numbers do not follow each other: {0} should stand here")]
    Number(i64),
}

impl Record {
    /// The record of a ring-out that ended now.
    ///
    /// # Errors
    /// A sentence that says what cannot be written down.
    pub fn new(
        report: &Report,
        scan: Option<Value>,
        paths: Vec<Path>,
        subject: Subject,
    ) -> Result<Self, String> {
        let record = Self::of(report, subject)?;
        Ok(Self {
            paths,
            scan,
            ..record
        })
    }

    /// The record of a test that ended now.
    ///
    /// # Errors
    /// A sentence that says what cannot be written down.
    pub fn of(report: &impl Reports, subject: Subject) -> Result<Self, String> {
        subject.check()?;
        let whole = serde_json::to_value(report).map_err(|error| error.to_string())?;
        let run: u64 = rand::rng().random();
        let head = report.head();
        Ok(Self {
            format: head.test.format(),
            run: format!("{run:016x}"),
            taken: taken_text(Timestamp::now()),
            test: head.test,
            program: env!("CARGO_PKG_VERSION").to_owned(),
            title: head.title.to_owned(),
            plan_digest: head.plan_digest.to_owned(),
            answers: head.answers.clone(),
            place: head.place.to_owned(),
            simulated: head.simulated,
            probe: head.probe.cloned(),
            subject,
            verdict: head.verdict,
            broken_off: head.broken_off,
            found: head.found,
            paths: Vec::new(),
            report: whole,
            scan: None,
        })
    }

    /// When it was taken.
    ///
    /// # Errors
    /// [`RecordError::Unreadable`] where that is no time.
    pub fn at(&self) -> Result<Timestamp, RecordError> {
        let parsed: Result<Timestamp, _> = self.taken.parse();
        parsed.map_err(|_| RecordError::Unreadable(format!("{} is no time", self.taken)))
    }

    /// The report, as this version of the program knows reports.
    ///
    /// # Errors
    /// What it does not understand.
    pub fn reported(&self) -> Result<Reported, String> {
        Ok(match self.test {
            Test::Ringout => Reported::Ringout(Box::new(self.read()?)),
            Test::Live => Reported::Live(Box::new(self.read()?)),
            Test::Wiggle => Reported::Wiggle(Box::new(self.read()?)),
            Test::Comeback => Reported::Comeback(Box::new(self.read()?)),
            Test::Drain => Reported::Drain(Box::new(self.read()?)),
            Test::Own => Reported::Own(Box::new(self.read()?)),
            Test::Power => Reported::Power(Box::new(self.read()?)),
        })
    }

    /// The report of a ring-out.
    ///
    /// # Errors
    /// What it does not understand, or what was done instead.
    pub fn ringout(&self) -> Result<Report, String> {
        match self.reported()? {
            Reported::Ringout(report) => Ok(*report),
            _ => Err(format!("it is {}, not a ring-out", self.test.say())),
        }
    }

    fn read<T: DeserializeOwned>(&self) -> Result<T, String> {
        serde_json::from_value(self.report.clone()).map_err(|error| {
            format!(
                "the report was kept by version {} and cannot be read by this one ({error})",
                self.program
            )
        })
    }
}

/// A time as it is written down.
#[must_use]
pub fn taken_text(at: Timestamp) -> String {
    format!("{at:.3}")
}

//! The arguments that say where records are kept and of what, and keeping one.

use super::{Failure, note};
use crate::diagnosis::coverage::Covered;
use crate::fault::Fault;
use crate::records::paths::paths;
use crate::records::record::{Record, Sealed, Subject};
use crate::records::reported::Reports;
use crate::records::sqlite::Access;
use crate::records::store::Store;
use crate::records::whereabouts::Whereabouts;
use crate::ringout::Round;
use crate::ringout::recording::Recording;
use crate::ringout::report::Report;

/// Where records are kept.
#[derive(Debug, Clone, clap::Args)]
pub struct StoreArgs {
    /// Where records are kept: a file, postgres://NAME@SERVER/DATABASE, or `none`;
    /// otherwise a file in your data folder.
    #[arg(
        long,
        value_name = "FILE|URL|none",
        env = "LOOMPROOF_STORE",
        hide_env_values = true
    )]
    store: Option<String>,
}

impl StoreArgs {
    /// Of a store that was named elsewhere.
    #[must_use]
    pub fn named(store: Option<String>) -> Self {
        Self { store }
    }

    /// Where records are kept.
    ///
    /// # Errors
    /// [`Failure`] where the system tells no home folder.
    pub fn whereabouts(&self) -> Result<Whereabouts, Failure> {
        Ok(Whereabouts::of(self.store.as_deref())?)
    }

    /// Opens the store.
    ///
    /// # Errors
    /// [`Failure`].
    pub fn open(&self, access: Access) -> Result<Store, Failure> {
        Ok(self.whereabouts()?.open(access)?)
    }
}

/// What a run is of.
#[derive(Debug, Clone, clap::Args)]
pub struct SubjectArgs {
    /// Who measures.
    #[arg(long, value_name = "NAME")]
    who: Option<String>,
    /// The vehicle, by your own number for it.
    #[arg(long, value_name = "NUMBER")]
    vehicle: Option<String>,
    /// Serial number of the harness.
    #[arg(long, value_name = "NUMBER")]
    unit: Option<String>,
    /// Batch that the harness is of.
    #[arg(long, value_name = "NUMBER")]
    batch: Option<String>,
}

impl SubjectArgs {
    /// The names, checked.
    ///
    /// # Errors
    /// [`Failure`] for one that cannot be kept.
    pub fn subject(&self) -> Result<Subject, Failure> {
        let subject = Subject {
            who: self.who.clone(),
            vehicle: self.vehicle.clone(),
            unit: self.unit.clone(),
            batch: self.batch.clone(),
        };
        subject
            .check()
            .map_err(|error| Failure::usage(format!("--{error}")))?;
        Ok(subject)
    }
}

/// A place in the store, taken before the scan, so that what cannot be kept is
/// told before anything is measured.
#[derive(Debug)]
pub enum Shelf {
    /// It will be kept here.
    Open(Box<Store>),
    /// Nobody wants it kept.
    Unwanted,
}

impl Shelf {
    /// Opens the store. Where it was named and cannot be opened, that is an
    /// error; where it is the user's own, the run goes on without.
    ///
    /// # Errors
    /// [`Failure`].
    pub fn open(args: &StoreArgs) -> Result<Self, Failure> {
        let opened = match args.whereabouts() {
            Ok(Whereabouts::Nowhere) => return Ok(Self::Unwanted),
            Ok(place) => place.open(Access::Write).map_err(Failure::from),
            Err(failure) => Err(failure),
        };
        match opened {
            Ok(store) => Ok(Self::Open(Box::new(store))),
            Err(failure) if args.store.is_some() => Err(failure),
            Err(failure) => {
                note(&format!(
                    "{}\nThis run will not be kept in the records (--store none is silent about \
                     it).",
                    failure.text()
                ));
                Ok(Self::Unwanted)
            }
        }
    }

    /// Whether anything is kept here.
    #[must_use]
    pub fn keeps(&self) -> bool {
        matches!(self, Self::Open(_))
    }

    /// Keeps a ring-out and says where.
    ///
    /// # Errors
    /// [`Failure`] when it could not be kept.
    pub fn keep(&mut self, run: &Run<'_>, subject: Subject) -> Result<(), Failure> {
        self.put(|| run.record(subject))
    }

    /// Keeps another test by its report and says where.
    ///
    /// # Errors
    /// [`Failure`] when it could not be kept.
    pub fn keep_report(&mut self, report: &impl Reports, subject: Subject) -> Result<(), Failure> {
        self.put(|| Record::of(report, subject))
    }

    fn put(&mut self, record: impl FnOnce() -> Result<Record, String>) -> Result<(), Failure> {
        let Self::Open(store) = self else {
            return Ok(());
        };
        let record = record().map_err(Failure::usage)?;
        let sealed = Sealed::new(record).map_err(Failure::usage)?;
        let kept = store.keep(&sealed)?;
        note(&format!(
            "Kept as record {} ({}) in {}.",
            kept.number,
            kept.digest.short(),
            store.place()
        ));
        Ok(())
    }
}

/// A ring-out that ended.
#[derive(Debug)]
pub struct Run<'r> {
    /// What was read, round by round.
    pub rounds: &'r [Round<'r>],
    /// Every fault the plan allows.
    pub covered: &'r [Covered],
    /// The scan; none where the probe refused to go on.
    pub recording: Option<&'r Recording>,
    /// The report, as printed.
    pub report: &'r Report,
}

impl Run<'_> {
    fn record(&self, subject: Subject) -> Result<Record, String> {
        let scan = self.recording.map(serde_json::to_value).transpose();
        let scan = scan.map_err(|error| error.to_string())?;
        let faults: Vec<Fault> = self.covered.iter().map(|one| one.fault.clone()).collect();
        let paths = paths(self.rounds, &faults)?;
        Record::new(self.report, scan, paths, subject)
    }
}

//! `sheet`: the printable job sheet and report.

use std::io::Write as _;
use std::path::{Path, PathBuf};

use clap::ValueEnum;
use jiff::Timestamp;
use jiff::tz::TimeZone;
use loomproof_core::wire::Place;

use super::exit::Status;
use super::job::JobArgs;
use super::keeping::{StoreArgs, SubjectArgs};
use super::ringout::kept_report;
use super::{Failure, note, print};
use crate::hookup::rounds::rounds;
use crate::hookup::{Hookup, Within};
use crate::plan::model::Job;
use crate::records::record::Subject;
use crate::records::sqlite::Access;
use crate::ringout::hand_checks::attest;
use crate::sheet::language::Language;
use crate::sheet::{Input, Paper, Reported, sheet};
use crate::whole_file::WholeFile;

/// Arguments of `sheet`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  loomproof sheet fixtures/plans/bakery-van.toml --defaults --to \
                  job.html\n  loomproof sheet fixtures/plans/bench-64.toml --from \
                  fixtures/scans/bench-64.json --to report.html"
)]
pub struct Args {
    #[command(flatten)]
    job: JobArgs,
    /// Probe leads of the probe.
    #[arg(long, value_name = "N", default_value_t = 64, value_parser = clap::value_parser!(u8).range(2..=128))]
    leads: u8,
    /// Adds the report of a scan that `ringout --save` kept.
    #[arg(long, value_name = "FILE", conflicts_with_all = ["record", "place", "leads"])]
    from: Option<PathBuf>,
    /// Adds the report of a record: its number, or the first digits of its digest.
    #[arg(long, value_name = "RECORD", conflicts_with_all = ["place", "leads"])]
    record: Option<String>,
    /// A place whose hand checks were done and are vouched for, such as X1; may
    /// be repeated; `all` for every place. With --from only: a record has its own.
    #[arg(long, value_name = "PLACE", value_delimiter = ',', requires = "from")]
    attest: Vec<String>,
    #[command(flatten)]
    store: StoreArgs,
    #[command(flatten)]
    subject: SubjectArgs,
    /// Language of the sheet's own text.
    #[arg(long, value_name = "CODE", default_value = "en", value_parser = ["en", "de"])]
    language: String,
    /// Paper that it is printed on.
    #[arg(long, default_value = "a4")]
    paper: PaperArg,
    /// The file to write; otherwise standard output.
    #[arg(long, value_name = "FILE")]
    to: Option<PathBuf>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum PaperArg {
    A4,
    Letter,
}

/// Writes the sheet.
///
/// # Errors
/// [`Failure`].
pub fn run(args: &Args) -> Result<Status, Failure> {
    let language =
        Language::shipped(&args.language).map_err(|error| Failure::usage(error.to_string()))?;
    let plan = args.job.plan()?;
    let keep_off: Vec<String> = plan.keep_off().map(str::to_owned).collect();
    let mut subject = args.subject.subject()?;
    let (job, place, hookups, reported) = match (&args.from, &args.record) {
        (Some(file), _) => {
            let mut kept = kept_report(&args.job, file)?;
            attest(&mut kept.report.hand_checks, &args.attest).map_err(Failure::usage)?;
            let reported = Reported {
                report: kept.report,
                taken: None,
                record: None,
            };
            (kept.job, kept.place, Ok(kept.hookups), Some(reported))
        }
        (None, Some(which)) => {
            let stored = args.store.open(Access::Read)?.get(which)?;
            let record = &stored.sealed.record;
            if record.plan_digest != plan.digest() {
                return Err(Failure::usage(format!(
                    "record {} is of \"{}\" as it was then ({}), and {} is not that file; give the \
                     plan the record was taken with",
                    stored.number,
                    record.title,
                    record.plan_digest.get(..12).unwrap_or_default(),
                    plan.path()
                )));
            }
            let job = args.job.settle(&plan, record.answers.clone())?;
            let report = record.ringout().map_err(|why| {
                Failure::usage(format!(
                    "record {}: {why}; a sheet is made of a ring-out",
                    stored.number
                ))
            })?;
            let leads = report.probe.leads;
            let place = match record.place.as_str() {
                "bench" => Place::Bench,
                _ => Place::Vehicle,
            };
            subject = with(subject, &record.subject);
            let reported = Reported {
                report,
                taken: Some(here(record.at().map_err(|error| {
                    Failure::usage(format!("record {}: {error}", stored.number))
                })?)),
                record: Some((stored.sealed.digest.to_string(), stored.link.to_string())),
            };
            let hookups = hookups(&job, place, leads);
            (job, place, hookups, Some(reported))
        }
        (None, None) => {
            let job = args.job.settle(&plan, std::collections::BTreeMap::new())?;
            let place = args.job.place.into();
            let hookups = hookups(&job, place, args.leads);
            (job, place, hookups, None)
        }
    };
    let html = sheet(
        &Input {
            job: &job,
            place,
            keep_off: &keep_off,
            hookups: hookups.as_deref().map_err(Clone::clone),
            reported: reported.as_ref(),
            subject: &subject,
            written: &here(Timestamp::now()),
            paper: match args.paper {
                PaperArg::A4 => Paper::A4,
                PaperArg::Letter => Paper::Letter,
            },
        },
        &language,
    );
    match &args.to {
        None => print(&html)?,
        Some(file) => {
            write(file, &html)?;
            note(&format!("Written to {}.", file.display()));
        }
    }
    // The sheet tells the verdict; the exit status does as well.
    Ok(reported.map_or(Status::Pass, |reported| reported.report.verdict.into()))
}

/// The hook-up, round by round.
fn hookups(job: &Job, place: Place, leads: u8) -> Result<Vec<Hookup>, String> {
    let rounds = rounds(job, place, usize::from(leads), &Within::Everything);
    rounds
        .map(|rounds| rounds.hookups)
        .map_err(|error| error.to_string())
}

/// What was given now, and what the record knows besides.
fn with(now: Subject, kept: &Subject) -> Subject {
    Subject {
        who: now.who.or_else(|| kept.who.clone()),
        vehicle: now.vehicle.or_else(|| kept.vehicle.clone()),
        unit: now.unit.or_else(|| kept.unit.clone()),
        batch: now.batch.or_else(|| kept.batch.clone()),
    }
}

/// A time as it is here, with the zone.
fn here(at: Timestamp) -> String {
    let local = at.to_zoned_datetime(TimeZone::system());
    local.strftime("%Y-%m-%d %H:%M %:z").to_string()
}

/// Writes the file whole or not at all.
fn write(file: &Path, html: &str) -> Result<(), Failure> {
    let fail = |error: &std::io::Error| {
        Failure::usage(format!(
            "{}: {error}; check the folder and its rights",
            file.display()
        ))
    };
    let written = WholeFile::beside(file).and_then(|mut whole| {
        whole.write_all(html.as_bytes())?;
        whole.put()
    });
    written.map_err(|error| fail(&error))
}

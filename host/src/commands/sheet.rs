//! `sheet`: the printable job sheet and report.

use std::io::{Read as _, Write as _};
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
use crate::ringout::findings::Findings;
use crate::ringout::hand_checks::attest;
use crate::sheet::kit::Kit;
use crate::sheet::label::{Size, label};
use crate::sheet::language::Language;
use crate::sheet::photo::{Given, MOST_BYTES, MOST_PHOTOS, Photo, is_place, strip};
use crate::sheet::{Input, Paper, Reported, kit_list, sheet};
use crate::whole_file::WholeFile;

/// Arguments of `sheet`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  loomproof sheet fixtures/plans/bakery-van.toml --defaults --to \
                  job.html\n  loomproof sheet fixtures/plans/bench-64.toml --from \
                  fixtures/scans/bench-64.json --to report.html\n  loomproof sheet \
                  fixtures/plans/bakery-van.toml --defaults --only kit --format text\n  loomproof \
                  sheet fixtures/plans/bakery-van.toml --defaults --only label --unit U-4711 \
                  --address https://sheets.example/ --to label.html"
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
    /// Only the kit list (what goes into the bag for this vehicle) or only the label of
    /// the harness, instead of the sheet.
    #[arg(long)]
    only: Option<Only>,
    /// How the kit list is written.
    #[arg(long, default_value = "html")]
    format: Format,
    /// Address of the folder that your shop keeps sheets in, such as
    /// https://sheets.example/: the label's code opens the sheet there that has the
    /// harness's number. Without it the code carries the text of the label.
    #[arg(long, value_name = "URL")]
    address: Option<String>,
    /// Size of the label in millimetres, width by height.
    #[arg(long, value_name = "WIDTHxHEIGHT", default_value = "100x50", value_parser = Size::read)]
    label_size: Size,
    /// What did not work, or was noticed, when the vehicle came in; may be repeated.
    #[arg(long, value_name = "TEXT")]
    arrival: Vec<String>,
    /// A file of such notes, one a line.
    #[arg(long, value_name = "FILE")]
    arrival_from: Option<PathBuf>,
    /// A photo, JPEG or PNG, of a finding (by its number) or of a place of the plan, with
    /// words for who cannot see it: "X1:4=kick.jpg,say=terminal half out"; may be
    /// repeated. What the camera wrote into it (place, time, device) is taken out.
    #[arg(long, value_name = "PLACE=FILE")]
    photo: Vec<String>,
    /// The file to write; otherwise standard output.
    #[arg(long, value_name = "FILE")]
    to: Option<PathBuf>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum PaperArg {
    A4,
    Letter,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Only {
    Kit,
    Label,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Format {
    Html,
    Text,
    Json,
}

/// Writes the sheet.
///
/// # Errors
/// [`Failure`].
pub fn run(args: &Args) -> Result<Status, Failure> {
    sensible(args)?;
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
    let kit = Kit::of(&plan, &job, &language);
    let arrival = arrival(args)?;
    let photos = photos(args, &job, reported.as_ref())?;
    let written = here(Timestamp::now());
    let input = Input {
        job: &job,
        place,
        keep_off: &keep_off,
        hookups: hookups.as_deref().map_err(Clone::clone),
        reported: reported.as_ref(),
        subject: &subject,
        written: &written,
        paper: match args.paper {
            PaperArg::A4 => Paper::A4,
            PaperArg::Letter => Paper::Letter,
        },
        kit: &kit,
        arrival: &arrival,
        photos: &photos,
    };
    let document = match (args.only, args.format) {
        (None, _) => sheet(&input, &language),
        (Some(Only::Label), _) => {
            label(&input, args.label_size, args.address.as_deref(), &language)
                .map_err(Failure::usage)?
        }
        (Some(Only::Kit), Format::Html) => kit_list::page(&input, &language),
        (Some(Only::Kit), Format::Text) => kit_list::text(&kit, &language),
        (Some(Only::Kit), Format::Json) => {
            let json = serde_json::to_string_pretty(&kit);
            json.map_err(|error| Failure::usage(error.to_string()))? + "\n"
        }
    };
    match &args.to {
        None => print(&document)?,
        Some(file) => {
            write(file, &document)?;
            note(&format!("Written to {}.", file.display()));
        }
    }
    if args.only.is_some() {
        // A list and a label were asked for, no verdict.
        return Ok(Status::Pass);
    }
    // The sheet tells the verdict; the exit status does as well.
    Ok(reported.map_or(Status::Pass, |reported| reported.report.verdict.into()))
}

/// What does not go together.
fn sensible(args: &Args) -> Result<(), Failure> {
    let fail = |text: &str| Err(Failure::usage(text.to_owned()));
    if args.format != Format::Html && args.only != Some(Only::Kit) {
        return fail(
            "--format is for the kit list: add --only kit; the sheet and the label are HTML",
        );
    }
    if args.address.is_some() && args.only != Some(Only::Label) {
        return fail("--address is for the label's code: add --only label");
    }
    let notes = !args.arrival.is_empty() || args.arrival_from.is_some();
    if args.only.is_some() && (notes || !args.photo.is_empty()) {
        return fail(
            "--arrival and --photo are for the sheet, not for the kit list or the label: leave \
             --only away",
        );
    }
    Ok(())
}

/// The longest note of the arrival, characters: a paragraph.
const LONGEST_NOTE: usize = 2000;

/// The most notes.
const MOST_NOTES: usize = 200;

/// How the vehicle came in.
fn arrival(args: &Args) -> Result<Vec<String>, Failure> {
    let mut notes = args.arrival.clone();
    if let Some(file) = &args.arrival_from {
        let text = std::fs::read_to_string(file).map_err(|error| {
            Failure::usage(format!(
                "--arrival-from {}: {error}; it is a text file with a note a line",
                file.display()
            ))
        })?;
        notes.extend(text.lines().map(str::to_owned));
    }
    let notes: Vec<String> = notes
        .iter()
        .map(|note| note.trim().to_owned())
        .filter(|note| !note.is_empty())
        .collect();
    if notes.len() > MOST_NOTES || notes.iter().any(|note| note.chars().count() > LONGEST_NOTE) {
        return Err(Failure::usage(format!(
            "notes of the arrival: at most {MOST_NOTES}, each of at most {LONGEST_NOTE} characters"
        )));
    }
    Ok(notes)
}

/// The photos, stripped of what the camera wrote.
fn photos(args: &Args, job: &Job, reported: Option<&Reported>) -> Result<Vec<Photo>, Failure> {
    if args.photo.len() > MOST_PHOTOS {
        return Err(Failure::usage(format!(
            "--photo: {} photos; at most {MOST_PHOTOS} go on a sheet that can still be sent",
            args.photo.len()
        )));
    }
    let report = reported.map(|reported| &reported.report);
    let best = report.filter(|report| !report.lost);
    let best = best.and_then(|report| report.groups.first());
    let findings = best.map(Findings::of).unwrap_or_default().list.len();
    let mut photos = Vec::new();
    for given in &args.photo {
        let given = Given::read(given).map_err(Failure::usage)?;
        let fail = |why: String| Failure::usage(format!("--photo {}: {why}", given.file));
        if !is_place(job, findings, given.at) {
            return Err(fail(format!(
                "{} is neither a finding of this report (it has {findings}) nor a place of the \
                 plan, such as X1, X1:4, T1 or a lead",
                given.at
            )));
        }
        let (kind, bytes) = picture(Path::new(given.file)).map_err(fail)?;
        if given.say.is_none() {
            note(&format!(
                "Photo at {}: add \",say=WORDS\" for who cannot see it.",
                given.at
            ));
        }
        photos.push(Photo {
            at: given.at.to_owned(),
            say: given.say.map(str::to_owned),
            kind,
            bytes,
        });
    }
    Ok(photos)
}

/// A picture of a file that is not read further than a picture may be large.
fn picture(file: &Path) -> Result<(&'static str, Vec<u8>), String> {
    let opened = std::fs::File::open(file).map_err(|error| error.to_string())?;
    let mut bytes = Vec::new();
    let most = u64::try_from(MOST_BYTES).unwrap_or(u64::MAX);
    let read = opened.take(most.saturating_add(1)).read_to_end(&mut bytes);
    read.map_err(|error| error.to_string())?;
    strip(&bytes)
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

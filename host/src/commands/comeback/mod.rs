//! `comeback`: from a function that does not work to the cause, reading by reading.

mod before;
mod desk;
mod looking;
mod telling;

use std::path::PathBuf;

use loomproof_core::wire::Place;

use super::clipped::VIRTUAL;
use super::exit::Status;
use super::job::{JobArgs, VirtualArgs};
use super::keeping::{Shelf, StoreArgs, SubjectArgs};
use super::{Failure, Format, note, print, print_json};
use crate::comeback::session::SessionError;
use crate::comeback::vehicle::hidden;
use crate::comeback::{How, Inquiry, text};
use crate::plan::model::Job;
use crate::powered::Cause;
use crate::ringout::report::Verdict;
use crate::stage::{Act, Stage};
use desk::Desk;

/// Arguments of `comeback`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example: loomproof comeback fixtures/plans/bakery-van.toml --defaults \
                  --probe virtual --fault open@X10:1"
)]
pub struct Args {
    #[command(flatten)]
    job: JobArgs,
    /// A function that works; may be repeated.
    #[arg(long, value_name = "FUNCTION")]
    works: Vec<String>,
    /// A function that does not work; may be repeated.
    #[arg(long, value_name = "FUNCTION")]
    fails: Vec<String>,
    /// A function that is on when it must be off; may be repeated.
    #[arg(long, value_name = "FUNCTION")]
    stays_on: Vec<String>,
    /// A place that is open already, in words of the plan or by the name of something
    /// there; may be repeated.
    #[arg(long, value_name = "PLACE")]
    open: Vec<String>,
    /// Voltage of the battery at its posts; the plan's supply where not given.
    #[arg(long, value_name = "VOLTS")]
    battery: Option<f64>,
    /// The record from the day it was fitted: its number or the beginning of its digest.
    #[arg(long, value_name = "RECORD")]
    record: Option<String>,
    #[command(flatten)]
    store: StoreArgs,
    #[command(flatten)]
    subject: SubjectArgs,
    /// Keeps the session in this file, and goes on where it was left.
    #[arg(long, value_name = "FILE")]
    session: Option<PathBuf>,
    /// Who reads: `meter` (you type what an ordinary multimeter shows), `virtual`, or the
    /// port of a probe, such as /dev/ttyACM0 or COM5, or `usb`.
    #[arg(long, value_name = "PROBE", default_value = "meter")]
    probe: String,
    /// Puts a fault into the virtual vehicle; may be repeated. As with `live`.
    #[arg(long = "fault", value_name = "FAULT")]
    faults: Vec<String>,
    /// Practises on a virtual vehicle with a hidden fault, drawn by --seed: you choose
    /// the readings, and are told at the end how you did.
    #[arg(long)]
    practice: bool,
    #[command(flatten)]
    simulated: VirtualArgs,
    /// What to print.
    #[arg(long, default_value = "text")]
    format: Format,
}

impl From<SessionError> for Failure {
    fn from(error: SessionError) -> Self {
        Self::usage(error.to_string())
    }
}

/// Asks until the cause is found, and prints the report.
///
/// # Errors
/// [`Failure`] where there is no verdict.
pub fn run(args: &Args) -> Result<Status, Failure> {
    if let Some(list) = args.simulated.list() {
        print(&list)?;
        return Ok(Status::Pass);
    }
    if Place::from(args.job.place) == Place::Bench {
        return Err(Failure::usage(
            "a comeback is looked for in the vehicle; on the bench there is `ringout --where bench`"
                .to_owned(),
        ));
    }
    let job = args.job.job()?;
    Stage::Comeback
        .permit(Act::Measure)
        .map_err(Failure::refused)?;
    note(&Stage::Comeback.say());
    note(crate::live::text::CAUTION);
    let mut desk = Desk::new(args, &job)?;
    if args.practice {
        return super::practice::run(&mut desk.inquiry, &args.causes(&job)?, &args.settings()?);
    }
    let subject = args.subject.subject()?;
    let mut shelf = Shelf::open(&args.store)?;
    desk.tell()?;
    let report = desk.walk()?;
    // The verdict first: a disk that is full must not swallow it.
    match args.format {
        Format::Text => print(&text::render(&report))?,
        Format::Json => print_json(&report)?,
    }
    // What is gone on with on another day is kept when it ends.
    if !(report.broken_off && args.session.is_some()) {
        shelf.keep_report(&report, subject)?;
    }
    Ok(match report.verdict {
        Verdict::Pass => Status::Pass,
        Verdict::Faults => Status::Faults,
        _ => Status::Undecided,
    })
}

impl Args {
    fn is_virtual(&self) -> bool {
        self.practice || self.probe == VIRTUAL
    }

    fn settings(&self) -> Result<crate::bench::Settings, Failure> {
        self.simulated.settings()
    }

    /// What is wrong with the virtual vehicle.
    fn causes(&self, job: &Job) -> Result<Vec<Cause>, Failure> {
        Cause::parse_all(&self.faults, job).map_err(Failure::usage)
    }

    /// What was told of functions on the command line.
    fn told(&self) -> impl Iterator<Item = (&String, How)> {
        let works = self.works.iter().map(|name| (name, How::Works));
        let fails = self.fails.iter().map(|name| (name, How::Fails));
        let stays = self.stays_on.iter().map(|name| (name, How::StaysOn));
        works.chain(fails).chain(stays)
    }
}

/// The hidden fault of a practice, or those that were named.
///
/// # Errors
/// [`Failure`] where no fault of the plan shows.
pub fn hide(
    inquiry: &Inquiry<'_>,
    causes: &[Cause],
    settings: &crate::bench::Settings,
) -> Result<Vec<Cause>, Failure> {
    if causes.is_empty() {
        let cause = hidden(inquiry, settings).map_err(Failure::usage)?;
        return Ok(vec![cause]);
    }
    Ok(causes.to_vec())
}

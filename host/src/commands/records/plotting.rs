//! `records plot`: plots as SVG.

use std::io::Write as _;
use std::path::{Path, PathBuf};

use clap::ValueEnum;
use jiff::tz::TimeZone;

use super::super::exit::Status;
use super::super::keeping::StoreArgs;
use super::super::{Failure, note, print};
use super::{cannot_write, tell_altered};
use crate::records::course::CourseError;
use crate::records::filter::Filter;
use crate::records::plot;
use crate::records::sqlite::Access;
use crate::whole_file::WholeFile;

/// Arguments of `records plot`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  loomproof records plot drift --unit U12 --to drift.svg\n  \
                        loomproof records plot yield --to yield.svg\n  \
                        loomproof records plot faults --simulated --to faults.svg"
)]
pub(super) struct Args {
    /// What to draw.
    what: Drawn,
    /// Drift of this harness.
    #[arg(long, value_name = "NUMBER")]
    unit: Option<String>,
    /// Drift of the wiring of this vehicle.
    #[arg(long, value_name = "NUMBER")]
    vehicle: Option<String>,
    /// Of this plan only, by its title.
    #[arg(long, value_name = "TITLE")]
    plan: Option<String>,
    /// Looks at simulated runs instead of real ones.
    #[arg(long)]
    simulated: bool,
    /// The file; otherwise standard output.
    #[arg(long, value_name = "FILE")]
    to: Option<PathBuf>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Drawn {
    /// Each path of one harness over its ring-outs.
    Drift,
    /// First-pass yield by month.
    Yield,
    /// Faults by kind.
    Faults,
}

/// Draws.
///
/// # Errors
/// [`Failure`].
pub(super) fn run(place: &StoreArgs, args: &Args) -> Result<Status, Failure> {
    let named = args.unit.is_some() || args.vehicle.is_some();
    match args.what {
        Drawn::Drift if !named => {
            return Err(Failure::usage(
                "drift of which harness? Say it with --unit, or with --vehicle".to_owned(),
            ));
        }
        Drawn::Yield | Drawn::Faults if named => {
            return Err(Failure::usage(
                "--unit and --vehicle belong to `records plot drift`; yield and faults are those \
                 of the shop or, with --plan, of one plan"
                    .to_owned(),
            ));
        }
        _ => {}
    }
    let mut store = place.open(Access::Read)?;
    let zone = TimeZone::system();
    let title = args.plan.as_deref();
    let of = scope(title, args.simulated);
    let mut status = Status::Pass;
    let picture = match args.what {
        Drawn::Drift => {
            let filter = Filter {
                unit: args.unit.clone(),
                vehicle: args.vehicle.clone(),
                title: args.plan.clone(),
                ..Filter::default()
            };
            let course = store.course(&filter, args.simulated);
            let course = course.map_err(|error| match error {
                CourseError::Store(error) => Failure::from(error),
                error => Failure::usage(error.to_string()),
            })?;
            status = tell_altered(&course.altered);
            plot::drift(&course, &subject(args), &zone)
        }
        Drawn::Yield => plot::monthly(&store.months(title, args.simulated, &zone)?, &of),
        Drawn::Faults => plot::faults(&store.kinds(title, args.simulated)?, &of),
    };
    match &args.to {
        None => print(&picture)?,
        Some(file) => write(file, &picture)?,
    }
    Ok(status)
}

/// What yield and faults are of.
fn scope(title: Option<&str>, simulated: bool) -> String {
    let simulated = if simulated { " (simulated)" } else { "" };
    format!("{}{simulated}", title.unwrap_or("all plans"))
}

/// What drift is of.
fn subject(args: &Args) -> String {
    let named = [("unit", &args.unit), ("vehicle", &args.vehicle)];
    let named: Vec<String> = named
        .into_iter()
        .filter_map(|(what, name)| Some(format!("{what} {}", name.as_ref()?)))
        .collect();
    let simulated = if args.simulated { " (simulated)" } else { "" };
    format!("{}{simulated}", named.join(" in "))
}

fn write(file: &Path, picture: &str) -> Result<(), Failure> {
    let wrong = |error: &std::io::Error| cannot_write(file, error);
    let mut whole = WholeFile::beside(file).map_err(|error| wrong(&error))?;
    whole
        .write_all(picture.as_bytes())
        .map_err(|error| wrong(&error))?;
    whole.put().map_err(|error| wrong(&error))?;
    note(&format!("Written to {}.", file.display()));
    Ok(())
}

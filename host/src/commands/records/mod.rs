//! `records`: what was measured before.

mod filtering;
mod plotting;
mod shown;
mod went;
mod words;

use std::fs::File;
use std::io::{BufReader, BufWriter, Write as _};
use std::path::{Path, PathBuf};

use clap::{Subcommand, ValueEnum};

use super::exit::Status;
use super::keeping::StoreArgs;
use super::{Failure, Format, note, print, print_json};
use crate::records::compare::{comparable, compare};
use crate::records::filter::Filter;
use crate::records::record::{Digest, RecordError};
use crate::records::shop::Counted;
use crate::records::sqlite::Access;
use crate::records::transfer::{Table, TransferError, from_json, to_csv, to_json};
use crate::whole_file::WholeFile;

use filtering::FilterArgs;
pub use shown::Shown;

/// Arguments of `records`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:\n  loomproof records list --most 5\n  \
                        loomproof records compare 1 2\n  \
                        loomproof records batch B-17\n  \
                        loomproof records plot yield --to yield.svg\n  \
                        loomproof records export --format csv --to runs.csv")]
pub struct Args {
    #[command(subcommand)]
    what: What,
    #[command(flatten)]
    store: Stored,
}

/// [`StoreArgs`], for every subcommand.
#[derive(Debug, clap::Args)]
struct Stored {
    /// Where records are kept: a file, or postgres://NAME@SERVER/DATABASE;
    /// otherwise a file in your data folder.
    #[arg(
        long,
        global = true,
        value_name = "FILE|URL",
        env = "LOOMPROOF_STORE",
        hide_env_values = true
    )]
    store: Option<String>,
}

#[derive(Debug, Subcommand)]
enum What {
    /// The latest runs.
    List {
        #[command(flatten)]
        filter: FilterArgs,
        /// How many.
        #[arg(long, value_name = "N", default_value_t = 20)]
        most: u32,
        /// What to print.
        #[arg(long, default_value = "text")]
        format: Format,
    },
    /// One run in full.
    Show {
        /// Its number, or the first digits of its digest.
        record: String,
        /// What to print.
        #[arg(long, default_value = "text")]
        format: Format,
    },
    /// Two runs beside each other: what drifted, and what that suggests.
    Compare {
        /// A number, or the first digits of a digest.
        one: String,
        /// Another.
        other: String,
        /// What to print.
        #[arg(long, default_value = "text")]
        format: Format,
    },
    /// What the shop learns: first-pass yield, faults by kind and place, drift.
    Shop {
        /// Of this plan only, by its title.
        #[arg(long, value_name = "TITLE")]
        plan: Option<String>,
        /// Counts simulated harnesses instead of real ones.
        #[arg(long)]
        simulated: bool,
        /// How many lines of each list.
        #[arg(long, value_name = "N", default_value_t = 10)]
        most: u32,
        /// What to print.
        #[arg(long, default_value = "text")]
        format: Format,
    },
    /// From a batch every vehicle that its harnesses went into, and their comebacks.
    Batch {
        /// The batch.
        batch: String,
        /// Looks at simulated runs instead of real ones.
        #[arg(long)]
        simulated: bool,
        /// What to print.
        #[arg(long, default_value = "text")]
        format: Format,
    },
    /// From a vehicle its harnesses and their batches.
    Vehicle {
        /// The vehicle.
        vehicle: String,
        /// Looks at simulated runs instead of real ones.
        #[arg(long)]
        simulated: bool,
        /// What to print.
        #[arg(long, default_value = "text")]
        format: Format,
    },
    /// Draws a plot (SVG): drift of one harness, yield by month, faults by kind.
    Plot(plotting::Args),
    /// Writes records for other programs (CSV) or other machines (JSON).
    Export {
        #[command(flatten)]
        filter: FilterArgs,
        /// What to write.
        #[arg(long)]
        format: ExportFormat,
        /// Of a table: a line for each run, or for each path of each run.
        #[arg(long, default_value = "runs")]
        table: TableArg,
        /// The file; otherwise standard output.
        #[arg(long, value_name = "FILE")]
        to: Option<PathBuf>,
    },
    /// Takes in what another machine exported as JSON; nothing twice.
    Import {
        /// The file.
        file: PathBuf,
    },
    /// Whether any record was altered since it was kept.
    Check {
        /// A head that an earlier check printed or a report shows: whether all
        /// that was kept then is still there.
        #[arg(long, value_name = "HEAD")]
        head: Option<String>,
        /// What to print.
        #[arg(long, default_value = "text")]
        format: Format,
    },
    /// Where the records are.
    Where,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum ExportFormat {
    /// A table (RFC 4180).
    Csv,
    /// Whole records, to be imported elsewhere.
    Json,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum TableArg {
    /// A line for each run.
    Runs,
    /// A line for each metal path of each run.
    Paths,
}

/// Does what is asked with the records.
///
/// # Errors
/// [`Failure`].
pub fn run(args: &Args) -> Result<Status, Failure> {
    let place = StoreArgs::named(args.store.store.clone());
    match &args.what {
        What::Where => {
            let place = place.whereabouts()?;
            print(&format!("{place}\n"))?;
            Ok(Status::Pass)
        }
        What::List {
            filter,
            most,
            format,
        } => {
            let filter = filter.filter()?;
            let mut store = place.open(Access::Read)?;
            let lines = store.list(&filter, i64::from(*most))?;
            let shown = Shown::List {
                place: store.place().to_owned(),
                records: store.count(&filter)?,
                lines,
            };
            show(*format, &shown)
        }
        What::Show { record, format } => {
            let mut store = place.open(Access::Read)?;
            let stored = store.get(record)?;
            match format {
                Format::Json => show(*format, &Shown::record(&stored)),
                Format::Text => {
                    let mut out = words::heading(&stored);
                    match stored.sealed.record.reported() {
                        Ok(report) => out.push_str(&report.render()),
                        Err(why) => out.push_str(&format!("{why}\n")),
                    }
                    print(&out)?;
                    Ok(Status::Pass)
                }
            }
        }
        What::Compare { one, other, format } => {
            let mut store = place.open(Access::Read)?;
            let (one, other) = (store.get(one)?, store.get(other)?);
            comparable(&one, &other).map_err(Failure::usage)?;
            show(*format, &Shown::Compare(Box::new(compare(&one, &other))))
        }
        What::Shop {
            plan,
            simulated,
            most,
            format,
        } => {
            let mut store = place.open(Access::Read)?;
            let counted = Counted {
                simulated: *simulated,
                title: plan.clone(),
                most: i64::from(*most),
            };
            let shop = store.shop(&counted)?;
            show(*format, &Shown::Shop(shop))
        }
        What::Batch {
            batch,
            simulated,
            format,
        } => {
            let found = place.open(Access::Read)?.batch(batch, *simulated)?;
            let found = found.ok_or_else(|| none_names("batch", batch))?;
            show(*format, &Shown::Batch(found))
        }
        What::Vehicle {
            vehicle,
            simulated,
            format,
        } => {
            let found = place.open(Access::Read)?.vehicle(vehicle, *simulated)?;
            let found = found.ok_or_else(|| none_names("vehicle", vehicle))?;
            show(*format, &Shown::Vehicle(found))
        }
        What::Plot(args) => plotting::run(&place, args),
        What::Export {
            filter,
            format,
            table,
            to,
        } => export(&place, &filter.filter()?, (*format, *table), to.as_deref()),
        What::Import { file } => {
            let opened = File::open(file)
                .map_err(|error| Failure::usage(format!("{}: {error}", file.display())))?;
            let mut store = place.open(Access::Write)?;
            let imported = from_json(&mut store, &mut BufReader::new(opened))
                .map_err(|error| Failure::usage(format!("{}: {error}", file.display())))?;
            print(&format!(
                "{} records taken in, {} were there already; now in {}.\n",
                imported.new,
                imported.already,
                store.place()
            ))?;
            Ok(Status::Pass)
        }
        What::Check { head, format } => check(&place, head.as_deref(), *format),
    }
}

fn none_names(what: &str, number: &str) -> Failure {
    Failure::usage(format!(
        "no run names {what} {number}; `loomproof records list` shows what runs name, and --{what} \
         names it when a run is made"
    ))
}

fn check(place: &StoreArgs, head: Option<&str>, format: Format) -> Result<Status, Failure> {
    let mut store = place.open(Access::Read)?;
    let head = match head {
        None => None,
        Some(text) => Some(Digest::parse(text).ok_or_else(|| {
            Failure::usage(format!("--head {text}: a head has 64 hexadecimal digits"))
        })?),
    };
    let checked = store.check()?;
    let head_found = match head {
        None => None,
        Some(head) => Some(head == Digest::START || store.passes(head)?),
    };
    let sound = checked.wrong.is_empty() && head_found != Some(false);
    show(
        format,
        &Shown::Check {
            place: store.place().to_owned(),
            checked,
            head_found,
        },
    )?;
    Ok(if sound { Status::Pass } else { Status::Faults })
}

fn show(format: Format, shown: &Shown) -> Result<Status, Failure> {
    match format {
        Format::Json => print_json(shown)?,
        Format::Text => print(&words::render(shown))?,
    }
    Ok(Status::Pass)
}

/// Writes an export whole or not at all where it goes into a file.
fn export(
    place: &StoreArgs,
    filter: &Filter,
    (format, table): (ExportFormat, TableArg),
    to: Option<&Path>,
) -> Result<Status, Failure> {
    let mut store = place.open(Access::Read)?;
    let table = match table {
        TableArg::Runs => Table::Runs,
        TableArg::Paths => Table::Paths,
    };
    let mut write = |out: &mut dyn std::io::Write| match format {
        ExportFormat::Csv => to_csv(&mut store, filter, table, out),
        ExportFormat::Json => to_json(&mut store, filter, out),
    };
    let altered = match to {
        None => {
            let mut out = BufWriter::new(std::io::stdout().lock());
            match write(&mut out).and_then(|altered| Ok((altered, out.flush()?))) {
                Ok((altered, ())) => altered,
                // A reader that went away has seen enough.
                Err(TransferError::File(error))
                    if error.kind() == std::io::ErrorKind::BrokenPipe =>
                {
                    Vec::new()
                }
                Err(error) => return Err(error.into()),
            }
        }
        Some(file) => {
            let wrong = |error: &std::io::Error| cannot_write(file, error);
            let whole = WholeFile::beside(file).map_err(|error| wrong(&error))?;
            let mut out = BufWriter::new(whole);
            let altered = write(&mut out)?;
            let whole = out.into_inner().map_err(|error| wrong(error.error()))?;
            whole.put().map_err(|error| wrong(&error))?;
            note(&format!("Written to {}.", file.display()));
            altered
        }
    };
    Ok(tell_altered(&altered))
}

fn cannot_write(file: &Path, error: &std::io::Error) -> Failure {
    Failure::usage(format!(
        "{}: {error}; check the folder and its rights",
        file.display()
    ))
}

/// Says which records are left out; that they were altered is a fault.
fn tell_altered(altered: &[(i64, RecordError)]) -> Status {
    for (number, error) in altered {
        note(&format!("error: record {number} is left out: {error}"));
    }
    if altered.is_empty() {
        Status::Pass
    } else {
        Status::Faults
    }
}

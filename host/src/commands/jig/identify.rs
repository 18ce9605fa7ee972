//! `jig identify`: which jig is plugged in.

use std::path::PathBuf;

use serde::Serialize;

use super::using::{by_number, load, on_bench, read};
use super::{Failure, Format, Status, print, print_json};
use crate::commands::clipped::VIRTUAL;
use crate::commands::job::VirtualArgs;
use crate::jig::check::Wanted;
use crate::jig::history::History;
use crate::jig::played::{JigFault, KINDS, Played};
use crate::jig::{Jig, text};
use crate::link::{Link, connect};

/// Arguments of `jig identify`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Exit status: 0 it is known, 2 its file is not there, 3 its number cannot be read."
)]
pub struct Args {
    /// The folder with the files of the shop's jigs.
    folder: PathBuf,
    #[command(flatten)]
    probe: JigProbe,
    /// The file of the jig that the virtual bench has.
    #[arg(long, value_name = "FILE")]
    jig_there: Option<PathBuf>,
    /// What to print.
    #[arg(long, default_value = "text")]
    format: Format,
}

/// The probe that a jig is plugged into.
#[derive(Debug, clap::Args)]
pub(super) struct JigProbe {
    /// `virtual`, or the port of a probe, such as /dev/ttyACM0 or COM5, or `usb`
    /// for the one that is plugged in.
    #[arg(long, value_name = "PROBE", default_value = VIRTUAL)]
    probe: String,
    #[command(flatten)]
    pub(super) simulated: VirtualArgs,
    /// Puts a fault into the jig on the virtual bench; may be repeated. `help` lists the
    /// kinds.
    #[arg(long = "jig-fault", value_name = "FAULT")]
    faults: Vec<String>,
}

impl JigProbe {
    pub(super) fn is_virtual(&self) -> bool {
        self.probe == VIRTUAL
    }

    /// The kinds of fault, where a list is asked for.
    pub(super) fn list(&self) -> Option<String> {
        if self.faults.iter().any(|fault| fault == "help") {
            let lines = KINDS.map(|(example, meaning)| format!("  {example:<30} {meaning}\n"));
            return Some(format!(
                "Faults of a jig, an example each:\n{}",
                lines.concat()
            ));
        }
        self.simulated.list()
    }

    /// A real probe.
    pub(super) fn real(&self) -> Result<Box<dyn Link>, Failure> {
        self.simulated.only_virtual()?;
        if !self.faults.is_empty() {
            return Err(Failure::usage(
                "--jig-fault is only for the virtual bench; leave it out for a real probe"
                    .to_owned(),
            ));
        }
        Ok(Box::new(connect(&self.probe)?))
    }

    /// The virtual jig.
    pub(super) fn played(&self, jig: &Jig) -> Result<Played, Failure> {
        let faults = self.faults.iter().map(|text| JigFault::parse(text));
        let faults: Vec<JigFault> = faults.collect::<Result<_, _>>().map_err(Failure::usage)?;
        let mut beside = faults.iter().filter_map(|fault| fault.beside(jig));
        if let Some(lead) = beside.next() {
            return Err(Failure::usage(format!(
                "--jig-fault: this jig has no lead {lead}"
            )));
        }
        Ok(Played::new(jig, &faults))
    }
}

#[derive(Serialize)]
struct Known {
    number: u16,
    title: String,
    file: String,
    plans: Vec<String>,
    matings: u32,
    good_for: Option<u32>,
    /// Whether the last check found it whole; null where there was none.
    whole: Option<bool>,
    checked: Option<String>,
    matings_since_check: u32,
}

/// Reads the number and prints what is known of the jig.
///
/// # Errors
/// [`Failure`] where there is no jig, or none that is known.
pub fn run(args: &Args) -> Result<Status, Failure> {
    if let Some(list) = args.probe.list() {
        print(&list)?;
        return Ok(Status::Pass);
    }
    let mut link = if args.probe.is_virtual() {
        let Some(there) = &args.jig_there else {
            return Err(Failure::usage(
                "say with --jig-there FILE which of these jigs the virtual bench has, or give \
                 --probe usb"
                    .to_owned(),
            ));
        };
        let played = args.probe.played(&load(there)?)?;
        on_bench(&args.probe.simulated, Some(&played), Wanted::Nothing)?
    } else {
        if args.jig_there.is_some() {
            return Err(Failure::usage(
                "--jig-there is only for the virtual bench; leave it out for a real probe"
                    .to_owned(),
            ));
        }
        args.probe.real()?
    };
    let jig = by_number(&args.folder, &read(link.as_mut())?)?;
    let history = History::load(&jig).map_err(Failure::usage)?;
    match args.format {
        Format::Text => print(&text::known(&jig, &history))?,
        Format::Json => print_json(&Known {
            number: jig.code.number(),
            title: jig.title.clone(),
            file: jig.path.display().to_string(),
            plans: jig.plans.clone(),
            matings: history.matings,
            good_for: jig.matings,
            whole: history.checked.as_ref().map(|(whole, _)| *whole),
            checked: history.checked.map(|(_, when)| format!("{when:.0}")),
            matings_since_check: history.since_check,
        })?,
    }
    Ok(Status::Pass)
}

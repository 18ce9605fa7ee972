//! `jig check`: the test of the jig itself.

use std::path::PathBuf;

use super::identify::JigProbe;
use super::using::{load, on_bench};
use super::{Failure, Format, Status, note, print, print_json};
use crate::commands::asking::line;
use crate::commands::ready::works;
use crate::commands::touching::failed;
use crate::jig::check::{OtherJig, Stand, Wanted, check};
use crate::jig::history::{Event, History, add};
use crate::jig::played::Played;
use crate::jig::{Jig, text};
use crate::link::Link;
use crate::ringout::report::Verdict;
use crate::touch::look::LookError;
use loomproof_core::wire::{LeadId, Place};

/// Arguments of `jig check`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Exit status: 0 the jig is whole, 1 something is wrong with it, 3 the probe fails."
)]
pub struct Args {
    /// The jig's file.
    jig: PathBuf,
    #[command(flatten)]
    probe: JigProbe,
    /// What to print.
    #[arg(long, default_value = "text")]
    format: Format,
}

/// The jig in front of somebody.
struct Bench<'a> {
    jig: &'a Jig,
    probe: &'a JigProbe,
    /// `None` with a real probe.
    played: Option<Played>,
    link: Option<Box<dyn Link>>,
}

impl Stand for Bench<'_> {
    type Error = Failure;

    fn set(&mut self, wanted: Wanted<'_>) -> Result<&mut dyn Link, Failure> {
        let link = match (self.link.take(), &self.played) {
            (_, Some(played)) => on_bench(&self.probe.simulated, Some(played), wanted)?,
            (Some(link), None) => {
                wait(wanted)?;
                link
            }
            (None, None) => {
                wait(wanted)?;
                self.probe.real()?
            }
        };
        let link = self.link.insert(link).as_mut();
        if wanted == Wanted::Nothing {
            self.jig.fits(link.hello().leads).map_err(Failure::usage)?;
            // A lead of the probe that is broken must not be put down to the jig.
            let all: Vec<LeadId> = (0..link.hello().leads).map(LeadId).collect();
            works(link, &all, Place::Bench)?;
        }
        Ok(link)
    }
}

fn wait(wanted: Wanted<'_>) -> Result<(), Failure> {
    note(&match wanted {
        Wanted::Nothing => "Push the jig's plug home, and plug nothing into its halves.".to_owned(),
        Wanted::Plug(half) => format!(
            "Put the shorting plug (or a bar) on {half}, its clip on the jig's ground post; nothing on the \
             other halves."
        ),
    });
    match line("Enter when that is so: ") {
        Ok(Some(_)) => Ok(()),
        _ => Err(Failure::usage(
            "the input ended before the check did; check the jig in a terminal".to_owned(),
        )),
    }
}

impl From<OtherJig> for Failure {
    fn from(error: OtherJig) -> Self {
        Self::probe(error.to_string())
    }
}

impl From<LookError> for Failure {
    fn from(error: LookError) -> Self {
        failed(&error, None)
    }
}

/// Checks, keeps that it was done, and prints.
///
/// # Errors
/// [`Failure`] for the file, probe or link trouble.
pub fn run(args: &Args) -> Result<Status, Failure> {
    if let Some(list) = args.probe.list() {
        print(&list)?;
        return Ok(Status::Pass);
    }
    let jig = load(&args.jig)?;
    let history = History::load(&jig).map_err(Failure::usage)?;
    let played = match args.probe.is_virtual() {
        true => Some(args.probe.played(&jig)?),
        false => None,
    };
    let mut stand = Bench {
        jig: &jig,
        probe: &args.probe,
        played,
        link: None,
    };
    let report = check(&jig, &history, &mut stand)?;
    let event = match report.verdict {
        Verdict::Pass => Event::Whole,
        _ => Event::Faulty,
    };
    // Kept even where the report cannot be printed, and printed where it cannot be kept.
    let kept = match stand.played {
        None => add(&jig, &event).map_err(Failure::usage),
        Some(_) => Ok(()),
    };
    match args.format {
        Format::Text => print(&text::render(&report))?,
        Format::Json => print_json(&report)?,
    }
    kept?;
    if stand.played.is_some() {
        note(&format!(
            "A virtual jig was checked, and nothing is kept of it; the real one: loomproof jig check \
             {} --probe usb",
            jig.path.display()
        ));
    }
    Ok(report.verdict.into())
}

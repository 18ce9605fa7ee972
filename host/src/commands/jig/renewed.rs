//! `jig renewed`: new halves.

use std::path::PathBuf;

use super::using::load;
use super::{Failure, Status, print};
use crate::jig::history::{Event, History, add};

/// Arguments of `jig renewed`.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The jig's file.
    jig: PathBuf,
}

/// Notes it.
///
/// # Errors
/// [`Failure`] for the file, or where it cannot be noted.
pub fn run(args: &Args) -> Result<Status, Failure> {
    let jig = load(&args.jig)?;
    let before = History::load(&jig).map_err(Failure::usage)?;
    add(&jig, &Event::Renewed).map_err(Failure::usage)?;
    print(&format!(
        "Jig {}: halves renewed after {} matings. Check it before its next harness: loomproof jig \
         check {} --probe usb\n",
        jig.code.number(),
        before.matings,
        jig.path.display()
    ))?;
    Ok(Status::Pass)
}

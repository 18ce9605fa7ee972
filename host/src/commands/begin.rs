//! `begin`: writes a commented plan to start from.

use std::io::Write as _;
use std::path::PathBuf;

use super::exit::Status;
use super::{Failure, note};
use crate::plan::outline;

/// Arguments of `begin`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example: loomproof begin my-job.toml\n\ndocs/first-plan.md writes a plan step by step."
)]
pub struct Args {
    /// The file to write; it must not be there yet.
    plan: PathBuf,
}

/// Writes the outline of a plan to a new file; a file that is there is left
/// alone.
///
/// # Errors
/// [`Failure`] when the file is there already or cannot be written.
pub fn run(args: &Args) -> Result<Status, Failure> {
    let path = args.plan.display();
    let file = std::fs::File::options()
        .write(true)
        .create_new(true)
        .open(&args.plan);
    let mut file = file.map_err(|error| {
        Failure::usage(match error.kind() {
            std::io::ErrorKind::AlreadyExists => {
                format!("{path} is there already and is left as it is; give a new name")
            }
            _ => format!("cannot write {path}: {error}; check the folder and its rights"),
        })
    })?;
    file.write_all(outline().as_bytes())
        .map_err(|error| Failure::usage(format!("cannot write {path}: {error}")))?;
    note(&format!(
        "{path} is written. Fill it in, then: loomproof review {path}"
    ));
    Ok(Status::Pass)
}

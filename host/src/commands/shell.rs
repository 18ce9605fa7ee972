//! `completions` and `man`: what a shell and a manual reader want, made from
//! the command itself.

use std::path::PathBuf;

use clap::CommandFactory as _;
use clap_complete::Shell;

use super::exit::Status;
use super::{Cli, Failure, note, print};

/// Arguments of `completions`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: loomproof completions bash")]
pub struct Completions {
    /// The shell.
    shell: Shell,
}

/// Prints the completions of a shell.
///
/// # Errors
/// [`Failure`] when they cannot be written.
pub fn completions(args: &Completions) -> Result<Status, Failure> {
    let mut script = Vec::new();
    clap_complete::generate(args.shell, &mut Cli::command(), "loomproof", &mut script);
    print(&String::from_utf8_lossy(&script))?;
    Ok(Status::Pass)
}

/// Arguments of `man`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: loomproof man man1")]
pub struct Man {
    /// The folder to write the pages to; it is made where it is not there.
    folder: PathBuf,
}

/// Writes a manual page for the command and each verb.
///
/// # Errors
/// [`Failure`] when they cannot be written.
pub fn man(args: &Man) -> Result<Status, Failure> {
    let folder = args.folder.display();
    std::fs::create_dir_all(&args.folder)
        .and_then(|()| clap_mangen::generate_to(Cli::command(), &args.folder))
        .map_err(|error| {
            Failure::usage(format!(
                "cannot write manual pages to {folder}: {error}; check the folder and its rights"
            ))
        })?;
    note(&format!("Manual pages written to {folder}."));
    Ok(Status::Pass)
}

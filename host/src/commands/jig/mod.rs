//! `jig`: bench jigs; a new one for a plan, which one is plugged in, its check, and new
//! halves.

mod check;
mod identify;
mod make;
mod renewed;
pub(super) mod using;

use clap::Subcommand;

use super::exit::Status;
use super::{Failure, Format, note, print, print_json};

/// Arguments of `jig`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example: loomproof jig check fixtures/jigs/bakery-van.jig.toml --probe virtual"
)]
pub struct Args {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Writes a jig's file for a plan's harness in all its variants, and says how to wire it.
    Make(make::Args),
    /// Which jig is plugged into the probe, and what it has been through.
    Identify(identify::Args),
    /// Is the jig itself whole? Its number, its wires, and each half with a shorting plug.
    Check(check::Args),
    /// Notes that the halves of a jig were renewed: matings are counted from nothing.
    Renewed(renewed::Args),
}

/// Carries out one of the jig verbs.
///
/// # Errors
/// [`Failure`] for files, probe or link trouble.
pub fn run(args: &Args) -> Result<Status, Failure> {
    match &args.what {
        What::Make(args) => make::run(args),
        What::Identify(args) => identify::run(args),
        What::Check(args) => check::run(args),
        What::Renewed(args) => renewed::run(args),
    }
}

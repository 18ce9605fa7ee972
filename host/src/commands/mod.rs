//! The command: one verb, one file.

mod asking;
mod begin;
mod clipped;
mod comeback;
mod drain;
mod exit;
mod first_power;
mod following;
mod going_on;
mod hookup;
mod jig;
mod job;
mod keeping;
mod learning;
mod live;
mod own;
mod practice;
mod probe;
mod progress;
mod ready;
pub mod records;
mod review;
mod ringing;
mod ringout;
mod sheet;
mod shell;
mod so_far;
mod staged;
mod stand;
mod stopping;
mod touch;
mod touching;
mod wiggle;
mod wiggling;
mod wrapping;

use std::process::ExitCode;

use clap::{Parser, Subcommand, ValueEnum};

pub use exit::Failure;

/// Proves the wiring of an add-on harness before the trim goes back on.
#[derive(Debug, Parser)]
#[command(name = "loomproof", version, about, after_help = EXIT_HELP)]
pub struct Cli {
    #[command(subcommand)]
    verb: Verb,
}

const EXIT_HELP: &str = "\
Exit status: 0 pass, 1 faults found, 2 plan or usage error, 3 probe or link trouble, \
4 refused as unsafe, 5 cannot tell.

Disconnect the battery before a ring-out and before opening connectors. Keep off restraint \
circuits (airbag, pretensioner) and high-voltage wiring. The vehicle maker's service information, \
local codes and licensed practice come first.";

#[derive(Debug, Subcommand)]
enum Verb {
    /// Writes a commented plan to start from.
    Begin(begin::Args),
    /// Checks the plan itself, before anyone crimps.
    Review(review::Args),
    /// Which probe lead goes on which test point, and what that can show.
    Hookup(hookup::Args),
    /// Names what a lead in the hand touches; proves the hook-up, or makes it.
    Touch(touch::Args),
    /// Dead test of the harness, on the bench or in the vehicle.
    Ringout(ringout::Args),
    /// Powered check, function by function; the probe measures only.
    Live(live::Args),
    /// Watches joints while somebody pulls at the harness; beeps when one lets go.
    Wiggle(wiggle::Args),
    /// From a function that does not work to the cause, reading by reading.
    Comeback(comeback::Args),
    /// The printable job sheet, with the report where there is one.
    Sheet(sheet::Args),
    /// What was measured before: list, show, compare, export, check.
    Records(records::Args),
    /// Bench jigs: write one for a plan, tell which is plugged in, check it.
    Jig(jig::Args),
    /// Find and test probes, null their leads, load a plan; serve the virtual one.
    Probe(probe::Args),
    /// Prints completions for a shell.
    Completions(shell::Completions),
    /// Writes manual pages.
    Man(shell::Man),
}

/// What is printed on standard output.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Format {
    /// Plain words.
    Text,
    /// One JSON value.
    Json,
}

/// Runs the command line and gives its exit status.
#[must_use]
pub fn main() -> ExitCode {
    let cli = Cli::parse();
    wrapping::fit_reports();
    let result = match cli.verb {
        Verb::Begin(args) => begin::run(&args),
        Verb::Review(args) => review::run(&args),
        Verb::Hookup(args) => hookup::run(&args),
        Verb::Touch(args) => touch::run(&args),
        Verb::Ringout(args) => ringout::run(&args),
        Verb::Live(args) => live::run(&args),
        Verb::Wiggle(args) => wiggle::run(&args),
        Verb::Comeback(args) => comeback::run(&args),
        Verb::Sheet(args) => sheet::run(&args),
        Verb::Records(args) => records::run(&args),
        Verb::Jig(args) => jig::run(&args),
        Verb::Probe(args) => probe::run(&args),
        Verb::Completions(args) => shell::completions(&args),
        Verb::Man(args) => shell::man(&args),
    };
    match result {
        Ok(status) => status.code(),
        Err(failure) => {
            note(failure.text());
            failure.status().code()
        }
    }
}

/// Prints to standard output. A reader that went away has seen enough; any
/// other failure to write means that the report is lost.
fn print(text: &str) -> Result<(), Failure> {
    use std::io::Write as _;
    let mut out = std::io::stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Err(error) if error.kind() != std::io::ErrorKind::BrokenPipe => Err(Failure::usage(
            format!("cannot write the report to standard output: {error}"),
        )),
        _ => Ok(()),
    }
}

/// A line on standard error; where that cannot be written to, nobody reads it.
fn note(text: &str) {
    use std::io::Write as _;
    let _ = writeln!(std::io::stderr(), "{}", wrapping::for_stderr(text));
}

/// Prints a value as JSON to standard output.
fn print_json(value: &impl serde::Serialize) -> Result<(), Failure> {
    let text = serde_json::to_string_pretty(value)
        .map_err(|error| Failure::usage(format!("cannot print this as JSON: {error}")))?;
    print(&format!("{text}\n"))
}

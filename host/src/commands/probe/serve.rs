//! `probe serve`: the virtual probe on a port of its own.

use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use super::{Failure, Status, VirtualArgs, note, print};
use crate::commands::jig::using::load;
use crate::commands::job::{BenchArgs, JobArgs};
use crate::hookup::propose;
use crate::jig::played::Played;

/// Arguments of `probe serve`.
#[derive(Debug, clap::Args)]
pub struct Args {
    #[command(flatten)]
    job: JobArgs,
    #[command(flatten)]
    bench: BenchArgs,
    /// The harness is plugged into the jig of this file.
    #[arg(long, value_name = "FILE")]
    jig: Option<PathBuf>,
}

impl Args {
    /// What the virtual probe is like.
    pub(super) fn simulated(&self) -> &VirtualArgs {
        &self.bench.simulated
    }
}

#[cfg(unix)]
/// Serves it until it is stopped.
///
/// # Errors
/// [`Failure`] where plan, faults or pseudo-terminal do not serve.
pub fn run(Args { job, bench, jig }: &Args) -> Result<Status, Failure> {
    use crate::link::pty::Pty;

    let place = job.place.into();
    let job = job.job()?;
    let leads = bench.simulated.leads;
    let (hookup, code) = match jig.as_deref().map(load).transpose()? {
        Some(jig) => {
            let hookup = jig.hookup(&job, (place, leads)).map_err(Failure::usage)?;
            (hookup, Played::new(&jig, &[]).code())
        }
        None => (propose(&job, place, usize::from(leads))?, Vec::new()),
    };
    let faults = bench.faults(&job)?;
    let mut probe = bench.probe(&job, &hookup, &faults, &code)?;
    let trouble =
        |error: std::io::Error| Failure::probe(format!("cannot serve a pseudo-terminal: {error}"));
    let pty = Pty::open().map_err(trouble)?;
    print(&format!("{}\n", pty.path().display()))?;
    note(&format!(
        "Virtual probe with {} on the bench; give this port to --probe in another terminal. \
         Stop with Ctrl-C.",
        if faults.is_empty() {
            "a healthy harness".to_owned()
        } else {
            bench.faults.join(" and ")
        }
    ));
    let stop = Arc::new(AtomicBool::new(false));
    pty.serve(&mut probe, &stop).map_err(trouble)?;
    Ok(Status::Pass)
}

#[cfg(not(unix))]
/// Says that it cannot.
///
/// # Errors
/// Always.
pub fn run(_: &Args) -> Result<Status, Failure> {
    Err(Failure::usage(
        "pseudo-terminals are not to be had on this system; use --probe virtual".to_owned(),
    ))
}

//! `probe`: find and identify probes, test them, null their leads; load a plan that
//! they ring out by themselves, and collect the results; serve the virtual one.

mod identify;
mod list;
mod load;
mod null;
mod results;
mod self_test;
mod serve;

use clap::Subcommand;

use super::exit::Status;
use super::job::VirtualArgs;
use super::{Failure, Format, note, print, print_json};
use crate::bench::{Bare, Bench};
use crate::link::{Link, VirtualProbe, connect};

/// Arguments of `probe`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: loomproof probe self-test --probe virtual")]
pub struct Args {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Lists the serial ports, and who answers at those of probes.
    List(list::Args),
    /// Asks the probe at a port who it is.
    Identify(identify::Args),
    /// Does the probe work? Its chips, and every lead by itself, hanging free.
    SelfTest(self_test::Args),
    /// Measures the clips with their leads on one bare bar; the probe keeps them.
    Null(null::Args),
    /// Loads a plan, so that the probe rings it out without a computer.
    Load(load::Args),
    /// Collects what the probe rang out by itself into the records.
    Results(results::Args),
    /// Serves the virtual probe on a pseudo-terminal, so that another
    /// terminal can use it as a port.
    Serve(serve::Args),
}

/// Which probe, where there is no plan.
#[derive(Debug, clap::Args)]
struct ProbeArgs {
    /// `virtual`, or the port of a probe, such as /dev/ttyACM0 or COM5, or `usb`
    /// for the one that is plugged in.
    #[arg(long, value_name = "PROBE", default_value = "virtual")]
    probe: String,
    #[command(flatten)]
    simulated: VirtualArgs,
    /// What to print.
    #[arg(long, default_value = "text")]
    format: Format,
}

impl ProbeArgs {
    /// A note where a virtual probe forgets all that it is told.
    fn lasting(&self) {
        if self.probe == "virtual" && self.simulated.probe_memory.is_none() {
            note(
                "This virtual probe forgets everything at once; give it a memory with --probe-memory FILE.",
            );
        }
    }

    /// The probe; a virtual one without a harness.
    fn link(&self, clips: Bare) -> Result<Box<dyn Link>, Failure> {
        if self.probe != "virtual" {
            self.simulated.only_virtual()?;
            return Ok(Box::new(connect(&self.probe)?));
        }
        let bench = Bench::bare(clips, &self.simulated.settings()?)?;
        let probe = VirtualProbe::with_flash(bench, self.simulated.flash()?);
        Ok(Box::new(probe.session()?))
    }
}

/// Carries out one of the probe verbs.
///
/// # Errors
/// [`Failure`] for probe or link trouble.
pub fn run(args: &Args) -> Result<Status, Failure> {
    let simulated = match &args.what {
        What::SelfTest(args) => Some(args.simulated()),
        What::Null(args) => Some(args.simulated()),
        What::Load(args) => Some(args.simulated()),
        What::Results(args) => Some(args.simulated()),
        What::Serve(args) => Some(args.simulated()),
        What::List(_) | What::Identify(_) => None,
    };
    if let Some(list) = simulated.and_then(VirtualArgs::list) {
        print(&list)?;
        return Ok(Status::Pass);
    }
    match &args.what {
        What::List(args) => list::run(args),
        What::Identify(args) => identify::run(args),
        What::SelfTest(args) => self_test::run(args),
        What::Null(args) => null::run(args),
        What::Load(args) => load::run(args),
        What::Results(args) => results::run(args),
        What::Serve(args) => serve::run(args),
    }
}

//! `probe self-test`: does the probe itself work?

use serde::Serialize;

use super::{Bare, Failure, Format, ProbeArgs, Status, VirtualArgs, note, print, print_json};
use crate::probe::self_test::{Shown, full};
use crate::probe::words::{Words, refused, words};

/// Arguments of `probe self-test`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Exit status: 0 the probe works, 3 it does not, or could not show it.")]
pub struct Args {
    #[command(flatten)]
    probe: ProbeArgs,
}

impl Args {
    /// What the virtual probe is like.
    pub(super) fn simulated(&self) -> &VirtualArgs {
        &self.probe.simulated
    }
}

#[derive(Serialize)]
struct Printed {
    works: bool,
    troubles: Vec<Words>,
    refused: Option<Words>,
    channels_tested: usize,
    pairs_tested: usize,
    not_tested: Vec<&'static str>,
}

/// What no self-test of this probe shows.
const NOT_TESTED: [&str; 4] = [
    "whether the comparators trip above 4 V and below -0.5 V: it takes a source of its own",
    "the 3.3 V supply itself: drive and converter hang on it alike, so readings stay right",
    "the resistance of the clips: `loomproof probe null` measures it",
    "what the inputs survive",
];

/// Tests and prints.
///
/// # Errors
/// [`Failure`] for link trouble.
pub fn run(args: &Args) -> Result<Status, Failure> {
    note("Let every probe lead hang free, no clip touching another; clip C1 and C2 together.");
    let mut link = args.probe.link(Bare::Free)?;
    let shown = full(link.as_mut())?;
    let status = if shown.healthy() {
        Status::Pass
    } else {
        Status::Probe
    };
    let printed = Printed {
        works: shown.healthy(),
        troubles: shown.troubles.iter().map(words).collect(),
        refused: shown.refused.map(refused),
        channels_tested: shown.tested.len(),
        pairs_tested: shown.pairs,
        not_tested: NOT_TESTED.to_vec(),
    };
    match args.probe.format {
        Format::Json => print_json(&printed)?,
        Format::Text => print(&text(&printed, &shown))?,
    }
    Ok(status)
}

fn text(printed: &Printed, shown: &Shown) -> String {
    let mut out = String::new();
    if printed.works {
        out.push_str("The probe works.\n");
    } else {
        out.push_str("The probe does not work as it should:\n");
    }
    for (at, words) in printed.troubles.iter().chain(&printed.refused).enumerate() {
        out.push_str(&format!(
            "{}. {}\n   Do: {}\n",
            at + 1,
            words.say,
            words.what
        ));
    }
    out.push_str(&format!(
        "Tested: {} channels, {} pairs of leads, the chips, the converter and the sense bus.\n",
        shown.tested.len(),
        shown.pairs
    ));
    out.push_str("Not tested:\n");
    for line in &printed.not_tested {
        out.push_str(&format!(" - {line}\n"));
    }
    out
}

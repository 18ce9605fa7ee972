//! `probe null`: measures the clips with their leads, and has the probe keep them.

use loomproof_core::wire::LeadId;
use serde::Serialize;

use super::{Bare, Failure, Format, ProbeArgs, Status, VirtualArgs, note, print, print_json};
use crate::probe::nulls::{NullError, keep, kept, measure};

/// Arguments of `probe null`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Exit status: 0 every lead is nulled, 3 one is not, or the probe fails.")]
pub struct Args {
    #[command(flatten)]
    probe: ProbeArgs,
    /// Shows what the probe keeps, and measures nothing.
    #[arg(long)]
    show: bool,
}

impl Args {
    /// What the virtual probe is like.
    pub(super) fn simulated(&self) -> &VirtualArgs {
        &self.probe.simulated
    }
}

#[derive(Serialize)]
struct Clip {
    lead: String,
    /// `null` where it was not measured.
    ohms: Option<f64>,
}

/// Measures, keeps and prints.
///
/// # Errors
/// [`Failure`] for link trouble, and where the probe refuses.
pub fn run(args: &Args) -> Result<Status, Failure> {
    if !args.show {
        note(
            "Put every probe lead's clip, and both chassis clips, on one bare bar of metal: a \
             brass bar or the chassis post of the probe's case. Not in a vehicle.",
        );
    }
    let mut link = args.probe.link(Bare::OnBar)?;
    let clips = if args.show {
        kept(link.as_mut())?
    } else {
        let clips = measure(link.as_mut())?;
        keep(link.as_mut(), &clips)?;
        clips
    };
    let listed: Vec<Clip> = (0..=u8::MAX)
        .zip(&clips)
        .map(|(lead, clip)| Clip {
            lead: LeadId(lead).to_string(),
            // Tenths of a milliohm are kept.
            ohms: clip.map(|ohms| (ohms.value() * 1e4).round() / 1e4),
        })
        .collect();
    let missing: Vec<&str> = listed
        .iter()
        .filter(|clip| clip.ohms.is_none())
        .map(|clip| clip.lead.as_str())
        .collect();
    match args.probe.format {
        Format::Json => print_json(&listed)?,
        Format::Text => print(&text(&listed, &missing, args.show))?,
    }
    Ok(if missing.is_empty() || args.show {
        Status::Pass
    } else {
        Status::Probe
    })
}

fn text(listed: &[Clip], missing: &[&str], shown: bool) -> String {
    let mut out = String::new();
    for row in listed.chunks(8) {
        let cells: Vec<String> = row
            .iter()
            .map(|clip| match clip.ohms {
                Some(ohms) => format!("{:>4} {ohms:.3}", clip.lead),
                None => format!("{:>4}   -  ", clip.lead),
            })
            .collect();
        out.push_str(&format!("{}\n", cells.join("  ")));
    }
    out.push_str("Ohms of each clip with its lead.\n");
    if missing.is_empty() {
        if !shown {
            out.push_str("Kept in the probe; readings take them into account from now on.\n");
        }
    } else {
        out.push_str(&format!(
            "Not nulled: {}. {}\n",
            missing.join(", "),
            if shown {
                "Null the leads with `loomproof probe null`."
            } else {
                "Set these clips on the bar anew, on bright metal, and null again; if one stays, \
                 run `loomproof probe self-test`."
            }
        ));
    }
    out
}

impl From<NullError> for Failure {
    fn from(error: NullError) -> Self {
        Self::probe(error.to_string())
    }
}

//! The test of a jig by itself: its number, its wires with nothing plugged in, and each of
//! its halves with a shorting plug.
//!
//! A shorting plug joins all contacts of a half with each other and, by its clip, with the
//! jig's ground post, where C1 and C2 are. So every lead of that half must reach the
//! chassis, and no other. Two wires exchanged inside one half it cannot show.

use loomproof_core::units::Ohms;
use loomproof_core::wire::LeadSet;

use super::Jig;
use super::code::{Identity, still, to_chassis};
use super::history::History;
use super::report::{Findings, HalfReport, Report};
use crate::link::Link;
use crate::ringout::report::ProbeReport;
use crate::touch::look::LookError;

/// Leads with less than this between them, or to the chassis, with nothing plugged in,
/// leak: as much beside a joint of the harness would be read as a fault of it.
const LEAKS: Ohms = Ohms(100_000.0);

/// A lead reaches a shorting plug through no more than this.
const REACHES: Ohms = Ohms(100.0);

/// What has to be in the jig.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Wanted<'j> {
    /// Nothing.
    Nothing,
    /// The shorting plug, on this half.
    Plug(&'j str),
}

/// Another jig is plugged in, or none, or its number cannot be read.
#[derive(Debug, thiserror::Error)]
#[error("{say} {to_do}")]
pub struct OtherJig {
    /// What is wrong.
    pub say: String,
    /// What to do.
    pub to_do: String,
}

/// The jig in front of somebody, or the virtual one.
pub trait Stand {
    /// Why it cannot be.
    type Error: From<LookError> + From<OtherJig>;

    /// The probe, once that is plugged in.
    ///
    /// # Errors
    /// Where it cannot be.
    fn set(&mut self, wanted: Wanted<'_>) -> Result<&mut dyn Link, Self::Error>;
}

/// Checks a jig that has no more leads than the probe.
///
/// # Errors
/// As [`Stand::set`]; [`OtherJig`]; [`LookError`] where a lead cannot be looked through.
pub fn check<S: Stand>(jig: &Jig, history: &History, stand: &mut S) -> Result<Report, S::Error> {
    let link = stand.set(Wanted::Nothing)?;
    let probe = ProbeReport::of(link.hello());
    let mut found = Findings::new(jig);
    let read = Identity::read(link)?;
    if !matches!(read, Identity::NoCode(_)) {
        // Nothing is found out of a jig that is not there.
        jig.is_plugged(&read)?;
    }
    found.identity(&read);
    let mut others: LeadSet = jig.wires.iter().map(|(lead, _)| *lead).collect();
    for (lead, _) in &jig.wires {
        others.remove(*lead);
        let seen = still(link, *lead, &others)?;
        if seen.to_chassis.is_some_and(|ohms| ohms.0 < LEAKS.0) {
            found.grounded(*lead);
        }
        let through = seen.through.iter().filter(|(_, ohms)| ohms.0 < LEAKS.0);
        let through = through.map(|(lead, _)| lead);
        for other in seen.joined.iter().chain(through) {
            found.touching(*lead, *other);
        }
    }
    let mut halves = Vec::new();
    for (half, leads) in jig.halves() {
        let link = stand.set(Wanted::Plug(half))?;
        let mut worst: Option<Ohms> = None;
        for (lead, _) in &jig.wires {
            let ohms = to_chassis(link, *lead)?.filter(|ohms| ohms.0 < REACHES.0);
            match (leads.contains(lead), ohms) {
                (true, Some(ohms)) => {
                    worst = Some(worst.map_or(ohms, |worst| Ohms(worst.0.max(ohms.0))));
                    found.reaches(*lead, ohms);
                }
                (true, None) => found.open(*lead),
                (false, Some(_)) => found.elsewhere(*lead, half),
                (false, None) => {}
            }
        }
        halves.push(HalfReport::new(half, leads.len(), worst));
    }
    Ok(found.report(probe, history, halves))
}

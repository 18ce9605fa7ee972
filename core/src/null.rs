//! Nulling: what a clip and its probe lead have, measured with all clips and both
//! chassis leads on one piece of metal.
//!
//! The lead is driven and read, and not driven and read, each time beside a second
//! lead that is not driven: that one stands where the metal stands, which the
//! chassis clip lifts a little. Everything is read with the pull-up, so that a
//! converter whose zero is low does not cut anything off; offset, pull and
//! protection resistors drop out of the differences.

use crate::check::CRC;
use crate::instrument::{PROTECTION, PULL, REFERENCE, SOURCE};
use crate::units::{Micros, Ohms};
use crate::wire::{ClipOhms, LeadId, LeadSet, Reading, Sense, SenseMode, Step};

/// A clip on the metal has less than this; a clip beside it much more.
pub const MOST: Ohms = Ohms(2.0);

/// How often each of the two leads is read in a step.
const TIMES: usize = 4;

/// A lead held at 0 V stands at 0.595 V under the pull-up; 200 Ω more lift it by 4 mV.
const HELD_UV: i32 = 620_000;

/// The two steps that null a lead beside `other`: driven, then not.
#[must_use]
pub fn steps(lead: LeadId, other: LeadId) -> [Step; 2] {
    let sense = |lead| Sense {
        lead,
        mode: SenseMode::PullUp,
    };
    let step = |high: LeadSet| Step {
        high,
        low: LeadSet::EMPTY,
        settle: Micros(100),
        pulled: Micros(100),
        samples: 64,
        senses: (0..2 * TIMES)
            .map(|at| sense(if at % 2 == 0 { lead } else { other }))
            .collect(),
    };
    [step([lead].into_iter().collect()), step(LeadSet::EMPTY)]
}

/// The clip's resistance from the readings of [`steps`]; `None` when the lead does
/// not sit on the metal, or a reading was not settled.
#[must_use]
pub fn clip(driven: &[Reading], idle: &[Reading]) -> Option<Ohms> {
    let (lead_driven, metal_driven) = means(driven)?;
    let (lead_idle, metal_idle) = means(idle)?;
    if lead_idle > f64::from(HELD_UV) {
        return None;
    }
    // The pull takes its part of what the lead moves by.
    let part = PULL.0 / (PULL.0 + PROTECTION.0);
    let own = ((lead_driven - lead_idle) - (metal_driven - metal_idle)) * 1e-6 / part;
    let lead = (lead_driven - lead_idle) * 1e-6 / part;
    let current = (REFERENCE.0 - lead) / SOURCE.0;
    let ohms = own / current;
    (ohms > -0.05 && ohms < MOST.0).then_some(Ohms(ohms.max(0.0)))
}

/// Check sum of what the clips were nulled to, in lead order: limits that were
/// computed with it hold for no others.
#[must_use]
pub fn clips_check(clips: impl Iterator<Item = ClipOhms>) -> u32 {
    let mut digest = CRC.digest();
    for ClipOhms(tenths) in clips {
        digest.update(&tenths.to_le_bytes());
    }
    digest.finalize()
}

/// Mean of the two leads' readings, in microvolts.
fn means(readings: &[Reading]) -> Option<(f64, f64)> {
    let mut sums = [0.0; 2];
    if readings.len() != 2 * TIMES {
        return None;
    }
    for pair in readings.chunks_exact(2) {
        for (sum, reading) in sums.iter_mut().zip(pair) {
            let Reading::Volts(level) = reading else {
                return None;
            };
            *sum += f64::from(level.0);
        }
    }
    let [lead, metal] = sums.map(|sum| sum / TIMES as f64);
    Some((lead, metal))
}

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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::circuit::{Circuit, GROUND, NodeId, Part};
    use crate::solve::{Attachment, Corner, Workspace, island, room};
    use crate::units::MicroVolts;
    use std::vec;
    use std::vec::Vec;

    /// What a step reads, by the nodal solve: two leads clipped to metal that
    /// stands on chassis over 20 mΩ, the second clip of 50 mΩ.
    fn read(step: &Step, lead: LeadId, clip: Ohms) -> Vec<Reading> {
        let mut circuit: Circuit<8> = Circuit::new();
        let n: Vec<NodeId> = (0..3).map(|_| circuit.node().unwrap()).collect();
        let wire = |ohms| Part::Wire {
            ohms,
            spread: Ohms(0.0),
        };
        circuit.add(n[0], n[2], wire(clip)).unwrap();
        circuit.add(n[1], n[2], wire(Ohms(0.05))).unwrap();
        circuit.add(n[2], GROUND, wire(Ohms(0.02))).unwrap();
        let mut work = Workspace::new(vec![0.0; room(3)]);
        let tie = |node, ohms| Attachment {
            node,
            volts: REFERENCE,
            ohms,
            spread: Ohms(0.0),
        };
        let read = |sense: &Sense| {
            let at = n[usize::from(sense.lead != lead)];
            let mut ties = vec![tie(at, Ohms(PULL.0 + PROTECTION.0))];
            if step.high.contains(lead) {
                ties.push(tie(n[0], SOURCE));
            }
            let solved = island(&mut work, circuit.elements(), &ties, at, Corner::Most).unwrap();
            let volts = solved.volts(at).0;
            let behind = (REFERENCE.0 - volts) * PROTECTION.0 / (PULL.0 + PROTECTION.0);
            Reading::Volts(MicroVolts(((volts + behind) * 1e6).round() as i32))
        };
        step.senses.iter().map(read).collect()
    }

    fn nulled(ohms: f64) -> Option<Ohms> {
        let lead = LeadId(3);
        let [driven, idle] = steps(lead, LeadId(9));
        assert!(driven.high.contains(lead) && idle.high.is_empty());
        let of = |step| read(step, lead, Ohms(ohms));
        clip(&of(&driven), &of(&idle))
    }

    #[test]
    fn a_clip_is_nulled_to_what_the_network_has() {
        for ohms in [0.001, 0.05, 0.5, 1.9] {
            let found = nulled(ohms).unwrap().0;
            assert!((found - ohms).abs() < 1e-3, "{found} of {ohms}");
        }
        // More than a clip has, and no metal at all.
        for ohms in [2.1, 250.0, 1e6] {
            assert_eq!(nulled(ohms), None, "{ohms}");
        }
    }

    #[test]
    fn what_was_not_read_nulls_nothing() {
        let [driven, idle] = steps(LeadId(0), LeadId(1)).map(|s| read(&s, LeadId(0), Ohms(0.1)));
        assert!(clip(&driven, &idle).is_some());
        assert_eq!(clip(&driven[..6], &idle), None);
        for odd in [Reading::NotSettled(MicroVolts(0)), Reading::Above] {
            let mut readings = idle.clone();
            readings[5] = odd;
            assert_eq!(clip(&driven, &readings), None);
        }
    }

    #[test]
    fn a_check_sum_of_clips_tells_them_and_their_order() {
        let sum = |clips: &[u16]| clips_check(clips.iter().copied().map(ClipOhms));
        assert_ne!(sum(&[500, 900]), sum(&[900, 500]));
        assert_ne!(sum(&[500, 900]), sum(&[500, 901]));
        assert_eq!(sum(&[500, 900]), sum(&[500, 900]));
        assert_eq!(ClipOhms::of(Ohms(0.1)), ClipOhms(1_000));
        assert_eq!(ClipOhms::of(Ohms(0.000_06)), ClipOhms(1));
        assert_eq!(ClipOhms::of(Ohms(-0.1)), ClipOhms::NONE);
        assert_eq!(ClipOhms::of(Ohms(7.0)), ClipOhms::NONE);
    }
}

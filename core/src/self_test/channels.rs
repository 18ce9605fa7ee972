//! Each channel by itself, on whatever dead wiring it sits.

use super::{FULL_UV, Trouble, Troubles, add};
use crate::units::MicroVolts;
use crate::wire::{Channel, LeadId, Proof};

/// The filled bus keeps more than this only when nothing was joined to it: the
/// 100 pF of a probe lead alone take it from 3.3 V to 2.0 V.
const KEPT_UV: i32 = 2_900_000;

/// What 20 mΩ of clip show at 4.5 mA is 74 µV (through the pull, 100/122). Two means
/// of 64 conversions differ by 10 µV.
const SEEN_UV: i32 = 45;

/// The same where the converter may stand below 0 V: 1 Ω shows 3.7 mV.
const SEEN_AT_ZERO_UV: i32 = 300;

/// A lead that something holds low by less than 4 kΩ stands below this, pulled up.
const HELD_UV: i32 = 700_000;

/// The empty bus, pulled down, stands below this.
const OFF_UV: i32 = 20_000;

/// What is wrong with the channels, one by one.
pub fn channels(proofs: impl Iterator<Item = (Channel, Proof)>) -> Troubles {
    let mut troubles = Troubles::new();
    for (channel, proof) in proofs {
        for trouble in channel_troubles(channel, &proof).into_iter().flatten() {
            add(&mut troubles, trouble);
        }
    }
    troubles
}

/// What is wrong with one channel.
#[must_use]
pub fn channel_troubles(channel: Channel, proof: &Proof) -> [Option<Trouble>; 2] {
    let always = (proof.off_down.0 > OFF_UV).then_some(Trouble::AlwaysSensed(channel));
    let own = if !proof.pin_high {
        Some(Trouble::PinLow(channel))
    } else if !proof.pin_low {
        Some(Trouble::PinHigh(channel))
    } else if proof.shared.0 > KEPT_UV && always.is_none() {
        Some(Trouble::NoSense(channel))
    } else if !driven(proof) {
        Some(Trouble::NoDrive(channel))
    } else if always.is_none() && closed(proof) {
        Some(Trouble::AlwaysClosed(channel))
    } else {
        None
    };
    [own, always]
}

/// Whether driving the channel high showed on it.
fn driven(proof: &Proof) -> bool {
    let rise = |high: MicroVolts, idle: MicroVolts| high.0 - idle.0;
    rise(proof.high_down, proof.idle_down) > SEEN_AT_ZERO_UV
        || proof.idle_up.0 < HELD_UV && rise(proof.high_up, proof.idle_up) > SEEN_UV
}

/// Whether the pin reached the channel through the open disconnect: it then stands
/// where it stands driven, or near.
fn closed(proof: &Proof) -> bool {
    let there = |idle: MicroVolts, open: MicroVolts, high: MicroVolts, least: i32| {
        let whole = i64::from(high.0) - i64::from(idle.0);
        let part = i64::from(open.0) - i64::from(idle.0);
        whole > i64::from(least) && part * 10 > whole * 7
    };
    // On a held lead the pulled-up readings show it, on any other the pulled-down ones.
    if proof.idle_up.0 < HELD_UV {
        there(proof.idle_up, proof.open_up, proof.high_up, SEEN_UV)
    } else {
        there(
            proof.idle_down,
            proof.open_down,
            proof.high_down,
            SEEN_AT_ZERO_UV,
        )
    }
}

/// Names what many channels of one select chip have in common: an address line
/// that stands still, a multiplexer that is never enabled, or always.
#[must_use]
pub fn gathered(troubles: &Troubles, leads: u8) -> Troubles {
    let mut named = troubles.clone();
    // A lead that stays on the bus pulls it below 0 V as likely as above.
    if named
        .iter()
        .any(|trouble| matches!(trouble, Trouble::AlwaysSensed(_)))
    {
        named.retain(|trouble| *trouble != Trouble::BelowZero);
    }
    for chip in 0..leads.div_ceil(64) {
        let own = (chip * 64)..leads.min((chip + 1).saturating_mul(64));
        for first in own.clone().step_by(8) {
            type Finding = fn(Channel) -> Trouble;
            let kinds: [(Finding, Trouble); 2] = [
                (Trouble::NoSense, Trouble::MultiplexerOff(LeadId(first))),
                (Trouble::AlwaysSensed, Trouble::MultiplexerOn(LeadId(first))),
            ];
            for (each, all) in kinds {
                let own = |lead| each(Channel::Lead(LeadId(lead)));
                if (first..first + 8).all(|lead| named.contains(&own(lead))) {
                    named.retain(|trouble| !(first..first + 8).any(|lead| *trouble == own(lead)));
                    add(&mut named, all);
                }
            }
        }
        for (line, high) in (0..3_u8).flat_map(|line| [(line, false), (line, true)]) {
            // A lead whose address has the other level is never reached: another
            // one is read in its place.
            let concerned = |lead: u8| (lead >> line & 1 == 1) != high;
            let silent = |lead: u8| {
                let channel = Channel::Lead(LeadId(lead));
                named.contains(&Trouble::NoDrive(channel))
            };
            if own.clone().all(|lead| concerned(lead) == silent(lead)) {
                named.retain(|trouble| {
                    !matches!(trouble, Trouble::NoDrive(Channel::Lead(LeadId(lead))) if own.contains(lead))
                });
                add(&mut named, Trouble::Address { chip, line, high });
                break;
            }
        }
    }
    named
}

const _: () = assert!(KEPT_UV < FULL_UV);

//! Watching dead joints: the numbers, without any hardware. The sums stand in
//! `docs/probe-hardware.md`, S100 to S114.
//!
//! Two leads and more: each is pulled up behind its closed disconnect and read by
//! its drive chip, sixteen in one transfer. What is **certain**: a joint that opens
//! to more than [`SURELY_OPEN`] for [`shortest`] is seen; one below
//! [`SURELY_CLOSED`] is never taken for open. In between it depends on the chip.
//!
//! One lead alone: driven high through its source and read without a break, which is
//! certain of 1 kΩ ([`level_alone`]) for [`shortest_alone`].

use loomproof_core::instrument::{REFERENCE, SOURCE};
use loomproof_core::units::{Farads, Micros, Ohms};
use loomproof_core::wire::{Guard, LeadId, MAX_WATCH, Place, Refusal};

use crate::ads8866::{CONVERSION, TRANSFER_BITS};
use crate::mcp23s17::{READ_BITS, WRITE_BITS};

/// The pull of a guarded lead, at its drive pin (design's choice).
pub const PULL: Ohms = Ohms(22_000.0);

/// Tolerance of [`PULL`].
pub const PULL_TOLERANCE: f64 = 0.01;

/// Between a lead and its drive pin: series resistor and closed disconnect.
pub const TO_PIN: Ohms = Ohms(690.0);

/// What an input surely takes for low, as a part of the supply (MCP23S17, Schmitt
/// inputs; from memory).
pub const SURELY_LOW: f64 = 0.2;

/// What an input surely takes for high (likewise).
pub const SURELY_HIGH: f64 = 0.8;

/// An opening joint above this is surely seen: the lead then stands above
/// [`SURELY_HIGH`] behind its pull at the upper end of its tolerance.
pub const SURELY_OPEN: Ohms = Ohms(
    (PULL.0 * (1.0 + PULL_TOLERANCE) * SURELY_HIGH) / (1.0 - SURELY_HIGH) - TO_PIN.0 + SOURCE.0,
);

/// A joint below this, with what holds its net, is surely not taken for open.
pub const SURELY_CLOSED: Ohms =
    Ohms((PULL.0 * (1.0 - PULL_TOLERANCE) * SURELY_LOW) / (1.0 - SURELY_LOW) - TO_PIN.0 - SOURCE.0);

/// How many watched leads one low source surely holds at [`SURELY_LOW`] at their pins
/// (S103). Where the chassis holds the net it is any number.
pub const HELD_BY_ONE: usize = 6;

/// The probe's own part of what has to be charged: probe lead and input (100 pF of
/// wire, 50 pF of switches and diodes; from memory).
pub const OWN: Farads = Farads(150e-12);

/// A lead alone is open above this in its joint, …
pub const OPEN_ALONE: TenthsOfOhms = TenthsOfOhms(6_000);

/// … and closed again below this.
pub const CLOSED_ALONE: TenthsOfOhms = TenthsOfOhms(4_000);

/// A resistance without floating point, which the boards do not have.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TenthsOfOhms(pub u32);

/// Settling of a lead alone after its drive begins: a module input of 100 nF (S65).
pub const SETTLE_ALONE: Micros = Micros(900);

/// How long a lead alone is kept off the converter after a look at another: five
/// time constants of the sense bus, 22 kΩ and 150 pF. It only rises to where it was.
pub const BACK_ALONE: Micros = Micros(17);

/// After a look at a lead, a guarded lead on that side of an open joint stands lower
/// for a while: that it closed is believed only later.
pub const BELIEVED: Micros = Micros(50);

/// How long the leads are held at 0 V before they are let go of.
pub const DISCHARGE: Micros = Micros(300);

/// Whether a guard may be carried out.
///
/// # Errors
/// [`Refusal::NoSuchLead`], [`Refusal::BadStep`] or [`Refusal::TooManySources`].
pub fn check(guard: &Guard, place: Place, leads: u8) -> Result<(), Refusal> {
    let mut named = guard.low.iter().chain(guard.watched.iter());
    if let Some(lead) = named.find(|LeadId(lead)| *lead >= leads) {
        return Err(Refusal::NoSuchLead(lead));
    }
    if guard.watched.is_empty() || guard.low.overlaps(&guard.watched) || guard.span > MAX_WATCH {
        return Err(Refusal::BadStep);
    }
    if guard.watched.len() > place.max_watched() {
        return Err(Refusal::TooManySources);
    }
    Ok(())
}

/// What a lead alone reads, in microvolts, with so much in its joint and `low` leads
/// on the other side, 0 where the chassis holds it.
#[must_use]
pub fn level_alone(joint: TenthsOfOhms, low: usize) -> i32 {
    const OWN: u32 = (SOURCE.0 * 10.0) as u32;
    const FULL_MV: u32 = (REFERENCE.0 * 1e3) as u32;
    // Far more than any joint that is told open from closed; what follows fits into 32 bits.
    const MOST: u32 = 1_000_000;
    let joint = joint.0.min(MOST);
    let held = joint + OWN.checked_div(low as u32).unwrap_or(0);
    let all = held + OWN;
    // Whole millivolts first, then what is left of them in thousandths.
    let scaled = held * FULL_MV;
    let (Some(millivolts), Some(left)) = (scaled.checked_div(all), scaled.checked_rem(all)) else {
        return 0;
    };
    let thousandths = (left * 1_000).checked_div(all).unwrap_or(0);
    i32::try_from(millivolts * 1_000 + thousandths).unwrap_or(0)
}

fn bits(bits: u32, khz: u32) -> u32 {
    (bits * 1_000).div_ceil(khz.max(1))
}

/// The longest time between two polls of one lead among so many, by bits and waits at
/// an SPI clock in kilohertz: all banks, and the longer part of a look at another lead
/// (two routing writes, one conversion read, emptied). A controller's own time, and a
/// floating lead that has to be drained, come on top; the reply says what it was.
#[must_use]
pub fn round(watched: u8, khz: u32) -> Micros {
    let banks = u32::from(watched.div_ceil(16));
    Micros(bits(
        READ_BITS * (banks + 1) + 3 * WRITE_BITS + TRANSFER_BITS,
        khz,
    ))
}

/// How long a guarded lead on so much capacitance takes to [`SURELY_HIGH`], rounded
/// up: `PULL` · C · ln 5.
#[must_use]
pub fn rise(Farads(wiring): Farads) -> Micros {
    let tau = (PULL.0 * (1.0 + PULL_TOLERANCE) + TO_PIN.0) * (wiring + OWN.0);
    Micros((tau * LN_5 * 1e6) as u32 + 1)
}

/// ln(1 / (1 − [`SURELY_HIGH`])).
const LN_5: f64 = 1.609_437_912_434_1;

/// What a look at a lead on the open side costs at most: the wide divider (23 kΩ)
/// takes charge for one conversion read and one write, which the pull replaces with
/// what it still gives at [`SURELY_HIGH`].
#[must_use]
pub fn set_back(khz: u32) -> Micros {
    let on = f64::from(bits(TRANSFER_BITS + WRITE_BITS, khz));
    let pull = PULL.0 * (1.0 + PULL_TOLERANCE) + TO_PIN.0;
    let part = SURELY_HIGH / 23_000.0 * pull / (1.0 - SURELY_HIGH);
    Micros((on * part) as u32 + 1)
}

/// The shortest time for which a joint has to be open to be seen for certain, among
/// so many watched leads, with so much capacitance of the wiring on the open side.
#[must_use]
pub fn shortest(watched: u8, wiring: Farads, khz: u32) -> Micros {
    Micros(rise(wiring).0 + set_back(khz).0 + round(watched, khz).0)
}

/// The same for one lead alone, at 1 kΩ and more: the sense bus comes four time
/// constants (3.3 µs) nearer, a look at another lead, and two conversions.
#[must_use]
pub fn shortest_alone(khz: u32) -> Micros {
    let look = bits(4 * WRITE_BITS + 2 * TRANSFER_BITS, khz) + CONVERSION.0 + BACK_ALONE.0;
    let conversions = 2 * (bits(TRANSFER_BITS, khz) + CONVERSION.0);
    Micros(14 + look + conversions)
}

#[cfg(test)]
mod tests {
    use super::*;
    use loomproof_core::wire::LeadSet;

    fn leads(range: core::ops::Range<u8>) -> LeadSet {
        range.map(LeadId).collect()
    }

    #[test]
    fn what_may_be_guarded() {
        let guard = |low: core::ops::Range<u8>, watched: core::ops::Range<u8>, span| Guard {
            low: leads(low),
            watched: leads(watched),
            span: Micros(span),
        };
        let checked = |guard, place| check(&guard, place, 64);
        assert_eq!(checked(guard(0..0, 1..2, 250_000), Place::Vehicle), Ok(()));
        assert_eq!(checked(guard(0..4, 4..36, 1), Place::Vehicle), Ok(()));
        let too_many = checked(guard(0..4, 4..37, 1), Place::Vehicle);
        assert_eq!(too_many, Err(Refusal::TooManySources));
        assert_eq!(checked(guard(0..1, 1..64, 1), Place::Bench), Ok(()));
        for bad in [
            guard(0..1, 1..1, 1),
            guard(0..2, 1..3, 1),
            guard(0..1, 1..3, 250_001),
        ] {
            assert_eq!(checked(bad, Place::Bench), Err(Refusal::BadStep));
        }
        let absent = checked(guard(0..1, 63..66, 1), Place::Bench);
        assert_eq!(absent, Err(Refusal::NoSuchLead(LeadId(64))));
    }

    #[test]
    fn shortest_certain_dropouts() {
        let nano = Farads(1e-9);
        // At the 10 MHz of the boards, and at 8 MHz.
        let figures = [16, 32, 64, 128].map(|n| shortest(n, nano, 10_000).0);
        assert_eq!(figures, [81, 84, 91, 103]);
        let figures = [16, 32, 64, 128].map(|n| shortest(n, nano, 8_000).0);
        assert_eq!(figures, [89, 93, 101, 117]);
        assert_eq!(shortest_alone(10_000).0, 78);
        assert!(shortest_alone(8_000).0 < 100);
    }

    #[test]
    fn what_is_certain_of_a_joint() {
        assert!((SURELY_OPEN.0 - 88_915.0).abs() < 1.0);
        assert!((SURELY_CLOSED.0 - 4_030.0).abs() < 1.0);
        // 1 kΩ is open and 200 Ω closed, whatever holds the net and however the
        // sources are spread (five standard deviations of 0.8 %).
        for low in 0..4 {
            let level = |joint: f64, source: f64| {
                let held = if low == 0 {
                    0.0
                } else {
                    SOURCE.0 / f64::from(low)
                };
                REFERENCE.0 * 1e6 * (held + joint) / (held + joint + SOURCE.0 * source)
            };
            let low = low as usize;
            assert!(level(1_000.0, 1.04) > f64::from(level_alone(OPEN_ALONE, low)));
            assert!(level(200.0, 0.96) < f64::from(level_alone(CLOSED_ALONE, low)));
        }
        // One low source and six pulls of 22 kΩ: what the pins see.
        let common = |pulls: f64| SOURCE.0 / (SOURCE.0 + (PULL.0 * 0.99 + TO_PIN.0) / pulls);
        let pin = |v: f64| v + (1.0 - v) * TO_PIN.0 / (PULL.0 * 0.99 + TO_PIN.0);
        assert!(pin(common(HELD_BY_ONE as f64)) < SURELY_LOW);
        assert!(pin(common(HELD_BY_ONE as f64 + 1.0)) > SURELY_LOW);
    }
}

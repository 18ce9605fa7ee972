//! What leads that hang free show beyond that: leakage, the sources' low side,
//! the converter's gain, and what is joined inside the probe.

use heapless::Vec;

use super::{FULL_UV, GAIN, HIGH_DOWN_UV, LOW_UP_UV, Trouble, Troubles, add};
use crate::instrument::{LEAKAGE, PROTECTION, PULL, REFERENCE, SOURCE};
use crate::units::{Micros, Ohms};
use crate::wire::{
    Channel, Inspection, LeadId, LeadSet, MAX_SENSES, Proof, Reading, Sense, SenseMode, Senses,
    Step,
};

/// A lead may leak so much, in microvolts at the pull: 10 nA in 100 kΩ, and the
/// offset on top ([`crate::instrument::OFFSET`], five deviations).
const LEAK_UV: i32 = (LEAKAGE * PULL.0 * 1e6) as i32 + 300;

/// Driven low and pulled up: pull and protection resistor within 3 % together.
const LOW_SPREAD_UV: i32 = (LOW_UP_UV * 0.03) as i32;

/// What another lead may show when one is driven high: 66 MΩ between them.
const JOINED_UV: i32 = 5_000;

/// What is wrong by what free leads show, beside [`super::channels`]' findings.
#[must_use]
pub fn free(seen: &Inspection, proofs: &[(Channel, Proof)], found: &Troubles) -> Troubles {
    let mut troubles = Troubles::new();
    // What is wrong with the bus itself shows on every lead.
    if found.iter().any(wide_spread) {
        return troubles;
    }
    let mut sum = 0_i64;
    let mut count = 0_i64;
    for (channel, proof) in proofs {
        let Channel::Lead(_) = channel else { continue };
        if found.iter().any(|trouble| concerns(trouble, *channel)) {
            continue;
        }
        // A source lifts the pulled-down lead, a sink lowers the pulled-up one.
        let up = proof.idle_down.0 - seen.down.0;
        let down = seen.up.0.min(FULL_UV) - proof.idle_up.0;
        let nanoamperes = |uv: i32| (f64::from(uv) * 1e3 / PULL.0) as i32;
        if up > LEAK_UV {
            add(&mut troubles, Trouble::Leak(*channel, nanoamperes(up)));
        } else if down > LEAK_UV {
            add(&mut troubles, Trouble::Leak(*channel, -nanoamperes(down)));
        } else {
            sum += i64::from(proof.high_down.0);
            count += 1;
        }
        if (proof.low_up.0 - LOW_UP_UV as i32).abs() > LOW_SPREAD_UV {
            add(&mut troubles, Trouble::LowSide(*channel, proof.low_up));
        }
    }
    if let Some(mean) = sum.checked_div(count) {
        let parts = (mean as f64 / HIGH_DOWN_UV - 1.0) * 1e4;
        if parts.abs() > f64::from(GAIN) {
            add(&mut troubles, Trouble::Gain(parts as i32));
        }
    }
    troubles
}

/// Whether a finding is of the converter or the sense bus, or of many leads at once.
fn wide_spread(trouble: &Trouble) -> bool {
    of_the_bus(trouble)
        || matches!(
            trouble,
            Trouble::Gain(_)
                | Trouble::Offset(_)
                | Trouble::BelowZero
                | Trouble::Address { .. }
                | Trouble::MultiplexerOff(_)
                | Trouble::MultiplexerOn(_)
        )
}

/// Whether a finding is of the sense bus, so that it shows on every channel.
#[must_use]
pub fn of_the_bus(trouble: &Trouble) -> bool {
    matches!(
        trouble,
        Trouble::Shift(_)
            | Trouble::WideStays
            | Trouble::PullUpStays
            | Trouble::PullUpDead
            | Trouble::PullDownStays
            | Trouble::PullDownDead
            | Trouble::BusHeld
    )
}

/// Whether a finding is of this channel.
fn concerns(trouble: &Trouble, of: Channel) -> bool {
    match trouble {
        Trouble::PinLow(channel)
        | Trouble::PinHigh(channel)
        | Trouble::NoDrive(channel)
        | Trouble::AlwaysClosed(channel)
        | Trouble::LowSide(channel, _)
        | Trouble::NoSense(channel)
        | Trouble::AlwaysSensed(channel)
        | Trouble::Leak(channel, _) => *channel == of,
        // Two leads that are joined charge each other.
        Trouble::Joined(a, b, _) => of == Channel::Lead(*a) || of == Channel::Lead(*b),
        _ => false,
    }
}

/// The steps that show whether a free lead is joined to one of those after it, in
/// pairs: driven low, then driven high; at most two pairs, for up to 127 others.
#[must_use]
pub fn isolation(lead: LeadId, leads: u8) -> Vec<[Step; 2], 2> {
    let mut others = (lead.0.saturating_add(1)..leads).map(LeadId);
    let mut pairs = Vec::new();
    loop {
        let senses: Senses = others
            .by_ref()
            .take(MAX_SENSES)
            .map(|lead| Sense {
                lead,
                mode: SenseMode::PullDown,
            })
            .collect();
        if senses.is_empty() {
            return pairs;
        }
        let one: LeadSet = [lead].into_iter().collect();
        let low = Step {
            high: LeadSet::EMPTY,
            low: one,
            settle: Micros(100),
            // What leakage has charged a free lead to runs off behind the pull: 122 kΩ
            // and 250 pF, twelve time constants.
            pulled: Micros(370),
            samples: 1,
            senses,
        };
        let high = Step {
            high: one,
            low: LeadSet::EMPTY,
            ..low.clone()
        };
        if pairs.push([low, high]).is_err() {
            return pairs;
        }
    }
}

/// What the readings of a pair of steps of [`isolation`] show to be joined.
pub fn between<'a>(
    [_, step]: &'a [Step; 2],
    [low, high]: [&'a [Reading]; 2],
) -> impl Iterator<Item = Trouble> + 'a {
    let driven = step.high.iter().next();
    let readings = step.senses.iter().zip(low.iter().zip(high));
    readings.filter_map(move |(sense, (low, high))| {
        let uv = microvolts(*high) - microvolts(*low);
        if uv <= JOINED_UV {
            return None;
        }
        // 3.3 V through the source, the unknown, 22 kΩ and the pull of 100 kΩ.
        let whole = PULL.0 * REFERENCE.0 * 1e6 / f64::from(uv);
        let ohms = (whole - PULL.0 - PROTECTION.0 - SOURCE.0).max(0.0);
        Some(Trouble::Joined(driven?, sense.lead, Ohms(ohms)))
    })
}

fn microvolts(reading: Reading) -> i32 {
    match reading {
        Reading::Volts(level) | Reading::NotSettled(level) => level.0,
        Reading::Above => FULL_UV,
        Reading::Below => 0,
    }
}

/// Adds what is joined, but for what only repeats another finding of one of the
/// two leads.
pub fn add_joined(found: &mut Troubles, joined: impl Iterator<Item = Trouble>) {
    let named = found.clone();
    for trouble in joined {
        let Trouble::Joined(a, b, _) = trouble else {
            continue;
        };
        let repeats = [a, b].into_iter().any(|lead| {
            named.iter().any(|own| match own {
                Trouble::Address { chip, .. } => lead.0 / 64 == *chip,
                Trouble::MultiplexerOn(first) | Trouble::MultiplexerOff(first) => {
                    lead.0 / 8 == first.0 / 8
                }
                own => concerns(own, Channel::Lead(lead)),
            })
        });
        if !repeats {
            add(found, trouble);
        }
    }
}

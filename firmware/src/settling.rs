//! Which steps are allowed, and when a reading counts as settled: the numbers
//! and the judgements, without any hardware.
//!
//! After the readings of a step the first is taken again. The host's `settle`
//! passes before every reading, so the repeat comes at least one `settle`
//! later: where the wiring is slower than the plan says, a level that is off
//! by e has moved by at least e · (1 − exp(−settle/τ)) by then. If it moved,
//! all are read again after longer and longer waits until nothing moves.

use loomproof_core::instrument::NOISE;
use loomproof_core::units::{MicroVolts, Micros};
use loomproof_core::wire::{LeadId, Place, Reading, Refusal, Step};

use crate::ads8866::Sum;

/// The most conversions averaged for one reading.
pub const MAX_SAMPLES: u8 = 64;

/// The longest settling time of a step.
pub const MAX_SETTLE: Micros = Micros(2_000_000);

/// The longest that the settling times of one step may add up to, one for each
/// reading and two for the repeat: beyond it the host has to split the step.
pub const MAX_STEP: Micros = Micros(10_000_000);

/// The longest that a step waits on top for readings that creep.
pub const PATIENCE: Micros = Micros(400_000);

/// Shortest first extra wait, for steps with hardly any settling time.
const SHORTEST_PAUSE: Micros = Micros(100);

/// One step of the converter, 3.3 V / 65536, rounded up to microvolts.
const STEP_UV: u64 = 51;

/// Six standard deviations of one conversion, in microvolts: at random a
/// repeat is taken for moved once in 5·10⁸ times, and is then only repeated.
const SIX_SIGMA_UV: u64 = (6.0 * NOISE.0 * 1e6 + 0.5) as u64;

/// Whether a step may be carried out.
///
/// # Errors
/// [`Refusal::NoSuchLead`], [`Refusal::BadStep`] or [`Refusal::TooManySources`].
pub fn check(step: &Step, place: Place, leads: u8) -> Result<(), Refusal> {
    let senses = step.senses.iter().map(|sense| sense.lead);
    let mut named = step.high.iter().chain(step.low.iter()).chain(senses);
    if let Some(lead) = named.find(|LeadId(lead)| *lead >= leads) {
        return Err(Refusal::NoSuchLead(lead));
    }
    let waits = u64::from(step.settle.0) * (step.senses.len() as u64 + 2);
    if step.high.overlaps(&step.low)
        || step.samples == 0
        || step.samples > MAX_SAMPLES
        || step.settle > MAX_SETTLE
        || waits > u64::from(MAX_STEP.0)
    {
        return Err(Refusal::BadStep);
    }
    if step.high.len() > place.max_sources() {
        return Err(Refusal::TooManySources);
    }
    Ok(())
}

/// How many conversions the repeat of the first reading takes.
#[must_use]
pub const fn repeat_samples(samples: u8) -> u8 {
    if samples < 4 { samples } else { 4 }
}

/// By how many microvolts two readings of `a` and `b` conversions may differ:
/// six standard deviations of the difference and one converter step.
#[must_use]
pub fn allowed(a: u8, b: u8) -> u32 {
    let (a, b) = (u64::from(a.max(1)), u64::from(b.max(1)));
    let variance = SIX_SIGMA_UV * SIX_SIGMA_UV * (a + b) / (a * b);
    u32::try_from(variance.isqrt() + STEP_UV).unwrap_or(u32::MAX)
}

/// Whether a reading moved.
#[must_use]
pub fn moved(was: Reading, is: Reading, allowed: u32) -> bool {
    microvolts(was).abs_diff(microvolts(is)) > allowed
}

fn microvolts(reading: Reading) -> i32 {
    match reading {
        Reading::Volts(level) | Reading::NotSettled(level) => level.0,
        Reading::Above => (loomproof_core::instrument::REFERENCE.0 * 1e6) as i32,
        Reading::Below => 0,
    }
}

/// The same level, said not to be settled.
#[must_use]
pub fn not_settled(reading: Reading) -> Reading {
    Reading::NotSettled(MicroVolts(microvolts(reading)))
}

/// The reading that conversions make. All at the top of the span is "above".
/// All at 0 is 0 V, a legal reading of a lead that is held low, not "below":
/// the caller has looked at such a lead through the wide divider, and a lead
/// below −0.2 V is refused.
#[must_use]
pub fn reading(sum: &Sum) -> Reading {
    if sum.above() {
        Reading::Above
    } else {
        Reading::Volts(sum.mean())
    }
}

/// How much longer than its `settle` each reading waits while readings creep:
/// twice as long each time, [`PATIENCE`] together. The wait is before each
/// reading, with the lead on the sense bus, since a pull charges the lead too.
#[derive(Debug, Clone)]
pub struct Patience {
    readings: u32,
    extra: u32,
    left: u32,
}

impl Patience {
    /// For the readings of this step.
    #[must_use]
    pub fn new(step: &Step) -> Self {
        Self {
            readings: (step.senses.len() as u32).max(1),
            extra: step.settle.max(SHORTEST_PAUSE).0 / 2,
            left: PATIENCE.0,
        }
    }

    /// The next extra wait for each reading, and whether it is the last.
    pub fn next(&mut self) -> (Micros, bool) {
        let share = self.left / self.readings;
        self.extra = self.extra.saturating_mul(2).min(share);
        self.left -= self.extra * self.readings;
        (Micros(self.extra), self.extra == share)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use heapless::Vec;
    use loomproof_core::wire::{LeadSet, Sense, SenseMode};

    #[test]
    fn waits_double_and_end() {
        let mut patience = Patience::new(Micros(30_000));
        let waits = [0; 4].map(|_| patience.next());
        let ms = |ms: u32, last| (Micros(ms * 1_000), last);
        assert_eq!(
            waits,
            [ms(60, false), ms(120, false), ms(220, true), ms(0, true)]
        );
    }

    #[test]
    fn less_averaging_allows_more() {
        // 360 µV · √(1/a + 1/b) + 51 µV
        assert_eq!(allowed(1, 1), 560);
        assert_eq!(allowed(16, 4), 252);
        assert_eq!(allowed(64, 64), 114);
        assert!(moved(
            Reading::Above,
            Reading::Volts(MicroVolts(3_299_000)),
            900
        ));
        assert!(!moved(
            Reading::Above,
            Reading::Volts(MicroVolts(3_299_950)),
            100
        ));
    }

    #[test]
    fn the_ends_of_the_span() {
        let mut top = Sum::default();
        top.add(u16::MAX);
        assert_eq!(reading(&top), Reading::Above);
        top.add(u16::MAX - 1);
        assert_eq!(reading(&top), Reading::Volts(MicroVolts(3_299_924)));
        let mut bottom = Sum::default();
        bottom.add(0);
        assert_eq!(reading(&bottom), Reading::Volts(MicroVolts(0)));
        assert_eq!(Sum::default().mean(), MicroVolts(0));
    }
}

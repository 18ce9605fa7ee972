//! Which steps are allowed, and when a reading counts as settled: the numbers
//! and the judgements, without any hardware.
//!
//! The wiring settles once behind the sources, with the sense bus on the first
//! lead already; after that only the bus, and behind a pull the lead under it,
//! has to settle for each reading ([`wait`]).
//!
//! The first reading of each kind, plain and pulled ([`firsts`]), is taken at half of
//! its wait already ([`around`]): where the wiring is slower than the plan says, a level
//! that is off by e then was off by more, and moved. It is read again after the others,
//! at least one settling time later, if it moved, or if it may be of a large capacitor
//! that has hardly begun to fill ([`may_be_filling`]). If it moved again, all are read
//! again after longer and longer waits until nothing moves.

use loomproof_core::instrument::{NOISE, REFERENCE};
use loomproof_core::units::{MicroVolts, Micros};
use loomproof_core::wire::{LeadId, Place, Reading, Refusal, Sense, SenseMode, Step};

use crate::ads8866::{CONVERSION, Sum};
use crate::front_end::BUS_SETTLE;
use crate::mcp23s17::{MAX_CHIPS, READ_TIME};
use crate::route::bank_word;

/// The most conversions averaged for one reading.
pub const MAX_SAMPLES: u8 = 64;

/// The longest of either settling time of a step.
pub const MAX_SETTLE: Micros = Micros(2_000_000);

/// The longest that the waits of one step may add up to, repeats included:
/// beyond it the host has to split the step.
pub const MAX_STEP: Micros = Micros(10_000_000);

/// The longest that the sources are held low after readings that crept to the last: a
/// capacitor of 470 µF, charged to 2.9 V through 725 Ω meanwhile, is at 0.15 V then. What
/// a larger one keeps is drained before the next step, or waited for by the host.
pub const RUN_OFF: Micros = Micros(1_000_000);

/// The longest that a step waits on top for readings that creep.
pub const PATIENCE: Micros = Micros(400_000);

/// Shortest first extra wait, for steps with hardly any settling time.
const SHORTEST_PAUSE: Micros = Micros(100);

/// The end of the converter's span, in microvolts.
const REFERENCE_UV: i32 = (REFERENCE.0 * 1e6) as i32;

/// One step of the converter, 3.3 V / 65536, rounded up to microvolts.
const STEP_UV: u32 = 51;

/// Six standard deviations of one conversion, in microvolts: at random a
/// repeat is taken for moved once in 5·10⁸ times, and is then only repeated.
const SIX_SIGMA_UV: u32 = (6.0 * NOISE.0 * 1e6 + 0.5) as u32;

const _: () = assert!(
    SIX_SIGMA_UV < 2_900,
    "the variance of two readings of 255 conversions fits into 32 bits"
);

/// Two poles in a row, wiring (τ₁) and sense bus (τ₂ = 3.3 µs), need so much longer than
/// the slower of them: equal ones 3.2 τ (residue (1 + t/τ) · exp(−t/τ)), 10.5 µs …
const TWO_POLES: Micros = Micros(11);

/// … and less where they differ: τ₁ · ln(τ₁ / (τ₁ − τ₂)), of which a settling time of 12 τ₁
/// has 0.2 τ₁ to spare; that leaves 3.3 µs at most from this settling time on.
const FAR_APART: Micros = Micros(80);
const FAR_POLES: Micros = Micros(4);

/// What happened to the sense bus before a reading.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Bus {
    /// It was on this lead when the drive changed.
    Driven,
    /// It has just moved to this lead.
    Moved,
    /// It has been on this lead for the reading before.
    Stayed,
}

/// How long a reading waits before it is taken.
///
/// A lead behind a source that the bus moves to has to make good for the
/// charge of the bus only: 150 pF of its capacitance C. With C = τ / 725 Ω and
/// `settle` = 12 τ, what is missing is 150 pF / C of the whole at most and takes
/// τ · (11.8 − ln(1 + C / 150 pF)), and the bus comes on top (two poles). That is
/// below `settle` / 2 + 40 µs for every τ, and below the tangent at 80 µs, 5/9 of `settle`
/// and 18 µs (unit test).
///
/// While the chips are read back, the wiring settles already.
#[must_use]
pub fn wait(step: &Step, mode: SenseMode, bus: Bus) -> Micros {
    let bus_settle = BUS_SETTLE.0;
    let settle = step.settle.0;
    Micros(match (mode, bus) {
        (SenseMode::Plain, Bus::Driven) => (settle.max(bus_settle))
            .saturating_add(two_poles(step.settle).0)
            .saturating_sub(read_back(step).0),
        (SenseMode::Plain, Bus::Moved) => (settle / 2)
            .saturating_add(bus_settle)
            .min((settle / 9 * 5).saturating_add(23))
            .max(bus_settle + TWO_POLES.0),
        (SenseMode::Plain, Bus::Stayed) => settle,
        (_, Bus::Driven) => step.pulled.0.max(settle).saturating_add(bus_settle),
        (_, Bus::Moved) => step.pulled.0.saturating_add(bus_settle),
        (_, Bus::Stayed) => step.pulled.0,
    })
}

const fn two_poles(settle: Micros) -> Micros {
    if settle.0 < FAR_APART.0 {
        TWO_POLES
    } else {
        FAR_POLES
    }
}

/// How long it takes at least to read back what drives a step: two directions in
/// each bank.
fn read_back(step: &Step) -> Micros {
    let driven = step.high.joined(&step.low);
    let banks = (0..MAX_CHIPS).filter(|bank| bank_word(&driven, *bank) != 0);
    Micros(banks.map(|_| 2 * READ_TIME.0).sum())
}

/// Which readings are looked at early, in order: the first plain one and the first
/// pulled one.
pub fn firsts(step: &Step) -> impl Iterator<Item = usize> + '_ {
    let first = |plain: bool| {
        let mut senses = step.senses.iter();
        senses.position(|sense| (sense.mode == SenseMode::Plain) == plain)
    };
    let (plain, pulled) = (first(true), first(false));
    plain.min(pulled).into_iter().chain(plain.max(pulled))
}

/// How many conversions the early look takes.
#[must_use]
pub const fn early_samples(samples: u8) -> u8 {
    if samples < 2 { samples } else { 2 }
}

/// The wait of a reading before and after the early look at half of it, which takes
/// so many conversions.
#[must_use]
pub const fn around(wait: Micros, samples: u8) -> (Micros, Micros) {
    let before = wait.0 / 2;
    let after = (wait.0 - before).saturating_sub(CONVERSION.0 * samples as u32);
    // The look leaves a conversion running, which must not be cut short.
    let after = if after < CONVERSION.0 {
        CONVERSION.0
    } else {
        after
    };
    (Micros(before), Micros(after))
}

/// A source's lead below this may be held there by a capacitor that is nearly empty, also
/// behind a diode or up to 300 Ω: every lead was dead (0.2 V) when the drive changed. A lead
/// that another one holds low through metal stands at half of 3.3 V.
const FILLING: MicroVolts = MicroVolts(1_200_000);

/// A pulled lead within this of where its pull takes it has nothing on it: 10 nA of
/// leakage make 1.2 mV of 122 kΩ.
const AT_REST: MicroVolts = MicroVolts(10_000);

/// Whether a reading may be of something that takes far longer than the plan says
/// and has hardly moved yet. A capacitor behind more ohms shows by the early look only
/// where it moves the lead by more than the noise (0.4 mV) from then on, 45 µs in plain
/// wiring.
#[must_use]
pub fn may_be_filling(step: &Step, sense: Sense, reading: Reading) -> bool {
    let level = microvolts(reading);
    match sense.mode {
        SenseMode::Plain => !step.high.contains(sense.lead) || level < FILLING.0,
        SenseMode::PullDown => level > AT_REST.0,
        SenseMode::PullUp => level < REFERENCE_UV - AT_REST.0,
    }
}

/// How long the sources are held low before they are let go of: four time
/// constants take 3.3 V to 60 mV, which is dead.
#[must_use]
pub const fn discharge(step: &Step) -> Micros {
    Micros(step.settle.0 / 3)
}

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
    let sensed = step.senses.iter().copied();
    let waits = sensed
        .chain(firsts(step).filter_map(|at| step.senses.get(at).copied()))
        .map(|sense| wait(step, sense.mode, Bus::Moved).0)
        .fold(step.settle.0, u32::saturating_add);
    if step.high.overlaps(&step.low)
        || step.samples == 0
        || step.samples > MAX_SAMPLES
        || step.settle > MAX_SETTLE
        || step.pulled > MAX_SETTLE
        || waits > MAX_STEP.0
    {
        return Err(Refusal::BadStep);
    }
    if step.high.len() > place.max_sources() {
        return Err(Refusal::TooManySources);
    }
    Ok(())
}

fn longest_settle(step: &Step) -> Micros {
    let pulls = step.senses.iter().any(|s| s.mode != SenseMode::Plain);
    step.settle.max(if pulls { step.pulled } else { Micros(0) })
}

/// The longest that the wiring gets to come back after a look of the watch
/// took charge from it: the bus (150 pF) takes 5 mV off a module input of
/// 100 nF, which a source (725 Ω) makes good to 20 µV in 5.5 time constants.
const LONGEST_RECOVERY: Micros = Micros(400);

/// How long a look of the watch is kept away from the next conversion: the
/// settling time of the bus or, where it is longer, of the wiring.
#[must_use]
pub fn recovery(step: &Step) -> Micros {
    BUS_SETTLE.max(step.settle.min(LONGEST_RECOVERY))
}

/// The longest that a step settles anew after a look at a lead that follows:
/// a module input behind a diode is filled up again by then.
const LONGEST_ANEW: Micros = Micros(60_000);

/// How long a step settles anew after a look at a lead that follows.
#[must_use]
pub fn anew(step: &Step) -> Micros {
    step.settle.min(LONGEST_ANEW)
}

/// How many conversions the repeat of a reading takes.
#[must_use]
pub const fn repeat_samples(samples: u8) -> u8 {
    if samples < 4 { samples } else { 4 }
}

/// By how many microvolts two readings of `a` and `b` conversions may differ:
/// six standard deviations of the difference and one converter step.
#[must_use]
pub fn allowed(a: u8, b: u8) -> u32 {
    let (a, b) = (u32::from(a.max(1)), u32::from(b.max(1)));
    let variance = SIX_SIGMA_UV * SIX_SIGMA_UV * (a + b) / (a * b);
    variance.isqrt() + STEP_UV
}

/// Whether a reading moved.
#[must_use]
pub fn moved(was: Reading, is: Reading, allowed: u32) -> bool {
    microvolts(was).abs_diff(microvolts(is)) > allowed
}

fn microvolts(reading: Reading) -> i32 {
    match reading {
        Reading::Volts(level) | Reading::NotSettled(level) => level.0,
        Reading::Above => REFERENCE_UV,
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

/// How much longer than by [`wait`] each reading waits while readings creep:
/// twice as long each time, [`PATIENCE`] together. The wait is before each
/// reading, with the lead on the sense bus, since a pull charges the lead too.
#[derive(Debug, Clone)]
pub struct Patience {
    readings: u32,
    extra: u32,
    left: u32,
    /// The wait before the last was had.
    ending: bool,
}

impl Patience {
    /// For the readings of this step.
    #[must_use]
    pub fn new(step: &Step) -> Self {
        Self {
            readings: (step.senses.len() as u32).max(1),
            extra: longest_settle(step).max(SHORTEST_PAUSE).0 / 2,
            left: PATIENCE.0,
            ending: false,
        }
    }

    /// The next extra wait for each reading, and whether it is the last. The last is half
    /// of the one before, which is long: a shorter one would show less movement.
    pub fn longer(&mut self) -> (Micros, bool) {
        // There is always one: `new` sees to it, the compiler does not see it.
        let share = self.left.checked_div(self.readings).unwrap_or(0);
        let next = self.extra.saturating_mul(2);
        let last = self.ending;
        self.extra = if last {
            share
        } else if share < next.saturating_mul(2) {
            self.ending = true;
            share - share / 3
        } else {
            next
        };
        self.left -= self.extra * self.readings;
        (Micros(self.extra), last)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use loomproof_core::wire::{LeadSet, Sense, SenseMode};

    #[test]
    fn waits_double_and_end() {
        let sense = Sense {
            lead: LeadId(0),
            mode: SenseMode::Plain,
        };
        let mut patience = Patience::new(&Step {
            high: LeadSet::EMPTY,
            low: LeadSet::EMPTY,
            settle: Micros(20_000),
            pulled: Micros(20_000),
            samples: 1,
            senses: [sense, sense].into_iter().collect(),
        });
        let waits = [0; 4].map(|_| patience.longer());
        let ms = |ms: u32, last| (Micros(ms * 1_000), last);
        // Two readings: 20 + 40 + 94 + 46 ms each is 400 ms together.
        let ending = [(Micros(93_334), false), (Micros(46_666), true)];
        let expected = [ms(20, false), ms(40, false), ending[0], ending[1]];
        assert_eq!(waits, expected);
    }

    /// Time constants to half a step of 16 bits.
    const TO_HALF_A_STEP: f64 = 11.783;
    /// Time constant of the sense bus, µs.
    const BUS_TAU: f64 = 3.3;

    /// When exp(−t/τ) of the wiring, seen through the bus, is below `part`, µs.
    fn two_poles_below(tau: f64, part: f64) -> f64 {
        let left = |t: f64| {
            if (tau - BUS_TAU).abs() < 1e-6 {
                (1.0 + t / tau) * (-t / tau).exp()
            } else {
                let (a, b) = (tau * (-t / tau).exp(), BUS_TAU * (-t / BUS_TAU).exp());
                (a - b) / (tau - BUS_TAU)
            }
        };
        let (mut low, mut high) = (0.0, 40.0 * (tau + BUS_TAU));
        for _ in 0..60 {
            let middle = f64::midpoint(low, high);
            if left(middle) > part {
                low = middle;
            } else {
                high = middle;
            }
        }
        high
    }

    #[test]
    fn waits_are_long_enough_for_any_wiring_of_the_plan() {
        let sense = SenseMode::Plain;
        for settle in (1..2_000).chain((2_000..=2_000_000).step_by(997)) {
            let step = Step {
                high: LeadSet::EMPTY,
                low: LeadSet::EMPTY,
                settle: Micros(settle),
                pulled: Micros(0),
                samples: 1,
                senses: heapless::Vec::new(),
            };
            let driven = f64::from(wait(&step, sense, Bus::Driven).0);
            let moved = f64::from(wait(&step, sense, Bus::Moved).0);
            let slowest = f64::from(settle) / 12.0;
            for part in 1..=20 {
                let tau = slowest * f64::from(part) / 20.0;
                let half_a_step = (-TO_HALF_A_STEP).exp();
                let need = two_poles_below(tau, half_a_step);
                assert!(
                    need <= driven + 0.5,
                    "{settle} µs, τ {tau}: {need} of {driven}"
                );
                // 150 pF of the bus against the wiring's C = τ / 725 Ω.
                let missing = 1.0 / (1.0 + tau / 725.0 * 1e6 / 150.0);
                let need = two_poles_below(tau, half_a_step / missing);
                assert!(
                    need <= moved + 0.5,
                    "{settle} µs, τ {tau}: {need} of {moved}"
                );
            }
        }
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

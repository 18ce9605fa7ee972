//! What a step costs in SPI bits and waits, computed from the step alone.
//!
//! For a step that drives b banks, h of them high, and d leads, and takes k
//! readings of s conversions (r = min(s, 4) for a repeat):
//!
//! - drive and let go: 32·(4 b + 2 h) bits written and 32·4 b read back, and
//!   the discharge ([`crate::settling::discharge`]) where a lead is driven high;
//! - looks before driving: 32 bits of routing each and 16·(d + 1) of
//!   conversions, 6 µs · d + 9 µs (9 µs for one that is routed already);
//! - each reading: 32 bits of routing unless the lead and mode stay, 16·(s + 1)
//!   bits of conversions, 9 µs · s and the wait ([`crate::settling::wait`]); the first
//!   of a kind 16·(min(s, 2) + 1) bits more, within its wait;
//! - 32 bits to take the sense bus off. Moving between leads of different
//!   halves (P64 and P65) costs 32 bits more.
//!
//! What depends on what is found comes on top: a reading of r conversions for each of
//! the first that is taken again ([`crate::settling::may_be_filling`]); a [`watch`] look
//! for about every 0.75 ms of driving, of which a wait takes up what the bus needs to
//! recover; one of up to [`crate::interlock::HELD`] longer where leakage took a floating
//! lead outside the limits; an [`edge`] look for every reading whose conversions all
//! stand at an end of the span, waits for stored charge, and repeats of the
//! whole step while readings creep.

use loomproof_core::units::Micros;
use loomproof_core::wire::{MAX_LEADS, Sense, Step};

use crate::ads8866::{CONVERSION, TRANSFER_BITS};
use crate::front_end::look_head_start;
use crate::interlock::{DRAIN, DRAIN_ROUNDS};
use crate::mcp23s17::{MAX_CHIPS, READ_BITS, WRITE_BITS, WRITE_TIME};
use crate::route::{Load, Route, bank_word};
use crate::settling::{
    Bus, PATIENCE, Patience, RUN_OFF, anew, around, discharge, early_samples, firsts, recovery,
    repeat_samples, wait,
};

/// Bits on the SPI bus.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default, Hash)]
pub struct SpiBits(pub u32);

/// Work of the probe: bits on its SPI bus, and waits on top of them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Hash)]
pub struct Cost {
    /// Bits on the bus.
    pub bits: SpiBits,
    /// Waits for settling and conversions.
    pub wait: Micros,
}

impl Cost {
    /// The time this takes at an SPI clock in kilohertz, rounded up.
    #[must_use]
    pub fn time(self, khz: u32) -> Micros {
        let bits = (u64::from(self.bits.0) * 1_000).div_ceil(u64::from(khz.max(1)));
        let bits = u32::try_from(bits).unwrap_or(u32::MAX);
        Micros(self.wait.0.saturating_add(bits))
    }

    const fn add(&mut self, bits: u32, wait: u32) {
        self.bits.0 = self.bits.0.saturating_add(bits);
        self.wait.0 = self.wait.0.saturating_add(wait);
    }

    fn route(&mut self, at: &mut Route, to: Route) {
        self.add(WRITE_BITS * to.writes_from(*at), 0);
        *at = to;
    }

    fn read(&mut self, at: &mut Route, step: &Step, sense: Sense, bus: Bus, samples: u8) {
        let wait = self.wait_for(at, step, sense, bus);
        self.add(0, wait.0);
        self.convert(samples);
    }

    /// The first reading of a kind, with an early look at half of its wait.
    fn read_twice(&mut self, at: &mut Route, step: &Step, sense: Sense, bus: Bus) {
        let samples = early_samples(step.samples);
        let (before, after) = around(self.wait_for(at, step, sense, bus), samples);
        self.add(0, before.0);
        self.convert(samples);
        self.add(0, after.0);
        self.convert(step.samples);
    }

    /// Routes the bus; how long the reading there has to wait.
    fn wait_for(&mut self, at: &mut Route, step: &Step, sense: Sense, bus: Bus) -> Micros {
        let to = Route::Lead(sense.lead, sense.mode.into());
        let bus = match bus {
            Bus::Moved if *at == to => Bus::Stayed,
            other => other,
        };
        self.route(at, to);
        wait(step, sense.mode, bus)
    }

    fn convert(&mut self, samples: u8) {
        let samples = u32::from(samples);
        self.add(TRANSFER_BITS * (samples + 1), CONVERSION.0 * samples);
    }
}

/// What one step costs where these of its readings are taken again, by their places.
#[must_use]
pub fn step(step: &Step, again: &[usize]) -> Cost {
    let mut cost = Cost::default();
    let mut at = Route::Off;
    for bank in 0..MAX_CHIPS {
        let high = bank_word(&step.high, bank);
        if high | bank_word(&step.low, bank) != 0 {
            let levels = if high == 0 { 0 } else { 2 };
            cost.add(WRITE_BITS * (4 + levels) + READ_BITS * 4, 0);
        }
    }
    let driven = step.high.joined(&step.low);
    for lead in driven.iter() {
        let to = Route::Lead(lead, Load::Wide);
        let passed = look_head_start(at, to);
        cost.route(&mut at, to);
        cost.add(TRANSFER_BITS, CONVERSION.0 - passed.0);
    }
    if !driven.is_empty() {
        cost.add(TRANSFER_BITS, CONVERSION.0);
    }
    if step.senses.is_empty() {
        cost.route(&mut at, Route::Off);
        cost.add(0, step.settle.0);
    }
    let mut bus = Bus::Driven;
    for (place, sense) in step.senses.iter().enumerate() {
        if firsts(step).any(|first| first == place) {
            cost.read_twice(&mut at, step, *sense, bus);
        } else {
            cost.read(&mut at, step, *sense, bus, step.samples);
        }
        bus = Bus::Moved;
    }
    for sense in again.iter().filter_map(|place| step.senses.get(*place)) {
        let samples = repeat_samples(step.samples);
        cost.read(&mut at, step, *sense, Bus::Moved, samples);
    }
    if !step.high.is_empty() {
        cost.add(0, discharge(step).0);
    }
    cost.route(&mut at, Route::Off);
    cost
}

/// One look of the watch in a step: there, two transfers, emptied, and back
/// (among leads of one half).
#[must_use]
pub fn watch(step: &Step) -> Cost {
    Cost {
        bits: SpiBits(3 * WRITE_BITS + 2 * TRANSFER_BITS),
        wait: Micros(CONVERSION.0 - WRITE_TIME.0 + recovery(step).0),
    }
}

/// One look at a lead that read an end of the span; the route has to be
/// written again if the next reading is of the same lead and mode.
#[must_use]
pub const fn edge() -> Cost {
    Cost {
        bits: SpiBits(WRITE_BITS + 2 * TRANSFER_BITS),
        wait: Micros(2 * CONVERSION.0 - WRITE_TIME.0),
    }
}

/// The longest that a step can take with an SPI clock in kilohertz: stored
/// charge waited out to the last, readings that creep to the last and what that
/// charged held low, as much again for the looks in between, and the wiring
/// settling anew after a look at each lead that follows or has drifted.
#[must_use]
pub fn longest(request: &Step, khz: u32) -> Micros {
    let again: heapless::Vec<usize, 2> = firsts(request).collect();
    let pass = u64::from(step(request, &again).time(khz).0);
    let mut patience = Patience::new(request);
    let mut passes = 2;
    while !patience.longer().1 {
        passes += 1;
    }
    let driven = (request.high.len() + request.low.len()) as u32;
    let look = Cost {
        bits: SpiBits((2 * WRITE_BITS + TRANSFER_BITS).saturating_mul(driven + 1)),
        wait: Micros(CONVERSION.0.saturating_mul(driven + 1)),
    };
    let drained = u64::from(DRAIN.0 + 2 * look.time(khz).0) * u64::from(DRAIN_ROUNDS);
    let total = passes * pass + u64::from(PATIENCE.0);
    // A lead may drift first and follow later.
    let anew = u64::from(anew(request).0) * 2 * MAX_LEADS as u64;
    // A look of the watch, a quarter of its period at most, comes on top of each round.
    let run_off = match request.high.is_empty() {
        true => 0,
        false => u64::from(RUN_OFF.0 + RUN_OFF.0 / 4),
    };
    Micros(u32::try_from(drained + 2 * total + run_off + anew).unwrap_or(u32::MAX))
}

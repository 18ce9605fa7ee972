//! A small instrument for the tests: the chips at the level of their
//! registers, wired to nets with sources and capacitance, on its own clock.
#![allow(dead_code, unused_imports)] // each test file uses its part

mod chip;
mod handle;
mod rig;
mod world;

use loomproof_core::units::Micros;
use loomproof_core::wire::{
    LeadId, LeadSet, Reading, Refusal, Reply, Request, Sense, SenseMode, Step,
};

pub use chip::Chip;
pub use handle::Handle;
pub use rig::{FakeProbe, Rig};
pub use world::{Cs, Net, World};

pub fn set(leads: &[u8]) -> LeadSet {
    leads.iter().copied().map(LeadId).collect()
}

/// A step that reads leads plainly.
pub fn step(high: &[u8], low: &[u8], read: &[u8]) -> Step {
    let sense = |lead: &u8| Sense {
        lead: LeadId(*lead),
        mode: SenseMode::Plain,
    };
    Step {
        high: set(high),
        low: set(low),
        settle: Micros(100),
        pulled: Micros(100),
        samples: 8,
        senses: read.iter().map(sense).collect(),
    }
}

pub fn refused(reply: Reply) -> Refusal {
    match reply {
        Reply::Refused(refusal) => refusal,
        other => panic!("not refused: {other:?}"),
    }
}

pub fn readings(reply: Reply) -> Vec<Reading> {
    match reply {
        Reply::Readings { readings, .. } => readings.to_vec(),
        other => panic!("no readings: {other:?}"),
    }
}

pub fn volts(reading: Reading) -> f64 {
    match reading {
        Reading::Volts(level) => level.volts().value(),
        other => panic!("not settled in the span: {other:?}"),
    }
}

pub fn ask_step(rig: &mut Rig, step: Step) -> Reply {
    let reply = rig.ask(&Request::Step(step));
    rig.must_be_safe();
    reply
}

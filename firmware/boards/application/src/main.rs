//! The probe application alone: what it takes of a small Cortex-M (thumbv6m)
//! without chip support and USB, and whether anything in it can panic.
//!
//! It is linked, weighed and looked through (`tests/tests/boards.rs`), never run.
#![no_std]
#![no_main]

use cortex_m::singleton;
use cortex_m_rt::entry;
use loomproof_application::{Word, parts};
use loomproof_firmware::{Identity, Probe};

type Weighed = Probe<Word, Word, Word, Word, Word, Word, Word, Word>;

/// The probe in its place; what it is built on lies on the stack only here.
#[inline(never)]
fn probe() -> &'static mut Weighed {
    let identity = Identity {
        board: "application",
        serial: "none",
        build: env!("CARGO_PKG_VERSION"),
    };
    match singleton!(: Weighed = Probe::start(parts(), identity)) {
        Some(probe) => probe,
        None => loop {
            cortex_m::asm::nop();
        },
    }
}

#[entry]
fn main() -> ! {
    let link = Word(8);
    let probe = probe();
    loop {
        let mut send = |bytes: &[u8]| bytes.iter().for_each(|b| link.put(u32::from(*b)));
        probe.receive(&[link.get() as u8], &mut send);
        probe.poll();
    }
}

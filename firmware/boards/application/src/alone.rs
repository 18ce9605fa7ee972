//! The probe application with a memory and a panel, so that it rings out without a
//! computer: what that takes more. Linked, weighed and looked through as
//! the other one, never run.
#![no_std]
#![no_main]

use cortex_m::singleton;
use cortex_m_rt::entry;
use loomproof_application::{Word, parts};
use loomproof_firmware::alone::Alone;
use loomproof_firmware::memory::Flash;
use loomproof_firmware::{Identity, Probe};

type Weighed = Probe<Word, Word, Word, Word, Word, Word, Word, Word, Flash<Word>>;

/// The probe in its place; what it is built on lies on the stack only here.
#[inline(never)]
fn probe() -> &'static mut Weighed {
    let identity = Identity {
        board: "application",
        serial: "none",
        build: env!("CARGO_PKG_VERSION"),
    };
    match singleton!(: Weighed = Probe::with_memory(parts(), identity, Flash::new(Word(9), 0))) {
        Some(probe) => probe,
        None => loop {
            cortex_m::asm::nop();
        },
    }
}

#[entry]
fn main() -> ! {
    let probe = probe();
    let Some(alone) = singleton!(: Alone = Alone::new()) else {
        loop {
            cortex_m::asm::nop();
        }
    };
    serve(probe, alone)
}

/// Not within `main`: what it takes of the stack is not there yet while the probe is
/// built.
#[inline(never)]
fn serve(probe: &'static mut Weighed, alone: &'static mut Alone) -> ! {
    let link = Word(8);
    let mut panel = Word(10);
    loop {
        let mut send = |bytes: &[u8]| bytes.iter().for_each(|b| link.put(u32::from(*b)));
        probe.receive(&[link.get() as u8], &mut send);
        probe.poll_alone(alone, &mut panel);
    }
}

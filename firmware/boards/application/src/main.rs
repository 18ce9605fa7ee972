//! The probe application alone: what it takes of a small Cortex-M (thumbv6m)
//! without chip support and USB, and whether anything in it can panic.
//!
//! Every part of the probe is one word at an address, read and written so
//! that the compiler can leave nothing out. It is linked, weighed and looked
//! through (`tests/tests/boards.rs`), never run.
#![no_std]
#![no_main]

use core::convert::Infallible;
use core::panic::PanicInfo;
use core::ptr::{read_volatile, write_volatile};
use cortex_m::singleton;
use cortex_m_rt::entry;
use embedded_hal::delay::DelayNs;
use embedded_hal::digital::{self, InputPin, OutputPin};
use embedded_hal::spi::{self, Operation, SpiDevice};
use loomproof_core::units::Micros;
use loomproof_firmware::{Clock, Identity, Parts, Probe};

#[panic_handler]
fn panic(_: &PanicInfo<'_>) -> ! {
    loop {
        cortex_m::asm::nop();
    }
}

/// One part of the probe: a word in a peripheral region of the address space
/// (0x4000_0000 … 0x5FFF_FFFF, ARMv6-M architecture, "system address map").
#[derive(Clone, Copy)]
struct Word(usize);

impl Word {
    fn get(self) -> u32 {
        // SAFETY: an aligned address that no Rust object occupies.
        unsafe { read_volatile((0x4000_0000 + 4 * self.0) as *const u32) }
    }

    fn put(self, value: u32) {
        // SAFETY: as for `get`.
        unsafe { write_volatile((0x4000_0000 + 4 * self.0) as *mut u32, value) }
    }
}

/// A bus that can fail, so that the ways out are linked as well.
#[derive(Debug)]
struct Fails;

impl spi::Error for Fails {
    fn kind(&self) -> spi::ErrorKind {
        spi::ErrorKind::Other
    }
}

impl spi::ErrorType for Word {
    type Error = Fails;
}

impl SpiDevice for Word {
    fn transaction(&mut self, operations: &mut [Operation<'_, u8>]) -> Result<(), Fails> {
        for operation in operations {
            match operation {
                Operation::Read(words) => words.iter_mut().for_each(|w| *w = self.get() as u8),
                Operation::Write(words) => words.iter().for_each(|w| self.put(u32::from(*w))),
                Operation::Transfer(read, write) => {
                    write.iter().for_each(|w| self.put(u32::from(*w)));
                    read.iter_mut().for_each(|w| *w = self.get() as u8);
                }
                Operation::TransferInPlace(words) => words.iter_mut().for_each(|w| {
                    self.put(u32::from(*w));
                    *w = self.get() as u8;
                }),
                Operation::DelayNs(span) => self.put(*span),
            }
        }
        if self.get() == 0 { Ok(()) } else { Err(Fails) }
    }
}

impl digital::ErrorType for Word {
    type Error = Infallible;
}

impl InputPin for Word {
    fn is_high(&mut self) -> Result<bool, Infallible> {
        Ok(self.get() != 0)
    }

    fn is_low(&mut self) -> Result<bool, Infallible> {
        Ok(self.get() == 0)
    }
}

impl OutputPin for Word {
    fn set_low(&mut self) -> Result<(), Infallible> {
        self.put(0);
        Ok(())
    }

    fn set_high(&mut self) -> Result<(), Infallible> {
        self.put(1);
        Ok(())
    }
}

impl DelayNs for Word {
    fn delay_ns(&mut self, ns: u32) {
        self.put(ns);
    }
}

impl Clock for Word {
    fn now(&mut self) -> Micros {
        Micros(self.get())
    }
}

type Weighed = Probe<Word, Word, Word, Word, Word, Word, Word, Word>;

/// The probe in its place; what it is built on lies on the stack only here.
#[inline(never)]
fn probe() -> &'static mut Weighed {
    let parts = Parts {
        drive: Word(0),
        gate: Word(1),
        select: Word(2),
        adc: Word(3),
        trip: Word(4),
        rearm: Word(5),
        delay: Word(6),
        clock: Word(7),
    };
    let identity = Identity {
        board: "application",
        serial: "none",
        build: env!("CARGO_PKG_VERSION"),
    };
    match singleton!(: Weighed = Probe::start(parts, identity)) {
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

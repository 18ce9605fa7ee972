//! Parts of a probe that are one word at an address each, read and written so that
//! the compiler can leave nothing out, for the applications that are weighed.
#![no_std]

use core::convert::Infallible;
use core::panic::PanicInfo;
use core::ptr::{read_volatile, write_volatile};
use embedded_hal::delay::DelayNs;
use embedded_hal::digital::{self, InputPin, OutputPin};
use embedded_hal::spi::{self, Operation, SpiDevice};
use embedded_storage::nor_flash::{
    ErrorType, NorFlash, NorFlashError, NorFlashErrorKind, ReadNorFlash,
};
use loomproof_core::units::Micros;
use loomproof_firmware::alone::{Button, Panel, Signal};
use loomproof_firmware::{Clock, Parts};

#[panic_handler]
fn panic(_: &PanicInfo<'_>) -> ! {
    loop {
        cortex_m::asm::nop();
    }
}

/// One part of the probe: a word in a peripheral region of the address space
/// (0x4000_0000 … 0x5FFF_FFFF, ARMv6-M architecture, "system address map").
#[derive(Clone, Copy)]
pub struct Word(pub usize);

impl Word {
    /// What stands there.
    #[must_use]
    pub fn get(self) -> u32 {
        // SAFETY: an aligned address that no Rust object occupies.
        unsafe { read_volatile((0x4000_0000 + 4 * self.0) as *const u32) }
    }

    /// Writes it.
    pub fn put(self, value: u32) {
        // SAFETY: as for `get`.
        unsafe { write_volatile((0x4000_0000 + 4 * self.0) as *mut u32, value) }
    }
}

/// A bus that can fail, so that the ways out are linked as well.
#[derive(Debug)]
pub struct Fails;

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

/// All parts of a probe.
pub type Words = Parts<Word, Word, Word, Word, Word, Word, Word, Word>;

/// A part at each of the first addresses.
#[must_use]
pub fn parts() -> Words {
    Parts {
        drive: Word(0),
        gate: Word(1),
        select: Word(2),
        adc: Word(3),
        trip: Word(4),
        rearm: Word(5),
        delay: Word(6),
        clock: Word(7),
    }
}

impl NorFlashError for Fails {
    fn kind(&self) -> NorFlashErrorKind {
        NorFlashErrorKind::Other
    }
}

impl ErrorType for Word {
    type Error = Fails;
}

/// As the flash of a Pico-class board.
impl ReadNorFlash for Word {
    const READ_SIZE: usize = 1;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Fails> {
        self.put(offset);
        bytes.iter_mut().for_each(|b| *b = self.get() as u8);
        if self.get() == 0 { Ok(()) } else { Err(Fails) }
    }

    fn capacity(&self) -> usize {
        2 * 1024 * 1024
    }
}

impl NorFlash for Word {
    const WRITE_SIZE: usize = 256;
    const ERASE_SIZE: usize = 4096;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), Fails> {
        self.put(from);
        self.put(to);
        if self.get() == 0 { Ok(()) } else { Err(Fails) }
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Fails> {
        self.put(offset);
        bytes.iter().for_each(|b| self.put(u32::from(*b)));
        if self.get() == 0 { Ok(()) } else { Err(Fails) }
    }
}

impl Panel for Word {
    fn show(&mut self, lines: [&str; 2]) {
        for line in lines {
            line.bytes().for_each(|b| self.put(u32::from(b)));
        }
    }

    fn pressed(&mut self) -> Option<Button> {
        match self.get() {
            1 => Some(Button::Next),
            2 => Some(Button::Repeat),
            _ => None,
        }
    }

    fn signal(&mut self, signal: Signal) {
        self.put(signal as u32);
    }
}

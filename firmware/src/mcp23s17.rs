//! The MCP23S17 port expanders that share one chip select.
//!
//! Written for this probe because the crates that exist for embedded-hal 1.0
//! do not fit: they give out single pins and own one `SpiDevice` per chip,
//! while up to eight chips sit on one chip select here, and a drive pattern
//! must change sixteen pins in one transfer.
//!
//! Control byte, sequential mode and registers: Microchip DS21952B, section
//! 1.3 (address pointer runs on), 1.4 and figure 1-3 (control byte 0100 A2 A1
//! A0 R/W), table 1-2 (registers, BANK = 0).

use embedded_hal::spi::{Operation, SpiDevice};
use loomproof_core::units::Micros;

/// Bits that one 16-bit register write costs on the bus.
pub const WRITE_BITS: u32 = 32;

/// Time that one register write takes at least: 32 bits at 10 MHz, the fastest
/// clock of the chip (source K), rounded down.
pub const WRITE_TIME: Micros = Micros(3);

/// Bits that reading back one 16-bit register costs on the bus.
pub const READ_BITS: u32 = 32;

/// Time that reading it back takes at least; see [`WRITE_TIME`].
pub const READ_TIME: Micros = Micros(3);

/// The most chips on one chip select: three address bits.
pub const MAX_CHIPS: usize = 8;

/// A pair of registers of one chip, port A first.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[repr(u8)]
pub enum Register {
    /// Direction: a 1 makes the pin an input; all ones after reset.
    Direction = 0x00,
    /// IOCON, reachable at two addresses.
    Control = 0x0A,
    /// The levels at the pins (GPIO), of outputs too.
    Pins = 0x12,
    /// Output latch: the level of the pins that are outputs.
    Latch = 0x14,
}

/// IOCON with HAEN = 1 and everything else 0 (BANK = 0, SEQOP = 0).
const CONTROL: u8 = 0x08;

/// What [`Register::Control`] reads as once [`Expanders::enable_addresses`] got through.
pub const CONTROL_SET: u16 = u16::from_le_bytes([CONTROL, CONTROL]);

/// IOCON with INTPOL = 1 as well: without an interrupt enabled, the chip's interrupt
/// outputs stand low instead of high (from memory). They switch the pulls of its pins on.
pub const CONTROL_PULLS: u16 = u16::from_le_bytes([CONTROL | 2, CONTROL | 2]);

/// The expanders on one chip select, told apart by hardware address.
///
/// Port words carry port A in the low byte and port B in the high byte.
#[derive(Debug)]
pub struct Expanders<S> {
    spi: S,
}

impl<S: SpiDevice> Expanders<S> {
    /// Expanders on this chip select. Sends nothing.
    pub const fn new(spi: S) -> Self {
        Self { spi }
    }

    /// Gives the bus back.
    pub fn release(self) -> S {
        self.spi
    }

    /// Switches the hardware addresses on (IOCON.HAEN).
    ///
    /// After a reset every chip answers to address 0, so the first write
    /// already reaches all; early silicon with A2 high is said to need its own
    /// address even then (from memory), hence one write to each.
    ///
    /// # Errors
    /// The bus error.
    pub fn enable_addresses(&mut self) -> Result<(), S::Error> {
        for address in 0..MAX_CHIPS as u8 {
            self.spi
                .write(&[opcode(address), Register::Control as u8, CONTROL])?;
        }
        Ok(())
    }

    /// Writes both ports of a register in one transfer.
    ///
    /// # Errors
    /// The bus error.
    pub fn write(&mut self, address: u8, register: Register, ports: u16) -> Result<(), S::Error> {
        let [a, b] = ports.to_le_bytes();
        self.spi.write(&[opcode(address), register as u8, a, b])
    }

    /// Reads both ports of a register; 0xFFFF if there is no such chip.
    ///
    /// # Errors
    /// The bus error.
    pub fn read(&mut self, address: u8, register: Register) -> Result<u16, S::Error> {
        let mut ports = [0xFF; 2];
        self.spi.transaction(&mut [
            Operation::Write(&[opcode(address) | 1, register as u8]),
            Operation::Read(&mut ports),
        ])?;
        Ok(u16::from_le_bytes(ports))
    }

    /// Whether a chip answers at this address: its output latch keeps two
    /// different patterns. Its pins must be inputs; the latch is left as `rest`.
    ///
    /// # Errors
    /// The bus error.
    pub fn present(&mut self, address: u8, rest: u16) -> Result<bool, S::Error> {
        let mut present = true;
        for pattern in [0x5AA5, 0xA55A] {
            self.write(address, Register::Latch, pattern)?;
            present &= self.read(address, Register::Latch)? == pattern;
        }
        self.write(address, Register::Latch, rest)?;
        Ok(present)
    }
}

/// The control byte of a write; a read has bit 0 set.
const fn opcode(address: u8) -> u8 {
    0x40 | (address & 7) << 1
}

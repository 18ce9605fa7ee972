//! The front end while joints are guarded: leads held low, leads pulled up, and
//! their drive pins read.

use embedded_hal::delay::DelayNs;
use embedded_hal::spi::SpiDevice;
use loomproof_core::wire::{LeadId, LeadSet};

use super::driving::in_use;
use super::{FrontEnd, FrontError, bus, check};
use crate::interlock::wide_mv;
use crate::mcp23s17::{CONTROL_PULLS, CONTROL_SET, Register};
use crate::route::{Load, Route, bank_word};

impl<D, G, S, A, W> FrontEnd<D, G, S, A, W>
where
    D: SpiDevice,
    G: SpiDevice,
    S: SpiDevice,
    A: SpiDevice,
    W: DelayNs,
{
    /// Drives `low` to 0 V, pulls `watched` up, closes the disconnects of both, and
    /// reads the directions back. Whoever calls this has to [`Self::let_go`], on an
    /// error too.
    ///
    /// # Errors
    /// The bus error, or [`FrontError::ReadBack`].
    pub fn hold_and_pull(&mut self, low: &LeadSet, watched: &LeadSet) -> Result<(), FrontError> {
        if in_use(self.driven).next().is_some() {
            return Err(FrontError::ReadBack);
        }
        let banks = self
            .latches
            .iter_mut()
            .zip(&mut self.driven)
            .take(self.banks);
        for (bank, (latch, driven)) in banks.enumerate() {
            let down = bank_word(low, bank);
            let on = down | bank_word(watched, bank);
            if on == 0 {
                continue;
            }
            let address = bank as u8;
            // Ready to be turned low, the watched ones too.
            if *latch & on != 0 {
                let wanted = *latch & !on;
                self.drive
                    .write(address, Register::Latch, wanted)
                    .map_err(bus)?;
                *latch = wanted;
            }
            *driven = on;
            self.pulls = true;
            self.drive
                .write(address, Register::Direction, !down)
                .map_err(bus)?;
            self.drive
                .write(address, Register::Control, CONTROL_PULLS)
                .map_err(bus)?;
        }
        for (bank, on) in in_use(self.driven) {
            self.gate
                .write(bank, Register::Direction, !on)
                .map_err(bus)?;
        }
        for (bank, on) in in_use(self.driven) {
            let down = bank_word(low, usize::from(bank));
            check(&mut self.gate, bank, Register::Direction, !on)?;
            check(&mut self.drive, bank, Register::Direction, !down)?;
            check(&mut self.drive, bank, Register::Control, CONTROL_PULLS)?;
        }
        Ok(())
    }

    /// Switches the pulls off. Goes on through errors.
    pub(super) fn pulls_off(&mut self) -> Result<(), FrontError> {
        let mut outcome = Ok(());
        for (bank, _) in in_use(self.driven) {
            let off = self.drive.write(bank, Register::Control, CONTROL_SET);
            let seen = check(&mut self.drive, bank, Register::Control, CONTROL_SET);
            outcome = outcome.and(off.map_err(bus)).and(seen);
        }
        self.pulls = outcome.is_err();
        outcome
    }

    /// Turns the watched leads low as well: what the pulls charged runs off.
    ///
    /// # Errors
    /// The bus error.
    pub fn turn_watched_low(&mut self) -> Result<(), FrontError> {
        for (bank, on) in in_use(self.driven) {
            self.drive
                .write(bank, Register::Direction, !on)
                .map_err(bus)?;
        }
        Ok(())
    }

    /// The levels at the drive pins of a bank.
    ///
    /// # Errors
    /// The bus error.
    pub fn pins(&mut self, bank: u8) -> Result<u16, FrontError> {
        self.drive.read(bank, Register::Pins).map_err(bus)
    }

    /// Samples one lead through the wide divider, on it for one transfer and one
    /// write; the bus is emptied then. [`Self::peeked`] gives what was seen, any
    /// time after the conversion.
    ///
    /// # Errors
    /// The bus error.
    pub fn peek(&mut self, lead: LeadId) -> Result<(), FrontError> {
        self.go(Route::Lead(lead, Load::Wide))?;
        self.sample()?;
        self.go(Route::Empty(Load::Wide))
    }

    /// What [`Self::peek`] saw; its conversion is to be over.
    ///
    /// # Errors
    /// The bus error.
    pub fn peeked(&mut self) -> Result<i32, FrontError> {
        Ok(wide_mv(self.sample()?, self.zero))
    }
}

//! Drive and disconnects: leads high and low, and proved let go of.

use embedded_hal::delay::DelayNs;
use embedded_hal::spi::SpiDevice;
use loomproof_core::wire::LeadSet;

use super::{FrontEnd, FrontError, GATE_LATCH, UNDRIVEN, bus, check};
use crate::mcp23s17::{CONTROL_SET, Expanders, MAX_CHIPS, Register};
use crate::route::{Route, bank_word};

impl<D, G, S, A, W> FrontEnd<D, G, S, A, W>
where
    D: SpiDevice,
    G: SpiDevice,
    S: SpiDevice,
    A: SpiDevice,
    W: DelayNs,
{
    /// Sets the drive and gate chips up, let go, and reads everything back: a
    /// trip, or a dip of the supply, resets them, and a chip without hardware
    /// address would answer to another chip's writes.
    ///
    /// # Errors
    /// The bus error, or [`FrontError::ReadBack`].
    pub fn prepare_drive(&mut self) -> Result<(), FrontError> {
        self.let_go_of_all()?;
        self.gate.enable_addresses().map_err(bus)?;
        self.drive.enable_addresses().map_err(bus)?;
        for address in 0..self.banks as u8 {
            write_checked(&mut self.gate, address, Register::Direction, UNDRIVEN)?;
            write_checked(&mut self.gate, address, Register::Latch, GATE_LATCH)?;
            check(&mut self.gate, address, Register::Control, CONTROL_SET)?;
            write_checked(&mut self.drive, address, Register::Direction, UNDRIVEN)?;
            write_checked(&mut self.drive, address, Register::Latch, 0)?;
            check(&mut self.drive, address, Register::Control, CONTROL_SET)?;
        }
        self.latches = [0; MAX_CHIPS];
        Ok(())
    }

    /// Drives a pattern: levels and directions first, then the disconnects,
    /// and reads the directions back. Only banks with a driven lead are
    /// touched, and a latch only when it changes. Whoever calls this has to
    /// [`Self::let_go`], on an error too.
    ///
    /// # Errors
    /// The bus error, or [`FrontError::ReadBack`].
    pub fn drive(&mut self, high: &LeadSet, low: &LeadSet) -> Result<(), FrontError> {
        if in_use(self.driven).next().is_some() {
            // Something could not be proved open: never drive on top of it.
            return Err(FrontError::ReadBack);
        }
        let banks = self
            .latches
            .iter_mut()
            .zip(&mut self.driven)
            .take(self.banks);
        for (bank, (latch, driven)) in banks.enumerate() {
            let up = bank_word(high, bank);
            let on = up | bank_word(low, bank);
            if on == 0 {
                continue;
            }
            let wanted = *latch & !on | up;
            if wanted != *latch {
                self.drive
                    .write(bank as u8, Register::Latch, wanted)
                    .map_err(bus)?;
                *latch = wanted;
            }
            *driven = on;
            self.drive
                .write(bank as u8, Register::Direction, !on)
                .map_err(bus)?;
        }
        for (bank, on) in in_use(self.driven) {
            self.gate
                .write(bank, Register::Direction, !on)
                .map_err(bus)?;
        }
        for (bank, on) in in_use(self.driven) {
            check(&mut self.gate, bank, Register::Direction, !on)?;
            check(&mut self.drive, bank, Register::Direction, !on)?;
        }
        Ok(())
    }

    /// Turns every source low: what was charged discharges through the source
    /// resistors.
    ///
    /// # Errors
    /// The bus error.
    pub fn turn_low(&mut self) -> Result<(), FrontError> {
        for (bank, (latch, driven)) in (0..).zip(self.latches.iter_mut().zip(self.driven)) {
            if *latch & driven != 0 {
                *latch &= !driven;
                self.drive
                    .write(bank, Register::Latch, *latch)
                    .map_err(bus)?;
            }
        }
        Ok(())
    }

    /// Lets go of what [`Self::drive`] drove, disconnects first, reads the
    /// directions back and takes the sense bus off. Goes on through errors.
    ///
    /// # Errors
    /// The first bus error, or [`FrontError::ReadBack`]; what could not be
    /// proved open is let go of again the next time.
    pub fn let_go(&mut self) -> Result<(), FrontError> {
        let mut outcome = Ok(());
        for (bank, _) in in_use(self.driven) {
            let gate = self.gate.write(bank, Register::Direction, UNDRIVEN);
            outcome = outcome.and(gate.map_err(bus));
        }
        for (bank, _) in in_use(self.driven) {
            let drive = self.drive.write(bank, Register::Direction, UNDRIVEN);
            outcome = outcome.and(drive.map_err(bus));
        }
        if self.pulls {
            outcome = outcome.and(self.pulls_off());
        }
        for (bank, _) in in_use(self.driven) {
            let open = check(&mut self.gate, bank, Register::Direction, UNDRIVEN).and(check(
                &mut self.drive,
                bank,
                Register::Direction,
                UNDRIVEN,
            ));
            match (open, self.driven.get_mut(usize::from(bank))) {
                (Ok(()), Some(driven)) => *driven = 0,
                (open, _) => outcome = outcome.and(open),
            }
        }
        let parked = self.go(Route::Off);
        outcome.and(parked)
    }

    /// As [`Self::let_go`], but of every bank, driven or not.
    ///
    /// # Errors
    /// As [`Self::let_go`].
    pub fn let_go_of_all(&mut self) -> Result<(), FrontError> {
        for driven in self.driven.iter_mut().take(self.banks) {
            *driven = u16::MAX;
        }
        self.let_go()
    }
}

/// The banks with a driven lead, and which.
pub(super) fn in_use(driven: [u16; MAX_CHIPS]) -> impl Iterator<Item = (u8, u16)> {
    (0..MAX_CHIPS as u8).zip(driven).filter(|(_, on)| *on != 0)
}

fn write_checked<S: SpiDevice>(
    chips: &mut Expanders<S>,
    address: u8,
    register: Register,
    ports: u16,
) -> Result<(), FrontError> {
    chips.write(address, register, ports).map_err(bus)?;
    check(chips, address, register, ports)
}

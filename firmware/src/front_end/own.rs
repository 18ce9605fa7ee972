//! What the front end finds of its own chips, channel by channel.

use embedded_hal::delay::DelayNs;
use embedded_hal::spi::SpiDevice;
use loomproof_core::units::{MicroVolts, Micros};
use loomproof_core::wire::LeadId;

use super::{BUS_SETTLE, FrontEnd, FrontError, GATE_LATCH, UNDRIVEN, bus};
use crate::ads8866::Sum;
use crate::mcp23s17::{MAX_CHIPS, Register};
use crate::route::{Load, Route};

/// The sense bus and a probe lead behind a pull: 122 kΩ into 250 pF (`docs/probe-hardware.md`,
/// S35 and S64) is 31 µs; 12 of them.
pub const PULL_SETTLE: Micros = Micros(370);

/// Chips that answer, a bit for each address.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Answering {
    /// Drive chips.
    pub drive: u8,
    /// Gate chips.
    pub gate: u8,
    /// Select chips.
    pub select: u8,
}

impl<D, G, S, A, W> FrontEnd<D, G, S, A, W>
where
    D: SpiDevice,
    G: SpiDevice,
    S: SpiDevice,
    A: SpiDevice,
    W: DelayNs,
{
    /// Lets go of everything and asks every address of every kind of chip.
    ///
    /// # Errors
    /// The bus error.
    pub fn answering(&mut self) -> Result<Answering, FrontError> {
        let mut answering = Answering {
            drive: 0,
            gate: 0,
            select: 0,
        };
        self.gate.enable_addresses().map_err(bus)?;
        self.drive.enable_addresses().map_err(bus)?;
        self.select.enable_addresses().map_err(bus)?;
        for address in 0..MAX_CHIPS as u8 {
            self.gate
                .write(address, Register::Direction, UNDRIVEN)
                .map_err(bus)?;
            self.drive
                .write(address, Register::Direction, UNDRIVEN)
                .map_err(bus)?;
            if self.gate.present(address, GATE_LATCH).map_err(bus)? {
                answering.gate |= 1 << address;
            }
            if self.drive.present(address, 0).map_err(bus)? {
                answering.drive |= 1 << address;
            }
        }
        for half in 0..2 {
            self.select
                .write(half, Register::Direction, UNDRIVEN)
                .map_err(bus)?;
            if self.select.present(half, 0).map_err(bus)? {
                answering.select |= 1 << half;
            }
        }
        self.latches = [0; MAX_CHIPS];
        self.driven = [0; MAX_CHIPS];
        self.prepare_sense()?;
        Ok(answering)
    }

    /// The mean of so many conversions on this route, after `settle`.
    ///
    /// # Errors
    /// The bus error.
    pub fn mean_at(
        &mut self,
        route: Route,
        settle: Micros,
        samples: u8,
    ) -> Result<MicroVolts, FrontError> {
        self.go(route)?;
        self.wait(settle);
        self.sample()?;
        let mut sum = Sum::default();
        for _ in 0..samples {
            sum.add(self.convert()?);
        }
        Ok(sum.mean())
    }

    /// Of so many conversions where the bus is now, how many stand above 0.
    ///
    /// # Errors
    /// The bus error.
    pub fn lit(&mut self, conversions: u16) -> Result<u16, FrontError> {
        self.convert()?;
        let mut lit = 0;
        for _ in 0..conversions {
            lit += u16::from(self.convert()? != 0);
        }
        Ok(lit)
    }

    /// Empties the sense bus, fills it from the pull-up, and joins it to `route`:
    /// what is left of 3.3 V. A channel that is there takes its share of the
    /// charge, one that is not leaves the bus full.
    ///
    /// # Errors
    /// The bus error.
    pub fn share_charge(&mut self, route: Route) -> Result<MicroVolts, FrontError> {
        self.go(Route::Empty(Load::Wide))?;
        self.go(Route::Empty(Load::PullUp))?;
        self.wait(PULL_SETTLE);
        self.mean_at(route, BUS_SETTLE, 4)
    }

    /// Makes one drive pin an output of this level, its disconnect left open.
    /// Whoever calls this has to [`Self::let_go`], on an error too.
    ///
    /// # Errors
    /// The bus error, or [`FrontError::ReadBack`] when something is driven.
    pub fn set_pin(&mut self, LeadId(lead): LeadId, high: bool) -> Result<(), FrontError> {
        if self.driven != [0; MAX_CHIPS] {
            return Err(FrontError::ReadBack);
        }
        let (bank, on) = (lead / 16, 1_u16 << (lead % 16));
        let at = usize::from(bank);
        let (Some(latch), Some(driven)) = (self.latches.get_mut(at), self.driven.get_mut(at))
        else {
            return Err(FrontError::ReadBack);
        };
        *latch = if high { *latch | on } else { *latch & !on };
        *driven = on;
        let latch = *latch;
        self.drive
            .write(bank, Register::Latch, latch)
            .map_err(bus)?;
        self.drive
            .write(bank, Register::Direction, !on)
            .map_err(bus)
    }

    /// Whether a drive pin stands high.
    ///
    /// # Errors
    /// The bus error.
    pub fn pin_is_high(&mut self, LeadId(lead): LeadId) -> Result<bool, FrontError> {
        let pins = self.drive.read(lead / 16, Register::Pins).map_err(bus)?;
        Ok(pins >> (lead % 16) & 1 == 1)
    }
}

//! Looks through the wide divider, and at the chassis leads.

use embedded_hal::delay::DelayNs;
use embedded_hal::spi::SpiDevice;
use loomproof_core::units::{MicroVolts, Micros};
use loomproof_core::wire::{LeadId, LeadSet};

use super::{BUS_SETTLE, FrontEnd, FrontError};
use crate::ads8866::{CONVERSION, Sum};
use crate::interlock::{plausible_zero, wide_mv};
use crate::route::{Load, Route};

/// Wait before C2 is read driven: the bus, and twelve times 680 Ω into 1 nF of clip lead.
const CHASSIS_SETTLE: Micros = Micros(BUS_SETTLE.0 + 9);

/// Conversions averaged for the driven chassis lead: 30 µV, of 50 mV that are told apart.
const CHASSIS_SAMPLES: u8 = 4;

/// Conversions averaged for the shift of the wide range: 30 µV, 0.7 mV at a lead.
const ZERO_SAMPLES: u32 = 4;

impl<D, G, S, A, W> FrontEnd<D, G, S, A, W>
where
    D: SpiDevice,
    G: SpiDevice,
    S: SpiDevice,
    A: SpiDevice,
    W: DelayNs,
{
    /// Looks at leads through the wide divider, in rising order, one
    /// conversion each: while one lead's conversion runs, the next is routed.
    ///
    /// # Errors
    /// The bus error.
    pub fn look_each(
        &mut self,
        leads: &LeadSet,
        mut seen: impl FnMut(LeadId, i32),
    ) -> Result<(), FrontError> {
        let mut before = None;
        for lead in leads.iter() {
            let mv = self.look_on(lead)?;
            if let Some(before) = before.replace(lead) {
                seen(before, mv);
            }
        }
        if let Some(last) = before {
            seen(last, self.last_look()?);
        }
        Ok(())
    }

    /// Looks at one lead through the wide divider, in millivolts.
    ///
    /// # Errors
    /// The bus error.
    pub fn look(&mut self, lead: LeadId) -> Result<i32, FrontError> {
        self.look_on(lead)?;
        self.last_look()
    }

    /// Looks at one lead through the wide divider and comes back to `back`,
    /// settled for `recovery` and with a conversion of it running. The lead is
    /// loaded only until it is sampled, and the bus is emptied through the
    /// divider's leg (1 kΩ and 150 pF: 1.8 µs, less than the next write takes),
    /// so that it carries nothing over to a lead that only a weak pull holds.
    ///
    /// # Errors
    /// The bus error.
    pub fn glance(
        &mut self,
        lead: LeadId,
        back: Route,
        recovery: Micros,
    ) -> Result<i32, FrontError> {
        self.convert_at(Route::Lead(lead, Load::Wide))?;
        self.go(Route::Empty(Load::Wide))?;
        self.go(back)?;
        self.wait(recovery);
        Ok(wide_mv(self.sample()?, self.zero))
    }

    /// Looks at one lead through the wide divider, which drains it, until a look
    /// satisfies `enough` or `span` is over; what the last look saw. The bus is
    /// emptied afterwards and connected to nothing.
    ///
    /// # Errors
    /// The bus error.
    pub fn drain_until(
        &mut self,
        lead: LeadId,
        span: Micros,
        enough: impl Fn(i32) -> bool,
    ) -> Result<i32, FrontError> {
        self.convert_at(Route::Lead(lead, Load::Wide))?;
        let mut left = span.0;
        loop {
            let mv = wide_mv(self.convert()?, self.zero);
            left = left.saturating_sub(CONVERSION.0);
            if enough(mv) || left == 0 {
                self.go(Route::Empty(Load::Wide))?;
                self.go(Route::Off)?;
                return Ok(mv);
            }
        }
    }

    /// Looks at this lead through the wide divider; what the look before saw.
    ///
    /// # Errors
    /// The bus error.
    pub fn look_on(&mut self, lead: LeadId) -> Result<i32, FrontError> {
        let code = self.convert_at(Route::Lead(lead, Load::Wide))?;
        Ok(wide_mv(code, self.zero))
    }

    /// What the last look saw.
    ///
    /// # Errors
    /// The bus error.
    pub fn last_look(&mut self) -> Result<i32, FrontError> {
        Ok(wide_mv(self.convert()?, self.zero))
    }

    /// Measures the shift of the wide range, with no lead on the bus: 0.1 % of
    /// it is 38 mV at a lead (`docs/probe-hardware.md`, S55).
    ///
    /// # Errors
    /// The bus error, or [`FrontError::Shift`] if it cannot be that.
    pub fn measure_zero(&mut self) -> Result<(), FrontError> {
        self.go(Route::Empty(Load::Wide))?;
        self.convert()?;
        let mut codes = 0;
        for _ in 0..ZERO_SAMPLES {
            codes += u32::from(self.convert()?);
        }
        let mean = (codes + ZERO_SAMPLES / 2) / ZERO_SAMPLES;
        match u16::try_from(mean) {
            Ok(zero) if plausible_zero(zero) => self.zero = zero,
            _ => return Err(FrontError::Shift),
        }
        Ok(())
    }

    /// C2 against C1, undriven, in millivolts.
    ///
    /// # Errors
    /// The bus error.
    pub fn look_at_chassis(&mut self) -> Result<i32, FrontError> {
        self.go(Route::Chassis(Load::Wide))?;
        self.convert()?;
        let code = self.convert()?;
        self.go(Route::Off)?;
        Ok(wide_mv(code, self.zero))
    }

    /// The voltage that C2 rises to when driven.
    ///
    /// # Errors
    /// The bus error.
    pub fn drive_chassis(&mut self) -> Result<MicroVolts, FrontError> {
        self.go(Route::ChassisDriven(Load::Plain))?;
        self.wait(CHASSIS_SETTLE);
        let sum = self.sample().and_then(|_| {
            let mut sum = Sum::default();
            for _ in 0..CHASSIS_SAMPLES {
                sum.add(self.convert()?);
            }
            Ok(sum)
        });
        self.go(Route::Off)?;
        Ok(sum?.mean())
    }
}

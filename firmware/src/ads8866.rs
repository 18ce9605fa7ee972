//! The ADS8866 converter: 16 bits, one channel, no registers.
//!
//! Releasing chip select (CONVST rising) samples the input and starts a
//! conversion; the next transfer reads it out and starts another (Texas
//! Instruments ADS8866 datasheet, CS mode, as quoted in
//! `docs/probe-hardware.md`). So every reading lags by one transfer, and the
//! first transfer after a change of the input is thrown away. No crate for
//! this chip is known to us.

use embedded_hal::delay::DelayNs;
use embedded_hal::spi::SpiDevice;
use loomproof_core::units::{MicroVolts, Micros};

/// Bits of one transfer.
pub const TRANSFER_BITS: u32 = 16;

/// Wait between two transfers: the conversion takes at most 8.8 µs
/// (`docs/probe-hardware.md`, converter), rounded up.
pub const CONVERSION: Micros = Micros(9);

/// The reference in microvolts: full scale.
const REFERENCE_UV: u64 = (loomproof_core::instrument::REFERENCE.0 * 1e6) as u64;

const _: () = assert!(
    REFERENCE_UV < (u32::MAX / 256) as u64,
    "the microvolts of 255 conversions fit into 32 bits"
);

/// The converter on its own chip select.
#[derive(Debug)]
pub struct Ads8866<A> {
    spi: A,
}

impl<A: SpiDevice> Ads8866<A> {
    /// The converter on this chip select. Sends nothing.
    pub const fn new(spi: A) -> Self {
        Self { spi }
    }

    /// Gives the bus back.
    pub fn release(self) -> A {
        self.spi
    }

    /// Samples the input now, and returns what was sampled by the transfer
    /// before, which must be at least [`CONVERSION`] ago.
    ///
    /// # Errors
    /// The bus error.
    pub fn sample(&mut self) -> Result<u16, A::Error> {
        let mut code = [0; 2];
        self.spi.read(&mut code)?;
        Ok(u16::from_be_bytes(code))
    }

    /// Waits for the conversion that runs, so much of it having passed
    /// already, then does as [`Self::sample`].
    ///
    /// # Errors
    /// The bus error.
    pub fn next(&mut self, delay: &mut impl DelayNs, passed: Micros) -> Result<u16, A::Error> {
        delay.delay_us(CONVERSION.0.saturating_sub(passed.0));
        self.sample()
    }
}

/// Conversions added up for one reading, at most 255.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Sum {
    codes: u32,
    count: u8,
    full: u8,
    zero: u8,
}

impl Sum {
    /// Adds one conversion; one too many is left out.
    pub fn add(&mut self, code: u16) {
        let Some(count) = self.count.checked_add(1) else {
            return;
        };
        self.count = count;
        self.codes += u32::from(code);
        self.full += u8::from(code == u16::MAX);
        self.zero += u8::from(code == 0);
    }

    /// How many conversions were added.
    #[must_use]
    pub const fn count(&self) -> u8 {
        self.count
    }

    /// Every conversion stood at the top of the span.
    #[must_use]
    pub const fn above(&self) -> bool {
        self.count != 0 && self.full == self.count
    }

    /// Every conversion stood at 0.
    #[must_use]
    pub const fn at_zero(&self) -> bool {
        self.count != 0 && self.zero == self.count
    }

    /// The mean at the converter, code × reference / 65536, rounded; 0 V
    /// without conversions.
    #[must_use]
    pub fn mean(&self) -> MicroVolts {
        // Rounded down twice is as once: the division left is one of 32 bits.
        let half = u64::from(self.count) << 15;
        let all = (u64::from(self.codes) * REFERENCE_UV + half) >> 16;
        let count = u32::from(self.count);
        let Some(microvolts) = u32::try_from(all)
            .ok()
            .and_then(|all| all.checked_div(count))
        else {
            return MicroVolts(0);
        };
        MicroVolts(i32::try_from(microvolts).unwrap_or(i32::MAX))
    }
}

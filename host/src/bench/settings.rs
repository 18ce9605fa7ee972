//! How the bench is set up.

use loomproof_core::units::Ohms;
use loomproof_core::wire::LeadId;

use super::defect::{Defect, Defects};
use super::error::BenchError;
use super::front_end::BANK;
use super::noise::Spread;

/// How the bench is set up.
#[derive(Debug, Clone, PartialEq)]
pub struct Settings {
    /// Seed of all tolerances and noise.
    pub seed: u64,
    /// Probe leads: a multiple of 16, from 16 to 128.
    pub leads: u8,
    /// Parts have tolerances, the probe has leakage, offset and gain error;
    /// without, every part has its nominal value.
    pub spread: bool,
    /// Conversions have noise.
    pub noise: bool,
    /// SPI clock, Hz.
    pub spi_hz: u32,
    /// Faults of the probe itself.
    pub defects: Vec<Defect>,
    /// Resistors in the plug of a bench jig, from a lead to the chassis leads.
    pub code: Vec<(LeadId, Ohms)>,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            seed: 1,
            leads: 64,
            spread: true,
            noise: true,
            spi_hz: 8_000_000,
            defects: Vec::new(),
            code: Vec::new(),
        }
    }
}

impl Settings {
    /// Draws by these settings, if they fit.
    pub(super) fn check(&self) -> Result<Spread, BenchError> {
        let leads = self.leads;
        if leads == 0 || leads > 128 || !usize::from(leads).is_multiple_of(BANK) {
            return Err(BenchError::Leads(leads));
        }
        if self.spi_hz == 0 {
            return Err(BenchError::Clock);
        }
        if let Some(defect) = Defects::new(&self.defects).misplaced(leads) {
            return Err(BenchError::Defect {
                defect: defect.to_string(),
                leads,
            });
        }
        Ok(Spread::new(self.seed, self.spread))
    }
}

/// How the clips sit where there is no harness.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Bare {
    /// All hang free; the chassis leads are joined.
    Free,
    /// All on one piece of metal with the chassis leads.
    OnBar,
    /// Two of them on the ends of a resistor.
    Across(LeadId, LeadId, Ohms),
}

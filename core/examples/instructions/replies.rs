//! The longest replies of a probe, to be decoded again and again.

use loomproof_core::units::{MicroVolts, Micros};
use loomproof_core::wire::{ChassisCheck, Look, Reading, Reply};

/// A survey of 128 leads.
#[must_use]
pub fn survey() -> Reply {
    let look = Look {
        first_mv: 12_345,
        second_mv: -321,
    };
    Reply::Survey {
        looks: std::iter::repeat_n(look, 128).collect(),
        chassis: ChassisCheck::Agree,
    }
}

/// The readings of the longest step.
#[must_use]
pub fn readings() -> Reply {
    Reply::Readings {
        readings: std::iter::repeat_n(Reading::Volts(MicroVolts(1_234_567)), 64).collect(),
        at: Micros(1_000_000),
    }
}

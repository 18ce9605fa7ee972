//! Faults of the probe itself, put into its simulated chips.
//!
//! Spelled `KIND@PLACE`, with `,key=value` behind it where it needs a value.

mod met;
mod spell;

use super::Device;
use loomproof_core::wire::LeadId;

pub(super) use met::Defects;
pub use spell::DefectError;

/// One pin of an expander, port A first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct ChipPin {
    /// [`Device::Drive`], [`Device::Gate`] or [`Device::Select`].
    pub device: Device,
    /// Address of the chip.
    pub address: u8,
    /// 0 to 15.
    pub pin: u8,
}

/// A channel: a probe lead, or chassis lead C2.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Line {
    /// A probe lead.
    Lead(LeadId),
    /// Chassis lead C2.
    Chassis,
}

/// A fault of the probe.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Defect {
    /// A chip takes and answers nothing.
    Deaf(Device, u8),
    /// The line on which the chips of a chip select answer stands still.
    LineStuck(Device, bool),
    /// A pin of an expander stands at one level whatever the chip is told.
    PinStuck(ChipPin, bool),
    /// A disconnect never closes.
    DisconnectOpen(Line),
    /// A disconnect never opens.
    DisconnectClosed(Line),
    /// A channel never reaches the sense bus.
    SenseOpen(Line),
    /// A channel never leaves the sense bus.
    SenseClosed(Line),
    /// Two leads are joined inside the probe by so many ohms.
    Joined(LeadId, LeadId, u32),
    /// A lead leaks so many nanoamperes, into it if above 0.
    Leak(LeadId, i32),
    /// The buffer's gain is off by so many tenths of a percent.
    Gain(i32),
    /// The converter's reference is off against the drive supply by so many
    /// tenths of a percent.
    Reference(i32),
    /// The buffer's offset is so many hundredths of a millivolt.
    Offset(i32),
    /// The comparators hold all drive off.
    Tripped,
}

/// Kinds, an example each, and what they mean.
pub const KINDS: [(&str, &str); 13] = [
    (
        "deaf@drive2",
        "a chip (drive0…7, gate0…7, select0…1) takes and answers nothing",
    ),
    (
        "line-low@gate",
        "the answers of drive, gate, select or adc stand at 0",
    ),
    ("line-high@adc", "the same, at 1"),
    (
        "pin-low@drive0:A3",
        "a pin (A0…A7, B0…B7) of an expander stays low",
    ),
    ("pin-high@select0:B1", "the same, high"),
    (
        "disconnect-open@P17",
        "the disconnect of a lead, or of C2, never closes",
    ),
    ("disconnect-closed@P17", "the same never opens"),
    (
        "sense-open@P17",
        "a lead, or C2, never reaches the sense bus",
    ),
    ("sense-closed@P17", "the same never leaves it"),
    (
        "joined@P17,with=P18,ohms=1000",
        "two leads are joined inside the probe",
    ),
    (
        "leak@P17,na=100",
        "a lead leaks so many nA (below 0: out of it)",
    ),
    (
        "gain@adc,percent=3",
        "the converter reads high (`reference@adc,percent=3`: its reference is; `offset@adc,mv=-2`: its zero is off)",
    ),
    ("tripped@comparators", "the comparators hold all drive off"),
];

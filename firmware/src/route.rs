//! Where the sense bus goes, and which bits say so (`docs/probe-hardware.md`,
//! sense select).

use loomproof_core::wire::{LeadId, LeadSet, SenseMode};

/// Leads per select expander.
pub const HALF: u8 = 64;

/// How the sense bus is loaded.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Load {
    /// Not at all.
    Plain,
    /// 100 kΩ to 3.3 V.
    PullUp,
    /// 100 kΩ to 0 V.
    PullDown,
    /// The wide divider, 1 kΩ to 0 V, for −38 … +38 V.
    Wide,
}

impl From<SenseMode> for Load {
    fn from(mode: SenseMode) -> Self {
        match mode {
            SenseMode::Plain => Self::Plain,
            SenseMode::PullDown => Self::PullDown,
            SenseMode::PullUp => Self::PullUp,
        }
    }
}

impl Load {
    const fn bits(self) -> u8 {
        match self {
            Self::Plain => 0,
            Self::PullUp => 1 << 3,
            Self::PullDown => 1 << 4,
            Self::Wide => 1 << 5,
        }
    }
}

/// What the sense bus is connected to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Route {
    /// Nothing.
    Off,
    /// Nothing but its own load.
    Empty(Load),
    /// The same, the multiplexers at the address of this lead but not enabled.
    Beside(LeadId, Load),
    /// A probe lead.
    Lead(LeadId, Load),
    /// Chassis lead C2, undriven.
    Chassis(Load),
    /// Chassis lead C2, driven to 3.3 V through 680 Ω.
    ChassisDriven(Load),
    /// The same, the sense bus on nothing.
    ChassisUnread(Load),
}

impl Route {
    /// Port words of the two select expanders.
    #[must_use]
    pub const fn ports(self) -> [u16; 2] {
        match self {
            Self::Off => [0, 0],
            Self::Empty(load) => [load.bits() as u16, 0],
            Self::Beside(LeadId(lead), load) => {
                let (address, load) = ((lead % 8) as u16, load.bits() as u16);
                if lead < HALF {
                    [load | address, 0]
                } else {
                    [load, address]
                }
            }
            Self::Lead(LeadId(lead), load) => {
                let within = lead % HALF;
                let switch = u16::from_le_bytes([within % 8, 1 << (within / 8)]);
                let load = load.bits() as u16;
                if lead < HALF {
                    [switch | load, 0]
                } else {
                    [load, switch]
                }
            }
            Self::Chassis(load) => [(load.bits() | 1 << 6) as u16, 0],
            Self::ChassisDriven(load) => [(load.bits() | 1 << 6 | 1 << 7) as u16, 0],
            Self::ChassisUnread(load) => [(load.bits() | 1 << 7) as u16, 0],
        }
    }

    /// How many register writes it takes to come here from another route.
    #[must_use]
    pub fn writes_from(self, from: Self) -> u32 {
        let changed = self.ports().into_iter().zip(from.ports());
        changed.map(|(to, from)| u32::from(to != from)).sum()
    }
}

/// The word of a lead set that concerns one bank of 16 leads.
#[must_use]
pub fn bank_word(set: &LeadSet, bank: usize) -> u16 {
    let byte = |at: usize| set.0.get(at).copied().unwrap_or(0);
    u16::from_le_bytes([byte(2 * bank), byte(2 * bank + 1)])
}

/// The leads numbered below `count`.
#[must_use]
pub fn first_leads(count: u8) -> LeadSet {
    (0..count).map(LeadId).collect()
}

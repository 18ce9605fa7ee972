//! Does the probe itself work? Judged from what it shows of its chips
//! ([`Inspection`](crate::wire::Inspection)) and of each channel ([`Proof`](crate::wire::Proof)).
//!
//! [`chips`] and [`channels`] hold for leads clipped anywhere that is dead;
//! [`free`] and [`between`] only for leads that hang free, and say more.

mod channels;
mod chips;
mod free;

pub use channels::{channel_troubles, channels, gathered};
pub use chips::chips;
pub use free::{add_joined, between, free, isolation, of_the_bus};

use heapless::Vec;

use crate::instrument::{PROTECTION, PULL, REFERENCE, SOURCE};
use crate::units::{MicroVolts, Ohms};
use crate::wire::{Channel, LeadId, MAX_LEADS};

/// A kind of chip of the probe that has an address.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Chip {
    /// Drives the leads.
    Drive,
    /// Closes the disconnects.
    Gate,
    /// Selects what the sense bus is on.
    Select,
}

/// Something wrong with the probe.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Trouble {
    /// The comparators hold all drive off.
    Tripped,
    /// No chip of this kind answers.
    NoneAnswers(Chip),
    /// The chip at this address does not answer.
    Silent(Chip, u8),
    /// The converter gives this whatever is on the sense bus.
    Converter(MicroVolts),
    /// The shift of the wide range is this.
    Shift(MicroVolts),
    /// The converter or its reference reads off by so many parts in 10,000.
    Gain(i32),
    /// The converter is off by so many microvolts at 0 V.
    Offset(i32),
    /// The converter stands below 0 V, by more than 0.2 mV.
    BelowZero,
    /// The wide divider stays on the sense bus.
    WideStays,
    /// The pull-up stays on the sense bus.
    PullUpStays,
    /// The pull-up does not reach the sense bus.
    PullUpDead,
    /// The pull-down stays on the sense bus.
    PullDownStays,
    /// The pull-down does not reach the sense bus.
    PullDownDead,
    /// The sense bus is held at 0 V by a channel that should not be on it.
    BusHeld,
    /// The drive pin never goes high.
    PinLow(Channel),
    /// The drive pin never goes low.
    PinHigh(Channel),
    /// Driving changes nothing on the channel.
    NoDrive(Channel),
    /// The disconnect stays closed.
    AlwaysClosed(Channel),
    /// Driven low, the channel stands at this.
    LowSide(Channel, MicroVolts),
    /// The channel does not reach the sense bus.
    NoSense(Channel),
    /// The channel never leaves the sense bus.
    AlwaysSensed(Channel),
    /// Address line `line` of the multiplexers of select chip `chip` stays at
    /// one level.
    Address {
        /// Address of the select chip.
        chip: u8,
        /// Address line, 0 to 2.
        line: u8,
        /// The level that it stays at.
        high: bool,
    },
    /// None of the eight leads from this one on reaches the sense bus.
    MultiplexerOff(LeadId),
    /// The multiplexer of the eight leads from this one on never lets go of the bus.
    MultiplexerOn(LeadId),
    /// A free lead is pulled away by so many nanoamperes (up, if above 0).
    Leak(Channel, i32),
    /// Two free leads are joined by about so much.
    Joined(LeadId, LeadId, Ohms),
}

impl Trouble {
    /// The channel that it is of; the first, where it is of two.
    #[must_use]
    pub const fn channel(self) -> Option<Channel> {
        match self {
            Self::PinLow(channel)
            | Self::PinHigh(channel)
            | Self::NoDrive(channel)
            | Self::AlwaysClosed(channel)
            | Self::LowSide(channel, _)
            | Self::NoSense(channel)
            | Self::AlwaysSensed(channel)
            | Self::Leak(channel, _) => Some(channel),
            Self::Joined(lead, ..) => Some(Channel::Lead(lead)),
            _ => None,
        }
    }

    /// Whether both are of one thing, whatever was measured and however it showed.
    #[must_use]
    pub fn is_of_the_same(self, other: Self) -> bool {
        match (self.channel(), other.channel()) {
            (None, None) => core::mem::discriminant(&self) == core::mem::discriminant(&other),
            (one, another) => one == another,
        }
    }
}

/// Room for what can be wrong at once; more is not listed.
pub const MOST: usize = MAX_LEADS + 32;

/// What is wrong.
pub type Troubles = Vec<Trouble, MOST>;

/// Adds to the list while there is room.
fn add(troubles: &mut Troubles, trouble: Trouble) {
    // Beyond that room nothing depends on one more.
    let _ = troubles.push(trouble);
}

/// Full scale in microvolts.
const FULL_UV: i32 = (REFERENCE.0 * 1e6) as i32;

/// How far the gain may be off, in parts in 10,000: four times what the
/// budget of `docs/probe-hardware.md` takes (0.1 %).
const GAIN: i32 = 40;

/// How far 0 V may be off, in microvolts: six deviations of
/// [`crate::instrument::OFFSET`], rounded up.
const ZERO_UV: i32 = 400;

/// A free lead driven high and pulled down: 3.3 V · 100 kΩ / 122.7 kΩ.
const HIGH_DOWN_UV: f64 = REFERENCE.0 * 1e6 * PULL.0 / (PULL.0 + PROTECTION.0 + SOURCE.0);

/// A free lead driven low and pulled up: 3.3 V · 22.7 kΩ / 122.7 kΩ.
const LOW_UP_UV: f64 =
    REFERENCE.0 * 1e6 * (PROTECTION.0 + SOURCE.0) / (PULL.0 + PROTECTION.0 + SOURCE.0);

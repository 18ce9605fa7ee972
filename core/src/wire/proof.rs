//! What the probe says of itself: its chips, one channel, the clips' resistance.

use heapless::Vec;
use serde::{Deserialize, Serialize};

use super::message::LeadId;
use crate::units::{MicroVolts, Ohms};

/// A channel of the probe.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub enum Channel {
    /// A probe lead.
    Lead(LeadId),
    /// The second chassis lead, C2.
    Chassis,
}

/// What the probe finds without any lead on its sense bus and nothing driven.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Hash, Serialize, Deserialize)]
pub struct Inspection {
    /// Drive chips that answer, bit n for the one at address n.
    pub drive: u8,
    /// Gate chips that answer.
    pub gate: u8,
    /// Sense select chips that answer.
    pub select: u8,
    /// The comparators hold all drive off; drive and gate chips cannot answer.
    pub tripped: bool,
    /// The sense bus, emptied, with the shift of the wide range.
    pub shift: MicroVolts,
    /// The sense bus, emptied, then pulled up.
    pub up: MicroVolts,
    /// The sense bus, filled, then pulled down.
    pub down: MicroVolts,
    /// Of [`ZERO_CONVERSIONS`] of the pulled-down bus, those above code 0:
    /// none when the converter stands below 0 V.
    pub lit: u16,
}

/// Conversions that [`Inspection::lit`] counts among.
pub const ZERO_CONVERSIONS: u16 = 4_096;

/// What the probe finds on one channel, in microvolts at the converter.
///
/// The drive of each part lasts less than a cycle of the watch, or is watched.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Hash, Serialize, Deserialize)]
pub struct Proof {
    /// The drive pin reads high when set high, its disconnect open. (C2 has no
    /// pin that can be read: as it should be.)
    pub pin_high: bool,
    /// The drive pin reads low when set low.
    pub pin_low: bool,
    /// The filled sense bus once the channel has been joined to it: a channel
    /// takes its share of the charge.
    pub shared: MicroVolts,
    /// Nothing driven, pulled up.
    pub idle_up: MicroVolts,
    /// Nothing driven, pulled down.
    pub idle_down: MicroVolts,
    /// Pin high behind the open disconnect, pulled up.
    pub open_up: MicroVolts,
    /// Pin high behind the open disconnect, pulled down.
    pub open_down: MicroVolts,
    /// Driven high, pulled up.
    pub high_up: MicroVolts,
    /// Driven high, pulled down.
    pub high_down: MicroVolts,
    /// Driven low, pulled up.
    pub low_up: MicroVolts,
    /// Driven high, the sense bus on nothing, pulled down.
    pub off_down: MicroVolts,
}

/// Resistance of a clip and its probe lead on the wire: tenths of a milliohm.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct ClipOhms(pub u16);

impl ClipOhms {
    /// Not measured.
    pub const NONE: Self = Self(u16::MAX);

    /// Rounded; [`Self::NONE`] for what does not fit (below 0 Ω, above 6.5 Ω).
    #[must_use]
    pub fn of(Ohms(ohms): Ohms) -> Self {
        let tenths = ohms * 1e4 + 0.5;
        if tenths >= 0.0 && tenths < f64::from(u16::MAX) {
            Self(tenths as u16)
        } else {
            Self::NONE
        }
    }

    /// In ohms; `None` where it was not measured.
    #[must_use]
    pub fn ohms(self) -> Option<Ohms> {
        (self != Self::NONE).then(|| Ohms(f64::from(self.0) * 1e-4))
    }
}

/// The most clips that one message holds.
pub const CLIPS_A_MESSAGE: usize = 32;

/// The clips' resistance, from one lead on, in lead order.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Nulls {
    /// The lead that the first value is of.
    pub first: LeadId,
    /// The values.
    pub clips: Vec<ClipOhms, CLIPS_A_MESSAGE>,
}

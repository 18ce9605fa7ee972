//! What host and probe say to each other.
//!
//! One request is outstanding at a time; the probe speaks only when asked.
//! Every request carries a sequence number; a repeated number is answered with
//! the stored reply and never acted on twice.

use heapless::{String, Vec};
use serde::{Deserialize, Serialize};

use super::carried::{Carried, Fetch, Forget, Page, Piece};
use super::proof::{Channel, Inspection, Nulls, Proof};
use super::watch::{AllFelt, AllSeen, Breaks, Feel, Guard, Watch};
use crate::units::{MicroVolts, Micros};

/// Version of the requests and replies. A probe of another version is refused
/// by the host after the hello exchange, which itself never changes.
pub const PROTOCOL: u16 = 4;

/// The most probe leads that one probe can have.
pub const MAX_LEADS: usize = 128;

/// The most readings asked for in one step.
pub const MAX_SENSES: usize = 64;

/// A probe lead, counted from 0. Printed from 1 with a `P`, as on the clip: lead 0 is `P1`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct LeadId(pub u8);

impl core::fmt::Display for LeadId {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        write!(f, "P{}", u16::from(self.0) + 1)
    }
}

/// A set of probe leads, one bit each: lead `n` is bit `n % 8` of byte `n / 8`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize)]
pub struct LeadSet(pub [u8; MAX_LEADS / 8]);

impl LeadSet {
    /// The set without leads.
    pub const EMPTY: Self = Self([0; MAX_LEADS / 8]);

    /// Adds a lead; numbers from [`MAX_LEADS`] up are ignored.
    pub fn insert(&mut self, lead: LeadId) {
        if let Some(byte) = self.0.get_mut(usize::from(lead.0 / 8)) {
            *byte |= 1 << (lead.0 % 8);
        }
    }

    /// Takes a lead out.
    pub fn remove(&mut self, lead: LeadId) {
        if let Some(byte) = self.0.get_mut(usize::from(lead.0 / 8)) {
            *byte &= !(1 << (lead.0 % 8));
        }
    }

    /// Whether the lead is in the set.
    #[must_use]
    pub fn contains(&self, lead: LeadId) -> bool {
        self.0
            .get(usize::from(lead.0 / 8))
            .is_some_and(|byte| byte >> (lead.0 % 8) & 1 == 1)
    }

    /// Whether there is no lead in the set.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.0 == Self::EMPTY.0
    }

    /// How many leads are in the set.
    #[must_use]
    pub fn len(&self) -> usize {
        self.0.iter().map(|byte| byte.count_ones() as usize).sum()
    }

    /// The leads of the set, in rising order.
    #[must_use]
    pub const fn iter(&self) -> Leads<'_> {
        Leads { set: self, at: 0 }
    }

    /// The leads that are in both sets.
    #[must_use]
    pub fn shared(&self, other: &Self) -> Self {
        let mut both = *self;
        for (own, its) in both.0.iter_mut().zip(&other.0) {
            *own &= its;
        }
        both
    }

    /// The leads that are in one set or both.
    #[must_use]
    pub fn joined(&self, other: &Self) -> Self {
        let mut all = *self;
        for (own, its) in all.0.iter_mut().zip(&other.0) {
            *own |= its;
        }
        all
    }

    /// Whether the two sets share a lead.
    #[must_use]
    pub fn overlaps(&self, other: &Self) -> bool {
        self.0.iter().zip(&other.0).any(|(a, b)| a & b != 0)
    }
}

/// The leads of a set, in rising order.
#[derive(Debug, Clone)]
pub struct Leads<'s> {
    set: &'s LeadSet,
    /// Where the next one is looked for.
    at: u8,
}

impl Iterator for Leads<'_> {
    type Item = LeadId;

    // Once on the probe, where flash is short, not at every loop over leads.
    #[cfg_attr(target_os = "none", inline(never))]
    fn next(&mut self) -> Option<LeadId> {
        loop {
            let left = *self.set.0.get(usize::from(self.at / 8))? >> (self.at % 8);
            // Most sets hold a lead or two: whole bytes are passed over.
            if left == 0 {
                self.at = (self.at | 7) + 1;
                continue;
            }
            let lead = self.at + left.trailing_zeros() as u8;
            self.at = lead + 1;
            return Some(LeadId(lead));
        }
    }
}

impl From<LeadId> for LeadSet {
    fn from(lead: LeadId) -> Self {
        let mut set = Self::EMPTY;
        set.insert(lead);
        set
    }
}

impl FromIterator<LeadId> for LeadSet {
    fn from_iter<T: IntoIterator<Item = LeadId>>(leads: T) -> Self {
        let mut set = Self::EMPTY;
        for lead in leads {
            set.insert(lead);
        }
        set
    }
}

/// Where the harness is while it is tested; it sets the drive limit
/// ([`Place::max_sources`]).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum Place {
    /// The harness alone on the bench: all drive together at most 20 mA.
    Bench,
    /// Fitted to a vehicle: all drive together at most 5 mA.
    Vehicle,
}

impl Place {
    /// How many leads may be driven high at once. A source can give at most
    /// 3.3 V / 680 Ω = 4.85 mA, so one in the vehicle (≤ 5 mA) and four on the
    /// bench (≤ 20 mA); leads driven low only take what a source gives.
    #[must_use]
    pub const fn max_sources(self) -> usize {
        match self {
            Self::Bench => 4,
            Self::Vehicle => 1,
        }
    }

    /// How many leads a [`Guard`] may pull up at once: 3.333 V / 21.8 kΩ = 0.153 mA
    /// each, so 32 in the vehicle (4.9 mA) and all on the bench (19.6 mA).
    #[must_use]
    pub const fn max_watched(self) -> usize {
        match self {
            Self::Bench => MAX_LEADS,
            Self::Vehicle => 32,
        }
    }
}

/// How the sense bus is loaded while a lead is read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum SenseMode {
    /// Through the protection resistor into the converter, no load.
    Plain,
    /// With the weak pull to 0 V: a lead that nothing drives reads 0 V.
    PullDown,
    /// With the weak pull to 3.3 V: a lead that nothing drives reads 3.3 V.
    PullUp,
}

/// One reading that a step asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Sense {
    /// The lead to read.
    pub lead: LeadId,
    /// The load on the sense bus.
    pub mode: SenseMode,
}

/// The readings of a step.
pub type Senses = Vec<Sense, MAX_SENSES>;

/// One drive pattern and the readings taken under it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Step {
    /// Leads driven to 3.3 V through their source resistor.
    pub high: LeadSet,
    /// Leads driven to 0 V through their source resistor.
    pub low: LeadSet,
    /// How long the wiring needs to settle behind a source after the drive
    /// changes, by the plan's capacitances.
    pub settle: Micros,
    /// How long a lead needs behind the weak pull after the sense bus moved to
    /// it, by the plan's capacitances; of no effect on plain readings.
    pub pulled: Micros,
    /// How many conversions are averaged for each reading (1 to 64).
    pub samples: u8,
    /// The readings, in the order they are taken.
    pub senses: Senses,
}

/// What the host asks of the probe.
#[allow(
    clippy::large_enum_variant,
    reason = "no allocator on the probe to box the step with"
)]
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub enum Request {
    /// Look at every lead undriven, twice, and check the chassis leads; drive
    /// no lead. Leaves the probe idle.
    Survey,
    /// Survey, and if every lead is dead and still and the chassis leads
    /// agree, allow [`Request::Step`].
    Arm(Place),
    /// Drive a pattern, read, let go. Refused unless armed.
    Step(Step),
    /// Let go of everything and leave the armed state.
    Release,
    /// Ask the chips and look at the sense bus; drive and join no lead. Leaves
    /// the probe idle.
    Inspect,
    /// Drive and read one channel by itself, to show that it works. Refused
    /// unless armed.
    Prove(Channel),
    /// The clips' resistance that the probe keeps, from this lead on.
    Nulls(LeadId),
    /// Keep the clips' resistance, also while switched off.
    Keep(Nulls),
    /// Look at leads for a while, on live wiring too; drive no lead. Leaves the
    /// probe idle.
    Watch(Watch),
    /// Pull leads weakly, to see whether anything holds them. Leaves the probe idle.
    Feel(Feel),
    /// Watch joints for a while that should stay closed. Refused unless armed.
    Guard(Guard),
    /// Which plan the probe carries along.
    Plan,
    /// Keep a page of a plan. Leaves the probe idle.
    Load(Page),
    /// A piece of a result that the probe keeps.
    Result(Fetch),
    /// Forget a result.
    Forget(Forget),
}

/// One lead as the survey found it, undriven, through the wide divider.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Look {
    /// The first look, in millivolts at the lead.
    pub first_mv: i32,
    /// The second look, in millivolts at the lead.
    pub second_mv: i32,
}

/// Result of comparing the two chassis leads.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum ChassisCheck {
    /// Both sit on one piece of metal.
    Agree,
    /// There is a voltage between them: millivolts of C2 against C1.
    Voltage(i32),
    /// No joint between them: millivolts that C2 rose to when driven.
    Apart(i32),
}

/// One reading of a step.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum Reading {
    /// The sense-bus voltage, settled.
    Volts(MicroVolts),
    /// Still creeping when the wait ran out; the last value.
    NotSettled(MicroVolts),
    /// Above the converter's span.
    Above,
    /// Below the converter's span.
    Below,
}

/// Why the probe let go or would not drive.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum Refusal {
    /// This lead carries a voltage undriven (millivolts).
    Live(LeadId, i32),
    /// This lead moved between two looks (first and second, millivolts).
    Moves(LeadId, i32, i32),
    /// The chassis leads do not agree.
    Chassis(ChassisCheck),
    /// The hardware comparators let go of all drive.
    Tripped,
    /// A step came without [`Request::Arm`], or after the permission ran out.
    NotArmed,
    /// The step drives more leads high than the place allows.
    TooManySources,
    /// The step names a lead that this probe does not have.
    NoSuchLead(LeadId),
    /// What was asked for drives one lead both high and low (or low and watched),
    /// asks for no or too many samples or leads, or for a longer wait than the probe
    /// allows.
    BadStep,
    /// A chip of the probe did not answer as it should.
    Hardware,
    /// The probe's memory did not take what was to be kept.
    Memory,
}

/// What the probe answers.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[allow(
    clippy::large_enum_variant,
    reason = "one reply exists at a time, and there is no heap"
)]
pub enum Reply {
    /// Answer to [`Request::Survey`].
    Survey {
        /// One look per lead, in lead order.
        looks: Vec<Look, MAX_LEADS>,
        /// The chassis leads.
        chassis: ChassisCheck,
    },
    /// Answer to [`Request::Arm`]: driving is allowed from now on.
    Armed,
    /// Answer to [`Request::Step`]: one reading per sense, in order.
    Readings {
        /// The readings.
        readings: Vec<Reading, MAX_SENSES>,
        /// The probe's clock when the step ended, microseconds, wrapping.
        at: Micros,
    },
    /// Answer to [`Request::Release`].
    Released,
    /// The request was not carried out, or was broken off; nothing is driven.
    Refused(Refusal),
    /// Answer to [`Request::Inspect`].
    Inspected(Inspection),
    /// Answer to [`Request::Prove`].
    Proved(Proof),
    /// Answer to [`Request::Nulls`], and to [`Request::Keep`] once they are kept.
    Nulls(Nulls),
    /// Answer to [`Request::Watch`].
    Watched {
        /// One for each lead, in lead order.
        seen: AllSeen,
        /// The probe's clock when the window began, microseconds, wrapping.
        at: Micros,
        /// How long the window was.
        took: Micros,
        /// The longest time between two looks at one lead.
        round: Micros,
    },
    /// Answer to [`Request::Feel`]: one for each lead, in lead order.
    Felt(AllFelt),
    /// Answer to [`Request::Guard`].
    Guarded {
        /// The leads that let go.
        breaks: Breaks,
        /// How many more leads let go than there is room for in `breaks`.
        more: u8,
        /// The probe's clock when the window began, microseconds, wrapping.
        at: Micros,
        /// How long the window was.
        took: Micros,
        /// The longest time between two looks at one lead.
        round: Micros,
    },
    /// Answer to [`Request::Plan`].
    Plan {
        /// Bytes that there is room for; 0 where the probe cannot carry any.
        room: u32,
        /// The plan.
        carried: Carried,
    },
    /// Answer to [`Request::Load`], once the page is kept.
    Loaded {
        /// Where the next page begins.
        next: u32,
    },
    /// Answer to [`Request::Result`].
    Result(Piece),
    /// Answer to [`Request::Forget`]: it is no longer kept.
    Forgotten,
}

/// Who a probe is: the one message whose layout never changes.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Hello {
    /// [`PROTOCOL`] of the firmware.
    pub protocol: u16,
    /// Probe leads found at start.
    pub leads: u8,
    /// Board name.
    pub board: String<32>,
    /// Serial number.
    pub serial: String<32>,
    /// Firmware version and build.
    pub build: String<32>,
}

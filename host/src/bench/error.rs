//! Why a bench cannot be set up.

use super::Device;

/// What keeps the virtual bench from being set up as asked.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum BenchError {
    /// The number of probe leads is not one that the probe can have.
    #[error("the virtual probe cannot have {0} leads; take a multiple of 16, from 16 to 128")]
    Leads(u8),
    /// The SPI clock is 0.
    #[error("the SPI clock of the virtual probe is 0 Hz; take 8,000,000")]
    Clock,
    /// A clip sits on a lead that the probe does not have.
    #[error(
        "the hook-up uses probe lead {lead}, but the virtual probe has {leads} leads; give it more leads or hook up in passes"
    )]
    NoSuchLead {
        /// The lead, as printed on its clip.
        lead: String,
        /// How many leads there are.
        leads: u8,
    },
    /// Two clips share one lead.
    #[error("the hook-up puts probe lead {0} on two points; give each point its own lead")]
    LeadTwice(String),
    /// A place named by a fault or by the hook-up is not in the plan.
    #[error(
        "{who}: there is no {what} in this plan; `--fault help` lists the places that can be named"
    )]
    Unknown {
        /// The fault or clip.
        who: String,
        /// What was looked for.
        what: String,
    },
    /// The cavity that a terminal should move to has a terminal already.
    #[error("{who}: cavity {cavity} is taken already; name an empty cavity, or use `exchanged`")]
    Taken {
        /// The fault.
        who: String,
        /// The cavity.
        cavity: String,
    },
    /// The fault makes no sense at this place.
    #[error("{who}: {why}")]
    Senseless {
        /// The fault.
        who: String,
        /// Why not, and what to do instead.
        why: String,
    },
    /// A fault of the probe is put where this probe has nothing.
    #[error("--probe-fault {defect}: a probe with {leads} leads has no such place")]
    Defect {
        /// The fault of the probe.
        defect: String,
        /// Leads of the probe.
        leads: u8,
    },
    /// A value in the plan gives no physical part.
    #[error("{what} has no usable value ({value}); correct it in the plan")]
    Value {
        /// The part.
        what: String,
        /// What the plan gives.
        value: String,
    },
    /// The plan has no such switch, or the battery is off.
    #[error("there is no switch {name} here; switches are: {known}")]
    NoSwitch {
        /// What was asked for.
        name: String,
        /// What there is.
        known: String,
    },
    /// A switch has no such state.
    #[error("switch {switch} has no state {state}; its states are: {known}")]
    NoState {
        /// The switch.
        switch: String,
        /// What was asked for.
        state: String,
        /// What there is.
        known: String,
    },
    /// A relay pulls in and lets go again and again.
    #[error("relay {0} chatters: pulling in takes away what holds it; look at what feeds its coil")]
    Chatters(String),
    /// The network found no operating point: a mistake in the bench, not in the plan.
    #[error(
        "the virtual bench found no operating point of its network; this is a mistake in the bench: please report the plan and the faults"
    )]
    NotSolved,
}

impl std::fmt::Display for Device {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Drive => "drive",
            Self::Gate => "gate",
            Self::Select => "select",
            Self::Adc => "adc",
        })
    }
}

//! The hook-up: which probe lead sits on which test point.
//!
//! [`propose`] touches everything at once; [`rounds`] makes it in several
//! rounds of clips where the probe has fewer leads than there are points.

mod mated;
mod names;
mod propose;
pub mod rounds;
mod within;

use std::fmt;

use loomproof_core::wire::{LeadId, Place};

pub use mated::Mated;
pub use propose::{needed, propose};
pub use within::Within;

use crate::plan::model::{End, Side};

/// A place that a probe lead can touch.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Point {
    /// A connector cavity, touched from one side.
    Cavity {
        /// Connector name.
        connector: String,
        /// Cavity number.
        cavity: u16,
        /// The side that is touched.
        side: Side,
    },
    /// The lead terminal of a tap that is not (or not yet) on its conductor.
    Tap(String),
    /// A ring terminal that is not (or not yet) bolted down.
    Ring(String),
    /// One way of an unmated half of an in-line plug, or a part's terminal,
    /// spelled as in the plan.
    Terminal(End),
}

impl Point {
    /// The end of the plan that is touched here.
    #[must_use]
    pub fn end(&self) -> End {
        match self {
            Self::Cavity {
                connector, cavity, ..
            } => End::Cavity(connector.clone(), *cavity),
            Self::Tap(name) => End::Tap(name.clone()),
            Self::Ring(name) => End::Ring(name.clone()),
            Self::Terminal(end) => end.clone(),
        }
    }
}

impl fmt::Display for Point {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Cavity {
                connector, cavity, ..
            } => write!(f, "{connector}:{cavity}"),
            Self::Tap(name) | Self::Ring(name) => f.write_str(name),
            Self::Terminal(end) => end.fmt(f),
        }
    }
}

/// One probe lead on one test point.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Clip {
    /// The probe lead.
    pub lead: LeadId,
    /// Where it is clipped.
    pub point: Point,
}

/// Which probe lead sits on which test point. The two chassis leads are not
/// listed: in the vehicle they sit on bare chassis metal, on the bench on each
/// other.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Hookup {
    /// Bench or vehicle.
    pub place: Place,
    /// The clips, in lead order.
    pub clips: Vec<Clip>,
    /// Which connectors are open and which plugged.
    pub mated: Mated,
}

/// Why there is no hook-up.
#[derive(Debug, thiserror::Error, PartialEq, Eq)]
pub enum HookupError {
    /// More points than probe leads.
    #[error(
        "this job needs {needed} probe leads here and the probe has {leads}; use a probe with more \
         leads, or split the plan into jobs that are tested one after the other"
    )]
    TooFewLeads {
        /// Points that must be touched.
        needed: usize,
        /// Probe leads there are.
        leads: usize,
    },
    /// More points than any probe has leads.
    #[error(
        "this job has {points} points to touch here, more than the {} that are planned for; split \
         the plan into jobs that are tested one after the other",
        loomproof_core::wire::MAX_LEADS
    )]
    TooManyPoints {
        /// Points that must be touched.
        points: usize,
    },
    /// The expected circuit could not be made.
    #[error("{0}")]
    Circuit(String),
    /// Nothing to touch within reach.
    #[error("there is nothing to touch at the places given; name another, or leave --at away")]
    NothingThere,
    /// Nothing to touch.
    #[error(
        "there is nothing to touch in this variant: no lead of the plan ends in a connector, and \
         no tapped conductor can be reached; check the answers to the plan's options"
    )]
    NoPoints,
}

impl Hookup {
    /// The same with the battery on: everything is plugged that the vehicle has.
    #[must_use]
    pub fn battery_on(mut self) -> Self {
        self.mated = Mated::default();
        self
    }

    /// The point that a probe lead sits on.
    #[must_use]
    pub fn point(&self, lead: LeadId) -> Option<&Point> {
        self.clips
            .iter()
            .find(|clip| clip.lead == lead)
            .map(|clip| &clip.point)
    }
}

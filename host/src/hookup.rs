//! The hook-up: which probe lead sits on which test point.

use crate::plan::model::Side;
use loomproof_core::wire::{LeadId, Place};
use std::fmt;

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
    Terminal(crate::plan::model::End),
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
}

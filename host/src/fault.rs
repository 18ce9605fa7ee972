//! What can be wrong, spelled `KIND@PLACE[,key=value…]`.
//!
//! Each kind is one file in [`kinds`], and one line in its list, which makes
//! the [`Fault`]; [`spell`] reads and writes spellings, [`catalogue`] lists
//! every fault that a job allows.

pub mod catalogue;
mod clips;
pub mod kinds;
pub(crate) mod nets;
pub mod spell;

use std::fmt;

use crate::plan::model::End;
pub use kinds::Fault;

/// A cavity of a connector: `X1:4`.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Cavity {
    /// The connector's name.
    pub connector: String,
    /// The cavity's number, from 1.
    pub number: u16,
}

impl Cavity {
    /// A cavity of a connector.
    pub fn new(connector: impl Into<String>, number: u16) -> Self {
        Self {
            connector: connector.into(),
            number,
        }
    }

    /// As an end of a lead.
    #[must_use]
    pub fn end(&self) -> End {
        End::Cavity(self.connector.clone(), self.number)
    }
}

impl fmt::Display for Cavity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}", self.connector, self.number)
    }
}

/// A joint, or a lead's own length, where a connection can be lost.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Joint {
    /// Where a lead meets its terminal: a crimp in a cavity (`X1:4`), the
    /// lead terminal of a tap (`T1`), a ring (`G1`), a plug way (`D1-A:2`), a
    /// part's terminal (`R1:86`).
    At(End),
    /// One lead's joint inside a splice: `S1,lead=W3`.
    Splice(String, String),
    /// Somewhere along the lead: `W3`.
    Along(String),
    /// The two halves of an in-line plug, all ways: `D1`.
    Mating(String),
}

impl Joint {
    /// The place before the comma of a spelling.
    #[must_use]
    pub fn place(&self) -> String {
        match self {
            Self::At(end) => end.to_string(),
            Self::Splice(name, _) | Self::Along(name) | Self::Mating(name) => name.clone(),
        }
    }

    /// The key behind the comma that the joint needs.
    pub(crate) fn keys(&self) -> Vec<(&'static str, String)> {
        match self {
            Self::Splice(_, lead) => vec![("lead", lead.clone())],
            _ => Vec::new(),
        }
    }
}

/// What a lead touches in a short.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Touches {
    /// Another lead, by name.
    Lead(String),
    /// Chassis.
    Chassis,
}

impl fmt::Display for Touches {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Lead(name) => name,
            Self::Chassis => "chassis",
        })
    }
}

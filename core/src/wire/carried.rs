//! What the probe carries along: a plan to ring out by itself, and the results of
//! that until somebody collects them.

use heapless::Vec;
use serde::{Deserialize, Serialize};

/// Bytes that one message carries of a plan or a result: one write unit of the
/// probe's flash.
pub const PAGE: usize = 256;

/// One page, or the last part of one.
pub type PageBytes = Vec<u8, PAGE>;

/// A page of a compiled plan ([`crate::image`]). Pages are loaded in rising order
/// from 0 on; the first makes an end of the plan that was there.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Page {
    /// Where it begins, a multiple of [`PAGE`].
    pub at: u32,
    /// Its bytes; all but the last page are full.
    pub bytes: PageBytes,
}

/// The plan in the probe.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum Carried {
    /// None.
    Nothing,
    /// One that is torn, altered or of another version; it is not used.
    Damaged,
    /// A whole one.
    Plan {
        /// Its check sum.
        check: u32,
        /// Its bytes.
        length: u32,
    },
}

/// A piece of a result that is asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Fetch {
    /// Which place for a result, from 0.
    pub slot: u8,
    /// From which byte on.
    pub at: u32,
}

/// A result that was collected and can be forgotten.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Forget {
    /// Its place.
    pub slot: u8,
    /// Its number: another result in this place stays.
    pub number: u32,
}

/// A piece of a result.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Piece {
    /// How many places for results there are; 0 where the probe cannot keep any.
    pub slots: u8,
    /// The number of the result in this one; `None` if there is no whole one.
    pub number: Option<u32>,
    /// Bytes of the whole result.
    pub length: u32,
    /// Those that were asked for; none past the end.
    pub bytes: PageBytes,
}

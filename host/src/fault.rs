//! What can be wrong, spelled `KIND@PLACE[,key=value…]`.
//!
//! [`Fault`] says what the words mean, [`spell`] reads and writes them,
//! [`catalogue`] lists every fault that a job allows.

pub mod catalogue;
mod nets;
pub mod spell;

use crate::plan::model::End;

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

/// What a lead touches in a short.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Touches {
    /// Another lead, by name.
    Lead(String),
    /// Chassis.
    Chassis,
}

/// One thing that is wrong.
#[derive(Debug, Clone, PartialEq)]
pub enum Fault {
    /// `open@JOINT`: no connection there.
    Open(Joint),
    /// `high-resistance@JOINT,ohms=R`: so many ohms more than there should be.
    HighResistance(Joint, f64),
    /// `unseated@X1:4`: crimped, but the terminal is not home in its cavity;
    /// its crimp can still be touched from the wire side.
    Unseated(String, u16),
    /// `wrong-cavity@X1:4,to=X1:3`: the terminal for X1:4 sits in cavity 3,
    /// which should be empty.
    WrongCavity(String, u16, u16),
    /// `exchanged@X1:4,with=X1:5`: the terminals of X1:4 and X1:5 sit in each
    /// other's cavity.
    Exchanged(String, u16, u16),
    /// `tap-missed@T1`: closed, but not through to its conductor.
    TapMissed(String),
    /// `tap-neighbour@T1,on=K2`: bites another conductor than planned.
    TapNeighbour(String, String),
    /// `short@W2,with=W5` or `short@W2,with=chassis`, of a fraction of an ohm,
    /// at the middle of each lead.
    Short(String, Touches),
    /// `cap-touching@W7,with=W2`: the capped end of W7 touches another lead,
    /// or chassis.
    CapTouching(String, Touches),
    /// `live@X1:4,volts=12`: a voltage stands there before the test.
    Live(End, f64),
}

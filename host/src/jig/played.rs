//! A jig on the virtual bench: what its file says, and what is wrong with it.

use std::collections::BTreeMap;

use loomproof_core::units::Ohms;
use loomproof_core::wire::LeadId;

use super::Jig;
use super::check::Wanted;
use super::file::lead;
use crate::bench::OnJig;
use crate::fault::spell::Keys;

/// The spellings of a jig's faults, an example each, and what they mean.
pub const KINDS: [(&str, &str); 4] = [
    ("open@P5", "the wire of a lead does not reach its half"),
    (
        "high-resistance@P2,ohms=60",
        "a dirty contact; P1 to P3 carry the number",
    ),
    (
        "exchanged@P5,with=P9",
        "two leads are wired to each other's points",
    ),
    ("short@P5,with=P6", "the wires of two leads touch"),
];

/// Something that is wrong with a jig.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum JigFault {
    /// A wire does not reach its point.
    Open(LeadId),
    /// A contact adds ohms.
    HighResistance(LeadId, Ohms),
    /// Two leads are at each other's points.
    Exchanged(LeadId, LeadId),
    /// Two wires touch.
    Short(LeadId, LeadId),
}

impl JigFault {
    /// Reads a spelling.
    ///
    /// # Errors
    /// A sentence for what is none.
    pub fn parse(text: &str) -> Result<Self, String> {
        let fail = |reason: &str| {
            let kinds: Vec<&str> = KINDS.iter().map(|(example, _)| *example).collect();
            let kinds = kinds.join(", ");
            format!("{text}: {reason}; a fault of a jig is written like {kinds}")
        };
        let (head, rest) = text.split_once(',').unwrap_or((text, ""));
        let (kind, place) = head.split_once('@').unwrap_or((head, ""));
        let no_lead = |place: &str| fail(&format!("\"{place}\" is no lead"));
        let at = lead(place).ok_or_else(|| no_lead(place))?;
        let mut keys = Keys::read(rest).map_err(|reason| fail(&reason))?;
        let with = |keys: &mut Keys<'_>| {
            let other = keys.need("with").map_err(|reason| fail(&reason))?;
            let there = lead(other).filter(|there| *there != at);
            there.ok_or_else(|| fail(&format!("\"{other}\" is no other lead")))
        };
        let fault = match kind {
            "open" => Self::Open(at),
            "high-resistance" => {
                let ohms = keys.number("ohms", 0.0, 1e9);
                Self::HighResistance(at, Ohms(ohms.map_err(|reason| fail(&reason))?))
            }
            "exchanged" => Self::Exchanged(at, with(&mut keys)?),
            "short" => Self::Short(at, with(&mut keys)?),
            _ => return Err(fail(&format!("\"{kind}\" is not a kind of it"))),
        };
        match keys.left() {
            Some(key) => Err(fail(&format!("\"{key}\" does not belong to this kind"))),
            None => Ok(fault),
        }
    }

    /// The first lead that it names and a jig does not have.
    #[must_use]
    pub fn beside(&self, jig: &Jig) -> Option<LeadId> {
        let leads = match *self {
            Self::Open(lead) | Self::HighResistance(lead, _) => [lead, lead],
            Self::Exchanged(a, b) | Self::Short(a, b) => [a, b],
        };
        leads.into_iter().find(|lead| !jig.uses(*lead))
    }
}

/// Where the wire of a lead really ends.
enum End {
    Half(String),
    Code(Ohms),
}

/// A jig as it really is.
pub struct Played {
    wires: BTreeMap<LeadId, (End, f64)>,
    touching: Vec<(LeadId, LeadId)>,
}

impl Played {
    /// A jig with these faults.
    #[must_use]
    pub fn new(jig: &Jig, faults: &[JigFault]) -> Self {
        let mut wires: BTreeMap<LeadId, (End, f64)> = BTreeMap::new();
        for (lead, ohms) in jig.code.resistors() {
            wires.insert(lead, (End::Code(ohms), 0.0));
        }
        for (half, leads) in jig.halves() {
            for lead in leads {
                wires.insert(lead, (End::Half(half.to_owned()), 0.0));
            }
        }
        let mut touching = Vec::new();
        for fault in faults {
            match *fault {
                JigFault::Open(lead) => drop(wires.remove(&lead)),
                JigFault::HighResistance(lead, ohms) => {
                    if let Some((_, more)) = wires.get_mut(&lead) {
                        *more += ohms.0;
                    }
                }
                JigFault::Exchanged(a, b) => {
                    let (was_a, was_b) = (wires.remove(&a), wires.remove(&b));
                    wires.extend(was_b.map(|wire| (a, wire)));
                    wires.extend(was_a.map(|wire| (b, wire)));
                }
                JigFault::Short(a, b) => touching.push((a, b)),
            }
        }
        Self { wires, touching }
    }

    /// The resistors at its plug.
    #[must_use]
    pub fn code(&self) -> Vec<(LeadId, Ohms)> {
        let wires = self.wires.iter();
        let code = wires.filter_map(|(lead, (end, more))| match end {
            End::Code(ohms) => Some((*lead, Ohms(ohms.0 + more))),
            End::Half(_) => None,
        });
        code.collect()
    }

    /// What hangs on it with this plugged in.
    #[must_use]
    pub fn with(&self, wanted: Wanted<'_>) -> OnJig {
        let wires = self.wires.iter();
        let plugged = wires.filter_map(|(lead, (end, more))| match (end, wanted) {
            (End::Half(half), Wanted::Plug(plug)) if half == plug => Some((*lead, Ohms(*more))),
            _ => None,
        });
        OnJig {
            plugged: plugged.collect(),
            touching: self.touching.clone(),
        }
    }
}

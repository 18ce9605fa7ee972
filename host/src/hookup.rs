//! The hook-up: which probe lead sits on which test point.

use std::fmt;

use loomproof_core::wire::{LeadId, Place};

use crate::fault::catalogue;
use crate::plan::model::{End, Job, RingOn, Side};

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
    /// Nothing to touch.
    #[error(
        "there is nothing to touch in this variant: no lead of the plan ends in a connector, and \
         no tapped conductor can be reached; check the answers to the plan's options"
    )]
    NoPoints,
}

/// Proposes a hook-up: one probe lead on every point, place by place in the
/// order of the plan.
///
/// As far as probe leads are left, the terminals of relays, fuses, diodes and
/// lamps are back-probed too (a lead that ends there is proved by nothing
/// else), and the empty cavities of connectors that are reached through their
/// mating half (they show where a terminal in a wrong cavity went).
///
/// # Errors
/// [`HookupError`] when the points that are needed outnumber the leads, or
/// there are none.
pub fn propose(job: &Job, place: Place, leads: usize) -> Result<Hookup, HookupError> {
    let mut needed = Vec::new();
    let mut spare = Vec::new();
    for connector in &job.connectors {
        for cavity in 1..=connector.cavities {
            let point = Point::Cavity {
                connector: connector.name.clone(),
                cavity,
                side: connector.access,
            };
            if ends_at(job, &connector.name, cavity)
                || (place == Place::Vehicle && conductor_at(job, &connector.name, cavity))
            {
                needed.push(point);
            } else if connector.access == Side::Mating
                && (connector.of_harness || led(job, &connector.name))
            {
                spare.push(point);
            }
        }
    }
    if place == Place::Bench {
        needed.extend(job.taps.iter().map(|tap| Point::Tap(tap.name.clone())));
    }
    for ring in &job.rings {
        if place == Place::Bench || ring.on == RingOn::BatteryPlus {
            needed.push(Point::Ring(ring.name.clone()));
        }
    }
    if needed.is_empty() {
        return Err(HookupError::NoPoints);
    }
    if needed.len() > leads {
        return Err(HookupError::TooFewLeads {
            needed: needed.len(),
            leads,
        });
    }
    let room = leads - needed.len();
    let parts = part_terminals(job);
    let extra = parts.iter().chain(&spare).take(room);
    let chosen: Vec<&Point> = needed.iter().chain(extra).collect();
    // Back into plan order, so that neighbours under the dash get neighbouring leads.
    let order = |point: &Point| match point {
        Point::Cavity {
            connector, cavity, ..
        } => {
            let at = job.connectors.iter().position(|c| c.name == *connector);
            (0, at.unwrap_or(usize::MAX), *cavity)
        }
        _ => (1, 0, 0),
    };
    let mut points: Vec<Point> = chosen.into_iter().cloned().collect();
    points.sort_by_key(order);
    let clips = points
        .into_iter()
        .zip(0..=u8::MAX)
        .map(|(point, lead)| Clip {
            lead: LeadId(lead),
            point,
        })
        .collect();
    Ok(Hookup { place, clips })
}

impl Hookup {
    /// The point that a probe lead sits on.
    #[must_use]
    pub fn point(&self, lead: LeadId) -> Option<&Point> {
        self.clips
            .iter()
            .find(|clip| clip.lead == lead)
            .map(|clip| &clip.point)
    }
}

/// The terminals of parts where a lead ends, part by part.
fn part_terminals(job: &Job) -> Vec<Point> {
    let mut ends: Vec<&End> = job
        .leads
        .iter()
        .flat_map(|lead| [&lead.from, &lead.to])
        .filter(|end| matches!(end, End::Part(..)))
        .collect();
    ends.sort();
    ends.dedup();
    ends.into_iter()
        .map(|end| Point::Terminal(end.clone()))
        .collect()
}

fn ends_at(job: &Job, connector: &str, cavity: u16) -> bool {
    let end = End::Cavity(connector.to_owned(), cavity);
    job.leads
        .iter()
        .any(|lead| lead.from == end || lead.to == end)
}

fn led(job: &Job, connector: &str) -> bool {
    let here = |end: &End| matches!(end, End::Cavity(name, _) if name == connector);
    job.leads
        .iter()
        .any(|lead| here(&lead.from) || here(&lead.to))
}

/// Whether a tapped conductor, or one that a tap could bite by mistake, can be
/// reached here.
fn conductor_at(job: &Job, connector: &str, cavity: u16) -> bool {
    let wanted = |name: &str| {
        job.taps.iter().any(|tap| {
            tap.on == name || catalogue::neighbours(job, &tap.on).any(|other| other == name)
        })
    };
    job.conductors.iter().any(|conductor| {
        !conductor.data_bus
            && wanted(&conductor.name)
            && conductor
                .at
                .iter()
                .any(|(name, number)| name == connector && *number == cavity)
    })
}

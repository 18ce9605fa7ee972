//! Which points a job needs touched, and the hook-up that touches them all at
//! once.

use loomproof_core::wire::{LeadId, Place};

use super::{Clip, Hookup, HookupError, Mated, Point, Within};
use crate::fault::catalogue;
use crate::plan::model::{End, Job, RingOn, Side};

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
    propose_within(job, place, leads, &Within::Everything)
}

/// The points that a job needs touched at a place, in the order of the plan.
#[must_use]
pub fn needed(job: &Job, place: Place) -> Vec<Point> {
    let mut needed = points(job, place).needed;
    in_plan_order(job, &mut needed);
    needed
}

/// As [`propose`], of what is within reach.
pub(super) fn propose_within(
    job: &Job,
    place: Place,
    leads: usize,
    within: &Within,
) -> Result<Hookup, HookupError> {
    let Points {
        needed,
        parts,
        spare,
    } = points(job, place);
    if needed.is_empty() {
        return Err(HookupError::NoPoints);
    }
    let [needed, parts, spare] = [needed, parts, spare].map(|mut points| {
        points.retain(|point| within.reaches(point));
        points
    });
    if needed.is_empty() {
        return Err(HookupError::NothingThere);
    }
    if needed.len() > leads {
        return Err(HookupError::TooFewLeads {
            needed: needed.len(),
            leads,
        });
    }
    let mated = Mated::of(job, place, needed.iter().map(Point::part));
    let room = leads - needed.len();
    let extra = parts.into_iter().chain(spare).take(room);
    let mut points: Vec<Point> = needed.into_iter().chain(extra).collect();
    in_plan_order(job, &mut points);
    Ok(clipped(place, mated, points))
}

/// One probe lead on each point, in their order.
pub(super) fn clipped(
    place: Place,
    mated: Mated,
    points: impl IntoIterator<Item = Point>,
) -> Hookup {
    let clip = |(point, lead)| Clip {
        lead: LeadId(lead),
        point,
    };
    Hookup {
        place,
        clips: points.into_iter().zip(0..=u8::MAX).map(clip).collect(),
        mated,
    }
}

/// The order of the plan, so that neighbours under the dash get neighbouring
/// leads.
pub(super) fn in_plan_order(job: &Job, points: &mut [Point]) {
    points.sort_by_key(|point| match point {
        Point::Cavity {
            connector, cavity, ..
        } => {
            let at = job.connectors.iter().position(|c| c.name == *connector);
            (0, at.unwrap_or(usize::MAX), *cavity)
        }
        _ => (1, 0, 0),
    });
}

/// The points of a job at a place.
pub(super) struct Points {
    /// Every end of the harness that can be reached, and the conductors that
    /// are tapped or could be by mistake.
    pub(super) needed: Vec<Point>,
    /// Terminals of parts where a lead ends, part by part.
    pub(super) parts: Vec<Point>,
    /// Empty cavities that are reached through the mating half.
    spare: Vec<Point>,
}

pub(super) fn points(job: &Job, place: Place) -> Points {
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
    Points {
        needed,
        parts: part_terminals(job),
        spare,
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

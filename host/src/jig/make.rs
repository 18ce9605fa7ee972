//! A new jig for the harness of a plan, in all its variants.

use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;

use loomproof_core::wire::{LeadId, MAX_LEADS, Place};

use super::code::{self, Code};
use super::{Jig, MOST_VARIANTS, wired_to};
use crate::hookup::{HookupError, Point, needed, propose};
use crate::plan::model::{End, Job, Side};
use crate::plan::{Plan, Problem};

/// Leads for points.
const ROOM: usize = MAX_LEADS - code::LEADS.len();

/// Leads of a usual probe.
const USUAL: usize = 64;

/// A new jig.
#[derive(Debug, Clone)]
pub struct Made {
    /// The jig.
    pub jig: Jig,
    /// Terminals of parts that have no lead.
    pub left_out: Vec<String>,
}

/// Why there is no jig for a plan.
#[derive(Debug, thiserror::Error)]
pub enum MakeError {
    /// Something is wrong with a variant.
    #[error("a variant of the plan is at fault")]
    Plan(Vec<Problem>),
    /// More variants than are gone through.
    #[error(
        "the plan has more than {MOST_VARIANTS} variants; make jigs for some of them with --answer \
         option=value"
    )]
    TooManyVariants,
    /// Nothing to wire, or too much.
    #[error("{0}")]
    Hookup(#[from] HookupError),
    /// More points than leads.
    #[error(
        "the harness has {points} points in all its variants, and a jig has leads for {ROOM}; make \
         two jigs, each for some variants with --answer option=value"
    )]
    TooManyPoints {
        /// Points that some variant needs.
        points: usize,
    },
}

/// A jig for a plan's harness with some answers fixed: one lead for every point that a
/// variant needs, and for the empty cavities of its halves as far as leads are left.
/// Terminals of relays and fuses are on no mating half; with `parts` they have leads too,
/// for spring contacts on the back of their sockets.
///
/// # Errors
/// [`MakeError`].
pub fn make(
    plan: &Plan,
    fixed: &BTreeMap<String, String>,
    (path, title): (PathBuf, String),
    (code, parts): (Code, bool),
) -> Result<Made, MakeError> {
    let variants = plan.variants(fixed, MOST_VARIANTS + 1);
    if variants.len() > MOST_VARIANTS {
        return Err(MakeError::TooManyVariants);
    }
    let (mut points, mut parts_of, mut empty) = (Vec::new(), Vec::new(), Vec::new());
    for answers in variants {
        let job = plan.resolve(&answers).map_err(MakeError::Plan)?;
        let needed = needed(&job, Place::Bench);
        empty.extend(cavities(&job, &needed));
        points.extend(needed);
        parts_of.extend(part_terminals(&job)?);
    }
    let mut seen = BTreeSet::new();
    let mut once = |points: &mut Vec<Point>| points.retain(|point| seen.insert(wired_to(point)));
    once(&mut points);
    once(&mut parts_of);
    once(&mut empty);
    let mut left_out = Vec::new();
    if parts {
        points.extend(parts_of);
    } else {
        left_out = parts_of.iter().map(wired_to).collect();
    }
    if points.len() > ROOM {
        return Err(MakeError::TooManyPoints {
            points: points.len(),
        });
    }
    // Empty cavities ask for no larger probe than what has to be there, and one of 64
    // leads is usual.
    let leads = (points.len() + code::LEADS.len())
        .next_multiple_of(16)
        .max(USUAL);
    points.extend(empty);
    points.truncate(leads.min(MAX_LEADS) - code::LEADS.len());
    // Half by half, in the order in which the plan comes to them.
    let mut halves: Vec<String> = Vec::new();
    for point in &points {
        if !halves.iter().any(|half| half == point.part()) {
            halves.push(point.part().to_owned());
        }
    }
    points.sort_by_cached_key(|point| {
        let half = halves.iter().position(|half| half == point.part());
        let cavity = match point {
            Point::Cavity { cavity, .. } => *cavity,
            _ => 0,
        };
        (half, cavity)
    });
    let leads = (code::LEADS.len()..MAX_LEADS).filter_map(|lead| u8::try_from(lead).ok());
    let wires = leads.map(LeadId).zip(points.iter().map(wired_to));
    let jig = Jig {
        path,
        title,
        code,
        plans: vec![plan.title().to_owned()],
        matings: None,
        check_every: None,
        wires: wires.collect(),
    };
    Ok(Made { jig, left_out })
}

/// Every cavity of the connectors that some of these points are in.
fn cavities(job: &Job, points: &[Point]) -> Vec<Point> {
    let here = |name: &str| points.iter().any(|point| point.part() == name);
    let connectors = job.connectors.iter().filter(|it| here(&it.name));
    let cavities = connectors.flat_map(|connector| {
        (1..=connector.cavities).map(|cavity| Point::Cavity {
            connector: connector.name.clone(),
            cavity,
            side: Side::Mating,
        })
    });
    cavities.collect()
}

/// The terminals of relays, fuses and other parts.
fn part_terminals(job: &Job) -> Result<impl Iterator<Item = Point>, HookupError> {
    let all = propose(job, Place::Bench, usize::MAX)?;
    let points = all.clips.into_iter().map(|clip| clip.point);
    Ok(points.filter(|point| matches!(point.end(), End::Part(..))))
}

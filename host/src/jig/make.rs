//! A new jig for the harness of a plan, in all its variants.

use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;

use loomproof_core::wire::{LeadId, MAX_LEADS, Place};

use super::code::{self, Code};
use super::{Jig, wired_to};
use crate::hookup::{HookupError, Point, needed, propose};
use crate::plan::model::{End, Job};
use crate::plan::{Plan, Problem};

/// Most variants that are gone through.
const MOST_VARIANTS: usize = 4_096;

/// Leads for points.
const ROOM: usize = MAX_LEADS - code::LEADS.len();

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
) -> Result<Jig, MakeError> {
    let variants = plan.variants(fixed, MOST_VARIANTS + 1);
    if variants.len() > MOST_VARIANTS {
        return Err(MakeError::TooManyVariants);
    }
    let mut points: Vec<Point> = Vec::new();
    let mut spare: Vec<Point> = Vec::new();
    for answers in variants {
        let job = plan.resolve(&answers).map_err(MakeError::Plan)?;
        points.extend(needed(&job, Place::Bench));
        spare.extend(all(&job, parts)?);
    }
    let mut seen = BTreeSet::new();
    points.retain(|point| seen.insert(wired_to(point)));
    if points.len() > ROOM {
        return Err(MakeError::TooManyPoints {
            points: points.len(),
        });
    }
    spare.retain(|point| seen.insert(wired_to(point)));
    points.extend(spare);
    points.truncate(ROOM);
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
    Ok(Jig {
        path,
        title,
        code,
        plans: vec![plan.title().to_owned()],
        matings: None,
        check_every: None,
        wires: wires.collect(),
    })
}

/// Every point of a variant that a jig can have.
fn all(job: &Job, parts: bool) -> Result<impl Iterator<Item = Point>, HookupError> {
    let all = propose(job, Place::Bench, usize::MAX)?;
    let points = all.clips.into_iter().map(|clip| clip.point);
    Ok(points.filter(move |point| parts || !matches!(point.end(), End::Part(..))))
}

//! The hook-up in rounds of clips, where the probe has fewer leads than there are points.
//!
//! `needs` says what has to be clipped together and how few rounds could do;
//! `plane` brings blocks in which every two nets meet; `draft` makes rounds
//! of them and `squeeze` fewer; here they become clips, with as few moves from round to round as
//! may be.

mod draft;
mod needs;
mod plane;
mod squeeze;

use loomproof_core::wire::{LeadId, MAX_LEADS, Place};

pub use needs::Needs;

use super::propose::{clipped, needed, propose_within};
use super::{Clip, Hookup, HookupError, Mated, Point, Within};
use crate::circuit::build;
use crate::plan::model::Job;

/// A hook-up in as many rounds as the probe's leads make it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rounds {
    /// The clips of each round.
    pub hookups: Vec<Hookup>,
    /// A number of rounds that cannot be beaten with these leads.
    pub least: usize,
}

/// The hook-up of what is within reach for a probe of so many leads:
/// [`propose`](super::propose) where they are enough, otherwise the points that
/// are needed in several rounds.
///
/// # Errors
/// [`HookupError`] when there is nothing to touch, or the probe cannot do it in
/// any number of rounds.
pub fn rounds(
    job: &Job,
    place: Place,
    leads: usize,
    within: &Within,
) -> Result<Rounds, HookupError> {
    match propose_within(job, place, leads, within) {
        Err(HookupError::TooFewLeads { .. }) => {}
        found => {
            return found.map(|hookup| Rounds {
                hookups: vec![hookup],
                least: 1,
            });
        }
    }
    let mut all = needed(job, place);
    all.retain(|point| within.reaches(point));
    if all.len() > MAX_LEADS {
        return Err(HookupError::TooManyPoints { points: all.len() });
    }
    // The same in every round: nobody pulls connectors apart between them.
    let mated = Mated::of(job, place, all.iter().map(Point::part));
    let model = build(job, &clipped(place, mated.clone(), all.iter().cloned()))
        .map_err(|error| HookupError::Circuit(error.to_string()))?;
    let needs = Needs::of(&model.layout());
    let drafted = draft::draft(&needs, leads).ok_or(HookupError::TooFewLeads {
        needed: all.len(),
        leads,
    })?;
    let least = needs.least_rounds(leads);
    let fewest = squeeze::squeeze(&needs, leads, least, drafted);
    Ok(Rounds {
        hookups: clips((place, &mated), &all, in_turn(fewest)),
        least,
    })
}

/// The order of rounds in which most clips stay from one to the next: from each
/// to the one that shares most with it.
fn in_turn(mut rounds: Vec<Vec<usize>>) -> Vec<Vec<usize>> {
    let mut order: Vec<Vec<usize>> = Vec::with_capacity(rounds.len());
    while !rounds.is_empty() {
        let shared = |round: &Vec<usize>| {
            let last = order.last().into_iter().flatten();
            last.filter(|point| round.contains(point)).count()
        };
        // The first of equals: nearest by the plan.
        let best = (0..rounds.len())
            .rev()
            .max_by_key(|at| rounds.get(*at).map_or(0, shared))
            .unwrap_or_default();
        order.push(rounds.remove(best));
    }
    order
}

/// Probe leads on the points of each round; a point that is clipped in the round
/// before keeps its lead.
fn clips(
    (place, mated): (Place, &Mated),
    points: &[Point],
    rounds: Vec<Vec<usize>>,
) -> Vec<Hookup> {
    let mut before: Vec<Option<usize>> = Vec::new();
    let mut hookups = Vec::new();
    for mut round in rounds {
        round.sort_unstable();
        let mut now: Vec<Option<usize>> = before
            .iter()
            .map(|point| point.filter(|point| round.contains(point)))
            .collect();
        for point in round {
            if now.contains(&Some(point)) {
                continue;
            }
            match now.iter_mut().find(|slot| slot.is_none()) {
                Some(free) => *free = Some(point),
                None => now.push(Some(point)),
            }
        }
        let clip = |(point, lead): (&Option<usize>, u8)| {
            Some(Clip {
                lead: LeadId(lead),
                point: points.get((*point)?)?.clone(),
            })
        };
        hookups.push(Hookup {
            place,
            clips: now.iter().zip(0..).filter_map(clip).collect(),
            mated: mated.clone(),
        });
        before = now;
    }
    hookups
}

#[cfg(test)]
mod tests {
    use proptest::collection::vec;
    use proptest::prelude::*;

    use super::*;

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]

        #[test]
        fn rounds_meet_every_need(
            sizes in vec(1_usize..5, 1..40),
            chassis in 0_usize..10,
            leads in 2_usize..40,
        ) {
            let mut next = 0..;
            let nets = sizes.iter().map(|points| next.by_ref().take(*points).collect()).collect();
            let needs = Needs { nets, chassis: next.take(chassis).collect() };
            let drafted = draft::draft(&needs, leads).unwrap();
            let least = needs.least_rounds(leads);
            let fewest = squeeze::squeeze(&needs, leads, least, drafted.clone());
            for rounds in [&drafted, &fewest] {
                prop_assert!(needs.met_by(rounds));
                prop_assert!(rounds.len() >= least);
                prop_assert!(rounds.iter().all(|round| round.len() <= leads));
            }
            prop_assert!(fewest.len() <= drafted.len());
        }
    }

    #[test]
    fn a_point_that_stays_keeps_its_lead() {
        let points: Vec<Point> = (0..5).map(|n| Point::Ring(format!("G{n}"))).collect();
        let hookups = clips(
            (Place::Bench, &Mated::default()),
            &points,
            vec![vec![0, 1, 2], vec![2, 3, 0], vec![4, 3]],
        );
        let spelled: Vec<Vec<String>> = hookups
            .iter()
            .map(|hookup| {
                let clip = |clip: &Clip| format!("{} {}", clip.lead, clip.point);
                hookup.clips.iter().map(clip).collect()
            })
            .collect();
        assert_eq!(spelled[0], ["P1 G0", "P2 G1", "P3 G2"]);
        assert_eq!(spelled[1], ["P1 G0", "P2 G3", "P3 G2"]);
        assert_eq!(spelled[2], ["P1 G4", "P2 G3"]);
    }
}

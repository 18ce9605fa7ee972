//! What can happen to a probe lead: which points are touched, which are near
//! each other.

use loomproof_core::wire::Place;

use super::catalogue::{beside, host, led};
use crate::hookup::Point;
use crate::plan::model::{End, Job};

/// Whether a probe lead on this point meets anything, by the plan.
pub(super) fn meets_something(job: &Job, place: Place, point: &Point) -> bool {
    match point {
        Point::Cavity {
            connector, cavity, ..
        } => {
            led(job, connector, *cavity)
                || (place == Place::Vehicle && host(job, connector, *cavity))
        }
        _ => true,
    }
}

/// Whether two points are reached together, so that their clips are easily
/// exchanged: in one connector, at one part or plug half, or taps and rings at
/// one place. An empty cavity counts with the cavities beside it alone.
pub(super) fn together(job: &Job, place: Place, one: &Point, other: &Point) -> bool {
    let meets = |point| meets_something(job, place, point);
    match (one, other) {
        (
            Point::Cavity {
                connector,
                cavity,
                side,
            },
            Point::Cavity {
                connector: same,
                cavity: with,
                side: its_side,
            },
        ) => {
            let near = || {
                let found = job.connectors.iter().find(|c| c.name == *connector);
                found.is_some_and(|c| beside(c, *cavity).contains(with))
            };
            connector == same
                && side == its_side
                && match (meets(one), meets(other)) {
                    (true, true) => true,
                    (false, false) => false,
                    _ => near(),
                }
        }
        (Point::Cavity { .. }, _) | (_, Point::Cavity { .. }) => false,
        _ => match (one.end(), other.end()) {
            (End::Part(a, _), End::Part(b, _)) => a == b,
            (End::Plug(a, half, _), End::Plug(b, its, _)) => a == b && half == its,
            (End::Tap(a) | End::Ring(a), End::Tap(b) | End::Ring(b)) => {
                job.place_of(&a).is_some() && job.place_of(&a) == job.place_of(&b)
            }
            _ => false,
        },
    }
}

//! What the current did after switching on.

use std::time::Duration;

use loomproof_core::units::Amperes;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Modules switch their lamps and motors on for a moment to try them, right after they
/// got power; what goes off by itself within this time is no fault (`common practice`:
/// lamp checks last three to five seconds).
pub const LAMP_CHECK: Duration = Duration::from_secs(8);

/// The current is at rest when it kept to itself for so long.
pub const RESTS: Duration = Duration::from_secs(5);

/// So long it is watched: a lamp check, and rest after it.
pub const WATCHED: Duration = Duration::from_secs(15);

/// From this part of the limit on it is the limit that is seen, not the vehicle (bench
/// supplies limit to some percent, `common practice`).
const LIMITED: f64 = 0.9;

/// What differs less from the current at rest is none of its own: a part of it, and
/// amperes.
const ALIKE: (f64, f64) = (0.2, 0.05);

/// What the current did.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Course {
    /// The most that flowed, amperes.
    pub highest_amperes: f64,
    /// What flowed at the end, amperes.
    pub rest_amperes: f64,
    /// How long more flowed after switching on, seconds; null where it was not watched
    /// but typed, or where it was at rest from the beginning.
    pub more_for_seconds: Option<f64>,
    /// Whether it came to rest within the time.
    pub rests: bool,
    /// Whether the limit holds it down at the end.
    pub limited: bool,
}

impl Course {
    /// Of two currents that somebody read: the most right after switching on, and what
    /// flowed when lamp checks were over.
    #[must_use]
    pub fn typed(highest: Amperes, rest: Amperes, limit: Amperes) -> Self {
        Self {
            highest_amperes: round(highest.0.max(rest.0)),
            rest_amperes: round(rest.0),
            more_for_seconds: None,
            rests: true,
            limited: rest.0 >= limit.0 * LIMITED,
        }
    }

    /// Of samples since switching on; `None` of none.
    #[must_use]
    pub fn of(samples: &[(Duration, Amperes)], limit: Amperes) -> Option<Self> {
        let (end, _) = samples.last()?;
        let from = end.saturating_sub(RESTS);
        let mut last: Vec<f64> = samples
            .iter()
            .filter(|(at, _)| *at >= from)
            .map(|(_, amperes)| amperes.0)
            .collect();
        last.sort_by(f64::total_cmp);
        let rest = *last.get(last.len() / 2)?;
        let apart = ALIKE.1.max(rest.abs() * ALIKE.0);
        let other = |amperes: f64| (amperes - rest).abs() > apart;
        let more = samples.iter().rev().find(|(_, it)| it.0 - rest > apart);
        let highest = samples.iter().map(|(_, it)| it.0).fold(rest, f64::max);
        Some(Self {
            highest_amperes: round(highest),
            rest_amperes: round(rest),
            more_for_seconds: more.map(|(at, _)| round(at.as_secs_f64())),
            rests: *end >= RESTS && !last.iter().any(|it| other(*it)),
            limited: rest >= limit.0 * LIMITED,
        })
    }
}

fn round(value: f64) -> f64 {
    (value * 1e3).round() / 1e3
}

#[cfg(test)]
mod tests {
    use super::*;

    fn samples(amperes: impl Fn(f64) -> f64) -> Vec<(Duration, Amperes)> {
        (0..=30)
            .map(|half| {
                let at = f64::from(half) * 0.5;
                (Duration::from_secs_f64(at), Amperes(amperes(at)))
            })
            .collect()
    }

    const LIMIT: Amperes = Amperes(3.0);

    #[test]
    fn a_lamp_check_is_no_fault() {
        let course = Course::of(&samples(|at| if at < 4.0 { 3.0 } else { 0.2 }), LIMIT).unwrap();
        assert_eq!(course.highest_amperes, 3.0);
        assert_eq!(course.rest_amperes, 0.2);
        assert_eq!(course.more_for_seconds, Some(3.5));
        assert!(course.rests && !course.limited, "{course:?}");
    }

    #[test]
    fn what_stays_at_the_limit_is_one() {
        let course = Course::of(&samples(|_| 2.95), LIMIT).unwrap();
        assert!(course.limited && course.rests, "{course:?}");
        assert_eq!(course.more_for_seconds, None);
        let read = Course::typed(Amperes(3.0), Amperes(2.9), LIMIT);
        assert!(read.limited);
        assert!(!Course::typed(Amperes(3.0), Amperes(0.3), LIMIT).limited);
    }

    #[test]
    fn what_comes_and_goes_does_not_rest() {
        let course = Course::of(&samples(|at| 0.2 + (at % 2.0)), LIMIT).unwrap();
        assert!(!course.rests, "{course:?}");
        // Neither does what was watched for a moment only.
        let short = samples(|_| 0.2);
        assert!(!Course::of(&short[..4], LIMIT).unwrap().rests);
        assert_eq!(Course::of(&[], LIMIT), None);
    }
}

//! Sees by itself that somebody moved a switch.

use std::time::{Duration, Instant};

use loomproof_core::units::Volts;
use loomproof_core::wire::LeadId;

use super::observe::{ObserveError, Observed, Patience, observe};
use crate::link::Link;

/// How long somebody has to move a switch, and how long the points must rest then.
const MOVES_WITHIN: Duration = Duration::from_secs(180);
const RESTS_FOR: Duration = Duration::from_millis(1500);

/// A point that moved by this much shows that a switch was moved.
const MOVED: f64 = 1.0;

fn moved(one: &[Observed], other: &[Observed]) -> bool {
    one.iter().zip(other).any(|(one, other)| {
        (one.on.0 - other.on.0).abs() > MOVED || (one.off.0 - other.off.0).abs() > MOVED
    })
}

/// Waits until a point is elsewhere than before, and then until all rest; `false`
/// where nothing moved for three minutes.
///
/// # Errors
/// [`ObserveError`] when link or probe fail.
pub fn until_moved(
    link: &mut dyn Link,
    leads: &[LeadId],
    before: &[Observed],
    supply: Volts,
) -> Result<bool, ObserveError> {
    let began = Instant::now();
    let mut last: Option<Vec<Observed>> = None;
    let mut rested: Option<Instant> = None;
    while began.elapsed() < MOVES_WITHIN {
        let now = observe(link, leads, supply, Patience::FULL)?;
        let rests = last.as_ref().is_some_and(|last| !moved(last, &now));
        if moved(before, &now) && rests {
            let since = *rested.get_or_insert_with(Instant::now);
            if since.elapsed() >= RESTS_FOR {
                return Ok(true);
            }
        } else {
            rested = None;
        }
        last = Some(now);
    }
    Ok(false)
}

//! Before a probe is believed: a short self-test, and what it knows of its clips.

use loomproof_core::self_test::Trouble;
use loomproof_core::wire::{LeadId, Place, Refusal};

use super::Failure;
use crate::circuit::Model;
use crate::hookup::Hookup;
use crate::link::Link;
use crate::probe::nulls::{self, Clips};
use crate::probe::self_test::short;
use crate::probe::words::words;
use crate::ringout::Outcome;

/// What is known of the probe before the ring-out.
pub struct Ready {
    /// The clips that were nulled.
    pub clips: Clips,
    /// What stood in the way of driving, so that its leads were not tested.
    refused: Option<Refusal>,
}

impl Ready {
    /// Whether readings of this probe can be believed. A ring-out that was refused
    /// as the test was needs none.
    ///
    /// # Errors
    /// [`Failure`] when the leads were not tested and the ring-out drove them.
    pub fn stands(&self, outcome: &Outcome) -> Result<(), Failure> {
        let Some(refusal) = self.refused else {
            return Ok(());
        };
        if !matches!(outcome, Outcome::Complete(_)) {
            return Ok(());
        }
        let why = match refusal {
            Refusal::Live(..) | Refusal::Moves(..) | Refusal::Tripped => {
                "something was live or moved then"
            }
            Refusal::Chassis(_) => "the chassis leads did not agree then",
            Refusal::NotArmed => "it started anew then, or another program spoke to it",
            _ => "it would not drive then",
        };
        Err(Failure::probe(format!(
            "the probe's leads could not be tested before the ring-out, because {why}; ring out \
             again"
        )))
    }
}

/// Lets the probe show that the leads of a hook-up work where they are clipped, and
/// gives the expected circuit the clips that were nulled. What is live or moves is
/// left to the ring-out itself, which says it of the harness.
///
/// # Errors
/// [`Failure`] with everything that is wrong with the probe.
pub fn make_ready(
    link: &mut dyn Link,
    hookup: &Hookup,
    model: &mut Model,
) -> Result<Ready, Failure> {
    let leads: Vec<LeadId> = hookup.clips.iter().map(|clip| clip.lead).collect();
    let refused = works(link, &leads, hookup.place)?;
    let clips = nulls::kept(link)?;
    nulls::apply(model, &clips);
    Ok(Ready { clips, refused })
}

/// How often the probe is tested until a test finds nothing, or the same once more.
const TESTS: usize = 4;

/// Lets the probe show that these leads work where they are; what stood in the way of
/// driving, so that they were not tested.
///
/// # Errors
/// [`Failure`] with everything that is wrong with the probe.
pub fn works(
    link: &mut dyn Link,
    leads: &[LeadId],
    place: Place,
) -> Result<Option<Refusal>, Failure> {
    let mut leads = leads.to_vec();
    let mut shown = short(link, &leads, place)?;
    let mut before: Vec<Trouble> = Vec::new();
    for _ in 1..TESTS {
        // A joint of the harness that lets go meanwhile looks like one; what is wrong
        // with the probe is there again.
        let again = |trouble: &Trouble| before.iter().any(|was| was.is_of_the_same(*trouble));
        if shown.troubles.is_empty() || shown.troubles.iter().any(again) {
            break;
        }
        before.append(&mut shown.troubles);
        // The other way round, so that what comes and goes meets other leads.
        leads.reverse();
        shown = short(link, &leads, place)?;
    }
    if !shown.troubles.is_empty() {
        let lines = shown.troubles.iter().map(words);
        let lines: Vec<String> = lines.map(|w| format!(" - {} {}", w.say, w.what)).collect();
        return Err(Failure::probe(format!(
            "the probe itself is at fault, so there is no verdict on the harness:\n{}\n\
             Unclip it and run `loomproof probe self-test`.",
            lines.join("\n")
        )));
    }
    Ok(shown.refused)
}

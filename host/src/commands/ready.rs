//! Before a probe is believed: a short self-test, and what it knows of its clips.

use loomproof_core::wire::LeadId;

use super::Failure;
use crate::circuit::Model;
use crate::hookup::Hookup;
use crate::link::Link;
use crate::probe::nulls::{self, Clips};
use crate::probe::self_test::short;
use crate::probe::words::words;

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
) -> Result<Clips, Failure> {
    let leads: Vec<LeadId> = hookup.clips.iter().map(|clip| clip.lead).collect();
    let shown = short(link, &leads, hookup.place)?;
    if !shown.troubles.is_empty() {
        let lines = shown.troubles.iter().map(words);
        let lines: Vec<String> = lines.map(|w| format!(" - {} {}", w.say, w.what)).collect();
        return Err(Failure::probe(format!(
            "the probe itself is at fault, so there is no verdict on the harness:\n{}\n\
             Unclip it and run `loomproof probe self-test`.",
            lines.join("\n")
        )));
    }
    let clips = nulls::kept(link)?;
    nulls::apply(model, &clips);
    Ok(clips)
}

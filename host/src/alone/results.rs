//! Collects what a probe read by itself.

use loomproof_core::check::CRC;
use loomproof_core::image::{Head, KEPT_HEAD, Kept, READINGS_AT, reading_of};
use loomproof_core::wire::{Fetch, Forget, Reading, Refusal, Reply, Request};

use crate::circuit::build;
use crate::hookup::propose;
use crate::link::{Link, LinkError};
use crate::plan::Plan;
use crate::plan::model::Job;
use crate::probe::nulls::{Clips, apply};
use crate::ringout::{Rung, Taken};

/// Why results could not be collected.
#[derive(Debug, thiserror::Error)]
pub enum ResultsError {
    /// The way to the probe failed.
    #[error(transparent)]
    Link(#[from] LinkError),
    /// The probe would not give one.
    #[error("the probe did not give what it keeps ({0:?}); collect again")]
    Refused(Refusal),
    /// A result is damaged.
    #[error("result {0} in the probe is damaged and cannot be used; ring that harness out again")]
    Damaged(u32),
    /// A result is of another plan.
    #[error(
        "result {number} was taken with another plan file ({found}); collect it with the file it \
         was loaded from"
    )]
    OtherPlan {
        /// Number of the result.
        number: u32,
        /// What it was taken with.
        found: String,
    },
    /// The plan was compiled otherwise.
    #[error(
        "result {0} was rung out by a plan that was compiled otherwise (other --answer, --where, nulled \
         clips, or another version of this program); give the same --answer and --where as when it was \
         loaded"
    )]
    OtherImage(u32),
    /// The variant cannot be made again.
    #[error("{0}")]
    Model(String),
}

/// One result as it was kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Collected {
    /// Where it lies in the probe.
    pub slot: u8,
    /// What it is of.
    pub kept: Kept,
    /// Its readings, in the order of the scan.
    pub readings: Vec<Reading>,
}

/// Everything whole that a probe keeps, oldest first.
///
/// # Errors
/// [`ResultsError`]; nothing is lost by one.
pub fn collect(link: &mut dyn Link) -> Result<Vec<Collected>, ResultsError> {
    let mut found = Vec::new();
    let mut slot = 0;
    loop {
        let (slots, bytes) = fetch(link, slot)?;
        if let Some((number, bytes)) = bytes {
            let collected = read(slot, &bytes).filter(|it| it.kept.number == number);
            found.push(collected.ok_or(ResultsError::Damaged(number))?);
        }
        slot += 1;
        if slot >= slots {
            break;
        }
    }
    found.sort_by_key(|collected| collected.kept.number);
    Ok(found)
}

/// How many places there are, and the result in this one.
type Fetched = (u8, Option<(u32, Vec<u8>)>);

fn fetch(link: &mut dyn Link, slot: u8) -> Result<Fetched, ResultsError> {
    let mut bytes = Vec::new();
    loop {
        let at = u32::try_from(bytes.len()).unwrap_or(u32::MAX);
        match link.exchange(&Request::Result(Fetch { slot, at }))? {
            Reply::Result(piece) => {
                let Some(number) = piece.number else {
                    return Ok((piece.slots, None));
                };
                bytes.extend(&piece.bytes);
                if piece.bytes.is_empty() || bytes.len() >= piece.length as usize {
                    return Ok((piece.slots, Some((number, bytes))));
                }
            }
            Reply::Refused(refusal) => return Err(ResultsError::Refused(refusal)),
            _ => return Ok((0, None)),
        }
    }
}

fn read(slot: u8, bytes: &[u8]) -> Option<Collected> {
    let kept = Kept::of(bytes.first_chunk::<KEPT_HEAD>()?)?;
    let words = bytes.get(READINGS_AT as usize..kept.length() as usize)?;
    if CRC.checksum(words) != kept.check {
        return None;
    }
    let readings = words.chunks_exact(4);
    let readings = readings.filter_map(|word| word.first_chunk().map(|word| reading_of(*word)));
    Some(Collected {
        slot,
        kept,
        readings: readings.collect(),
    })
}

/// Has a probe forget a result.
///
/// # Errors
/// [`ResultsError`].
pub fn forget(link: &mut dyn Link, collected: &Collected) -> Result<(), ResultsError> {
    let request = Request::Forget(Forget {
        slot: collected.slot,
        number: collected.kept.number,
    });
    match link.exchange(&request)? {
        Reply::Refused(refusal) => Err(ResultsError::Refused(refusal)),
        _ => Ok(()),
    }
}

/// A collected result as the scan that it was, to be judged and diagnosed like any
/// other. `image` is the plan compiled anew for the clips of this probe.
///
/// # Errors
/// [`ResultsError`] where it belongs to something else.
pub fn rung(
    plan: &Plan,
    (image, leads): (&[u8], u8),
    clips: &Clips,
    collected: &Collected,
) -> Result<(Job, Rung), ResultsError> {
    let kept = &collected.kept;
    let found: String = kept
        .digest
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect();
    if found != plan.digest() {
        let found = found.chars().take(12).collect();
        return Err(ResultsError::OtherPlan {
            number: kept.number,
            found,
        });
    }
    let store = &mut &*image;
    let other = |_| ResultsError::OtherImage(kept.number);
    let head = Head::open(store).map_err(other)?;
    if head.check() != kept.image {
        return Err(ResultsError::OtherImage(kept.number));
    }
    let mut answers = std::collections::BTreeMap::new();
    for (option, at) in plan.options().iter().zip(0..) {
        let answer = head.answer(store, kept.variant, at).map_err(other)?;
        if let Some(choice) = option.choices.get(usize::from(answer)) {
            answers.insert(option.name.clone(), choice.clone());
        }
    }
    let variant = |_| ResultsError::OtherImage(kept.number);
    let job = plan.resolve(&answers).map_err(variant)?;
    let model = |error: String| ResultsError::Model(error);
    let hookup = propose(&job, head.place(), usize::from(leads))
        .map_err(|error| model(error.to_string()))?;
    let mut circuit = build(&job, &hookup).map_err(|error| model(error.to_string()))?;
    apply(&mut circuit, clips);
    let mut readings = collected.readings.iter().copied();
    let mut taken = Vec::new();
    let mut at = 0;
    while let Some(planned) = head.step(store, kept.variant, at).map_err(other)? {
        let count = planned.step.senses.len();
        let readings: Vec<Reading> = readings.by_ref().take(count).collect();
        if readings.len() != count {
            return Err(ResultsError::Damaged(kept.number));
        }
        taken.push(Taken { planned, readings });
        at += 1;
    }
    let rung = Rung {
        hookup,
        model: circuit,
        taken,
        clips: clips.clone(),
        set_anew: false,
    };
    if readings.next().is_some() || !rung.is_whole() {
        return Err(ResultsError::Damaged(kept.number));
    }
    Ok((job, rung))
}

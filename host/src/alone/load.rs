//! Loads a compiled plan into a probe.

use loomproof_core::wire::{Carried, PAGE, Page, Refusal, Reply, Request};

use super::CompileError;
use crate::link::{Link, LinkError};

/// Why a plan is not in the probe.
#[derive(Debug, thiserror::Error)]
pub enum LoadError {
    /// The way to the probe failed.
    #[error("{0}\nThe plan in the probe is not whole; load it again.")]
    Link(#[from] LinkError),
    /// It does not fit.
    #[error(transparent)]
    Compile(#[from] CompileError),
    /// The probe has no memory for a plan.
    #[error("this probe cannot carry a plan: it has no memory for one")]
    NoRoom,
    /// The probe would not keep a page.
    #[error(
        "the probe's memory did not take the plan; load it again, and if it stays, have the memory \
         looked at ({0:?})"
    )]
    Refused(Refusal),
    /// What is in the probe after all is not what was sent.
    #[error("the plan did not reach the probe whole; load it again")]
    NotWhole,
}

/// Loads an image; `on` hears after each page how many bytes are there. What is there
/// already is not loaded again: `false` is returned then.
///
/// A load that is broken off leaves an image that the probe refuses; loading
/// again begins from the start.
///
/// # Errors
/// [`LoadError`].
pub fn load(
    link: &mut dyn Link,
    image: &[u8],
    on: &mut dyn FnMut(usize),
) -> Result<bool, LoadError> {
    let (room, before) = carried(link)?;
    if room == 0 {
        return Err(LoadError::NoRoom);
    }
    let bytes = image.len();
    if bytes > room as usize {
        return Err(CompileError::TooLong { bytes, room }.into());
    }
    if is(before, image) {
        return Ok(false);
    }
    for (page, at) in image.chunks(PAGE).zip((0..).step_by(PAGE)) {
        let request = Request::Load(Page {
            at,
            bytes: page.iter().copied().collect(),
        });
        if let Reply::Refused(refusal) = link.exchange(&request)? {
            return Err(LoadError::Refused(refusal));
        }
        on((at as usize + page.len()).min(bytes));
    }
    let (_, after) = carried(link)?;
    if is(after, image) {
        Ok(true)
    } else {
        Err(LoadError::NotWhole)
    }
}

/// Room for a plan, and the one that is there.
fn carried(link: &mut dyn Link) -> Result<(u32, Carried), LoadError> {
    match link.exchange(&Request::Plan)? {
        Reply::Plan { room, carried } => Ok((room, carried)),
        Reply::Refused(refusal) => Err(LoadError::Refused(refusal)),
        _ => Err(LoadError::NotWhole),
    }
}

/// Whether that is this image, by its check sum and length.
fn is(carried: Carried, image: &[u8]) -> bool {
    let sum = image.last_chunk().map(|sum| u32::from_le_bytes(*sum));
    matches!(carried, Carried::Plan { check, length }
        if Some(check) == sum && length as usize == image.len())
}

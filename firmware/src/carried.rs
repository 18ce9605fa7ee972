//! The plan and the results that the probe carries along, as the host asks for them.

use loomproof_core::image::{Head, ImageError, KEPT_HEAD, Kept};
use loomproof_core::wire::{Carried, Fetch, Forget, PAGE, Page, PageBytes, Piece, Refusal, Reply};

use crate::memory::{Area, Memory, MemoryError, PlanIn, SLOT, SLOTS};

impl From<MemoryError> for Refusal {
    fn from(_: MemoryError) -> Self {
        Self::Memory
    }
}

/// Which plan there is.
#[inline(never)]
pub fn plan(memory: &mut impl Memory) -> Reply {
    let room = memory.room(Area::Plan);
    let carried = match Head::open(&mut PlanIn(memory)) {
        Ok(head) => Carried::Plan {
            check: head.check(),
            length: head.length(),
        },
        Err(ImageError::Nothing) => Carried::Nothing,
        Err(ImageError::Unreadable) if room == 0 => Carried::Nothing,
        Err(_) => Carried::Damaged,
    };
    Reply::Plan { room, carried }
}

/// Keeps a page of a plan; erases what it is the first page of.
///
/// # Errors
/// [`Refusal::BadStep`] for a page that is none, [`Refusal::Memory`].
#[inline(never)]
pub fn load(memory: &mut impl Memory, page: &Page) -> Result<Reply, Refusal> {
    if !page.at.is_multiple_of(PAGE as u32) || page.bytes.is_empty() {
        return Err(Refusal::BadStep);
    }
    if page.at.is_multiple_of(memory.block()) {
        memory.erase(Area::Plan, page.at, PAGE as u32)?;
    }
    memory.write(Area::Plan, page.at, &page.bytes)?;
    let next = page.at.saturating_add(PAGE as u32);
    Ok(Reply::Loaded { next })
}

/// How many places for results there are.
pub fn slots(memory: &impl Memory) -> u8 {
    if memory.room(Area::Results) == 0 {
        0
    } else {
        SLOTS
    }
}

/// The result in a place, if there is a whole one.
#[inline(never)]
pub fn kept(memory: &mut impl Memory, slot: u8) -> Option<Kept> {
    let mut head = [0; KEPT_HEAD];
    let at = u32::from(slot).checked_mul(SLOT)?;
    memory.read(Area::Results, at, &mut head).ok()?;
    Kept::of(&head)
}

/// A piece of a result.
///
/// # Errors
/// [`Refusal::BadStep`] for a place that there is not, [`Refusal::Memory`].
#[inline(never)]
pub fn result(memory: &mut impl Memory, fetch: Fetch) -> Result<Reply, Refusal> {
    let slots = slots(memory);
    if fetch.slot >= slots.max(1) {
        return Err(Refusal::BadStep);
    }
    let mut piece = Piece {
        slots,
        number: None,
        length: 0,
        bytes: PageBytes::new(),
    };
    if let Some(kept) = kept(memory, fetch.slot) {
        piece.number = Some(kept.number);
        piece.length = kept.length();
        let left = piece.length.saturating_sub(fetch.at).min(PAGE as u32);
        let size = left as usize;
        let fits = piece.bytes.resize(size, 0);
        fits.map_err(|_| Refusal::Memory)?;
        if size > 0 {
            let at = u32::from(fetch.slot) * SLOT;
            memory.read(Area::Results, at.saturating_add(fetch.at), &mut piece.bytes)?;
        }
    }
    Ok(Reply::Result(piece))
}

/// Forgets a result; one that is not there is forgotten already.
///
/// # Errors
/// [`Refusal::Memory`].
#[inline(never)]
pub fn forget(memory: &mut impl Memory, forget: Forget) -> Result<Reply, Refusal> {
    if kept(memory, forget.slot).is_some_and(|kept| kept.number == forget.number) {
        memory.erase(Area::Results, u32::from(forget.slot) * SLOT, SLOT)?;
    }
    Ok(Reply::Forgotten)
}

//! Numbers and texts, one after the other.

use super::{ImageError, Store, Text};
use crate::units::{MicroVolts, Micros};
use crate::wire::{LeadId, LeadSet};

/// In front of a lead set that is written out as its bits.
const BITS: u8 = u8::MAX;

/// Reads on from a place, never past the end.
#[derive(Debug)]
pub(super) struct Cursor<'s, S> {
    pub(super) store: &'s mut S,
    pub(super) at: u32,
    pub(super) end: u32,
}

impl<S: Store> Cursor<'_, S> {
    pub(super) fn take<const N: usize>(&mut self) -> Result<[u8; N], ImageError> {
        let mut bytes = [0; N];
        self.fill(&mut bytes)?;
        Ok(bytes)
    }

    // Not inlined, as all here that many call: the flash is small.
    #[inline(never)]
    fn fill(&mut self, bytes: &mut [u8]) -> Result<(), ImageError> {
        let next = u32::try_from(bytes.len()).ok();
        let next = next.and_then(|n| self.at.checked_add(n));
        let next = next
            .filter(|next| *next <= self.end)
            .ok_or(ImageError::Content)?;
        self.store.read(self.at, bytes)?;
        self.at = next;
        Ok(())
    }

    pub(super) fn u8(&mut self) -> Result<u8, ImageError> {
        let [byte] = self.take()?;
        Ok(byte)
    }

    #[inline(never)]
    pub(super) fn u16(&mut self) -> Result<u16, ImageError> {
        Ok(u16::from_le_bytes(self.take()?))
    }

    #[inline(never)]
    pub(super) fn u32(&mut self) -> Result<u32, ImageError> {
        Ok(u32::from_le_bytes(self.take()?))
    }

    pub(super) fn micros(&mut self) -> Result<Micros, ImageError> {
        self.u32().map(Micros)
    }

    pub(super) fn microvolts(&mut self) -> Result<MicroVolts, ImageError> {
        Ok(MicroVolts(i32::from_le_bytes(self.take()?)))
    }

    #[inline(never)]
    pub(super) fn text<const N: usize>(&mut self) -> Result<Text<N>, ImageError> {
        Text::of(self.take()?).ok_or(ImageError::Content)
    }

    #[inline(never)]
    /// A few leads one by one, many as bits.
    pub(super) fn leads(&mut self) -> Result<LeadSet, ImageError> {
        let count = self.u8()?;
        if count == BITS {
            return Ok(LeadSet(self.take()?));
        }
        if usize::from(count) >= size_of::<LeadSet>() {
            return Err(ImageError::Content);
        }
        let mut leads = LeadSet::EMPTY;
        for _ in 0..count {
            leads.insert(LeadId(self.u8()?));
        }
        if leads.len() == usize::from(count) {
            Ok(leads)
        } else {
            Err(ImageError::Content)
        }
    }
}

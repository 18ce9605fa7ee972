//! Keeps what a run reads, page by page; the head is written last.

use heapless::Vec;
use loomproof_core::check::CRC;
use loomproof_core::image::{Kept, MAX_READINGS, READINGS_AT, word_of};
use loomproof_core::wire::{PAGE, Reading};

use crate::carried::{kept, slots};
use crate::memory::{Area, Memory, MemoryError, SLOT};

/// A result that is being written.
#[derive(Debug)]
pub struct Keeping {
    /// Where, and its number; `None` where it cannot be kept.
    place: Option<(u32, u32)>,
    page: Vec<u8, PAGE>,
    readings: u16,
}

impl Keeping {
    /// Nothing is kept.
    pub const fn none() -> Self {
        Self {
            place: None,
            page: Vec::new(),
            readings: 0,
        }
    }

    /// Makes room for the next result, in a place without one.
    #[inline(never)]
    pub fn begin(&mut self, memory: &mut impl Memory) {
        self.page.clear();
        self.readings = 0;
        let (mut free, mut last) = (None, 0);
        for slot in 0..slots(memory) {
            match kept(memory, slot) {
                Some(kept) => last = last.max(kept.number),
                None => free = free.or(Some(u32::from(slot) * SLOT)),
            }
        }
        self.place = free.map(|at| (at, last.saturating_add(1)));
        if let Some((at, _)) = self.place
            && memory.erase(Area::Results, at, SLOT).is_err()
        {
            self.place = None;
        }
    }

    /// Adds readings; from the first that cannot be kept on, none of the run is.
    #[inline(never)]
    pub fn add(&mut self, memory: &mut impl Memory, readings: &[Reading]) {
        for reading in readings {
            if self.page.is_full() && self.write(memory).is_err() {
                self.place = None;
            }
            if self.place.is_none() || self.readings >= MAX_READINGS {
                self.place = None;
                return;
            }
            for byte in word_of(*reading) {
                let _ = self.page.push(byte);
            }
            self.readings += 1;
        }
    }

    /// Writes the page that was filled.
    #[inline(never)]
    fn write(&mut self, memory: &mut impl Memory) -> Result<(), MemoryError> {
        let (at, _) = self.place.ok_or(MemoryError)?;
        let bytes = self.page.len() as u32;
        let end = READINGS_AT + 4 * u32::from(self.readings);
        memory.write(Area::Results, at + end.saturating_sub(bytes), &self.page)?;
        self.page.clear();
        Ok(())
    }

    /// Writes the rest and the head; false where the result is not kept.
    #[inline(never)]
    pub fn end(&mut self, memory: &mut impl Memory, head: Kept) -> bool {
        let Some((at, number)) = self.place else {
            return false;
        };
        let written = self.write(memory).and_then(|()| {
            let check = self.check(memory, at)?;
            let head = Kept {
                number,
                readings: self.readings,
                check,
                ..head
            };
            memory.write(Area::Results, at, &head.bytes())
        });
        self.place = None;
        written.is_ok()
    }

    fn check(&self, memory: &mut impl Memory, at: u32) -> Result<u32, MemoryError> {
        let mut digest = CRC.digest();
        let mut word = [0; 4];
        for reading in 0..u32::from(self.readings) {
            memory.read(Area::Results, at + READINGS_AT + 4 * reading, &mut word)?;
            digest.update(&word);
        }
        Ok(digest.finalize())
    }
}

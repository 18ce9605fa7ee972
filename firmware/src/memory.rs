//! What the probe keeps while it is switched off: the clips' resistance, a plan
//! to ring out by itself, and the results of that.
//!
//! [`Flash`] keeps the clips in two erase blocks of any NOR flash (embedded-storage).
//! A record goes into the block that does not hold the newest one, so whatever
//! moment the power fails, the newest whole record is still there: its
//! CRC is written last. No ready-made log or map is used, because one record of
//! fixed size in two blocks needs neither an allocator nor an executor.

use embedded_storage::nor_flash::NorFlash;
use loomproof_core::check::CRC;
use loomproof_core::image::{self, MAX_IMAGE, Unreadable};
use loomproof_core::null::clips_check;
use loomproof_core::wire::{ClipOhms, LeadId, MAX_LEADS, Nulls};

/// Bytes of a record: number, values, CRC.
const RECORD: usize = 4 + 2 * MAX_LEADS + 4;

/// A record filled up to the largest write unit that fits here.
const ROOM: usize = RECORD.next_multiple_of(UNIT);

/// The largest write unit of a flash that [`Flash`] takes: the RP2040's page.
const UNIT: usize = 256;

/// The memory did not take or give what it should.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct MemoryError;

/// What is kept beside the clips.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Area {
    /// The compiled plan.
    Plan,
    /// Results, one in each [`SLOT`].
    Results,
}

/// Bytes for one result.
pub const SLOT: u32 = 8 * 1024;

/// How many results are kept until they are collected.
pub const SLOTS: u8 = 16;

impl Area {
    const fn bytes(self) -> u32 {
        match self {
            Self::Plan => MAX_IMAGE,
            Self::Results => SLOT * SLOTS as u32,
        }
    }
}

/// Where the probe keeps what it is to know after it was switched off.
pub trait Memory {
    /// What was kept last; `None` if nothing whole is there.
    fn load(&mut self) -> Option<Clips>;

    /// Keeps it.
    ///
    /// # Errors
    /// [`MemoryError`]; what was kept before is then kept still.
    fn store(&mut self, clips: &Clips) -> Result<(), MemoryError>;

    /// Bytes of an area; 0 where there is none.
    fn room(&self, area: Area) -> u32 {
        let _ = area;
        0
    }

    /// Reads from an area.
    ///
    /// # Errors
    /// [`MemoryError`].
    fn read(&mut self, area: Area, at: u32, into: &mut [u8]) -> Result<(), MemoryError> {
        let _ = (area, at, into);
        Err(MemoryError)
    }

    /// Erases an area from `at` on, for so many bytes; both whole slots, or for a
    /// plan any place within the block that is to be erased.
    ///
    /// # Errors
    /// [`MemoryError`].
    fn erase(&mut self, area: Area, at: u32, bytes: u32) -> Result<(), MemoryError> {
        let _ = (area, at, bytes);
        Err(MemoryError)
    }

    /// Writes a page, or a part that ends it, into what was erased, and reads it again.
    ///
    /// # Errors
    /// [`MemoryError`].
    fn write(&mut self, area: Area, at: u32, bytes: &[u8]) -> Result<(), MemoryError> {
        let _ = (area, at, bytes);
        Err(MemoryError)
    }

    /// Bytes that are erased at once; pages behind the first of such a block are
    /// written without erasing anew.
    fn block(&self) -> u32 {
        1
    }
}

/// The plan in a memory.
#[derive(Debug)]
pub struct PlanIn<'m, M>(pub &'m mut M);

impl<M: Memory> image::Store for PlanIn<'_, M> {
    fn read(&mut self, at: u32, into: &mut [u8]) -> Result<(), Unreadable> {
        self.0.read(Area::Plan, at, into).map_err(|_| Unreadable)
    }
}

/// A probe without memory: what it is told lasts until it is switched off.
#[derive(Debug, Clone, Copy, Default)]
pub struct NoMemory;

impl Memory for NoMemory {
    fn load(&mut self) -> Option<Clips> {
        None
    }

    fn store(&mut self, _: &Clips) -> Result<(), MemoryError> {
        Ok(())
    }
}

/// The resistance of every clip with its probe lead.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Clips([ClipOhms; MAX_LEADS]);

impl Default for Clips {
    fn default() -> Self {
        Self([ClipOhms::NONE; MAX_LEADS])
    }
}

impl Clips {
    /// Check sum of the resistances of the first so many leads, by which a compiled
    /// plan knows the clips that it was made for.
    #[must_use]
    pub fn check(&self, leads: u8) -> u32 {
        clips_check(self.0.iter().take(usize::from(leads)).copied())
    }

    /// As many as a message holds of the probe's `leads`, from `first` on.
    #[must_use]
    pub fn from(&self, first: LeadId, leads: u8) -> Nulls {
        let start = usize::from(first.0);
        let kept = self.0.iter().take(usize::from(leads)).skip(start);
        let mut clips = heapless::Vec::new();
        for clip in kept {
            if clips.push(*clip).is_err() {
                break;
            }
        }
        Nulls { first, clips }
    }

    /// Takes what a message says of some of them.
    pub fn take(&mut self, nulls: &Nulls) {
        let own = self.0.iter_mut().skip(usize::from(nulls.first.0));
        for (own, new) in own.zip(&nulls.clips) {
            *own = *new;
        }
    }

    fn record(&self, number: u32) -> [u8; ROOM] {
        let mut record = [0xFF; ROOM];
        let words = self
            .0
            .iter()
            .flat_map(|ClipOhms(tenths)| tenths.to_le_bytes());
        let body = number.to_le_bytes().into_iter().chain(words);
        let mut digest = CRC.digest();
        let mut place = record.iter_mut();
        for (place, byte) in place.by_ref().zip(body) {
            *place = byte;
            digest.update(&[byte]);
        }
        for (place, byte) in record
            .iter_mut()
            .skip(RECORD - 4)
            .zip(digest.finalize().to_le_bytes())
        {
            *place = byte;
        }
        record
    }

    fn of(record: &[u8]) -> Option<(u32, Self)> {
        let (body, check) = record.get(..RECORD)?.split_at_checked(RECORD - 4)?;
        if CRC.checksum(body).to_le_bytes() != *check {
            return None;
        }
        let (number, words) = body.split_at_checked(4)?;
        let mut clips = Self::default();
        for (clip, word) in clips.0.iter_mut().zip(words.chunks_exact(2)) {
            if let Ok(word) = <[u8; 2]>::try_from(word) {
                *clip = ClipOhms(u16::from_le_bytes(word));
            }
        }
        Some((u32::from_le_bytes(number.try_into().ok()?), clips))
    }
}

/// A NOR flash, from an offset on: two erase blocks for the clips, then the areas.
#[derive(Debug)]
pub struct Flash<F> {
    flash: F,
    offset: u32,
}

impl<F: NorFlash> Flash<F> {
    /// Bytes of one of the two blocks.
    const BLOCK: u32 = {
        assert!(UNIT.is_multiple_of(F::WRITE_SIZE) && UNIT.is_multiple_of(F::READ_SIZE));
        (ROOM.next_multiple_of(F::ERASE_SIZE)) as u32
    };

    /// Keeps all from `offset` on, a multiple of the flash's erase size: the clips in
    /// two blocks, behind them the areas, if they fit there whole.
    pub const fn new(flash: F, offset: u32) -> Self {
        Self { flash, offset }
    }

    /// Bytes that it takes.
    pub const BYTES: u32 = 2 * Self::BLOCK + Area::Plan.bytes() + Area::Results.bytes();

    const ERASE: u32 = {
        assert!(SLOT.is_multiple_of(F::ERASE_SIZE as u32));
        assert!(MAX_IMAGE.is_multiple_of(F::ERASE_SIZE as u32));
        F::ERASE_SIZE as u32
    };

    /// Where a stretch of an area lies in the flash.
    #[inline(never)]
    fn place(&self, area: Area, at: u32, bytes: usize) -> Result<u32, MemoryError> {
        let end = u32::try_from(bytes).ok().and_then(|n| at.checked_add(n));
        if end.is_none_or(|end| end > self.room(area)) {
            return Err(MemoryError);
        }
        let before = match area {
            Area::Plan => 0,
            Area::Results => Area::Plan.bytes(),
        };
        Ok(self.offset + 2 * Self::BLOCK + before + at)
    }

    /// Gives the flash back.
    pub fn release(self) -> F {
        self.flash
    }

    fn kept_in(&mut self, at: u32) -> Option<(u32, Clips)> {
        let mut record = [0; ROOM];
        let start = self.offset.checked_add(at * Self::BLOCK)?;
        self.flash.read(start, &mut record).ok()?;
        Clips::of(&record)
    }

    /// The newest record: its block, number and content. Numbers wrap.
    fn newest(&mut self) -> Option<(u32, u32, Clips)> {
        match (self.kept_in(0), self.kept_in(1)) {
            (Some((first, _)), Some((second, clips)))
                if second.wrapping_sub(first) < u32::MAX / 2 =>
            {
                Some((1, second, clips))
            }
            (Some((number, clips)), _) => Some((0, number, clips)),
            (None, Some((number, clips))) => Some((1, number, clips)),
            (None, None) => None,
        }
    }
}

impl<F: NorFlash> Memory for Flash<F> {
    fn load(&mut self) -> Option<Clips> {
        self.newest().map(|(.., clips)| clips)
    }

    fn store(&mut self, clips: &Clips) -> Result<(), MemoryError> {
        let newest = self.newest();
        if newest.is_some_and(|(.., kept)| kept == *clips) {
            // Every erase wears the flash.
            return Ok(());
        }
        let (at, number) = match newest {
            Some((block, number, _)) => (1 - block, number.wrapping_add(1)),
            None => (0, 0),
        };
        let start = self.offset + at * Self::BLOCK;
        let written = self
            .flash
            .erase(start, start + Self::BLOCK)
            .and_then(|()| self.flash.write(start, &clips.record(number)));
        match (written, self.kept_in(at)) {
            (Ok(()), Some((_, kept))) if kept == *clips => Ok(()),
            _ => Err(MemoryError),
        }
    }

    fn room(&self, area: Area) -> u32 {
        let end = self.offset.checked_add(Self::BYTES);
        let fits = end.is_some_and(|end| end as usize <= self.flash.capacity());
        if fits { area.bytes() } else { 0 }
    }

    fn read(&mut self, area: Area, at: u32, into: &mut [u8]) -> Result<(), MemoryError> {
        let place = self.place(area, at, into.len())?;
        self.flash.read(place, into).map_err(|_| MemoryError)
    }

    fn erase(&mut self, area: Area, at: u32, bytes: u32) -> Result<(), MemoryError> {
        let first = at - at % Self::ERASE;
        let end = at.checked_add(bytes).ok_or(MemoryError)?;
        let end = end.checked_next_multiple_of(Self::ERASE);
        let span = end.ok_or(MemoryError)?.saturating_sub(first);
        let place = self.place(area, first, span as usize)?;
        let erased = self.flash.erase(place, place + span);
        erased.map_err(|_| MemoryError)
    }

    #[inline(never)]
    fn write(&mut self, area: Area, at: u32, bytes: &[u8]) -> Result<(), MemoryError> {
        let place = self.place(area, at, UNIT)?;
        if !at.is_multiple_of(UNIT as u32) || bytes.len() > UNIT {
            return Err(MemoryError);
        }
        let mut page = [0xFF; UNIT];
        for (place, byte) in page.iter_mut().zip(bytes) {
            *place = *byte;
        }
        self.flash.write(place, &page).map_err(|_| MemoryError)?;
        self.flash.read(place, &mut page).map_err(|_| MemoryError)?;
        if page.iter().zip(bytes).all(|(kept, byte)| kept == byte) {
            Ok(())
        } else {
            Err(MemoryError)
        }
    }

    fn block(&self) -> u32 {
        Self::ERASE
    }
}

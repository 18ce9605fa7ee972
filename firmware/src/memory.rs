//! What the probe keeps while it is switched off: the clips' resistance.
//!
//! [`Flash`] keeps it in two erase blocks of any NOR flash (embedded-storage).
//! A record goes into the block that does not hold the newest one, so whatever
//! moment the power fails, the newest whole record is still there: its
//! CRC is written last. No ready-made log or map is used, because one record of
//! fixed size in two blocks needs neither an allocator nor an executor.

use crc::{CRC_32_ISO_HDLC, Crc};
use embedded_storage::nor_flash::NorFlash;
use loomproof_core::wire::{ClipOhms, LeadId, MAX_LEADS, Nulls};

/// Bytes of a record: number, values, CRC.
const RECORD: usize = 4 + 2 * MAX_LEADS + 4;

/// A record filled up to the largest write unit that fits here.
const ROOM: usize = RECORD.next_multiple_of(UNIT);

/// The largest write unit of a flash that [`Flash`] takes: the RP2040's page.
const UNIT: usize = 256;

static CRC: Crc<u32> = Crc::<u32>::new(&CRC_32_ISO_HDLC);

/// The memory did not take or give what it should.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct MemoryError;

/// Where the clips' resistance is kept.
pub trait Memory {
    /// What was kept last; `None` if nothing whole is there.
    fn load(&mut self) -> Option<Clips>;

    /// Keeps it.
    ///
    /// # Errors
    /// [`MemoryError`]; what was kept before is then kept still.
    fn store(&mut self, clips: &Clips) -> Result<(), MemoryError>;
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

/// Two erase blocks of a NOR flash, from an offset on.
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

    /// Keeps records in the two blocks that begin at `offset`, a multiple of the
    /// flash's erase size.
    pub const fn new(flash: F, offset: u32) -> Self {
        Self { flash, offset }
    }

    /// Gives the flash back.
    pub fn release(self) -> F {
        self.flash
    }

    fn block(&mut self, at: u32) -> Option<(u32, Clips)> {
        let mut record = [0; ROOM];
        let start = self.offset.checked_add(at * Self::BLOCK)?;
        self.flash.read(start, &mut record).ok()?;
        Clips::of(&record)
    }

    /// The newest record: its block, number and content. Numbers wrap.
    fn newest(&mut self) -> Option<(u32, u32, Clips)> {
        match (self.block(0), self.block(1)) {
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
        match (written, self.block(at)) {
            (Ok(()), Some((_, kept))) if kept == *clips => Ok(()),
            _ => Err(MemoryError),
        }
    }
}

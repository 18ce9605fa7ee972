//! A stretch of a board's flash chip, as the probe's memory wants it.
//!
//! The chip's own actions ([`Sectors`]) are the board's: one sector erased, one page
//! written. What may be asked of them is held to here, where it can be tested: whole
//! sectors and pages, never outside the stretch, in which nothing of the program lies.
//! A page is copied to the stack first: while it is written the chip cannot be read.

use embedded_storage::nor_flash::{
    ErrorType, NorFlash, NorFlashError, NorFlashErrorKind, ReadNorFlash, check_erase, check_read,
    check_write,
};

/// Bytes that such a chip erases at once.
pub const SECTOR: usize = 4096;

/// Bytes that such a chip writes at once.
pub const PAGE: usize = 256;

/// A flash chip, by its own addresses: erasing makes every bit 1, writing makes some 0.
pub trait Sectors {
    /// Reads.
    fn read(&mut self, at: u32, into: &mut [u8]);

    /// Erases the sector that begins at `at`.
    fn erase(&mut self, at: u32);

    /// Writes the page that begins at `at`.
    fn write(&mut self, at: u32, page: &[u8; PAGE]);
}

/// A stretch of a chip.
#[derive(Debug)]
pub struct Stretch<S> {
    chip: S,
    start: u32,
    bytes: u32,
}

/// Not whole sectors or pages, outside of the stretch, or a sector that does not become empty.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct StretchError(NorFlashErrorKind);

impl NorFlashError for StretchError {
    fn kind(&self) -> NorFlashErrorKind {
        self.0
    }
}

impl<S: Sectors> Stretch<S> {
    /// From `start` on; what is no whole sector at either end is left out.
    pub const fn new(chip: S, start: u32, bytes: u32) -> Self {
        let skipped = start.wrapping_neg() % SECTOR as u32;
        let left = bytes.saturating_sub(skipped);
        Self {
            chip,
            start: start.saturating_add(skipped),
            bytes: left - left % SECTOR as u32,
        }
    }

    /// The chip.
    pub const fn chip(&mut self) -> &mut S {
        &mut self.chip
    }

    /// Whether a sector has no bit left that was written.
    fn is_empty(&mut self, at: u32) -> bool {
        let mut page = [0; PAGE];
        (at..).step_by(PAGE).take(SECTOR / PAGE).all(|at| {
            self.chip.read(at, &mut page);
            page.iter().all(|byte| *byte == 0xFF)
        })
    }
}

impl<S> ErrorType for Stretch<S> {
    type Error = StretchError;
}

impl<S: Sectors> ReadNorFlash for Stretch<S> {
    const READ_SIZE: usize = 1;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), StretchError> {
        check_read(self, offset, bytes.len()).map_err(StretchError)?;
        self.chip.read(self.start + offset, bytes);
        Ok(())
    }

    fn capacity(&self) -> usize {
        self.bytes as usize
    }
}

impl<S: Sectors> NorFlash for Stretch<S> {
    const WRITE_SIZE: usize = PAGE;
    const ERASE_SIZE: usize = SECTOR;

    #[inline(never)]
    fn erase(&mut self, from: u32, to: u32) -> Result<(), StretchError> {
        check_erase(self, from, to).map_err(StretchError)?;
        for at in (self.start + from..self.start + to).step_by(SECTOR) {
            self.chip.erase(at);
            if !self.is_empty(at) {
                return Err(StretchError(NorFlashErrorKind::Other));
            }
        }
        Ok(())
    }

    #[inline(never)]
    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), StretchError> {
        check_write(self, offset, bytes.len()).map_err(StretchError)?;
        let pages = (self.start + offset..).step_by(PAGE);
        for (at, bytes) in pages.zip(bytes.chunks(PAGE)) {
            let mut page = [0xFF; PAGE];
            for (place, byte) in page.iter_mut().zip(bytes) {
                *place = *byte;
            }
            self.chip.write(at, &page);
        }
        Ok(())
    }
}

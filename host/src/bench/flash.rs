//! The probe's memory on the virtual bench: a NOR flash that can be kept in a file.

use std::cell::RefCell;
use std::fs::OpenOptions;
use std::io::{Seek as _, SeekFrom, Write as _};
use std::path::{Path, PathBuf};
use std::rc::Rc;

use embedded_storage::nor_flash::{
    ErrorType, NorFlash, NorFlashError, NorFlashErrorKind, ReadNorFlash, check_erase, check_read,
    check_write,
};
use loomproof_firmware::memory::Flash;

/// Bytes of one erase block.
const BLOCK: usize = 4_096;
/// Blocks that there are: all that the firmware keeps.
const BLOCKS: usize = Flash::<VirtualFlash>::BYTES as usize / BLOCK;
/// Bytes of one write unit.
const PAGE: usize = 256;

/// The flash. A clone is the same flash, as a probe that is switched off and on
/// finds it.
#[derive(Debug, Clone)]
pub struct VirtualFlash(Rc<RefCell<Cells>>);

#[derive(Debug)]
struct Cells {
    bytes: Vec<u8>,
    file: Option<PathBuf>,
    /// Bytes that can still be changed before the supply fails.
    power: Option<usize>,
}

/// The flash did not do as told.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct FlashError(NorFlashErrorKind);

impl NorFlashError for FlashError {
    fn kind(&self) -> NorFlashErrorKind {
        self.0
    }
}

impl From<NorFlashErrorKind> for FlashError {
    fn from(kind: NorFlashErrorKind) -> Self {
        Self(kind)
    }
}

impl Default for VirtualFlash {
    fn default() -> Self {
        Self(Rc::new(RefCell::new(Cells {
            bytes: vec![0xFF; BLOCK * BLOCKS],
            file: None,
            power: None,
        })))
    }
}

impl VirtualFlash {
    /// A flash that is kept in this file; a new one if there is none.
    ///
    /// # Errors
    /// What the operating system says, or that the file is none of a flash.
    pub fn in_file(path: &Path) -> std::io::Result<Self> {
        let flash = Self::default();
        match std::fs::read(path) {
            // One of an earlier version holds only the clips.
            Ok(bytes) if bytes.len() == BLOCK * BLOCKS || bytes.len() == 2 * BLOCK => {
                let mut cells = flash.0.borrow_mut();
                for (cell, byte) in cells.bytes.iter_mut().zip(bytes) {
                    *cell = byte;
                }
            }
            Ok(_) => return Err(std::io::Error::other("this is no probe memory")),
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => {}
            Err(error) => return Err(error),
        }
        flash.0.borrow_mut().file = Some(path.to_owned());
        Ok(flash)
    }

    /// A flash with these bytes in it from the start on, as a supply that
    /// failed may have left them; the rest is erased.
    #[must_use]
    pub fn holding(bytes: &[u8]) -> Self {
        let flash = Self::default();
        for (cell, byte) in flash.0.borrow_mut().bytes.iter_mut().zip(bytes) {
            *cell = *byte;
        }
        flash
    }

    /// The bytes of a stretch as they are now.
    #[must_use]
    pub fn bytes(&self, range: std::ops::Range<usize>) -> Vec<u8> {
        let cells = self.0.borrow();
        cells.bytes.get(range).unwrap_or_default().to_vec()
    }

    /// Alters one byte behind the firmware's back.
    pub fn alter(&self, at: usize, flip: u8) {
        if let Some(byte) = self.0.borrow_mut().bytes.get_mut(at) {
            *byte ^= flip;
        }
    }

    /// The supply fails after so many bytes have been changed; `None` brings it back.
    pub fn power_fails_after(&self, bytes: Option<usize>) {
        self.0.borrow_mut().power = bytes;
    }
}

impl Cells {
    fn change(
        &mut self,
        range: std::ops::Range<usize>,
        new: impl Fn(usize, u8) -> u8,
    ) -> Result<(), FlashError> {
        for at in range.clone() {
            match &mut self.power {
                Some(0) => return Err(FlashError(NorFlashErrorKind::Other)),
                Some(left) => *left -= 1,
                None => {}
            }
            self.bytes[at] = new(at, self.bytes[at]);
        }
        match &self.file {
            Some(file) => self
                .keep_in(file, range)
                .map_err(|_| FlashError(NorFlashErrorKind::Other)),
            None => Ok(()),
        }
    }

    /// Writes what changed; the whole where the file is not so long yet.
    fn keep_in(&self, file: &Path, range: std::ops::Range<usize>) -> std::io::Result<()> {
        let mut options = OpenOptions::new();
        let mut file = options
            .write(true)
            .create(true)
            .truncate(false)
            .open(file)?;
        let whole = file.metadata()?.len() != self.bytes.len() as u64;
        let range = if whole { 0..self.bytes.len() } else { range };
        file.seek(SeekFrom::Start(range.start as u64))?;
        file.write_all(&self.bytes[range])
    }
}

impl ErrorType for VirtualFlash {
    type Error = FlashError;
}

impl ReadNorFlash for VirtualFlash {
    const READ_SIZE: usize = 1;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), FlashError> {
        check_read(self, offset, bytes.len())?;
        let start = offset as usize;
        bytes.copy_from_slice(&self.0.borrow().bytes[start..start + bytes.len()]);
        Ok(())
    }

    fn capacity(&self) -> usize {
        BLOCK * BLOCKS
    }
}

impl NorFlash for VirtualFlash {
    const WRITE_SIZE: usize = PAGE;
    const ERASE_SIZE: usize = BLOCK;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), FlashError> {
        check_erase(self, from, to)?;
        self.0
            .borrow_mut()
            .change(from as usize..to as usize, |_, _| 0xFF)
    }

    /// Bits can only be cleared, as in the real part.
    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), FlashError> {
        check_write(self, offset, bytes.len())?;
        let start = offset as usize;
        self.0
            .borrow_mut()
            .change(start..start + bytes.len(), |at, old| {
                old & bytes[at - start]
            })
    }
}

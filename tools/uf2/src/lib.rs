//! From the ELF file of an RP2040 board to the image that is dragged onto the
//! drive which the board shows in its boot loader.
//!
//! Format: "USB Flashing Format (UF2)", github.com/microsoft/uf2, README,
//! "File format"; the family of the RP2040 from `utils/uf2families.json` there
//! (both from memory; `tests/tests/rp2040_image.rs` reads what comes out with
//! another reader).
#![forbid(unsafe_code)]

use object::{Object, ObjectSegment, elf};
use std::collections::BTreeMap;
use thiserror::Error;

/// Number of the RP2040 among the families of UF2.
pub const RP2040: u32 = 0xE48B_FF56;

/// Bytes of one block.
pub const BLOCK: usize = 512;

/// Bytes of the image in one block: a page of the flash.
pub const PAGE: usize = 256;

/// Bytes that the flash erases at once. The boot loader does not promise what
/// the pages of a sector hold that are not sent: every sector is sent whole.
pub const SECTOR: u32 = 4096;

/// Where the flash is: the most that an RP2040 addresses.
pub const FLASH: std::ops::Range<u64> = 0x1000_0000..0x1100_0000;

const FIRST_MAGIC: u32 = 0x0A32_4655;
const SECOND_MAGIC: u32 = 0x9E5D_5157;
const LAST_MAGIC: u32 = 0x0AB1_6F30;
/// The word behind the block count is the family.
const FAMILY_PRESENT: u32 = 0x0000_2000;

/// Why there is no image.
#[derive(Debug, Error)]
pub enum Uf2Error {
    /// The file is not an ELF file that can be read.
    #[error("no ELF file: {0}; build the board with tools/build-boards.sh")]
    Elf(#[from] object::Error),
    /// Nothing in the file goes into the flash.
    #[error("nothing in this ELF file lies in the flash at 0x10000000: is it of this board?")]
    Empty,
    /// Something in the file goes elsewhere.
    #[error(
        "{length} bytes at {address:#010x} are not in the flash (0x10000000 to 0x10ffffff): \
         see the board's memory.x"
    )]
    Outside {
        /// Where they would be loaded.
        address: u64,
        /// How many.
        length: u64,
    },
}

/// The UF2 image of an ELF file.
///
/// # Errors
/// [`Uf2Error`], saying what is wrong with the file.
pub fn image(elf: &[u8]) -> Result<Vec<u8>, Uf2Error> {
    let pages = pages(elf)?;
    let count = u32::try_from(pages.len()).map_err(|_| Uf2Error::Empty)?;
    let mut image = Vec::with_capacity(pages.len() * BLOCK);
    for (number, (address, page)) in (0_u32..).zip(&pages) {
        let head = [
            FIRST_MAGIC,
            SECOND_MAGIC,
            FAMILY_PRESENT,
            *address,
            PAGE as u32,
            number,
            count,
            RP2040,
        ];
        for word in head {
            image.extend(word.to_le_bytes());
        }
        image.extend(page);
        image.resize(image.len() + BLOCK - 32 - PAGE - 4, 0);
        image.extend(LAST_MAGIC.to_le_bytes());
    }
    Ok(image)
}

/// What goes into the flash, page by page, in ascending order; what the file
/// does not say within a sector is 0.
fn pages(elf: &[u8]) -> Result<BTreeMap<u32, [u8; PAGE]>, Uf2Error> {
    let file = object::read::elf::ElfFile32::<object::Endianness>::parse(elf)?;
    let mut pages = BTreeMap::new();
    for segment in file.segments() {
        let data = segment.data()?;
        let head = segment.elf_program_header();
        if head.p_type.get(file.endian()) != elf::PT_LOAD || data.is_empty() {
            continue;
        }
        // The load address: for initialised data another than where it is used.
        let start = u64::from(head.p_paddr.get(file.endian()));
        let length = data.len() as u64;
        if start < FLASH.start || start + length > FLASH.end {
            return Err(Uf2Error::Outside {
                address: start,
                length,
            });
        }
        for (address, byte) in (start as u32..).zip(data) {
            let sector = address / SECTOR * SECTOR;
            for page in (sector..sector + SECTOR).step_by(PAGE) {
                pages.entry(page).or_insert([0; PAGE]);
            }
            let within = address % PAGE as u32;
            if let Some(page) = pages.get_mut(&(address - within)) {
                page[within as usize] = *byte;
            }
        }
    }
    if pages.is_empty() {
        return Err(Uf2Error::Empty);
    }
    Ok(pages)
}

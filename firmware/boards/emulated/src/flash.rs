//! RAM that behaves as a flash chip of NOR cells: erasing makes bits 1, writing makes some 0.
//! It lasts as long as the emulation does.

use core::ptr::{read_volatile, write_volatile};
use loomproof_firmware::memory::Flash;
use loomproof_firmware::sectors::{PAGE, SECTOR, Sectors, Stretch};

/// The stretch that `memory.x` sets aside, by addresses of the machine.
pub struct Chip(());

/// What the probe keeps on this board.
pub type Kept = Flash<Stretch<Chip>>;

/// The whole stretch.
#[must_use]
pub fn kept() -> Kept {
    unsafe extern "C" {
        static _kept_start: u8;
        static _kept_end: u8;
    }
    let (start, end) = (
        (&raw const _kept_start) as u32,
        (&raw const _kept_end) as u32,
    );
    Flash::new(Stretch::new(Chip(()), start, end.wrapping_sub(start)), 0)
}

impl Sectors for Chip {
    fn read(&mut self, at: u32, into: &mut [u8]) {
        for (address, byte) in (at..).zip(into) {
            // SAFETY: `Stretch` stays within the symbols of `memory.x`: RAM of this machine
            // that no Rust object lies in.
            *byte = unsafe { read_volatile(address as *const u8) };
        }
    }

    fn erase(&mut self, at: u32) {
        for address in (at..).take(SECTOR) {
            // SAFETY: as for `read`.
            unsafe { write_volatile(address as *mut u8, 0xFF) };
        }
    }

    fn write(&mut self, at: u32, page: &[u8; PAGE]) {
        for (address, byte) in (at..).zip(page) {
            // SAFETY: as for `read`.
            unsafe {
                write_volatile(
                    address as *mut u8,
                    read_volatile(address as *const u8) & byte,
                )
            };
        }
    }
}

//! The probe's memory: the end of the board's flash chip, which holds the program as well.
//!
//! While the chip erases or writes, nothing can be read from it, so no code of the program
//! can run: it is done by functions of the boot ROM, called from RAM (`rp2040-flash`), with
//! interrupts off. Nothing is driven then: whoever asks for it lets go of all leads before
//! (`Probe`, `Alone`), and the comparators hold a lead that turns live off without any
//! code. A fault in that time finds no handler; the core locks up, and the watchdog's
//! reset lets go (`guard.rs`).

use crate::time::Keeper;
use core::ptr::read_volatile;
use loomproof_firmware::memory::Flash;
use loomproof_firmware::sectors::{PAGE, SECTOR, Sectors, Stretch};

/// Where the flash is seen by the processor (RP2040 datasheet, 2.2, XIP_BASE).
const XIP: u32 = 0x1000_0000;

/// The chip, by addresses from its own 0 on.
pub struct Chip(&'static Keeper);

/// What the probe keeps on this board.
pub type Kept = Flash<Stretch<Chip>>;

/// The stretch that `memory.x` keeps free of the program.
pub fn kept(keeper: &'static Keeper) -> Kept {
    unsafe extern "C" {
        static _kept_start: u8;
        static _kept_end: u8;
    }
    let (start, end) = (
        (&raw const _kept_start) as u32,
        (&raw const _kept_end) as u32,
    );
    Flash::new(
        Stretch::new(
            Chip(keeper),
            start.wrapping_sub(XIP),
            end.wrapping_sub(start),
        ),
        0,
    )
}

impl Sectors for Chip {
    fn read(&mut self, at: u32, into: &mut [u8]) {
        // A whole plan is looked through at once.
        self.0.feed_within_a_request();
        for (address, byte) in (XIP + at..).zip(into) {
            // SAFETY: `Stretch` stays within the symbols of `memory.x`, which lie in the
            // flash. Volatile, because what stands there changes behind the compiler.
            *byte = unsafe { read_volatile(address as *const u8) };
        }
    }

    fn erase(&mut self, at: u32) {
        self.0.through_a_flash_action(|| {
            // SAFETY: interrupts are off, the second core sleeps in the boot ROM and no
            // DMA runs: nothing reads the flash meanwhile. `at` is a sector of the
            // stretch above.
            cortex_m::interrupt::free(|_| unsafe {
                rp2040_flash::flash::flash_range_erase(at, SECTOR as u32, true);
            });
        });
    }

    fn write(&mut self, at: u32, page: &[u8; PAGE]) {
        self.0.through_a_flash_action(|| {
            // SAFETY: as for `erase`; the page lies in RAM, on the stack of `Stretch`.
            cortex_m::interrupt::free(|_| unsafe {
                rp2040_flash::flash::flash_range_program(at, page, true);
            });
        });
    }
}

//! What happens when the firmware fails: every drive is let go of first.
//!
//! Three things open all disconnects, each without the others:
//! - the pin HOLD ([`HOLD`]): while it is low, every drive and disconnect
//!   expander is held in reset, whose pins are then inputs. It is low by its
//!   pull-down from power-on until the firmware starts, and from every reset
//!   of the controller on, whatever caused it;
//! - the comparators, which hold the same reset line down;
//! - the supervisor of the 3.3 V supply, likewise (brown-out).
//!
//! So a panic, a fault, a hang and a stack that overflows all end the same way:
//! HOLD falls, at once or with the watchdog's reset.

use core::panic::PanicInfo;
use cortex_m::peripheral::MPU;
use cortex_m_rt::{ExceptionFrame, exception};
use rp2040_hal::pac;

/// The number of the pin HOLD (GPIO 11); `main.rs` makes it an output.
pub const HOLD: u32 = 11;

/// Lets every drive go, from wherever the firmware is: one store.
pub fn let_go() {
    // SAFETY: the register clears the output bits that are written as 1 and
    // leaves the others alone (RP2040 datasheet, 2.3.1.7, GPIO_OUT_CLR), so
    // that nobody else's use of the pins is disturbed.
    unsafe { (*pac::SIO::PTR).gpio_out_clr().write(|w| w.bits(1 << HOLD)) };
}

#[panic_handler]
fn panicked(_info: &PanicInfo<'_>) -> ! {
    let_go();
    #[cfg(feature = "log")]
    defmt::error!("{}", defmt::Display2Format(_info));
    rp2040_hal::reset()
}

#[exception]
unsafe fn HardFault(_: &ExceptionFrame) -> ! {
    let_go();
    rp2040_hal::reset()
}

/// Forbids the 16 MB below the RAM, where a stack that overflows runs into
/// (`memory.x`). The push that goes there faults; a fault that cannot be
/// stacked locks the core up, and the watchdog resets it.
pub fn below_the_stack(mpu: &mut MPU) {
    /// Base 0x1F00_0000, region 0, VALID.
    const BASE: u32 = 0x1F00_0000 | 1 << 4;
    /// No execution, no access, 2^(23 + 1) bytes, enabled.
    const NOTHING: u32 = 1 << 28 | 23 << 1 | 1;
    /// Elsewhere as without an MPU (PRIVDEFENA), enabled.
    const ON: u32 = 1 << 2 | 1;
    // SAFETY: registers as in the ARMv6-M Architecture Reference Manual,
    // B3.5; nothing that this firmware uses lies in the region: flash is at
    // 0x1000_0000 to 0x101F_FFFF, the flash controller at 0x1400_0000 and
    // 0x1800_0000 (RP2040 datasheet, 2.2).
    unsafe {
        mpu.rbar.write(BASE);
        mpu.rasr.write(NOTHING);
        mpu.ctrl.write(ON);
    }
    cortex_m::asm::dsb();
    cortex_m::asm::isb();
}

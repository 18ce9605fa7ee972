//! The way out when the firmware fails: nothing stays driven.

use crate::tunnel::{Line, Spi, Tunnel};
use crate::uart::{self, Uart};
use core::cell::RefCell;
use core::fmt::Write;
use core::panic::PanicInfo;
use embedded_hal::spi::SpiDevice;

/// SPI device numbers of the drive expanders and of the disconnect expanders.
const DRIVE: u8 = 0;
const GATE: u8 = 1;

/// Makes every pin of every drive and disconnect expander an input: the
/// pull-down resistors then open all disconnects (`docs/probe-hardware.md`).
///
/// One write to IODIRA and IODIRB (registers 0 and 1) of each of the eight
/// addresses, opcode `0100 AAA0` (MCP23S17 datasheet, "SPI addressing";
/// from memory). The writes ask for no answer: a panic may have
/// come while one was on its way.
pub fn let_go<L: Line>(line: L) {
    let tunnel = RefCell::new(Tunnel::new(line));
    for device in [DRIVE, GATE] {
        for address in 0..8u8 {
            let opcode = 0x40 | address << 1;
            // Only a transfer that is too long can fail, and this one is not.
            let _ = Spi::new(&tunnel, device).write(&[opcode, 0x00, 0xFF, 0xFF]);
        }
    }
    // Brings the writes under way; the answer shows that they arrived.
    let _ = tunnel.borrow_mut().now_ns();
}

/// Lets go, says why on the log, and stays there: a probe that failed answers
/// nothing until it is switched off and on, and the host says so.
pub fn panicked(info: &PanicInfo<'_>) -> ! {
    cortex_m::interrupt::disable();
    let mut log = Uart::new(uart::LOG);
    let _ = writeln!(log, "panic: {info}");
    let_go(Uart::new(uart::BENCH));
    let _ = writeln!(log, "let go of all leads");
    loop {
        cortex_m::asm::wfi();
    }
}

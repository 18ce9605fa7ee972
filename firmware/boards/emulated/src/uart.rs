//! The CMSDK APB UART of the mps2-an385, polled.
//!
//! Register layout: Arm Cortex-M System Design Kit TRM, "APB UART
//! programmers model"; the same as QEMU's `hw/char/cmsdk-apb-uart.c`. The
//! emulated receiver holds one byte and the sender waits for it to be taken,
//! so polling loses nothing.

use core::ptr::{read_volatile, write_volatile};

const STATE: usize = 0x04;
const CTRL: usize = 0x08;
const BAUDDIV: usize = 0x10;

const TX_FULL: u32 = 1 << 0;
const RX_FULL: u32 = 1 << 1;
const TX_ENABLE: u32 = 1 << 0;
const RX_ENABLE: u32 = 1 << 1;

/// Base address of UART0: the host link.
pub const HOST: usize = 0x4000_4000;
/// Base address of UART1: the tunnel to the virtual bench.
pub const BENCH: usize = 0x4000_5000;
/// Base address of UART2: the log.
pub const LOG: usize = 0x4000_6000;

/// One UART.
pub struct Uart {
    base: usize,
}

impl Uart {
    /// Enables the UART at one of [`HOST`], [`BENCH`] and [`LOG`].
    pub fn new(base: usize) -> Self {
        let uart = Self { base };
        // 16 is the smallest divider the UART takes (TRM); QEMU ignores the rate.
        uart.write_register(BAUDDIV, 16);
        uart.write_register(CTRL, TX_ENABLE | RX_ENABLE);
        uart
    }

    fn read_register(&self, offset: usize) -> u32 {
        // SAFETY: `base` is one of the three constants above, each a mapped
        // UART of this machine, and the registers are 32 bits wide.
        unsafe { read_volatile((self.base + offset) as *const u32) }
    }

    fn write_register(&self, offset: usize, value: u32) {
        // SAFETY: as for `read_register`.
        unsafe { write_volatile((self.base + offset) as *mut u32, value) }
    }

    /// Sends all bytes; waits while the transmitter is full.
    pub fn write(&mut self, bytes: &[u8]) {
        for byte in bytes {
            while self.read_register(STATE) & TX_FULL != 0 {}
            self.write_register(0, u32::from(*byte));
        }
    }

    /// The next byte, if one has come.
    pub fn try_read(&mut self) -> Option<u8> {
        if self.read_register(STATE) & RX_FULL == 0 {
            return None;
        }
        Some(self.read_register(0) as u8)
    }
}

impl core::fmt::Write for Uart {
    fn write_str(&mut self, text: &str) -> core::fmt::Result {
        self.write(text.as_bytes());
        Ok(())
    }
}

impl crate::tunnel::Line for Uart {
    fn put(&mut self, bytes: &[u8]) {
        self.write(bytes);
    }

    fn get(&mut self) -> u8 {
        loop {
            if let Some(byte) = self.try_read() {
                return byte;
            }
        }
    }
}

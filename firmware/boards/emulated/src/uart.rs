//! The CMSDK APB UART of the mps2-an385, polled.
//!
//! Register layout: Arm Cortex-M System Design Kit TRM, "APB UART
//! programmers model"; the same as QEMU's `hw/char/cmsdk-apb-uart.c`. The
//! emulated receiver holds one byte and the sender waits for it to be taken,
//! so nothing is lost however late it is read.
//!
//! Waiting is done asleep, which leaves the machine to the bench.

use core::ptr::{read_volatile, write_volatile};
use cortex_m::interrupt::InterruptNumber;
use cortex_m::peripheral::NVIC;

const DATA: usize = 0x00;
const STATE: usize = 0x04;
const CTRL: usize = 0x08;
const INTSTATUS: usize = 0x0C;
const BAUDDIV: usize = 0x10;

const TX_FULL: u32 = 1 << 0;
const RX_FULL: u32 = 1 << 1;
const TX_ENABLE: u32 = 1 << 0;
const RX_ENABLE: u32 = 1 << 1;
const RX_INTERRUPT_ENABLE: u32 = 1 << 3;
/// In [`INTSTATUS`]: a byte has come; written, clears it.
const RX_INTERRUPT: u32 = 1 << 1;

/// Base address of UART0: the host link.
pub const HOST: usize = 0x4000_4000;
/// Base address of UART1: the tunnel to the virtual bench.
pub const BENCH: usize = 0x4000_5000;
/// Base address of UART2: the log.
pub const LOG: usize = 0x4000_6000;

/// The receive interrupt of a UART (Application Note AN385, "Interrupts";
/// the same as QEMU's `hw/arm/mps2.c`): 0, 2 and 4.
#[derive(Clone, Copy)]
struct Irq(u16);

// SAFETY: the number is that of an interrupt line of this machine, and always
// the same for the same UART.
unsafe impl InterruptNumber for Irq {
    fn number(self) -> u16 {
        self.0
    }
}

/// One UART.
pub struct Uart {
    base: usize,
    irq: Irq,
}

impl Uart {
    /// Enables the UART at one of [`HOST`], [`BENCH`] and [`LOG`]. Interrupts
    /// are used to wake up and never taken: switch them off before.
    pub fn new(base: usize) -> Self {
        let irq = match base {
            HOST => 0,
            BENCH => 2,
            _ => 4,
        };
        let uart = Self {
            base,
            irq: Irq(irq),
        };
        // 16 is the smallest divider the UART takes (TRM); QEMU ignores the rate.
        uart.write_register(BAUDDIV, 16);
        uart.write_register(CTRL, TX_ENABLE | RX_ENABLE | RX_INTERRUPT_ENABLE);
        // QEMU (7.2) does not look for bytes again when the receiver is
        // switched on, only when it is read: without this a byte that came
        // before can wait for ever.
        let _ = uart.read_register(DATA);
        uart
    }

    /// Sleeps until a byte has come.
    pub fn wait(&mut self) {
        self.write_register(INTSTATUS, RX_INTERRUPT);
        NVIC::unpend(self.irq);
        // A byte that comes from here on wakes the core, before or after it sleeps.
        // SAFETY: interrupts are switched off as a whole, so that no handler
        // runs; unmasking only lets this one wake the core.
        unsafe { NVIC::unmask(self.irq) };
        while self.read_register(STATE) & RX_FULL == 0 {
            cortex_m::asm::wfi();
        }
        NVIC::mask(self.irq);
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
            self.write_register(DATA, u32::from(*byte));
        }
    }

    /// The next byte, if one has come.
    pub fn try_read(&mut self) -> Option<u8> {
        if self.read_register(STATE) & RX_FULL == 0 {
            return None;
        }
        Some(self.read_register(DATA) as u8)
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
            self.wait();
        }
    }
}

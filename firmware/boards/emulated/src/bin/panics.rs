//! A firmware that drives lead 0 and then fails, to see that the way out works.
#![no_std]
#![no_main]

use core::cell::RefCell;
use core::panic::PanicInfo;
use cortex_m_rt::entry;
use embedded_hal::spi::SpiDevice;
use loomproof_emulated::tunnel::{Spi, Tunnel};
use loomproof_emulated::uart::{self, Uart};

#[panic_handler]
fn panic(info: &PanicInfo<'_>) -> ! {
    loomproof_emulated::letgo::panicked(info)
}

#[entry]
fn main() -> ! {
    cortex_m::interrupt::disable();
    let tunnel = RefCell::new(Tunnel::new(Uart::new(uart::BENCH)));
    for device in [0, 1] {
        // Lead 0 an output (IODIRA bit 0 clear) and high (OLATA bit 0 set).
        let mut spi = Spi::new(&tunnel, device);
        let _ = spi.write(&[0x40, 0x14, 0x01]);
        let _ = spi.write(&[0x40, 0x00, 0xFE]);
    }
    let _ = tunnel.borrow_mut().now_ns();
    panic!("on purpose");
}

//! The probe firmware on QEMU's mps2-an385: UART0 is the host link, UART1 the
//! tunnel to the virtual bench and to a panel if there is one, UART2 a log.
#![no_std]
#![no_main]

use core::cell::RefCell;
use core::panic::PanicInfo;
use cortex_m::singleton;
use cortex_m_rt::entry;
use loomproof_core::units::Micros;
use loomproof_emulated::flash::{self, Kept};
use loomproof_emulated::tunnel::{Delay, Panel, Rearm, Spi, Trip, Tunnel};
use loomproof_emulated::uart::{self, Uart};
use loomproof_firmware::alone::Alone;
use loomproof_firmware::{Clock, Identity, Parts, Probe};

#[panic_handler]
fn panic(info: &PanicInfo<'_>) -> ! {
    loomproof_emulated::letgo::panicked(info)
}

/// The bench's virtual clock.
struct BenchClock(&'static RefCell<Tunnel<Uart>>);

impl Clock for BenchClock {
    fn now(&mut self) -> Micros {
        // The probe's clock wraps at 32 bits.
        Micros((self.0.borrow_mut().now_ns() / 1000) as u32)
    }
}

/// What this board says it is in the hello.
const IDENTITY: Identity = Identity {
    board: "emulated-m3",
    serial: "emulated",
    build: concat!(env!("CARGO_PKG_VERSION"), " ", env!("LOOMPROOF_COMMIT")),
};

type Line = Tunnel<Uart>;
type BoardSpi = Spi<'static, Uart>;

/// The probe on this board's parts.
type BoardProbe = Probe<
    BoardSpi,
    BoardSpi,
    BoardSpi,
    BoardSpi,
    Trip<'static, Uart>,
    Rearm<'static, Uart>,
    Delay<'static, Uart>,
    BenchClock,
    Kept,
>;

/// How often nothing has come from the host before the panel has its turn: while a
/// request comes in, byte by byte, nobody is asked at every byte whether he pressed.
const SILENCE: u32 = 300;

#[entry]
fn main() -> ! {
    // No handler runs; see `Uart::wait`.
    cortex_m::interrupt::disable();
    // Both are statics, so that the sizes say how much RAM they take.
    let tunnel: &'static RefCell<Line> =
        singleton!(: RefCell<Line> = RefCell::new(Tunnel::new(Uart::new(uart::BENCH))))
            .expect("taken once");
    let mut host = Uart::new(uart::HOST);
    let parts = Parts {
        drive: Spi::new(tunnel, 0),
        gate: Spi::new(tunnel, 1),
        select: Spi::new(tunnel, 2),
        adc: Spi::new(tunnel, 3),
        trip: Trip(tunnel),
        rearm: Rearm(tunnel),
        delay: Delay(tunnel),
        clock: BenchClock(tunnel),
    };
    let probe = singleton!(: BoardProbe = Probe::with_memory(parts, IDENTITY, flash::kept()))
        .expect("taken once");
    let alone = singleton!(: Alone = Alone::new()).expect("taken once");
    let mut panel = Panel::found(tunnel);
    let mut silent = 0;
    loop {
        if let Some(byte) = host.try_read() {
            silent = 0;
            probe.receive(&[byte], &mut |bytes| host.write(bytes));
        } else if let Some(panel) = &mut panel {
            silent += 1;
            if silent >= SILENCE {
                silent = 0;
                probe.poll_alone(alone, panel);
            }
        } else {
            // Once is enough: the bench's time stands still until the next request.
            probe.poll();
            host.wait();
        }
    }
}

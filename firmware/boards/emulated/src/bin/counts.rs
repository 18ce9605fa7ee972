//! The probe firmware as `main.rs` has it, which writes to its log how many
//! instructions each request took: decoding, the tunnel's side of SPI, the reply.
//! Waiting for the bench and for the host is left out.
#![no_std]
#![no_main]

use core::cell::RefCell;
use core::fmt::Write;
use core::panic::PanicInfo;
use cortex_m::singleton;
use cortex_m_rt::entry;
use loomproof_core::units::Micros;
use loomproof_emulated::count::{Count, Uncounted};
use loomproof_emulated::tunnel::{Delay, Rearm, Spi, Trip, Tunnel};
use loomproof_emulated::uart::{self, Uart};
use loomproof_firmware::{Clock, Identity, Parts, Probe};

#[panic_handler]
fn panic(info: &PanicInfo<'_>) -> ! {
    loomproof_emulated::letgo::panicked(info)
}

type Line = Uncounted<'static, Uart>;
type BoardSpi = Spi<'static, Line>;

struct BenchClock(&'static RefCell<Tunnel<Line>>);

impl Clock for BenchClock {
    fn now(&mut self) -> Micros {
        Micros((self.0.borrow_mut().now_ns() / 1000) as u32)
    }
}

/// What this board says it is in the hello.
const IDENTITY: Identity = Identity {
    board: "counting-m3",
    serial: "emulated",
    build: concat!(env!("CARGO_PKG_VERSION"), " ", env!("LOOMPROOF_COMMIT")),
};

type BoardProbe = Probe<
    BoardSpi,
    BoardSpi,
    BoardSpi,
    BoardSpi,
    Trip<'static, Line>,
    Rearm<'static, Line>,
    Delay<'static, Line>,
    BenchClock,
>;

#[entry]
fn main() -> ! {
    cortex_m::interrupt::disable();
    let mut core = cortex_m::Peripherals::take().expect("taken once");
    let count: &'static Count =
        singleton!(: Count = Count::new(&mut core.SYST)).expect("taken once");
    let tunnel: &'static RefCell<Tunnel<Line>> = singleton!(
        : RefCell<Tunnel<Line>> =
            RefCell::new(Tunnel::new(Uncounted::new(Uart::new(uart::BENCH), count)))
    )
    .expect("taken once");
    let mut host = Uart::new(uart::HOST);
    let mut log = Uart::new(uart::LOG);
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
    let probe = singleton!(: BoardProbe = Probe::start(parts, IDENTITY)).expect("taken once");
    loop {
        let Some(byte) = host.try_read() else {
            // What goes on between requests is not counted.
            probe.poll();
            host.wait();
            continue;
        };
        let mut answered = false;
        count.start();
        probe.receive(&[byte], &mut |bytes| {
            count.without(|| host.write(bytes));
            answered = true;
        });
        count.stop();
        if answered {
            let _ = writeln!(log, "{}", count.take());
        }
    }
}

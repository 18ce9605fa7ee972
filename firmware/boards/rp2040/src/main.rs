//! The probe firmware for an RP2040 board (Pico class): pins, clocks and the
//! USB link. What the probe does is in the firmware library.
//!
//! | GPIO | to |
//! | --- | --- |
//! | 2, 3, 4 | SPI clock, data out, data in, to all chips |
//! | 5, 6, 7 | chip selects of the drive, disconnect and sense select expanders |
//! | 8 | converter: chip select and start of conversion |
//! | 9 | trip latch, high = tripped; pulled up, so that no front end is tripped |
//! | 10 | trip latch, a high pulse clears it |
//! | 11 | HOLD: low keeps every drive and disconnect expander in reset |
//! | 12, 13 | display: RS, E |
//! | 14 … 17 | display: DB4 … DB7 |
//! | 18, 19 | buttons *next* and *repeat*, low while pressed; pulled up |
//! | 20, 21, 22 | green light, red light, beeper: high is on |
//!
//! A board without a panel has nothing at 12 to 22 and is the same otherwise.
#![no_std]
#![no_main]

mod flash;
mod guard;
mod link;
mod time;

use core::cell::RefCell;
use cortex_m::singleton;
#[cfg(feature = "log")]
use defmt_rtt as _;
use embedded_hal::spi::MODE_0;
use embedded_hal_bus::spi::RefCellDevice;
use fugit::HertzU32;
use heapless::String;
use loomproof_core::units::Micros;
use loomproof_firmware::alone::Alone;
use loomproof_firmware::panel::{self, Front, Keys, Lamps};
use loomproof_firmware::{Identity, Parts, Probe};
use rp2040_hal::clocks::ClocksManager;
use rp2040_hal::gpio::bank0::{Gpio2, Gpio3, Gpio4, Gpio5, Gpio6, Gpio7, Gpio8, Gpio9, Gpio10};
use rp2040_hal::gpio::{
    DynPinId, FunctionSioInput, FunctionSioOutput, FunctionSpi, Pin, PinState, Pins, PullDown,
    PullNone, PullUp,
};
use rp2040_hal::pll::{PLLConfig, common_configs::PLL_USB_48MHZ, setup_pll_blocking};
use rp2040_hal::usb::UsbBus;
use rp2040_hal::xosc::setup_xosc_blocking;
use rp2040_hal::{Clock as _, Sio, Spi, Timer, Watchdog, pac, spi};
use time::{BoardClock, Keeper, Waits};
use usb_device::bus::UsbBusAllocator;

/// Second stage of the boot: sets up the flash of a Pico-class board.
#[unsafe(link_section = ".boot2")]
#[used]
static BOOT2: [u8; 256] = rp2040_boot2::BOOT_LOADER_W25Q080;

/// The crystal of a Pico-class board.
const CRYSTAL: HertzU32 = HertzU32::MHz(12);

/// 12 MHz · 120 / 6 / 2 = 120 MHz: a twelfth of it is the 10 MHz that the
/// expanders bear (docs/probe-hardware.md, source K), which the usual 125 MHz
/// does not give.
const SYSTEM: PLLConfig = PLLConfig {
    vco_freq: HertzU32::MHz(1440),
    refdiv: 1,
    post_div1: 6,
    post_div2: 2,
};

/// The SPI clock: as S45 of docs/probe-hardware.md has it.
const SPI_CLOCK: HertzU32 = HertzU32::MHz(10);

/// How long the expanders are held in reset at the start. They need 1 µs
/// (MCP23S17 datasheet, reset pulse; from memory).
const RESET_US: u32 = 10;

type Wires = (
    Pin<Gpio3, FunctionSpi, PullNone>,
    Pin<Gpio4, FunctionSpi, PullUp>,
    Pin<Gpio2, FunctionSpi, PullNone>,
);
type Bus = RefCell<Spi<spi::Enabled, pac::SPI0, Wires, 8>>;
type Select<P> = Pin<P, FunctionSioOutput, PullUp>;
type Device<P> = RefCellDevice<'static, Spi<spi::Enabled, pac::SPI0, Wires, 8>, Select<P>, Timer>;

/// The probe on this board's parts.
type BoardProbe = Probe<
    Device<Gpio5>,
    Device<Gpio6>,
    Device<Gpio7>,
    Device<Gpio8>,
    Pin<Gpio9, FunctionSioInput, PullUp>,
    Pin<Gpio10, FunctionSioOutput, PullDown>,
    Waits,
    BoardClock,
    flash::Kept,
>;

type Output = Pin<DynPinId, FunctionSioOutput, PullDown>;
type Input = Pin<DynPinId, FunctionSioInput, PullUp>;

#[rp2040_hal::entry]
fn main() -> ! {
    let mut core = cortex_m::Peripherals::take().expect("taken once");
    guard::below_the_stack(&mut core.MPU);
    let serial_number = serial_number();
    let mut parts = pac::Peripherals::take().expect("taken once");

    let mut watchdog = Watchdog::new(parts.WATCHDOG);
    watchdog.enable_tick_generation(CRYSTAL.to_MHz() as u8);
    let crystal = setup_xosc_blocking(parts.XOSC, CRYSTAL).expect("the crystal swings");
    let mut clocks = ClocksManager::new(parts.CLOCKS);
    let resets = &mut parts.RESETS;
    let crystal_clock = crystal.operating_frequency();
    let system = setup_pll_blocking(parts.PLL_SYS, crystal_clock, SYSTEM, &mut clocks, resets);
    let usb = setup_pll_blocking(
        parts.PLL_USB,
        crystal_clock,
        PLL_USB_48MHZ,
        &mut clocks,
        resets,
    );
    let (Ok(system), Ok(usb)) = (system, usb) else {
        panic!("a clock does not lock");
    };
    clocks
        .init_default(&crystal, &system, &usb)
        .expect("the clocks can be divided so");

    let timer = Timer::new(parts.TIMER, resets, &clocks);
    let keeper: &'static Keeper =
        singleton!(: Keeper = Keeper::start(timer, watchdog)).expect("taken once");

    let pins = Pins::new(
        parts.IO_BANK0,
        parts.PADS_BANK0,
        Sio::new(parts.SIO).gpio_bank0,
        resets,
    );
    // Low: all drive expanders and disconnects are in reset, whatever they did
    // before this start.
    let mut hold = pins.gpio11.into_push_pull_output_in_state(PinState::Low);
    let mut waits = Waits(keeper);
    embedded_hal::delay::DelayNs::delay_us(&mut waits, RESET_US);
    let _ = embedded_hal::digital::OutputPin::set_high(&mut hold);

    let wires: Wires = (
        pins.gpio3.reconfigure(),
        // A chip that is missing leaves the line high.
        pins.gpio4.reconfigure(),
        pins.gpio2.reconfigure(),
    );
    let peripheral_clock = clocks.peripheral_clock.freq();
    let bus: &'static Bus = singleton!(: Bus = RefCell::new(
        Spi::new(parts.SPI0, wires).init(resets, peripheral_clock, SPI_CLOCK, MODE_0)
    ))
    .expect("taken once");
    macro_rules! device {
        ($pin:expr) => {{
            let select = $pin
                .into_push_pull_output_in_state(PinState::High)
                .into_pull_type();
            let Ok(device) = RefCellDevice::new(bus, select, timer);
            device
        }};
    }
    let probe_parts = Parts {
        drive: device!(pins.gpio5),
        gate: device!(pins.gpio6),
        select: device!(pins.gpio7),
        adc: device!(pins.gpio8),
        trip: pins.gpio9.reconfigure(),
        rearm: pins.gpio10.into_push_pull_output_in_state(PinState::Low),
        delay: waits,
        clock: BoardClock(keeper),
    };
    let identity = Identity {
        board: "rp2040",
        serial: serial_number,
        build: concat!(env!("CARGO_PKG_VERSION"), " ", env!("LOOMPROOF_COMMIT")),
    };
    let kept = flash::kept(keeper);
    let probe = singleton!(: BoardProbe = Probe::with_memory(probe_parts, identity, kept))
        .expect("taken once");

    macro_rules! output {
        ($pin:expr) => {{
            let pin: Output = $pin
                .into_push_pull_output_in_state(PinState::Low)
                .into_dyn_pin();
            pin
        }};
    }
    let bus = panel::Bus {
        select: output!(pins.gpio12),
        enable: output!(pins.gpio13),
        data: [
            output!(pins.gpio14),
            output!(pins.gpio15),
            output!(pins.gpio16),
            output!(pins.gpio17),
        ],
        delay: waits,
    };
    let keys: Keys<Input> = Keys {
        next: pins.gpio18.into_pull_up_input().into_dyn_pin(),
        repeat: pins.gpio19.into_pull_up_input().into_dyn_pin(),
    };
    let lamps = Lamps {
        green: output!(pins.gpio20),
        red: output!(pins.gpio21),
        beeper: output!(pins.gpio22),
    };
    let panel = singleton!(: Front<Output, Input, Waits> = Front::new(bus, keys, lamps))
        .expect("taken once");
    let alone = singleton!(: Alone = Alone::new()).expect("taken once");

    let usb = UsbBus::new(
        parts.USBCTRL_REGS,
        parts.USBCTRL_DPRAM,
        clocks.usb_clock,
        true,
        resets,
    );
    let usb =
        singleton!(: UsbBusAllocator<UsbBus> = UsbBusAllocator::new(usb)).expect("taken once");
    link::start(usb, serial_number);
    #[cfg(feature = "log")]
    defmt::info!("probe {} is up", serial_number);

    loop {
        keeper.round();
        match link::heard() {
            Some(byte) => probe.receive(&[byte], &mut |bytes| {
                link::send(bytes, || {
                    // A host that does not fetch its reply is no hang.
                    keeper.round();
                    keeper.now()
                });
            }),
            None => {
                probe.poll_alone(alone, panel);
                panel.tend(Micros(keeper.now()));
            }
        }
    }
}

/// The number that the board's flash chip has from its maker, 16 bytes in
/// hexadecimal: some makes are only told apart by all of them.
fn serial_number() -> &'static str {
    let mut number = [0; 16];
    // SAFETY: interrupts are off, the second core sleeps in the boot ROM and
    // no DMA runs: nothing reads the flash meanwhile.
    cortex_m::interrupt::free(|_| unsafe {
        rp2040_flash::flash::flash_unique_id(&mut number, true);
    });
    let text = singleton!(: String<32> = String::new()).expect("taken once");
    for byte in number {
        for digit in [byte >> 4, byte & 15] {
            let digit = char::from_digit(u32::from(digit), 16).unwrap_or('?');
            let _ = text.push(digit.to_ascii_uppercase());
        }
    }
    text
}

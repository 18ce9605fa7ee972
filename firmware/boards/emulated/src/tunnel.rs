//! The board's end of the bench tunnel: SPI devices, pins, delay and clock
//! that live on the virtual bench. The protocol is written down in
//! `docs/emulated-board.md`; the other end is `tests/src/tunnel.rs`.
//!
//! Operations whose outcome nobody looks at yet are collected and sent with
//! the next one whose outcome is needed, so that a scan needs few round trips.

use core::cell::RefCell;
use core::convert::Infallible;
use embedded_hal::delay::DelayNs;
use embedded_hal::digital::{self, InputPin, OutputPin};
use embedded_hal::spi::{self, Operation, SpiDevice};
use loomproof_firmware::alone::{self, Button, Signal};

/// Asks for the answer to everything since the last one.
const ANSWER: u8 = 0x1F;
/// Sets the rearm output: one byte, 0 or 1.
const REARM: u8 = 0x11;
/// Lets bench time pass: nanoseconds, 32 bits, low byte first.
const WAIT: u8 = 0x10;
/// Shows two lines: their lengths, then both.
const SHOW: u8 = 0x12;
/// Light and beeper: one byte.
const SIGNAL: u8 = 0x13;
/// Asks for the button that was pressed: one byte of the next answer.
const PRESSED: u8 = 0x14;
/// The answer where no panel is.
const NO_PANEL: u8 = 0xFF;

/// Longest SPI transfer.
pub const MAX_TRANSFER: usize = 64;
/// Collected operations are sent, without asking for an answer, when they
/// reach this many bytes.
const PENDING: usize = 512;

/// The byte line to the bench.
pub trait Line {
    /// Sends all bytes.
    fn put(&mut self, bytes: &[u8]);
    /// Waits for the next byte.
    fn get(&mut self) -> u8;
}

/// The tunnel, shared by the devices below.
pub struct Tunnel<L> {
    line: L,
    pending: heapless::Vec<u8, PENDING>,
    /// Whether anything happened since the last answer.
    stale: bool,
    now_ns: u64,
    tripped: bool,
}

impl<L: Line> Tunnel<L> {
    /// A tunnel over a line whose other end has just been opened.
    pub fn new(line: L) -> Self {
        Self {
            line,
            pending: heapless::Vec::new(),
            stale: true,
            now_ns: 0,
            tripped: false,
        }
    }

    fn push(&mut self, bytes: &[u8]) {
        self.stale = true;
        if self.pending.len() + bytes.len() > PENDING {
            self.line.put(&self.pending);
            self.pending.clear();
        }
        if self.pending.extend_from_slice(bytes).is_err() {
            // Longer than the whole buffer, which is empty by now.
            self.line.put(bytes);
        }
    }

    /// Every wait is sent by itself: what the bench sees does not depend on
    /// the tunnel being there.
    fn wait(&mut self, ns: u32) {
        let [a, b, c, d] = ns.to_le_bytes();
        self.push(&[WAIT, a, b, c, d]);
    }

    /// One transfer with chip select held; bytes from `skip` on are read back.
    fn transfer(&mut self, device: u8, bytes: &mut [u8], skip: usize) {
        // Both fit: `MAX_TRANSFER` is below 256 and `skip` no longer than it.
        self.push(&[device, bytes.len() as u8, skip as u8]);
        self.push(bytes);
        if skip < bytes.len() {
            self.ask();
            for byte in bytes.iter_mut().skip(skip) {
                *byte = self.line.get();
            }
        }
    }

    fn rearm(&mut self, high: bool) {
        self.push(&[REARM, u8::from(high)]);
    }

    fn show(&mut self, [first, second]: [&str; 2]) {
        // Both are far shorter than 256.
        self.push(&[SHOW, first.len() as u8, second.len() as u8]);
        self.push(first.as_bytes());
        self.push(second.as_bytes());
    }

    fn signal(&mut self, signal: Signal) {
        let code = match signal {
            Signal::Quiet => 0,
            Signal::Busy => 1,
            Signal::Pass => 2,
            Signal::Off => 3,
            Signal::Refused => 4,
        };
        self.push(&[SIGNAL, code]);
    }

    /// What was pressed since this was last asked, as the bench has it.
    fn pressed(&mut self) -> u8 {
        self.push(&[PRESSED]);
        self.ask();
        self.line.get()
    }

    /// Sends what is pending and takes in the head of the answer.
    fn ask(&mut self) {
        self.push(&[ANSWER]);
        self.line.put(&self.pending);
        self.pending.clear();
        let mut head = 0u64;
        let mut shift = 0u32;
        loop {
            let byte = self.line.get();
            head |= u64::from(byte & 0x7F).checked_shl(shift).unwrap_or(0);
            shift += 7;
            if byte & 0x80 == 0 {
                break;
            }
        }
        self.tripped = head & 1 == 1;
        self.now_ns = self.now_ns.wrapping_add(head >> 1);
        self.stale = false;
    }

    fn refresh(&mut self) {
        if self.stale {
            self.ask();
        }
    }

    /// Whether the trip latch is set, now.
    fn is_tripped(&mut self) -> bool {
        self.refresh();
        self.tripped
    }

    /// The bench's virtual clock, in nanoseconds.
    pub fn now_ns(&mut self) -> u64 {
        self.refresh();
        self.now_ns
    }
}

/// One of the bench's SPI devices.
pub struct Spi<'a, L> {
    tunnel: &'a RefCell<Tunnel<L>>,
    device: u8,
}

impl<'a, L> Spi<'a, L> {
    /// The device with this number: 0 drive, 1 gate, 2 select, 3 adc.
    pub fn new(tunnel: &'a RefCell<Tunnel<L>>, device: u8) -> Self {
        Self { tunnel, device }
    }
}

/// A transaction longer than [`MAX_TRANSFER`].
#[derive(Debug)]
pub struct TooLong;

impl spi::Error for TooLong {
    fn kind(&self) -> spi::ErrorKind {
        spi::ErrorKind::Other
    }
}

impl<L> spi::ErrorType for Spi<'_, L> {
    type Error = TooLong;
}

impl<L: Line> SpiDevice for Spi<'_, L> {
    fn transaction(&mut self, operations: &mut [Operation<'_, u8>]) -> Result<(), TooLong> {
        let mut bytes: heapless::Vec<u8, MAX_TRANSFER> = heapless::Vec::new();
        let mut skip = None;
        let mut wait = 0u32;
        for operation in operations.iter() {
            let from = bytes.len();
            let reads = match operation {
                Operation::Write(out) => {
                    bytes.extend_from_slice(out).map_err(|_| TooLong)?;
                    false
                }
                Operation::TransferInPlace(words) => {
                    bytes.extend_from_slice(words).map_err(|_| TooLong)?;
                    true
                }
                Operation::Read(into) => {
                    bytes.resize(from + into.len(), 0).map_err(|_| TooLong)?;
                    true
                }
                Operation::Transfer(into, out) => {
                    bytes.extend_from_slice(out).map_err(|_| TooLong)?;
                    bytes
                        .resize(from + into.len().max(out.len()), 0)
                        .map_err(|_| TooLong)?;
                    true
                }
                Operation::DelayNs(ns) => {
                    wait = wait.saturating_add(*ns);
                    false
                }
            };
            if reads && skip.is_none() {
                skip = Some(from);
            }
        }
        let skip = skip.unwrap_or(bytes.len());
        let mut tunnel = self.tunnel.borrow_mut();
        // Delays within a transaction are spent before the first bit, as on
        // the bench itself.
        if wait > 0 {
            tunnel.wait(wait);
        }
        tunnel.transfer(self.device, &mut bytes, skip);
        drop(tunnel);

        let mut from = 0;
        for operation in operations {
            from += match operation {
                Operation::Write(out) => out.len(),
                Operation::TransferInPlace(words) => {
                    copy(words, &bytes, from);
                    words.len()
                }
                Operation::Read(into) => {
                    copy(into, &bytes, from);
                    into.len()
                }
                Operation::Transfer(into, out) => {
                    copy(into, &bytes, from);
                    into.len().max(out.len())
                }
                Operation::DelayNs(_) => 0,
            };
        }
        Ok(())
    }
}

fn copy(into: &mut [u8], bytes: &[u8], from: usize) {
    for (to, byte) in into.iter_mut().zip(bytes.iter().skip(from)) {
        *to = *byte;
    }
}

/// The trip latch, as a pin.
pub struct Trip<'a, L>(pub &'a RefCell<Tunnel<L>>);

impl<L> digital::ErrorType for Trip<'_, L> {
    type Error = Infallible;
}

impl<L: Line> InputPin for Trip<'_, L> {
    fn is_high(&mut self) -> Result<bool, Infallible> {
        Ok(self.0.borrow_mut().is_tripped())
    }

    fn is_low(&mut self) -> Result<bool, Infallible> {
        self.is_high().map(|high| !high)
    }
}

/// The rearm output, as a pin.
pub struct Rearm<'a, L>(pub &'a RefCell<Tunnel<L>>);

impl<L> digital::ErrorType for Rearm<'_, L> {
    type Error = Infallible;
}

impl<L: Line> OutputPin for Rearm<'_, L> {
    fn set_low(&mut self) -> Result<(), Infallible> {
        self.0.borrow_mut().rearm(false);
        Ok(())
    }

    fn set_high(&mut self) -> Result<(), Infallible> {
        self.0.borrow_mut().rearm(true);
        Ok(())
    }
}

/// Lets the bench's time pass.
pub struct Delay<'a, L>(pub &'a RefCell<Tunnel<L>>);

impl<L: Line> DelayNs for Delay<'_, L> {
    fn delay_ns(&mut self, ns: u32) {
        self.0.borrow_mut().wait(ns);
    }
}

/// A panel that whoever is at the bench looks at and presses.
pub struct Panel<'a, L>(&'a RefCell<Tunnel<L>>);

impl<'a, L: Line> Panel<'a, L> {
    /// The panel, if the bench has one.
    pub fn found(tunnel: &'a RefCell<Tunnel<L>>) -> Option<Self> {
        let answer = tunnel.borrow_mut().pressed();
        (answer != NO_PANEL).then_some(Self(tunnel))
    }
}

impl<L: Line> alone::Panel for Panel<'_, L> {
    fn show(&mut self, lines: [&str; 2]) {
        self.0.borrow_mut().show(lines);
    }

    fn pressed(&mut self) -> Option<Button> {
        match self.0.borrow_mut().pressed() {
            1 => Some(Button::Next),
            2 => Some(Button::Repeat),
            _ => None,
        }
    }

    fn signal(&mut self, signal: Signal) {
        self.0.borrow_mut().signal(signal);
    }
}

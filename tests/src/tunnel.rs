//! The bench's end of the tunnel to the emulated board: turns a byte stream
//! into SPI transfers, waits and pin changes. The protocol is written down in
//! `docs/emulated-board.md`; the board's end is
//! `firmware/boards/emulated/src/tunnel.rs`.

use loomproof::bench::{Bench, Device};
use loomproof_firmware::alone::{Button, Signal};
use std::fmt;

/// What the tunnel drives: the virtual bench.
pub trait Wired {
    /// One SPI transfer with chip select held; the bytes are replaced by what
    /// the device answers.
    fn transfer(&mut self, device: u8, bytes: &mut [u8]);
    /// Lets virtual time pass.
    fn wait_ns(&mut self, ns: u64);
    /// Whether the trip latch is set.
    fn tripped(&mut self) -> bool;
    /// Sets the rearm output.
    fn set_rearm(&mut self, high: bool);
    /// The virtual clock.
    fn now_ns(&mut self) -> u64;
    /// The probe's panel, if it has one.
    fn panel(&mut self) -> Option<&mut dyn Pressed> {
        None
    }
}

/// A panel, and somebody who presses its buttons.
pub trait Pressed {
    /// What it shows.
    fn show(&mut self, lines: [&str; 2]);
    /// Light and beeper.
    fn signal(&mut self, signal: Signal);
    /// A button, and how long somebody looks at the display before.
    fn pressed(&mut self) -> (u64, Option<Button>);
}

impl Wired for Bench {
    fn transfer(&mut self, device: u8, bytes: &mut [u8]) {
        let device = match device {
            0 => Device::Drive,
            1 => Device::Gate,
            2 => Device::Select,
            _ => Device::Adc,
        };
        Bench::transfer(self, device, bytes);
    }
    fn wait_ns(&mut self, ns: u64) {
        self.wait(ns);
    }
    fn tripped(&mut self) -> bool {
        Bench::tripped(self)
    }
    fn set_rearm(&mut self, high: bool) {
        Bench::set_rearm(self, high);
    }
    fn now_ns(&mut self) -> u64 {
        Bench::now_ns(self)
    }
}

/// The board sent something that is no operation.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct OutOfStep(pub u8);

impl fmt::Display for OutOfStep {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "the board sent {:#04x} where the tunnel expects an operation",
            self.0
        )
    }
}

impl std::error::Error for OutOfStep {}

/// How many SPI devices there are.
const DEVICES: u8 = 4;
const WAIT: u8 = 0x10;
const REARM: u8 = 0x11;
const SHOW: u8 = 0x12;
const SIGNAL: u8 = 0x13;
const PRESSED: u8 = 0x14;
const ANSWER: u8 = 0x1F;
/// What is answered where no panel is.
const NO_PANEL: u8 = 0xFF;
/// In the order of their codes.
const SIGNALS: [Signal; 5] = [
    Signal::Quiet,
    Signal::Busy,
    Signal::Pass,
    Signal::Off,
    Signal::Refused,
];

/// One operation, taken apart.
enum Operation<'a> {
    Transfer {
        device: u8,
        skip: usize,
        bytes: &'a [u8],
    },
    Wait(u32),
    Rearm(bool),
    Show(&'a [u8], &'a [u8]),
    Signal(Signal),
    Pressed,
    Answer,
}

/// The state between two pieces of the stream.
#[derive(Debug, Default)]
pub struct Server {
    input: Vec<u8>,
    read_back: Vec<u8>,
    answered_ns: u64,
    /// Operations carried out.
    pub operations: u64,
    /// Answers given: round trips.
    pub answers: u64,
}

impl Server {
    /// Carries out what these bytes complete; returns what is to be sent back.
    ///
    /// # Errors
    /// [`OutOfStep`]; the stream cannot be used any further.
    pub fn receive(&mut self, bytes: &[u8], bench: &mut dyn Wired) -> Result<Vec<u8>, OutOfStep> {
        self.input.extend_from_slice(bytes);
        let input = std::mem::take(&mut self.input);
        let mut rest = input.as_slice();
        let mut out = Vec::new();
        while let Some((operation, after)) = parse(rest)? {
            rest = after;
            self.operations += 1;
            match operation {
                Operation::Transfer {
                    device,
                    skip,
                    bytes,
                } => {
                    let mut bytes = bytes.to_vec();
                    bench.transfer(device, &mut bytes);
                    self.read_back.extend(bytes.iter().skip(skip));
                }
                Operation::Wait(ns) => bench.wait_ns(u64::from(ns)),
                Operation::Rearm(high) => bench.set_rearm(high),
                Operation::Show(first, second) => {
                    if let Some(panel) = bench.panel() {
                        let text = String::from_utf8_lossy;
                        panel.show([&text(first), &text(second)]);
                    }
                }
                Operation::Signal(signal) => {
                    if let Some(panel) = bench.panel() {
                        panel.signal(signal);
                    }
                }
                Operation::Pressed => self.pressed(bench),
                Operation::Answer => {
                    self.answers += 1;
                    self.answer(bench, &mut out);
                }
            }
        }
        self.input = rest.to_vec();
        Ok(out)
    }

    fn pressed(&mut self, bench: &mut dyn Wired) {
        let Some((looked_ns, button)) = bench.panel().map(|panel| panel.pressed()) else {
            self.read_back.push(NO_PANEL);
            return;
        };
        bench.wait_ns(looked_ns);
        self.read_back.push(match button {
            None => 0,
            Some(Button::Next) => 1,
            Some(Button::Repeat) => 2,
        });
    }

    /// Time since the last answer and the trip latch in one number, low seven
    /// bits first, and the bytes read since.
    fn answer(&mut self, bench: &mut dyn Wired, out: &mut Vec<u8>) {
        let now = bench.now_ns();
        let mut head = (now - self.answered_ns) << 1 | u64::from(bench.tripped());
        self.answered_ns = now;
        while head >= 0x80 {
            out.push((head & 0x7F) as u8 | 0x80);
            head >>= 7;
        }
        out.push(head as u8);
        out.append(&mut self.read_back);
    }
}

/// The first operation, if it is complete, and what follows it.
fn parse(input: &[u8]) -> Result<Option<(Operation<'_>, &[u8])>, OutOfStep> {
    Ok(match *input {
        [device, length, skip, ref rest @ ..] if device < DEVICES => rest
            .split_at_checked(usize::from(length))
            .map(|(bytes, after)| {
                (
                    Operation::Transfer {
                        device,
                        skip: usize::from(skip),
                        bytes,
                    },
                    after,
                )
            }),
        [WAIT, a, b, c, d, ref rest @ ..] => {
            Some((Operation::Wait(u32::from_le_bytes([a, b, c, d])), rest))
        }
        [REARM, high, ref rest @ ..] if high < 2 => Some((Operation::Rearm(high == 1), rest)),
        [SHOW, first, second, ref rest @ ..] => {
            let text = rest.split_at_checked(usize::from(first) + usize::from(second));
            text.map(|(text, after)| {
                let (first, second) = text.split_at(usize::from(first));
                (Operation::Show(first, second), after)
            })
        }
        [SIGNAL, code, ref rest @ ..] => match SIGNALS.get(usize::from(code)) {
            Some(signal) => Some((Operation::Signal(*signal), rest)),
            None => return Err(OutOfStep(code)),
        },
        [PRESSED, ref rest @ ..] => Some((Operation::Pressed, rest)),
        [ANSWER, ref rest @ ..] => Some((Operation::Answer, rest)),
        [first, ..] if first < DEVICES || first == WAIT || first == SHOW => None,
        [REARM | SIGNAL] | [] => None,
        [first, ..] => return Err(OutOfStep(first)),
    })
}

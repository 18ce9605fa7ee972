//! Two lines of a character display with an HD44780 or one of the many that do as it does
//! (ST7066, KS0066), by four data wires, through the crate `lcd`. Nothing is read back:
//! a display of 5 V then needs no other levels, and one that is missing cannot hold the
//! probe up, as a bus with answers can.

use embedded_hal::delay::DelayNs;
use embedded_hal::digital::OutputPin;
use lcd::{DisplayBlink, DisplayCursor, DisplayMode, FunctionDots, FunctionLine};
use loomproof_core::image::COLUMNS;
use loomproof_core::units::Micros;

/// The display is set up so long after it was first looked after: it needs 40 ms of supply
/// before (HD44780U datasheet, "initializing by instruction"; from memory).
pub const SETS_UP_AFTER: Micros = Micros(50_000);

/// The display's wires; its read/write pin is tied to ground.
#[derive(Debug)]
pub struct Bus<P, W> {
    /// RS: low for an instruction, high for a character.
    pub select: P,
    /// E.
    pub enable: P,
    /// DB4 to DB7.
    pub data: [P; 4],
    /// Waits.
    pub delay: W,
}

impl<P: OutputPin, W: DelayNs> lcd::Hardware for Bus<P, W> {
    fn rs(&mut self, bit: bool) {
        let _ = self.select.set_state(bit.into());
    }

    fn enable(&mut self, bit: bool) {
        let _ = self.enable.set_state(bit.into());
    }

    fn data(&mut self, data: u8) {
        for (bit, pin) in self.data.iter_mut().enumerate() {
            let _ = pin.set_state((data >> bit & 1 == 1).into());
        }
    }

    fn wait_address(&mut self) {
        self.delay.delay_ns(100);
    }
}

impl<P: OutputPin, W: DelayNs> lcd::Delay for Bus<P, W> {
    /// Half as long again as the driver asks, which counts on the usual 270 kHz: the slowest
    /// oscillator has 190 kHz (HD44780U datasheet, AC characteristics; from memory).
    fn delay_us(&mut self, us: u32) {
        self.delay.delay_us(us.saturating_add(us.div_ceil(2)));
    }
}

type Lines = [[u8; COLUMNS]; 2];

const EMPTY: Lines = [[b' '; COLUMNS]; 2];

/// What stands on the display, and what is to.
pub(super) struct Standing<P: OutputPin, W: DelayNs> {
    display: lcd::Display<Bus<P, W>>,
    wanted: Lines,
    /// `None` while it is not set up.
    stands: Option<Lines>,
    /// When it was first looked after.
    start: Option<Micros>,
}

impl<P: OutputPin, W: DelayNs> Standing<P, W> {
    pub(super) fn new(bus: Bus<P, W>) -> Self {
        Self {
            display: lcd::Display::new(bus),
            wanted: EMPTY,
            stands: None,
            start: None,
        }
    }

    pub(super) fn show(&mut self, lines: [&str; 2]) {
        self.wanted = EMPTY;
        for (places, line) in self.wanted.iter_mut().zip(lines) {
            for (place, letter) in places.iter_mut().zip(line.chars()) {
                *place = known(letter);
            }
        }
    }

    pub(super) const fn set_up_anew(&mut self) {
        self.stands = None;
    }

    /// Writes what changed.
    pub(super) fn tend(&mut self, now: Micros) {
        let start = *self.start.get_or_insert(now);
        let mut stands = match self.stands {
            Some(stands) if stands == self.wanted => return,
            Some(stands) => stands,
            None if now.0.wrapping_sub(start.0) < SETS_UP_AFTER.0 => return,
            None => self.set_up(),
        };
        for (row, (wanted, stands)) in (0..).zip(self.wanted.iter().zip(&mut stands)) {
            // Where the display writes next.
            let mut next = None;
            for (column, (wanted, stands)) in (0..).zip(wanted.iter().zip(stands)) {
                if wanted == stands {
                    continue;
                }
                if next != Some(column) {
                    self.display.position(column, row);
                }
                self.display.write(*wanted);
                *stands = *wanted;
                next = Some(column + 1);
            }
        }
        self.stands = Some(stands);
    }

    /// From whatever state it is in; it is empty then.
    fn set_up(&mut self) -> Lines {
        self.display
            .init(FunctionLine::Line2, FunctionDots::Dots5x8);
        self.display.display(
            DisplayMode::DisplayOn,
            DisplayCursor::CursorOff,
            DisplayBlink::BlinkOff,
        );
        EMPTY
    }
}

/// Its code. Beyond ASCII, and at `\` and `~`, the chips' character tables differ
/// (HD44780U datasheet, table 4; from memory).
const fn known(letter: char) -> u8 {
    match letter {
        '\\' | '~' => b'?',
        ' '..='}' => letter as u8,
        _ => b'?',
    }
}

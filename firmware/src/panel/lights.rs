//! Two lights and a beeper. What they say, the display says in words: nobody has to know
//! it by heart, and nobody has to tell red from green.

use embedded_hal::digital::OutputPin;
use loomproof_core::units::Micros;

use crate::alone::Signal;

/// A short beep, and the pause after any.
pub const SHORT: Micros = Micros(150_000);

/// A long beep.
pub const LONG: Micros = Micros(600_000);

/// How long a blinking light is on, and off.
pub const BLINK: Micros = Micros(400_000);

/// Outputs of the lights and the beeper: high is on.
#[derive(Debug)]
pub struct Lamps<P> {
    /// Green.
    pub green: P,
    /// Red.
    pub red: P,
    /// The beeper.
    pub beeper: P,
}

/// What is to be seen and heard.
#[derive(Debug)]
pub(super) struct Shining<P> {
    lamps: Lamps<P>,
    signal: Signal,
    /// When the signal was first attended to.
    since: Option<Micros>,
    /// Its beeps are over; without this they would come again when the clock wraps.
    silent: bool,
}

/// How often and how long it beeps: once is good, several times is not.
const fn beeps(signal: Signal) -> (u32, Micros) {
    match signal {
        Signal::Quiet | Signal::Busy => (0, SHORT),
        Signal::Pass => (1, LONG),
        Signal::Off => (3, SHORT),
        Signal::Refused => (2, LONG),
    }
}

impl<P: OutputPin> Shining<P> {
    pub(super) const fn new(lamps: Lamps<P>) -> Self {
        Self {
            lamps,
            signal: Signal::Quiet,
            since: None,
            silent: true,
        }
    }

    pub(super) fn signal(&mut self, signal: Signal) {
        self.signal = signal;
        self.since = None;
        self.silent = false;
    }

    pub(super) fn tend(&mut self, now: Micros) {
        let since = *self.since.get_or_insert(now);
        let passed = now.0.wrapping_sub(since.0);
        let blink = (passed / BLINK.0).is_multiple_of(2);
        let (green, red) = match self.signal {
            Signal::Quiet => (false, false),
            Signal::Busy => (blink, false),
            Signal::Pass => (true, false),
            Signal::Off => (false, true),
            Signal::Refused => (false, blink),
        };
        let (number, length) = beeps(self.signal);
        let each = length.0 + SHORT.0;
        self.silent |= passed / each >= number;
        let beep = !self.silent && passed % each < length.0;
        for (lamp, on) in [
            (&mut self.lamps.green, green),
            (&mut self.lamps.red, red),
            (&mut self.lamps.beeper, beep),
        ] {
            let _ = lamp.set_state(on.into());
        }
    }
}

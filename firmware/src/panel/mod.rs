//! The panel on the probe's case: a display of two lines, two buttons, two lights and a
//! beeper, over embedded-hal pins, so that a board only names them.
//!
//! [`Front::tend`] is to be called every time the main loop comes round. It is quick
//! while nothing changes and takes a few milliseconds where the display does. Nothing here
//! waits for a finger or for a chip to answer: a board whose panel is missing or broken
//! serves a computer as before.

mod buttons;
mod display;
mod lights;

use embedded_hal::delay::DelayNs;
use embedded_hal::digital::{InputPin, OutputPin};
use loomproof_core::units::Micros;

use crate::alone::{Button, Panel, Signal};
use buttons::Finger;
pub use buttons::STEADY;
use display::Standing;
pub use display::{Bus, SETS_UP_AFTER};
use lights::Shining;
pub use lights::{BLINK, LONG, Lamps, SHORT};

/// Inputs of the buttons: low while one is pressed.
#[derive(Debug)]
pub struct Keys<I> {
    /// Go on.
    pub next: I,
    /// The other choice, back, again.
    pub repeat: I,
}

/// What stands on the probe's case.
pub struct Front<P: OutputPin, I, W: DelayNs> {
    display: Standing<P, W>,
    next: Finger<I>,
    repeat: Finger<I>,
    shining: Shining<P>,
}

impl<P: OutputPin, I: InputPin, W: DelayNs> Front<P, I, W> {
    /// A dark panel; the display is set up by [`Front::tend`].
    pub fn new(bus: Bus<P, W>, keys: Keys<I>, lamps: Lamps<P>) -> Self {
        Self {
            display: Standing::new(bus),
            next: Finger::new(keys.next),
            repeat: Finger::new(keys.repeat),
            shining: Shining::new(lamps),
        }
    }

    /// Looks at the buttons and brings display, lights and beeper up to date.
    #[inline(never)]
    pub fn tend(&mut self, now: Micros) {
        let next = self.next.look(now);
        let repeat = self.repeat.look(now);
        if next || repeat {
            // A discharge can make the display lose step, and it cannot be asked.
            // Whoever presses a button because of what stands there sees it mended.
            self.display.set_up_anew();
        }
        self.display.tend(now);
        self.shining.tend(now);
    }
}

impl<P: OutputPin, I: InputPin, W: DelayNs> Panel for Front<P, I, W> {
    fn show(&mut self, lines: [&str; 2]) {
        self.display.show(lines);
    }

    fn pressed(&mut self) -> Option<Button> {
        let pressed = (self.next.take(), self.repeat.take());
        // A glove on both says nothing.
        if self.next.is_down() && self.repeat.is_down() {
            return None;
        }
        match pressed {
            (true, false) => Some(Button::Next),
            (false, true) => Some(Button::Repeat),
            _ => None,
        }
    }

    fn signal(&mut self, signal: Signal) {
        self.shining.signal(signal);
    }
}

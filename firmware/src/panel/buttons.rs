//! A button that is pressed by a finger in a glove.

use embedded_hal::digital::InputPin;
use loomproof_core::units::Micros;

/// How long a button has to look the same before that counts: contacts bounce for some
/// milliseconds (common practice).
pub const STEADY: Micros = Micros(20_000);

/// A button: low while it is pressed.
#[derive(Debug)]
pub(super) struct Finger<I> {
    input: I,
    /// What was seen last, and since when.
    seen: bool,
    since: Micros,
    /// What counts.
    down: bool,
    pressed: bool,
}

impl<I: InputPin> Finger<I> {
    /// Taken for held down until it was seen up: one that is stuck is not pressed.
    pub(super) const fn new(input: I) -> Self {
        Self {
            input,
            seen: true,
            since: Micros(0),
            down: true,
            pressed: false,
        }
    }

    /// Looks at it; true where a press begins.
    pub(super) fn look(&mut self, now: Micros) -> bool {
        let down = self.input.is_low().unwrap_or(false);
        if down != self.seen {
            self.seen = down;
            self.since = now;
            return false;
        }
        if down == self.down || now.0.wrapping_sub(self.since.0) < STEADY.0 {
            return false;
        }
        self.down = down;
        self.pressed |= down;
        down
    }

    /// Whether it was pressed since it was last asked.
    pub(super) const fn take(&mut self) -> bool {
        core::mem::replace(&mut self.pressed, false)
    }

    pub(super) const fn is_down(&self) -> bool {
        self.down
    }
}

//! Waiting, the clock, and the watchdog that looks after both.

use core::cell::Cell;
use embedded_hal::delay::DelayNs;
use fugit::MicrosDurationU32;
use loomproof_core::units::Micros;
use loomproof_firmware::Clock;
use loomproof_firmware::settling::MAX_STEP;
use rp2040_hal::{Timer, Watchdog};

/// The watchdog resets the controller, and by that lets every drive go, when
/// nobody has fed it for so long.
const BITES: MicrosDurationU32 = MicrosDurationU32::millis(100);

/// A wait is cut into pieces of at most this many nanoseconds, each of which
/// feeds the watchdog.
const PIECE_NS: u32 = 10_000_000;

/// The longest that one request may take: the longest step, and as much again
/// for looking at the leads and draining them. Waits of a request that lasts
/// longer feed the watchdog no more.
const LONGEST_REQUEST: Micros = Micros(2 * MAX_STEP.0);

/// The timer and the watchdog. Fed by the main loop and, because a request
/// may take seconds, by every wait of the probe application, but not for ever.
pub struct Keeper {
    timer: Timer,
    watchdog: Watchdog,
    /// When the main loop came round last.
    round: Cell<u32>,
}

impl Keeper {
    /// Starts the watchdog.
    pub fn start(timer: Timer, mut watchdog: Watchdog) -> Self {
        watchdog.pause_on_debug(true);
        watchdog.start(BITES);
        Self {
            timer,
            watchdog,
            round: Cell::new(timer.get_counter_low()),
        }
    }

    /// The main loop has come round: nothing is under way.
    pub fn round(&self) {
        self.round.set(self.timer.get_counter_low());
        self.watchdog.feed();
    }

    /// Microseconds, wrapping.
    pub fn now(&self) -> u32 {
        self.timer.get_counter_low()
    }

    fn feed_within_a_request(&self) {
        if self.now().wrapping_sub(self.round.get()) < LONGEST_REQUEST.0 {
            self.watchdog.feed();
        }
    }
}

/// Waits of the probe application.
#[derive(Clone, Copy)]
pub struct Waits(pub &'static Keeper);

impl DelayNs for Waits {
    fn delay_ns(&mut self, ns: u32) {
        let mut timer = self.0.timer;
        let mut left = ns;
        while left > PIECE_NS {
            self.0.feed_within_a_request();
            timer.delay_ns(PIECE_NS);
            left -= PIECE_NS;
        }
        self.0.feed_within_a_request();
        timer.delay_ns(left);
    }
}

/// The probe's clock.
#[derive(Clone, Copy)]
pub struct BoardClock(pub &'static Keeper);

impl Clock for BoardClock {
    fn now(&mut self) -> Micros {
        Micros(self.0.now())
    }
}

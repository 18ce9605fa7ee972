//! Waiting, the clock, and the watchdog that looks after both.

use core::cell::{Cell, RefCell};
use embedded_hal::delay::DelayNs;
use fugit::MicrosDurationU32;
use loomproof_core::units::Micros;
use loomproof_firmware::Clock;
use loomproof_firmware::settling::MAX_STEP;
use rp2040_hal::{Timer, Watchdog};

/// The watchdog resets the controller, and by that lets every drive go, when
/// nobody has fed it for so long.
const BITES: MicrosDurationU32 = MicrosDurationU32::millis(100);

/// The same while the flash chip erases or writes, when no code can run that would feed
/// it: a sector takes 0.4 s at most (W25Q16JV datasheet, sector erase time; from memory).
const BITES_FLASH: MicrosDurationU32 = MicrosDurationU32::millis(1_000);

/// A wait is cut into pieces of at most this many nanoseconds, each of which
/// feeds the watchdog.
const PIECE_NS: u32 = 10_000_000;

/// The longest that one request may take: the longest step, and as much again
/// for looking at the leads and draining them. Waits of a request that lasts
/// longer feed the watchdog no more.
const LONGEST_REQUEST: Micros = Micros(2 * MAX_STEP.0);

/// The timer and the watchdog. Fed by the main loop and, because a request
/// may take seconds, by every wait of the probe application and every look into its
/// memory, but not for ever.
pub struct Keeper {
    timer: Timer,
    watchdog: RefCell<Watchdog>,
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
            watchdog: RefCell::new(watchdog),
            round: Cell::new(timer.get_counter_low()),
        }
    }

    /// The main loop has come round: nothing is under way.
    pub fn round(&self) {
        self.round.set(self.timer.get_counter_low());
        self.watchdog.borrow().feed();
    }

    /// Microseconds, wrapping.
    pub fn now(&self) -> u32 {
        self.timer.get_counter_low()
    }

    /// Feeds the watchdog while the main loop cannot have come round yet.
    pub fn feed_within_a_request(&self) {
        if self.now().wrapping_sub(self.round.get()) < LONGEST_REQUEST.0 {
            self.watchdog.borrow().feed();
        }
    }

    /// One action of the flash chip, for which the watchdog waits longer. A chip that
    /// never comes back is ended by it all the same.
    pub fn through_a_flash_action(&self, act: impl FnOnce()) {
        self.watchdog.borrow_mut().start(BITES_FLASH);
        act();
        self.watchdog.borrow_mut().start(BITES);
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

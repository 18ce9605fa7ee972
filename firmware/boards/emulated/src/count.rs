//! Counts the instructions that the core executes.
//!
//! QEMU with `-icount shift=7` lets 128 ns of its virtual time pass with every
//! instruction, whatever the machine below it does meanwhile. SysTick, clocked
//! by the board's 25 MHz (Application Note AN385, "Clocks"), counts that time.

use core::cell::Cell;
use cortex_m::peripheral::SYST;
use cortex_m::peripheral::syst::SystClkSource;

use crate::tunnel::Line;

/// Nanoseconds of an instruction: those of `-icount shift=7`.
const INSTRUCTION_NS: u64 = 128;
/// Nanoseconds of a tick of SysTick.
const TICK_NS: u64 = 40;
/// SysTick counts down from here and starts anew.
const RELOAD: u32 = 0x00FF_FFFF;

/// A count that can be stopped and taken up again.
///
/// Between starting and stopping fewer than five million instructions may pass.
pub struct Count {
    counted: Cell<u64>,
    since: Cell<Option<u32>>,
}

impl Count {
    /// Starts the timer; nothing is counted yet.
    #[must_use]
    pub fn new(timer: &mut SYST) -> Self {
        timer.set_clock_source(SystClkSource::Core);
        timer.set_reload(RELOAD);
        timer.clear_current();
        timer.enable_counter();
        Self {
            counted: Cell::new(0),
            since: Cell::new(None),
        }
    }

    /// Counts from here on.
    pub fn start(&self) {
        self.since.set(Some(SYST::get_current()));
    }

    /// Counts no further; says whether it did.
    pub fn stop(&self) -> bool {
        let now = SYST::get_current();
        let Some(since) = self.since.take() else {
            return false;
        };
        let passed = u64::from(since.wrapping_sub(now) & RELOAD) * TICK_NS;
        // A tick is less than half an instruction: rounded, the count is exact.
        let instructions = (passed + INSTRUCTION_NS / 2) / INSTRUCTION_NS;
        self.counted
            .set(self.counted.get().saturating_add(instructions));
        true
    }

    /// What this does is not counted.
    pub fn without<T>(&self, work: impl FnOnce() -> T) -> T {
        let counting = self.stop();
        let done = work();
        if counting {
            self.start();
        }
        done
    }

    /// The instructions counted since this was asked last.
    pub fn take(&self) -> u64 {
        self.counted.take()
    }
}

/// A line whose own work is not counted: what it waits for is another program.
pub struct Uncounted<'c, L> {
    line: L,
    count: &'c Count,
}

impl<'c, L> Uncounted<'c, L> {
    /// This line, left out of that count.
    pub fn new(line: L, count: &'c Count) -> Self {
        Self { line, count }
    }
}

impl<L: Line> Line for Uncounted<'_, L> {
    fn put(&mut self, bytes: &[u8]) {
        let line = &mut self.line;
        self.count.without(|| line.put(bytes));
    }

    fn get(&mut self) -> u8 {
        let line = &mut self.line;
        self.count.without(|| line.get())
    }
}

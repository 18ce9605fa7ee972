//! How long an answer may take.

use loomproof_core::units::Micros;
use loomproof_core::wire::{MAX_WATCH, Request};
use loomproof_firmware::cost::longest;
use loomproof_firmware::settling::MAX_STEP;
use std::time::Duration;

/// How long a session waits.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Patience {
    /// For the first hello in all. A probe that has just been plugged in, or
    /// an emulated one, takes about a second.
    pub hello: Duration,
    /// Between two hellos.
    pub repeat: Duration,
    /// For a reply, beyond what the request itself takes.
    pub reply: Duration,
    /// How long a damaged reply is waited out before the request is repeated.
    pub damaged: Duration,
    /// How often a request is sent, with the same sequence number.
    pub attempts: u32,
}

impl Default for Patience {
    fn default() -> Self {
        Self {
            hello: Duration::from_secs(3),
            repeat: Duration::from_millis(500),
            reply: Duration::from_secs(2),
            damaged: Duration::from_millis(250),
            attempts: 3,
        }
    }
}

/// The slowest SPI clock of any board, for which the firmware says how long a
/// step takes at most. (The emulated board is faster than its virtual clock.)
const SPI_KHZ: u32 = 1000;

/// The longest that [`Request::Arm`] waits stored charge out: 31 rounds of
/// up to 20 ms and the surveys between them, 128 leads twice in about 30 ms
/// (`loomproof_firmware::interlock::DRAIN`).
const DRAIN: Duration = Duration::from_millis(31 * (20 + 40));

/// How much longer than its span a window may last: each look of the emulated board
/// asks the bench for the time, which takes a fraction of a millisecond in place of 11 µs.
const SLOWER: u32 = 40;

impl Patience {
    /// How long the answer to this request may take, each time it is sent.
    #[must_use]
    pub fn for_request(&self, request: &Request) -> Duration {
        self.reply
            + match request {
                Request::Survey
                | Request::Release
                | Request::Inspect
                | Request::Nulls(_)
                | Request::Keep(_)
                | Request::Plan
                | Request::Load(_)
                | Request::Result(_)
                | Request::Forget(_) => Duration::ZERO,
                // Two short steps, each with all patience for what creeps.
                Request::Prove(_) => DRAIN * 2,
                Request::Arm(_) => DRAIN,
                Request::Watch(watch) => micros(watch.span.min(MAX_WATCH)) * SLOWER,
                // Stored charge is waited out before as in a step.
                Request::Guard(guard) => DRAIN + micros(guard.span.min(MAX_WATCH)) * SLOWER,
                Request::Feel(_) => micros(MAX_STEP),
                Request::Step(step) => micros(longest(step, SPI_KHZ)),
            }
    }
}

fn micros(Micros(span): Micros) -> Duration {
    Duration::from_micros(u64::from(span))
}

#[cfg(test)]
mod tests {
    use super::*;
    use loomproof_core::units::MilliVolts;
    use loomproof_core::wire::{LeadId, Place, Sense, SenseMode, Step, Watch};

    fn step(senses: usize, settle: u32, samples: u8) -> Request {
        let sense = Sense {
            lead: LeadId(0),
            mode: SenseMode::Plain,
        };
        Request::Step(Step {
            high: [LeadId(0)].into_iter().collect(),
            low: [LeadId(1)].into_iter().collect(),
            settle: Micros(settle),
            pulled: Micros(settle),
            samples,
            senses: (0..senses).map(|_| sense).collect(),
        })
    }

    #[test]
    fn slow_requests_are_waited_for_and_none_for_ever() {
        let seconds = |request| Patience::default().for_request(&request).as_secs_f64();
        assert!((2.0..2.1).contains(&seconds(Request::Survey)));
        assert!(seconds(Request::Arm(Place::Vehicle)) > 2.0 + 25.0 * 0.02);
        // A quick step, which may empty what it charged for a second, and the slowest the
        // probe takes: 10 s of settling.
        let quick = seconds(step(1, 300, 4));
        assert!((2.0..5.0).contains(&quick), "{quick} s");
        let watched = |span| {
            seconds(Request::Watch(Watch {
                leads: [LeadId(0)].into_iter().collect(),
                low: MilliVolts(4_000),
                high: MilliVolts(8_000),
                span,
            }))
        };
        assert!((2.25..15.0).contains(&watched(MAX_WATCH)));
        assert!((2.25..15.0).contains(&watched(Micros(u32::MAX))));
        let slowest = seconds(step(12, 700_000, 64));
        assert!((2.0 + 10.0..100.0).contains(&slowest), "{slowest} s");
    }
}

//! The line itself: a byte stream on a simulated clock, to a probe whose bench
//! keeps the same time.

use std::cell::Cell;
use std::collections::VecDeque;
use std::rc::Rc;
use std::time::{Duration, Instant};

use loomproof::link::{Transport, TransportError, VirtualProbe};
use loomproof_core::units::Micros;
use loomproof_core::wire::frame::{MAX_REQUEST_FRAME, encode_hello_request, encode_request};
use loomproof_core::wire::{LeadId, Place, Request, Sense, SenseMode, Step};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::trouble::{Trouble, When};

/// A byte with start and stop bit at 115,200 baud.
const BYTE_SLOW: Duration = Duration::from_nanos(86_806);
/// A byte at full speed: about a megabyte a second (common practice).
const BYTE_FAST: Duration = Duration::from_micros(1);
/// The latest that a delayed message comes: later than any answer is waited for
/// three times.
const LATEST: Duration = Duration::from_secs(6);
/// Most bytes that a read gives at once, as chunks of USB.
const CHUNK: usize = 64;

/// What a port does from a message on.
enum Fate {
    Goes,
    Lost,
    Cut,
}

/// A line to a probe.
pub struct Unruly {
    probe: VirtualProbe,
    begun: Instant,
    now: Rc<Cell<Duration>>,
    /// Where the bench's clock stood when the line began, ns.
    bench: u64,
    trouble: Trouble,
    rng: ChaCha8Rng,
    /// Messages that the host has sent.
    sent: u32,
    /// On their way to the probe: when they are there, and how they were sent.
    to_probe: VecDeque<(Duration, u32, Vec<u8>)>,
    to_host: VecDeque<(Duration, u8)>,
    pulled: bool,
}

impl Unruly {
    /// A line with this trouble, repeatable by the seed.
    #[must_use]
    pub fn new(probe: VirtualProbe, trouble: Trouble, seed: u64) -> Self {
        let bench = probe.bench().now();
        Self {
            probe,
            begun: Instant::now(),
            now: Rc::default(),
            bench,
            trouble,
            rng: ChaCha8Rng::seed_from_u64(seed),
            sent: 0,
            to_probe: VecDeque::new(),
            to_host: VecDeque::new(),
            pulled: false,
        }
    }

    /// Simulated time since the line began.
    #[must_use]
    pub fn spent(&self) -> Duration {
        self.now.get()
    }

    /// The clock, which can be read when the line is gone.
    #[must_use]
    pub fn clock(&self) -> Rc<Cell<Duration>> {
        Rc::clone(&self.now)
    }

    /// Messages that the host has sent.
    #[must_use]
    pub fn sent(&self) -> u32 {
        self.sent
    }

    /// The probe at its end.
    #[must_use]
    pub fn probe(&self) -> &VirtualProbe {
        &self.probe
    }

    /// Nobody speaks for so long; the probe goes on by itself.
    pub fn silence(&mut self, span: Duration) {
        let end = self.now.get() + span;
        while let Some((at, ..)) = self.to_probe.front()
            && *at <= end
        {
            self.arrive();
        }
        self.now.set(end);
        self.keep_time(end);
        self.probe.idle();
    }

    fn byte(&self) -> Duration {
        if self.trouble.full_speed {
            BYTE_FAST
        } else {
            BYTE_SLOW
        }
    }

    fn took(&self, bytes: usize) -> Duration {
        self.byte() * u32::try_from(bytes).unwrap_or(u32::MAX)
    }

    fn late(&mut self) -> Duration {
        if self.trouble.delayed > 0.0 && self.rng.random::<f64>() < self.trouble.delayed {
            LATEST.mul_f64(self.rng.random())
        } else {
            Duration::ZERO
        }
    }

    /// The bench's clock goes on with the line's, as long as the probe is idle.
    fn keep_time(&mut self, until: Duration) {
        let until = self.bench + u64::try_from(until.as_nanos()).unwrap_or(u64::MAX);
        let now = self.probe.bench().now();
        if until > now {
            self.probe.bench().0.borrow_mut().wait(until - now);
        }
    }

    /// The next message is at the probe.
    fn arrive(&mut self) {
        let Some((at, message, bytes)) = self.to_probe.pop_front() else {
            return;
        };
        self.keep_time(at);
        self.probe.idle();
        let reset = match self.trouble.reset {
            Some(event) if event.is(message) => Some(event.when),
            _ if self.rng.random::<f64>() < self.trouble.resets => Some(When::After),
            _ => None,
        };
        if reset == Some(When::Before) {
            self.probe.restart();
            return;
        }
        let mut replies: Vec<Vec<u8>> = Vec::new();
        self.probe
            .receive(&bytes, &mut |reply| replies.push(reply.to_vec()));
        let mut fate = Fate::Goes;
        if let Some(when) = reset {
            self.probe.restart();
            fate = if when == When::After {
                Fate::Lost
            } else {
                Fate::Cut
            };
        }
        if let Some(event) = self.trouble.pulled
            && event.is(message)
        {
            self.pulled = true;
            fate = if event.when == When::After {
                Fate::Lost
            } else {
                Fate::Cut
            };
        }
        let done = self.probe.bench().now().saturating_sub(self.bench);
        let mut when = at.max(Duration::from_nanos(done));
        for reply in replies {
            let mut reply = self.trouble.damage(&reply, &mut self.rng);
            match fate {
                Fate::Goes => {}
                Fate::Lost => reply.clear(),
                Fate::Cut => reply.truncate(self.rng.random_range(0..=reply.len())),
            }
            when += self.late();
            for byte in reply {
                when += self.byte();
                self.to_host.push_back((when, byte));
            }
        }
        // What was late stays behind what came before it: it is one line.
        let mut last = Duration::ZERO;
        for (when, _) in &mut self.to_host {
            last = last.max(*when);
            *when = last;
        }
    }

    /// What another program would say, in a frame of its own or amid one of ours.
    fn second_host(&mut self, bytes: &mut Vec<u8>) {
        let lead = |rng: &mut ChaCha8Rng| LeadId(rng.random_range(0..16));
        let mut out = [0; MAX_REQUEST_FRAME];
        let seq = self.rng.random();
        let request = match self.rng.random_range(0..6) {
            0 => None,
            1 => Some(Request::Survey),
            2 => Some(Request::Arm(Place::Bench)),
            3 => Some(Request::Release),
            4 => Some(Request::Inspect),
            _ => Some(Request::Step(Step {
                high: [lead(&mut self.rng)].into_iter().collect(),
                low: [].into_iter().collect(),
                settle: Micros(100),
                pulled: Micros(100),
                samples: 1,
                senses: (0..self.rng.random_range(1..4))
                    .map(|_| Sense {
                        lead: lead(&mut self.rng),
                        mode: SenseMode::PullDown,
                    })
                    .collect(),
            })),
        };
        let frame = match &request {
            None => encode_hello_request(seq, &mut out),
            Some(request) => encode_request(seq, request, &mut out),
        };
        let frame = frame.expect("a request fits").to_vec();
        let at = match self.rng.random_range(0..3) {
            0 => 0,
            1 => bytes.len(),
            _ => self.rng.random_range(0..=bytes.len()),
        };
        bytes.splice(at..at, frame);
    }
}

impl Transport for Unruly {
    fn name(&self) -> &str {
        "unruly"
    }

    fn now(&self) -> Instant {
        self.begun + self.now.get()
    }

    fn write(&mut self, bytes: &[u8], deadline: Instant) -> Result<(), TransportError> {
        if self.pulled {
            return Err(TransportError::Gone);
        }
        let message = self.sent;
        self.sent += 1;
        if self.trouble.blocked.is_some_and(|event| event.is(message)) {
            // As a port does that takes nothing: it is waited for in vain.
            self.silence(deadline.saturating_duration_since(self.now()));
            return Ok(());
        }
        if let Some(event) = self.trouble.pulled
            && event.is(message)
            && event.when == When::Before
        {
            self.pulled = true;
            return Err(TransportError::Gone);
        }
        let mut bytes = self.trouble.damage(bytes, &mut self.rng);
        if self.trouble.second_host > 0.0 && self.rng.random::<f64>() < self.trouble.second_host {
            self.second_host(&mut bytes);
        }
        let last = self.to_probe.back().map_or(Duration::ZERO, |(at, ..)| *at);
        let at = (self.now.get() + self.took(bytes.len()) + self.late()).max(last);
        self.to_probe.push_back((at, message, bytes));
        Ok(())
    }

    fn read(&mut self, buffer: &mut [u8], deadline: Instant) -> Result<usize, TransportError> {
        let end = deadline.saturating_duration_since(self.begun);
        loop {
            let to_host = self.to_host.front().map(|(when, _)| *when);
            let to_probe = self.to_probe.front().map(|(when, ..)| *when);
            match (to_host, to_probe) {
                (Some(here), there) if here <= end && there.is_none_or(|there| here <= there) => {
                    let most = buffer.len().min(self.rng.random_range(1..=CHUNK));
                    let mut n = 0;
                    while n < most
                        && let Some((when, byte)) = self.to_host.front().copied()
                        && when <= end
                    {
                        buffer[n] = byte;
                        n += 1;
                        self.now.set(self.now.get().max(when));
                        self.to_host.pop_front();
                    }
                    return Ok(n);
                }
                (_, Some(there)) if there <= end => {
                    self.now.set(self.now.get().max(there));
                    self.arrive();
                }
                _ if self.pulled && self.to_host.is_empty() => return Err(TransportError::Gone),
                _ => {
                    self.now.set(self.now.get().max(end));
                    return Ok(0);
                }
            }
        }
    }
}

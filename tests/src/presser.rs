//! Somebody at the panel of a probe without a computer: answers the plan's questions for
//! one variant, rings it out once, looks at all that was found, and notes every line.
//!
//! What is done depends only on what the panel shows and sounds, so that the same person
//! can be put before the library in this process and before an emulated board.

use crate::tunnel::{Pressed, Wired};
use embedded_hal::delay::DelayNs as _;
use loomproof::alone::fitted;
use loomproof::bench::Bench;
use loomproof::bench::hal::Shared;
use loomproof::plan::Plan;
use loomproof::plan::model::Job;
use loomproof_core::image::COLUMNS;
use loomproof_firmware::alone::{Button, Panel, Signal};
use std::collections::VecDeque;
use std::sync::{Arc, Mutex, PoisonError};
use std::thread;
use std::time::Duration;

/// How long each look lasts on the virtual clock, and how many of them a page gets: what
/// takes turns in the second line has come round then.
const LOOK_NS: u64 = 500_000_000;
const LOOKS: usize = 14;

/// Who presses, and what was shown and sounded.
#[derive(Debug, Default, Clone)]
pub struct Presser {
    lines: [String; 2],
    /// Choices of the variant, as they stand on the display.
    asked: VecDeque<String>,
    begun: bool,
    done: bool,
    looked: usize,
    /// Every pair of lines since the beginning.
    pub shown: Vec<[String; 2]>,
    /// Every signal since the beginning.
    pub signals: Vec<Signal>,
}

impl Presser {
    /// Somebody with this variant before them, who does not begin yet.
    #[must_use]
    pub fn new(plan: &Plan, job: &Job) -> Self {
        let options = plan.options();
        let answers = options.iter().filter_map(|o| job.answers.get(&o.name));
        Self {
            asked: answers.map(|answer| fitted(answer, COLUMNS)).collect(),
            ..Self::default()
        }
    }

    /// Begins, and notes what is shown from now on.
    pub fn begin(&mut self) {
        self.begun = true;
        self.shown.clear();
        self.signals.clear();
    }

    /// Whether this stands in the first line.
    #[must_use]
    pub fn shows(&self, line: &str) -> bool {
        self.lines[0] == line
    }

    /// Whether everything was looked at.
    #[must_use]
    pub fn is_done(&self) -> bool {
        self.done
    }

    fn choose(&mut self) -> Button {
        if self.lines[1] != "yes:next no:repeat" {
            return Button::Next;
        }
        if self.asked.front() != Some(&self.lines[0]) {
            return Button::Repeat;
        }
        self.asked.pop_front();
        Button::Next
    }
}

impl Pressed for Presser {
    fn show(&mut self, lines: [&str; 2]) {
        self.lines = lines.map(str::to_owned);
        self.shown.push(self.lines.clone());
    }

    fn signal(&mut self, signal: Signal) {
        self.signals.push(signal);
    }

    fn pressed(&mut self) -> (u64, Option<Button>) {
        if !self.begun || self.done {
            return (0, None);
        }
        match self.signals.last() {
            None | Some(Signal::Quiet) => (0, Some(self.choose())),
            Some(Signal::Busy) => (0, None),
            _ if self.lines[0] == "Battery off?" => {
                self.done = true;
                (0, None)
            }
            _ if self.looked < LOOKS => {
                self.looked += 1;
                (LOOK_NS, None)
            }
            _ => {
                self.looked = 0;
                (0, Some(Button::Next))
            }
        }
    }
}

/// The person before a panel in this process.
pub struct Here<'a> {
    /// Who.
    pub presser: &'a mut Presser,
    /// The bench whose time passes.
    pub bench: Shared,
}

impl Panel for Here<'_> {
    fn show(&mut self, lines: [&str; 2]) {
        self.presser.show(lines);
    }

    fn pressed(&mut self) -> Option<Button> {
        let (looked, button) = self.presser.pressed();
        self.bench
            .delay()
            .delay_ns(u32::try_from(looked).unwrap_or(u32::MAX));
        button
    }

    fn signal(&mut self, signal: Signal) {
        self.presser.signal(signal);
    }
}

/// The person, seen from another thread.
#[derive(Debug, Clone)]
pub struct Apart(Arc<Mutex<Presser>>);

impl Apart {
    /// This person.
    #[must_use]
    pub fn new(presser: Presser) -> Self {
        Self(Arc::new(Mutex::new(presser)))
    }

    /// Looks at, or does something with, the person.
    pub fn with<T>(&self, act: impl FnOnce(&mut Presser) -> T) -> T {
        act(&mut self.0.lock().unwrap_or_else(PoisonError::into_inner))
    }
}

impl Pressed for Apart {
    fn show(&mut self, lines: [&str; 2]) {
        self.with(|presser| presser.show(lines));
    }

    fn signal(&mut self, signal: Signal) {
        self.with(|presser| presser.signal(signal));
    }

    fn pressed(&mut self) -> (u64, Option<Button>) {
        let (idle, pressed) = self.with(|presser| {
            let idle = !presser.begun || presser.done;
            (idle, presser.pressed())
        });
        if idle {
            // The board asks again and again; the machine is for others meanwhile.
            thread::sleep(Duration::from_millis(1));
        }
        pressed
    }
}

/// A bench with a panel on the probe's case.
pub struct Fronted {
    /// The bench.
    pub bench: Bench,
    /// Who presses.
    pub presser: Apart,
}

impl Wired for Fronted {
    fn transfer(&mut self, device: u8, bytes: &mut [u8]) {
        Wired::transfer(&mut self.bench, device, bytes);
    }
    fn wait_ns(&mut self, ns: u64) {
        self.bench.wait(ns);
    }
    fn tripped(&mut self) -> bool {
        self.bench.tripped()
    }
    fn set_rearm(&mut self, high: bool) {
        self.bench.set_rearm(high);
    }
    fn now_ns(&mut self) -> u64 {
        self.bench.now_ns()
    }
    fn panel(&mut self) -> Option<&mut dyn Pressed> {
        Some(&mut self.presser)
    }
}

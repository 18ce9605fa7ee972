//! What the chips' pins do to the leads and the sense bus
//! (`docs/probe-hardware.md`), with the tolerances of the probe's own parts.

use super::chips::Expander;
use super::defect::Defects;
use super::island::BusLoad;
use super::noise::Spread;
use loomproof_core::instrument::{CLIP, CLIP_SPREAD, PROTECTION, PULL, REFERENCE, WIDE_LEG};

/// Leads of one bank.
pub(super) const BANK: usize = 16;

/// Resistance of an expander pin, Ω, and one standard deviation: ±15 Ω at three
/// (S71 of `docs/probe-hardware.md`).
const PIN: (f64, f64) = (35.0, 5.0);
/// Resistance of a closed disconnect, Ω, and one standard deviation: ±3 Ω at
/// three (S71).
const SWITCH: (f64, f64) = (10.0, 1.0);
/// Series resistor of a driven lead, Ω, and its tolerance.
const SERIES: (f64, f64) = (680.0, 0.005);
/// Weak pull-up of an expander pin that is an input, Ω (`from memory`; the
/// probe does not use it).
const PIN_PULL: f64 = 100_000.0;
/// The pull of a guarded lead at its pin, Ω, and its tolerance.
const GUARD_PULL: (f64, f64) = (22_000.0, 0.01);
/// Worst leakage of an open lead, A.
const LEAKAGE: f64 = 2e-9;

/// How the probe drives one channel.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) enum Pin {
    /// Not at all.
    #[default]
    Off,
    /// To 0 V.
    Low,
    /// To the reference.
    High,
    /// To the reference through an input's weak pull-up.
    Pulled,
    /// To the reference through the pull of a guarded lead.
    Guarded,
    /// Not by the probe: a live source of the vehicle, switched on.
    Live,
}

/// One channel: a probe lead, chassis lead C2 (behind the last probe lead), or
/// behind that a live source of the vehicle.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct Channel {
    /// Its drive.
    pub(super) pin: Pin,
    /// Joined to the sense bus.
    pub(super) sensed: bool,
}

/// The probe's chips, and what else the front end's state is read off.
#[derive(Clone, Copy)]
pub(super) struct Chips<'a> {
    /// The drive expanders.
    pub(super) drive: &'a [Expander],
    /// The expanders that close the disconnects.
    pub(super) gate: &'a [Expander],
    /// The expanders of multiplexers and sense bus.
    pub(super) select: &'a [Expander],
    /// Which live sources are on.
    pub(super) live: &'a [bool],
    /// What is wrong with the probe.
    pub(super) defects: &'a Defects,
}

impl Chips<'_> {
    /// The channel of C2: behind all leads, before the live sources.
    fn c2(&self) -> usize {
        self.drive.len() * BANK
    }
}

/// What may be other than it was.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Touched {
    /// What drive and gate expanders hold.
    Banks,
    /// What select expanders hold.
    Selects,
    /// Anything.
    All,
}

/// The state of the whole front end.
#[derive(Debug)]
pub(super) struct State {
    /// All leads, then C2, then live sources.
    pub(super) channels: Vec<Channel>,
    /// Weak pull to the reference.
    pub(super) up: bool,
    /// Weak pull to 0 V.
    pub(super) down: bool,
    /// Wide divider and shift.
    pub(super) wide: bool,
    /// The channels that are joined to the sense bus, in order.
    pub(super) joined: Vec<usize>,
    /// Those that were joined before.
    joined_before: Vec<usize>,
    /// The channels that the probe drives to the reference, in order.
    pub(super) sources: Vec<usize>,
    /// What the chips of each bank held when its channels were read off.
    banks: Vec<Bank>,
    /// What the select expanders held when they were read off.
    selects: Vec<u16>,
}

/// What the two chips of a bank hold at their pins.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Bank {
    closed: u16,
    high: u16,
    low: u16,
    pulled: u16,
    guarded: bool,
}

impl Bank {
    fn of(drive: &Expander, gate: &Expander) -> Self {
        Self {
            closed: gate.high(),
            high: drive.high(),
            low: drive.low(),
            pulled: drive.pull_ups(),
            guarded: drive.interrupts_low(),
        }
    }

    /// The drive of a lead whose disconnect is `closed`.
    fn pin(&self, place: usize, closed: bool) -> Pin {
        if !closed {
            Pin::Off
        } else if bit(self.high, place) {
            Pin::High
        } else if bit(self.low, place) {
            Pin::Low
        } else if self.guarded {
            Pin::Guarded
        } else if bit(self.pulled, place) {
            Pin::Pulled
        } else {
            Pin::Off
        }
    }
}

fn bit(word: u16, place: usize) -> bool {
    word >> place & 1 == 1
}

impl State {
    /// Reads it off the chips' pins.
    pub(super) fn of(chips: Chips<'_>) -> Self {
        let channels = chips.c2() + 1 + chips.live.len();
        let mut state = Self {
            channels: vec![Channel::default(); channels],
            up: false,
            down: false,
            wide: false,
            joined: Vec::new(),
            joined_before: Vec::new(),
            sources: Vec::new(),
            banks: Vec::new(),
            selects: Vec::new(),
        };
        state.follow(chips, Touched::All, &mut Vec::new());
        state
    }

    /// Reads again what has been touched. The channels that are not as they were are
    /// added to `changed`, some of them twice. Select pins that are inputs count as 0
    /// (pulled down), as do gate pins.
    pub(super) fn follow(&mut self, chips: Chips<'_>, touched: Touched, changed: &mut Vec<usize>) {
        let already = changed.len();
        if touched != Touched::Selects {
            self.follow_banks(chips, changed);
        }
        if touched == Touched::All {
            self.follow_live(chips, changed);
        }
        if touched != Touched::Banks {
            self.follow_selects(chips, changed);
        }
        if touched != Touched::Selects || changed[already..].contains(&chips.c2()) {
            self.sources.clear();
            let channels = self.channels.iter().enumerate();
            let sources = channels.filter(|(_, channel)| {
                matches!(channel.pin, Pin::High | Pin::Pulled | Pin::Guarded)
            });
            self.sources.extend(sources.map(|(number, _)| number));
        }
    }

    /// The drives of the leads.
    fn follow_banks(&mut self, chips: Chips<'_>, changed: &mut Vec<usize>) {
        let c2 = chips.c2();
        for (number, (drive, gate)) in chips.drive.iter().zip(chips.gate).enumerate() {
            let bank = Bank::of(drive, gate);
            match self.banks.get_mut(number) {
                Some(before) if *before == bank => continue,
                Some(before) => *before = bank,
                None => self.banks.push(bank),
            }
            let channels = self.channels.iter_mut().enumerate().skip(number * BANK);
            for (place, (channel, own)) in channels.take(BANK).enumerate() {
                let closed = chips
                    .defects
                    .disconnect((channel, c2), bit(bank.closed, place));
                let pin = bank.pin(place, closed);
                if own.pin != pin {
                    own.pin = pin;
                    changed.push(channel);
                }
            }
        }
    }

    /// The live sources.
    fn follow_live(&mut self, chips: Chips<'_>, changed: &mut Vec<usize>) {
        let first = chips.c2() + 1;
        let channels = self.channels.iter_mut().enumerate().skip(first);
        for ((channel, own), on) in channels.zip(chips.live) {
            let pin = if *on { Pin::Live } else { Pin::Off };
            if own.pin != pin {
                own.pin = pin;
                changed.push(channel);
            }
        }
    }

    /// What is on the sense bus, and the drive of C2.
    fn follow_selects(&mut self, chips: Chips<'_>, changed: &mut Vec<usize>) {
        let held = chips.select.iter().map(Expander::high);
        if self.selects.iter().copied().eq(held.clone()) {
            return;
        }
        self.selects.clear();
        self.selects.extend(held);
        let c2 = chips.c2();
        std::mem::swap(&mut self.joined, &mut self.joined_before);
        self.joined.clear();
        for channel in &self.joined_before {
            self.channels[*channel].sensed = false;
        }
        for (chip, pins) in self.selects.iter().copied().enumerate() {
            for mux in (0..8).filter(|mux| bit(pins, 8 + mux)) {
                let lead = chip * 64 + mux * 8 + usize::from(pins & 7);
                if lead < c2 {
                    self.channels[lead].sensed = true;
                    self.joined.push(lead);
                }
            }
        }
        if let Some(pins) = self.selects.first().copied() {
            (self.up, self.down, self.wide) = (bit(pins, 3), bit(pins, 4), bit(pins, 5));
            self.channels[c2].sensed = bit(pins, 6);
            self.joined.extend(bit(pins, 6).then_some(c2));
            let pin = match chips.defects.disconnect((c2, c2), bit(pins, 7)) {
                true => Pin::High,
                false => Pin::Off,
            };
            if self.channels[c2].pin != pin {
                self.channels[c2].pin = pin;
                changed.push(c2);
            }
        }
        if !chips.defects.none() {
            self.joined.clear();
            for (number, channel) in self.channels.iter_mut().enumerate().take(c2 + 1) {
                channel.sensed = chips.defects.sense((number, c2), channel.sensed);
                self.joined.extend(channel.sensed.then_some(number));
            }
        }
        let (before, now) = (&self.joined_before, &self.joined);
        changed.extend(before.iter().filter(|channel| !now.contains(channel)));
        changed.extend(now.iter().filter(|channel| !before.contains(channel)));
    }
}

/// The values of the probe's own parts, drawn once.
pub(super) struct Parts {
    /// Per channel: series resistance of its drive, Ω.
    source: Vec<f64>,
    /// Per channel: the pull that guards it, Ω.
    guard: Vec<f64>,
    /// Per channel: protection resistor to the sense bus, Ω.
    protection: Vec<f64>,
    /// Per channel: clip and probe lead, Ω.
    pub(super) clip: Vec<f64>,
    /// Per channel: leakage, A.
    pub(super) leakage: Vec<f64>,
    /// Live sources of the vehicle, V and Ω each.
    pub(super) live: Vec<(f64, f64)>,
    up: f64,
    down: f64,
    wide: f64,
    /// Offset of the buffer, V.
    pub(super) offset: f64,
    /// Gain of the buffer.
    pub(super) gain: f64,
}

impl Parts {
    /// Draws the parts of a probe with so many leads.
    pub(super) fn draw(spread: Spread, leads: usize) -> Self {
        let each = |draw: &dyn Fn(&str) -> f64| -> Vec<f64> {
            (0..=leads)
                .map(|channel| draw(&format!("probe lead {channel}")))
                .collect()
        };
        let part = |label: &str, what: &str| format!("{label} {what}");
        Self {
            source: each(&|lead| {
                spread.uniform(&part(lead, "series"), SERIES.0, SERIES.0 * SERIES.1)
                    + spread.normal(&part(lead, "pin"), PIN.0, PIN.1)
                    + spread.normal(&part(lead, "switch"), SWITCH.0, SWITCH.1)
            }),
            guard: each(&|lead| {
                spread.uniform(
                    &part(lead, "guard"),
                    GUARD_PULL.0,
                    GUARD_PULL.0 * GUARD_PULL.1,
                )
            }),
            protection: each(&|lead| {
                let ohms = PROTECTION.value();
                spread.uniform(&part(lead, "protection"), ohms, ohms * 0.005)
            }),
            clip: each(&|lead| {
                spread
                    .normal(&part(lead, "clip"), CLIP.value(), CLIP_SPREAD.value())
                    .max(0.02)
            }),
            leakage: each(&|lead| spread.uniform(&part(lead, "leakage"), 0.0, LEAKAGE)),
            live: Vec::new(),
            up: spread.uniform("probe pull-up", PULL.value(), PULL.value() * 0.01),
            down: spread.uniform("probe pull-down", PULL.value(), PULL.value() * 0.01),
            wide: spread.uniform("probe wide leg", WIDE_LEG.value(), WIDE_LEG.value() * 0.001),
            offset: spread.normal("probe offset", 0.0, 30e-6),
            gain: spread.normal("probe gain", 1.0, 0.0002),
        }
    }

    /// Adds what defects make the leads leak.
    pub(super) fn leak(&mut self, defects: &Defects) {
        for (channel, leakage) in self.leakage.iter_mut().enumerate() {
            *leakage += defects.leak(channel);
        }
    }

    /// Source voltage (V) and resistance (Ω) of a channel.
    pub(super) fn drive(&self, channel: usize, pin: Pin) -> Option<(f64, f64)> {
        if pin == Pin::Live {
            return self
                .live
                .get(channel.checked_sub(self.source.len())?)
                .copied();
        }
        let ohms = *self.source.get(channel)?;
        match pin {
            Pin::Off | Pin::Live => None,
            Pin::Low => Some((0.0, ohms)),
            Pin::High => Some((REFERENCE.value(), ohms)),
            Pin::Pulled => Some((REFERENCE.value(), ohms + PIN_PULL)),
            Pin::Guarded => Some((REFERENCE.value(), ohms - PIN.0 + self.guard.get(channel)?)),
        }
    }

    /// The voltage at the pin of a channel that is guarded, its lead at `volts`, V.
    pub(super) fn guarded_pin(&self, channel: usize, volts: f64) -> Option<f64> {
        let (reference, ohms) = self.drive(channel, Pin::Guarded)?;
        let to_lead = ohms - self.guard.get(channel)?;
        Some(volts + (reference - volts) * to_lead / ohms)
    }

    /// Resistance between a channel and the sense bus, if joined, Ω.
    pub(super) fn sense(&self, channel: usize, joined: bool) -> Option<f64> {
        joined.then(|| self.protection[channel])
    }

    /// What loads the sense bus.
    pub(super) fn bus_load(&self, state: &State) -> BusLoad {
        let when = |on: bool, ohms: f64| if on { 1.0 / ohms } else { 0.0 };
        BusLoad {
            up: when(state.up, self.up),
            down: when(state.down, self.down) + when(state.wide, self.wide),
        }
    }
}

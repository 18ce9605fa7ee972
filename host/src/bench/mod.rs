//! The virtual bench: the probe's chips at the level of their SPI transfers,
//! on leads clipped to a simulated harness with tolerances, noise and faults.
//!
//! It is the independent physical truth against which firmware, scan and
//! judgement are tested: it shares the units, the instrument's constants and
//! the plan model with the rest, but no circuit and no solver. Reading order:
//! `chips` (registers) → `front_end` (pins to leads and sense bus) → `harness`
//! (plan and faults to a network) → `network` and `island` (static solution, by
//! itself in [`solution`]) → `plant` (movement in time) → `scene` (what opens and
//! closes) → [`hal`] (as embedded-hal).
//!
//! Without the battery ([`Bench::new`]) relays stay at rest and nothing is fed; with it
//! ([`Bench::powered`]) the vehicle's switches can be set, and what a dead test does not
//! see ([`upset`]) can be wrong as well.
//!
//! Simplifications: contact noise acts on the lead that is
//! read; one pole per lump of wiring (see `plant`); a module input is a
//! resistor and a capacitor to chassis.
//!
//! The same job, hook-up, faults and settings, and the same transfers and
//! waits, give the same bytes.

mod chips;
mod defect;
mod error;
mod flash;
mod front_end;
pub mod hal;
mod harness;
mod island;
mod jig;
mod network;
mod noise;
mod plant;
mod reading;
mod rig;
mod scene;
mod scenery;
mod settings;
mod sleeper;
pub mod solution;
mod stored;
#[cfg(test)]
pub(crate) mod testing;
#[cfg(test)]
mod tests;
pub mod upset;

use chips::{Converter, Expander};
use defect::Defects;
pub use defect::{ChipPin, Defect, DefectError, KINDS as DEFECTS, Line};
pub use error::BenchError;
pub use flash::{FlashError, VirtualFlash};
use front_end::{BANK, Chips, Parts, Pin, Touched};
pub use harness::{ChassisLead, Tip};
pub(crate) use harness::{Fitted, Spot, Who};
pub use jig::OnJig;
use loomproof_core::units::{Amperes, Ohms};
use loomproof_core::wire::LeadId;
use noise::Noise;
use plant::Plant;
use scene::Scene;
pub use settings::{Bare, Settings};
pub use sleeper::{PARKED, Sleeper, Stands};
use std::collections::VecDeque;
pub use stored::Charge;
use stored::Store;
pub use upset::Upset;

/// The comparators trip above this voltage on any lead, V.
const TRIP_HIGH: f64 = 4.0;
/// The comparators trip below this voltage on any lead, V.
const TRIP_LOW: f64 = -0.5;
/// A chip select of the probe.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[repr(u8)]
pub enum Device {
    /// The drive expanders.
    Drive = 0,
    /// The expanders that close the disconnects.
    Gate = 1,
    /// The expanders of multiplexers and sense bus.
    Select = 2,
    /// The converter.
    Adc = 3,
}

/// What has been spent on the bench so far.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Counters {
    /// Bits clocked over SPI, all devices.
    pub spi_bits: u64,
    /// Chip-select assertions.
    pub transfers: u64,
    /// Conversions started.
    pub conversions: u64,
    /// Results fetched before their conversion was done: a firmware that is
    /// too fast.
    pub early_reads: u64,
    /// Time spent in [`Bench::wait`], ns.
    pub waited_ns: u64,
}

/// The virtual bench.
pub struct Bench {
    drive: Vec<Expander>,
    gate: Vec<Expander>,
    select: Vec<Expander>,
    converter: Converter,
    live: Vec<bool>,
    /// Those of the live sources that are charged capacitors.
    store: Store,
    /// When the live sources go on or off by themselves, soonest first.
    to_come: VecDeque<(u64, bool)>,
    /// The level that each drive expander last saw at its pins.
    levels: Vec<u16>,
    parts: Parts,
    plant: Plant,
    scene: Scene,
    /// When something opens or closes by itself next, ns.
    next_edge: Option<u64>,
    /// The node of each channel.
    nodes: Vec<usize>,
    noise: Noise,
    spi_hz: u64,
    /// Bits · 10⁹ that have not yet made up a whole nanosecond.
    carry: u64,
    now: u64,
    latched: bool,
    rearm: bool,
    counters: Counters,
    trouble: Option<BenchError>,
    defects: Defects,
    /// The most that all drive together gave at once, A.
    most_drive: f64,
}

impl Bench {
    /// One chip-select assertion, full duplex: `data` is sent and replaced by
    /// what comes back. Advances the clock by its bits.
    pub fn transfer(&mut self, device: Device, data: &mut [u8]) {
        let start = self.now;
        let bits = data.len() as u64 * 8;
        self.counters.transfers += 1;
        self.counters.spi_bits += bits;
        self.carry += bits * 1_000_000_000;
        let taken = self.carry / self.spi_hz;
        self.carry %= self.spi_hz;
        self.run_to(self.now + taken);
        let written = match device {
            Device::Adc => {
                if self.converter.transfer(data, start) {
                    self.counters.early_reads += 1;
                }
                self.counters.conversions += 1;
                let code = self.sample();
                self.converter.release(code, self.now);
                false
            }
            Device::Drive | Device::Gate if self.latched => {
                data.fill(0xFF);
                false
            }
            Device::Drive => {
                let levels = match data.first().is_some_and(|opcode| chips::reads(*opcode)) {
                    true => self.drive_levels(),
                    false => Vec::new(),
                };
                chips::clock(&mut self.drive, data, &levels)
            }
            Device::Gate => chips::clock(&mut self.gate, data, &[]),
            Device::Select => chips::clock(&mut self.select, data, &[]),
        };
        if let Some(high) = self.defects.line(device) {
            data.fill(if high { 0xFF } else { 0 });
        }
        if device != Device::Adc {
            match (written, device) {
                (false, _) => self.discharge(),
                (true, Device::Select) => self.refresh(Touched::Selects),
                (true, _) => self.refresh(Touched::Banks),
            }
            self.watch();
        }
        // Most flows right after a change of the drive, and once the wiring has settled.
        let drive = self.plant.drive_current(self.now, &self.parts);
        self.most_drive = self.most_drive.max(drive);
    }

    /// The most current that all drive of the probe together has given at once: its
    /// sources and the weak pull.
    #[must_use]
    pub fn most_drive(&self) -> Amperes {
        Amperes(self.most_drive)
    }

    /// The probe leads that the probe drives at this moment.
    pub fn driven(&self) -> impl Iterator<Item = LeadId> + '_ {
        let leads = (0..=u8::MAX).map(LeadId).take(self.drive.len() * BANK);
        leads
            .zip(&self.plant.state().channels)
            .filter_map(|(lead, channel)| {
                matches!(channel.pin, Pin::Low | Pin::High | Pin::Pulled).then_some(lead)
            })
    }

    /// What a lead's clip and the lead itself really have.
    #[must_use]
    pub fn clip_ohms(&self, lead: LeadId) -> Option<Ohms> {
        self.parts.clip.get(usize::from(lead.0)).copied().map(Ohms)
    }

    /// Lets time pass.
    pub fn wait(&mut self, nanoseconds: u64) {
        self.counters.waited_ns += nanoseconds;
        self.run_to(self.now + nanoseconds);
    }

    fn run_to(&mut self, end: u64) {
        while self.to_come.front().is_some_and(|(at, _)| *at <= end) {
            if let Some((at, on)) = self.to_come.pop_front() {
                self.pass(at.saturating_sub(self.now));
                self.switch_live(on);
            }
        }
        self.pass(end.saturating_sub(self.now));
        self.watch();
    }

    /// The trip input of the probe's controller: the comparators have let go
    /// of all drive.
    #[must_use]
    pub fn tripped(&self) -> bool {
        self.latched
    }

    /// The rearm output of the probe's controller: while it is high the trip
    /// follows its cause.
    pub fn set_rearm(&mut self, high: bool) {
        self.rearm = high;
        self.watch();
    }

    /// The virtual clock, ns since power-up.
    #[must_use]
    pub fn now_ns(&self) -> u64 {
        self.now
    }

    /// What has been spent so far.
    #[must_use]
    pub fn counters(&self) -> Counters {
        self.counters
    }

    /// Set if the bench itself has failed: its readings since then are worth
    /// nothing. Never seen unless the bench has a mistake.
    #[must_use]
    pub fn trouble(&self) -> Option<&BenchError> {
        self.trouble.as_ref()
    }

    /// Carries the chips' pins over to the wiring.
    fn refresh(&mut self, touched: Touched) {
        self.discharge();
        let chips = Chips {
            drive: &self.drive,
            gate: &self.gate,
            select: &self.select,
            live: &self.live,
            defects: &self.defects,
        };
        if let Err(error) = self.plant.change(chips, touched, self.now, &self.parts) {
            self.trouble.get_or_insert(error);
        }
        if self.store.next().is_some() {
            let first = self.first_source();
            self.store.pace(self.now, &self.plant, first, &self.parts);
        }
    }

    /// Time passes, and what opens or closes in it does so in order.
    fn pass(&mut self, nanoseconds: u64) {
        let until = self.now + nanoseconds;
        loop {
            let edge = self.next_edge.filter(|edge| *edge <= until);
            let step = self.store.next().filter(|step| *step <= until);
            match (edge, step) {
                (None, None) => break,
                (Some(edge), step) if step.is_none_or(|step| edge <= step) => {
                    self.now = edge;
                    self.settle();
                }
                (_, step) => {
                    self.now = step.unwrap_or(until);
                    self.discharge();
                }
            }
            self.watch();
        }
        self.now = until;
    }

    /// Lets capacitors follow what has been drawn from them.
    fn discharge(&mut self) {
        if self.store.next().is_none() {
            return;
        }
        let first = self.first_source();
        let parts = &mut self.parts;
        if self.store.follow(self.now, &self.plant, first, parts)
            && let Err(error) = self.plant.stir(self.now, &self.parts)
        {
            self.trouble.get_or_insert(error);
        }
        self.store.pace(self.now, &self.plant, first, &self.parts);
    }

    /// The channel of the first live source.
    fn first_source(&self) -> usize {
        self.drive.len() * BANK + 1
    }

    /// Lets fuses, relays and contacts follow what has changed.
    fn settle(&mut self) {
        let settled = self.scene.settle(self.now);
        let rewired = settled.and_then(|wired| self.plant.rewire(&wired, self.now, &self.parts));
        if let Err(error) = rewired {
            self.trouble.get_or_insert(error);
        }
        self.next_edge = self.scene.next(self.now);
    }

    /// The comparators and the latch.
    fn watch(&mut self) {
        // While it is latched nothing more can happen to it.
        if self.latched && !self.rearm {
            return;
        }
        let cause = self.defects.tripped() || self.plant.over_limits(self.now, TRIP_LOW, TRIP_HIGH);
        let before = self.latched;
        self.latched = cause || (self.latched && !self.rearm);
        if self.latched && !before {
            self.drive
                .iter_mut()
                .chain(&mut self.gate)
                .for_each(Expander::reset);
            self.refresh(Touched::Banks);
        }
    }
}

//! The bench, put together: what hangs on the probe's leads, and the probe powered up.

use std::collections::VecDeque;

use super::chips::{Converter, Expander};
use super::defect::Defects;
use super::error::BenchError;
use super::front_end::{BANK, Chips, Parts, State};
use super::harness::{self, ChassisLead, Rigged, Tip};
use super::noise::Noise;
use super::plant::Plant;
use super::scene::Scene;
use super::stored::{Charge, Store};
use super::upset::{Upset, Upsets};
use super::{Bare, Bench, Counters, Device, Settings};
use crate::fault::Fault;
use crate::hookup::Hookup;
use crate::plan::model::Job;

impl Bench {
    /// A bench with the probe powered up and clipped on as in `hookup`, the
    /// chassis leads joined.
    ///
    /// # Errors
    /// [`BenchError`] if the settings, the hook-up or a fault do not fit.
    pub fn new(
        job: &Job,
        hookup: &Hookup,
        faults: &[Fault],
        settings: &Settings,
    ) -> Result<Self, BenchError> {
        Self::with_chassis(job, hookup, faults, settings, ChassisLead::Joined)
    }

    /// As [`Bench::new`], with the second chassis lead somewhere else.
    ///
    /// # Errors
    /// As [`Bench::new`].
    pub fn with_chassis(
        job: &Job,
        hookup: &Hookup,
        faults: &[Fault],
        settings: &Settings,
        chassis: ChassisLead,
    ) -> Result<Self, BenchError> {
        let power = (false, Upsets::default(), None);
        Self::rig((job, hookup, faults), power, settings, chassis)
    }

    /// As [`Bench::new`], with what a test at rest does not see: joints that open now
    /// and then, lamps that are out. Other upsets need the battery.
    ///
    /// # Errors
    /// As [`Bench::new`], or if an upset does not fit.
    pub fn upset(
        job: &Job,
        hookup: &Hookup,
        faults: &[Fault],
        upsets: &[Upset],
        settings: &Settings,
    ) -> Result<Self, BenchError> {
        let power = (false, Upsets::of(upsets), None);
        let chassis = ChassisLead::Joined;
        Self::rig((job, hookup, faults), power, settings, chassis)
    }

    /// The vehicle with its battery on and everything plugged, the probe leads
    /// on their points. Every switch is in its first state.
    ///
    /// # Errors
    /// As [`Bench::new`], or if the hook-up is not in the vehicle, an upset does not
    /// fit, or a relay does not come to rest.
    pub fn powered(
        job: &Job,
        hookup: &Hookup,
        faults: &[Fault],
        upsets: &[Upset],
        settings: &Settings,
    ) -> Result<Self, BenchError> {
        let power = (true, Upsets::of(upsets), None);
        let chassis = ChassisLead::Joined;
        Self::rig((job, hookup, faults), power, settings, chassis)
    }

    /// As [`Bench::new`], with charge left on capacitors of the vehicle.
    ///
    /// # Errors
    /// As [`Bench::new`], or if a capacitor has no such place or is too small to be
    /// followed.
    pub fn charged(
        job: &Job,
        hookup: &Hookup,
        faults: &[Fault],
        charges: &[Charge],
        settings: &Settings,
    ) -> Result<Self, BenchError> {
        let power = (false, Upsets::charged(charges), None);
        let chassis = ChassisLead::Joined;
        Self::rig((job, hookup, faults), power, settings, chassis)
    }

    /// As [`Bench::new`], with one lead in somebody's hand, whose tip touches this.
    ///
    /// # Errors
    /// As [`Bench::new`], or if that lead is clipped already.
    pub fn touched(
        job: &Job,
        hookup: &Hookup,
        faults: &[Fault],
        tip: &Tip,
        settings: &Settings,
    ) -> Result<Self, BenchError> {
        let power = (false, Upsets::default(), Some(tip));
        let chassis = ChassisLead::Joined;
        Self::rig((job, hookup, faults), power, settings, chassis)
    }

    fn rig(
        wiring: (&Job, &Hookup, &[Fault]),
        power: (bool, Upsets, Option<&Tip>),
        settings: &Settings,
        chassis: ChassisLead,
    ) -> Result<Self, BenchError> {
        let charges = power.1.charges.clone();
        let spread = settings.check()?;
        let mut parts = Parts::draw(spread, usize::from(settings.leads));
        let defects = Defects::new(&settings.defects);
        parts.leak(&defects);
        let leads = settings.leads;
        let rigged = harness::network(wiring, power, spread, leads, &mut parts, chassis)?;
        // The capacitors are the last of the live sources.
        let sources = parts.live.len();
        let charges: Vec<_> = (sources - charges.len()..).zip(&charges).collect();
        let store = Store::new(&charges);
        let mut bench = Self::assemble(rigged, parts, defects, settings)?;
        bench.store = store;
        Ok(bench)
    }

    /// A bench without a harness: every probe lead hangs free, or all are clipped
    /// onto one piece of metal with the chassis leads.
    ///
    /// # Errors
    /// [`BenchError`] if the settings do not fit.
    pub fn bare(clips: Bare, settings: &Settings) -> Result<Self, BenchError> {
        let spread = settings.check()?;
        let mut parts = Parts::draw(spread, usize::from(settings.leads));
        let defects = Defects::new(&settings.defects);
        parts.leak(&defects);
        let rigged = harness::bare(clips, settings.leads, &parts);
        Self::assemble(rigged, parts, defects, settings)
    }

    pub(super) fn assemble(
        rigged: Rigged,
        parts: Parts,
        defects: Defects,
        settings: &Settings,
    ) -> Result<Self, BenchError> {
        let leads = settings.leads;
        let Rigged {
            mut netlist,
            channels,
            power,
        } = rigged;
        for (a, b, ohms) in defects.joined() {
            netlist.resistor(channels[a], channels[b], ohms);
        }
        for (lead, ohms) in &settings.code {
            if let Some(node) = channels.get(usize::from(lead.0)) {
                netlist.resistor(*node, 0, ohms.value());
            }
        }
        let nodes = channels.clone();
        let mut scene = Scene::new(netlist, channels, power);
        let wired = scene.settle(0)?;
        let chips = |device: Device, count: u8| -> Vec<Expander> {
            let chip = |address| {
                Expander::new(address).defective(
                    defects.stuck(device, address),
                    defects.deaf(device, address),
                )
            };
            (0..count).map(chip).collect()
        };
        let banks = leads / BANK as u8;
        let drive = chips(Device::Drive, banks);
        let gate = chips(Device::Gate, banks);
        let select = chips(Device::Select, leads.div_ceil(64));
        let live = vec![true; parts.live.len()];
        let state = State::of(Chips {
            drive: &drive,
            gate: &gate,
            select: &select,
            live: &live,
            defects: &defects,
        });
        let powered = scene.powered();
        let plant = Plant::new(wired, powered, state, usize::from(leads), &parts)?;
        let mut bench = Self {
            drive,
            gate,
            select,
            converter: Converter::default(),
            live,
            store: Store::default(),
            to_come: VecDeque::new(),
            levels: vec![0; usize::from(banks)],
            parts,
            plant,
            next_edge: scene.next(0),
            scene,
            nodes,
            noise: Noise::new(settings.seed, settings.noise),
            spi_hz: u64::from(settings.spi_hz),
            carry: 0,
            now: 0,
            latched: false,
            rearm: false,
            counters: Counters::default(),
            trouble: None,
            defects,
            most_drive: 0.0,
        };
        bench.watch();
        Ok(bench)
    }
}

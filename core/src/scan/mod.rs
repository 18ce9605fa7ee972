//! The order of readings.
//!
//! The first pass proves the harness as planned, with as few patterns as that
//! takes:
//!
//! * *continuity*: within a net, its first lead is driven high and each other
//!   lead low in turn; the ohms between show every joint on the way. A net on
//!   chassis needs no second lead.
//! * *isolation*: the first lead of a net is driven high and every passive net
//!   that has not been the source yet is held low by its first lead; if the lead still
//!   reads 3.3 V, its net touches none of them, in one reading. Only one lead
//!   is a source, so this stays within the vehicle's 5 mA. Nets with a diode
//!   or module input are never held low this way, only read.
//! * *across*: between two nets that a component joins, the current through
//!   it; both ways round where there is a diode.
//!
//! Where something is off, [`walk`] and [`pair`] take the readings that tell
//! what it is.

use crate::instrument;
use crate::layout::Layout;
use crate::units::{Micros, Ohms, Volts};
use crate::wire::{LeadId, LeadSet, MAX_SENSES, Sense, SenseMode, Step};

/// Conversions averaged where ohms are judged. Two would be enough for the
/// lower end of the guaranteed span (`docs/probe-hardware.md`, S84); three leave
/// some room and take a fifth of the time of the sixteen of its budget.
pub const FINE: u8 = 3;

/// Conversions averaged where only connection is judged.
pub const COARSE: u8 = 2;

/// Settling of plain wiring behind a source: 725 Ω into 92 m of lead at
/// 100 pF/m (9.2 nF), 12 time constants (16 bits and half a step take 11.8).
pub const SETTLE: Micros = Micros(80);

/// Settling of a module input behind a source: 725 Ω into 110 nF, 12 time constants.
pub const SETTLE_LOADED: Micros = Micros(1_000);

/// Settling of a module input that a source reaches through a diode: as the
/// input fills up, its last current keeps the diode at n·Vt/I ohms, so the
/// tail has n·Vt/V·R·C = 0.02·R·C; 12 time constants of 2.5 MΩ and 100 nF.
pub const SETTLE_POLAR: Micros = Micros(60_000);

/// Settling of plain wiring behind the weak pull: 122 kΩ into 20 m of lead and
/// clip (2.1 nF), 12 time constants.
pub const SETTLE_WEAK: Micros = Micros(3_100);

/// Settling of a module input behind the weak pull: 122 kΩ into 110 nF, 12 time constants.
pub const SETTLE_PULLED: Micros = Micros(160_000);

/// What a step is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Purpose {
    /// One lead against another of its net, or against chassis.
    Continuity(LeadId, Option<LeadId>),
    /// A net against all others.
    Isolation(LeadId),
    /// Between two nets that a component joins, current from the first to the second.
    Across(LeadId, LeadId),
    /// Which leads follow this one.
    Walk(LeadId),
    /// The ohms between two leads that follow one another.
    Pair(LeadId, LeadId),
}

impl Purpose {
    /// The lead or leads that it is about.
    #[must_use]
    pub fn leads(self) -> (LeadId, Option<LeadId>) {
        match self {
            Self::Continuity(a, b) => (a, b),
            Self::Isolation(a) | Self::Walk(a) => (a, None),
            Self::Across(a, b) | Self::Pair(a, b) => (a, Some(b)),
        }
    }
}

/// A step and what it is for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Planned {
    /// What to do.
    pub step: Step,
    /// Why.
    pub purpose: Purpose,
}

/// The steps of the first pass, in order.
#[derive(Debug, Clone)]
pub struct FirstPass<'l> {
    layout: &'l Layout,
    phase: Phase,
    a: usize,
    b: usize,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Phase {
    Continuity,
    Isolation,
    Across,
    Done,
}

/// The first pass over a layout.
#[must_use]
pub fn first_pass(layout: &Layout) -> FirstPass<'_> {
    FirstPass {
        layout,
        phase: Phase::Continuity,
        a: 0,
        b: 0,
    }
}

impl Iterator for FirstPass<'_> {
    type Item = Planned;

    fn next(&mut self) -> Option<Planned> {
        loop {
            match self.phase {
                Phase::Continuity => match self.layout.leads().iter().nth(self.a) {
                    Some(lead) => {
                        self.a += 1;
                        if let Some(planned) = continuity(self.layout, lead) {
                            return Some(planned);
                        }
                    }
                    None => self.enter(Phase::Isolation),
                },
                Phase::Isolation => match self.layout.leads().iter().nth(self.a) {
                    Some(lead) => {
                        self.a += 1;
                        if let Some(planned) = isolation(self.layout, lead) {
                            return Some(planned);
                        }
                    }
                    None => self.enter(Phase::Across),
                },
                Phase::Across => {
                    let pair = (
                        self.layout.leads().iter().nth(self.a),
                        self.layout.leads().iter().nth(self.b),
                    );
                    match pair {
                        (Some(from), Some(to)) => {
                            self.b += 1;
                            if let Some(planned) = across(self.layout, from, to) {
                                return Some(planned);
                            }
                        }
                        (Some(_), None) => {
                            self.a += 1;
                            self.b = 0;
                        }
                        (None, _) => self.enter(Phase::Done),
                    }
                }
                Phase::Done => return None,
            }
        }
    }
}

impl FirstPass<'_> {
    fn enter(&mut self, phase: Phase) {
        self.phase = phase;
        self.a = 0;
        self.b = 0;
    }
}

fn one(lead: LeadId) -> LeadSet {
    core::iter::once(lead).collect()
}

fn step(high: LeadSet, low: LeadSet, settle: Micros, samples: u8) -> Step {
    Step {
        high,
        low,
        settle,
        pulled: Micros(0),
        samples,
        senses: heapless::Vec::new(),
    }
}

fn sense(step: &mut Step, lead: LeadId, mode: SenseMode) {
    let _ = step.senses.push(Sense { lead, mode });
}

fn settle(layout: &Layout, leads: &[LeadId]) -> Micros {
    let loaded = leads.iter().any(|lead| layout.loaded(*lead));
    let polar = leads.iter().any(|lead| layout.polar(*lead));
    match (loaded, polar) {
        (true, true) => SETTLE_POLAR,
        (true, false) => SETTLE_LOADED,
        (false, _) => SETTLE,
    }
}

/// Settling of a lead behind the weak pull.
fn pulled(layout: &Layout, lead: LeadId) -> Micros {
    if layout.loaded(lead) {
        SETTLE_PULLED
    } else {
        SETTLE_WEAK
    }
}

fn continuity(layout: &Layout, lead: LeadId) -> Option<Planned> {
    if layout.on_chassis(lead) {
        let mut step = step(one(lead), LeadSet::EMPTY, settle(layout, &[lead]), FINE);
        sense(&mut step, lead, SenseMode::Plain);
        return Some(Planned {
            step,
            purpose: Purpose::Continuity(lead, None),
        });
    }
    let first = layout.first(lead)?;
    if first == lead {
        return None;
    }
    let mut step = step(one(first), one(lead), settle(layout, &[lead]), FINE);
    sense(&mut step, first, SenseMode::Plain);
    sense(&mut step, lead, SenseMode::Plain);
    Some(Planned {
        step,
        purpose: Purpose::Continuity(first, Some(lead)),
    })
}

/// The leads that are held low while this one is the source: the first leads
/// of the passive nets outside its island and off chassis. One lead holds a
/// net, and every lead that is driven costs a look. Of two passive nets the
/// earlier is the source; an active one is the source against all passive ones.
fn bystanders(layout: &Layout, lead: LeadId) -> LeadSet {
    layout
        .leads()
        .iter()
        .filter(|other| {
            layout.is_first(*other)
                && layout.island(*other) != layout.island(lead)
                && !layout.active(*other)
                && !layout.on_chassis(*other)
                && (layout.active(lead) || *other > lead)
        })
        .collect()
}

fn isolation(layout: &Layout, lead: LeadId) -> Option<Planned> {
    if !layout.is_first(lead) || layout.on_chassis(lead) {
        return None;
    }
    let low = bystanders(layout, lead);
    let mut step = step(one(lead), low, settle(layout, &[lead]), COARSE);
    sense(&mut step, lead, SenseMode::Plain);
    if layout.active(lead) {
        // Two active nets are not held low for one another: read instead.
        for other in layout.leads().iter().filter(|other| {
            layout.active(*other)
                && layout.is_first(*other)
                && layout.island(*other) != layout.island(lead)
                && *other > lead
        }) {
            sense(&mut step, other, SenseMode::PullDown);
            step.pulled = step.pulled.max(pulled(layout, other));
        }
    }
    Some(Planned {
        step,
        purpose: Purpose::Isolation(lead),
    })
}

fn across(layout: &Layout, from: LeadId, to: LeadId) -> Option<Planned> {
    let joined = layout.island(from) == layout.island(to)
        && layout.net(from) != layout.net(to)
        && layout.is_first(from)
        && layout.is_first(to);
    // One way round is enough without a diode.
    if !joined || (from > to && !layout.polar(from)) {
        return None;
    }
    let mut step = step(one(from), one(to), settle(layout, &[from, to]), FINE);
    sense(&mut step, from, SenseMode::Plain);
    sense(&mut step, to, SenseMode::Plain);
    Some(Planned {
        step,
        purpose: Purpose::Across(from, to),
    })
}

/// Drives one lead and reads every other with the pull-down: which leads
/// follow it. Split into as many steps as the readings need.
pub fn walk(layout: &Layout, lead: LeadId) -> impl Iterator<Item = Planned> + '_ {
    let count = layout.leads().len();
    let chunk = MAX_SENSES.max(1);
    (0..count.div_ceil(chunk)).flat_map(move |part| {
        // Module inputs settle slowly behind the pull; they get a step of their own.
        [false, true].into_iter().filter_map(move |loaded| {
            let mut step = step(one(lead), LeadSet::EMPTY, settle(layout, &[lead]), COARSE);
            step.pulled = if loaded { SETTLE_PULLED } else { SETTLE_WEAK };
            for other in layout.leads().iter().skip(part * chunk).take(chunk) {
                if other == lead && part == 0 && !loaded {
                    sense(&mut step, other, SenseMode::Plain);
                } else if other != lead && layout.loaded(other) == loaded {
                    sense(&mut step, other, SenseMode::PullDown);
                }
            }
            (!step.senses.is_empty()).then_some(Planned {
                step,
                purpose: Purpose::Walk(lead),
            })
        })
    })
}

/// The ohms between the two leads of a [`pair`], by the voltage between them:
/// infinite without a connection.
#[must_use]
pub fn pair_ohms(between: Volts) -> Ohms {
    path_ohms(2, Volts(between.0.max(0.0)))
}

/// The ohms of a path by the voltage across it, with so many source resistors in
/// the way (two between two leads, one to chassis): infinite without a
/// connection, below 0 where noise is below 0.
///
/// The same current flows through all, so `R = n·Rs·U / (Uref − U)`.
#[must_use]
pub fn path_ohms(sources: u8, across: Volts) -> Ohms {
    let across_sources = instrument::REFERENCE.0 - across.0;
    // Less current than 3 MΩ let through is none.
    if across_sources < instrument::REFERENCE.0 * 5e-4 {
        return Ohms(f64::INFINITY);
    }
    Ohms(f64::from(sources) * instrument::SOURCE.0 * across.0 / across_sources)
}

/// The ohms between two leads, whatever the plan says of them, read also at
/// up to six more leads that should follow.
#[must_use]
pub fn pair(layout: &Layout, from: LeadId, to: LeadId, also: &[LeadId]) -> Planned {
    let mut step = step(one(from), one(to), settle(layout, &[from, to]), FINE);
    sense(&mut step, from, SenseMode::Plain);
    sense(&mut step, to, SenseMode::Plain);
    for other in also
        .iter()
        .filter(|other| **other != from && **other != to)
        .take(6)
    {
        sense(&mut step, *other, SenseMode::Plain);
    }
    Planned {
        step,
        purpose: Purpose::Pair(from, to),
    }
}

#[cfg(test)]
mod tests;

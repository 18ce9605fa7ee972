//! The wiring in time: which island is where, what it relaxes towards, and
//! what the sense bus sees.
//!
//! Each lump of wiring relaxes with one pole ([`targets`](super::island::targets));
//! the sense bus has a pole of its own and follows the leads that are joined to it,
//! solved exactly. When a lead is joined to the bus the charge on the bus is shared
//! with the lead's lump at once, so that a floating lead is disturbed by the
//! reading as a real one is; what loads the bus takes its part of that charge
//! (the wide divider's leg 22 of 23 parts: 1 kΩ beside 22 kΩ).

mod movement;
mod seen;
mod solve;
mod wired;

use super::error::BenchError;
use super::front_end::{Chips, Parts, State, Touched};
use super::island::Target;
use loomproof_core::instrument::BUS;
use movement::{BusMovement, Heading, Movement};
use solve::OnBus;
use std::collections::HashMap;
use std::rc::Rc;
pub(super) use wired::Wired;

/// The wiring, the leads and the sense bus.
pub(super) struct Plant {
    wired: Rc<Wired>,
    /// The vehicle's battery is on: any lead can be outside the limits.
    powered: bool,
    /// Number of probe leads.
    leads: usize,
    movements: Vec<Movement>,
    bus: BusMovement,
    state: State,
    solved: HashMap<Vec<u8>, Rc<Vec<Target>>>,
    /// Tells one voltage of the live sources from another.
    stirred: u32,
    /// Room for the key that is looked up.
    key: Vec<u8>,
    /// Room for the channels that change.
    changed: Vec<usize>,
    /// Room for the islands that move.
    moving: Vec<usize>,
    /// Room for where they head.
    heading: Vec<Heading>,
}

impl Plant {
    /// Everything at rest in `state`, the sense bus joined to nothing, since
    /// long ago. The first `leads` channels are probe leads.
    pub(super) fn new(
        wired: Rc<Wired>,
        powered: bool,
        state: State,
        leads: usize,
        parts: &Parts,
    ) -> Result<Self, BenchError> {
        let bus = BusMovement {
            since: 0,
            volts: 0.0,
            load: parts.bus_load(&state),
            joined: Vec::new(),
            islands: Vec::new(),
        };
        let mut plant = Self {
            wired,
            powered,
            leads,
            movements: Vec::new(),
            bus,
            state,
            solved: HashMap::new(),
            stirred: 0,
            key: Vec::new(),
            changed: Vec::new(),
            moving: Vec::new(),
            heading: Vec::new(),
        };
        for island in 0..plant.wired.islands.len() {
            let (target, part) = plant.solve_for(island, &OnBus::default(), parts)?;
            let deviation = vec![0.0; target[part].volts.len()];
            plant.movements.push(Movement {
                since: 0,
                target,
                part,
                deviation,
            });
        }
        Ok(plant)
    }

    /// The front end changes at `now`.
    pub(super) fn change(
        &mut self,
        chips: Chips<'_>,
        touched: Touched,
        now: u64,
        parts: &Parts,
    ) -> Result<(), BenchError> {
        self.changed.clear();
        self.state.follow(chips, touched, &mut self.changed);
        self.moving.clear();
        let seat = &self.wired.seat;
        let moving = self.changed.iter().map(|channel| seat[*channel].0);
        self.moving.extend(moving);
        self.head_anew(now, parts)
    }

    /// The voltages of live sources have changed at `now`.
    pub(super) fn stir(&mut self, now: u64, parts: &Parts) -> Result<(), BenchError> {
        self.stirred += 1;
        self.moving.clear();
        let live = self.wired.seat.iter().skip(self.leads + 1);
        self.moving.extend(live.map(|(island, _)| *island));
        self.head_anew(now, parts)
    }

    /// The islands in `moving`, and those on the sense bus, head for where the front end
    /// brings them.
    fn head_anew(&mut self, now: u64, parts: &Parts) -> Result<(), BenchError> {
        let bus = self.bus_anew(now, parts);
        let on_bus = match &bus {
            Some(bus) => self.solve_bus(&bus.islands, bus.load, parts)?,
            None => OnBus::default(),
        };
        if let Some(bus) = &bus {
            self.moving
                .extend(self.bus.islands.iter().chain(&bus.islands));
        }
        let mut moving = std::mem::take(&mut self.moving);
        moving.sort_unstable();
        moving.dedup();
        self.heading.clear();
        for island in moving.iter().copied() {
            let (target, part) = self.solve_for(island, &on_bus, parts)?;
            self.heading.push(Heading {
                island,
                target,
                part,
                volts: Vec::new(),
            });
        }
        self.moving = moving;
        // From here on nothing fails.
        for heading in &mut self.heading {
            heading.volts = self.movements[heading.island].stop(now);
        }
        if let Some(bus) = bus {
            self.share_charge(&bus);
            self.bus = bus;
        }
        for heading in self.heading.drain(..) {
            let Heading {
                island,
                target,
                part,
                mut volts,
            } = heading;
            self.wired.islands[island].deviate(&mut volts, &target[part]);
            self.movements[island] = Movement {
                since: now,
                target,
                part,
                deviation: volts,
            };
        }
        Ok(())
    }

    /// The sense bus from `now` on, if the front end or an island in `moving` changes it.
    fn bus_anew(&self, now: u64, parts: &Parts) -> Option<BusMovement> {
        let load = parts.bus_load(&self.state);
        let joined = self.bus.joined.iter().map(|(channel, _)| channel);
        if load == self.bus.load
            && self.state.joined.iter().eq(joined)
            && !(self.bus.islands.iter()).any(|island| self.moving.contains(island))
        {
            return None;
        }
        let joined = self.state.joined.iter().copied();
        let joined: Vec<(usize, f64)> = joined
            .filter_map(|channel| Some((channel, 1.0 / parts.sense(channel, true)?)))
            .collect();
        Some(BusMovement {
            since: now,
            volts: self.bus_volts(now),
            load,
            islands: self.wired.islands_of(&joined),
            joined,
        })
    }

    /// Contacts of the wiring open or close at `now`. What stands on the nodes
    /// stays there for the moment.
    pub(super) fn rewire(
        &mut self,
        wired: &Rc<Wired>,
        now: u64,
        parts: &Parts,
    ) -> Result<(), BenchError> {
        if wired.number == self.wired.number {
            return Ok(());
        }
        let mut stands: HashMap<usize, f64> = HashMap::new();
        for (island, content) in self.wired.islands.iter().enumerate() {
            let movement = &self.movements[island];
            let volts = (0..content.nodes.len()).map(|port| movement.volts(port, now));
            stands.extend(content.nodes.iter().copied().zip(volts));
        }
        self.bus.volts = self.bus_volts(now);
        self.bus.since = now;
        self.wired = Rc::clone(wired);
        let joined = wired.islands_of(&self.bus.joined);
        let on_bus = self.solve_bus(&joined, self.bus.load, parts)?;
        let mut movements = Vec::new();
        for (island, content) in wired.islands.iter().enumerate() {
            let (target, part) = self.solve_for(island, &on_bus, parts)?;
            let own = &target[part];
            let nodes = content.nodes.iter().zip(&own.volts);
            let mut deviation: Vec<f64> = nodes
                .map(|(node, rest)| stands.get(node).copied().unwrap_or(*rest))
                .collect();
            content.deviate(&mut deviation, own);
            movements.push(Movement {
                since: now,
                target,
                part,
                deviation,
            });
        }
        self.movements = movements;
        self.bus.islands = joined;
        Ok(())
    }

    /// Shares the charge of the bus with every lead that is newly joined to it; its
    /// load takes its part.
    fn share_charge(&mut self, bus: &BusMovement) {
        let loads = bus.load.up + bus.load.down;
        for (channel, joint) in bus.joined.iter().copied() {
            if self.bus.joined.iter().any(|(before, _)| *before == channel) {
                continue;
            }
            let (island, port) = self.wired.seat[channel];
            let at = self.heading.binary_search_by_key(&island, |it| it.island);
            if let Ok(at) = at {
                let volts = &mut self.heading[at].volts;
                let content = &self.wired.islands[island];
                // One pole stands for all capacitances that move together; the
                // charge spreads over the same before that pole shows it.
                let own = content.lump_capacitance(port);
                let farads = self.movements[island].target().farads[port].max(own) + BUS.value();
                let share = joint / (joint + loads);
                let shift = (bus.volts - volts[port]) * share * BUS.value() / farads;
                for other in content.lump_of(port) {
                    volts[*other] += shift;
                }
            }
        }
    }
}

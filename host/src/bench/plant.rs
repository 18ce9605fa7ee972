//! The wiring in time: which island is where, what it relaxes towards, and
//! what the sense bus sees.
//!
//! Each lump of wiring relaxes with one pole ([`targets`]); the sense bus has a
//! pole of its own and follows the leads that are joined to it, solved
//! exactly. When a lead is joined to the bus the charge on the bus is shared
//! with the lead's lump at once, so that a floating lead is disturbed by the
//! reading as a real one is; what loads the bus takes its part of that charge
//! (the wide divider's leg 22 of 23 parts: 1 kΩ beside 22 kΩ).

use super::error::BenchError;
use super::front_end::{Channel, Parts, Pin, Source, State, Touched};
use super::island::{BUS_LEAK, BusLoad, Driven, Island, Target, targets};
use loomproof_core::instrument::{BUS, REFERENCE};
use std::collections::HashMap;
use std::rc::Rc;

/// Solutions kept before the store is emptied: bounds memory, not results.
const KEPT: usize = 20_000;

/// Movement of one island since `since`.
struct Movement {
    since: u64,
    target: Rc<Vec<Target>>,
    part: usize,
    deviation: Vec<f64>,
}

impl Movement {
    fn target(&self) -> &Target {
        &self.target[self.part]
    }

    /// What is left at `now` of a deviation that dies away with `tau`, s.
    fn left(&self, tau: f64, now: u64) -> f64 {
        let seconds = now.saturating_sub(self.since) as f64 * 1e-9;
        if tau > 0.0 {
            (-seconds / tau).exp()
        } else {
            0.0
        }
    }

    fn volts(&self, port: usize, now: u64) -> f64 {
        let target = self.target();
        target.volts[port] + self.deviation[port] * self.left(target.tau[port], now)
    }

    /// The voltage of every port, V, in the room of the deviations, which are gone.
    fn stop(&mut self, now: u64) -> Vec<f64> {
        let mut volts = std::mem::take(&mut self.deviation);
        let target = self.target();
        // The ports of a lump share a time constant.
        let (mut tau, mut left) = (0.0, 0.0);
        for (port, value) in volts.iter_mut().enumerate() {
            if target.tau[port] != tau {
                tau = target.tau[port];
                left = self.left(tau, now);
            }
            *value = target.volts[port] + *value * left;
        }
        volts
    }
}

/// The sense bus since `since`: leads joined to it and what loads it.
struct BusMovement {
    since: u64,
    volts: f64,
    load: BusLoad,
    /// Per lead: its channel and the conductance between them, S.
    joined: Vec<(usize, f64)>,
    /// Their islands, in order.
    islands: Vec<usize>,
}

/// An island that is about to head for somewhere else.
struct Heading {
    island: usize,
    target: Rc<Vec<Target>>,
    part: usize,
    /// Where its ports are, V.
    volts: Vec<f64>,
}

/// The islands of the wiring while all its contacts stay as they are.
pub(super) struct Wired {
    /// Tells one state of the contacts from another.
    number: u32,
    islands: Vec<Island>,
    /// Per channel: its island and port.
    seat: Vec<(usize, usize)>,
}

impl Wired {
    /// Islands that hold so many channels. No two of one plant share a number.
    pub(super) fn new(number: u32, islands: Vec<Island>, channels: usize) -> Self {
        let mut seat = vec![(0, 0); channels];
        for (island, content) in islands.iter().enumerate() {
            for (port, channel) in content.ports.iter().enumerate() {
                if let Some(channel) = channel {
                    seat[*channel] = (island, port);
                }
            }
        }
        Self {
            number,
            islands,
            seat,
        }
    }

    /// The islands of the leads that are joined to the sense bus.
    fn islands_of(&self, joined: &[(usize, f64)]) -> Vec<usize> {
        let seats = joined.iter().map(|(channel, _)| self.seat[*channel]);
        let mut islands: Vec<usize> = seats.map(|(island, _)| island).collect();
        islands.sort_unstable();
        islands.dedup();
        islands
    }
}

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
            let target = plant.solve(&[island], None, parts)?;
            let deviation = vec![0.0; target[0].volts.len()];
            plant.movements.push(Movement {
                since: 0,
                target,
                part: 0,
                deviation,
            });
        }
        Ok(plant)
    }

    fn channel(&self, island: usize, port: usize) -> (usize, Channel) {
        match self.wired.islands[island].ports[port] {
            Some(channel) => (channel, self.state.channels[channel]),
            None => (0, Channel::default()),
        }
    }

    fn solve(
        &mut self,
        group: &[usize],
        bus: Option<BusLoad>,
        parts: &Parts,
    ) -> Result<Rc<Vec<Target>>, BenchError> {
        let mut key = std::mem::take(&mut self.key);
        key.clear();
        match bus {
            Some(_) => key.extend([
                1,
                u8::from(self.state.up),
                u8::from(self.state.down),
                u8::from(self.state.wide),
            ]),
            None => key.push(0),
        }
        let wired = Rc::clone(&self.wired);
        key.extend(wired.number.to_le_bytes());
        for island in group {
            key.extend((*island as u32).to_le_bytes());
            for port in 0..wired.islands[*island].ports.len() {
                let channel = self.channel(*island, port).1;
                key.push(channel.pin as u8 | u8::from(channel.sensed) << 4);
                if channel.pin == Pin::Live {
                    key.extend(self.stirred.to_le_bytes());
                }
            }
        }
        if let Some(target) = self.solved.get(&key) {
            self.key = key;
            return Ok(Rc::clone(target));
        }
        let driven: Vec<Driven<'_>> = group
            .iter()
            .map(|island| {
                let ports = 0..wired.islands[*island].ports.len();
                let channels = ports.map(|port| self.channel(*island, port));
                let live = channels
                    .clone()
                    .any(|(_, channel)| channel.pin == Pin::Live);
                let (drives, sensed) = channels
                    .map(|(number, c)| (parts.drive(number, c.pin), parts.sense(number, c.sensed)))
                    .unzip();
                Driven {
                    island: &wired.islands[*island],
                    drives,
                    sensed,
                    held: live || wired.islands[*island].powered,
                }
            })
            .collect();
        let target = Rc::new(targets(&driven, bus.map(|load| (load, BUS.value())))?);
        if self.solved.len() >= KEPT {
            self.solved.clear();
        }
        self.solved.insert(key, Rc::clone(&target));
        Ok(target)
    }

    /// The front end changes at `now`.
    pub(super) fn change(
        &mut self,
        source: Source<'_>,
        touched: Touched,
        now: u64,
        parts: &Parts,
    ) -> Result<(), BenchError> {
        self.changed.clear();
        self.state.follow(source, touched, &mut self.changed);
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
            Some(bus) if !bus.islands.is_empty() => {
                Some(self.solve(&bus.islands, Some(bus.load), parts)?)
            }
            _ => None,
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
            let on_bus = on_bus.as_ref().zip(bus.as_ref()).and_then(|(target, bus)| {
                let part = bus.islands.iter().position(|other| *other == island)?;
                Some((Rc::clone(target), part))
            });
            let (target, part) = match on_bus {
                Some(there) => there,
                None => (self.solve(&[island], None, parts)?, 0),
            };
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
        let load = self.bus.load;
        let on_bus = match joined.is_empty() {
            true => None,
            false => Some(self.solve(&joined, Some(load), parts)?),
        };
        let mut movements = Vec::new();
        for (island, content) in wired.islands.iter().enumerate() {
            let place = joined.iter().position(|other| *other == island);
            let (target, part) = match (&on_bus, place) {
                (Some(target), Some(part)) => (Rc::clone(target), part),
                _ => (self.solve(&[island], None, parts)?, 0),
            };
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

    /// Voltage of a channel, V.
    pub(super) fn channel_volts(&self, channel: usize, now: u64) -> f64 {
        let (island, port) = self.wired.seat[channel];
        self.movements[island].volts(port, now)
    }

    /// Voltage of the sense bus, V.
    pub(super) fn bus_volts(&self, now: u64) -> f64 {
        let bus = &self.bus;
        let seconds = now.saturating_sub(bus.since) as f64 * 1e-9;
        let load = bus.load.up + bus.load.down + BUS_LEAK;
        let total = load + bus.joined.iter().map(|(_, siemens)| siemens).sum::<f64>();
        let rate = total / BUS.value();
        let mut rest = bus.load.up * REFERENCE.value() / total;
        let mut moving = 0.0;
        let mut at_start = 0.0;
        for (channel, siemens) in &bus.joined {
            let (island, port) = self.wired.seat[*channel];
            let movement = &self.movements[island];
            let target = movement.target();
            rest += siemens * target.volts[port] / total;
            let tau = target.tau[port];
            if tau > 0.0 && movement.deviation[port] != 0.0 {
                // Two equal poles have another solution; one part in a million
                // apart they do not differ in what can be seen.
                let mut own = 1.0 / tau;
                if (own / rate - 1.0).abs() < 1e-6 {
                    own *= 1.0 + 1e-6;
                }
                let size = siemens * movement.deviation[port] / BUS.value() / (rate - own);
                moving += size * (-own * seconds).exp();
                at_start += size;
            }
        }
        rest + moving + (bus.volts - rest - at_start) * (-rate * seconds).exp()
    }

    /// The one channel on the bus and the current that its drive sends into
    /// it, A; `None` if none or several are joined.
    pub(super) fn sensed_current(&self, now: u64, parts: &Parts) -> Option<f64> {
        let [(channel, _)] = self.bus.joined[..] else {
            return None;
        };
        let (volts, ohms) = parts.drive(channel, self.state.channels[channel].pin)?;
        Some((volts - self.channel_volts(channel, now)) / ohms)
    }

    /// The current that the probe's sources and its weak pull-up give together, A.
    pub(super) fn drive_current(&self, now: u64, parts: &Parts) -> f64 {
        let given = self.state.sources.iter().filter_map(|channel| {
            let (volts, ohms) = parts.drive(*channel, self.state.channels[*channel].pin)?;
            Some(((volts - self.channel_volts(*channel, now)) / ohms).max(0.0))
        });
        let pull = match self.bus.load.up {
            0.0 => 0.0,
            up => up * (REFERENCE.value() - self.bus_volts(now)).max(0.0),
        };
        given.sum::<f64>() + pull
    }

    /// The front end's state.
    pub(super) fn state(&self) -> &State {
        &self.state
    }

    /// Whether a probe lead (chassis leads not counted) is outside the limits
    /// of the comparators. Only a live source or the battery can bring one there.
    pub(super) fn over_limits(&self, now: u64, low: f64, high: f64) -> bool {
        if self.powered {
            return (0..self.leads).any(|lead| {
                let volts = self.channel_volts(lead, now);
                volts > high || volts < low
            });
        }
        // Also one that is switched off: its charge may still stand there.
        self.wired
            .seat
            .iter()
            .skip(self.leads + 1)
            .any(|(island, _)| {
                self.wired.islands[*island]
                    .ports
                    .iter()
                    .enumerate()
                    .filter(|(_, channel)| channel.is_some_and(|channel| channel < self.leads))
                    .any(|(port, _)| {
                        let volts = self.movements[*island].volts(port, now);
                        volts > high || volts < low
                    })
            })
    }
}

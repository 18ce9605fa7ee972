//! Where islands come to rest, kept for when the front end comes back.

use super::super::error::BenchError;
use super::super::front_end::{Channel, Parts, Pin};
use super::super::island::{BusLoad, Driven, Target, targets};
use super::Plant;
use loomproof_core::instrument::BUS;
use std::rc::Rc;

/// Solutions kept before the store is emptied: bounds memory, not results.
const KEPT: usize = 20_000;

/// The islands on the sense bus, in order, and where they head together.
#[derive(Default)]
pub(super) struct OnBus<'i> {
    islands: &'i [usize],
    target: Option<Rc<Vec<Target>>>,
}

impl Plant {
    /// Where the islands on the sense bus head, with what loads it.
    ///
    /// # Errors
    /// As [`Self::solve`].
    pub(super) fn solve_bus<'i>(
        &mut self,
        islands: &'i [usize],
        load: BusLoad,
        parts: &Parts,
    ) -> Result<OnBus<'i>, BenchError> {
        let target = match islands.is_empty() {
            true => None,
            false => Some(self.solve(islands, Some(load), parts)?),
        };
        Ok(OnBus { islands, target })
    }

    /// Where an island heads, on the sense bus or by itself, and its part of that.
    ///
    /// # Errors
    /// As [`Self::solve`].
    pub(super) fn solve_for(
        &mut self,
        island: usize,
        on_bus: &OnBus<'_>,
        parts: &Parts,
    ) -> Result<(Rc<Vec<Target>>, usize), BenchError> {
        let part = on_bus.islands.iter().position(|other| *other == island);
        match (&on_bus.target, part) {
            (Some(target), Some(part)) => Ok((Rc::clone(target), part)),
            _ => Ok((self.solve(&[island], None, parts)?, 0)),
        }
    }

    fn channel(&self, island: usize, port: usize) -> (usize, Channel) {
        match self.wired.islands[island].ports[port] {
            Some(channel) => (channel, self.state.channels[channel]),
            None => (0, Channel::default()),
        }
    }

    /// Where a group of islands heads with the front end as it is: of one by itself,
    /// or of all on the sense bus with what loads it.
    ///
    /// # Errors
    /// [`BenchError::NotSolved`] if there is no operating point.
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
}

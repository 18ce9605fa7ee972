//! Where relays and fuses come to rest.

use loomproof_core::circuit::{ElementId, Part};
use loomproof_core::solve::{Corner, SolveError};

use super::Solver;
use super::now::Now;
use super::scope::Scope;
use crate::powered::causes::Scenario;
use crate::review::islands::{Setting, bit};

/// A blade fuse carries 1.35 times its rating for half an hour and blows at twice
/// its rating within 5 s (ISO 8820-3 as cited by a mini ISO relay datasheet, read):
/// beyond that it is taken as blown by the time that anybody looks.
const BLOWS: f64 = 2.0;

/// Of two fuses one behind the other the smaller one blows first for sure where it is
/// smaller by so much (common practice).
const SELECTIVE: f64 = 1.0 / 1.6;

/// How often relays and fuses may follow each other before they are taken as chattering.
const ROUNDS: usize = 16;

/// Where switches, relays and fuses are at rest; by default no relay has pulled in and
/// every fuse is whole.
#[derive(Debug, Default, Clone, PartialEq, Eq, Hash)]
pub struct Settled {
    /// Switches and relays.
    pub setting: Setting,
    /// Feeds whose fuse has blown.
    pub blown: Vec<usize>,
    /// Fuses of the harness that have blown.
    pub burnt: Vec<ElementId>,
}

impl Settled {
    /// Whether a fuse has blown.
    #[must_use]
    pub fn blew(&self) -> bool {
        !self.blown.is_empty() || !self.burnt.is_empty()
    }
}

/// A fuse.
enum Fuse {
    /// Of the harness.
    Own(ElementId),
    /// Of a feed, by its number.
    Feed(usize),
}

impl Solver<'_> {
    /// Where relays and fuses come to rest when the switches are like this and the
    /// relays were like that, every fuse whole.
    ///
    /// # Errors
    /// [`SolveError`] when the circuit cannot be solved.
    pub fn settle(
        &mut self,
        scope: &Scope,
        scenario: &Scenario,
        switches: &[u8],
        relays: u128,
    ) -> Result<Settled, SolveError> {
        let before = Settled {
            setting: Setting {
                switches: Vec::new(),
                relays,
            },
            ..Settled::default()
        };
        self.settle_after(scope, scenario, switches, &before)
    }

    /// As [`Self::settle`], after another state: fuses that blew then stay so.
    ///
    /// # Errors
    /// [`SolveError`] when the circuit cannot be solved.
    pub fn settle_after(
        &mut self,
        scope: &Scope,
        scenario: &Scenario,
        switches: &[u8],
        before: &Settled,
    ) -> Result<Settled, SolveError> {
        let mut settled = before.clone();
        settled.setting.switches = switches.to_vec();
        for (switch, state) in &scenario.stuck {
            if let Some(own) = settled.setting.switches.get_mut(*switch) {
                *own = *state;
            }
        }
        let powered = self.powered;
        let feeds = scope.feeds.iter().filter_map(|at| powered.feeds.get(*at));
        let fuses = scope.fuses.len() + feeds.filter(|feed| feed.fuse.is_some()).count();
        if scope.coils.is_empty() && fuses == 0 {
            return Ok(settled);
        }
        for _ in 0..ROUNDS + fuses {
            let now = self.now(scope, scenario, &settled, true);
            if let Some(fuse) = self.overloaded(scope, scenario, &settled, &now)? {
                match fuse {
                    Fuse::Own(element) => settled.burnt.push(element),
                    Fuse::Feed(at) => settled.blown.push(at),
                }
                continue;
            }
            let before = settled.clone();
            for coil in scope.coils.iter().filter_map(|at| powered.coils.get(*at)) {
                let Some(element) = powered
                    .model
                    .circuit
                    .edited_element(coil.element, &scenario.edits)
                else {
                    settled.setting.relays &= !bit(coil.relay);
                    continue;
                };
                let a = self.voltage(&now, element.a, Corner::Most)?;
                let b = self.voltage(&now, element.b, Corner::Most)?;
                if (a - b).abs() >= coil.operates.0 {
                    settled.setting.relays |= bit(coil.relay);
                } else if (a - b).abs() < coil.releases.0 {
                    settled.setting.relays &= !bit(coil.relay);
                }
            }
            if settled == before {
                break;
            }
        }
        Ok(settled)
    }

    /// The whole fuse that blows first, if one does: the one that carries most above what
    /// it bears. Where one of the harness and one of the vehicle carry about as much, it
    /// is the harness's, or the vehicle's where the scenario says so.
    fn overloaded(
        &mut self,
        scope: &Scope,
        scenario: &Scenario,
        settled: &Settled,
        now: &Now,
    ) -> Result<Option<Fuse>, SolveError> {
        let powered = self.powered;
        let mut blow: Vec<(f64, Fuse)> = Vec::new();
        for (element, rating) in scope.fuses.iter().filter_map(|at| powered.fuses.get(*at)) {
            let circuit = &powered.model.circuit;
            if let Some(fuse) = circuit.edited_element(*element, &scenario.edits)
                && let Part::Wire { ohms, .. } = fuse.part
                && !settled.burnt.contains(element)
            {
                let a = self.voltage(now, fuse.a, Corner::Least)?;
                let b = self.voltage(now, fuse.b, Corner::Least)?;
                blow.push(((a - b).abs() / ohms.0 / rating.0, Fuse::Own(*element)));
            }
        }
        for at in scope.feeds.iter().copied() {
            let Some(feed) = powered.feeds.get(at) else {
                continue;
            };
            let Some(rating) = feed.fuse else { continue };
            let fed = Self::lets(settled, &feed.gate)
                && !scenario.dead.contains(&at)
                && !settled.blown.contains(&at);
            if fed {
                let volts = self.voltage(now, feed.node, Corner::Least)?;
                // What a low feed gives is less than the battery has.
                let mut low = scenario.volts.iter();
                let low = low.find(|(feed, _)| *feed == at);
                let given = low.map_or(self.battery, |(_, volts)| *volts);
                let times = (given.0 - volts) / feed.ohms.0 / rating.0;
                blow.push((times, Fuse::Feed(at)));
            }
        }
        blow.retain(|(times, _)| *times > BLOWS);
        let most = blow.iter().map(|(times, _)| *times).fold(0.0, f64::max);
        blow.retain(|(times, _)| *times >= most * SELECTIVE);
        let first = blow.into_iter().min_by(|(a, one), (b, other)| {
            let spared = |fuse: &Fuse| matches!(fuse, Fuse::Own(_)) == scenario.spares_own;
            spared(one).cmp(&spared(other)).then(b.total_cmp(a))
        });
        Ok(first.map(|(_, fuse)| fuse))
    }
}

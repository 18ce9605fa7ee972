//! What somebody does at the vehicle while the probe is on it, and what really stands
//! there.

use loomproof_core::units::Volts;
use loomproof_core::wire::LeadId;

use super::error::BenchError;
use super::front_end::{BANK, Touched};
use super::{Bench, solution};

impl Bench {
    /// Switches all live sources (`live@…` faults) on or off, as somebody
    /// turning the ignition key would. They are on at the start.
    pub fn switch_live(&mut self, on: bool) {
        for (source, live) in self.live.iter_mut().enumerate() {
            *live = on || self.store.holds(source);
        }
        self.refresh(Touched::All);
        self.watch();
    }

    /// Switches all live sources on or off when the virtual clock comes to `at`, ns, as
    /// a flasher or a joint that shakes would.
    pub fn switch_live_at(&mut self, at: u64, on: bool) {
        let place = self.to_come.partition_point(|(other, _)| *other <= at);
        self.to_come.insert(place, (at, on));
    }

    /// Puts a switch of the plan into a state.
    ///
    /// # Errors
    /// [`BenchError`] if the plan has no such switch or state, or a relay does not
    /// come to rest.
    pub fn set_switch(&mut self, name: &str, state: &str) -> Result<(), BenchError> {
        self.scene.set(name, state)?;
        self.settle();
        self.watch();
        match &self.trouble {
            Some(trouble) => Err(trouble.clone()),
            None => Ok(()),
        }
    }

    /// Every switch of the plan and the state it has been put into; none without
    /// the battery.
    pub fn switches(&self) -> impl Iterator<Item = (&str, &str)> {
        self.scene.switches()
    }

    /// The fuses that have blown: the harness's own by their names, others by the
    /// name of the conductor, pin, ring or switch behind them.
    pub fn fuses_blown(&self) -> impl Iterator<Item = &str> {
        self.scene.blown()
    }

    /// Puts a new fuse in; false if there is none of that name.
    pub fn renew_fuse(&mut self, name: &str) -> bool {
        let there = self.scene.renew(name);
        self.settle();
        self.watch();
        there
    }

    /// Whether a relay has pulled in; `None` without the battery or the relay.
    #[must_use]
    pub fn pulled_in(&self, relay: &str) -> Option<bool> {
        self.scene.pulled(relay)
    }

    /// What really stands at a place of the plan against the body, whether or not a
    /// probe lead is there: an end as written in the plan (of a cavity its mating
    /// side), a conductor or a pin. `None` without the battery or the place.
    #[must_use]
    pub fn stands_at(&self, place: &str) -> Option<Volts> {
        let node = self.scene.node(place)?;
        self.scene.volts(node, self.now).ok().map(Volts)
    }

    /// What a multimeter of 10 MΩ (common practice) shows at a place of the plan against
    /// the body, probe or no probe: as [`Bench::stands_at`], and with ` wire side` behind
    /// a cavity at its crimp. `None` without the battery or the place.
    #[must_use]
    pub fn meter_at(&self, place: &str) -> Option<Volts> {
        let place = place.strip_suffix(" mating side").unwrap_or(place);
        let node = self.scene.node(place)?;
        self.scene.metered(node, self.now).ok().map(Volts)
    }

    /// What really stands on a probe lead at this moment.
    #[must_use]
    pub fn lead_volts(&self, lead: LeadId) -> Option<Volts> {
        let channel = usize::from(lead.0);
        let there = channel < self.drive.len() * BANK;
        there.then(|| Volts(self.plant.channel_volts(channel, self.now)))
    }

    /// The node of a probe lead in [`Bench::circuit`].
    #[must_use]
    pub fn lead_node(&self, lead: LeadId) -> Option<usize> {
        let leads = self.drive.len() * BANK;
        self.nodes
            .iter()
            .take(leads)
            .nth(usize::from(lead.0))
            .copied()
    }

    /// The wiring as it stands at this moment, nothing of the probe driven, for
    /// another solver: how many nodes there are, and what is between them.
    #[must_use]
    pub fn circuit(&self) -> (usize, Vec<solution::Branch>) {
        let netlist = self.scene.present(self.now);
        (netlist.nodes, solution::branches(&netlist))
    }
}

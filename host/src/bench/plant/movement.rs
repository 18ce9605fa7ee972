//! How one island and the sense bus move, each with its pole.

use super::super::island::{BusLoad, Target};
use std::rc::Rc;

/// Movement of one island since `since`.
pub(super) struct Movement {
    pub(super) since: u64,
    pub(super) target: Rc<Vec<Target>>,
    pub(super) part: usize,
    pub(super) deviation: Vec<f64>,
}

impl Movement {
    pub(super) fn target(&self) -> &Target {
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

    pub(super) fn volts(&self, port: usize, now: u64) -> f64 {
        let target = self.target();
        target.volts[port] + self.deviation[port] * self.left(target.tau[port], now)
    }

    /// The voltage of every port, V, in the room of the deviations, which are gone.
    pub(super) fn stop(&mut self, now: u64) -> Vec<f64> {
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
pub(super) struct BusMovement {
    pub(super) since: u64,
    pub(super) volts: f64,
    pub(super) load: BusLoad,
    /// Per lead: its channel and the conductance between them, S.
    pub(super) joined: Vec<(usize, f64)>,
    /// Their islands, in order.
    pub(super) islands: Vec<usize>,
}

/// An island that is about to head for somewhere else.
pub(super) struct Heading {
    pub(super) island: usize,
    pub(super) target: Rc<Vec<Target>>,
    pub(super) part: usize,
    /// Where its ports are, V.
    pub(super) volts: Vec<f64>,
}

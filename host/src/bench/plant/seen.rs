//! What is seen of the wiring: by converter, comparators and whoever looks.

use super::super::front_end::{Parts, State};
use super::super::island::BUS_LEAK;
use super::Plant;
use loomproof_core::instrument::{BUS, REFERENCE};

impl Plant {
    /// Voltage of a channel, V.
    pub(in crate::bench) fn channel_volts(&self, channel: usize, now: u64) -> f64 {
        let (island, port) = self.wired.seat[channel];
        self.movements[island].volts(port, now)
    }

    /// Voltage of the sense bus, V.
    pub(in crate::bench) fn bus_volts(&self, now: u64) -> f64 {
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
    pub(in crate::bench) fn sensed_current(&self, now: u64, parts: &Parts) -> Option<f64> {
        let [(channel, _)] = self.bus.joined[..] else {
            return None;
        };
        let (volts, ohms) = parts.drive(channel, self.state.channels[channel].pin)?;
        Some((volts - self.channel_volts(channel, now)) / ohms)
    }

    /// The current that the probe's sources and its weak pull-up give together, A.
    pub(in crate::bench) fn drive_current(&self, now: u64, parts: &Parts) -> f64 {
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
    pub(in crate::bench) fn state(&self) -> &State {
        &self.state
    }

    /// Whether a probe lead (chassis leads not counted) is outside the limits
    /// of the comparators. Only a live source or the battery can bring one there.
    pub(in crate::bench) fn over_limits(&self, now: u64, low: f64, high: f64) -> bool {
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

//! The vehicle's side of the network: its conductors, its pins, and how they
//! behave.

use loomproof_core::circuit::GROUND;
use loomproof_core::copper;
use loomproof_core::units::Ohms;

use super::elements::{Across, Compiled, Feed, Fused, Gate, What};
use super::network::{Network, SOURCE, metal};
use crate::plan::model::{Behaviour, End, Job, Load, OtherEnd, Pin, States};
use loomproof_core::circuit::{NodeId, Part};

impl Network {
    /// Conductors and pins, as far as anything meets them.
    pub(super) fn vehicle(&mut self, job: &Job, with_harness: bool) {
        for conductor in &job.conductors {
            let known = job.electrics.behaviours.get(&conductor.name);
            let body = self.body(&conductor.name);
            self.behaves(
                job,
                &conductor.name,
                body,
                known.unwrap_or(&Behaviour::UNKNOWN),
            );
            if known.is_none_or(|known| known.draws.is_none())
                && let Load::Range { least, most } = conductor.load
            {
                let what = What::Own(conductor.name.clone());
                let branch = self.add(
                    body,
                    GROUND,
                    Part::Load { least, most },
                    what.clone(),
                    Gate::Open,
                );
                self.draws(what, Across::Branch(branch), true);
            }
            for (connector, cavity) in conductor.at.iter().filter(|_| with_harness) {
                let of_harness = job
                    .connectors
                    .iter()
                    .any(|it| it.name == *connector && it.of_harness);
                if of_harness {
                    let mate = self.mate(&End::Cavity(connector.clone(), *cavity));
                    let ohms =
                        copper::resistance(conductor.length, conductor.size, job.electrics.service);
                    let what = What::Stretch(conductor.name.clone());
                    self.add(mate, body, metal(ohms.0), what, Gate::Open);
                }
            }
        }
        for pin in &job.electrics.pins {
            let body = self.body(&pin.name);
            self.behaves(job, &pin.name, body, &pin.behaviour);
            if with_harness {
                self.pin(pin, body);
            }
        }
    }

    fn pin(&mut self, pin: &Pin, body: NodeId) {
        let mate = self.mate(&End::Cavity(pin.at.0.clone(), pin.at.1));
        let what = What::Stretch(pin.name.clone());
        self.add(mate, body, metal(SOURCE), what, Gate::Open);
    }

    fn behaves(&mut self, job: &Job, name: &str, body: NodeId, known: &Behaviour) {
        let gate = |states: &States| match states {
            States::Always => Gate::Open,
            states => Gate::States(Compiled::new(states, job)),
        };
        if let Some(states) = &known.plus_when {
            let limit = known.fused.or(known.most);
            self.feeds.push(Feed {
                node: body,
                ohms: Ohms(SOURCE),
                name: name.to_owned(),
                consumer: None,
                fuse: limit.map_or(Fused::NotStated, Fused::By),
                most: known.most,
                gate: gate(states),
            });
        }
        if let Some(states) = &known.chassis_when {
            let what = What::ToChassis(name.to_owned());
            self.add(body, GROUND, metal(SOURCE), what, gate(states));
        }
        let Some(draws) = known.draws else { return };
        let (ohms, what) = (draws.resistance(job.supply), What::Own(name.to_owned()));
        match &known.other_end {
            OtherEnd::BatteryPlus => self.series_feed(body, ohms, name, what, true),
            OtherEnd::Chassis => self.consumer(body, GROUND, ohms, what, true),
            OtherEnd::Named(other) => {
                let other = self.body(other);
                self.consumer(other, body, ohms, what, true);
            }
        }
    }
}

//! A virtual vehicle with something wrong in it, which answers asks.

use loomproof_core::circuit::{GROUND, NodeId};
use loomproof_core::wire::Place;
use rand::SeedableRng;
use rand::seq::IndexedRandom as _;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

use super::asks::{Ask, Asks, Side, Sign, What};
use super::belief::Reply;
use super::inquiry::Inquiry;
use super::told::{How, Symptom};
use crate::bench::{Bench, BenchError, Settings, Upset};
use crate::hookup::Hookup;
use crate::live::steps;
use crate::plan::model::Job;
use crate::powered::{Cause, Powered};

/// Noise of the meter on the virtual vehicle, V (common practice: three digits).
const NOISE: f64 = 0.05;

/// The vehicle on the bench, with a multimeter.
pub struct VirtualVehicle {
    bench: Bench,
    noise: ChaCha8Rng,
    out: Vec<String>,
    supply: f64,
    battery: f64,
}

impl VirtualVehicle {
    /// The vehicle of a job with these causes in it.
    ///
    /// # Errors
    /// [`BenchError`] if a cause does not fit, or a relay does not come to rest.
    pub fn new(job: &Job, causes: &[Cause], settings: &Settings) -> Result<Self, BenchError> {
        let (faults, upsets) = Cause::sorted(causes);
        let gone = |cause: &&Cause| match cause {
            Cause::Wiring(fault) => ["blown", "missing"].contains(&fault.kind()),
            Cause::Upset(upset) => matches!(upset, Upset::BulbOut(_)),
        };
        let out = causes.iter().filter(gone).map(Cause::place).collect();
        let bare = Hookup {
            place: Place::Vehicle,
            clips: Vec::new(),
            mated: Default::default(),
        };
        let mut vehicle = Self {
            bench: Bench::powered(job, &bare, &faults, &upsets, settings)?,
            noise: ChaCha8Rng::seed_from_u64(settings.seed),
            out,
            supply: job.supply.0,
            battery: 0.0,
        };
        vehicle.battery = vehicle.used(job)?;
        Ok(vehicle)
    }

    /// The voltage at the battery's posts.
    #[must_use]
    pub const fn battery(&self) -> f64 {
        self.battery
    }

    /// Uses everything once, as the driver did before the vehicle came back: what blows a
    /// fuse has blown it. Gives the highest voltage of what is joined to the battery in
    /// any state of the switches.
    fn used(&mut self, job: &Job) -> Result<f64, BenchError> {
        let conductors = job.conductors.iter().map(|it| it.name.clone());
        let pins = job.electrics.pins.iter().map(|it| it.name.clone());
        let rings = job.rings.iter().map(|it| it.name.clone());
        let places: Vec<String> = conductors.chain(pins).chain(rings).collect();
        let mut most: f64 = 0.0;
        for step in steps::steps(job) {
            for (switch, state) in job.electrics.switches.iter().zip(&step.switches) {
                if let Some(state) = switch.states.get(usize::from(*state)) {
                    self.put(&switch.name, state)?;
                }
            }
            let there = places.iter().filter_map(|place| self.bench.meter_at(place));
            most = there.map(|volts| volts.0).fold(most, f64::max);
        }
        for switch in &job.electrics.switches {
            if let Some(rest) = switch.states.first() {
                self.put(&switch.name, rest)?;
            }
        }
        Ok((most * 100.0).round() / 100.0)
    }

    fn put(&mut self, name: &str, state: &str) -> Result<(), BenchError> {
        let there = self
            .bench
            .switches()
            .any(|(own, now)| own == name && now == state);
        if there {
            return Ok(());
        }
        self.bench.set_switch(name, state)
    }

    /// Moves the switches.
    ///
    /// # Errors
    /// [`BenchError`] if a relay does not come to rest.
    pub fn set(&mut self, job: &Job, asks: &Asks, setting: usize) -> Result<(), BenchError> {
        for (name, state) in asks.named(job, setting) {
            self.put(&name, &state)?;
        }
        Ok(())
    }

    /// What a meter shows at a place of the plan; `None` where it is nowhere.
    pub fn volts(&mut self, place: &str) -> Option<f64> {
        let noise: f64 = StandardNormal.sample(&mut self.noise);
        Some(self.bench.meter_at(place)?.0 + NOISE * noise)
    }

    fn side(&self, powered: &Powered, side: Side) -> Option<f64> {
        match side {
            Side::Plus => Some(self.supply),
            Side::Node(GROUND) => Some(0.0),
            Side::Node(node) => Some(self.bench.stands_at(&name(powered, node)?)?.0),
        }
    }

    fn seen(&self, powered: &Powered, sign: &Sign) -> Option<bool> {
        if self.out.contains(&sign.name) {
            return Some(false);
        }
        let across = self.side(powered, sign.plus)? - self.side(powered, sign.minus)?;
        let middle = f64::midpoint(sign.runs.0, sign.stops.0);
        Some(if sign.low {
            across <= middle
        } else {
            across >= middle
        })
    }

    /// What comes back to an ask, the switches set for it.
    ///
    /// # Errors
    /// [`BenchError`] if a relay does not come to rest.
    pub fn reply(&mut self, inquiry: &Inquiry<'_>, ask: &Ask) -> Result<Reply, BenchError> {
        let asks = &inquiry.asks;
        self.set(inquiry.job, asks, ask.setting)?;
        let reply = match ask.what {
            What::Volts(site) => {
                let site = asks.sites.get(site);
                let volts = site.and_then(|site| self.volts(&site.name));
                volts.map(|volts| Reply::Volts {
                    volts,
                    doubtful: false,
                })
            }
            What::Function(function) => {
                let signs = asks.signs.get(function).into_iter().flatten();
                let each = signs.map(|sign| self.seen(&inquiry.powered, sign));
                let all: Option<Vec<bool>> = each.collect();
                all.map(|all| Reply::Works {
                    yes: all.into_iter().all(|it| it),
                    doubtful: false,
                })
            }
        };
        Ok(reply.unwrap_or(Reply::NotPossible))
    }

    /// What somebody would tell of every function.
    ///
    /// # Errors
    /// [`BenchError`] if a relay does not come to rest.
    pub fn symptoms(&mut self, inquiry: &Inquiry<'_>) -> Result<Vec<Symptom>, BenchError> {
        let asks = &inquiry.asks;
        let mut symptoms = Vec::new();
        for function in inquiry.functions() {
            let mut how = How::Works;
            for (setting, on) in asks.on.iter().enumerate() {
                let Some(on) = on.get(function).copied().flatten() else {
                    continue;
                };
                let ask = Ask {
                    what: What::Function(function),
                    setting,
                };
                let Reply::Works { yes, .. } = self.reply(inquiry, &ask)? else {
                    continue;
                };
                if on && !yes {
                    how = How::Fails;
                } else if !on && yes && how == How::Works {
                    how = How::StaysOn;
                }
            }
            symptoms.push(Symptom { function, how });
        }
        self.set(inquiry.job, asks, 0)?;
        Ok(symptoms)
    }
}

/// A cause that is drawn by chance, among those that show in a function.
///
/// # Errors
/// A sentence where there is none.
pub fn hidden(inquiry: &Inquiry<'_>, settings: &Settings) -> Result<Cause, String> {
    let causes = inquiry.causes();
    let mut chance = ChaCha8Rng::seed_from_u64(settings.seed ^ 0x5ca1_ab1e);
    for _ in 0..500 {
        let Ok(cause) = causes.choose_weighted(&mut chance, Cause::prior) else {
            break;
        };
        let vehicle = VirtualVehicle::new(inquiry.job, std::slice::from_ref(cause), settings);
        let symptoms = vehicle.and_then(|mut vehicle| vehicle.symptoms(inquiry));
        let shows = |symptoms: &[Symptom]| symptoms.iter().any(|it| it.how == How::Fails);
        if symptoms.is_ok_and(|symptoms| shows(&symptoms)) {
            return Ok(cause.clone());
        }
    }
    Err("no fault of this plan shows in a function".to_owned())
}

/// A node as the plan spells it.
fn name(powered: &Powered, node: NodeId) -> Option<String> {
    let places = &powered.model.places;
    let mut cavities = places.cavities.iter();
    if let Some(((connector, cavity), _)) = cavities.find(|(_, own)| own.mating_side == node) {
        return Some(format!("{connector}:{cavity}"));
    }
    let mut terminals = places.terminals.iter();
    if let Some((end, _)) = terminals.find(|(_, own)| **own == node) {
        return Some(end.to_string());
    }
    let mut conductors = places.conductors.iter();
    conductors
        .find(|(_, own)| **own == node)
        .map(|(name, _)| name.clone())
}

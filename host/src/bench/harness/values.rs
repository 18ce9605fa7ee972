//! What the parts of a real harness measure: one place for every value, with
//! its source.

use crate::bench::error::BenchError;
use crate::bench::network::Law;
use crate::bench::noise::Spread;
use crate::plan::model::{Draw, Fuse, Job, Lamp, Relay};
use loomproof_core::units::{Amperes, Celsius, Metres, Ohms, SquareMillimetres, Volts};

/// Resistivity of annealed copper at 20 °C, Ω·mm²/m (NBS Handbook 100).
const COPPER: f64 = 0.017_241;
/// Its temperature coefficient at 20 °C, 1/K (a power-engineering handbook, p. 970).
const COPPER_RISE: f64 = 3.93e-3;
/// A lead's resistance differs from the formula by up to this share: real
/// cross-section, stranding, tinning (common practice).
const LEAD_SPREAD: f64 = 0.05;
/// Capacitance of a lead to its surroundings, F/m (common practice: 100 pF/m).
pub(super) const LEAD_CAPACITANCE: f64 = 100e-12;
/// Capacitance of a probe lead of about 1 m with its protection, F (common practice).
pub(super) const PROBE_CAPACITANCE: f64 = 100e-12;
/// Shunt of a probe lead (switch, multiplexer and comparator leakage), Ω
/// (common practice).
pub(super) const PROBE_SHUNT: f64 = 1e9;
/// Least and greatest input capacitance of a module, F (common practice: 1…100 nF).
const MODULE_CAPACITANCE: (f64, f64) = (1e-9, 100e-9);
/// Cold resistance times rating of a blade fuse, Ω·A (common practice: 8 mΩ at 10 A).
const FUSE_OHM_AMPERES: f64 = 0.08;
/// Forward voltage of a small silicon diode from part to part, one standard
/// deviation, V (common practice: ±0.1 V in all).
const DIODE_SPREAD: f64 = 0.03;
/// A filament's cold resistance is about this share of its hot one (kfz-tech.de).
pub(super) const COLD_LAMP: f64 = 0.1;
/// Resistance of a source that stands on a wire before the test, Ω.
pub(super) const LIVE_SOURCE: f64 = 0.5;

/// Mean and half width of a joint's resistance, Ω (all common practice).
#[derive(Debug, Clone, Copy)]
pub(super) struct JointValue(f64, f64);

/// A crimp.
pub(super) const CRIMP: JointValue = JointValue(0.002, 0.001);
/// A terminal in its cavity, against the mating half.
pub(super) const CONTACT: JointValue = JointValue(0.004, 0.002);
/// A tap's bite on its conductor.
pub(super) const BITE: JointValue = JointValue(0.008, 0.004);
/// One lead in a splice.
pub(super) const SPLICE: JointValue = JointValue(0.002, 0.001);
/// A ring terminal under its bolt.
pub(super) const BOLT: JointValue = JointValue(0.003, 0.0015);
/// One way of an in-line plug.
pub(super) const PLUG: JointValue = JointValue(0.004, 0.002);
/// A closed relay contact.
pub(super) const RELAY_CONTACT: JointValue = JointValue(0.020, 0.010);

/// The vehicle's fuse holder, switch and wire up to one of its conductors (common
/// practice).
pub(super) const FEED: JointValue = JointValue(0.020, 0.010);
/// A switch of the vehicle that joins a conductor to chassis (common practice).
pub(super) const TO_CHASSIS: JointValue = JointValue(0.050, 0.020);
/// The contact of a switch that the harness is plugged to (common practice).
pub(super) const CONTACT_CLOSED: JointValue = JointValue(0.010, 0.005);
/// A battery at rest and its lead to chassis (common practice: 5 to 15 mΩ).
pub(super) const BATTERY: JointValue = JointValue(0.010, 0.005);
/// Voltage of a rested, charged lead-acid battery of 12 V, and how far it strays,
/// V (common practice).
const RESTED: (f64, f64) = (12.6, 0.2);
/// How far the ground of the vehicle's own consumers strays from the body where the
/// probe is clipped, V.
const GROUND_STRAYS: f64 = 0.02;
/// What a consumer draws strays by this share (common practice).
const DRAW_SPREAD: f64 = 0.05;

/// Draws the values of the parts of one job.
pub(in crate::bench) struct Values<'a> {
    job: &'a Job,
    spread: Spread,
}

fn usable(what: String, value: f64) -> Result<f64, BenchError> {
    if value.is_finite() && value > 0.0 {
        Ok(value)
    } else {
        Err(BenchError::Value {
            what,
            value: value.to_string(),
        })
    }
}

impl<'a> Values<'a> {
    /// Draws from `spread`.
    pub(super) fn new(job: &'a Job, spread: Spread) -> Self {
        Self { job, spread }
    }

    fn copper_rise(&self) -> f64 {
        let Celsius(degrees) = self.job.temperature;
        1.0 + COPPER_RISE * (degrees - 20.0)
    }

    /// Resistance of a piece of copper wire, Ω.
    pub(super) fn wire(
        &self,
        label: &str,
        Metres(length): Metres,
        SquareMillimetres(area): SquareMillimetres,
    ) -> Result<f64, BenchError> {
        let area = usable(format!("{label}: its size"), area)?;
        // A wire of no length (a conductor tapped where it is reached) still
        // needs a resistance: 1 mm of it.
        let length = if length == 0.0 {
            0.001
        } else {
            usable(format!("{label}: its length"), length)?
        };
        let ohms = COPPER * length / area * self.copper_rise();
        usable(
            label.to_owned(),
            self.spread.uniform(label, ohms, ohms * LEAD_SPREAD),
        )
    }

    /// Resistance of a joint, Ω.
    pub(super) fn joint(&self, label: &str, value: JointValue) -> f64 {
        self.spread.uniform(label, value.0, value.1)
    }

    /// Resistance of a short circuit, Ω: 0.05 … 0.3.
    pub(super) fn short(&self, label: &str) -> f64 {
        self.spread.uniform(label, 0.175, 0.125)
    }

    /// Resistance of a relay's coil at the job's temperature, Ω. ±10 % as in
    /// a mini ISO relay datasheet; copper wire.
    pub(super) fn coil(&self, relay: &Relay) -> Result<f64, BenchError> {
        let Ohms(ohms) = relay.coil;
        let ohms = usable(format!("the coil of relay {}", relay.name), ohms)? * self.copper_rise();
        usable(
            format!("the coil of relay {} at this temperature", relay.name),
            self.spread
                .uniform(&format!("coil {}", relay.name), ohms, ohms * 0.1),
        )
    }

    /// Resistance of a relay's suppression resistor, Ω (5 % part, common practice).
    pub(super) fn suppression(&self, relay: &Relay, Ohms(ohms): Ohms) -> Result<f64, BenchError> {
        let ohms = usable(format!("the suppression of relay {}", relay.name), ohms)?;
        Ok(self
            .spread
            .uniform(&format!("suppression {}", relay.name), ohms, ohms * 0.05))
    }

    /// Resistance of the closed break contact of a relay, Ω.
    pub(super) fn relay_contact(&self, relay: &Relay) -> f64 {
        self.joint(&format!("break contact {}", relay.name), RELAY_CONTACT)
    }

    /// Resistance of a cold lamp, Ω: a tenth of U²/P, ±10 % (common practice).
    /// The probe's few mA do not warm it.
    pub(super) fn lamp(&self, lamp: &Lamp) -> Result<f64, BenchError> {
        let power = usable(
            format!("the power of lamp {}", lamp.name),
            lamp.power.value(),
        )?;
        let volts = usable(
            format!("the voltage of lamp {}", lamp.name),
            lamp.volts.value(),
        )?;
        let ohms = volts * volts / power * COLD_LAMP;
        Ok(self
            .spread
            .uniform(&format!("lamp {}", lamp.name), ohms, ohms * 0.1))
    }

    /// Voltage of the battery, the engine off, V.
    pub(super) fn battery(&self) -> f64 {
        let batteries = self.job.supply.value() / 12.0;
        let (mean, half) = RESTED;
        self.spread.uniform("battery", mean, half) * batteries
    }

    /// Voltage of the vehicle's own ground against the body, V.
    pub(super) fn ground(&self) -> f64 {
        self.spread
            .uniform("engine-side ground", 0.0, GROUND_STRAYS)
    }

    /// Resistance of what draws so much at a rated voltage, Ω; a lamp is hot.
    pub(super) fn consumer(
        &self,
        label: &str,
        draws: Draw,
        rated: Volts,
    ) -> Result<f64, BenchError> {
        let ohms = usable(label.to_owned(), draws.resistance(rated).value())?;
        Ok(self.spread.uniform(label, ohms, ohms * DRAW_SPREAD))
    }

    /// Resistance of a good fuse of the vehicle, Ω.
    pub(super) fn own_fuse(&self, name: &str, rating: Amperes) -> Result<f64, BenchError> {
        let fuse = Fuse {
            name: name.to_owned(),
            rating,
            place: None,
        };
        self.fuse(&fuse)
    }

    /// When a joint that opens now and then does so first, s.
    pub(in crate::bench) fn first_gap(&self, label: &str, every: f64) -> f64 {
        let half = every / 2.0;
        self.spread.uniform(label, half, half)
    }

    /// How much a coil's voltages rise with its resistance at the job's temperature.
    pub(super) fn coil_rise(&self) -> f64 {
        self.copper_rise()
    }

    /// Resistance of a good fuse, Ω, ±10 % (common practice).
    pub(super) fn fuse(&self, fuse: &Fuse) -> Result<f64, BenchError> {
        let amperes = usable(
            format!("the rating of fuse {}", fuse.name),
            fuse.rating.value(),
        )?;
        let ohms = FUSE_OHM_AMPERES / amperes;
        Ok(self
            .spread
            .uniform(&format!("fuse {}", fuse.name), ohms, ohms * 0.1))
    }

    /// The curve of a silicon diode at the job's temperature, its forward voltage
    /// as it strays from part to part.
    pub(super) fn diode(&self, name: &str) -> Law {
        let stray = self
            .spread
            .normal(&format!("diode {name}"), 0.0, DIODE_SPREAD);
        Law::silicon(self.job.temperature.value() + 273.15, stray)
    }

    /// Resistance (Ω) and capacitance (F) of the load on a conductor.
    pub(super) fn load(
        &self,
        name: &str,
        Ohms(least): Ohms,
        Ohms(most): Ohms,
    ) -> Result<(f64, f64), BenchError> {
        let least = usable(format!("the least load of conductor {name}"), least)?;
        let most = usable(format!("the greatest load of conductor {name}"), most)?;
        let (small, great) = MODULE_CAPACITANCE;
        Ok((
            self.spread
                .logarithmic(&format!("load {name}"), least.min(most), most.max(least)),
            self.spread
                .logarithmic(&format!("load capacitance {name}"), small, great),
        ))
    }
}

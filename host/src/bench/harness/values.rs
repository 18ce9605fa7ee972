//! What the parts of a real harness measure: one place for every value, with
//! its source.

use crate::bench::error::BenchError;
use crate::bench::network::Law;
use crate::bench::noise::Spread;
use crate::plan::model::{Fuse, Job, Lamp, Relay};
use loomproof_core::units::{Celsius, Metres, Ohms, SquareMillimetres};

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
const COLD_LAMP: f64 = 0.1;
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
const RELAY_CONTACT: JointValue = JointValue(0.020, 0.010);

/// Draws the values of the parts of one job.
pub(super) struct Values<'a> {
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

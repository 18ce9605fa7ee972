//! A diode's companion model, and how far its junction may move at once.

use crate::circuit::Junction;

/// Conductance across every diode, so that what is behind a blocking diode
/// still has a defined voltage. Siemens; `common practice` in circuit simulators.
pub const DIODE_SHUNT: f64 = 1e-12;

/// Thermal voltage kT/q at 27 °C, the usual reference temperature of diode
/// parameters (k and q: SI definition).
pub const THERMAL: f64 = 1.380_649e-23 * 300.15 / 1.602_176_634e-19;

/// Conductance of a diode at a junction voltage, in siemens, and the current
/// from anode to cathode that goes with it at 0 V, in amperes.
#[must_use]
pub fn companion(junction: &Junction, volts: f64) -> (f64, f64) {
    let scale = junction.emission * THERMAL;
    let e = libm::exp((volts / scale).min(80.0));
    let conductance = junction.saturation.0 / scale * e + DIODE_SHUNT;
    let current = junction.saturation.0 * (e - 1.0) + DIODE_SHUNT * volts;
    (conductance, current - conductance * volts)
}

/// Keeps a junction from jumping up its exponential: the usual logarithmic
/// step beyond the critical voltage. All in volts.
#[must_use]
pub fn limit(wanted: f64, held: f64, junction: &Junction) -> f64 {
    let scale = junction.emission * THERMAL;
    let critical = scale * libm::log(scale / (core::f64::consts::SQRT_2 * junction.saturation.0));
    if wanted > critical && (wanted - held).abs() > 2.0 * scale {
        if held > 0.0 {
            let step = 1.0 + (wanted - held) / scale;
            if step > 0.0 {
                held + scale * libm::log(step)
            } else {
                critical
            }
        } else {
            scale * libm::log((wanted / scale).max(1.0))
        }
    } else {
        wanted
    }
}

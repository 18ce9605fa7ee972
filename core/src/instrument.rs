//! The probe's electrical constants, as derived in `docs/probe-hardware.md`.
//!
//! Resistor values are the design's own choice; that document holds the sums
//! and the sources.

use crate::units::{Farads, Ohms, Volts};

/// Drive voltage and converter reference (one node, so readings are ratiometric).
pub const REFERENCE: Volts = Volts(3.3);

/// Series resistance of a driven lead: 680 Ω resistor, expander pin (35 Ω)
/// and closed disconnect (10 Ω).
pub const SOURCE: Ohms = Ohms(725.0);

/// One standard deviation of [`SOURCE`] from lead to lead, as a fraction
/// (resistor 0.5 %, pin 35 ± 15 Ω).
pub const SOURCE_SPREAD: f64 = 0.008;

/// Protection resistor between a lead and the sense bus.
pub const PROTECTION: Ohms = Ohms(22_000.0);

/// Weak pull on the sense bus, up or down.
pub const PULL: Ohms = Ohms(100_000.0);

/// Lower leg of the wide divider, from the sense bus to 0 V.
pub const WIDE_LEG: Ohms = Ohms(1_000.0);

/// Voltage that the converter's input stage adds in the wide range, so that
/// negative leads stay within its span.
pub const WIDE_SHIFT: Volts = Volts(1.65);

/// Capacitance of the sense bus, multiplexers and buffer input.
pub const BUS: Farads = Farads(150e-12);

/// Clip and probe-lead resistance: mean.
pub const CLIP: Ohms = Ohms(0.10);

/// Clip and probe-lead resistance: one standard deviation.
pub const CLIP_SPREAD: Ohms = Ohms(0.04);

/// What is left of [`CLIP_SPREAD`] once the clip has been nulled: the measurement
/// (4 mΩ, `tests/tests/nulling.rs`) and what a clip that is opened and closed again
/// changes by (15 mΩ, common practice).
pub const NULLED_SPREAD: Ohms = Ohms(0.016);

/// Converter noise of one conversion, one standard deviation.
pub const NOISE: Volts = Volts(60e-6);

/// Offset left over in a reading, one standard deviation.
pub const OFFSET: Volts = Volts(60e-6);

/// Worst leakage of an open lead at 50 °C, in amperes.
pub const LEAKAGE: f64 = 10e-9;

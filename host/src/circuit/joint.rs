//! Joint resistances, mean and one standard deviation in ohms (`common
//! practice`: a few milliohms each; a tap, which bites through insulation, more).

use loomproof_core::units::Ohms;

/// A crimp.
pub const CRIMP: (Ohms, Ohms) = (Ohms(0.002), Ohms(0.001));
/// A terminal against its mating half, and one way of an in-line plug.
pub const CONTACT: (Ohms, Ohms) = (Ohms(0.004), Ohms(0.002));
/// A tap's bite on its conductor.
pub const BITE: (Ohms, Ohms) = (Ohms(0.008), Ohms(0.004));
/// A ring terminal under its bolt.
pub const BOLT: (Ohms, Ohms) = (Ohms(0.003), Ohms(0.0015));
/// A closed contact of a relay or switch.
pub const CLOSED_CONTACT: (Ohms, Ohms) = (Ohms(0.02), Ohms(0.01));

/// What a blade fuse drops: about this at its rating, in volts (`common
/// practice`).
pub const FUSE_DROP: f64 = 0.08;

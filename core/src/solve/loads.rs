//! Unknown loads: which end of its range each is at, and how they move a voltage.

use crate::units::Ohms;

/// Which ends of the loads' ranges are solved for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Corner {
    /// Every load at its least resistance.
    Least,
    /// Every load at its greatest resistance.
    Most,
    /// These loads at their least resistance, all others at their greatest.
    LeastOf(Loads),
}

impl Corner {
    /// The end of its range that a load is at.
    #[must_use]
    pub fn ohms(self, load: usize, least: Ohms, most: Ohms) -> Ohms {
        let conducts = match self {
            Self::Least => true,
            Self::Most => false,
            Self::LeastOf(loads) => loads.contains(load),
        };
        if conducts { least } else { most }
    }
}

/// Some of the unknown loads of an island, by numbers that whoever solves it gives them:
/// of use to nobody else, and for this island only.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub struct Loads(u128);

impl Loads {
    /// Adds a load; one numbered from 128 on is left out.
    pub fn insert(&mut self, load: usize) {
        self.0 |= Self::bit(load);
    }

    /// Whether a load is among them.
    #[must_use]
    pub fn contains(self, load: usize) -> bool {
        self.0 & Self::bit(load) != 0
    }

    fn bit(load: usize) -> u128 {
        u32::try_from(load).map_or(0, |load| 1_u128.checked_shl(load).unwrap_or(0))
    }
}

/// How the unknown loads move a voltage when they conduct all they can, to first order from
/// where they conduct least: further than that none moves it, as what it draws lowers its
/// own voltage.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Sway {
    /// By how much all that raise it do so, in volts.
    pub up: f64,
    /// By how much all that lower it do so, in volts.
    pub down: f64,
    /// Those that raise it.
    pub raising: Loads,
    /// Those that lower it.
    pub lowering: Loads,
}

impl Sway {
    /// Adds a load of `least` to `most` that is solved for at its greatest resistance:
    /// `slope` is how the voltage moves with its conductance, in volts a siemens.
    pub fn note(&mut self, load: usize, least: Ohms, most: Ohms, slope: f64) {
        let shift = slope * (1.0 / least.0 - 1.0 / most.0);
        if shift > 0.0 {
            self.up += shift;
            self.raising.insert(load);
        } else {
            self.down -= shift;
            self.lowering.insert(load);
        }
    }
}

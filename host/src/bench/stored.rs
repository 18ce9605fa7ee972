//! Charge that is left on a module's capacitors after the battery has gone.
//!
//! A capacitor is a live source whose voltage follows the current drawn from it,
//! in steps so short that what stands at its terminals moves little in one. It
//! stays after it has run down: the probe's own drive charges it again.

use super::front_end::Parts;
use super::plant::Plant;
use loomproof_core::units::{Farads, Ohms, Volts};

/// A step lasts so many parts of its time constant with what is between it and the
/// conductor, …
const STEPS: f64 = 4.0;
/// … and longer while it moves by less than this in it, V, …
const STILL: f64 = 2e-3;
/// … up to so long, s.
const LONGEST: f64 = 20e-3;
/// The shortest time constant that is followed, s.
const SHORTEST: f64 = 1e-4;
/// What the voltage may stray by before the wiring is solved anew, V: the converter's
/// deviation is 50 µV.
const STRAYS: f64 = 1e-4;

/// A charged capacitor of the vehicle, from a conductor or pin to chassis.
#[derive(Debug, Clone, PartialEq)]
pub struct Charge {
    /// The conductor or pin, by name.
    pub at: String,
    /// What stands on it when the probe is clipped on.
    pub volts: Volts,
    /// The capacitor.
    pub farads: Farads,
    /// What is between it and the conductor.
    pub through: Ohms,
    /// What lets it run down by itself.
    pub bleed: Ohms,
}

impl Charge {
    /// What keeps it from being followed, in a sentence without capital.
    pub(super) fn check(&self) -> Result<(), &'static str> {
        let values = [self.farads.0, self.through.0, self.bleed.0];
        let there = self.volts.0.is_finite() && values.iter().all(|it| it.is_finite() && *it > 0.0);
        let slow = self.farads.0 * self.through.0 >= SHORTEST;
        match (there, slow) {
            (false, _) => Err("its values are numbers above 0"),
            (true, false) => Err("ohms times farads must be at least 0.1 ms"),
            (true, true) => Ok(()),
        }
    }
}

/// One that is on the bench.
#[derive(Debug, Clone, Copy)]
struct Stored {
    /// Which of the live sources it is.
    source: usize,
    /// F.
    farads: f64,
    /// Ω.
    bleed: f64,
    /// V.
    volts: f64,
}

/// All of them.
#[derive(Debug, Default)]
pub(super) struct Store {
    stored: Vec<Stored>,
    /// When they were last followed, ns.
    since: u64,
    /// When they are to be followed next, ns.
    due: u64,
}

impl Store {
    /// Capacitors, each behind the live source of its number.
    pub(super) fn new(charges: &[(usize, &Charge)]) -> Self {
        let stored = charges.iter().map(|(source, charge)| Stored {
            source: *source,
            farads: charge.farads.0,
            bleed: charge.bleed.0,
            volts: charge.volts.0,
        });
        Self {
            stored: stored.collect(),
            since: 0,
            due: 0,
        }
    }

    /// When the capacitors are to be followed next, ns.
    pub(super) fn next(&self) -> Option<u64> {
        (!self.stored.is_empty()).then_some(self.due)
    }

    /// Whether a live source is one of them.
    pub(super) fn holds(&self, source: usize) -> bool {
        self.stored.iter().any(|it| it.source == source)
    }

    /// Takes from each what has flowed until now; true where a source of `parts` has
    /// moved by so much that the wiring is to be solved anew. The channel of source 0 is
    /// `first`.
    pub(super) fn follow(
        &mut self,
        now: u64,
        plant: &Plant,
        first: usize,
        parts: &mut Parts,
    ) -> bool {
        let seconds = now.saturating_sub(self.since) as f64 * 1e-9;
        self.since = now;
        let mut strays = false;
        for it in &mut self.stored {
            it.volts += it.rate(now, plant, first, parts) * seconds;
            if let Some((volts, _)) = parts.live.get_mut(it.source)
                && (*volts - it.volts).abs() > STRAYS
            {
                *volts = it.volts;
                strays = true;
            }
        }
        strays
    }

    /// Says when to follow next, what is driven now.
    pub(super) fn pace(&mut self, now: u64, plant: &Plant, first: usize, parts: &Parts) {
        let steps = self.stored.iter().map(|it| {
            let ohms = parts.live.get(it.source).map_or(0.0, |(_, ohms)| *ohms);
            let still = STILL / it.rate(now, plant, first, parts).abs();
            (it.farads * ohms / STEPS).max(still.min(LONGEST))
        });
        let step = steps.fold(LONGEST, f64::min);
        self.due = now + (step * 1e9) as u64;
    }
}

impl Stored {
    /// How fast it moves, V/s.
    fn rate(&self, now: u64, plant: &Plant, first: usize, parts: &Parts) -> f64 {
        let outside = plant.channel_volts(first + self.source, now);
        let ohms = parts.live.get(self.source).map_or(f64::INFINITY, |it| it.1);
        let amperes = (self.volts - outside) / ohms + self.volts / self.bleed;
        -amperes / self.farads
    }
}

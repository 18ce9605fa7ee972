//! A parked vehicle on the bench: what it draws asleep, and what wakes up now and then,
//! behind a fuse or shunt that two probe leads stand across.

use std::time::Duration;

use loomproof_core::units::{Amperes, Ohms, PerMinute, Percent, Volts};

use super::defect::Defects;
use super::front_end::Parts;
use super::harness;
use super::{Bench, BenchError, Settings};
use crate::plan::model::Signal;

/// What the battery of a parked vehicle has (`common practice`: rested and full).
pub const PARKED: Volts = Volts(12.6);

/// What a parked vehicle draws.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sleeper {
    /// Asleep.
    pub asleep: Amperes,
    /// What is awake draws so much more.
    pub awake: Amperes,
    /// It is awake so long, from the beginning on.
    pub wakes_for: Duration,
    /// And again so long after it woke the last time.
    pub every: Duration,
}

/// Where the two leads stand.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stands {
    /// Both on the battery's side.
    Together,
    /// The second one on the other side.
    Across,
}

impl Sleeper {
    /// Reads `asleep=20mA,awake=2A,for=60s,every=30min`; what is left away stays as in
    /// `usual`.
    ///
    /// # Errors
    /// A sentence that says what is not understood.
    pub fn parse(text: &str, usual: Self) -> Result<Self, String> {
        let mut read = usual;
        for part in text.split(',') {
            let (key, value) = part
                .split_once('=')
                .ok_or_else(|| format!("{part}: write it as asleep=20mA"))?;
            let current = || {
                crate::plan::quantity::current(value.trim())
                    .map_err(|it| format!("{part}: {}", it.message))
            };
            let time = || {
                crate::plan::quantity::time(value.trim())
                    .map_err(|it| format!("{part}: {}", it.message))
            };
            match key.trim() {
                "asleep" => read.asleep = current()?,
                "awake" => read.awake = current()?,
                "for" => read.wakes_for = time()?,
                "every" => read.every = time()?,
                other => {
                    return Err(format!("{other}: there are asleep, awake, for and every"));
                }
            }
        }
        if read.wakes_for >= read.every {
            return Err("for must be shorter than every".to_owned());
        }
        Ok(read)
    }

    /// What is awake as something that is on for a part of the time.
    pub(super) fn rhythm(&self) -> Signal {
        let every = self.every.as_secs_f64();
        Signal::Flashing {
            rate: PerMinute(60.0 / every),
            duty: Percent(100.0 * self.wakes_for.as_secs_f64() / every),
        }
    }
}

impl Bench {
    /// A parked vehicle, its battery behind a fuse or shunt of so many ohms, the first two
    /// leads of the probe there.
    ///
    /// # Errors
    /// [`BenchError`] if the settings do not fit.
    pub fn parked(
        sleeper: &Sleeper,
        (least, most): (Ohms, Ohms),
        stands: Stands,
        settings: &Settings,
    ) -> Result<Self, BenchError> {
        let spread = settings.check()?;
        let mut parts = Parts::draw(spread, usize::from(settings.leads));
        let defects = Defects::new(&settings.defects);
        parts.leak(&defects);
        let (middle, half) = (f64::midpoint(least.0, most.0), (most.0 - least.0) / 2.0);
        let ohms = Ohms(spread.uniform("fuse or shunt of the drain", middle, half));
        let rigged = harness::parked(sleeper, ohms, stands, settings.leads, &parts);
        Self::assemble(rigged, parts, defects, settings)
    }
}

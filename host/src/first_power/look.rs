//! What the holders of the harness's own fuses show, the fuses out and in.

use loomproof_core::units::Volts;
use loomproof_core::wire::{LeadId, Place};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::hookup::{Clip, Hookup, Mated, Point};
use crate::live::causes::expected_under;
use crate::live::judge::distance;
use crate::live::{Observed, Step, text};
use crate::plan::model::{End, Job};
use crate::powered::{Cause, Powered, Scenario, Shown};

/// Leads P1 and P2 are for the shunt.
const FIRST: u8 = 2;

/// Behind the weak pull a point that nothing holds stands above this; what a short would
/// change can be told from it (`common practice`; a short is below 0.1 V).
const FREE: Volts = Volts(1.0);

/// Where the probe leads go: on both sides of every own fuse.
#[must_use]
pub fn hookup(job: &Job) -> Hookup {
    let ends = job.fuses.iter().flat_map(|fuse| {
        let end = |side: &str| End::Part(fuse.name.clone(), side.to_owned());
        [end("1"), end("2")]
    });
    let used = |end: &End| {
        let mut leads = job.leads.iter();
        leads.any(|lead| lead.from == *end || lead.to == *end)
    };
    let leads = (FIRST..u8::MAX).map(LeadId);
    Hookup {
        place: Place::Vehicle,
        clips: leads
            .zip(ends.filter(used))
            .map(|(lead, end)| Clip {
                lead,
                point: Point::Terminal(end),
            })
            .collect(),
        mated: Mated::default(),
    }
}

/// How the fault is spelled that takes out a fuse.
#[must_use]
pub fn out(fuse: &str) -> String {
    format!("missing@{fuse}")
}

/// One side of a fuse's holder.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PointReport {
    /// The point.
    pub point: String,
    /// Voltage, volts.
    pub volts: f64,
    /// `as expected`, `off`, or `cannot be seen`: a short would look like what hangs
    /// there anyway.
    pub verdict: String,
    /// Whether it was off for a moment after switching on and came to rest by itself.
    pub for_a_moment: bool,
    /// What was seen, where it is off.
    pub say: String,
}

/// What must be seen at the points.
#[derive(Debug, Clone)]
pub struct Look {
    shown: Vec<Shown>,
    points: Vec<String>,
    off_before: Vec<bool>,
    last: Vec<Observed>,
    fuses_out: bool,
}

impl Look {
    /// With every switch at rest, the own fuses out or in.
    ///
    /// # Errors
    /// A sentence that says what cannot be computed.
    pub fn new(
        job: &Job,
        powered: &Powered,
        fuses_out: bool,
        battery: Volts,
    ) -> Result<Self, String> {
        let missing = job.fuses.iter().filter(|_| fuses_out);
        let missing: Vec<Scenario> = missing
            .map(|fuse| {
                let cause = Cause::parse(&out(&fuse.name), job)?;
                cause
                    .scenario(powered, job)
                    .ok_or_else(|| format!("{}: it cannot be taken out of this plan", fuse.name))
            })
            .collect::<Result<_, String>>()?;
        let scenario = Scenario::together(missing.iter());
        let rest = Step {
            switches: vec![0; job.electrics.switches.len()],
            moves: Vec::new(),
            shows: Vec::new(),
            on: Vec::new(),
        };
        let course = expected_under(powered, &scenario, &[rest], battery)?;
        let points = powered.points.iter().map(|it| it.point.to_string());
        let points: Vec<String> = points.collect();
        Ok(Self {
            shown: course.into_iter().next().unwrap_or_default(),
            off_before: vec![false; points.len()],
            points,
            last: Vec::new(),
            fuses_out,
        })
    }

    fn off(&self, at: usize) -> bool {
        match (self.last.get(at), self.shown.get(at)) {
            (Some(seen), Some(shown)) => distance(seen, shown).off(),
            _ => false,
        }
    }

    /// Takes one look more; gives whether all is as expected in it.
    pub fn add(&mut self, seen: Vec<Observed>) -> bool {
        self.last = seen;
        let off: Vec<bool> = (0..self.points.len()).map(|at| self.off(at)).collect();
        for (before, now) in self.off_before.iter_mut().zip(&off) {
            *before |= now;
        }
        !off.contains(&true)
    }

    /// Whether a short to chassis at a point would show: it has its voltage, or nothing
    /// holds it.
    fn would_show(shown: &Shown) -> bool {
        match shown {
            Shown::Unknown => false,
            Shown::Known { on, pulled, .. } => {
                on.least.0 > FREE.0 || pulled.is_some_and(|level| level.least.0 > FREE.0)
            }
        }
    }

    /// What the last look shows.
    #[must_use]
    pub fn report(&self) -> Vec<PointReport> {
        let each = self.points.iter().zip(&self.last).enumerate();
        each.map(|(at, (point, seen))| {
            let shown = self.shown.get(at).unwrap_or(&Shown::Unknown);
            let off = self.off(at);
            let verdict = match (off, Self::would_show(shown)) {
                (true, _) => "off",
                (_, true) => "as expected",
                _ => "cannot be seen",
            };
            PointReport {
                point: point.clone(),
                volts: (seen.on.0 * 100.0).round() / 100.0,
                verdict: verdict.to_owned(),
                for_a_moment: !off && self.off_before.get(at).copied().unwrap_or(false),
                say: match off {
                    true => self.say(point, seen, shown),
                    false => String::new(),
                },
            }
        })
        .collect()
    }

    fn say(&self, point: &str, seen: &Observed, shown: &Shown) -> String {
        let held = seen.pulled.is_some_and(|(_, up)| up.0 < FREE.0);
        let free =
            matches!(shown, Shown::Known { pulled: Some(level), .. } if level.least.0 > FREE.0);
        let fed = matches!(shown, Shown::Known { on, .. } if on.least.0 > FREE.0);
        if self.fuses_out && held && free && seen.on.0 < FREE.0 {
            return format!(
                "{point} is held at chassis although nothing behind it is switched on: a short. The \
                 fuse would blow"
            );
        }
        if fed && seen.on.0 < FREE.0 {
            return format!("{point} has no power ({:.1} V)", seen.on.0);
        }
        format!("{point} {}", text::seen(seen, Some(shown)))
    }
}

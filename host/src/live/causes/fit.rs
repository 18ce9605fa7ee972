//! The ohms or volts of a cause that fit what was observed best.

use loomproof_core::circuit::Edit;
use loomproof_core::units::{Ohms, Volts};

use super::Case;
use super::course::rests;
use crate::bench::Upset;
use crate::diagnosis::search::Settings;
use crate::fault::Fault;
use crate::plan::model::Job;
use crate::powered::causes::two_digits;
use crate::powered::{Cause, Scenario, Settled, Shown};

/// Ohms that a bad joint is tried with: what a lamp or a motor drops a tenth of a volt
/// on, up to what keeps a relay from pulling in and more.
const OHMS: [f64; 4] = [0.1, 1.0, 20.0, 400.0];

/// The factor to both sides with which ohms are made finer at first, less than what
/// lies between two of [`OHMS`], and how often it is halved (in decades): to 3 %.
const FIRST_STEP: f64 = 3.5;
const HALVINGS: usize = 6;

/// Parts of the range of a touch that blows a fuse that are tried at first, what lies
/// between them, and how often that is halved around the best.
const PARTS: [f64; 5] = [0.0, 0.25, 0.5, 0.75, 1.0];
const PART_STEP: f64 = 0.25;
const PART_HALVINGS: usize = 3;

/// A point at this share of the battery's voltage has it.
const WHOLE: f64 = 0.97;

impl Case<'_> {
    /// A cause with the ohms or volts that fit the observations best, where it has any.
    pub(super) fn fitted(
        &self,
        job: &Job,
        cause: Cause,
        scenario: Scenario,
    ) -> Option<(Cause, Scenario)> {
        let others: Vec<Cause> = match &cause {
            Cause::Wiring(fault) if fault.ohms().is_some() => {
                let ohms = OHMS.into_iter().map(Ohms);
                let faults = ohms.filter_map(|ohms| fault.with_ohms(ohms));
                faults.map(Cause::Wiring).collect()
            }
            Cause::Upset(Upset::Voltage(name, _)) => {
                let low = self.lowest_supply(&scenario)?;
                vec![Cause::Upset(Upset::Voltage(name.clone(), low))]
            }
            Cause::Wiring(_) | Cause::Upset(_) => {
                let scenario = self.burnt(scenario);
                return Some((cause, scenario));
            }
        };
        let each = others.into_iter().filter_map(|cause| {
            let scenario = cause.scenario(self.powered, job)?;
            let gain = self.gain_of(&scenario).ok()?;
            Some((gain, cause, scenario))
        });
        let best = each.max_by(|(a, ..), (b, ..)| a.total_cmp(b))?;
        match &best.1 {
            Cause::Wiring(fault) if best.0 > Settings::default().least_gain => {
                self.refined(job, fault).or(Some((best.1, best.2)))
            }
            _ => Some((best.1, best.2)),
        }
    }

    /// Of a touch that blows a fuse, the ohms, and the fuse where two are one behind the
    /// other, that fit the observations best: what blows and what holds differs.
    fn burnt(&self, scenario: Scenario) -> Scenario {
        let touches = |edit: &Edit| matches!(edit, Edit::Touch { .. });
        if !scenario.edits.iter().any(touches) || !self.blows(&scenario) {
            return scenario;
        }
        let tried = |part: f64, spares_own: bool| {
            let way = Scenario {
                spares_own,
                ..scenario.touching(part)
            };
            Some((self.gain_of(&way).ok()?, part, way))
        };
        let better =
            |(a, ..): &(f64, f64, Scenario), (b, ..): &(f64, f64, Scenario)| a.total_cmp(b);
        let coarse = PARTS.into_iter();
        let ways = coarse.flat_map(|part| [tried(part, false), tried(part, true)]);
        let Some(mut best) = ways.flatten().max_by(better) else {
            return scenario;
        };
        let mut apart = PART_STEP;
        for _ in 0..PART_HALVINGS {
            apart /= 2.0;
            let near = [best.1 - apart, best.1 + apart].into_iter();
            let near = near.filter(|part| (0.0..=1.0).contains(part));
            let near = near.filter_map(|part| tried(part, best.2.spares_own));
            if let Some(other) = near.max_by(better)
                && other.0 > best.0
            {
                best = other;
            }
        }
        best.2
    }

    /// Whether a fuse blows in any step.
    fn blows(&self, scenario: &Scenario) -> bool {
        let mut solver = self.solver.borrow_mut();
        let touched = solver.touched(scenario);
        let scope = solver.scope(&touched);
        let steps = (self.steps, self.batteries);
        let rests = rests(&mut solver, (&scope, scenario), steps);
        rests.is_ok_and(|rests| rests.iter().any(Settled::blew))
    }

    /// A bad joint with the ohms that fit best, by halving the distance (in decades)
    /// to both sides of the best ones so far.
    fn refined(&self, job: &Job, fault: &Fault) -> Option<(Cause, Scenario)> {
        let tried = |ohms: f64| {
            let ohms = two_digits(ohms);
            let cause = Cause::Wiring(fault.with_ohms(ohms)?);
            let scenario = cause.scenario(self.powered, job)?;
            let gain = self.gain_of(&scenario).ok()?;
            Some((gain, ohms.0, cause, scenario))
        };
        let mut best = tried(fault.ohms()?.0)?;
        let mut apart = FIRST_STEP;
        for _ in 0..HALVINGS {
            for ohms in [best.1 / apart, best.1 * apart] {
                let other = tried(ohms)?;
                if other.0 > best.0 {
                    best = other;
                }
            }
            apart = apart.sqrt();
        }
        Some((best.2, best.3))
    }

    /// What a feed gives at most, by the points that it should bring to the battery's
    /// voltage and does not; `None` where they have that.
    fn lowest_supply(&self, scenario: &Scenario) -> Option<Volts> {
        let touched = self.solver.borrow().touched(scenario);
        let own = &touched;
        let steps = self.seen.iter().zip(&self.healthy).zip(self.batteries);
        let low = steps.flat_map(|((seen, shown), battery)| {
            let whole = battery.0 * WHOLE;
            let points = seen.iter().zip(shown).zip(&self.home);
            let fed = points.filter(move |((_, shown), home)| {
                let full = matches!(shown, Shown::Known { on, .. } if on.least.0 > whole);
                full && home.is_some_and(|home| own.contains(&home))
            });
            // Other feeds may reach the same nets: those that are whole do not count.
            let volts = fed.map(|((seen, _), _)| seen.on.0);
            volts.filter(move |volts| *volts < whole)
        });
        let most = low.max_by(f64::total_cmp)?;
        (most > 0.5).then_some(Volts(most))
    }
}

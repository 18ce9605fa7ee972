//! What a campaign has to show.

use loomproof_core::judge::LIMIT;

use super::results::{Counts, Results};
use super::stats::{calibration_error, upper_95};
use super::trial::{Class, Tried};

/// So far outside the healthy band in some reading a fault shows enough to be
/// asked for, in σ.
pub const OUTSIDE: f64 = 3.0;

/// The same from the expected mean: a reading is healthy up to [`LIMIT`] σ from
/// it, or there would be more false alarms than are allowed.
pub const SEVERE: f64 = LIMIT + OUTSIDE;

/// The most false alarms, as a share of the healthy runs.
const FALSE_ALARMS: f64 = 1e-4;

/// The greatest expected calibration error.
const CALIBRATION: f64 = 0.05;

/// Least share in the best group, by class.
const SHARES: [(Class, f64); 4] = [
    (Class::Single, 1.0),
    (Class::Whole, 1.0),
    (Class::Pair, 0.99),
    (Class::Triple, 0.95),
];

/// One goal, and how it stands.
#[derive(Debug, Clone, PartialEq)]
pub struct Goal {
    /// What is wanted.
    pub wanted: String,
    /// What was found.
    pub found: String,
    /// Whether it was met; `None` where nothing was run that could show it.
    pub met: Option<bool>,
}

impl Results {
    /// Every goal.
    #[must_use]
    pub fn goals(&self) -> Vec<Goal> {
        let mut goals = vec![self.escapes(), self.alarms()];
        goals.extend(SHARES.map(|(class, least)| self.share(class, least)));
        goals.push(self.live());
        goals.push(self.calibrated());
        goals
    }

    /// Single faults between [`OUTSIDE`] and [`SEVERE`] σ from the expected mean:
    /// how many, and how many of them are in the best group.
    #[must_use]
    pub fn faint(&self) -> (usize, usize) {
        let faint = |tried: &&Tried| (OUTSIDE..SEVERE).contains(&tried.severity);
        let runs = self.class(Class::Single).filter(faint);
        runs.fold((0, 0), |(all, met), tried| {
            (all + 1, met + usize::from(tried.met()))
        })
    }

    /// Every goal that was missed, in words; empty when all were met.
    #[must_use]
    pub fn missed_goals(&self) -> Vec<String> {
        let missed = self
            .goals()
            .into_iter()
            .filter(|goal| goal.met == Some(false));
        missed
            .map(|goal| format!("{}: {}", goal.wanted, goal.found))
            .collect()
    }

    fn escapes(&self) -> Goal {
        let all = Counts::of(self.tried());
        let [runs, passed, unclear] = self.judged();
        let (covered, passed) = (all.covered + runs, all.escapes + passed);
        let unclear = all.unclear + unclear;
        let errors = self.tried().filter(|tried| tried.verdict.is_none()).count();
        Goal {
            wanted: "covered single faults are never passed".to_owned(),
            found: format!(
                "of {covered} covered ({} asked for their cause, {runs} rung out up to the verdict): \
                 {passed} passed, {unclear} unclear; {errors} runs without a verdict",
                all.covered
            ),
            met: (covered > 0).then_some(passed + unclear + errors == 0),
        }
    }

    fn alarms(&self) -> Goal {
        let (runs, alarms) = self.healthy();
        Goal {
            wanted: "at most 1 false alarm in 10,000 healthy runs".to_owned(),
            found: format!(
                "{alarms} in {runs}; with 95 % confidence (Clopper–Pearson, one-sided) at most {:.1} in 10,000",
                upper_95(alarms, runs) * 1e4
            ),
            met: (runs > 0).then_some(alarms as f64 <= FALSE_ALARMS * runs as f64),
        }
    }

    fn share(&self, class: Class, least: f64) -> Goal {
        let counts = Counts::of(self.class(class));
        let as_what = if class == Class::Whole {
            "as one finding "
        } else {
            ""
        };
        Goal {
            wanted: format!(
                "{}: at least {:.0} % of those ≥ {OUTSIDE:.0} σ outside the healthy band are {as_what}in the best group",
                class.word(),
                least * 100.0
            ),
            found: format!(
                "{} of {} ({:.2} %)",
                counts.met,
                counts.severe,
                counts.share() * 100.0
            ),
            met: (counts.severe > 0).then_some(counts.share() >= least),
        }
    }

    fn live(&self) -> Goal {
        let runs = self.class(Class::Live).count();
        let met = self.class(Class::Live).filter(|tried| tried.met()).count();
        Goal {
            wanted: "every live lead is refused by name before the test".to_owned(),
            found: format!("{met} of {runs}"),
            met: (runs > 0).then_some(met == runs),
        }
    }

    fn calibrated(&self) -> Goal {
        let bins = self.calibration();
        let runs: usize = bins.iter().map(|bin| bin.runs).sum();
        let error = calibration_error(&bins);
        Goal {
            wanted: format!("expected calibration error at most {CALIBRATION}"),
            found: format!("{error:.3} over {runs} runs"),
            met: (runs > 0).then_some(error <= CALIBRATION),
        }
    }
}

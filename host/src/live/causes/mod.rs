//! Which causes explain what was observed best.

mod course;
mod fit;

use std::cell::RefCell;
use std::collections::BTreeSet;

use loomproof_core::units::Volts;

use crate::diagnosis::search::{Outcome, Settings, Space, search};
use crate::fault::Fault;
use crate::live::judge::{Distance, alike, distance, distances};
use crate::live::observe::Observed;
use crate::live::steps::Step;
use crate::plan::model::Job;
use crate::powered::causes::all;
use crate::powered::{Cause, Cluster, Powered, Scenario, Solver};

pub use course::{Course, expected, expected_under};
use course::{course, whole};

/// What was observed, step by step, and what the plan expects.
pub struct Case<'c> {
    powered: &'c Powered,
    steps: &'c [Step],
    seen: &'c [Vec<Observed>],
    /// The battery's voltage in each step.
    batteries: &'c [Volts],
    solver: RefCell<Solver<'c>>,
    /// What the plan lets expect.
    pub healthy: Course,
    /// How far each observation is from it.
    pub apart: Vec<Vec<Distance>>,
    /// Cluster of each point, `None` where the clip's net meets nothing else.
    home: Vec<Option<Cluster>>,
    causes: Vec<Suspect>,
}

struct Suspect {
    cause: Cause,
    scenario: Scenario,
    clusters: BTreeSet<Cluster>,
}

/// The most causes that are looked for together.
const MOST_CAUSES: usize = 3;

/// Pairs that are worked out at most; each solves the whole job in every step.
const PATIENCE: u64 = 1_500;

/// How far what was seen is from a course, by step and point.
fn apart(seen: &[Vec<Observed>], course: &Course, batteries: &[Volts]) -> Vec<Vec<Distance>> {
    let mut apart: Vec<Vec<Distance>> = seen.iter().map(|_| Vec::new()).collect();
    for point in 0..seen.iter().map(Vec::len).max().unwrap_or(0) {
        let steps = seen.iter().zip(course).zip(batteries);
        let each = steps.filter_map(|((seen, shown), battery)| {
            Some((seen.get(point)?, shown.get(point)?, *battery))
        });
        for (step, own) in apart.iter_mut().zip(distances(each)) {
            step.push(own);
        }
    }
    apart
}

impl<'c> Case<'c> {
    /// The case of a job.
    ///
    /// # Errors
    /// A sentence that says what cannot be computed.
    pub fn new(
        powered: &'c Powered,
        steps: &'c [Step],
        seen: &'c [Vec<Observed>],
        batteries: &'c [Volts],
    ) -> Result<Self, String> {
        // Each step sets its own.
        let mut solver = Solver::new(powered, Volts(0.0));
        let healthy = whole(&mut solver, &Scenario::default(), (steps, batteries))?;
        let apart = apart(seen, &healthy, batteries);
        let home = powered.points.iter();
        let home = home.map(|touched| solver.cluster(touched.tip));
        Ok(Self {
            powered,
            steps,
            seen,
            batteries,
            apart,
            home: home.collect(),
            healthy,
            solver: RefCell::new(solver),
            causes: Vec::new(),
        })
    }

    /// Whether any observation is off.
    #[must_use]
    pub fn off(&self) -> bool {
        self.apart.iter().flatten().any(Distance::off)
    }

    /// Takes up every cause of the catalogue that bears on what is off.
    pub fn suspect(&mut self, job: &Job, faults: Vec<Fault>) {
        let off: BTreeSet<Cluster> = self
            .apart
            .iter()
            .flat_map(|step| step.iter().zip(&self.home))
            .filter(|(apart, _)| apart.off())
            .filter_map(|(_, home)| *home)
            .collect();
        let powered = self.powered;
        let causes = all(job, powered, faults).into_iter();
        self.causes = causes
            .filter(|(_, scenario)| !self.solver.borrow().touched(scenario).is_disjoint(&off))
            .filter_map(|(cause, scenario)| self.fitted(job, cause, scenario))
            .map(|(cause, scenario)| {
                let clusters = self.solver.borrow().touched(&scenario);
                Suspect {
                    cause,
                    scenario,
                    clusters,
                }
            })
            .collect();
    }

    fn gain_of(&self, scenario: &Scenario) -> Result<f64, String> {
        let course = self.course_of(scenario)?;
        let now = apart(self.seen, &course, self.batteries);
        let both = self.apart.iter().flatten().zip(now.iter().flatten());
        let gain = both.map(|(before, now)| (before.squares - now.squares) / 2.0);
        Ok(gain.sum())
    }

    /// A cause by its number.
    #[must_use]
    pub fn cause(&self, one: usize) -> Option<&Cause> {
        self.causes.get(one).map(|suspect| &suspect.cause)
    }

    /// What was observed at a point in a step.
    #[must_use]
    pub fn observed(&self, step: usize, point: usize) -> Option<&Observed> {
        self.seen.get(step)?.get(point)
    }

    /// How many causes were taken up.
    #[must_use]
    pub fn suspects(&self) -> usize {
        self.causes.len()
    }

    /// What every point shows with a set of causes.
    ///
    /// # Errors
    /// A sentence that says what cannot be computed.
    pub fn course(&self, set: &[usize]) -> Result<Course, String> {
        let scenarios = set.iter().filter_map(|one| self.causes.get(*one));
        let scenario = Scenario::together(scenarios.map(|suspect| &suspect.scenario));
        self.course_of(&scenario)
    }

    fn course_of(&self, scenario: &Scenario) -> Result<Course, String> {
        let mut solver = self.solver.borrow_mut();
        let touched = solver.touched(scenario);
        course(
            &mut solver,
            scenario,
            (self.steps, self.batteries),
            (&touched, self.healthy.clone()),
        )
    }

    /// Whether two courses look the same to the probe.
    #[must_use]
    pub fn same(one: &Course, other: &Course) -> bool {
        let both = one.iter().flatten().zip(other.iter().flatten());
        both.into_iter().all(|(one, other)| alike(one, other))
    }

    /// Searches.
    ///
    /// # Errors
    /// A sentence that says what cannot be computed.
    pub fn search(&self) -> Result<Outcome, String> {
        let settings = Settings {
            most: MOST_CAUSES,
            patience: PATIENCE,
            // What is more would only be less likely.
            pairs: false,
            // The work of a case is not counted, so nothing would bound it.
            beginnings: 0,
            ..Settings::default()
        };
        search(self, &settings)
    }

    fn against(&self, clusters: &BTreeSet<Cluster>) -> f64 {
        let steps = self.apart.iter();
        let each = steps.flat_map(|step| step.iter().zip(&self.home));
        let touched = each.filter(|(_, home)| home.is_some_and(|home| clusters.contains(&home)));
        touched.map(|(apart, _)| apart.squares / 2.0).sum()
    }

    /// Observations that stay off with a course, by step and point.
    #[must_use]
    pub fn unexplained(&self, course: &Course) -> Vec<(usize, usize)> {
        let steps = self.seen.iter().zip(course).enumerate();
        steps
            .flat_map(|(step, (seen, shown))| {
                let points = seen.iter().zip(shown).enumerate();
                points
                    .filter(|(_, (seen, shown))| distance(seen, shown).off())
                    .map(move |(point, _)| (step, point))
            })
            .collect()
    }
}

impl Space for Case<'_> {
    fn len(&self) -> usize {
        self.causes.len()
    }

    fn ln_prior(&self, one: usize) -> f64 {
        let prior = self.causes.get(one).map_or(0.0, |it| it.cause.prior());
        (prior / (1.0 - prior)).ln()
    }

    fn compatible(&self, a: usize, b: usize) -> bool {
        match (self.causes.get(a), self.causes.get(b)) {
            (Some(a), Some(b)) => !a.scenario.clashes(&b.scenario),
            _ => false,
        }
    }

    fn separate(&self, a: usize, b: usize) -> bool {
        match (self.causes.get(a), self.causes.get(b)) {
            (Some(a), Some(b)) => a.clusters.is_disjoint(&b.clusters),
            _ => false,
        }
    }

    fn bound(&self, one: usize) -> f64 {
        let suspect = self.causes.get(one);
        suspect.map_or(0.0, |suspect| self.against(&suspect.clusters))
    }

    fn bound_of_two(&self, a: usize, b: usize) -> f64 {
        let both = [a, b].into_iter().filter_map(|one| self.causes.get(one));
        let both: BTreeSet<Cluster> = both.flat_map(|it| it.clusters.iter().copied()).collect();
        self.against(&both)
    }

    fn gain(&self, set: &[usize], _: f64) -> Result<Option<f64>, String> {
        let scenarios = set.iter().filter_map(|one| self.causes.get(*one));
        let scenario = Scenario::together(scenarios.map(|suspect| &suspect.scenario));
        self.gain_of(&scenario).map(Some)
    }

    fn suffices(&self, one: usize) -> Result<bool, String> {
        Ok(self.unexplained(&self.course(&[one])?).is_empty())
    }

    fn open_to(&self, set: &[usize]) -> Result<Vec<usize>, String> {
        let course = self.course(set)?;
        let open = self.unexplained(&course);
        let homes = open.iter().filter_map(|(_, point)| *self.home.get(*point)?);
        let homes: BTreeSet<Cluster> = homes.collect();
        let causes = self.causes.iter().enumerate();
        let bear = causes.filter(|(_, suspect)| !suspect.clusters.is_disjoint(&homes));
        Ok(bear.map(|(one, _)| one).collect())
    }
}

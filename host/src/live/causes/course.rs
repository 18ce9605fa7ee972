//! What every point shows in every step, under a scenario.

use std::collections::BTreeSet;

use loomproof_core::units::Volts;

use crate::live::steps::Step;
use crate::powered::{Cluster, Powered, Scenario, Scope, Settled, Shown, Solver};

/// What every point shows in every step.
pub type Course = Vec<Vec<Shown>>;

/// Where relays and fuses rest in every step.
pub(super) fn rests(
    solver: &mut Solver<'_>,
    (scope, scenario): (&Scope, &Scenario),
    (steps, batteries): (&[Step], &[Volts]),
) -> Result<Vec<Settled>, String> {
    let mut rests: Vec<Settled> = Vec::with_capacity(steps.len());
    for (step, battery) in steps.iter().zip(batteries) {
        solver.set_battery(*battery);
        let settled = match rests.last() {
            Some(before) => solver.settle_after(scope, scenario, &step.switches, before),
            None => solver.settle(scope, scenario, &step.switches, 0),
        };
        rests.push(settled.map_err(|error| format!("{error:?}"))?);
    }
    Ok(rests)
}

/// What the points of some clusters show in every step, the others as given.
pub(super) fn course(
    solver: &mut Solver<'_>,
    scenario: &Scenario,
    (steps, batteries): (&[Step], &[Volts]),
    (clusters, others): (&BTreeSet<Cluster>, Course),
) -> Result<Course, String> {
    let scope = solver.scope(clusters);
    let rests = rests(solver, (&scope, scenario), (steps, batteries))?;
    let mut course = others;
    for ((settled, battery), shown) in rests.iter().zip(batteries).zip(&mut course) {
        solver.set_battery(*battery);
        let own = solver.shown(&scope, scenario, settled);
        let own = own.map_err(|error| format!("{error:?}"))?;
        for (point, own) in scope.points.iter().zip(own) {
            if let Some(place) = shown.get_mut(*point) {
                *place = own;
            }
        }
    }
    Ok(course)
}

/// What is to be expected everywhere.
pub(super) fn whole(
    solver: &mut Solver<'_>,
    scenario: &Scenario,
    (steps, batteries): (&[Step], &[Volts]),
) -> Result<Course, String> {
    let all = solver.everything();
    let nothing = vec![vec![Shown::Unknown; solver.powered().points.len()]; steps.len()];
    course(solver, scenario, (steps, batteries), (&all, nothing))
}

/// What the plan lets expect in every step.
///
/// # Errors
/// A sentence that says what cannot be computed.
pub fn expected(powered: &Powered, steps: &[Step], battery: Volts) -> Result<Course, String> {
    expected_under(powered, &Scenario::default(), steps, battery)
}

/// What is to be expected in every step where something is not as planned, such as a
/// fuse that is out.
///
/// # Errors
/// As [`expected`].
pub fn expected_under(
    powered: &Powered,
    scenario: &Scenario,
    steps: &[Step],
    battery: Volts,
) -> Result<Course, String> {
    let mut solver = Solver::new(powered, battery);
    whole(&mut solver, scenario, (steps, &vec![battery; steps.len()]))
}

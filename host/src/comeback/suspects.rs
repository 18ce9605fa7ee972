//! What each cause would answer to every ask.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use loomproof_core::circuit::{GROUND, NodeId};
use loomproof_core::units::Volts;

use super::asks::{Asks, Side, Sign, What};
use super::pool::WayNumber;
use crate::bench::Upset;
use crate::plan::model::Job;
use crate::powered::{Cause, Level, Powered, Scenario, Scope, Settled, Solver};

/// What a cause lets expect for one ask: least and most volts, or the least and the
/// greatest chance that the function works.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Forecast {
    /// Least; not a number where the plan does not say.
    pub least: f32,
    /// Most.
    pub most: f32,
}

impl Forecast {
    /// The plan does not say.
    pub const UNKNOWN: Self = Self {
        least: f32::NAN,
        most: f32::NAN,
    };

    /// Whether anything is known.
    #[must_use]
    pub fn known(&self) -> bool {
        !self.least.is_nan()
    }

    /// What covers both.
    fn hull(self, other: Self) -> Self {
        if !self.known() || !other.known() {
            return Self::UNKNOWN;
        }
        Self {
            least: self.least.min(other.least),
            most: self.most.max(other.most),
        }
    }
}

/// One explanation.
#[derive(Debug, Clone)]
pub struct Suspect {
    /// What is wrong; nothing in the explanation that all is well.
    pub causes: Vec<Cause>,
    /// What that does, in the least and in the worst way.
    pub scenarios: Vec<Scenario>,
    /// Numbers of the ways in which its causes are.
    pub(super) ways: Vec<WayNumber>,
    /// Probability before anything was asked, not normalised.
    pub prior: f64,
    /// One for each ask of [`Asks::list`].
    pub forecasts: Arc<[Forecast]>,
}

/// Levels of some nodes in every state of the switches.
pub type Course = Vec<Vec<Option<Level>>>;

/// Solves for all asks of a job.
pub struct Reckoner<'p> {
    pub(super) solver: Solver<'p>,
    asks: &'p Asks,
    nodes: Vec<NodeId>,
    index: BTreeMap<NodeId, usize>,
    battery: Volts,
    healthy: Course,
}

impl<'p> Reckoner<'p> {
    /// A reckoner for sites and consumers.
    ///
    /// # Errors
    /// A sentence that says what cannot be computed.
    pub fn new(
        powered: &'p Powered,
        asks: &'p Asks,
        more: impl IntoIterator<Item = NodeId>,
        battery: Volts,
    ) -> Result<Self, String> {
        let signs = asks
            .signs
            .iter()
            .flatten()
            .flat_map(|sign| [sign.plus, sign.minus]);
        let signs = signs.filter_map(|side| match side {
            Side::Node(node) => Some(node),
            Side::Plus => None,
        });
        let sites = asks.sites.iter().map(|site| site.node);
        let nodes: BTreeSet<NodeId> = sites.chain(signs).chain(more).collect();
        let nodes: Vec<NodeId> = nodes.into_iter().filter(|node| *node != GROUND).collect();
        let index = nodes.iter().copied().zip(0..).collect();
        let mut reckoner = Self {
            solver: Solver::new(powered, battery),
            healthy: vec![vec![None; nodes.len()]; asks.settings.len()],
            asks,
            nodes,
            index,
            battery,
        };
        let all = reckoner.solver.everything();
        reckoner.healthy = reckoner.solve(&Scenario::default(), &all)?;
        Ok(reckoner)
    }

    /// What the plan lets expect.
    #[must_use]
    pub fn healthy(&self) -> &Course {
        &self.healthy
    }

    fn solve(&mut self, scenario: &Scenario, clusters: &BTreeSet<usize>) -> Result<Course, String> {
        let scope = self.solver.scope(clusters);
        let own: Vec<(usize, NodeId)> = self
            .nodes
            .iter()
            .copied()
            .enumerate()
            .filter(|(_, node)| {
                let home = self.solver.cluster(*node);
                home.is_some_and(|home| clusters.contains(&home))
            })
            .collect();
        let list: Vec<NodeId> = own.iter().map(|(_, node)| *node).collect();
        let mut course = self.healthy.clone();
        let rests = self.used(&scope, scenario)?;
        for (settled, levels) in rests.iter().zip(&mut course) {
            let shown = self.solver.metered(&scope, scenario, settled, &list);
            let shown = shown.map_err(|error| format!("{error:?}"))?;
            for ((at, _), level) in own.iter().zip(shown) {
                if let Some(place) = levels.get_mut(*at) {
                    *place = level;
                }
            }
        }
        Ok(course)
    }

    /// Where relays and fuses are at rest in every state of the switches, in a vehicle in
    /// which all of them were used: a fuse that blows in one is gone in the others.
    pub(super) fn used(
        &mut self,
        scope: &Scope,
        scenario: &Scenario,
    ) -> Result<Vec<Settled>, String> {
        let mut before = Settled::default();
        loop {
            let mut rests = Vec::with_capacity(self.asks.settings.len());
            let whole = before.clone();
            for setting in &self.asks.settings {
                let settled = self
                    .solver
                    .settle_after(scope, scenario, setting, &before)
                    .map_err(|error| format!("{error:?}"))?;
                before.blown.clone_from(&settled.blown);
                before.burnt.clone_from(&settled.burnt);
                rests.push(settled);
            }
            // What blew in a later state was whole in those before it: once more.
            if before == whole {
                return Ok(rests);
            }
        }
    }

    /// Levels with a scenario.
    ///
    /// # Errors
    /// A sentence that says what cannot be computed.
    pub fn course(&mut self, scenario: &Scenario) -> Result<Course, String> {
        let touched = self.solver.touched(scenario);
        self.solve(scenario, &touched)
    }

    fn level(&self, course: &Course, setting: usize, node: NodeId) -> Option<(f64, f64)> {
        if node == GROUND {
            return Some((0.0, 0.0));
        }
        let at = *self.index.get(&node)?;
        let level = (*course.get(setting)?.get(at)?)?;
        Some((level.least.0, level.most.0))
    }

    /// Voltage across a sign, least and most.
    #[must_use]
    pub fn across(&self, course: &Course, setting: usize, sign: &Sign) -> Option<(f64, f64)> {
        let side = |side: Side| match side {
            Side::Plus => Some((self.battery.0, self.battery.0)),
            Side::Node(node) => self.level(course, setting, node),
        };
        let (plus, minus) = (side(sign.plus)?, side(sign.minus)?);
        Some((plus.0 - minus.1, plus.1 - minus.0))
    }

    /// The chance that a sign is seen.
    fn runs(
        &self,
        course: &Course,
        setting: usize,
        sign: &Sign,
        scenario: &Scenario,
        out: &[&str],
    ) -> Option<f32> {
        let circuit = &self.solver.powered().model.circuit;
        let gone = |element| circuit.edited_element(element, &scenario.edits).is_none();
        if out.contains(&sign.name.as_str()) || sign.element.is_some_and(gone) {
            return Some(0.0);
        }
        let (least, most) = self.across(course, setting, sign)?;
        let (runs, stops) = (sign.runs.0, sign.stops.0);
        let (yes, no) = if sign.low {
            (most <= runs, least > stops)
        } else {
            // Nobody plugs a motor the other way round, but a lamp does not mind.
            (least >= runs, most < stops)
        };
        Some(match (yes, no) {
            (true, _) => 1.0,
            (_, true) => 0.0,
            _ => 0.5,
        })
    }

    /// Forecasts for every ask of [`Asks::list`] with these causes.
    ///
    /// # Errors
    /// A sentence that says what cannot be computed.
    pub fn forecasts(
        &mut self,
        causes: &[Cause],
        scenarios: &[Scenario],
    ) -> Result<Vec<Forecast>, String> {
        let out: Vec<&str> = causes
            .iter()
            .filter_map(|cause| match cause {
                Cause::Upset(Upset::BulbOut(name)) => Some(name.as_str()),
                _ => None,
            })
            .collect();
        let mut all: Option<Vec<Forecast>> = None;
        for scenario in scenarios {
            let course = self.course(scenario)?;
            let own = self.asks.list.iter().map(|ask| match ask.what {
                What::Volts(site) => {
                    let site = self.asks.sites.get(site);
                    let level = site.and_then(|it| self.level(&course, ask.setting, it.node));
                    level.map_or(Forecast::UNKNOWN, |(least, most)| Forecast {
                        least: least as f32,
                        most: most as f32,
                    })
                }
                What::Function(function) => {
                    let signs = self.asks.signs.get(function).into_iter().flatten();
                    let each =
                        signs.map(|sign| self.runs(&course, ask.setting, sign, scenario, &out));
                    let all: Option<Vec<f32>> = each.collect();
                    all.map_or(Forecast::UNKNOWN, |all| {
                        let chance = all.into_iter().fold(1.0, f32::min);
                        Forecast {
                            least: chance,
                            most: chance,
                        }
                    })
                }
            });
            all = Some(match all {
                None => own.collect(),
                Some(before) => {
                    let both = before.into_iter().zip(own);
                    both.map(|(before, own)| before.hull(own)).collect()
                }
            });
        }
        Ok(all.unwrap_or_default())
    }
}

/// What shows of each function: the consumers that run when it is on and only then, or
/// else the places where the plan says that it is seen.
#[must_use]
pub fn signs(
    job: &Job,
    powered: &Powered,
    reckoner: &Reckoner<'_>,
    consumers: &[Sign],
) -> Vec<Vec<Sign>> {
    let asks = reckoner.asks;
    let healthy = reckoner.healthy();
    let nothing = Scenario::default();
    (0..job.functions.len())
        .map(|function| {
            let states: Vec<(usize, bool)> = asks
                .on
                .iter()
                .enumerate()
                .filter_map(|(setting, on)| Some((setting, on.get(function).copied().flatten()?)))
                .collect();
            if !states.iter().any(|(_, on)| *on) {
                return Vec::new();
            }
            let follows = |sign: &Sign| {
                states.iter().all(|(setting, on)| {
                    let runs = reckoner.runs(healthy, *setting, sign, &nothing, &[]);
                    runs == Some(if *on { 1.0 } else { 0.0 })
                })
            };
            let own: Vec<Sign> = consumers.iter().filter(|it| follows(it)).cloned().collect();
            if !own.is_empty() {
                return own;
            }
            let seen = Asks::seen_at(job, powered, function).into_iter();
            let seen = seen.filter_map(|(name, node)| {
                let span = |wanted: bool| {
                    let own = states.iter().filter(|(_, on)| *on == wanted);
                    let levels = own.map(|(setting, _)| reckoner.level(healthy, *setting, node));
                    let levels: Option<Vec<(f64, f64)>> = levels.collect();
                    let levels = levels.filter(|levels| !levels.is_empty())?;
                    let least = levels.iter().map(|it| it.0).fold(f64::INFINITY, f64::min);
                    let most = levels
                        .iter()
                        .map(|it| it.1)
                        .fold(f64::NEG_INFINITY, f64::max);
                    Some((least, most))
                };
                let (on, off) = (span(true)?, span(false).unwrap_or((0.0, 0.0)));
                let low = on.1 < off.0;
                let gap = if low { off.0 - on.1 } else { on.0 - off.1 };
                let reach = |part: f64| {
                    Volts(if low {
                        off.0 - gap * part
                    } else {
                        off.1 + gap * part
                    })
                };
                (gap > job.supply.0 * 0.5).then(|| Sign {
                    name,
                    plus: Side::Node(node),
                    minus: Side::Node(GROUND),
                    element: None,
                    runs: reach(0.6),
                    stops: reach(0.45),
                    low,
                })
            });
            seen.collect()
        })
        .collect()
}

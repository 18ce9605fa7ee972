//! What can be wrong with the battery on: faults of the wiring, as in the dead
//! test, and what the vehicle or a consumer does not do.

use std::collections::BTreeSet;

use loomproof_core::circuit::{Edit, ElementId, GROUND, NodeId};
use loomproof_core::units::{Ohms, Volts};

use super::wiring::Powered;
use crate::bench::{Upset, upset};
use crate::fault::Fault;
use crate::fault::spell;
use crate::plan::model::Job;

/// One thing that may be wrong.
#[derive(Debug, Clone, PartialEq)]
pub enum Cause {
    /// A fault that the dead test looks for as well.
    Wiring(Fault),
    /// Something that only shows with the battery on.
    Upset(Upset),
}

impl std::fmt::Display for Cause {
    /// As written with `--fault`.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Wiring(fault) => fault.fmt(f),
            Self::Upset(upset) => upset.fmt(f),
        }
    }
}

impl Cause {
    /// Reads a cause as it is written with `--fault`: a fault or an upset.
    ///
    /// # Errors
    /// What is wrong with the spelling, and how to spell that kind.
    pub fn parse(spelling: &str, job: &Job) -> Result<Self, String> {
        if upset::is_kind(spelling) {
            let upset = upset::parse(spelling, job).map_err(|error| error.to_string())?;
            return Ok(Self::Upset(upset));
        }
        let fault = spell::parse(spelling, job).map_err(|error| error.to_string())?;
        Ok(Self::Wiring(fault))
    }

    /// Reads several.
    ///
    /// # Errors
    /// As [`Self::parse`], for the first that is not understood.
    pub fn parse_all(spellings: &[String], job: &Job) -> Result<Vec<Self>, String> {
        let each = spellings.iter();
        each.map(|spelling| Self::parse(spelling, job)).collect()
    }

    /// Faults and upsets apart, as the bench takes them.
    #[must_use]
    pub fn sorted(causes: &[Self]) -> (Vec<Fault>, Vec<Upset>) {
        let (mut faults, mut upsets) = (Vec::new(), Vec::new());
        for cause in causes {
            match cause {
                Self::Wiring(fault) => faults.push(fault.clone()),
                Self::Upset(upset) => upsets.push(upset.clone()),
            }
        }
        (faults, upsets)
    }

    /// The kind, as before the `@`.
    #[must_use]
    pub fn kind(&self) -> &'static str {
        match self {
            Self::Wiring(fault) => fault.kind(),
            Self::Upset(upset) => upset.kind(),
        }
    }

    /// The place, as behind the `@`.
    #[must_use]
    pub fn place(&self) -> String {
        match self {
            Self::Wiring(fault) => fault.place(),
            Self::Upset(upset) => upset.place(),
        }
    }

    /// The same for causes that differ by their ohms or volts only: one thing to do.
    #[must_use]
    pub fn name(&self) -> String {
        match self {
            Self::Wiring(fault) => fault
                .with_ohms(Ohms(0.0))
                .map_or_else(|| fault.to_string(), |fault| fault.to_string()),
            Self::Upset(upset) => format!("{}@{}", upset.kind(), upset.place()),
        }
    }

    /// Probability that it is there in a fresh job.
    #[must_use]
    pub fn prior(&self) -> f64 {
        match self {
            Self::Wiring(fault) => fault.prior(),
            // The vehicle worked before the job began, and the fitter looked
            // (`common practice`): rarer than a terminal that is not home.
            Self::Upset(Upset::Intermittent { .. }) => 0.0,
            Self::Upset(_) => 3e-4,
        }
    }

    /// What it does to the powered circuit; `None` where it does not show there.
    #[must_use]
    pub fn scenario(&self, powered: &Powered, job: &Job) -> Option<Scenario> {
        let mut scenario = Scenario::default();
        match self {
            Self::Wiring(fault) => scenario.edits = fault.edits(&powered.model)?,
            Self::Upset(upset) => upset_scenario(upset, powered, job, &mut scenario)?,
        }
        Some(scenario)
    }
}

fn upset_scenario(
    upset: &Upset,
    powered: &Powered,
    job: &Job,
    scenario: &mut Scenario,
) -> Option<()> {
    match upset {
        Upset::DeadFeed(name) => {
            let feeds = powered.feeds.iter().enumerate();
            let own = feeds.filter(|(_, feed)| feed.name == *name && !feed.consumer);
            scenario.dead = own.map(|(at, _)| at).collect();
            (!scenario.dead.is_empty()).then_some(())
        }
        Upset::NoGround(name) => {
            let way = *powered.to_chassis.get(name)?;
            scenario.edits.push(Edit::Remove(way));
            Some(())
        }
        Upset::BulbOut(name) => {
            if let Some(element) = powered.consumers.get(name) {
                scenario.edits.push(Edit::Remove(*element));
                return Some(());
            }
            let feeds = powered.feeds.iter().enumerate();
            let own = feeds.filter(|(_, feed)| feed.name == *name && feed.consumer);
            scenario.dead = own.map(|(at, _)| at).collect();
            (!scenario.dead.is_empty()).then_some(())
        }
        Upset::Stuck { switch, state } => {
            let switches = &job.electrics.switches;
            let at = switches.iter().position(|it| it.name == *switch)?;
            let state = switches.get(at)?.states.iter().position(|it| it == state)?;
            scenario.stuck.push((at, u8::try_from(state).ok()?));
            Some(())
        }
        Upset::Voltage(name, volts) => {
            let feeds = powered.feeds.iter().enumerate();
            let own = feeds.filter(|(_, feed)| feed.name == *name && !feed.consumer);
            scenario.volts = own.map(|(at, _)| (at, *volts)).collect();
            (!scenario.volts.is_empty()).then_some(())
        }
        // A rate is judged by itself; a joint that opens now and then is for a
        // wiggle test.
        Upset::WrongFlash(..) | Upset::WrongDim(..) | Upset::Intermittent { .. } => None,
    }
}

/// Every cause that a job on a hook-up allows and that shows in its powered circuit.
#[must_use]
pub fn all(job: &Job, powered: &Powered, faults: Vec<Fault>) -> Vec<(Cause, Scenario)> {
    let faults = faults.into_iter().map(Cause::Wiring);
    let upsets = upset::all(job).into_iter().map(Cause::Upset);
    faults
        .chain(upsets)
        .filter_map(|cause| {
            let scenario = cause.scenario(powered, job)?;
            (cause.prior() > 0.0).then_some((cause, scenario))
        })
        .collect()
}

/// Ohms of a cause that was estimated, as they are spelled: two digits of them, within what
/// can be read back.
#[must_use]
pub fn two_digits(ohms: f64) -> Ohms {
    let rounded = format!("{:.1e}", ohms.clamp(0.01, 1e6)).parse();
    Ohms(rounded.unwrap_or(ohms))
}

/// What is different from the plan.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Scenario {
    /// Changes of the circuit.
    pub edits: Vec<Edit>,
    /// Feeds that give nothing, by their place in [`Powered::feeds`].
    pub dead: Vec<usize>,
    /// Feeds that give another voltage.
    pub volts: Vec<(usize, Volts)>,
    /// Switches that stay in one state whatever the fitter does.
    pub stuck: Vec<(usize, u8)>,
    /// Of fuses one behind the other that carry about as much above what they bear, the
    /// vehicle's blows and not the harness's.
    pub spares_own: bool,
}

impl Scenario {
    /// Everything of several at once.
    #[must_use]
    pub fn together<'s>(scenarios: impl Iterator<Item = &'s Self>) -> Self {
        let mut all = Self::default();
        for scenario in scenarios {
            all.edits.extend(&scenario.edits);
            all.dead.extend(&scenario.dead);
            all.volts.extend(&scenario.volts);
            all.stuck.extend(&scenario.stuck);
            all.spares_own |= scenario.spares_own;
        }
        all
    }

    /// The same with every touch at one resistance, so far between its least (0) and its
    /// greatest (1).
    #[must_use]
    pub fn touching(&self, part: f64) -> Self {
        let mut fixed = self.clone();
        for edit in &mut fixed.edits {
            if let Edit::Touch { least, most, .. } = edit {
                let ohms = *least + (*most - *least) * part;
                (*least, *most) = (ohms, ohms);
            }
        }
        fixed
    }

    /// Whether two change the same element in different ways.
    #[must_use]
    pub fn clashes(&self, other: &Self) -> bool {
        let own: BTreeSet<ElementId> = self.edits.iter().filter_map(Edit::element).collect();
        let mut its = other.edits.iter().filter_map(Edit::element);
        its.any(|element| own.contains(&element))
            || self
                .stuck
                .iter()
                .any(|(switch, _)| other.stuck.iter().any(|(another, _)| another == switch))
    }

    /// The nodes that it bears on.
    #[must_use]
    pub fn nodes(&self, powered: &Powered) -> Vec<NodeId> {
        let circuit = &powered.model.circuit;
        let mut nodes = Vec::new();
        for edit in &self.edits {
            if let Some(element) = edit
                .element()
                .and_then(|id| circuit.elements().get(usize::from(id.0)))
            {
                nodes.extend([element.a, element.b]);
            }
            match *edit {
                Edit::Move(_, a, b) | Edit::Join { a, b, .. } | Edit::Touch { a, b, .. } => {
                    nodes.extend([a, b]);
                }
                Edit::Clip(_, node) => nodes.push(node),
                Edit::Remove(_) | Edit::AddOhms(..) => {}
            }
        }
        let feeds = self.dead.iter().chain(self.volts.iter().map(|(at, _)| at));
        nodes.extend(feeds.filter_map(|at| Some(powered.feeds.get(*at)?.node)));
        nodes.retain(|node| *node != GROUND);
        nodes
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn estimated_ohms_have_two_digits_and_can_be_spelled() {
        assert_eq!(two_digits(0.045_704), Ohms(0.046));
        assert_eq!(two_digits(1_234.0), Ohms(1_200.0));
        assert_eq!(two_digits(0.001), Ohms(0.01));
        assert_eq!(two_digits(5e7), Ohms(1e6));
    }
}

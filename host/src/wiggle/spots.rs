//! What is watched: spots, and the groups of leads that watch them.

use loomproof_core::units::Farads;
use loomproof_core::wire::{LeadId, LeadSet};

use crate::fault::Joint;

/// Joints that no watched lead can tell apart: they let the same leads go.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Spot {
    /// The joints, in the order of the plan.
    pub joints: Vec<Joint>,
    /// A capacitor on the open side may hide the shorter dropouts.
    pub slow: bool,
}

/// Which leads let go in a group when a spot opens.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Sign {
    /// The spot, by its place in [`Watch::spots`].
    pub spot: usize,
    /// Leads that surely do.
    pub sure: LeadSet,
    /// Leads that may; `sure` is among them.
    pub may: LeadSet,
}

/// A group, by its place, and the leads that surely and that perhaps let go there.
pub type InGroup = (usize, LeadSet, LeadSet);

/// Leads that are watched at the same time.
#[derive(Debug, Clone, PartialEq)]
pub struct Group {
    /// Leads that are held at 0 V; none in a live watch.
    pub low: LeadSet,
    /// Leads that are watched.
    pub watched: LeadSet,
    /// The lead that each watched lead is measured against; `None` for chassis.
    pub against: Vec<(LeadId, Option<LeadId>)>,
    /// The largest capacitance that one pull has to charge on an open side.
    pub wiring: Farads,
    /// Watched leads that are high while all is well; none in a dead watch.
    pub high: LeadSet,
    /// The spots that it sees.
    pub signs: Vec<Sign>,
}

/// Everything that is watched, and what cannot be.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Watch {
    /// What is watched.
    pub spots: Vec<Spot>,
    /// Groups that take turns.
    pub groups: Vec<Group>,
    /// Joints that cannot be watched.
    pub unwatched: Vec<(Joint, Why)>,
}

/// Why a joint cannot be watched.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Why {
    /// No probe lead sits beyond it.
    NoLead,
    /// Another way of metal goes round it.
    Parallel,
    /// Behind it a module with its capacitor and diodes holds the lead.
    Module,
    /// Behind it a part (coil, lamp, diode) holds the lead.
    Part,
    /// It is on a data bus, which is never driven.
    DataBus,
    /// With the switches as they are, no watched point changes when it opens.
    Still,
}

impl Why {
    /// In words, behind "cannot be watched: ".
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::NoLead => "no probe lead sits beyond it",
            Self::Parallel => "another way of metal goes round it",
            Self::Module => "a module's input with its capacitor stays on that side and hides it",
            Self::Part => "a part (coil, lamp, diode, resistor) on that side hides it",
            Self::DataBus => "it is on a data bus, which is never driven",
            Self::Still => "no point changes when it opens, with the switches as they are",
        }
    }
}

/// How a joint is spelled: as behind `intermittent@`.
#[must_use]
pub fn spelled(joint: &Joint) -> String {
    let keys = joint.keys();
    let keys = keys.iter().map(|(key, value)| format!(",{key}={value}"));
    std::iter::once(joint.place()).chain(keys).collect()
}

impl Watch {
    /// Puts joints with the same signs together. `signs` has, for each joint, what it
    /// does in each group, and whether it is slow.
    #[must_use]
    pub fn gathered(
        mut groups: Vec<Group>,
        signs: Vec<(Joint, Vec<InGroup>, bool)>,
        unwatched: Vec<(Joint, Why)>,
    ) -> Self {
        let mut spots: Vec<(Spot, Vec<InGroup>)> = Vec::new();
        for (joint, signs, slow) in signs {
            match spots.iter_mut().find(|(_, known)| *known == signs) {
                Some((spot, _)) => {
                    spot.joints.push(joint);
                    spot.slow |= slow;
                }
                None => spots.push((
                    Spot {
                        joints: vec![joint],
                        slow,
                    },
                    signs,
                )),
            }
        }
        for (spot, (_, signs)) in spots.iter().enumerate() {
            for (group, sure, may) in signs {
                if let Some(group) = groups.get_mut(*group) {
                    group.signs.push(Sign {
                        spot,
                        sure: *sure,
                        may: *may,
                    });
                }
            }
        }
        Self {
            spots: spots.into_iter().map(|(spot, _)| spot).collect(),
            groups,
            unwatched,
        }
    }

    /// Only what sees these joints, all of them where none is named.
    ///
    /// # Errors
    /// A sentence for a joint that cannot be watched.
    pub fn only(&mut self, joints: &[Joint]) -> Result<(), String> {
        if joints.is_empty() {
            return Ok(());
        }
        let mut wanted = Vec::new();
        for joint in joints {
            let known = self.spots.iter().position(|it| it.joints.contains(joint));
            match known {
                Some(spot) => wanted.push(spot),
                None => {
                    let why = self.unwatched.iter().find(|(other, _)| other == joint);
                    let why = why.map_or("it is out of reach", |(_, why)| why.words());
                    return Err(format!("{} cannot be watched: {why}", spelled(joint)));
                }
            }
        }
        self.groups
            .retain(|group| group.signs.iter().any(|sign| wanted.contains(&sign.spot)));
        Ok(())
    }

    /// Spots that the groups see.
    #[must_use]
    pub fn seen(&self) -> Vec<usize> {
        let signs = self.groups.iter().flat_map(|group| &group.signs);
        let mut seen: Vec<usize> = signs.map(|sign| sign.spot).collect();
        seen.sort_unstable();
        seen.dedup();
        seen
    }

    /// Leads in the group with the most.
    #[must_use]
    pub fn widest(&self) -> usize {
        let groups = self.groups.iter().map(|group| group.watched.len());
        groups.max().unwrap_or(0)
    }
}

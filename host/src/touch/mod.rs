//! Touch-and-tell: one lead in the fitter's hand, and the probe names what its tip
//! touches, by the leads that answer and by the plan.
//!
//! [`mod@look`] asks the probe, [`Steady`] makes one answer of several looks, [`told`] puts
//! it into the words of the plan. Where every point is touched in turn, [`matching`]
//! finds which clip sits where; [`clips`] keeps that for `ringout --clips`.

pub mod clips;
pub mod look;
pub mod matching;
pub mod report;
pub mod text;
pub mod told;

use loomproof_core::units::Ohms;
use loomproof_core::wire::{LeadId, LeadSet};

pub use look::{Look, LookError, Seen, look};

/// Below this, what the tip touches counts as bare chassis. A hand-held tip has some
/// tenths of an ohm, a ground wire of 10 m and 0.5 mm² 0.4 Ω; a lamp of 21 W has about
/// an ohm when it is cold, which is why the plan is asked as well (`common practice`).
pub const CHASSIS: Ohms = Ohms(1.0);

/// Clipped leads by what was found joined before anything was touched.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Groups {
    /// Leads that one piece of metal joins; every clipped lead is in one of these or on
    /// the chassis.
    pub apart: Vec<LeadSet>,
    /// Those that are on the chassis.
    pub chassis: LeadSet,
}

impl Groups {
    /// Looks through one lead after the other, the tip in the air.
    ///
    /// # Errors
    /// [`LookError`]; [`LookError::Live`] where one of them is live.
    pub fn find(
        mut look: impl FnMut(LeadId) -> Result<Look, LookError>,
        leads: &LeadSet,
    ) -> Result<Self, LookError> {
        let mut groups = Self::default();
        let mut known = LeadSet::EMPTY;
        for lead in leads.iter() {
            if known.contains(lead) {
                continue;
            }
            let seen = match look(lead)? {
                Look::Seen(seen) => seen,
                Look::Live(mv) => return Err(LookError::Live(lead, mv)),
                Look::Unsteady => return Err(LookError::Unsteady),
            };
            let mut joined: LeadSet = seen.joined.iter().copied().collect();
            joined.insert(lead);
            if seen.on_chassis() {
                // What lies on the chassis hides what else is joined to it.
                groups.chassis.insert(lead);
                known.insert(lead);
            } else {
                known = known.joined(&joined);
                groups.apart.push(joined);
            }
        }
        Ok(groups)
    }

    /// The groups that these leads are of, by place in [`Groups::apart`].
    #[must_use]
    pub fn of(&self, leads: &LeadSet) -> Vec<usize> {
        let groups = self.apart.iter().enumerate();
        groups
            .filter_map(|(at, group)| group.overlaps(leads).then_some(at))
            .collect()
    }
}

/// What the tip touches, by the probe alone.
#[derive(Debug, Clone, PartialEq)]
pub enum Answer {
    /// Nothing that is clipped, and not the chassis.
    Nothing {
        /// What is between it and the chassis, where the probe sees that.
        to_chassis: Option<Ohms>,
        /// Leads that are reached through something, and its ohms, least first.
        through: Vec<(LeadId, Ohms)>,
    },
    /// The chassis.
    Chassis,
    /// These leads, joined by metal.
    Leads(LeadSet),
    /// Something live: millivolts. Nothing was driven.
    Live(i32),
}

impl Answer {
    /// What a look says; `None` where it says nothing yet.
    #[must_use]
    pub fn of(look: &Look) -> Option<Self> {
        let seen = match look {
            Look::Live(mv) => return Some(Self::Live(*mv)),
            Look::Unsteady => return None,
            Look::Seen(seen) => seen,
        };
        Some(if seen.on_chassis() {
            Self::Chassis
        } else if seen.joined.is_empty() {
            Self::Nothing {
                to_chassis: seen.to_chassis,
                through: seen.through.clone(),
            }
        } else {
            Self::Leads(seen.joined.iter().copied().collect())
        })
    }

    /// Whether two looks say the same; ohms and volts need not be alike.
    fn is_like(&self, other: &Self) -> bool {
        match (self, other) {
            (Self::Nothing { through: a, .. }, Self::Nothing { through: b, .. }) => {
                let leads = |through: &[(LeadId, Ohms)]| -> LeadSet {
                    through.iter().map(|(lead, _)| *lead).collect()
                };
                leads(a) == leads(b)
            }
            (Self::Leads(a), Self::Leads(b)) => a == b,
            (Self::Chassis, Self::Chassis) | (Self::Live(_), Self::Live(_)) => true,
            _ => false,
        }
    }

    /// Whether the tip may as well be in the air.
    #[must_use]
    pub fn is_air(&self) -> bool {
        matches!(self, Self::Nothing { to_chassis: None, through } if through.is_empty())
    }
}

/// Takes an answer only when two looks after each other give it, and only once.
#[derive(Debug, Clone, Default)]
pub struct Steady {
    last: Option<Answer>,
    said: Option<Answer>,
}

impl Steady {
    /// One more look; an answer that is new. The tip in the air is new as well, once it
    /// has left what it touched.
    pub fn feed(&mut self, look: &Look) -> Option<Answer> {
        let answer = Answer::of(look);
        let before = std::mem::replace(&mut self.last, answer.clone());
        let (answer, before) = (answer?, before?);
        let steady = answer.is_like(&before);
        let known = self.said.as_ref().is_some_and(|said| said.is_like(&answer));
        if !steady || known {
            return None;
        }
        self.said = Some(answer.clone());
        Some(answer)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn seen(leads: &[u8]) -> Look {
        Look::Seen(Seen {
            joined: leads.iter().map(|lead| LeadId(*lead)).collect(),
            through: Vec::new(),
            to_chassis: None,
        })
    }

    #[test]
    fn a_touch_is_told_once_and_only_when_it_is_steady() {
        let mut steady = Steady::default();
        assert_eq!(steady.feed(&seen(&[3])), None, "seen once only");
        assert_eq!(steady.feed(&seen(&[3, 4])), None, "something else");
        assert_eq!(steady.feed(&seen(&[3])), None, "something else again");
        let told = Answer::Leads(LeadSet::from_iter([LeadId(3)]));
        assert_eq!(steady.feed(&seen(&[3])), Some(told.clone()));
        assert_eq!(steady.feed(&seen(&[3])), None, "told already");
        assert_eq!(steady.feed(&Look::Unsteady), None);
        assert_eq!(steady.feed(&seen(&[3])), None, "not steady");
        assert_eq!(steady.feed(&seen(&[3])), None, "the same as before");
        // Off, and on the same point again.
        assert_eq!(steady.feed(&seen(&[])), None);
        assert!(
            steady
                .feed(&seen(&[]))
                .is_some_and(|answer| answer.is_air())
        );
        assert_eq!(steady.feed(&seen(&[3])), None);
        assert_eq!(steady.feed(&seen(&[3])), Some(told));
    }

    #[test]
    fn leads_on_the_chassis_are_no_group_of_their_own() {
        let leads: LeadSet = (0..4).map(LeadId).collect();
        let answers = |lead: LeadId| {
            Ok(match lead.0 {
                0 => seen(&[2]),
                1 => Look::Seen(Seen {
                    joined: Vec::new(),
                    through: Vec::new(),
                    to_chassis: Some(Ohms(0.3)),
                }),
                3 => seen(&[]),
                _ => panic!("{lead} is known by then"),
            })
        };
        let groups = Groups::find(answers, &leads).expect("nothing is live");
        let set = |leads: &[u8]| leads.iter().map(|lead| LeadId(*lead)).collect::<LeadSet>();
        assert_eq!(groups.apart, vec![set(&[0, 2]), set(&[3])]);
        assert_eq!(groups.chassis, set(&[1]));
        assert_eq!(groups.of(&set(&[2, 3])), vec![0, 1]);
        assert_eq!(groups.of(&set(&[1])), Vec::<usize>::new());
        let live = |_| Ok(Look::Live(12_100));
        let error = Groups::find(live, &leads).expect_err("it is live");
        assert!(
            matches!(error, LookError::Live(LeadId(0), 12_100)),
            "{error}"
        );
    }
}

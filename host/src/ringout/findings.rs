//! A group of sets, taken apart into findings: each thing to put right, with
//! what it may be instead.
//!
//! Three independent faults with four indistinguishable places each are 64
//! sets; a fitter reads three findings with four places each.

use super::report::{FaultReport, GroupReport};

/// Least share of its group that a set has to have to be spoken of, where it
/// does not come apart.
const WORTH_SAYING: f64 = 0.02;

/// Least share, by that of the most probable one, that what else it may be has to have
/// to be listed with it.
const WORTH_LISTING: f64 = 0.01;

/// One thing to put right.
#[derive(Debug, Clone)]
pub struct Finding<'r> {
    /// What it may be, most probable first; never empty.
    pub either: Vec<&'r FaultReport>,
}

/// The findings of a group.
#[derive(Debug, Clone, Default)]
pub struct Findings<'r> {
    /// In the order of work.
    pub list: Vec<Finding<'r>>,
    /// Sets of the group with some weight that do not come apart like that.
    pub involved: usize,
    /// What else it may be, too improbable to be listed.
    pub unlikely: usize,
}

impl<'r> Findings<'r> {
    /// Takes a group apart around its most probable set.
    #[must_use]
    pub fn of(group: &'r GroupReport) -> Self {
        let Some(head) = group.sets.first() else {
            return Self::default();
        };
        let mut list: Vec<Finding<'r>> = head
            .iter()
            .map(|fault| Finding {
                either: vec![fault],
            })
            .collect();
        let most = group.shares.first().copied().unwrap_or_default();
        let mut unlikely = 0;
        for (place, set) in group.sets.iter().enumerate() {
            let Some((at, other)) = one_apart(head, set) else {
                continue;
            };
            let share = group.shares.get(place).copied().unwrap_or(most);
            if share < most * WORTH_LISTING {
                unlikely += 1;
            } else if let Some(finding) = list.get_mut(at) {
                finding.either.push(other);
            }
        }
        for finding in &mut list {
            drop_guesses(&mut finding.either);
        }
        let mut findings = Self {
            list,
            involved: 0,
            unlikely,
        };
        let weighs = |share: f64| share >= WORTH_SAYING;
        findings.involved = group
            .sets
            .iter()
            .zip(&group.shares)
            .filter(|(set, share)| weighs(**share) && findings.places(set).is_none())
            .filter(|(set, _)| !guessed(set, group))
            .count();
        findings.list.sort_by_key(|finding| finding.urgency());
        findings
    }

    /// Which alternative of each finding a set holds; `None` where it does not
    /// come apart into these findings.
    fn places(&self, set: &[FaultReport]) -> Option<Vec<usize>> {
        if set.len() != self.list.len() {
            return None;
        }
        self.list
            .iter()
            .map(|finding| {
                finding
                    .either
                    .iter()
                    .position(|one| set.iter().any(|fault| fault.fault == one.fault))
            })
            .collect()
    }

    /// The sets of the group (by index) that differ in one finding only, one
    /// for each of its alternatives.
    #[must_use]
    pub fn suspects(&self, at: usize, group: &GroupReport) -> Vec<usize> {
        let Some(finding) = self.list.get(at) else {
            return Vec::new();
        };
        let rest: Vec<&FaultReport> = self
            .list
            .iter()
            .enumerate()
            .filter(|(other, _)| *other != at)
            .filter_map(|(_, other)| other.either.first().copied())
            .collect();
        let is = |set: &Vec<FaultReport>, one: &FaultReport| {
            set.len() == self.list.len()
                && rest
                    .iter()
                    .chain([&one])
                    .all(|wanted| set.iter().any(|fault| fault.fault == wanted.fault))
        };
        let set = |one: &&FaultReport| group.sets.iter().position(|set| is(set, one));
        finding.either.iter().filter_map(set).collect()
    }

    /// What an alternative of a finding is listed under: `b`, or `2b` where
    /// there are several findings.
    #[must_use]
    pub fn label(&self, at: usize, alternative: usize) -> String {
        if self.list.len() > 1 {
            format!("{}{}", at + 1, letter(alternative))
        } else {
            letter(alternative)
        }
    }
}

impl Finding<'_> {
    /// What comes first: the operator's own clips, then what can burn, then
    /// whole connectors, then what must be moved, then what must be mended.
    fn urgency(&self) -> u8 {
        let of = |fault: &FaultReport| match fault.kind.as_str() {
            kind if kind.starts_with("clip") => 0,
            "short" if fault.fault.ends_with("with=chassis") => 1,
            "short" | "cap-touching" => 2,
            "mirrored" | "shifted" | "sets-exchanged" => 3,
            "wrong-cavity" | "exchanged" | "tap-neighbour" | "occupied" | "reversed" => 4,
            _ => 5,
        };
        self.either.first().map_or(u8::MAX, |fault| of(fault))
    }
}

/// The letter that an alternative is listed under.
#[must_use]
pub fn letter(at: usize) -> String {
    u8::try_from(at).ok().filter(|at| *at < 26).map_or_else(
        || (at + 1).to_string(),
        |at| char::from(b'a' + at).to_string(),
    )
}

/// Where a set differs from another in one fault only: its place, and the
/// fault that is there instead.
fn one_apart<'r>(head: &[FaultReport], set: &'r [FaultReport]) -> Option<(usize, &'r FaultReport)> {
    if head.len() != set.len() {
        return None;
    }
    let holds = |faults: &[FaultReport], one: &FaultReport| {
        faults.iter().any(|fault| fault.fault == one.fault)
    };
    let mut lost = head
        .iter()
        .enumerate()
        .filter(|(_, fault)| !holds(set, fault));
    let mut new = set.iter().filter(|fault| !holds(head, fault));
    match (lost.next(), lost.next(), new.next()) {
        (Some((at, _)), None, Some(other)) => Some((at, other)),
        _ => None,
    }
}

/// The joint of a fault with unknown ohms, as a joint without connection.
fn without_ohms(fault: &FaultReport) -> Option<String> {
    let (joint, _) = fault
        .fault
        .strip_prefix("high-resistance@")?
        .rsplit_once(",ohms=")?;
    Some(format!("open@{joint}"))
}

/// Where no connection at a joint fits as well as so many ohms there, the ohms
/// are anybody's guess.
fn drop_guesses(either: &mut Vec<&FaultReport>) {
    let all: Vec<String> = either.iter().map(|fault| fault.fault.clone()).collect();
    either.retain(|fault| without_ohms(fault).is_none_or(|open| !all.contains(&open)));
}

/// Whether a set is another of the group with guessed ohms.
fn guessed(set: &[FaultReport], group: &GroupReport) -> bool {
    set.iter().any(|fault| without_ohms(fault).is_some())
        && group.sets.iter().any(|other| {
            other.iter().any(|one| {
                set.iter()
                    .any(|fault| without_ohms(fault).is_some_and(|open| open == one.fault))
            })
        })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fault(spelled: &str) -> FaultReport {
        let (kind, place) = spelled.split_once('@').unwrap();
        FaultReport {
            kind: kind.to_owned(),
            place: place.to_owned(),
            fault: spelled.to_owned(),
            round: None,
            say: String::new(),
            act: String::new(),
            ohms: None,
        }
    }

    fn group(sets: &[(&[&str], f64)]) -> GroupReport {
        let faults = |names: &[&str]| names.iter().copied().map(fault).collect();
        GroupReport {
            probability: 1.0,
            explains_all: true,
            because: Vec::new(),
            sets: sets.iter().map(|(names, _)| faults(names)).collect(),
            shares: sets.iter().map(|(_, share)| *share).collect(),
        }
    }

    #[test]
    fn what_is_far_less_likely_is_counted_and_not_listed() {
        let group = group(&[
            (&["open@W1"], 0.6),
            (&["unseated@X1:1"], 0.392),
            (&["tap-neighbour@T1,on=K1"], 0.005),
            (&["tap-neighbour@T1,on=K2"], 0.003),
        ]);
        let findings = Findings::of(&group);
        let either = findings.list[0].either.iter();
        let listed: Vec<&str> = either.map(|one| one.fault.as_str()).collect();
        assert_eq!(listed, ["open@W1", "unseated@X1:1"]);
        assert_eq!((findings.unlikely, findings.involved), (2, 0));
    }

    #[test]
    fn a_record_without_shares_lists_everything() {
        let mut group = group(&[(&["open@W1"], 0.9), (&["open@W2"], 1e-6)]);
        assert_eq!(Findings::of(&group).unlikely, 1);
        group.shares.clear();
        let findings = Findings::of(&group);
        assert_eq!((findings.list[0].either.len(), findings.unlikely), (2, 0));
    }
}

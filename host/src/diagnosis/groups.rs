//! Sets of faults that no reading of the scan tells apart are one group.

use super::evidence::Evidence;
use super::space::Candidate;

/// Sets that the readings cannot tell apart.
#[derive(Debug, Clone)]
pub struct Group {
    /// Posterior probability of the whole group among all that was scored.
    pub probability: f64,
    /// The sets, most probable first.
    pub sets: Vec<Candidate>,
}

impl Group {
    /// How much of the group's probability each set has.
    #[must_use]
    pub fn shares(&self) -> Vec<f64> {
        let top = self.sets.first().map_or(0.0, |set| set.weight);
        let odds: Vec<f64> = self.sets.iter().map(|s| (s.weight - top).exp()).collect();
        let total: f64 = odds.iter().sum();
        odds.into_iter().map(|odds| odds / total).collect()
    }

    /// Whether the group explains every reading.
    #[must_use]
    pub fn explains_all(&self) -> bool {
        self.sets.iter().any(|set| set.fit.unexplained.is_empty())
    }
}

/// Groups candidates (sorted, best first) by what they predict; best group
/// first.
#[must_use]
pub fn group(evidence: &Evidence<'_>, candidates: Vec<Candidate>) -> Vec<Group> {
    let best = candidates.first().map_or(0.0, |c| c.weight);
    let total: f64 = candidates.iter().map(|c| (c.weight - best).exp()).sum();
    let mut groups: Vec<Group> = Vec::new();
    for candidate in candidates {
        let share = (candidate.weight - best).exp() / total;
        let home = groups.iter_mut().find(|group| {
            group
                .sets
                .first()
                .is_some_and(|head| evidence.alike(&head.fit, &candidate.fit))
        });
        match home {
            Some(group) => {
                group.probability += share;
                group.sets.push(candidate);
            }
            None => groups.push(Group {
                probability: share,
                sets: vec![candidate],
            }),
        }
    }
    groups.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    for group in &mut groups {
        // Rounding must not make it more than certain.
        group.probability = group.probability.min(1.0);
        drop_supersets(&mut group.sets);
        drop_involved(&mut group.sets);
    }
    groups
}

/// How much less likely a larger set may be than the best one to be named
/// beside it: e⁷ is 1 in 1,000.
const INVOLVED: f64 = 7.0;

/// Sets of more faults than the best one need be nearly as likely.
fn drop_involved(sets: &mut Vec<Candidate>) {
    if let Some((size, weight)) = sets.first().map(|best| (best.faults.len(), best.weight)) {
        sets.retain(|set| set.faults.len() <= size || set.weight > weight - INVOLVED);
    }
}

/// A set that holds another set of the same group adds nothing to it.
fn drop_supersets(sets: &mut Vec<Candidate>) {
    let names: Vec<Vec<String>> = sets
        .iter()
        .map(|set| set.faults.iter().map(ToString::to_string).collect())
        .collect();
    let mut at = 0;
    sets.retain(|_| {
        let own = names.get(at).cloned().unwrap_or_default();
        at += 1;
        !names
            .iter()
            .any(|other| other.len() < own.len() && other.iter().all(|name| own.contains(name)))
    });
}

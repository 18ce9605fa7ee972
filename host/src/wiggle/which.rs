//! Which joint it was, by the leads that let go together.

use loomproof_core::wire::LeadSet;

use super::spots::Group;

/// The spots that explain which leads let go: one set of them, of which any may be
/// the one, for each opening that is needed. Leads that nothing explains are left.
///
/// `more`: other leads let go as well, and it is not known which.
#[must_use]
pub fn which(group: &Group, leads: &LeadSet, more: bool) -> (Vec<Vec<usize>>, LeadSet) {
    let mut found = Vec::new();
    let mut rest = *leads;
    while !rest.is_empty() {
        let (spots, explained) = best(group, &rest, more);
        if spots.is_empty() {
            break;
        }
        for lead in explained.iter() {
            rest.remove(lead);
        }
        found.push(spots);
    }
    (found, rest)
}

/// The spots that fit best, and which of the leads they explain.
fn best(group: &Group, leads: &LeadSet, more: bool) -> (Vec<usize>, LeadSet) {
    let inside = |inner: &LeadSet, outer: &LeadSet| inner.shared(outer) == *inner;
    let all = all_of(group, leads);
    if more && !all.is_empty() {
        return (all, *leads);
    }
    // All that must let go did, and all that did may.
    let fitting = |sign: &&super::Sign| inside(&sign.sure, leads) && inside(leads, &sign.may);
    let exact: Vec<usize> = group
        .signs
        .iter()
        .filter(fitting)
        .map(|it| it.spot)
        .collect();
    if !exact.is_empty() {
        return (exact, *leads);
    }
    // Two joints at once: the one with the most leads first.
    let part = group.signs.iter().filter(|sign| inside(&sign.sure, leads));
    let most = part.clone().map(|sign| sign.sure.len()).max();
    let part: Vec<&super::Sign> = part.filter(|sign| Some(sign.sure.len()) == most).collect();
    if let Some(first) = part.first() {
        let same = part.iter().filter(|sign| sign.sure == first.sure);
        return (
            same.map(|sign| sign.spot).collect(),
            first.sure.shared(leads),
        );
    }
    // Too short for all leads to be seen.
    (all, *leads)
}

/// Whatever lets go of all these leads, and of the fewest others.
fn all_of(group: &Group, leads: &LeadSet) -> Vec<usize> {
    let could = group
        .signs
        .iter()
        .filter(|sign| leads.shared(&sign.may) == *leads);
    let least = could.clone().map(|sign| sign.sure.len()).min();
    could
        .filter(|sign| Some(sign.sure.len()) == least)
        .map(|sign| sign.spot)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::super::Sign;
    use super::*;
    use loomproof_core::units::Farads;
    use loomproof_core::wire::LeadId;

    fn set(leads: &[u8]) -> LeadSet {
        leads.iter().copied().map(LeadId).collect()
    }

    /// A trunk (spot 0) with three branches (1, 2 and 3).
    fn group() -> Group {
        let sign = |spot, leads: &[u8]| Sign {
            spot,
            sure: set(leads),
            may: set(leads),
        };
        Group {
            low: set(&[0]),
            watched: set(&[1, 2, 3]),
            against: Vec::new(),
            wiring: Farads(0.0),
            high: LeadSet::EMPTY,
            signs: vec![
                sign(0, &[1, 2, 3]),
                sign(1, &[1]),
                sign(2, &[2]),
                sign(3, &[3]),
            ],
        }
    }

    #[test]
    fn a_set_of_leads_picks_the_joint() {
        let found = |leads: &[u8]| which(&group(), &set(leads), false);
        assert_eq!(found(&[1, 2, 3]), (vec![vec![0]], LeadSet::EMPTY));
        assert_eq!(found(&[2]), (vec![vec![2]], LeadSet::EMPTY));
        // Two branches at once.
        assert_eq!(
            found(&[1, 3]),
            (vec![vec![1], vec![3]], LeadSet::EMPTY).clone()
        );
        // The probe had no room for the third lead.
        assert_eq!(which(&group(), &set(&[1, 3]), true).0, [vec![0]]);
        // A lead that nobody watches.
        assert_eq!(found(&[7]), (vec![], set(&[7])));
    }

    #[test]
    fn what_fits_in_part_or_cannot_be_told_apart_is_named_in_full() {
        let mut group = group();
        group.signs.push(Sign {
            spot: 4,
            sure: set(&[2]),
            may: set(&[2, 3]),
        });
        assert_eq!(which(&group, &set(&[2]), false).0, [vec![2, 4]]);
        assert_eq!(which(&group, &set(&[2, 3]), false).0, [vec![4]]);
        group.signs.retain(|sign| sign.spot == 0);
        assert_eq!(which(&group, &set(&[2]), false).0, [vec![0]]);
    }
}

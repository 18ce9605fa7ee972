//! What rounds have to bring together, and the fewest in which that is
//! possible.

use loomproof_core::layout::{Group, Layout};

/// Test points by the net that they are on, as numbers in the order of the plan.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Needs {
    /// Nets that are not on chassis. Every two have to be clipped in one round
    /// (they must not be joined, or only through a part), and the points of one
    /// must hang together from round to round (its joints must be whole).
    pub nets: Vec<Vec<usize>>,
    /// Points on chassis: each is read against the chassis leads, which sit in
    /// every round.
    pub chassis: Vec<usize>,
}

impl Needs {
    /// The needs of the clipped leads of a layout; points are numbered in the
    /// order of the leads.
    #[must_use]
    pub fn of(layout: &Layout) -> Self {
        let mut nets: Vec<(Group, Vec<usize>)> = Vec::new();
        let mut chassis = Vec::new();
        for (at, lead) in layout.leads().iter().enumerate() {
            if layout.on_chassis(lead) {
                chassis.push(at);
                continue;
            }
            let Some(net) = layout.net(lead) else {
                continue;
            };
            match nets.iter_mut().find(|(known, _)| *known == net) {
                Some((_, points)) => points.push(at),
                None => nets.push((net, vec![at])),
            }
        }
        Self {
            nets: nets.into_iter().map(|(_, points)| points).collect(),
            chassis,
        }
    }

    /// A number of rounds of so many clips that no hook-up can beat.
    ///
    /// A net of m points that is clipped in R rounds takes m − 1 + R clips at
    /// least: each further point has to meet one that is known. In these rounds
    /// the other n − 1 nets must have their turn, so that with k leads
    /// `R·k − (m − 1 + R) ≥ n − 1` (Schönheim's bound for coverings of pairs,
    /// 1964, where every m is 1; `from memory`).
    ///
    /// The least R cannot be had by all nets at once: see `once` and `twice`.
    #[must_use]
    pub fn least_rounds(&self, leads: usize) -> usize {
        let (nets, leads) = (self.nets.len(), leads.max(2));
        let least = |points: usize| (nets + points - 2).div_ceil(leads - 1).max(1);
        // Further points and least rounds of each net, fewest points first.
        let mut each: Vec<(usize, usize)> = self
            .nets
            .iter()
            .map(|points| (points.len() - 1, least(points.len())))
            .collect();
        each.sort_unstable();
        let clips: usize = each.iter().map(|(further, rounds)| further + rounds).sum();
        let lost = if nets <= leads {
            Self::once(&each, leads)
        } else {
            Self::twice(&each, leads)
        };
        (clips + lost + self.chassis.len()).div_ceil(leads).max(1)
    }

    /// Clips beyond the least of every net, where all nets fit into one round:
    /// a net that is clipped once meets all others there, so that all such nets
    /// share one round, with all their points.
    fn once(each: &[(usize, usize)], leads: usize) -> usize {
        let may: Vec<usize> = of_least(each, 1).collect();
        may.len() - most(&may, leads - each.len())
    }

    /// Clips beyond the least of every net, where not all nets fit into one
    /// round. Rounds that two nets share are what two sets of two have in
    /// common, so nets that are clipped twice are clipped in the same two
    /// rounds, or all in one round a and each in one more of some rounds X, or
    /// in two of the same three. Each way is bounded by the clips of these
    /// rounds, where every other net has to have its part: one clip in the two;
    /// one in a, or one in each of X (at least n − k nets); two of the three.
    fn twice(each: &[(usize, usize)], leads: usize) -> usize {
        let nets = each.len();
        let may: Vec<usize> = of_least(each, 2).collect();
        let room = |clips: usize, taken: usize| clips.checked_sub(taken);
        let points = |further: usize| further + 1;
        let with_points: Vec<usize> = may.iter().copied().map(points).collect();
        let same = room(2 * leads, nets).map_or(0, |room| most(&with_points, room));
        let three = room(3 * leads, 2 * nets).map_or(0, |room| most(&may, room));
        let mut lost = may.len() - same.max(three);
        let outside = nets - leads;
        // Beyond that they cost more than all nets that could be clipped twice.
        for more in 2..=may.len() + 3 {
            let taken = nets + (more - 1) * outside;
            let star = room((more + 1) * leads, taken).map_or(0, |room| most(&with_points, room));
            // Nets outside a are clipped in every round of X.
            let longer: usize = each
                .iter()
                .rev()
                .map(|(_, rounds)| more.saturating_sub((*rounds).max(3)))
                .take(outside)
                .sum();
            lost = lost.min(may.len() - star.min(nets - outside) + longer);
        }
        lost
    }

    /// Whether rounds of points bring everything together that has to be.
    #[cfg(test)]
    pub(super) fn met_by(&self, rounds: &[Vec<usize>]) -> bool {
        let in_round = |points: &[usize], round: &[usize]| -> Vec<usize> {
            let here = points.iter().filter(|point| round.contains(point));
            here.copied().collect()
        };
        let chassis = self.chassis.iter();
        let seen = |point: &usize| rounds.iter().any(|round| round.contains(point));
        let meet = |a: &[usize], b: &[usize]| {
            rounds
                .iter()
                .any(|round| !in_round(a, round).is_empty() && !in_round(b, round).is_empty())
        };
        let hangs_together = |points: &[usize]| {
            let mut reached: Vec<usize> = points.iter().take(1).copied().collect();
            loop {
                let before = reached.len();
                for round in rounds {
                    let here = in_round(points, round);
                    if here.iter().any(|point| reached.contains(point)) {
                        reached.extend(here);
                    }
                }
                reached.sort_unstable();
                reached.dedup();
                if reached.len() == before {
                    return before == points.len();
                }
            }
        };
        chassis.clone().all(seen)
            && self.nets.iter().enumerate().all(|(at, a)| {
                a.iter().all(seen)
                    && hangs_together(a)
                    && self.nets.iter().skip(at + 1).all(|b| meet(a, b))
            })
    }
}

/// Further points of the nets whose least number of rounds this is.
fn of_least(each: &[(usize, usize)], rounds: usize) -> impl Iterator<Item = usize> + '_ {
    let these = each.iter().filter(move |(_, least)| *least == rounds);
    these.map(|(further, _)| *further)
}

/// How many of some sorted numbers fit into a sum.
fn most(sorted: &[usize], mut room: usize) -> usize {
    let fits = |number: &&usize| {
        let left = room.checked_sub(**number);
        room = left.unwrap_or(0);
        left.is_some()
    };
    sorted.iter().take_while(fits).count()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn needs(nets: &[usize], chassis: usize) -> Needs {
        let mut next = 0..;
        let mut take = |count: usize| -> Vec<usize> { next.by_ref().take(count).collect() };
        Needs {
            nets: nets.iter().map(|points| take(*points)).collect(),
            chassis: take(chassis),
        }
    }

    /// Every way to clip `leads` of the points, as rounds.
    fn choices(points: usize, leads: usize) -> Vec<Vec<usize>> {
        let all = (0_u32..1 << points).filter(|set| set.count_ones() as usize == leads);
        all.map(|set| (0..points).filter(|at| set >> at & 1 == 1).collect())
            .collect()
    }

    /// Whether so many rounds can do, by trying all.
    fn possible(
        needs: &Needs,
        choices: &[Vec<usize>],
        rounds: usize,
        of: &mut Vec<Vec<usize>>,
    ) -> bool {
        if rounds == 0 {
            return needs.met_by(of);
        }
        // The order of rounds does not matter.
        (0..choices.len()).any(|at| {
            of.push(choices[at].clone());
            let found = possible(needs, &choices[at..], rounds - 1, of);
            of.pop();
            found
        })
    }

    #[test]
    fn no_hook_up_beats_the_bound() {
        for (nets, chassis, leads) in [
            (vec![1, 1, 1, 1], 0, 3),
            (vec![1, 1, 1, 1, 1], 0, 3),
            (vec![2, 2, 2], 0, 3),
            (vec![2, 2, 2], 0, 4),
            (vec![3, 1, 1], 1, 3),
            (vec![2, 2, 1, 1], 0, 4),
            (vec![3, 3], 0, 4),
            (vec![1, 1, 1, 1], 2, 4),
            (vec![2, 2, 2], 1, 5),
            (vec![6], 0, 3),
        ] {
            let needs = needs(&nets, chassis);
            let points = nets.iter().sum::<usize>() + chassis;
            let choices = choices(points, leads);
            let least = needs.least_rounds(leads);
            if least > 1 {
                let fewer = possible(&needs, &choices, least - 1, &mut Vec::new());
                assert!(
                    !fewer,
                    "{nets:?}, {chassis} on chassis, {leads} leads: fewer than {least} do"
                );
            }
        }
    }

    /// Twelve nets of two points with eight leads: by hand, five rounds would
    /// do by the count of clips alone, and do not.
    #[test]
    fn nets_that_are_clipped_twice_get_in_each_others_way() {
        assert_eq!(needs(&[2; 12], 0).least_rounds(8), 6);
        assert_eq!(needs(&[1; 8], 0).least_rounds(8), 1);
        assert_eq!(needs(&[2; 5], 0).least_rounds(8), 2);
    }

    #[test]
    fn what_is_not_met_is_told() {
        let needs = needs(&[2, 1], 1);
        assert!(needs.met_by(&[vec![0, 1, 2, 3]]));
        assert!(needs.met_by(&[vec![0, 1, 3], vec![1, 2]]));
        let never: [&[Vec<usize>]; 3] = [
            &[vec![0, 1, 2]],
            &[vec![0, 2, 3], vec![1, 2]],
            &[vec![0, 1, 3], vec![2, 3]],
        ];
        for rounds in never {
            assert!(!needs.met_by(rounds), "{rounds:?}");
        }
    }
}

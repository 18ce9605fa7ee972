//! Rounds of points that meet the needs of a job.

use super::needs::Needs;
use super::plane::planes;

/// Rounds as lists of points. Of every net one point, its hub, is clipped in
/// each round that has the net; the others are clipped beside it once.
#[derive(Debug, Clone, Default)]
struct Draft {
    rounds: Vec<Vec<usize>>,
    leads: usize,
}

/// The fewest rounds that are found for a probe of so many leads; `None` where
/// it cannot clip two points.
pub(super) fn draft(needs: &Needs, leads: usize) -> Option<Vec<Vec<usize>>> {
    if leads < 2 {
        return None;
    }
    let nets = needs.nets.len();
    let mut best = greedy(nets, leads);
    let mut drafts = vec![Draft::of(needs, leads, &best)];
    for plane in planes() {
        for used in 1..=plane.lines.len().min(nets) {
            best = spread(&plane.lines, nets, used);
            if best.iter().all(|round| round.len() <= leads) {
                drafts.push(Draft::of(needs, leads, &best));
            }
        }
    }
    drafts
        .into_iter()
        .map(|draft| draft.rounds)
        .min_by_key(Vec::len)
}

/// Nets dealt out evenly to so many classes, and the classes met as the lines
/// of a plane say.
fn spread(lines: &[Vec<usize>], nets: usize, used: usize) -> Vec<Vec<usize>> {
    let class = |class: usize| class * nets / used..(class + 1) * nets / used;
    lines
        .iter()
        .map(|line| {
            let here = line.iter().copied().filter(|point| *point < used);
            here.flat_map(class).collect::<Vec<usize>>()
        })
        .filter(|round| round.len() > 1 || nets == 1)
        .collect()
}

/// Rounds of nets, each filled with the net that meets most others for the
/// first time.
fn greedy(nets: usize, leads: usize) -> Vec<Vec<usize>> {
    let mut open = vec![vec![true; nets]; nets];
    let mut rounds = Vec::new();
    loop {
        let degree = |net: usize| {
            let row = open.get(net).into_iter().flatten().enumerate();
            row.filter(|(other, open)| **open && *other != net).count()
        };
        let Some(first) = (0..nets).rev().max_by_key(|net| degree(*net)) else {
            break;
        };
        if degree(first) == 0 && !rounds.is_empty() {
            break;
        }
        let mut round = vec![first];
        while round.len() < leads.min(nets) {
            let fresh = |net: usize| {
                let row = open.get(net);
                let is_open = |other: &&usize| row.and_then(|row| row.get(**other)) == Some(&true);
                (round.iter().filter(is_open).count(), degree(net))
            };
            let rest = (0..nets).rev().filter(|net| !round.contains(net));
            match rest.max_by_key(|net| fresh(*net)) {
                Some(net) if fresh(net).0 > 0 => round.push(net),
                _ => break,
            }
        }
        for a in &round {
            for b in &round {
                if let Some(slot) = open.get_mut(*a).and_then(|row| row.get_mut(*b)) {
                    *slot = false;
                }
            }
        }
        rounds.push(round);
    }
    rounds
}

impl Draft {
    /// Points for rounds of nets.
    fn of(needs: &Needs, leads: usize, meeting: &[Vec<usize>]) -> Self {
        let hub = |net: &usize| needs.nets.get(*net).and_then(|points| points.first());
        let hubs = |round: &Vec<usize>| round.iter().filter_map(hub).copied().collect();
        let mut draft = Self {
            rounds: meeting.iter().map(hubs).collect(),
            leads,
        };
        // Nets that are met least often have the least choice.
        let mut order: Vec<&Vec<usize>> = needs.nets.iter().collect();
        order.sort_by_key(|points| {
            let met = draft
                .rounds
                .iter()
                .filter(|round| round.contains(&points[0]));
            met.count()
        });
        let mut left: Vec<Vec<usize>> = Vec::new();
        for points in order {
            let mut over: Vec<usize> = Vec::new();
            for point in points.iter().skip(1) {
                match draft.roomiest(|round| round.contains(&points[0])) {
                    Some(round) => round.push(*point),
                    None => over.push(*point),
                }
            }
            if !over.is_empty() {
                over.insert(0, points[0]);
                left.push(over);
            }
        }
        // What is left of a net goes with its hub into further rounds, the
        // largest first.
        left.sort_by_key(|points| std::cmp::Reverse(points.len()));
        for points in left {
            let (hub, mut rest) = (points[0], &points[1..]);
            while !rest.is_empty() {
                let room = leads - 1;
                let take = rest.len().min(room);
                let fits = |round: &Vec<usize>| round.len() + take < leads;
                let round = match draft.rounds.iter_mut().find(|round| fits(round)) {
                    Some(round) => round,
                    None => {
                        draft.rounds.push(Vec::new());
                        let Some(round) = draft.rounds.last_mut() else {
                            break;
                        };
                        round
                    }
                };
                round.push(hub);
                round.extend(&rest[..take]);
                rest = &rest[take..];
            }
        }
        for point in &needs.chassis {
            match draft.roomiest(|_| true) {
                Some(round) => round.push(*point),
                None => draft.rounds.push(vec![*point]),
            }
        }
        draft
    }

    /// The round with most room, of those that are wanted.
    fn roomiest(&mut self, wanted: impl Fn(&Vec<usize>) -> bool) -> Option<&mut Vec<usize>> {
        let leads = self.leads;
        let fits = self.rounds.iter_mut().filter(|round| round.len() < leads);
        fits.filter(|round| wanted(round))
            .min_by_key(|round| round.len())
    }
}

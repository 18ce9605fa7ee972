//! One round fewer, where chance finds the way.
//!
//! A round is left out and what it brought together is sought anew: points are
//! exchanged one at a time, and an exchange stands unless it leaves more open
//! than a threshold allows that falls from time to time (threshold accepting,
//! Dueck & Scheuer 1990; `from memory`). Whole numbers and a fixed seed: the
//! same job gives the same rounds on every machine.

use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;

use super::needs::Needs;

/// Exchanges that are tried for one round fewer.
const EXCHANGES: u32 = 150_000;

/// Exchanges between two falls of the threshold, which then starts anew.
const SWEEP: u32 = 10_000;

/// The largest threshold.
const LOOSEST: u32 = 2;

/// Makes rounds fewer as long as that succeeds, down to `least`.
pub(super) fn squeeze(
    needs: &Needs,
    leads: usize,
    least: usize,
    mut rounds: Vec<Vec<usize>>,
) -> Vec<Vec<usize>> {
    while rounds.len() > least.max(1) {
        let Some(fewer) = State::of(needs, leads, rounds.clone()).search() else {
            break;
        };
        rounds = fewer;
    }
    rounds
}

struct State<'n> {
    needs: &'n Needs,
    /// The net of each point; `None` for one on chassis.
    net: Vec<Option<usize>>,
    /// Slots of each round, one a lead.
    slots: Vec<Vec<Option<usize>>>,
    /// How many points of each net each round has.
    here: Vec<Vec<u32>>,
    /// In how many rounds two nets meet.
    meet: Vec<Vec<u32>>,
    /// Pairs of nets that meet nowhere.
    apart: u32,
    /// Pieces of each net beyond the first, and points on chassis not seen.
    pieces: Vec<u32>,
    unseen: u32,
}

impl<'n> State<'n> {
    /// Without the smallest of the rounds.
    fn of(needs: &'n Needs, leads: usize, mut rounds: Vec<Vec<usize>>) -> Self {
        rounds.sort_by_key(|round| std::cmp::Reverse(round.len()));
        rounds.pop();
        let nets = needs.nets.len();
        let points = needs.nets.iter().map(Vec::len).sum::<usize>() + needs.chassis.len();
        let mut net = vec![None; points];
        for (at, members) in needs.nets.iter().enumerate() {
            for point in members {
                if let Some(slot) = net.get_mut(*point) {
                    *slot = Some(at);
                }
            }
        }
        let mut state = Self {
            needs,
            net,
            slots: vec![vec![None; leads]; rounds.len()],
            here: vec![vec![0; nets]; rounds.len()],
            meet: vec![vec![0; nets]; nets],
            apart: (nets * nets.saturating_sub(1) / 2) as u32,
            pieces: vec![0; nets],
            unseen: needs.chassis.len() as u32,
        };
        for (at, round) in rounds.iter().enumerate() {
            for (slot, point) in round.iter().enumerate() {
                state.put(at, slot, Some(*point));
            }
        }
        for net in 0..nets {
            state.pieces[net] = state.count_pieces(net);
        }
        state.unseen = state.count_unseen();
        state
    }

    fn open(&self) -> u32 {
        self.apart + self.pieces.iter().sum::<u32>() + self.unseen
    }

    fn search(mut self) -> Option<Vec<Vec<usize>>> {
        let mut chance = ChaCha8Rng::seed_from_u64(64);
        let (rounds, points) = (self.slots.len(), self.net.len());
        let leads = self.slots.first().map_or(0, Vec::len);
        if rounds == 0 || points == 0 {
            return None;
        }
        let mut open = self.open();
        for at in 0..EXCHANGES {
            if open == 0 {
                return Some(self.rounds());
            }
            let threshold = LOOSEST - (at % SWEEP) * (LOOSEST + 1) / SWEEP;
            let round = chance.random_range(0..rounds);
            let slot = chance.random_range(0..leads);
            let point = chance.random_range(0..points);
            if self.slots[round].contains(&Some(point)) {
                continue;
            }
            let before = self.slots[round][slot];
            let touched = [before, Some(point)].map(|p| p.and_then(|p| self.net[p]));
            let kept = (
                self.unseen,
                touched.map(|net| net.map(|net| self.pieces[net])),
            );
            self.put(round, slot, Some(point));
            self.recount(touched);
            let now = self.open();
            if now <= open + threshold {
                open = now;
                continue;
            }
            self.put(round, slot, before);
            self.unseen = kept.0;
            for (net, pieces) in touched.into_iter().zip(kept.1) {
                if let (Some(net), Some(pieces)) = (net, pieces) {
                    self.pieces[net] = pieces;
                }
            }
        }
        None
    }

    fn rounds(&self) -> Vec<Vec<usize>> {
        let round = |slots: &Vec<Option<usize>>| slots.iter().flatten().copied().collect();
        self.slots.iter().map(round).collect()
    }

    /// Puts a point into a slot of a round, in the place of what was there.
    fn put(&mut self, round: usize, slot: usize, point: Option<usize>) {
        let before = std::mem::replace(&mut self.slots[round][slot], point);
        if let Some(net) = before.and_then(|point| self.net[point]) {
            self.here[round][net] -= 1;
            if self.here[round][net] == 0 {
                self.part(round, net);
            }
        }
        if let Some(net) = point.and_then(|point| self.net[point]) {
            self.here[round][net] += 1;
            if self.here[round][net] == 1 {
                self.join(round, net);
            }
        }
    }

    fn part(&mut self, round: usize, net: usize) {
        for other in 0..self.meet.len() {
            if other != net && self.here[round][other] > 0 {
                self.meet[net][other] -= 1;
                self.meet[other][net] -= 1;
                self.apart += u32::from(self.meet[net][other] == 0);
            }
        }
    }

    fn join(&mut self, round: usize, net: usize) {
        for other in 0..self.meet.len() {
            if other != net && self.here[round][other] > 0 {
                self.apart -= u32::from(self.meet[net][other] == 0);
                self.meet[net][other] += 1;
                self.meet[other][net] += 1;
            }
        }
    }

    fn recount(&mut self, touched: [Option<usize>; 2]) {
        for net in touched {
            match net {
                Some(net) => self.pieces[net] = self.count_pieces(net),
                None => self.unseen = self.count_unseen(),
            }
        }
    }

    /// Into how many pieces a net falls beyond the first; a point that is
    /// clipped nowhere is a piece.
    fn count_pieces(&self, net: usize) -> u32 {
        let points = &self.needs.nets[net];
        let mut piece: Vec<usize> = (0..points.len()).collect();
        let mut seen = vec![false; points.len()];
        for (slots, here) in self.slots.iter().zip(&self.here) {
            if here[net] == 0 {
                continue;
            }
            let mut first = None;
            for point in slots.iter().flatten() {
                let Some(at) = points.iter().position(|own| own == point) else {
                    continue;
                };
                seen[at] = true;
                match first {
                    None => first = Some(at),
                    Some(first) => {
                        let (from, to) = (piece[at], piece[first]);
                        for slot in &mut piece {
                            if *slot == from {
                                *slot = to;
                            }
                        }
                    }
                }
            }
        }
        piece.sort_unstable();
        piece.dedup();
        // A net of one point is whole, but must be seen.
        (piece.len() - 1) as u32 + u32::from(points.len() == 1 && !seen[0])
    }

    fn count_unseen(&self) -> u32 {
        let clipped = |point: &&usize| {
            self.slots
                .iter()
                .any(|slots| slots.contains(&Some(**point)))
        };
        let seen = self.needs.chassis.iter().filter(clipped).count();
        (self.needs.chassis.len() - seen) as u32
    }
}

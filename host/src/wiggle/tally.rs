//! What came apart so far.

use std::collections::BTreeMap;

use loomproof_core::units::{Micros, Ohms};
use loomproof_core::wire::{LeadId, LeadSet};

use super::round::{Loose, Window};
use super::spots::Watch;
use super::which::which;

/// Leads that let go within this are one opening: the longest time between two
/// polls, with a lead that has to be drained in between (docs/probe-hardware.md,
/// "Guarding joints"), and different slopes.
const TOGETHER: u64 = 500;

/// A lead that was open at the end of a window and is open this soon in the next
/// one stayed open; the leads are discharged in between.
const STAYED: u64 = 500;

/// One opening, or several of one joint in one window.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Event {
    /// The spots that it may be.
    pub spots: Vec<usize>,
    /// When, microseconds since the beginning.
    pub at: u64,
    /// How often.
    pub count: u32,
    /// How long at most, microseconds.
    pub longest: u64,
    /// It did not close again in that window.
    pub open: bool,
}

/// What is known of one spot.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Line {
    /// How often it opened.
    pub count: u32,
    /// When first and last, microseconds since the beginning; without meaning where
    /// `count` is 0.
    pub first: u64,
    /// See `first`.
    pub last: u64,
    /// The longest opening, microseconds.
    pub longest: u64,
    /// It is open now.
    pub open: bool,
    /// The worst resistance of a path through it that was measured.
    pub worst: Option<Ohms>,
    /// For how long it was watched, microseconds.
    pub watched: u64,
}

/// Counts.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Tally {
    /// One for each spot.
    pub lines: Vec<Line>,
    /// Every opening, in order.
    pub events: Vec<Event>,
    /// How long the watch has lasted, microseconds.
    pub lasted: u64,
    /// The longest round of each group.
    pub rounds: Vec<Option<Micros>>,
    /// Openings on leads that no joint explains.
    pub unexplained: u32,
    /// Leads that were open at the end of their group's last window, and since when.
    open: Vec<BTreeMap<u8, u64>>,
}

impl Tally {
    /// Nothing yet.
    #[must_use]
    pub fn new(watch: &Watch) -> Self {
        Self {
            lines: vec![Line::default(); watch.spots.len()],
            rounds: vec![None; watch.groups.len()],
            open: vec![BTreeMap::new(); watch.groups.len()],
            ..Self::default()
        }
    }

    /// Takes a window in; what is new in it.
    pub fn window(&mut self, watch: &Watch, window: &Window) -> Vec<Event> {
        let Some(group) = watch.groups.get(window.group) else {
            return Vec::new();
        };
        self.lasted = window.began + window.took;
        if let Some(round) = self.rounds.get_mut(window.group) {
            *round = (*round).max(Some(window.round));
        }
        for sign in &group.signs {
            if let Some(line) = self.lines.get_mut(sign.spot) {
                line.watched += window.took;
                line.open = false;
            }
        }
        let before = self.open.get(window.group).cloned().unwrap_or_default();
        let mut now_open = BTreeMap::new();
        let mut loose = window.loose.clone();
        loose.sort_by_key(|found| found.first);
        let mut new = Vec::new();
        let mut rest = loose.as_slice();
        while let Some(first) = rest.first() {
            let together = rest
                .iter()
                .take_while(|found| found.first - first.first <= TOGETHER)
                .count();
            let (cluster, others) = rest.split_at(together);
            rest = others;
            let leads: LeadSet = cluster.iter().map(|found| found.lead).collect();
            let (openings, left) = which(group, &leads, window.more > 0);
            self.unexplained += u32::from(!left.is_empty());
            for spots in openings {
                let mine = watch.groups.get(window.group).map(|group| {
                    let signs = group.signs.iter().filter(|sign| spots.contains(&sign.spot));
                    signs.fold(LeadSet::EMPTY, |all, sign| all.joined(&sign.may))
                });
                let mine = mine.unwrap_or_default();
                let own: Vec<&Loose> = cluster
                    .iter()
                    .filter(|found| mine.contains(found.lead))
                    .collect();
                new.extend(self.opening(window, spots, &own, &before));
            }
            for found in cluster.iter().filter(|found| found.open_at_end) {
                let since = before.get(&found.lead.0).copied();
                let since = since.filter(|_| found.first <= STAYED && found.count == 1);
                let began = window.began + window.took.saturating_sub(found.longest);
                now_open.insert(found.lead.0, since.unwrap_or(began));
            }
        }
        if let Some(open) = self.open.get_mut(window.group) {
            *open = now_open;
        }
        self.events.extend(new.iter().cloned());
        new
    }

    /// Enters one opening; `None` where it is one that was entered already.
    fn opening(
        &mut self,
        window: &Window,
        spots: Vec<usize>,
        own: &[&Loose],
        before: &BTreeMap<u8, u64>,
    ) -> Option<Event> {
        let first = own.iter().map(|found| found.first).min()?;
        let stayed =
            |found: &Loose| (found.first <= STAYED).then(|| before.get(&found.lead.0).copied())?;
        let since = own.iter().filter_map(|found| stayed(found)).min();
        let longest = own.iter().map(|found| found.longest).max()?;
        let open = own.iter().any(|found| found.open_at_end);
        let all = own.iter().map(|found| found.count).max()?;
        let count = all.saturating_sub(u32::from(since.is_some()));
        let longest = match since {
            // It goes on from the window before; with others after it, the longest is
            // at least the part up to this window.
            Some(since) if all == 1 => window.began + first + longest - since,
            Some(since) => longest.max(window.began.saturating_sub(since)),
            None => longest,
        };
        let at = window.began + first;
        for spot in &spots {
            if let Some(line) = self.lines.get_mut(*spot) {
                if line.count == 0 && count > 0 {
                    line.first = at;
                }
                if count > 0 {
                    line.last = at;
                }
                line.count += count;
                line.longest = line.longest.max(longest);
                line.open = open;
            }
        }
        if count == 0 {
            if let Some(event) = self.events.iter_mut().rev().find(|it| it.spots == spots) {
                event.longest = event.longest.max(longest);
                event.open = open;
            }
            return None;
        }
        Some(Event {
            spots,
            at,
            count,
            longest,
            open,
        })
    }

    /// Takes a measured path in: it goes through every spot whose opening lets go of
    /// this lead.
    pub fn measured(&mut self, watch: &Watch, group: usize, lead: LeadId, ohms: Ohms) {
        let signs = watch.groups.get(group).into_iter().flat_map(|it| &it.signs);
        for sign in signs.filter(|sign| sign.sure.contains(lead)) {
            if let Some(line) = self.lines.get_mut(sign.spot) {
                let worst = line.worst.map_or(ohms, |worst| Ohms(worst.0.max(ohms.0)));
                line.worst = Some(worst);
            }
        }
    }

    /// Whether anything came apart.
    #[must_use]
    pub fn any(&self) -> bool {
        !self.events.is_empty() || self.unexplained > 0
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Group, Sign, Spot};
    use super::*;
    use loomproof_core::units::Farads;

    fn watch() -> Watch {
        let sign = |spot: u8| Sign {
            spot: usize::from(spot),
            sure: LeadSet::from_iter([LeadId(spot)]),
            may: LeadSet::from_iter([LeadId(spot)]),
        };
        Watch {
            spots: vec![
                Spot {
                    joints: Vec::new(),
                    slow: false
                };
                2
            ],
            groups: vec![Group {
                low: LeadSet::EMPTY,
                watched: (0..2).map(LeadId).collect(),
                against: Vec::new(),
                wiring: Farads(0.0),
                high: LeadSet::EMPTY,
                signs: vec![sign(0), sign(1)],
            }],
            unwatched: Vec::new(),
        }
    }

    fn window(began: u64, loose: &[(u8, u32, u64, u64, bool)]) -> Window {
        Window {
            group: 0,
            began,
            took: 250_000,
            round: Micros(20),
            more: 0,
            loose: loose
                .iter()
                .map(|(lead, count, first, longest, open_at_end)| Loose {
                    lead: LeadId(*lead),
                    count: *count,
                    first: *first,
                    longest: *longest,
                    open_at_end: *open_at_end,
                })
                .collect(),
        }
    }

    #[test]
    fn an_opening_that_lasts_is_counted_once() {
        let watch = watch();
        let mut tally = Tally::new(&watch);
        let new = tally.window(&watch, &window(0, &[(0, 1, 100_000, 150_000, true)]));
        assert_eq!(new.len(), 1);
        assert!(tally.lines[0].open);
        let new = tally.window(&watch, &window(251_000, &[(0, 1, 60, 1_000, false)]));
        assert_eq!(new, []);
        assert_eq!((tally.lines[0].count, tally.lines[0].open), (1, false));
        assert_eq!(tally.lines[0].longest, 251_000 + 60 + 1_000 - 100_000);
        // Quiet, and then anew.
        tally.window(&watch, &window(502_000, &[]));
        let new = tally.window(&watch, &window(753_000, &[(0, 2, 60, 300, false)]));
        assert_eq!((new.len(), tally.lines[0].count), (1, 3));
        assert_eq!(tally.lines[1].count, 0);
        assert_eq!(tally.lines[0].watched, 1_000_000);
    }

    #[test]
    fn openings_at_different_times_are_two() {
        let watch = watch();
        let mut tally = Tally::new(&watch);
        let at = [(0, 1, 4_000, 200, false), (1, 1, 9_000, 400, false)];
        let new = tally.window(&watch, &window(0, &at));
        assert_eq!(
            new.iter().map(|it| it.spots.clone()).collect::<Vec<_>>(),
            [[0], [1]]
        );
        assert_eq!(new[1].at, 9_000);
    }
}

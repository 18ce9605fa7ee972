//! Sets of more than two: grown from the best smaller ones, improved member by member,
//! and made complete among those that explain as much.

use super::{EQUAL, Found, Hunt, Space};

/// How many more parents than the beam there may be where they are equal, as a multiple.
const EQUAL_PARENTS: usize = 4;

/// The most twins of a member, and sets with them, that are tried.
const MOST_TWINS: usize = 24;
const MOST_TRIED: usize = 400;

/// How often the best set is gone through for better members.
const ROUNDS: usize = 8;

impl<S: Space> Hunt<'_, S> {
    /// Adds one hypothesis to the best sets of a size; false where that
    /// gained nothing.
    pub(super) fn grow(&mut self, size: usize, singles: &[f64]) -> Result<bool, String> {
        self.trim();
        if !self.settings.go_on && self.best_explains_all()? {
            return Ok(false);
        }
        let before = self.best;
        let parents = self.parents(size);
        for parent in parents {
            self.add_each(&parent.set, parent.gain, singles)?;
        }
        Ok(self.settings.go_on || self.best > before)
    }

    /// The best sets of a size, and what is as good as the last of them, so that numbering
    /// decides nothing.
    fn parents(&self, size: usize) -> Vec<Found> {
        let sized = self.found.iter().filter(|found| found.set.len() == size);
        let mut parents: Vec<Found> = sized.cloned().collect();
        let last = parents.get(self.settings.beam.saturating_sub(1));
        if let Some(least) = last.map(|found| found.weight - EQUAL) {
            parents.retain(|found| found.weight > least);
            parents.truncate(EQUAL_PARENTS * self.settings.beam);
        }
        parents
    }

    /// Adds to a set each hypothesis that bears on what it leaves open: what explains most
    /// by itself first, as far as the effort goes.
    fn add_each(&mut self, set: &[usize], gain: f64, singles: &[f64]) -> Result<(), String> {
        for more in self.open_to(set, singles)? {
            if self.space.work() > self.until {
                break;
            }
            self.add(set, gain, more, singles)?;
        }
        Ok(())
    }

    /// What bears on what a set leaves unexplained; what explains most by itself first.
    pub(super) fn open_to(&self, set: &[usize], singles: &[f64]) -> Result<Vec<usize>, String> {
        let mut open = self.space.open_to(set)?;
        let alone = |one: &usize| singles.get(*one).copied().unwrap_or(f64::NEG_INFINITY);
        open.sort_by(|a, b| alone(b).total_cmp(&alone(a)).then(a.cmp(b)));
        Ok(open)
    }

    fn add(
        &mut self,
        set: &[usize],
        gain: f64,
        more: usize,
        singles: &[f64],
    ) -> Result<(), String> {
        if !self.can_join(set, more) {
            return Ok(());
        }
        let mut grown = set.to_vec();
        grown.push(more);
        let floor = self.floor(self.ln_prior(&grown), gain);
        if let Some(gain) = self.gain_with(&grown, gain, singles, floor)? {
            self.keep(grown, gain);
        }
        Ok(())
    }

    /// Whether one more can be true together with a set.
    pub(super) fn can_join(&self, set: &[usize], more: usize) -> bool {
        set.iter()
            .all(|one| *one != more && self.space.compatible(*one, more))
    }

    /// What a set gains with its last member, the others gaining `gain`; `None` where that
    /// is not above the floor.
    pub(super) fn gain_with(
        &self,
        grown: &[usize],
        gain: f64,
        singles: &[f64],
        floor: f64,
    ) -> Result<Option<f64>, String> {
        let Some((more, set)) = grown.split_last() else {
            return Ok(None);
        };
        let with = if set.iter().all(|one| self.space.separate(*one, *more)) {
            singles.get(*more).map(|single| gain + single)
        } else {
            self.space.gain(grown, floor)?
        };
        Ok(with.filter(|with| *with > floor))
    }

    /// Improves the best large set: leaves one member out, exchanges one for
    /// another, adds one, until nothing is better.
    pub(super) fn exchange(&mut self, singles: &[f64]) -> Result<(), String> {
        for _ in 0..ROUNDS {
            self.trim();
            let Some(best) = self.found.first().cloned() else {
                return Ok(());
            };
            if best.set.len() < 2 {
                return Ok(());
            }
            if best.set.len() > 2 {
                for at in 0..best.set.len() {
                    self.exchange_one(&best.set, at, singles)?;
                }
            }
            if best.set.len() < self.settings.most {
                self.add_each(&best.set, best.gain, singles)?;
            }
            self.trim();
            if self.found.first().is_none_or(|now| now.set == best.set) {
                return Ok(());
            }
        }
        Ok(())
    }

    /// Puts twins in the place of members of sets of three and more that explain as much
    /// as the best one: of pairs none is missing where they are proved, of larger sets it
    /// would depend on the numbering which are found.
    pub(super) fn close(&mut self, singles: &[f64]) -> Result<(), String> {
        self.trim();
        let Some(best) = self.found.first().cloned() else {
            return Ok(());
        };
        if best.set.len() < 3 {
            return Ok(());
        }
        let mut order: Vec<(f64, usize)> = singles.iter().copied().zip(0..).collect();
        order.sort_by(|(a, _), (b, _)| a.total_cmp(b));
        let twins = |one: usize| {
            let gain = singles.get(one).copied().unwrap_or(f64::NAN);
            let from = order.partition_point(|(other, _)| *other < gain - EQUAL);
            let like = order.iter().skip(from);
            like.take_while(move |(other, _)| *other < gain + EQUAL)
                .map(|(_, twin)| *twin)
        };
        let equal = |found: &&Found| {
            found.set.len() == best.set.len() && (found.gain - best.gain).abs() < EQUAL
        };
        let mut open: Vec<Found> = self.found.iter().filter(equal).cloned().collect();
        let mut tried = 0;
        while let Some(found) = open.pop() {
            for at in 0..found.set.len() {
                let mut rest = found.set.clone();
                let one = rest.remove(at);
                // What explains nothing by itself is like everything that does nothing.
                if singles
                    .get(one)
                    .is_none_or(|gain| *gain < self.settings.least_gain)
                {
                    continue;
                }
                let mut alike: Vec<usize> = twins(one).filter(|twin| *twin != one).collect();
                alike.truncate(MOST_TWINS);
                for twin in alike {
                    let mut set = rest.clone();
                    set.push(twin);
                    set.sort_unstable();
                    let known = self.seen.contains(&set);
                    let can = |other: &usize| *other != twin && self.space.compatible(*other, twin);
                    if known || tried == MOST_TRIED || !rest.iter().all(can) {
                        continue;
                    }
                    tried += 1;
                    let gain = self.space.gain(&set, best.gain - EQUAL)?;
                    if let Some(gain) = gain
                        && self.keep(set.clone(), gain)
                    {
                        let weight = gain + self.ln_prior(&set);
                        open.push(Found { set, gain, weight });
                    }
                }
            }
        }
        Ok(())
    }

    fn exchange_one(&mut self, set: &[usize], at: usize, singles: &[f64]) -> Result<(), String> {
        let mut rest = set.to_vec();
        rest.remove(at);
        let without = self.space.gain(&rest, f64::NEG_INFINITY)?;
        let without = without.unwrap_or(f64::NEG_INFINITY);
        self.keep(rest.clone(), without);
        self.add_each(&rest, without, singles)
    }
}

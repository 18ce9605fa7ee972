//! Other beginnings, where what was found leaves something to explain or is large.
//!
//! Readings are off by thousands of standard deviations, so that the sets which lead are
//! ahead of all others by far, and whatever grows from them holds what explains most by
//! itself, be it true or not. Here sets grow from other single ones, each by what explains
//! most beside it.

use super::{EQUAL, Hunt, Proof, Space};

/// The part of [`super::Settings::effort`] that may go into it.
const PART: u64 = 4;

impl<S: Space> Hunt<'_, S> {
    /// Grows sets from the best single ones, where the best set leaves something to explain,
    /// or takes as many members as there may be: fewer others may do. True where one is
    /// better. Where one alone is proved the best, nothing grows.
    pub(super) fn begin_anew(&mut self, singles: &[f64], proof: &Proof) -> Result<bool, String> {
        let explains_all = self.best_explains_all()?;
        let size = self.found.first().map_or(0, |best| best.set.len());
        if explains_all && size < self.settings.most || size < proof.size {
            return Ok(false);
        }
        let known = self.best;
        let before = self.space.work();
        for (mut gain, one) in self.beginnings(singles) {
            let mut set = vec![one];
            while set.len() < self.settings.most {
                if self.space.work() - before > self.settings.effort / PART {
                    return Ok(self.best > known);
                }
                let Some((more, with)) = self.best_beside(&set, gain, singles)? else {
                    break;
                };
                set.push(more);
                set.sort_unstable();
                gain = with;
                self.keep(set.clone(), gain);
            }
        }
        Ok(self.best > known)
    }

    /// The best single ones and their gains, one of each that explain about as much.
    fn beginnings(&self, singles: &[f64]) -> Vec<(f64, usize)> {
        let least = self.settings.least_gain;
        let mut order: Vec<(f64, usize)> = singles.iter().copied().zip(0..).collect();
        order.retain(|(gain, _)| *gain > least);
        order.sort_by(|(a, x), (b, y)| b.total_cmp(a).then(x.cmp(y)));
        let mut begun: Vec<(f64, usize)> = Vec::new();
        for (gain, one) in order {
            if begun.len() == self.settings.beginnings {
                break;
            }
            let apart = |(last, _): &(f64, usize)| *last - gain > self.settings.negligible;
            if begun.last().is_none_or(apart) {
                begun.push((gain, one));
            }
        }
        begun
    }

    /// What explains most beside a set, and the gain with it; `None` where nothing adds
    /// enough.
    fn best_beside(
        &self,
        set: &[usize],
        gain: f64,
        singles: &[f64],
    ) -> Result<Option<(usize, f64)>, String> {
        let mut best: Option<(f64, usize, f64)> = None;
        // What explains much by itself shortens the rest.
        for more in self.open_to(set, singles)? {
            if !self.can_join(set, more) {
                continue;
            }
            let prior = self.space.ln_prior(more);
            let least = gain + self.settings.least_gain;
            let floor = best.map_or(least, |(weight, ..)| least.max(weight - prior + EQUAL));
            if gain + self.space.bound(more) < floor {
                continue;
            }
            let mut grown = set.to_vec();
            grown.push(more);
            if let Some(with) = self.gain_with(&grown, gain, singles, floor)? {
                best = Some((with + prior, more, with));
            }
        }
        Ok(best.map(|(_, more, with)| (more, with)))
    }
}

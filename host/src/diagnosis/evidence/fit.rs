//! How well a set of changes explains the readings.

use std::borrow::Cow;
use std::collections::BTreeSet;

use loomproof_core::expect::Band;
use loomproof_core::judge::LIMIT;
use loomproof_core::layout::Group;
use loomproof_core::wire::Step;

use super::changed::{Changed, Scope, Shares};
use super::{Evidence, Judged};
use crate::diagnosis::edits::Changes;
use crate::diagnosis::likelihood::{excess, gap, telling};

/// How well a set of changes explains the readings.
#[derive(Debug, Clone)]
pub struct Fit {
    /// Natural logarithm of the likelihood of all readings, less that of the
    /// healthy harness.
    pub gain: f64,
    /// The bands that differ from the healthy ones: index of the quantity, band.
    pub bands: Vec<(usize, Band)>,
    /// Quantities that are still out of their band.
    pub unexplained: Vec<usize>,
}

/// A stretch between two knots; see [`Evidence::stretches`].
#[derive(Debug, Clone)]
pub struct Stretch {
    /// Its number: that of the knot it begins at.
    pub number: u32,
    /// The most that can be gained in it, as is likely.
    pub likely: f64,
    /// What is gained at the corners of the knot it begins at, then at those of the next.
    pub corners: Vec<f64>,
}

impl Fit {
    /// The band of a quantity, where it differs from the healthy one.
    #[must_use]
    pub fn band(&self, quantity: usize) -> Option<Band> {
        let place = self
            .bands
            .binary_search_by_key(&quantity, |(index, _)| *index);
        place.ok().and_then(|at| self.bands.get(at)).map(|b| b.1)
    }
}

impl<'m> Evidence<'m> {
    /// What the bands of some changes gain by narrower spans, or lose by wider ones.
    fn gain_of_shares(&self, islands: &BTreeSet<Group>, shares: &Shares) -> f64 {
        let one = |island: &Group| {
            let now = shares.0.get(island).copied().unwrap_or(0.0);
            now - self.shares.get(island).copied().unwrap_or(0.0)
        };
        islands.iter().map(one).sum()
    }

    /// How well these changes explain the readings.
    ///
    /// Only quantities read in an island that they touch are computed again.
    ///
    /// # Errors
    /// A sentence that says what cannot be computed.
    pub fn fit(&self, changes: &Changes) -> Result<Fit, String> {
        let scope = self.scope_of(changes);
        let mut changed = Changed::new(self, &scope, Cow::Borrowed(changes));
        let mut affected = scope.affected.clone();
        affected.sort_unstable();
        let mut fit = Fit {
            gain: 0.0,
            bands: Vec::new(),
            unexplained: Vec::new(),
        };
        let mut affected = affected.into_iter().peekable();
        let mut shares = Shares::default();
        for (at, judged) in self.judged.iter().enumerate() {
            let mut band = judged.band;
            if affected.next_if_eq(&at).is_some()
                && let Some(step) = self.steps.get(judged.step)
            {
                band = changed.band(step, judged)?;
                fit.gain += judged.gain(&band);
                fit.bands.push((at, band));
                let [island, _] = judged.islands;
                shares.note(island, &band);
            }
            if excess(&band, judged.value) > LIMIT {
                fit.unexplained.push(at);
            }
        }
        fit.gain += self.gain_of_shares(&scope.islands, &shares);
        Ok(fit)
    }

    /// How many standard deviations each reading in the islands that these changes touch
    /// lies outside its band, below it with a minus sign; of readings that repeat each
    /// other each its part.
    ///
    /// # Errors
    /// A sentence that says what cannot be computed.
    pub fn deviations(&self, changes: &Changes) -> Result<Vec<f64>, String> {
        let scope = self.scope_of(changes);
        let mut changed = Changed::new(self, &scope, Cow::Borrowed(changes));
        let judged = scope.affected.iter().filter_map(|at| self.judged.get(*at));
        judged
            .filter_map(|judged| Some((judged, self.steps.get(judged.step)?)))
            .map(|(judged, step)| Ok(judged.deviation(&changed.band(step, judged)?)))
            .collect()
    }

    /// How much likelier these changes make the readings; `None` as soon as it
    /// is certain to be less than `floor`.
    ///
    /// # Errors
    /// A sentence that says what cannot be computed.
    pub fn gain(&self, changes: &Changes, floor: f64) -> Result<Option<f64>, String> {
        let mut shares = Shares::default();
        let scope = self.scope_of(changes);
        let mut changed = None;
        let gain = self.sum(&scope, floor, |judged, step| {
            let changed =
                changed.get_or_insert_with(|| Changed::new(self, &scope, Cow::Borrowed(changes)));
            let band = changed.band(step, judged)?;
            let [island, _] = judged.islands;
            shares.note(island, &band);
            Ok(judged.gain(&band))
        })?;
        let shares = self.gain_of_shares(&scope.islands, &shares);
        Ok(gain.map(|gain| gain + shares).filter(|gain| *gain >= floor))
    }

    /// The stretches between some knots and the next ones in which changes could gain
    /// `floor`; `enough` of them are enough.
    ///
    /// A knot is a list of changes, all the same but for resistances, that are
    /// the corners on its side of the stretch to the next knot; `knot` gives
    /// the one of a number from 0 to `stretches`.
    ///
    /// # Errors
    /// A sentence that says what cannot be computed.
    pub fn stretches(
        &self,
        stretches: u32,
        enough: usize,
        knot: impl Fn(u32) -> Vec<Changes>,
        floor: f64,
    ) -> Result<Vec<Stretch>, String> {
        let mut possible = Vec::new();
        let first = knot(0);
        let Some(changes) = first.first() else {
            return Ok(possible);
        };
        let scope = self.scope_of(changes);
        if scope.spare + scope.shares < floor {
            return Ok(possible);
        }
        let corners = |knot: Vec<Changes>| -> Vec<Changed<'_, 'm>> {
            let corner = |changes| Changed::new(self, &scope, Cow::Owned(changes));
            knot.into_iter().map(corner).collect()
        };
        let mut bands = Vec::new();
        let mut near = corners(first);
        for k in 0..stretches {
            // What was computed at a knot serves both stretches that meet there.
            let mut far = corners(knot(k + 1));
            let corners = near.iter_mut().chain(&mut far);
            let mut corners: Vec<_> = corners.map(|c| (c, 0.0, Shares::default())).collect();
            let mut likely = 0.0;
            let gain = self.sum(&scope, floor, |judged, step| {
                bands.clear();
                for (corner, gain, shares) in &mut corners {
                    let band = corner.band(step, judged)?;
                    bands.push(band);
                    *gain += judged.gain(&band);
                    let [island, _] = judged.islands;
                    shares.note(island, &band);
                }
                likely += judged.likely_between(&bands);
                let hull = bands.iter().copied().reduce(|hull, band| hull.hull(&band));
                Ok(hull.map_or(0.0, |hull| judged.best_in(&hull)))
            })?;
            if gain.is_some() {
                let corners = corners.iter().map(|(_, gain, shares)| {
                    let shares = self.gain_of_shares(&scope.islands, shares);
                    gain + shares
                });
                possible.push(Stretch {
                    number: k,
                    likely: likely + scope.shares,
                    corners: corners.collect(),
                });
                if possible.len() >= enough {
                    break;
                }
            }
            near = far;
        }
        Ok(possible)
    }

    fn sum(
        &self,
        scope: &Scope,
        floor: f64,
        mut one: impl FnMut(&Judged, &Step) -> Result<f64, String>,
    ) -> Result<Option<f64>, String> {
        let mut left = scope.spare + scope.shares;
        if left < floor {
            return Ok(None);
        }
        let mut gain = 0.0;
        for at in &scope.affected {
            let Some(judged) = self.judged.get(*at) else {
                continue;
            };
            let Some(step) = self.steps.get(judged.step) else {
                continue;
            };
            gain += one(judged, step)?;
            left -= judged.spare;
            if gain + left < floor {
                return Ok(None);
            }
        }
        Ok(Some(gain))
    }

    /// How far the worst reading is off under a fit, in standard deviations.
    #[must_use]
    pub fn worst(&self, fit: &Fit) -> f64 {
        let off = |(at, judged): (usize, &Judged)| {
            excess(&fit.band(at).unwrap_or(judged.band), judged.value)
        };
        self.judged.iter().enumerate().map(off).fold(0.0, f64::max)
    }

    /// Whether two fits predict the same for every reading, within three
    /// standard deviations.
    #[must_use]
    pub fn alike(&self, a: &Fit, b: &Fit) -> bool {
        let quantities: BTreeSet<usize> =
            a.bands.iter().chain(&b.bands).map(|(at, _)| *at).collect();
        let band = |fit: &Fit, at: usize| {
            let healthy = || self.judged.get(at).map(|judged| judged.band);
            fit.band(at).or_else(healthy)
        };
        quantities
            .into_iter()
            .all(|at| match (band(a, at), band(b, at)) {
                (Some(a), Some(b)) => gap(&a, &b) <= 3.0 * telling(&a, &b),
                _ => false,
            })
    }
}

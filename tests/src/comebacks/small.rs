//! Small cases, in which every order of asks can be tried.

use std::collections::BTreeSet;

use loomproof::comeback::next::settled;
use loomproof::comeback::split::{Answers, bits};
use loomproof::comeback::{Ask, Belief, Field, Inquiry, Position, belief};
use loomproof::powered::Cause;

use super::Workshop;

/// A small case: the first suspects and asks of a vehicle; expected effort of our way and
/// of the best there is.
///
/// # Errors
/// What cannot be computed.
pub fn small(workshop: &Workshop<'_>, causes: &[Cause]) -> Result<Option<(f64, f64)>, String> {
    let Some((_, mut inquiry, _)) = workshop.come_back(causes)? else {
        return Ok(None);
    };
    let all = inquiry.belief(&[])?;
    let (few, asks) = {
        let none = BTreeSet::new();
        let field = Field::new(&inquiry.asks, &inquiry.suspects, &all, &none);
        let groups = field.groups(&all);
        let few: Vec<usize> = groups
            .iter()
            .filter_map(|it| it.members.first().copied())
            .take(6)
            .collect();
        let mut worth = field.worth(&Position::default());
        worth.sort_by(|(_, a), (_, b)| b.bits.total_cmp(&a.bits));
        // Asks of different places: what is alike brings nothing.
        let mut asks: Vec<Ask> = Vec::new();
        for (_, proposal) in worth {
            let place = inquiry.asks.needs_open(&proposal.ask);
            let same = asks
                .iter()
                .filter(|it| inquiry.asks.needs_open(it) == place)
                .count();
            if same < 2 && asks.len() < 7 {
                asks.push(proposal.ask);
            }
        }
        (few, asks)
    };
    if few.len() < 3 {
        return Ok(None);
    }
    let suspects: Vec<_> = few
        .iter()
        .filter_map(|it| inquiry.suspects.get(*it).cloned())
        .collect();
    let weights: Vec<f64> = few
        .iter()
        .map(|it| all.shares.get(*it).copied().unwrap_or(0.0))
        .collect();
    let total: f64 = weights.iter().sum();
    let weights: Vec<f64> = weights.into_iter().map(|it| it / total).collect();
    inquiry.suspects = suspects;
    let case = Case {
        barred: inquiry
            .asks
            .list
            .iter()
            .filter(|it| !asks.contains(it))
            .copied()
            .collect(),
        inquiry: &inquiry,
        asks,
    };
    let position = Position::default();
    let best = case.best(&weights, &position, &mut Vec::new());
    let ours = case.ours(&weights, &position, 12);
    Ok((best > 0.0).then_some((ours, best)))
}

/// What a small case is played on.
struct Case<'c, 'j> {
    inquiry: &'c Inquiry<'j>,
    asks: Vec<Ask>,
    barred: BTreeSet<Ask>,
}

impl Case<'_, '_> {
    fn classes(&self, ask: &Ask, weights: &[f64]) -> Vec<Vec<f64>> {
        let at = belief::number(&self.inquiry.asks, ask).unwrap_or(0);
        let forecasts = self
            .inquiry
            .suspects
            .iter()
            .filter_map(|it| it.forecasts.get(at));
        Answers::new(ask.what, &forecasts.copied().collect::<Vec<_>>()).split(weights)
    }

    fn field(&self, weights: &[f64]) -> (Belief, f64) {
        let total: f64 = weights.iter().sum();
        let belief = Belief {
            shares: weights.iter().map(|it| it / total).collect(),
            unfit: vec![0; weights.len()],
        };
        (belief, total)
    }

    fn done(&self, weights: &[f64]) -> bool {
        let (belief, _) = self.field(weights);
        let inquiry = self.inquiry;
        let field = Field::new(&inquiry.asks, &inquiry.suspects, &belief, &self.barred);
        settled(&field.groups(&belief), 0)
    }

    /// The least expected effort, times the weight: every order of asks is tried.
    fn best(&self, weights: &[f64], position: &Position, used: &mut Vec<Ask>) -> f64 {
        if self.done(weights) {
            return 0.0;
        }
        let total: f64 = weights.iter().sum();
        let mut least = f64::INFINITY;
        for ask in &self.asks {
            if used.contains(ask) {
                continue;
            }
            let classes = self.classes(ask, weights);
            if bits(weights, &classes) < 0.02 {
                continue;
            }
            let mut sum = total
                * self
                    .inquiry
                    .asks
                    .effort(ask, position.setting, &position.open);
            let after = position.after(&self.inquiry.asks, ask);
            used.push(*ask);
            for class in &classes {
                if sum < least {
                    sum += self.best(class, &after, used);
                }
            }
            used.pop();
            least = least.min(sum);
        }
        // Nothing tells more.
        if least.is_finite() { least } else { 0.0 }
    }

    /// The expected effort of our way, times the weight.
    fn ours(&self, weights: &[f64], position: &Position, left: usize) -> f64 {
        if left == 0 || self.done(weights) {
            return 0.0;
        }
        let (belief, total) = self.field(weights);
        let inquiry = self.inquiry;
        let proposal = {
            let field = Field::new(&inquiry.asks, &inquiry.suspects, &belief, &self.barred);
            field.best(position)
        };
        let Some(proposal) = proposal else { return 0.0 };
        let after = position.after(&inquiry.asks, &proposal.ask);
        let classes = self.classes(&proposal.ask, weights);
        let rest = classes
            .iter()
            .map(|class| self.ours(class, &after, left - 1));
        total * proposal.effort + rest.sum::<f64>()
    }
}

//! Which ask tells most for its effort, and when enough is known.

use std::collections::BTreeSet;

use super::asks::{Ask, Asks, What};
use super::belief::{Belief, sigma};
use super::split::{APART, Answers, bits};
use super::suspects::{Forecast, Suspect};

/// How the vehicle stands: the switches, and which places are open.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Position {
    /// The state of the switches, by its number in [`Asks::settings`].
    pub setting: usize,
    /// Places that are open, by their numbers in [`Asks::places`].
    pub open: BTreeSet<usize>,
}

impl Position {
    /// After an ask.
    #[must_use]
    pub fn after(&self, asks: &Asks, ask: &Ask) -> Self {
        let mut after = self.clone();
        after.setting = ask.setting;
        after.open.extend(asks.needs_open(ask));
        after
    }
}

/// The ask that is proposed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Proposal {
    /// What to ask.
    pub ask: Ask,
    /// What it tells, in bits.
    pub bits: f64,
    /// What it costs.
    pub effort: f64,
}

/// Suspects that nothing that can be asked tells apart.
#[derive(Debug, Clone, PartialEq)]
pub struct Group {
    /// Its probability.
    pub share: f64,
    /// Suspects by number, most probable first.
    pub members: Vec<usize>,
    /// How many answers it leaves unexplained.
    pub unfit: usize,
}

/// With so many answers one of them may be wrong and the question be settled.
const MANY: usize = 4;

/// Whether the question is settled: one group has it, and at most one answer of many
/// speaks against it.
#[must_use]
pub fn settled(groups: &[Group], answers: usize) -> bool {
    groups.first().is_some_and(|best| {
        best.share >= ENOUGH && (best.unfit == 0 || (best.unfit == 1 && answers >= MANY))
    })
}

/// From this probability on the question is settled (common practice).
pub const ENOUGH: f64 = 0.95;

/// Suspects below this share are left out of the choice.
const NEGLIGIBLE: f64 = 5e-4;

/// Suspects that are weighed in the choice, at most.
const WEIGHED: usize = 250;

/// Up to so many suspects each of the best asks is followed to the end.
const FOLLOWED: usize = 40;

/// So many asks are followed to the end, with so many to choose from on the way.
const FOLLOWED_ASKS: usize = 8;
const CHOICE: usize = 48;

/// What is less probable than this is not followed: who says nothing is in every class,
/// so that there would be no end to them.
const UNFOLLOWED: f64 = 5e-3;

/// An ask that tells less than this is not worth its while, bits.
const WORTH: f64 = 0.02;

/// Whether nothing that can be asked tells two suspects apart.
#[must_use]
pub fn alike(asks: &Asks, one: &Suspect, other: &Suspect, barred: &BTreeSet<Ask>) -> bool {
    let both = one.forecasts.iter().zip(other.forecasts.iter());
    let both = both.zip(&asks.list);
    both.filter(|(_, ask)| !barred.contains(ask))
        .all(|((one, other), ask)| {
            if !one.known() || !other.known() {
                return one.known() == other.known();
            }
            match ask.what {
                What::Function(_) => {
                    let middle = |it: &Forecast| f32::midpoint(it.least, it.most);
                    (middle(one) - middle(other)).abs() < 0.6
                }
                What::Volts(_) => {
                    let gap = (one.least - other.most).max(other.least - one.most);
                    f64::from(gap) <= APART * sigma(one).max(sigma(other))
                }
            }
        })
}

/// The suspects that are still weighed.
pub struct Field<'f> {
    asks: &'f Asks,
    /// Numbers of the suspects.
    pub members: Vec<usize>,
    /// Their weights, sum one.
    pub weights: Vec<f64>,
    suspects: &'f [Suspect],
    /// The group of each member.
    homes: Vec<usize>,
    groups: usize,
    barred: &'f BTreeSet<Ask>,
}

impl<'f> Field<'f> {
    /// The field of a belief; asks in `barred` cannot be made.
    #[must_use]
    pub fn new(
        asks: &'f Asks,
        suspects: &'f [Suspect],
        belief: &Belief,
        barred: &'f BTreeSet<Ask>,
    ) -> Self {
        let mut order: Vec<usize> = (0..suspects.len()).collect();
        let share = |at: usize| belief.shares.get(at).copied().unwrap_or(0.0);
        order.sort_by(|a, b| share(*b).total_cmp(&share(*a)));
        order.retain(|at| share(*at) >= NEGLIGIBLE);
        order.truncate(WEIGHED);
        let total: f64 = order.iter().map(|at| share(*at)).sum();
        let mut field = Self {
            asks,
            weights: order.iter().map(|at| share(*at) / total).collect(),
            members: order,
            suspects,
            homes: Vec::new(),
            groups: 0,
            barred,
        };
        field.group();
        field
    }

    /// Finds who cannot be told apart.
    fn group(&mut self) {
        let mut leaders: Vec<usize> = Vec::new();
        let mut homes = Vec::with_capacity(self.members.len());
        for member in &self.members {
            let home = leaders
                .iter()
                .position(|leader| self.alike(*leader, *member));
            homes.push(home.unwrap_or(leaders.len()));
            if home.is_none() {
                leaders.push(*member);
            }
        }
        self.homes = homes;
        self.groups = leaders.len();
    }

    fn alike(&self, one: usize, other: usize) -> bool {
        match (self.suspects.get(one), self.suspects.get(other)) {
            (Some(one), Some(other)) => alike(self.asks, one, other, self.barred),
            _ => false,
        }
    }

    /// The groups, most probable first.
    #[must_use]
    pub fn groups(&self, belief: &Belief) -> Vec<Group> {
        let mut groups: Vec<Group> = (0..self.groups)
            .map(|home| {
                let own = self.members.iter().zip(&self.weights).zip(&self.homes);
                let own = own.filter(|(_, own)| **own == home);
                let unfit = |at: usize| belief.unfit.get(at).copied().unwrap_or(usize::MAX);
                Group {
                    share: own.clone().map(|((_, weight), _)| weight).sum(),
                    unfit: own
                        .clone()
                        .map(|((it, _), _)| unfit(*it))
                        .min()
                        .unwrap_or(0),
                    members: own.map(|((member, _), _)| *member).collect(),
                }
            })
            .collect();
        groups.sort_by(|a, b| b.share.total_cmp(&a.share));
        groups
    }

    /// What the members may answer to an ask.
    fn answers(&self, number: usize, what: What) -> Answers {
        let forecasts = self.members.iter().map(|member| {
            let forecasts = self.suspects.get(*member).map(|it| &it.forecasts);
            let forecast = forecasts.and_then(|all| all.get(number)).copied();
            forecast.unwrap_or(Forecast::UNKNOWN)
        });
        Answers::new(what, &forecasts.collect::<Vec<_>>())
    }

    /// Whether one group has it, among weights of the members.
    fn settled(&self, weights: &[f64]) -> bool {
        let mut shares = vec![0.0; self.groups];
        for (weight, home) in weights.iter().zip(&self.homes) {
            shares[*home] += weight;
        }
        let total: f64 = shares.iter().sum();
        shares.iter().any(|share| *share >= ENOUGH * total)
    }

    /// Every ask that tells something from here: what it tells, and what it costs.
    #[must_use]
    pub fn worth(&self, position: &Position) -> Vec<(usize, Proposal)> {
        let list = self.asks.list.iter().enumerate();
        let list = list.filter(|(_, ask)| !self.barred.contains(ask));
        let told = list.filter_map(|(number, ask)| {
            let classes = self.answers(number, ask.what).split(&self.weights);
            let proposal = Proposal {
                ask: *ask,
                bits: bits(&self.weights, &classes),
                effort: self.asks.effort(ask, position.setting, &position.open),
            };
            (proposal.bits > WORTH).then_some((number, proposal))
        });
        told.collect()
    }

    /// The ask that tells most for its effort; `None` where none tells anything.
    #[must_use]
    pub fn best(&self, position: &Position) -> Option<Proposal> {
        let mut worth = self.worth(position);
        let rate = |it: &Proposal| it.bits / it.effort;
        worth.sort_by(|(_, a), (_, b)| rate(b).total_cmp(&rate(a)));
        let first = worth.first()?.1;
        if self.members.len() > FOLLOWED || self.groups < 3 {
            return Some(first);
        }
        let best: Vec<(usize, Proposal)> = worth.iter().copied().take(FOLLOWED_ASKS).collect();
        // On the way: the best by their rate from here, and those that tell most of all.
        let mut telling = worth.clone();
        telling.sort_by(|(_, a), (_, b)| b.bits.total_cmp(&a.bits));
        let mut choice: Vec<Offer> = Vec::new();
        for (number, proposal) in worth.iter().take(CHOICE).chain(telling.iter().take(CHOICE)) {
            if !choice.iter().any(|(ask, _)| *ask == proposal.ask) {
                choice.push((proposal.ask, self.answers(*number, proposal.ask.what)));
            }
        }
        let followed = best.into_iter().map(|(number, proposal)| {
            let answers = self.answers(number, proposal.ask.what);
            let classes = answers.split(&self.weights);
            let after = position.after(self.asks, &proposal.ask);
            let rest = classes
                .iter()
                .map(|class| self.follow(class, &after, &choice, 12));
            (proposal.effort + rest.sum::<f64>(), proposal)
        });
        let best = followed.min_by(|(a, _), (b, _)| a.total_cmp(b));
        best.map(|(_, proposal)| proposal)
    }

    /// The effort, times the weight, that is still to come when the best ask by rate is
    /// made every time.
    fn follow(&self, weights: &[f64], position: &Position, choice: &[Offer], left: usize) -> f64 {
        let total: f64 = weights.iter().sum();
        if left == 0 || total < UNFOLLOWED || self.settled(weights) {
            return 0.0;
        }
        let mut best: Option<(f64, f64, &Ask, Vec<Vec<f64>>)> = None;
        for (ask, answers) in choice {
            let classes = answers.split(weights);
            let bits = bits(weights, &classes);
            let effort = self.asks.effort(ask, position.setting, &position.open);
            let rate = bits / effort;
            if bits > WORTH && best.as_ref().is_none_or(|(before, ..)| rate > *before) {
                best = Some((rate, effort, ask, classes));
            }
        }
        let Some((_, effort, ask, classes)) = best else {
            return 0.0;
        };
        let after = position.after(self.asks, ask);
        let rest = classes
            .iter()
            .map(|class| self.follow(class, &after, choice, left - 1));
        total * effort + rest.sum::<f64>()
    }
}

/// An ask with what every member may answer.
type Offer = (Ask, Answers);

//! What the answers say about the suspects.

use std::collections::BTreeSet;

use super::asks::{Ask, Asks, What};
use super::suspects::{Forecast, Suspect};

/// What came back.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Reply {
    /// A voltage.
    Volts {
        /// As read.
        volts: f64,
        /// Whoever read it is not sure.
        doubtful: bool,
    },
    /// Whether a function works.
    Works {
        /// It does.
        yes: bool,
        /// Whoever looked is not sure.
        doubtful: bool,
    },
    /// It cannot be read.
    NotPossible,
}

/// An answer to an ask.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Answer {
    /// What was asked.
    pub ask: Ask,
    /// What came back.
    pub reply: Reply,
}

/// One standard deviation of a voltage read with an ordinary meter: 0.5 % and three
/// digits of it (common practice), the vehicle's own drops, consumers that differ.
const FIXED: f64 = 0.08;
const PART: f64 = 0.015;

/// A doubtful reading is so much wider.
const DOUBT: f64 = 4.0;

/// One reading in so many is of another place or state than was asked for, or typed
/// wrongly; doubtful ones more often (common practice).
const WRONG: f64 = 0.01;
const DOUBTFUL_WRONG: f64 = 0.15;

/// What was looked at and is called sound is so after all (common practice).
const OVERLOOKED: f64 = 0.02;

/// A look counts as so many readings that do not fit: what was looked at is not named
/// again.
const SEEN: usize = 2;

/// The chance of any answer where the plan does not say: a voltage may be anything from
/// nothing to the battery's.
pub const UNSAID: f64 = 0.2;

/// One standard deviation of a reading that is forecast like this.
#[must_use]
pub fn sigma(forecast: &Forecast) -> f64 {
    let most = f64::from(forecast.least.abs().max(forecast.most.abs()));
    FIXED.hypot(PART * most)
}

/// The chance of a reply.
#[must_use]
pub fn chance(forecast: &Forecast, reply: &Reply) -> f64 {
    if *reply == Reply::NotPossible {
        return 1.0;
    }
    if !forecast.known() {
        return UNSAID;
    }
    let (least, most) = (f64::from(forecast.least), f64::from(forecast.most));
    match *reply {
        Reply::Volts { volts, doubtful } => {
            let (wider, wrong) = if doubtful {
                (DOUBT, DOUBTFUL_WRONG)
            } else {
                (1.0, WRONG)
            };
            let gap = (least - volts).max(volts - most).max(0.0);
            let far = gap / (sigma(forecast) * wider);
            // A wide forecast would have been right with many readings.
            let sharp = 1.0 / (1.0 + (most - least) / 2.0);
            ((-far * far / 2.0).exp() * sharp).max(wrong)
        }
        Reply::Works { yes, doubtful } => {
            let chance = f64::midpoint(least, most);
            let chance = if yes { chance } else { 1.0 - chance };
            let wrong = if doubtful { DOUBTFUL_WRONG } else { WRONG };
            wrong + (1.0 - 2.0 * wrong) * chance
        }
        Reply::NotPossible => 1.0,
    }
}

/// Whether a reply is what a forecast says, give or take.
#[must_use]
pub fn fits(forecast: &Forecast, reply: &Reply) -> bool {
    match reply {
        Reply::NotPossible => true,
        Reply::Volts { doubtful: true, .. } | Reply::Works { doubtful: true, .. } => true,
        _ => chance(forecast, reply) > WRONG * 2.0,
    }
}

/// Probabilities of the suspects.
#[derive(Debug, Clone, PartialEq)]
pub struct Belief {
    /// One for each suspect; they sum to one.
    pub shares: Vec<f64>,
    /// How many answers each does not explain; a look that found it sound counts as two.
    pub unfit: Vec<usize>,
}

impl Belief {
    /// Weighs suspects by answers, and by what was looked at and is sound (names of
    /// causes).
    #[must_use]
    pub fn new(
        asks: &Asks,
        suspects: &[Suspect],
        answers: &[Answer],
        cleared: &BTreeSet<String>,
    ) -> Self {
        let weights = weights(asks, suspects, answers, cleared);
        let total: f64 = weights.iter().sum();
        let numbers = numbers(asks, answers);
        let unfit = suspects.iter().map(|suspect| {
            let each = numbers.iter();
            let read = each.filter(|(at, reply)| !fits(&forecast(suspect, *at), reply));
            read.count() + SEEN * looked(suspect, cleared)
        });
        Self {
            shares: weights
                .iter()
                .map(|weight| if total > 0.0 { weight / total } else { 0.0 })
                .collect(),
            unfit: unfit.collect(),
        }
    }
}

/// How likely each suspect was before, times how well it explains the answers and what was
/// looked at; not normalised.
#[must_use]
pub fn weights(
    asks: &Asks,
    suspects: &[Suspect],
    answers: &[Answer],
    cleared: &BTreeSet<String>,
) -> Vec<f64> {
    let numbers = numbers(asks, answers);
    let each = suspects.iter().map(|suspect| {
        let read = numbers
            .iter()
            .map(|(at, reply)| chance(&forecast(suspect, *at), reply));
        let looks = i32::try_from(looked(suspect, cleared)).unwrap_or(i32::MAX);
        suspect.prior * OVERLOOKED.powi(looks) * read.product::<f64>()
    });
    each.collect()
}

fn numbers(asks: &Asks, answers: &[Answer]) -> Vec<(usize, Reply)> {
    let each = answers.iter();
    each.filter_map(|answer| Some((number(asks, &answer.ask)?, answer.reply)))
        .collect()
}

fn forecast(suspect: &Suspect, at: usize) -> Forecast {
    let forecast = suspect.forecasts.get(at).copied();
    forecast.unwrap_or(Forecast::UNKNOWN)
}

/// How many of its causes were looked at and are sound.
fn looked(suspect: &Suspect, cleared: &BTreeSet<String>) -> usize {
    let own = suspect.causes.iter();
    own.filter(|cause| !cleared.is_empty() && cleared.contains(&cause.name()))
        .count()
}

/// The number of an ask in the list.
#[must_use]
pub fn number(asks: &Asks, ask: &Ask) -> Option<usize> {
    let per = asks.list.len().checked_div(asks.settings.len())?;
    let within = match ask.what {
        What::Volts(site) => site,
        What::Function(_) => {
            let from = ask.setting * per + asks.sites.len();
            let rest = asks.list.get(from..(ask.setting + 1) * per)?;
            return Some(from + rest.iter().position(|other| other == ask)?);
        }
    };
    let at = ask.setting * per + within;
    (asks.list.get(at) == Some(ask)).then_some(at)
}

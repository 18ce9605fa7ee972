//! What the answers of one ask can be, and what they tell.

use super::asks::What;
use super::belief::{UNSAID, sigma};
use super::suspects::Forecast;

/// Levels further apart than so many standard deviations are told apart.
pub(super) const APART: f64 = 3.0;

/// A forecast that spans more than so many standard deviations counts as several levels.
const WIDE: f64 = 6.0;
const LEVELS: u32 = 6;

/// What every suspect forecasts for one ask, made ready to be split by any weights.
#[derive(Debug, Clone)]
pub struct Answers {
    known: Known,
    /// Suspects for which nothing is known.
    silent: Vec<usize>,
}

#[derive(Debug, Clone)]
enum Known {
    /// Yes or no: a suspect, and its chance of yes.
    Works(Vec<(usize, f64)>),
    /// A voltage: levels in rising order.
    Level(Vec<Level>),
}

#[derive(Debug, Clone, Copy)]
struct Level {
    volts: f64,
    sigma: f64,
    suspect: usize,
    /// How much of the suspect's weight it has.
    part: f64,
}

impl Answers {
    /// The forecasts of all suspects for one ask.
    #[must_use]
    pub fn new(what: What, forecasts: &[Forecast]) -> Self {
        let all = || forecasts.iter().enumerate();
        let known = || all().filter(|(_, it)| it.known());
        Self {
            known: match what {
                What::Function(_) => {
                    let chance = |it: &Forecast| f64::from(f32::midpoint(it.least, it.most));
                    Known::Works(known().map(|(at, it)| (at, chance(it))).collect())
                }
                What::Volts(_) => {
                    let mut levels: Vec<Level> =
                        known().flat_map(|(at, it)| levels(at, it)).collect();
                    levels.sort_by(|a, b| a.volts.total_cmp(&b.volts));
                    Known::Level(levels)
                }
            },
            silent: all()
                .filter(|(_, it)| !it.known())
                .map(|(at, _)| at)
                .collect(),
        }
    }

    /// For each class of answers, the weight with which each suspect gives it. Suspects
    /// without weight tell nothing, nor do they join what lies on both sides of them.
    #[must_use]
    pub fn split(&self, weights: &[f64]) -> Vec<Vec<f64>> {
        let count = weights.len();
        let weight = |at: usize| weights.get(at).copied().filter(|it| *it > 0.0);
        let mut classes: Vec<Vec<f64>> = Vec::new();
        match &self.known {
            Known::Works(all) => {
                let mut yes = vec![0.0; count];
                let mut no = vec![0.0; count];
                for (at, chance) in all {
                    if let Some(weight) = weight(*at) {
                        yes[*at] = weight * chance;
                        no[*at] = weight * (1.0 - chance);
                    }
                }
                classes.extend([yes, no]);
            }
            Known::Level(levels) => {
                let mut last: Option<Level> = None;
                for level in levels {
                    let Some(weight) = weight(level.suspect) else {
                        continue;
                    };
                    let apart = last.is_none_or(|last| {
                        level.volts - last.volts > APART * level.sigma.max(last.sigma)
                    });
                    if apart {
                        classes.push(vec![0.0; count]);
                    }
                    if let Some(class) = classes.last_mut() {
                        class[level.suspect] += weight * level.part;
                    }
                    last = Some(*level);
                }
            }
        }
        classes.retain(|class| class.iter().any(|weight| *weight > 0.0));
        self.unsaid(weights, &mut classes);
        classes
    }

    /// Who says nothing may answer anything: as everybody else, or something of its own.
    fn unsaid(&self, weights: &[f64], classes: &mut Vec<Vec<f64>>) {
        let silent = self.silent.iter().filter_map(|at| {
            let weight = weights.get(*at).copied()?;
            (weight > 0.0).then_some((*at, weight))
        });
        let silent: Vec<(usize, f64)> = silent.collect();
        if silent.is_empty() {
            return;
        }
        let masses: Vec<f64> = classes.iter().map(|class| class.iter().sum()).collect();
        let total: f64 = masses.iter().sum();
        let shared = if total > 0.0 { UNSAID } else { 0.0 };
        let mut other = vec![0.0; weights.len()];
        for (at, weight) in silent {
            for (class, mass) in classes.iter_mut().zip(&masses) {
                class[at] += weight * shared * mass / total;
            }
            other[at] = weight * (1.0 - shared);
        }
        classes.push(other);
    }
}

/// The levels of one suspect.
fn levels(suspect: usize, forecast: &Forecast) -> impl Iterator<Item = Level> + use<> {
    let (least, most) = (f64::from(forecast.least), f64::from(forecast.most));
    let sigma = sigma(forecast);
    let count = if most - least > WIDE * sigma {
        LEVELS
    } else {
        1
    };
    (0..count).map(move |at| Level {
        volts: least + (most - least) * (f64::from(at) + 0.5) / f64::from(count),
        sigma,
        suspect,
        part: 1.0 / f64::from(count),
    })
}

/// What a split tells, in bits.
#[must_use]
pub fn bits(weights: &[f64], classes: &[Vec<f64>]) -> f64 {
    let total: f64 = weights.iter().sum();
    if total <= 0.0 || classes.len() < 2 {
        return 0.0;
    }
    let mut sum = 0.0;
    for class in classes {
        let mass = class.iter().sum::<f64>();
        if mass <= 0.0 {
            continue;
        }
        sum -= mass * (mass / total).log2();
        for (own, weight) in class.iter().zip(weights) {
            // Whoever gives this answer only adds nothing.
            if *own > 0.0 && *weight > 0.0 && own != weight {
                sum += own * (own / weight).log2();
            }
        }
    }
    (sum / total).max(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn volts(least: f32, most: f32) -> Forecast {
        Forecast { least, most }
    }

    #[test]
    fn levels_that_lie_apart_are_told_apart() {
        let answers = Answers::new(
            What::Volts(0),
            &[volts(0.0, 0.0), volts(12.0, 12.1), volts(0.05, 0.1)],
        );
        let weights = [0.5, 0.25, 0.25];
        let classes = answers.split(&weights);
        assert_eq!(classes, [vec![0.5, 0.0, 0.25], vec![0.0, 0.25, 0.0]]);
        // Three quarters against a quarter: 0.811 bits (binary entropy).
        assert!((bits(&weights, &classes) - 0.811_278).abs() < 1e-6);
    }

    #[test]
    fn who_is_out_of_it_joins_nothing() {
        // The second spans what lies between the first and the third.
        let answers = Answers::new(
            What::Volts(0),
            &[volts(0.0, 0.0), volts(0.0, 1.0), volts(1.0, 1.0)],
        );
        assert_eq!(answers.split(&[0.5, 0.0, 0.5]).len(), 2);
    }

    #[test]
    fn who_says_nothing_may_answer_anything() {
        let answers = Answers::new(What::Function(0), &[volts(1.0, 1.0), Forecast::UNKNOWN]);
        let weights = [0.5, 0.5];
        let classes = answers.split(&weights);
        let whole: f64 = classes.iter().flatten().sum();
        assert!((whole - 1.0).abs() < 1e-12, "{classes:?}");
        assert!(classes.iter().all(|class| class.iter().sum::<f64>() > 0.0));
        assert_eq!(answers.split(&[0.5, 0.0]).len(), 1);
    }
}

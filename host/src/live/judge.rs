//! Compares what was observed with what the plan expects.

use loomproof_core::units::Volts;

use super::observe::Observed;
use super::rhythm::Rhythm;
use crate::plan::model::Signal;
use crate::powered::{Level, Shown};

/// One standard deviation of a voltage: what is fixed (two looks' noise and offset,
/// drops in the vehicle's own wires) and a part of the voltage (consumers differ by some
/// percent).
const FIXED: f64 = 0.04;
const PART: f64 = 0.005;

/// One standard deviation of a lead's scale (accuracy at 12 V, 76 mV: S54 of
/// `docs/probe-hardware.md`): the same in every reading of that lead.
const SCALE: f64 = 0.0063;

/// One standard deviation of a voltage behind the weak pull: the pull's and the
/// divider's tolerances, leakage of wet insulation.
const PULL_SIGMA: f64 = 0.15;

/// So many standard deviations outside what is expected is off.
pub const OFF: f64 = 5.0;

/// The most that one reading can speak for or against, in squares of its standard
/// deviation: beyond that it is wrong, and how wrong tells nothing more.
const MOST: f64 = 144.0;

/// Density of a normal distribution at its mean, for a standard deviation of 1.
const DENSITY: f64 = 0.398_942_280_401_432_7;

/// What a reading on a net of which the plan says nothing costs: it explains
/// everything a little, nothing well.
const UNKNOWN: f64 = 9.0;

/// What the commonest readings there cost: nothing holds it, it lies on chassis, or it
/// has the battery's voltage; one in four each (common practice).
const USUAL: f64 = 2.8;

/// What a reading costs that is as in the step before: most of what is in a vehicle does
/// not follow the switches that a job names (nine in ten, common practice).
const STAYS: f64 = 0.2;

/// Readings closer than this are the same one, where the plan says nothing of a net or
/// leaves room.
const CLOSE: Volts = Volts(0.5);

/// Rates may differ by this factor, on-times by this much, and still be what the plan
/// says (flashers: ±30 of 90 a minute, UN R53 6.3.8.1 quoted, read).
const RATE: f64 = 1.34;

/// How far an observation is from what is shown: the sum of squared deviations in
/// standard deviations, each bounded; and the largest one unbounded.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Distance {
    /// Sum of bounded squares.
    pub squares: f64,
    /// Largest deviation, in standard deviations.
    pub worst: f64,
}

impl Distance {
    fn add(&mut self, sigmas: f64) {
        self.squares += (sigmas * sigmas).min(MOST);
        self.worst = self.worst.max(sigmas);
    }

    /// Whether it is off.
    #[must_use]
    pub fn off(&self) -> bool {
        self.worst > OFF
    }
}

fn most(level: &Level) -> f64 {
    level.least.0.abs().max(level.most.0.abs())
}

/// Of a reading whose lead's scale is known.
fn sigma_scaled(level: &Level) -> f64 {
    FIXED.hypot(PART * most(level)).hypot(level.sigma.0)
}

fn sigma(level: &Level) -> f64 {
    sigma_scaled(level).hypot(SCALE * most(level))
}

/// What the room in a prediction costs: it says less than one that leaves none, the density
/// of a reading that may be anywhere in it is so much lower.
fn room(level: &Level) -> f64 {
    let width = (level.most - level.least).0 / sigma(level);
    2.0 * (1.0 + width * DENSITY).ln()
}

/// How far above a level, or below (less than nothing).
fn beyond(seen: Volts, level: &Level) -> f64 {
    (seen.0 - level.most.0).max(0.0) - (level.least.0 - seen.0).max(0.0)
}

fn apart(seen: Volts, level: &Level, sigma: f64) -> f64 {
    beyond(seen, level).abs() / sigma
}

/// Voltages of a point that are compared with what is shown.
fn compared<'s>(seen: &Observed, shown: &'s Shown) -> Vec<(Volts, &'s Level)> {
    match shown {
        Shown::Unknown => Vec::new(),
        Shown::Known {
            on, off, signal, ..
        } => {
            let steady = seen.rhythm == Rhythm::Steady && *signal == Signal::Steady;
            let low = (!steady).then_some((seen.off, off));
            [(seen.on, on)].into_iter().chain(low).collect()
        }
    }
}

/// The scale of a lead (1 + this) that suits its readings and its spread best; those that
/// are off have another reason.
fn scale(each: &[(&Observed, &Shown, Volts)]) -> f64 {
    let (mut share, mut weight) = (0.0, 1.0 / (SCALE * SCALE));
    for (seen, shown, _) in each {
        for (volts, level) in compared(seen, shown) {
            if apart(volts, level, sigma(level)) <= OFF {
                let own = sigma_scaled(level).powi(2);
                share += beyond(volts, level) * volts.0 / own;
                weight += volts.0 * volts.0 / own;
            }
        }
    }
    share / weight
}

/// How far what was seen is from what is shown.
#[must_use]
pub fn distance(seen: &Observed, shown: &Shown) -> Distance {
    let mut distance = Distance::default();
    match shown {
        Shown::Unknown => distance.squares = UNKNOWN,
        Shown::Known {
            on, pulled, signal, ..
        } => {
            for (volts, level) in compared(seen, shown) {
                distance.add(apart(volts, level, sigma(level)));
            }
            distance.squares += room(on);
            if !fits(seen.rhythm, *signal) {
                distance.add(2.0 * OFF);
            }
            if let (Some((_, up)), Some(level)) = (seen.pulled, pulled) {
                distance.add(apart(up, level, PULL_SIGMA.hypot(level.sigma.0)));
            }
        }
    }
    distance
}

/// How far the readings of one point are from what is shown of it, step by step, with the
/// battery's voltage in each. Its lead has one scale in all of them; what the plan does not
/// say is at least the same from step to step, or is not.
#[must_use]
pub fn distances<'o>(
    each: impl Iterator<Item = (&'o Observed, &'o Shown, Volts)>,
) -> Vec<Distance> {
    let each: Vec<(&Observed, &Shown, Volts)> = each.collect();
    let scale = scale(&each);
    let close = |one: Volts, other: Volts| (one.0 - other.0).abs() < CLOSE.0;
    let mut before: Option<&Observed> = None;
    let mut roomy: Option<(&Observed, &Level)> = None;
    let mut known = false;
    let each = each.into_iter().map(|(seen, shown, battery)| {
        if let Shown::Known { on, .. } = shown {
            let mut distance = distance(seen, shown);
            // Where in its room a point lies is one thing that is not known, not one in
            // every step.
            let again = roomy.is_some_and(|(before, level)| {
                let same = close(level.least, on.least) && close(level.most, on.most);
                same && close(before.on, seen.on)
            });
            if again {
                distance.squares -= room(on);
            }
            roomy = Some((seen, on));
            for (volts, level) in compared(seen, shown) {
                let alone = apart(volts, level, sigma(level));
                let scaled = Volts(volts.0 * (1.0 - scale));
                let together = apart(scaled, level, sigma_scaled(level));
                let bounded = |sigmas: f64| (sigmas * sigmas).min(MOST);
                distance.squares += bounded(together) - bounded(alone);
            }
            if !std::mem::replace(&mut known, true) {
                distance.squares += (scale / SCALE).powi(2);
            }
            return distance;
        }
        let stays = before.is_some_and(|before| {
            before.floats() == seen.floats()
                && before.rhythm == seen.rhythm
                && (seen.floats() || close(before.on, seen.on) && close(before.off, seen.off))
        });
        let usual = seen.rhythm == Rhythm::Steady
            && (seen.floats() || close(seen.on, Volts(0.0)) || close(seen.on, battery));
        before = Some(seen);
        Distance {
            squares: match (stays, usual) {
                (true, _) => STAYS,
                (false, true) => USUAL,
                (false, false) => UNKNOWN,
            },
            worst: 0.0,
        }
    });
    each.collect()
}

/// Whether a rhythm is what the plan says.
#[must_use]
pub fn fits(rhythm: Rhythm, signal: Signal) -> bool {
    let near = |one: f64, other: f64| one < other * RATE && other < one * RATE;
    match (rhythm, signal) {
        (Rhythm::Steady, Signal::Steady) => true,
        (Rhythm::Flashing { per_minute, .. }, Signal::Flashing { rate, .. }) => {
            near(per_minute, rate.0)
        }
        (Rhythm::Dimmed { hertz, .. }, Signal::Dimmed { rate, .. }) => near(hertz, rate.0),
        _ => false,
    }
}

/// Whether no observation could tell two predictions apart.
#[must_use]
pub fn alike(one: &Shown, other: &Shown) -> bool {
    let (
        Shown::Known {
            on,
            off,
            pulled,
            signal,
        },
        Shown::Known {
            on: on2,
            off: off2,
            pulled: pulled2,
            signal: signal2,
        },
    ) = (one, other)
    else {
        // What is not known is like anything.
        return true;
    };
    let near = |a: &Level, b: &Level, sigma: f64| {
        let gap = (a.least.0 - b.most.0).max(b.least.0 - a.most.0);
        gap <= 3.0 * sigma
    };
    near(on, on2, sigma(on))
        && near(off, off2, sigma(off))
        && signal == signal2
        && match (pulled, pulled2) {
            (Some(a), Some(b)) => near(a, b, PULL_SIGMA),
            _ => true,
        }
}

#[cfg(test)]
mod tests {
    use super::*;
    use loomproof_core::wire::LeadId;

    fn seen(volts: f64) -> Observed {
        Observed {
            lead: LeadId(0),
            on: Volts(volts),
            off: Volts(volts),
            pulled: None,
            rhythm: Rhythm::Steady,
        }
    }

    fn shown(least: f64, most: f64) -> Shown {
        let level = Level {
            least: Volts(least),
            most: Volts(most),
            sigma: Volts(0.0),
        };
        Shown::Known {
            on: level,
            off: level,
            pulled: None,
            signal: Signal::Steady,
        }
    }

    /// What all readings of a point cost together.
    fn cost(readings: &[f64], shown: &Shown) -> f64 {
        let seen: Vec<Observed> = readings.iter().map(|volts| seen(*volts)).collect();
        let each = seen.iter().map(|seen| (seen, shown, Volts(12.0)));
        let distances = distances(each);
        distances.iter().map(|it| it.squares).sum()
    }

    #[test]
    fn the_scale_of_a_lead_counts_once() {
        let level = shown(12.0, 12.0);
        // 2 % high is 3.2 standard deviations of a lead's scale.
        let one = cost(&[12.24], &level);
        let eight = cost(&[12.24; 8], &level);
        assert!(eight < 12.0, "{eight}, and {one} for one reading");
        // What jumps is no scale.
        let jumps = cost(
            &[12.24, 11.76, 12.24, 11.76, 12.24, 11.76, 12.24, 11.76],
            &level,
        );
        assert!(jumps > 40.0, "{jumps}");
        // What is off is off, however often.
        assert!(cost(&[0.0; 8], &level) > 8.0 * 100.0);
    }

    #[test]
    fn what_the_plan_does_not_say_is_one_thing_as_long_as_it_stays() {
        let silent = cost(&[0.0; 8], &Shown::Unknown);
        assert!((silent - (USUAL + 7.0 * STAYS)).abs() < 1e-9, "{silent}");
        let other = cost(&[5.0; 8], &Shown::Unknown);
        assert!((other - (UNKNOWN + 7.0 * STAYS)).abs() < 1e-9, "{other}");
        let changes = cost(&[5.0, 8.0, 5.0, 8.0], &Shown::Unknown);
        assert!((changes - 4.0 * UNKNOWN).abs() < 1e-9, "{changes}");
    }

    #[test]
    fn room_in_a_prediction_counts_once_where_the_reading_stays() {
        let wide = shown(1.0, 11.0);
        let (one, four) = (cost(&[5.0], &wide), cost(&[5.0; 4], &wide));
        assert!(one > 4.0 && (four - one).abs() < 1e-9, "{one}, {four}");
        let moves = cost(&[5.0, 8.0, 5.0, 8.0], &wide);
        assert!((moves - 4.0 * one).abs() < 1e-9, "{moves}");
    }
}

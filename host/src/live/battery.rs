//! The battery's voltage, by the points that the plan feeds directly.

use loomproof_core::units::Volts;

use super::causes::Course;
use super::observe::Observed;
use crate::powered::Shown;

/// The lowest and highest voltage of a 12 V battery in service (from memory: 9 to
/// 16 V, ISO 16750-2), as parts of the nominal voltage.
const IN_SERVICE: (f64, f64) = (9.0 / 12.0, 16.0 / 12.0);

/// What is farther than this from the highest readings, as a part of them, is not the
/// battery's voltage: six standard deviations of a lead's accuracy.
const SAME: f64 = 0.04;

/// The most that a battery in good order sags or rises between steps, as a part of its
/// voltage: what differs by more has another reason (common practice: 0.3 V under the
/// loads of one vehicle's switches).
const SAGS: f64 = 0.025;

/// What this share of the supply at least is a point that the plan feeds directly.
const FED: f64 = 0.98;

/// What the battery had while a check went on.
#[derive(Debug, Clone, PartialEq)]
pub struct Battery {
    /// The middle of all steps.
    pub middle: Volts,
    /// In each step.
    pub steps: Vec<Volts>,
}

fn median(mut all: Vec<f64>) -> Option<f64> {
    all.sort_by(f64::total_cmp);
    all.get(all.len() / 2).copied()
}

impl Battery {
    /// From what was seen, and what is expected at the supply's nominal voltage.
    ///
    /// The middle is that of what is read at points that the plan feeds, without those
    /// that are well below the highest: they may be fed another way, because theirs is
    /// dead. How a step differs from it say the points that are fed in every step, each
    /// by its own readings: so a lead's scale is no sag.
    #[must_use]
    pub fn of(healthy: &Course, seen: &[Vec<Observed>], supply: Volts) -> Self {
        let fed: Vec<Vec<Option<f64>>> = seen
            .iter()
            .zip(healthy)
            .map(|(seen, shown)| seen.iter().zip(shown))
            .map(|step| step.map(|(seen, shown)| fed(seen, shown, supply)).collect())
            .collect();
        let mut all: Vec<f64> = fed.iter().flatten().flatten().copied().collect();
        all.sort_by(f64::total_cmp);
        let high = all.get(all.len() * 9 / 10).copied().unwrap_or(supply.0);
        let same = |volts: f64| (volts - high).abs() < high * SAME;
        all.retain(|volts| same(*volts));
        let middle = median(all).unwrap_or(supply.0);

        let points = fed.first().map_or(0, Vec::len);
        let always = (0..points).filter_map(|point| {
            let each = fed.iter().map(|step| step.get(point).copied().flatten());
            let each: Vec<f64> = each.collect::<Option<_>>()?;
            let own = median(each.clone())?;
            same(own).then(|| each.iter().map(|volts| volts / own).collect::<Vec<f64>>())
        });
        let always: Vec<Vec<f64>> = always.collect();
        let steps = (0..fed.len()).map(|step| {
            let shares = always.iter().filter_map(|point| point.get(step).copied());
            let share = median(shares.collect());
            let share = share.filter(|share| (share - 1.0).abs() < SAGS);
            Volts(middle * share.unwrap_or(1.0))
        });
        Self {
            middle: Volts(middle),
            steps: steps.collect(),
        }
    }
}

/// What is read at a point that the plan feeds directly, where it may be the battery's.
fn fed(seen: &Observed, shown: &Shown, supply: Volts) -> Option<f64> {
    let full = matches!(shown, Shown::Known { on, .. } if on.least.0 > supply.0 * FED);
    let span = supply.0 * IN_SERVICE.0..supply.0 * IN_SERVICE.1;
    (full && span.contains(&seen.on.0)).then_some(seen.on.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::live::Rhythm;
    use crate::plan::model::Signal;
    use crate::powered::Level;
    use loomproof_core::wire::LeadId;

    const SUPPLY: Volts = Volts(12.0);

    fn seen(volts: &[f64]) -> Vec<Observed> {
        let each = (0..).zip(volts).map(|(lead, volts)| Observed {
            lead: LeadId(lead),
            on: Volts(*volts),
            off: Volts(*volts),
            pulled: None,
            rhythm: Rhythm::Steady,
        });
        each.collect()
    }

    fn shown(volts: &[f64]) -> Vec<Shown> {
        let levels = volts.iter().map(|volts| Level {
            least: Volts(*volts),
            most: Volts(*volts),
            sigma: Volts(0.0),
        });
        let each = levels.map(|level| Shown::Known {
            on: level,
            off: level,
            pulled: None,
            signal: Signal::Steady,
        });
        each.collect()
    }

    fn close(one: Volts, other: f64) {
        assert!((one.0 - other).abs() < 1e-3, "{one:?}, not {other}");
    }

    #[test]
    fn the_middle_leaves_out_what_is_fed_another_way() {
        let healthy = vec![shown(&[12.0, 12.0, 12.0, 0.0, 12.0])];
        // A lead with a scale error, one whose own feed is dead, one that is dead.
        let seen = vec![seen(&[12.6, 12.7, 11.4, 12.6, 0.0])];
        close(Battery::of(&healthy, &seen, SUPPLY).middle, 12.7);
        let none = Battery::of(&vec![shown(&[0.0])], &[super::tests::seen(&[12.6])], SUPPLY);
        close(none.middle, 12.0);
    }

    #[test]
    fn a_battery_sags_where_all_that_is_always_fed_does() {
        let healthy = vec![
            shown(&[12.0, 12.0, 12.0, 0.0]),
            shown(&[12.0, 12.0, 12.0, 12.0]),
            shown(&[12.0, 12.0, 12.0, 0.0]),
        ];
        // The fourth point is on a lead that reads high: that is no rise.
        let readings = vec![
            seen(&[12.5, 12.6, 12.55, 0.0]),
            seen(&[12.4, 12.5, 12.45, 12.6]),
            seen(&[12.5, 12.6, 12.55, 0.0]),
        ];
        let battery = Battery::of(&healthy, &readings, SUPPLY);
        close(Volts(battery.steps[0].0 - battery.steps[1].0), 0.1);
        close(battery.steps[0], battery.steps[2].0);
        // One point that drops alone is a joint.
        let mut readings = readings;
        readings[1] = seen(&[12.5, 12.2, 12.55, 12.6]);
        let battery = Battery::of(&healthy, &readings, SUPPLY);
        close(battery.steps[1], battery.steps[0].0);
        // What drops by a volt is no sag.
        readings[1] = seen(&[11.5, 11.6, 11.55, 11.7]);
        let battery = Battery::of(&healthy, &readings, SUPPLY);
        close(battery.steps[1], battery.middle.0);
    }
}

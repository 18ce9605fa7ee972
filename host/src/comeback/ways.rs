//! The ways in which a cause can be: how many ohms, and what that does to fuses.

use loomproof_core::units::Volts;

use super::suspects::Reckoner;
use crate::bench::Upset;
use crate::plan::model::Job;
use crate::powered::causes::two_digits;
use crate::powered::{Cause, Powered, Scenario, Scope, Settled};

/// Ranges of ohms that a bad joint is tried in: what a motor drops a tenth of a volt
/// on, what keeps a relay from pulling in, what keeps a buzzer silent.
const OHMS: [f64; 5] = [0.06, 0.5, 5.0, 50.0, 2_000.0];

/// Ranges of a feed that is too low, as parts of the supply.
const LOW: [f64; 3] = [0.3, 0.6, 0.9];

/// So many values of a range are looked at where its ends do not do the same.
const STEPS: usize = 5;

/// One way in which a cause can be: its least and its worst, and the part of the cause's
/// prior that it has.
pub type Way = (Cause, Vec<Scenario>, f64);

/// A range of a cause's ohms or volts.
struct Range {
    /// The cause with what is in the middle.
    cause: Cause,
    /// The scenarios that span it.
    whole: Vec<Scenario>,
    /// From its least to its worst.
    series: Vec<Scenario>,
    /// The part of the prior that it has.
    part: f64,
}

/// A cause in the ranges of its ohms or volts.
fn ranges(job: &Job, powered: &Powered, cause: &Cause) -> Vec<Range> {
    let between = |values: &[f64], make: &dyn Fn(f64) -> Option<Cause>| {
        let parts = values.len().saturating_sub(1).max(1);
        let pairs = values.windows(2).filter_map(|pair| {
            let [low, high] = *pair else { return None };
            let values = steps().map(|step| low * (high / low).powf(step));
            let series = values.map(|value| make(value)?.scenario(powered, job));
            let series: Vec<Scenario> = series.collect::<Option<_>>()?;
            Some(Range {
                cause: make((low * high).sqrt())?,
                whole: vec![series.first()?.clone(), series.last()?.clone()],
                series,
                part: 1.0 / parts as f64,
            })
        });
        pairs.collect::<Vec<_>>()
    };
    match cause {
        Cause::Wiring(fault) if fault.ohms().is_some() => between(&OHMS, &|ohms| {
            fault.with_ohms(two_digits(ohms)).map(Cause::Wiring)
        }),
        Cause::Upset(Upset::Voltage(name, _)) => between(&LOW, &|part| {
            let volts = Volts((job.supply.0 * part * 10.0).round() / 10.0);
            Some(Cause::Upset(Upset::Voltage(name.clone(), volts)))
        }),
        _ => {
            let scenario = cause.scenario(powered, job).into_iter();
            let range = scenario.map(|scenario| Range {
                cause: cause.clone(),
                series: steps().map(|step| scenario.touching(step)).collect(),
                whole: vec![scenario],
                part: 1.0,
            });
            range.collect()
        }
    }
}

/// The steps from the least (0) to the greatest (1) of a range.
fn steps() -> impl Iterator<Item = f64> {
    (0..STEPS).map(|step| step as f64 / (STEPS - 1) as f64)
}

impl Reckoner<'_> {
    /// The ways in which a cause can be: by ranges of its ohms or volts, taken apart where
    /// relays and fuses rest otherwise, and by which of two fuses one behind the other
    /// blows first.
    ///
    /// # Errors
    /// A sentence that says what cannot be computed.
    pub fn ways(&mut self, job: &Job, cause: &Cause) -> Result<Vec<Way>, String> {
        let mut ways = Vec::new();
        for range in ranges(job, self.solver.powered(), cause) {
            let Some(first) = range.whole.first() else {
                continue;
            };
            let touched = self.solver.touched(first);
            let scope = self.solver.scope(&touched);
            let rests = self.used(&scope, first)?;
            let mut alike = true;
            for scenario in range.whole.iter().skip(1) {
                alike &= self.used(&scope, scenario)? == rests;
            }
            // Of a touch the least is tried first: if that blows nothing, nothing does.
            let blows = rests.iter().any(Settled::blew);
            if alike && !blows {
                ways.push((range.cause, range.whole, range.part));
                continue;
            }
            let spared = |way: &Scenario| Scenario {
                spares_own: true,
                ..way.clone()
            };
            let either = blows && self.used(&scope, &spared(first))? != rests;
            let mut apart = self.apart(&scope, &range.series)?;
            if either {
                let series: Vec<Scenario> = range.series.iter().map(spared).collect();
                apart.extend(self.apart(&scope, &series)?);
            }
            let part = range.part * if either { 0.5 } else { 1.0 };
            let apart = apart.into_iter();
            ways.extend(apart.map(|(ends, own)| (range.cause.clone(), ends, part * own)));
        }
        Ok(ways)
    }

    /// The stretches of a series of scenarios in which relays and fuses rest alike: the
    /// ends of each, and the part of the series that it is.
    fn apart(
        &mut self,
        scope: &Scope,
        series: &[Scenario],
    ) -> Result<Vec<(Vec<Scenario>, f64)>, String> {
        let mut stretches: Vec<(Vec<Settled>, Vec<Scenario>, f64)> = Vec::new();
        let each = 1.0 / series.len() as f64;
        for scenario in series {
            let rests = self.used(scope, scenario)?;
            match stretches.last_mut() {
                Some((known, ends, part)) if *known == rests => {
                    ends.truncate(1);
                    ends.extend((ends[..] != [scenario.clone()]).then(|| scenario.clone()));
                    *part += each;
                }
                _ => stretches.push((rests, vec![scenario.clone()], each)),
            }
        }
        let stretches = stretches.into_iter();
        Ok(stretches.map(|(_, ends, part)| (ends, part)).collect())
    }
}

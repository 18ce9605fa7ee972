//! Upsets by what they act on, put into the harness.

use super::Upset;
use crate::bench::error::BenchError;
use crate::bench::harness::{Fitted, Values, Who};
use crate::bench::scene::Wave;
use crate::bench::stored::Charge;
use loomproof_core::units::{Hertz, Ohms, PerMinute, Volts};
use std::collections::{BTreeMap, BTreeSet};

/// Upsets sorted by what they act on.
#[derive(Debug, Clone, Default)]
pub(in crate::bench) struct Upsets {
    list: Vec<Upset>,
    /// Capacitors that still hold a charge.
    pub(in crate::bench) charges: Vec<Charge>,
    pub(in crate::bench) dead: BTreeSet<String>,
    pub(in crate::bench) no_ground: BTreeSet<String>,
    pub(in crate::bench) stuck: BTreeMap<String, String>,
    pub(in crate::bench) out: BTreeSet<String>,
    /// A minute or Hz, as the signal is.
    pub(in crate::bench) rates: BTreeMap<String, f64>,
    /// V.
    pub(in crate::bench) volts: BTreeMap<String, f64>,
}

impl Upsets {
    pub(in crate::bench) fn charged(charges: &[Charge]) -> Self {
        Self {
            charges: charges.to_vec(),
            ..Self::default()
        }
    }

    pub(in crate::bench) fn of(upsets: &[Upset]) -> Self {
        let mut sorted = Self {
            list: upsets.to_vec(),
            ..Self::default()
        };
        for upset in upsets.iter().cloned() {
            match upset {
                Upset::DeadFeed(name) => {
                    sorted.dead.insert(name);
                }
                Upset::NoGround(name) => {
                    sorted.no_ground.insert(name);
                }
                Upset::Stuck { switch, state } => {
                    sorted.stuck.insert(switch, state);
                }
                Upset::BulbOut(name) => {
                    sorted.out.insert(name);
                }
                Upset::WrongFlash(name, PerMinute(rate)) | Upset::WrongDim(name, Hertz(rate)) => {
                    sorted.rates.insert(name, rate);
                }
                Upset::Voltage(name, Volts(volts)) => {
                    sorted.volts.insert(name, volts);
                }
                Upset::Intermittent { .. } => {}
            }
        }
        sorted
    }

    /// Does what shows without the battery to the harness, and says when joints
    /// open.
    pub(in crate::bench) fn fit(
        &self,
        fitted: &mut Fitted<'_>,
        values: &Values<'_>,
    ) -> Result<Vec<Wave>, BenchError> {
        let mut waves = Vec::new();
        for upset in &self.list {
            let who = Who::new(upset.to_string());
            if let Err(why) = upset.check(fitted.job) {
                return who.senseless(why);
            }
            match upset {
                Upset::BulbOut(name) if upset.shows_dead(fitted.job) => {
                    fitted.take_out(name, &who)?;
                }
                Upset::Intermittent {
                    joint,
                    gap,
                    every,
                    ohms,
                } => {
                    fitted.check_joint(joint, &who)?;
                    let more = ohms.map_or(f64::INFINITY, Ohms::value);
                    if fitted
                        .gaps
                        .insert(joint.clone(), (waves.len(), more))
                        .is_some()
                    {
                        return who.senseless("that joint opens already; name each joint once");
                    }
                    let label = format!("intermittent {} {:?}", joint.place(), joint.keys());
                    let first = values.first_gap(&label, every.as_secs_f64());
                    waves.push(Wave {
                        first: (first * 1e9).round() as u64,
                        period: every.as_nanos() as f64,
                        on: gap.as_nanos() as f64,
                    });
                }
                _ => {}
            }
        }
        Ok(waves)
    }
}

//! A scan that the probe refused, in words.

use loomproof_core::units::Volts;
use loomproof_core::wire::{ChassisCheck, LeadId, Refusal};

use super::Stop;
use super::report::{FaultReport, GroupReport, Refused, Report, Verdict};
use super::verdict::fault_report;
use crate::diagnosis::words::Speaker;
use crate::fault::Fault;
use crate::fault::kinds::Live;
use crate::hookup::Hookup;
use crate::plan::model::Job;

/// Enters into a report why the probe would not drive.
pub(super) fn refuse(report: &mut Report, job: &Job, hookup: &Hookup, stop: &Stop) {
    let speaker = Speaker::new(job);
    report.verdict = Verdict::Refused;
    let volts = |mv: i32| f64::from(mv) / 1000.0;
    let battery_off = "Nothing is driven. Disconnect the battery, wait as the vehicle maker's \
                       service information says, and ring out again.";
    let (say, act) = match stop.refusal {
        Refusal::Live(lead, mv) => {
            report
                .groups
                .extend(live_group(speaker, hookup, stop, (lead, mv)));
            let at = hookup
                .point(lead)
                .map_or_else(|| lead.to_string(), |p| speaker.point(p));
            let others: Vec<String> = stop
                .live
                .iter()
                .filter(|(other, _)| *other != lead)
                .map(|(other, mv)| {
                    format!("{} {:.1} V", speaker.probe_lead(hookup, *other), volts(*mv))
                })
                .collect();
            let mut say = format!("{lead} is live: {:.1} V at {at}.", volts(mv));
            if !others.is_empty() {
                say.push_str(&format!(
                    " Live as well, perhaps fed from there: {}.",
                    others.join(", ")
                ));
            }
            (say, battery_off.to_owned())
        }
        Refusal::Moves(lead, first, second) => {
            let at = hookup
                .point(lead)
                .map_or_else(|| lead.to_string(), |p| speaker.point(p));
            (
                format!(
                    "{lead} does not hold still: {:.2} V, then {:.2} V at {at}. Something is \
                     powered, or a charge is draining away.",
                    volts(first),
                    volts(second)
                ),
                battery_off.to_owned(),
            )
        }
        Refusal::Chassis(ChassisCheck::Voltage(mv)) => (
            format!(
                "There are {:.2} V between the two chassis leads.",
                volts(mv)
            ),
            "One of them is not on chassis. Put both on bare chassis metal; on the bench clip \
             them to each other."
                .to_owned(),
        ),
        Refusal::Chassis(_) => (
            "The two chassis leads do not sit on one piece of metal.".to_owned(),
            "Put both on bare, clean chassis metal; on the bench clip them to each other."
                .to_owned(),
        ),
        Refusal::Tripped => (
            "A voltage came onto a lead during the test and the probe let go of everything."
                .to_owned(),
            battery_off.to_owned(),
        ),
        other => (
            format!("The probe would not go on ({other:?})."),
            "Unplug the probe, plug it in again, and ring out again.".to_owned(),
        ),
    };
    report.refusal = Some(Refused { say, act });
}

/// The live places that stand at one level: the looks cannot tell which of them
/// the voltage comes from, protection resistors being good to ±0.5 %.
fn live_group(
    speaker: Speaker<'_>,
    hookup: &Hookup,
    stop: &Stop,
    named: (LeadId, i32),
) -> Option<GroupReport> {
    let level = |mv: i32| mv.unsigned_abs() >= named.1.unsigned_abs() / 100 * 99;
    let others = stop
        .live
        .iter()
        .filter(|(lead, mv)| *lead != named.0 && level(*mv));
    let sets: Vec<Vec<FaultReport>> = std::iter::once(&named)
        .chain(others)
        .filter_map(|(lead, mv)| {
            let volts = (f64::from(*mv) / 100.0).round() / 10.0;
            let fault = Fault::Live(Live {
                end: hookup.point(*lead)?.end(),
                volts: Volts(volts),
            });
            Some(vec![fault_report(speaker, &fault)])
        })
        .collect();
    (!sets.is_empty()).then_some(GroupReport {
        probability: 1.0,
        explains_all: true,
        because: Vec::new(),
        // By the looks alone each is as likely as the others.
        shares: vec![1.0 / sets.len().max(1) as f64; sets.len()],
        sets,
    })
}

//! From a finished scan to its report.

use loomproof_core::expect::Band;
use loomproof_core::judge::{Judgement, Value};
use loomproof_core::scan::Purpose;
use loomproof_core::wire::{ChassisCheck, Hello, LeadId, Place, Refusal, SenseMode};

use super::hand_checks::hand_checks;
use super::report::{
    CoverageReport, FaultName, FaultReport, GroupReport, NextReading, ProbeReport, ReadingReport,
    Refused, Report, Undecided, Verdict,
};
use super::{Outcome, Stop, Taken};
use crate::circuit::Model;
use crate::diagnosis::coverage::{Covered, coverage};
use crate::diagnosis::evidence::{Evidence, Judged};
use crate::diagnosis::groups::{Group, group};
use crate::diagnosis::next::{Next, next};
use crate::diagnosis::search::search;
use crate::diagnosis::words::Speaker;
use crate::fault::{Fault, catalogue};
use crate::hookup::Hookup;
use crate::plan::model::Job;

/// One reading in so many may stray without an explanation being lost.
const STRAY: usize = 20;

/// How many groups are reported.
const GROUPS: usize = 5;

/// Judges a finished scan and explains what is off.
///
/// # Errors
/// A sentence that says what cannot be computed.
pub fn report(
    job: &Job,
    hookup: &Hookup,
    model: &Model,
    probe: &Hello,
    outcome: &Outcome,
) -> Result<Report, String> {
    let covered = coverage(model, &catalogue::all(job, hookup))?;
    report_covered(job, hookup, model, &covered, probe, outcome)
}

/// As [`report`], with the coverage of the whole catalogue computed before:
/// for many ring-outs of one hook-up.
///
/// # Errors
/// As [`report`].
pub fn report_covered(
    job: &Job,
    hookup: &Hookup,
    model: &Model,
    covered: &[Covered],
    probe: &Hello,
    outcome: &Outcome,
) -> Result<Report, String> {
    let mut report = Report {
        verdict: Verdict::Pass,
        title: job.title.clone(),
        place: place_word(hookup.place).to_owned(),
        plan_digest: job.digest.clone(),
        answers: job.answers.clone(),
        probe: ProbeReport {
            board: probe.board.to_string(),
            serial: probe.serial.to_string(),
            build: probe.build.to_string(),
            leads: probe.leads,
        },
        groups: Vec::new(),
        lost: false,
        refusal: None,
        undecided: Vec::new(),
        coverage: coverage_report(covered),
        hand_checks: hand_checks(job, hookup.place),
        readings: Vec::new(),
        next_reading: None,
    };
    let speaker = Speaker::new(job);
    match outcome {
        Outcome::Refused(stop) => {
            let taken = &stop.taken;
            let evidence = Evidence::new(model, taken)?;
            report.readings = readings(&evidence, taken, hookup);
            refuse(&mut report, job, hookup, stop);
        }
        Outcome::Complete(taken) => {
            let mut evidence = Evidence::new(model, taken)?;
            report.readings = readings(&evidence, taken, hookup);
            unsettled(&mut report, &evidence, hookup);
            if evidence.judged().is_empty() {
                report.undecided.push(Undecided {
                    place: String::new(),
                    say: "There was nothing to read in this hook-up, so nothing is proved; \
                          `loomproof hookup` shows what it can see."
                        .to_owned(),
                });
            }
            if !evidence.off().is_empty() {
                report.verdict = Verdict::Faults;
                let faults: Vec<Fault> = covered.iter().map(|c| c.fault.clone()).collect();
                let candidates = search(&mut evidence, &faults)?;
                let groups = group(&evidence, candidates);
                explain(&mut report, &evidence, &groups, hookup, speaker)?;
            } else if !report.undecided.is_empty() {
                report.verdict = Verdict::Undecided;
            }
        }
    }
    Ok(report)
}

/// `bench` or `vehicle`.
#[must_use]
pub fn place_word(place: Place) -> &'static str {
    match place {
        Place::Bench => "bench",
        Place::Vehicle => "vehicle",
    }
}

/// A fault as it is reported.
#[must_use]
pub fn fault_report(speaker: Speaker<'_>, fault: &Fault) -> FaultReport {
    let words = speaker.fault(fault);
    FaultReport {
        kind: fault.kind().to_owned(),
        place: fault.place(),
        fault: fault.to_string(),
        say: words.say,
        act: words.act,
    }
}

fn coverage_report(covered: &[Covered]) -> CoverageReport {
    CoverageReport {
        faults: covered.len(),
        covered: covered.iter().filter(|c| c.covered).count(),
        not_covered: covered
            .iter()
            .filter(|c| !c.covered)
            .map(|c| FaultName {
                fault: c.fault.to_string(),
                kind: c.fault.kind().to_owned(),
                place: c.fault.place(),
            })
            .collect(),
    }
}

fn explain(
    report: &mut Report,
    evidence: &Evidence<'_>,
    groups: &[Group],
    hookup: &Hookup,
    speaker: Speaker<'_>,
) -> Result<(), String> {
    let words = |fault: &Fault| fault_report(speaker, fault);
    report.groups = groups
        .iter()
        .take(GROUPS)
        .map(|group| GroupReport {
            probability: group.probability,
            explains_all: group.explains_all(),
            sets: group
                .sets
                .iter()
                .map(|set| set.faults.iter().map(words).collect())
                .collect(),
        })
        .collect();
    let unexplained = match groups.first().and_then(|group| group.sets.first()) {
        Some(best) => best.fit.unexplained.clone(),
        None => evidence.off(),
    };
    for judged in unexplained
        .iter()
        .filter_map(|at| evidence.judged().get(*at))
    {
        let lead = judged.quantity.plus.lead;
        report.undecided.push(Undecided {
            place: hookup
                .point(lead)
                .map(ToString::to_string)
                .unwrap_or_default(),
            say: format!(
                "The reading at {} fits no explanation of up to {} faults; check the clip there \
                 and ring out again.",
                speaker.probe_lead(hookup, lead),
                crate::diagnosis::search::MAX_FAULTS
            ),
        });
    }
    report
        .undecided
        .dedup_by(|a, b| a.place == b.place && a.say == b.say);
    report.lost = unexplained.len() > (evidence.off().len() / STRAY).max(2);
    if report.lost {
        // A further reading would only split a wrong explanation.
        return Ok(());
    }
    if let Some(best) = groups.first()
        && let Some(next) = next(evidence, best)?
    {
        report.next_reading = Some(NextReading {
            touch: next.touch.to_string(),
            drive: speaker.probe_lead(hookup, next.drive),
            say: next_words(&next, hookup, speaker),
        });
    }
    Ok(())
}

/// What to touch, and which of the lettered explanations each outcome leaves.
fn next_words(next: &Next, hookup: &Hookup, speaker: Speaker<'_>) -> String {
    let mut text = format!(
        "battery off, measure with an ohmmeter between {} and {}, with {} unclipped.",
        speaker.point(&next.touch),
        hookup
            .point(next.drive)
            .map(ToString::to_string)
            .unwrap_or_default(),
        next.drive,
    );
    for (band, members) in &next.parts {
        let mut letters: Vec<String> = members.iter().take(LISTED).map(|at| letter(*at)).collect();
        if members.len() > LISTED {
            letters.push("or another of them".to_owned());
        }
        let open = (band.low.0 + band.high.0) / 2.0 < 0.1;
        let outcome = if open { "No connection" } else { "Connected" };
        text.push_str(&format!(" {outcome}: {}.", letters.join(", ")));
    }
    text
}

/// How many explanations are named for one outcome.
const LISTED: usize = 8;

/// The letter that an explanation of a group is listed under.
#[must_use]
pub fn letter(at: usize) -> String {
    u8::try_from(at).ok().filter(|at| *at < 26).map_or_else(
        || (at + 1).to_string(),
        |at| char::from(b'a' + at).to_string(),
    )
}

fn unsettled(report: &mut Report, evidence: &Evidence<'_>, hookup: &Hookup) {
    for judged in evidence
        .judged()
        .iter()
        .filter(|j| j.judgement == Judgement::NotSettled)
    {
        let lead = judged.quantity.plus.lead;
        let place = hookup
            .point(lead)
            .map(ToString::to_string)
            .unwrap_or_default();
        if report.undecided.iter().all(|u| u.place != place) {
            report.undecided.push(Undecided {
                say: format!(
                    "The reading at {lead} ({place}) was still creeping when the probe stopped \
                     waiting; unplug what hangs on that wire, or wait, and ring out again."
                ),
                place,
            });
        }
    }
}

fn refuse(report: &mut Report, job: &Job, hookup: &Hookup, stop: &Stop) {
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
            let fault = Fault::Live(hookup.point(*lead)?.end(), volts);
            Some(vec![fault_report(speaker, &fault)])
        })
        .collect();
    (!sets.is_empty()).then_some(GroupReport {
        probability: 1.0,
        explains_all: true,
        sets,
    })
}

fn readings(evidence: &Evidence<'_>, taken: &[Taken], hookup: &Hookup) -> Vec<ReadingReport> {
    let one = |judged: &Judged| -> Option<ReadingReport> {
        let step = &taken.get(judged.step)?.planned.step;
        let lead = judged.quantity.plus.lead;
        Some(ReadingReport {
            purpose: purpose_word(taken.get(judged.step)?.planned.purpose).to_owned(),
            high: step.high.iter().map(|l| l.to_string()).collect(),
            low: step.low.iter().take(4).map(|l| l.to_string()).collect(),
            low_count: step.low.len(),
            lead: lead.to_string(),
            point: hookup
                .point(lead)
                .map(ToString::to_string)
                .unwrap_or_default(),
            minus: judged.quantity.minus.map(|l| l.to_string()),
            mode: match judged.quantity.plus.mode {
                SenseMode::Plain => "plain",
                SenseMode::PullDown => "pull-down",
                SenseMode::PullUp => "pull-up",
            }
            .to_owned(),
            expected_low_uv: microvolts(judged.band.low.0),
            expected_high_uv: microvolts(judged.band.high.0),
            sigma_uv: sigma_uv(&judged.band),
            measured_uv: match judged.value {
                Value::Volts(volts) => Some(microvolts(volts.0)),
                Value::Unsettled => None,
            },
            verdict: match judged.judgement {
                Judgement::Within => "within",
                Judgement::Low(_) => "low",
                Judgement::High(_) => "high",
                Judgement::NotSettled => "not settled",
            }
            .to_owned(),
        })
    };
    evidence.judged().iter().filter_map(one).collect()
}

#[allow(
    clippy::cast_possible_truncation,
    reason = "volts of a probe are a few million microvolts"
)]
fn microvolts(volts: f64) -> i64 {
    (volts * 1e6).round() as i64
}

fn sigma_uv(band: &Band) -> i64 {
    microvolts(band.sigma.0)
}

/// The word for what a step was for.
#[must_use]
pub fn purpose_word(purpose: Purpose) -> &'static str {
    match purpose {
        Purpose::Continuity(..) => "continuity",
        Purpose::Isolation(_) => "isolation",
        Purpose::Across(..) => "across",
        Purpose::Walk(_) => "walk",
        Purpose::Pair(..) => "pair",
    }
}

//! From a finished scan to its report.

use loomproof_core::judge::Judgement;
use loomproof_core::wire::{Hello, LeadId, Place};

use super::because::because;
use super::hand_checks::hand_checks;
use super::next_step::next_reading;
use super::readings::readings;
use super::refusal::refuse;
use super::report::{
    CoverageReport, FaultName, FaultReport, GroupReport, OhmsReport, ProbeReport, ProofReport,
    Report, Undecided, Verdict,
};
use super::whole::{STRAY, whole};
use super::{Outcome, Round, Stop, in_round};
use crate::circuit::Model;
use crate::diagnosis::coverage::{Covered, coverage};
use crate::diagnosis::evidence::{Evidence, Judged};
use crate::diagnosis::groups::{Group, group};
use crate::diagnosis::ohms::Estimate;
use crate::diagnosis::space::{self, Candidate};
use crate::diagnosis::words::{Speaker, ohms_text};
use crate::fault::{Fault, catalogue};
use crate::hookup::{Clip, Hookup, needed};
use crate::plan::model::{Job, Proof};

/// How many groups are reported.
const GROUPS: usize = 5;

/// Judges a scan in one round and explains what is off.
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
    let (taken, stop) = match outcome {
        Outcome::Complete(taken) => (taken, None),
        Outcome::Refused(stop) => (&stop.taken, Some(stop)),
    };
    let round = Round {
        hookup,
        model,
        taken,
    };
    let scan = Scanned {
        rounds: &[round],
        stop,
        covered,
        again: &[],
    };
    report_scanned(job, &scan, probe)
}

/// A scan, as far as it has come.
#[derive(Debug, Clone, Copy)]
pub struct Scanned<'s> {
    /// Its rounds of clips.
    pub rounds: &'s [Round<'s>],
    /// Why the last one was not finished.
    pub stop: Option<&'s Stop>,
    /// The catalogue, and what of it the steps of these rounds show.
    pub covered: &'s [Covered],
    /// Single faults that readings kept from other answers do not show, and
    /// that the same rounds would if they were rung out again.
    pub again: &'s [Fault],
}

/// Judges all rounds of a scan together and explains what is off.
///
/// # Errors
/// A sentence that says what cannot be computed.
pub fn report_scanned(job: &Job, scan: &Scanned<'_>, probe: &Hello) -> Result<Report, String> {
    let Scanned {
        rounds,
        stop,
        covered,
        again,
    } = *scan;
    let last = rounds.last().ok_or("nothing was rung out")?;
    let place = last.hookup.place;
    let evidence = Evidence::of_rounds(rounds.iter().map(|round| (round.model, round.taken)))?;
    let mut report = Report {
        verdict: Verdict::Pass,
        title: job.title.clone(),
        place: place_word(place).to_owned(),
        plan_digest: job.digest.clone(),
        answers: job.answers.clone(),
        probe: ProbeReport::of(probe),
        rounds: rounds.len(),
        groups: Vec::new(),
        lost: false,
        first: None,
        proof: None,
        refusal: None,
        still_to_do: still_to_do(job, rounds, again),
        undecided: Vec::new(),
        coverage: coverage_report(covered),
        hand_checks: hand_checks(job, place),
        readings: readings(&evidence, rounds),
        next_reading: None,
    };
    if let Some(stop) = stop {
        refuse(&mut report, job, last.hookup, stop);
        return Ok(report);
    }
    unsettled(&mut report, &evidence, rounds);
    if evidence.judged().is_empty() {
        report.undecided.push(Undecided {
            place: String::new(),
            say: "There was nothing to read in this hook-up, so nothing is proved; \
                  `loomproof hookup` shows what it can see."
                .to_owned(),
        });
    }
    report.verdict = verdict(&evidence);
    if report.verdict == Verdict::Pass && !report.still_to_do.is_empty() {
        report.verdict = Verdict::Undecided;
    }
    if report.verdict == Verdict::Faults {
        let faults: Vec<Fault> = covered.iter().map(|c| c.fault.clone()).collect();
        let explained = space::explain(&evidence, &faults)?;
        let proof = explained.outcome.proof;
        let groups = group(&evidence, explained.candidates);
        report.proof = groups
            .first()
            .filter(|_| proof.size > 0)
            .map(|_| ProofReport {
                faults: proof.size,
                sets: proof.sets,
                scored: proof.scored,
            });
        explain(&mut report, &evidence, &groups, rounds, Speaker::new(job))?;
        let best = report.groups.first().and_then(|group| group.sets.first());
        let size = best.map(Vec::len).filter(|_| !report.lost);
        report.first = whole(job, rounds, size)?;
        if report.first.is_some() && report.lost {
            // It explains what single faults do not.
            report.groups.clear();
            report.undecided.clear();
            report.proof = None;
        }
    }
    Ok(report)
}

/// What was not rung out yet, place by place, or has to be again.
fn still_to_do(job: &Job, rounds: &[Round<'_>], again: &[Fault]) -> Vec<Undecided> {
    let place = rounds.last().map(|round| round.hookup.place);
    let needed = place.map(|place| needed(job, place)).unwrap_or_default();
    let mut places: Vec<(String, Vec<String>)> = Vec::new();
    for point in needed {
        let mut clips = rounds.iter().flat_map(|round| &round.hookup.clips);
        // The mating half of a jig shows what the crimp does, and more.
        let in_jig = |clip: &Clip| place == Some(Place::Bench) && clip.point.end() == point.end();
        if clips.any(|clip| clip.point == point || in_jig(clip)) {
            continue;
        }
        let part = point.part();
        let place = job.place_of(part).unwrap_or(part).to_owned();
        match places.iter_mut().find(|(known, _)| *known == place) {
            Some((_, points)) => points.push(point.to_string()),
            None => places.push((place, vec![point.to_string()])),
        }
    }
    let not_yet = places.into_iter().map(|(place, points)| Undecided {
        say: format!("{place}: {} not rung out yet.", points.join(", ")),
        place,
    });
    let once_more = (!again.is_empty()).then(|| {
        let mut places: Vec<String> = again.iter().map(Fault::place).collect();
        places.sort();
        places.dedup();
        Undecided {
            place: String::new(),
            say: format!(
                "The answers changed, and what was read before does not show {} single faults that \
                 it would show if it were read again; ring out again at {}.",
                again.len(),
                places.join(", ")
            ),
        }
    });
    let occupied = job
        .electrics
        .occupied
        .iter()
        .filter(|_| place == Some(Place::Vehicle));
    let refuted = occupied.filter(|it| it.proof == Proof::Refuted);
    let other_wire = refuted.map(|it| Undecided {
        place: it.place(),
        say: format!(
            "{}: the wire in it does not do what the plan says of {}. Do not cap {} for it; ask the \
             plan's author where the lead goes instead.",
            it.place(),
            it.conductor,
            it.lead
        ),
    });
    not_yet.chain(once_more).chain(other_wire).collect()
}

/// What the readings of a finished scan say, before anybody asks for the cause.
#[must_use]
pub fn verdict(evidence: &Evidence<'_>) -> Verdict {
    let creeps = |judged: &Judged| judged.judgement == Judgement::NotSettled;
    match evidence.judged() {
        _ if !evidence.off().is_empty() => Verdict::Faults,
        [] => Verdict::Undecided,
        judged if judged.iter().any(creeps) => Verdict::Undecided,
        _ => Verdict::Pass,
    }
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
        round: None,
        say: words.say,
        act: words.act,
        ohms: None,
    }
}

/// A fault with its estimated resistance.
fn estimated(speaker: Speaker<'_>, fault: &Fault, estimate: Option<Estimate>) -> FaultReport {
    let mut report = fault_report(speaker, fault);
    if let (Some(ohms), Some(span)) = (fault.ohms(), estimate) {
        report.say.push_str(&match span {
            Estimate { low, .. } if span.is_open_above() => {
                format!(" By these readings it is more than {}.", ohms_text(low))
            }
            Estimate { low, high } => format!(
                " By these readings it is between {} and {} (95 %).",
                ohms_text(low),
                ohms_text(high)
            ),
        });
        report.ohms = Some(OhmsReport {
            estimate: ohms.0,
            low: span.low,
            high: span.high,
        });
    }
    report
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
    rounds: &[Round<'_>],
    speaker: Speaker<'_>,
) -> Result<(), String> {
    let leads = report.probe.leads;
    let words = |set: &Candidate| -> Vec<FaultReport> {
        let each = set.faults.iter().zip(&set.estimates).zip(&set.rounds);
        each.map(|((fault, estimate), round)| {
            let mut report = estimated(speaker, fault, *estimate);
            if let (Some(round), true) = (round, rounds.len() > 1) {
                report.round = Some(round + 1);
                report.say = in_round(rounds.len(), *round) + &report.say;
            }
            report
        })
        .collect()
    };
    let best = groups.first().and_then(|group| group.sets.first());
    report.groups = groups
        .iter()
        .take(GROUPS)
        .enumerate()
        .map(|(at, group)| GroupReport {
            probability: group.probability,
            explains_all: group.explains_all(),
            because: match group.sets.first() {
                Some(set) if at == 0 => because(evidence, rounds, set, None),
                Some(set) => because(evidence, rounds, set, best),
                None => Vec::new(),
            },
            sets: group.sets.iter().map(words).collect(),
            shares: group.shares(),
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
        let (lead, place) = read_at(rounds, judged);
        let at = rounds.get(judged.round).map(|round| round.hookup);
        report.undecided.push(Undecided {
            place,
            say: format!(
                "{}The reading at {} fits no explanation of up to {} faults; check the clip there \
                 and ring out again.",
                in_round(rounds.len(), judged.round),
                at.map_or_else(|| lead.to_string(), |at| speaker.probe_lead(at, lead)),
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
    if let (Some(best), Some(reported), Some(last)) =
        (groups.first(), report.groups.first(), rounds.last())
    {
        let clipped = (last.hookup, speaker);
        report.next_reading = next_reading(evidence, best, reported, clipped, leads)?;
    }
    Ok(())
}

/// The probe lead and the test point of a reading.
fn read_at(rounds: &[Round<'_>], judged: &Judged) -> (LeadId, String) {
    let lead = judged.quantity.plus.lead;
    let point = rounds
        .get(judged.round)
        .and_then(|round| round.hookup.point(lead));
    (lead, point.map(ToString::to_string).unwrap_or_default())
}

fn unsettled(report: &mut Report, evidence: &Evidence<'_>, rounds: &[Round<'_>]) {
    for judged in evidence
        .judged()
        .iter()
        .filter(|j| j.judgement == Judgement::NotSettled)
    {
        let (lead, place) = read_at(rounds, judged);
        if report.undecided.iter().all(|u| u.place != place) {
            report.undecided.push(Undecided {
                say: format!(
                    "{}The reading at {lead} ({place}) was still creeping when the probe stopped \
                     waiting; unplug what hangs on that wire, or wait, and ring out again.",
                    in_round(rounds.len(), judged.round),
                ),
                place,
            });
        }
    }
}

//! Which readings speak for an explanation, and which against it.

use loomproof_core::expect::Band;
use loomproof_core::judge::Value;
use loomproof_core::wire::SenseMode;

use super::report::Because;
use super::{Round, in_round};
use crate::diagnosis::evidence::{Evidence, Judged};
use crate::diagnosis::space::Candidate;

/// How many readings are named on either side.
const NAMED: usize = 4;

/// A reading that moves the odds by less than this (e³, 20 to 1) says nothing.
const TELLING: f64 = 3.0;

/// The readings that speak most for a set and most against it: beside the
/// healthy harness, or beside another set.
pub(super) fn because(
    evidence: &Evidence<'_>,
    rounds: &[Round<'_>],
    set: &Candidate,
    beside: Option<&Candidate>,
) -> Vec<Because> {
    let mut all: Vec<Because> = evidence
        .judged()
        .iter()
        .enumerate()
        .map(|(reading, judged)| {
            let band = set.fit.band(reading).unwrap_or(judged.band);
            let other = beside.and_then(|other| other.fit.band(reading));
            let other = other.unwrap_or(judged.band);
            let weight = judged.gain(&band) - judged.gain(&other);
            Because {
                reading,
                weight,
                say: words(evidence, rounds, judged, &band),
            }
        })
        .filter(|one| one.weight.abs() > TELLING)
        .collect();
    all.sort_by(|a, b| b.weight.total_cmp(&a.weight));
    let for_it = all.iter().filter(|one| one.weight > 0.0).take(NAMED);
    let against = all.iter().rev().filter(|one| one.weight < 0.0).take(NAMED);
    for_it.chain(against).cloned().collect()
}

/// `P3 (X1:3) driven, P9 (X2:2) read: 0.00 V; by the plan 2.70 V, with this 0.00 V.`
fn words(evidence: &Evidence<'_>, rounds: &[Round<'_>], judged: &Judged, band: &Band) -> String {
    let hookup = rounds.get(judged.round).map(|round| round.hookup);
    let lead = |lead| match hookup.and_then(|hookup| hookup.point(lead)) {
        Some(point) => format!("{lead} ({point})"),
        None => format!("{lead}"),
    };
    let driven: Vec<String> = evidence
        .step(judged.step)
        .map(|step| step.high.iter().map(lead).collect())
        .unwrap_or_default();
    let how = match judged.quantity.plus.mode {
        SenseMode::Plain => "",
        SenseMode::PullDown => " with a weak pull down",
        SenseMode::PullUp => " with a weak pull up",
    };
    let read = match judged.quantity.minus {
        Some(minus) => format!(
            "between {} and {}",
            lead(judged.quantity.plus.lead),
            lead(minus)
        ),
        None => format!("at {}", lead(judged.quantity.plus.lead)),
    };
    let measured = match judged.value {
        Value::Volts(volts) => volts_text(volts.0),
        Value::Unsettled => "still creeping".to_owned(),
    };
    format!(
        "{}{} driven, read {read}{how}: {measured}; by the plan {}, with this {}.",
        in_round(rounds.len(), judged.round),
        driven.join(", "),
        span(&judged.band),
        span(band),
    )
}

fn span(band: &Band) -> String {
    let (low, high) = (volts_text(band.low.0), volts_text(band.high.0));
    if low == high {
        low
    } else {
        format!("{low} to {high}")
    }
}

fn volts_text(volts: f64) -> String {
    if volts.abs() < 0.1 {
        format!("{:.2} mV", volts * 1e3)
    } else {
        format!("{volts:.3} V")
    }
}

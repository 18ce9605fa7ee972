//! Judged readings, as they are reported.

use loomproof_core::expect::Band;
use loomproof_core::judge::{Judgement, Value};
use loomproof_core::scan::Purpose;
use loomproof_core::wire::SenseMode;

use super::report::ReadingReport;
use super::{Round, Taken};
use crate::diagnosis::evidence::{Evidence, Judged};

/// Every judged reading of a scan.
pub(super) fn readings(evidence: &Evidence<'_>, rounds: &[Round<'_>]) -> Vec<ReadingReport> {
    let steps: Vec<&Taken> = rounds.iter().flat_map(|round| round.taken).collect();
    let one = |judged: &Judged| -> Option<ReadingReport> {
        let planned = &steps.get(judged.step)?.planned;
        let step = &planned.step;
        let hookup = rounds.get(judged.round)?.hookup;
        let lead = judged.quantity.plus.lead;
        Some(ReadingReport {
            round: judged.round + 1,
            purpose: purpose_word(planned.purpose).to_owned(),
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

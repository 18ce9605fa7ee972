//! Resistances of the metal paths of a run, and which joints each goes through:
//! what drift is seen in.

use std::collections::{BTreeMap, BTreeSet};

use loomproof_core::units::{Ohms, Volts};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::circuit::Model;
use crate::diagnosis::edits::Changes;
use crate::diagnosis::evidence::{Evidence, Judged};
use crate::fault::Fault;
use crate::hookup::Hookup;
use crate::ringout::{Round, Taken};
use loomproof_core::scan::{Purpose, path_ohms};
use loomproof_core::wire::SenseMode;

/// A reading above this, where all is well, is not of metal alone (a metal path
/// of some tens of ohms gives less; common practice).
const METAL: Volts = Volts(0.1);

/// Ohms that are put into a joint to see which readings go through it.
const ADDED: Ohms = Ohms(10.0);

/// Least part of its ohms by which a joint must show in a reading to be on its
/// path; below it the current goes elsewhere.
const SHOWS: f64 = 0.2;

/// Microohms.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
pub struct MicroOhms(pub i64);

impl MicroOhms {
    /// From ohms, rounded.
    #[must_use]
    #[allow(
        clippy::cast_possible_truncation,
        reason = "a metal path has a few ohms, a bad one a few megaohms"
    )]
    pub fn of(ohms: Ohms) -> Self {
        Self((ohms.0 * 1e6).round() as i64)
    }

    /// In ohms.
    #[must_use]
    #[allow(clippy::cast_precision_loss, reason = "far below 2^53")]
    pub fn ohms(self) -> Ohms {
        Ohms(self.0 as f64 / 1e6)
    }
}

/// The resistance between two points that metal joins.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Path {
    /// The point that was driven.
    pub from: String,
    /// The point that was held down, or `chassis`.
    pub to: String,
    /// Measured, microohms, with clips and probe leads; null where it did not
    /// settle or nothing came through.
    pub ohms: Option<MicroOhms>,
    /// One standard deviation, microohms.
    pub sigma: MicroOhms,
    /// Joints that the current goes through, as spelled behind
    /// `high-resistance@`.
    pub through: Vec<String>,
}

impl Path {
    /// What the path is called: `X1:3 to F1:1`.
    #[must_use]
    pub fn name(&self) -> String {
        format!("{} to {}", self.from, self.to)
    }
}

/// The metal paths of the first pass of a scan's rounds; what several rounds
/// read, as the last one did.
///
/// # Errors
/// A sentence that says what cannot be computed.
pub fn paths(rounds: &[Round<'_>], catalogue: &[Fault]) -> Result<Vec<Path>, String> {
    let models: Vec<&Model> = rounds.iter().map(|round| round.model).collect();
    let evidence = Evidence::of_rounds(rounds.iter().map(|round| (round.model, round.taken)))?;
    let steps: Vec<(&Taken, &Hookup)> = rounds
        .iter()
        .flat_map(|round| round.taken.iter().map(|taken| (taken, round.hookup)))
        .collect();
    let mut found: BTreeMap<usize, (Path, Circuit)> = BTreeMap::new();
    let mut named = BTreeSet::new();
    for (at, judged) in evidence.judged().iter().enumerate().rev() {
        if let Some((taken, hookup)) = steps.get(judged.step)
            && let Some((path, circuit)) = metal(judged, taken, hookup)
            && named.insert(path.name())
        {
            found.insert(at, (path, circuit));
        }
    }
    for fault in catalogue {
        let Some(joint) = joint(fault) else { continue };
        let Some(fault) = fault.with_ohms(ADDED) else {
            continue;
        };
        let changes = Changes::of_fault(&fault, &models);
        let Some((None, changes)) = changes.first() else {
            continue;
        };
        for (at, band) in evidence.fit(changes)?.bands {
            let Some((path, circuit)) = found.get_mut(&at) else {
                continue;
            };
            let Some(judged) = evidence.judged().get(at) else {
                continue;
            };
            let ohms = |low: Volts, high: Volts| circuit.ohms(Volts(f64::midpoint(low.0, high.0)));
            let more = ohms(band.low, band.high).0 - ohms(judged.band.low, judged.band.high).0;
            if more > SHOWS * ADDED.0 {
                path.through.push(joint.clone());
            }
        }
    }
    let mut paths: Vec<Path> = found.into_values().map(|(path, _)| path).collect();
    for path in &mut paths {
        path.through.sort();
        path.through.dedup();
    }
    Ok(paths)
}

/// What a fault of resistance is at.
fn joint(fault: &Fault) -> Option<String> {
    let spelling = fault.to_string();
    let (joint, _) = spelling
        .strip_prefix("high-resistance@")?
        .rsplit_once(",ohms=")?;
    Some(joint.to_owned())
}

/// How the current of a step returns.
#[derive(Debug, Clone, Copy)]
enum Circuit {
    /// Through a second source resistor, in the lead that is held down.
    Pair,
    /// Through the chassis leads.
    Chassis,
}

impl Circuit {
    /// Ohms of the path by the voltage across it.
    fn ohms(self, across: Volts) -> Ohms {
        let sources = match self {
            Self::Pair => 2,
            Self::Chassis => 1,
        };
        path_ohms(sources, across)
    }
}

fn metal(judged: &Judged, taken: &Taken, hookup: &Hookup) -> Option<(Path, Circuit)> {
    let planned = &taken.planned;
    if !matches!(planned.purpose, Purpose::Continuity(..))
        || judged.quantity.plus.mode != SenseMode::Plain
        || judged.band.high > METAL
    {
        return None;
    }
    let driven = judged.quantity.plus.lead;
    if !planned.step.high.contains(driven) {
        return None;
    }
    let (to, circuit) = match judged.quantity.minus {
        Some(lead) => (hookup.point(lead)?.to_string(), Circuit::Pair),
        None => ("chassis".to_owned(), Circuit::Chassis),
    };
    let sigma = circuit.ohms(judged.band.sigma);
    let ohms = match judged.value {
        loomproof_core::judge::Value::Volts(volts) => Some(circuit.ohms(volts)),
        loomproof_core::judge::Value::Unsettled => None,
    };
    let path = Path {
        from: hookup.point(driven)?.to_string(),
        to,
        ohms: ohms.filter(|ohms| ohms.0.is_finite()).map(MicroOhms::of),
        sigma: MicroOhms::of(sigma),
        through: Vec::new(),
    };
    Some((path, circuit))
}

//! What is wrong in a random run.

use std::collections::{BTreeMap, BTreeSet};

use loomproof::fault::Fault;
use loomproof_core::units::Ohms;
use rand::seq::{IndexedRandom as _, IteratorRandom as _};
use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;

use super::site::Loaded;

/// Mistakes with a whole connector: one finding each, counted apart.
pub const WHOLE_CONNECTOR: &[&str] = &["mirrored", "shifted", "sets-exchanged"];

/// Ohms of bad joints drawn from the priors lie evenly in the logarithm over
/// the span that the probe measures (`docs/probe-hardware.md`): the priors say
/// how often a joint is bad, not how bad.
const OHMS: (f64, f64) = (0.3, 300e3);

/// Most faults of a run drawn from the priors: as many as are looked for.
const MOST: usize = loomproof::diagnosis::search::MAX_FAULTS;

/// How often a draw is repeated until one can be put on the bench.
const ATTEMPTS: usize = 1000;

fn rng(site: &Loaded, seed: u64) -> ChaCha8Rng {
    // FNV-1a, 64 bit: so that every harness has draws of its own.
    let name = site.name();
    let hash = name.bytes().fold(0xcbf2_9ce4_8422_2325_u64, |hash, byte| {
        (hash ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3)
    });
    ChaCha8Rng::seed_from_u64(hash ^ seed.rotate_left(20))
}

/// Whether a fault can be one of several: a live lead is refused before the
/// test, and a whole connector touches everything in it.
fn combines(fault: &Fault) -> bool {
    fault.kind() != "live" && !WHOLE_CONNECTOR.contains(&fault.kind())
}

/// So many faults of the catalogue that can exist together. The kind is drawn
/// first, then the place, so that the shorts, which are most of a catalogue,
/// do not push the rest out. `None` where the plan has too few.
#[must_use]
pub fn together(site: &Loaded, count: usize, seed: u64) -> Option<Vec<Fault>> {
    let mut rng = rng(site, seed);
    let mut kinds: BTreeMap<&str, Vec<&Fault>> = BTreeMap::new();
    for covered in site.covered.iter().filter(|c| combines(&c.fault)) {
        let kind = covered.fault.kind();
        kinds.entry(kind).or_default().push(&covered.fault);
    }
    for _ in 0..ATTEMPTS {
        let mut faults: Vec<Fault> = Vec::new();
        for _ in 0..count {
            let list = kinds.values().choose(&mut rng)?;
            faults.push((*list.choose(&mut rng)?).clone());
        }
        if can_meet(&faults) && site.accepts(&faults) {
            return Some(faults);
        }
    }
    None
}

/// Every fault of the catalogue independently as often as the priors say;
/// drawn again where nothing is wrong, where two cannot exist together, or
/// where there are more than are looked for. `None` where that never succeeds.
#[must_use]
pub fn from_priors(site: &Loaded, seed: u64) -> Option<Vec<Fault>> {
    let mut rng = rng(site, seed);
    for _ in 0..ATTEMPTS {
        let mut faults: Vec<Fault> = Vec::new();
        for covered in &site.covered {
            if covered.fault.kind() != "live" && rng.random_bool(covered.fault.prior().min(1.0)) {
                faults.push(covered.fault.clone());
            }
        }
        for fault in &mut faults {
            let drawn = rng.random_range(OHMS.0.ln()..OHMS.1.ln()).exp();
            // As spelled, so that a run can be repeated by its spelling.
            let drawn = Ohms(format!("{drawn:.3}").parse().unwrap_or(drawn));
            if let Some(other) = fault.with_ohms(drawn) {
                *fault = other;
            }
        }
        if (1..=MOST).contains(&faults.len()) && can_meet(&faults) && site.accepts(&faults) {
            return Some(faults);
        }
    }
    None
}

/// Whether no two faults change the same thing.
#[must_use]
pub fn can_meet(faults: &[Fault]) -> bool {
    let claims: Vec<BTreeSet<String>> = faults.iter().map(claims).collect();
    let connectors = |own: &BTreeSet<String>| -> BTreeSet<String> {
        let names = own
            .iter()
            .filter_map(|claim| claim.strip_prefix("terminal "));
        names
            .filter_map(|place| Some(place.split_once(':')?.0.to_owned()))
            .collect()
    };
    claims.iter().enumerate().all(|(at, own)| {
        let whole = own.iter().filter_map(|claim| claim.strip_prefix("all of "));
        let whole: BTreeSet<&str> = whole.collect();
        claims.iter().enumerate().all(|(other_at, other)| {
            other_at == at
                || own.is_disjoint(other)
                    && !connectors(other)
                        .iter()
                        .any(|name| whole.contains(name.as_str()))
        })
    })
}

/// What a fault changes, by its spelling, so that a new kind is at worst held
/// to change all of the place it names.
fn claims(fault: &Fault) -> BTreeSet<String> {
    let spelled = fault.to_string();
    let place = fault.place();
    let keys: Vec<(&str, &str)> = spelled
        .split(',')
        .skip(1)
        .filter_map(|pair| pair.split_once('='))
        .collect();
    let key = |name: &str| {
        keys.iter()
            .find(|(key, _)| *key == name)
            .map(|(_, value)| *value)
    };
    let set = |claims: &[String]| claims.iter().cloned().collect();
    match fault.kind() {
        "open" | "high-resistance" => {
            set(&[format!("joint {place} {}", key("lead").unwrap_or_default())])
        }
        "unseated" | "wrong-cavity" | "exchanged" => {
            let beside = key("to").or(key("with"));
            let mut claims = vec![format!("terminal {place}")];
            claims.extend(beside.map(|beside| format!("terminal {beside}")));
            set(&claims)
        }
        "tap-missed" | "tap-neighbour" => set(&[format!("tap {place}")]),
        "short" | "cap-touching" => {
            let other = key("with").unwrap_or_default().to_owned();
            let (a, b) = (place.clone().min(other.clone()), place.max(other));
            set(&[format!("touch {a} {b}")])
        }
        kind if WHOLE_CONNECTOR.contains(&kind) => {
            let beside = key("with").map(|with| format!("all of {with}"));
            let mut claims = vec![format!("all of {place}")];
            claims.extend(beside);
            set(&claims)
        }
        _ => {
            let mut claims = vec![format!("terminal {place}"), format!("joint {place} ")];
            claims.extend(keys.iter().map(|(_, value)| format!("terminal {value}")));
            set(&claims)
        }
    }
}

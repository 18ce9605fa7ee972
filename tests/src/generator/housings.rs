//! Connectors and conductors: gives every open lead end a cavity.

use rand::RngExt as _;
use rand::seq::{IndexedRandom as _, SliceRandom as _};
use rand_chacha::ChaCha8Rng;

use super::Form;
use super::draft::{Draft, Open, Table};

/// Cavities of a housing.
const HOUSINGS: &[u16] = &[2, 3, 4, 6, 6, 8, 10, 12, 12, 16, 20];

/// Conductors that stand side by side in one connector of the vehicle.
const SIDE_BY_SIDE: usize = 4;

const LOADS: &[&str] = &[
    "none",
    "none",
    "1 kohm to 1 Mohm",
    "10 kohm to 1 Mohm",
    "1 kohm to 100 kohm",
    "unknown",
];

/// A conductor for every tap, and neighbours that a tap could bite by mistake:
/// no more than there are chassis rings, so that the vehicle does not have more
/// points to touch than the bench.
pub(super) fn conductors(draft: &mut Draft, rng: &mut ChaCha8Rng) {
    let mut neighbours = draft.counts.get("G").copied().unwrap_or(0);
    let mut tapped = 0;
    while tapped < draft.taps {
        let connector = draft.name("V");
        let cavities = pick_housing(rng).max(6);
        let mut free: Vec<u16> = (1..=cavities).collect();
        free.shuffle(rng);
        let here = rng.random_range(1..=SIDE_BY_SIDE).min(draft.taps - tapped);
        let beside = usize::from(rng.random_bool(0.6)).min(neighbours);
        neighbours -= beside;
        for at in 0..here + beside {
            let Some(cavity) = free.pop() else { break };
            let name = draft.name("K");
            let mut table = Table::new("conductor", &name)
                .text("at", format!("{connector}:{cavity}"))
                .text("load", LOADS.choose(rng).copied().unwrap_or("none"));
            if rng.random_bool(0.5) {
                let metres = rng.random_range(1..=4);
                table = table.text("length", format!("{metres} m"));
            }
            draft.conductors.push(table);
            if at < here {
                draft.bitten.push(name);
                tapped += 1;
            }
        }
        let table = face(Table::new("connector", &connector), cavities, rng);
        draft.connectors.push(table.text("access", "wire side"));
    }
}

fn pick_housing(rng: &mut ChaCha8Rng) -> u16 {
    HOUSINGS.choose(rng).copied().unwrap_or(6)
}

/// How the cavities lie: in rows, or drawn with a gap.
fn face(table: Table, cavities: u16, rng: &mut ChaCha8Rng) -> Table {
    let table = table.raw("cavities", cavities);
    if cavities % 2 == 1 || cavities < 6 {
        return table;
    }
    if rng.random_bool(0.2) {
        let half = cavities / 2 + 1;
        let row = |from: u16, to: u16| (from..=to).map(|n| n.to_string()).collect::<Vec<_>>();
        let mut lower = row(half + 1, cavities);
        let gap = rng.random_range(0..=lower.len());
        lower.insert(gap, "0".to_owned());
        lower.insert(gap, "0".to_owned());
        let rows = format!("[[{}], [{}]]", row(1, half).join(", "), lower.join(", "));
        return table.raw("face", rows);
    }
    let rows = if cavities == 16 && rng.random_bool(0.3) {
        4
    } else {
        2
    };
    table.raw("rows", rows)
}

/// Gives every open end a cavity.
pub(super) fn seat(draft: &mut Draft, rng: &mut ChaCha8Rng, form: Form) {
    for side in [Open::Front, Open::Rear] {
        let mut ends: Vec<(usize, usize)> = Vec::new();
        for (lead, drawn) in draft.leads.iter().enumerate() {
            ends.extend(
                (0..2)
                    .filter(|end| drawn.ends[*end] == side)
                    .map(|end| (lead, end)),
            );
        }
        // Neighbours in the list are neighbours in the housing, mostly.
        let half = ends.len() / 2;
        ends.get_mut(half..).unwrap_or_default().shuffle(rng);
        let mut left: &[(usize, usize)] = &ends;
        while !left.is_empty() {
            let cavities = pick_housing(rng);
            // Most housings are nearly full; at least one terminal each.
            let spare = rng.random_range(0..=cavities / 3);
            let used = usize::from((cavities - spare).max(1)).min(left.len());
            let (here, rest) = left.split_at(used);
            left = rest;
            let of_vehicle = form == Form::Vehicle && side == Open::Front;
            let name = draft.name("X");
            let mut free: Vec<u16> = (1..=cavities).collect();
            free.shuffle(rng);
            for ((lead, end), cavity) in here.iter().zip(&free) {
                draft.leads[*lead].ends[*end] = Open::at(format!("{name}:{cavity}"));
            }
            let mut table = face(Table::new("connector", &name), cavities, rng);
            let mating = rng.random_bool(if of_vehicle { 0.5 } else { 0.85 });
            table = table.text("access", if mating { "mating side" } else { "wire side" });
            if !of_vehicle {
                table = table.text("with", "harness");
            }
            draft.connectors.push(table);
        }
    }
}

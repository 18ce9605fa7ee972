//! Parts of a vehicle: relay terminals and coil, a cold filament.

use loomproof::plan::model::End;
use loomproof_core::circuit::{Element, Part};
use loomproof_core::wire::Place;

use super::check::{Check, Limit, Status, Value};
use super::ours::{circuit, job, lead, plan};

/// DIN 72552 as an automotive handbook excerpts it, and a relay listing.
const DIN: &str = "DIN 72552, a relay listing";
const DATASHEET: &str = "mini ISO relay datasheet, \"similar to ISO 7588-1\"";
const FILAMENT: &str = "kfz-tech.de";

/// A plan with one part whose terminals are led to X1.
fn with(part: &str, terminals: &[&str]) -> String {
    let mut text = format!("plan = 1\ntitle = \"t\"\n[connector.X1]\ncavities = 8\nwith = \"harness\"\n{part}");
    for (at, terminal) in (1..).zip(terminals) {
        let (from, to) = (format!("X1:{at}"), format!("P1:{terminal}"));
        text += &lead(&format!("W{at}"), &from, &to, "1 mm2", "1 m");
    }
    text
}

fn relay(suppression: &str) -> String {
    let keys = "coil = \"85 ohm\"\ncontacts = \"changeover\"";
    let text = format!("[relay.P1]\n{keys}\nsuppression = \"{suppression}\"\n");
    with(&text, &["85", "86", "30", "87", "87a"])
}

/// The elements of the part, each with the terminals at its two ends.
fn elements(text: &str) -> Vec<(String, String, Element)> {
    let (_, model) = circuit(&job(&plan(text)), Place::Bench);
    let terminal = |node| {
        let found = model.places.terminals.iter().find(|(_, at)| **at == node);
        match found.map(|(end, _)| end) {
            Some(End::Part(_, terminal)) => terminal.clone(),
            other => format!("{other:?}"),
        }
    };
    let ids = model.places.parts.get("P1").cloned().unwrap_or_default();
    ids.iter()
        .filter_map(|id| model.circuit.edited_element(*id, &[]))
        .map(|e| (terminal(e.a), terminal(e.b), e))
        .collect()
}

/// What is between the terminals of an unpowered relay.
fn drawn(text: &str) -> Value {
    let one = |(a, b, element): (String, String, Element)| match element.part {
        Part::Wire { .. } => format!("{a}–{b} closed"),
        Part::Resistor { .. } | Part::Load { .. } => format!("{a}–{b} coil"),
        Part::Diode(_) => format!("diode, anode on {a}, cathode on {b}"),
    };
    let mut all: Vec<String> = elements(text).into_iter().map(one).collect();
    all.sort();
    all.join("; ").into()
}

/// The first resistance of the part, in ohms.
fn ohms(text: &str) -> f64 {
    let resistance = |(_, _, element): (String, String, Element)| match element.part {
        Part::Resistor { ohms, .. } => Some(ohms.0),
        _ => None,
    };
    elements(text).into_iter().find_map(resistance).unwrap_or(f64::NAN)
}

/// Which of the numbers a relay's lead may end at.
fn accepted() -> Value {
    let numbers = ["15", "30", "31", "31b", "49", "85", "86", "87", "87a", "88"];
    let known = |number: &&str| {
        let text = with("[relay.P1]\ncoil = \"85 ohm\"\ncontacts = \"changeover\"\n", &[number]);
        // The rest of the relay is unconnected, which is a note, not this error.
        match loomproof::plan::read("t", &text) {
            Ok(_) => true,
            Err(problems) => !problems.iter().any(|p| p.message.contains("has no terminal")),
        }
    };
    let known: Vec<&str> = numbers.into_iter().filter(known).collect();
    known.join(" ").into()
}

/// Its checks.
#[must_use]
pub fn checks() -> Vec<Check> {
    let check = |what: &str, source, theirs: Value, limit, ours, test| Check {
        what: what.to_owned(),
        source,
        status: Status::Read,
        theirs,
        limit,
        ours,
        test,
    };
    vec![
        check(
            "terminals of a changeover relay",
            DIN,
            "30 85 86 87 87a".into(),
            Limit::Same,
            Box::new(accepted),
            "relay_terminals",
        ),
        check(
            "a changeover relay at rest: coil 85 and 86, 30 common, 87 make, 87a break",
            DIN,
            "30–87a closed; 85–86 coil".into(),
            Limit::Same,
            Box::new(|| drawn(&relay("none"))),
            "relay_terminals",
        ),
        check(
            "a relay with a diode across its coil: anode on 85",
            DATASHEET,
            "30–87a closed; 85–86 coil; diode, anode on 85, cathode on 86".into(),
            Limit::Same,
            Box::new(|| drawn(&relay("diode"))),
            "relay_terminals",
        ),
        check(
            "power of a coil of 85 Ω at 12 V, W",
            DATASHEET,
            1.7.into(),
            Limit::Share(0.01),
            Box::new(|| (144.0 / ohms(&relay("none"))).into()),
            "relay_coil",
        ),
        check(
            "cold filament of a lamp of 12 V and 21 W, a tenth of 6.9 Ω hot, Ω",
            FILAMENT,
            0.69.into(),
            Limit::Share(0.01),
            Box::new(|| {
                let lamp = "[lamp.P1]\npower = \"21 W\"\nvolts = \"12 V\"\n";
                ohms(&with(lamp, &["1", "2"])).into()
            }),
            "cold_filament",
        ),
    ]
}

crate::checked!(relay_terminals, relay_coil, cold_filament);

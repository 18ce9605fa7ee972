//! The 13-pin trailer socket, ISO 11446, as a connector maker's page gives it
//! (*read*), against `fixtures/plans/socket-13-pin.toml` as it is read.
//!
//! That the returns 3, 11 and 13 are not joined is from trailerbest.com, quoting
//! the standard (*read*).

use loomproof::plan::Plan;
use loomproof::plan::colour::Colour;
use loomproof::plan::model::{Consumer, End, Job, Lead, Terminal};
use loomproof_core::circuit::{Edit, GROUND};
use loomproof_core::layout::Islands;
use loomproof_core::wire::Place;

use super::check::{Check, Limit, Ours, Status, Value};
use super::ours::{circuit, job};
use crate::skip::top;

const PAGE: &str = "ISO 11446, a connector maker's page";
const QUOTED: &str = "ISO 11446, quoted at trailerbest.com";

/// Pin, function, colour, mm².
const PINS: [(u16, &str, &str, f64); 12] = [
    (1, "left indicator", "yellow", 1.5),
    (2, "rear fog lamp", "blue", 1.5),
    (3, "return for 1 to 8", "white", 2.5),
    (4, "right indicator", "green", 1.5),
    (5, "right tail lamp", "brown", 1.5),
    (6, "stop lamp", "red", 1.5),
    (7, "left tail lamp", "black", 1.5),
    (8, "reversing lamp", "pink", 1.5),
    (9, "permanent plus", "orange", 2.5),
    (10, "ignition plus", "grey", 2.5),
    (11, "return for 10", "white with black tracer", 2.5),
    (13, "return for 9", "white with red tracer", 2.5),
];

fn socket() -> Job {
    let path = top().join("fixtures/plans/socket-13-pin.toml");
    let plan = Plan::load(&path).unwrap_or_else(|rejected| panic!("{}", rejected.render(false)));
    job(&plan)
}

fn leads(job: &Job, pin: u16) -> Vec<&Lead> {
    let end = End::Cavity("X20".to_owned(), pin);
    let here = |lead: &&Lead| lead.from == end || lead.to == end;
    job.leads.iter().filter(here).collect()
}

/// What the lead of a pin is, in words.
fn wire(pin: u16) -> Value {
    let job = socket();
    let one = |lead: &&Lead| {
        let colour = Colour::parse(&lead.colour).map_or_else(|_| "none".to_owned(), Colour::words);
        format!("{colour}, {} mm²", lead.size.0)
    };
    let all: Vec<String> = leads(&job, pin).iter().map(one).collect();
    all.join("; ").into()
}

/// What a pin is for, by the conductor its lead taps, the feed it goes to, or
/// the loads that return there.
fn function(pin: u16) -> Value {
    let job = socket();
    let Some(lead) = leads(&job, pin).first().copied() else {
        return "nothing".into();
    };
    let words = match &lead.to {
        End::Tap(tap) => {
            let on = job.taps.iter().find(|it| it.name == *tap).map(|it| &it.on);
            let conductor = job.conductors.iter().find(|it| Some(&it.name) == on);
            let words = conductor.and_then(|it| it.function.clone()).unwrap_or_default();
            // Which side the vehicle's only fog lamp is on is an option.
            words.split(", ").next().unwrap_or_default().to_owned()
        }
        End::Cavity(connector, cavity) => {
            let at = (connector.clone(), *cavity);
            let pin = job.electrics.pins.iter().find(|it| it.at == at);
            let words = pin.and_then(|it| it.function.clone()).unwrap_or_default();
            words.replace(" feed", " plus")
        }
        End::Ring(_) => format!("return for {}", returning(&job, pin)),
        other => other.to_string(),
    };
    words.into()
}

/// The pins whose trailer loads return at this one.
fn returning(job: &Job, pin: u16) -> String {
    let number = |terminal: &Terminal| match terminal {
        Terminal::At(End::Cavity(connector, cavity)) if connector == "X20" => Some(*cavity),
        _ => None,
    };
    let back = |load: &Consumer| {
        let (plus, minus) = (number(&load.between.0), number(&load.between.1));
        plus.filter(|_| minus == Some(pin))
    };
    let mut from: Vec<u16> = job.electrics.loads.iter().filter_map(back).collect();
    if from.len() > 1 {
        // The return itself is within its own range.
        from.push(pin);
    }
    from.sort_unstable();
    match (from.first(), from.last()) {
        (Some(first), Some(last))
            if from.len() > 1 && usize::from(last - first) + 1 == from.len() =>
        {
            format!("{first} to {last}")
        }
        _ => from.iter().map(u16::to_string).collect::<Vec<_>>().join(" and "),
    }
}

/// Which of the pins hang together in the harness alone, chassis left out.
fn joined(pins: &[u16]) -> Value {
    let (_, model) = circuit(&socket(), Place::Bench);
    let edits: [Edit; 0] = [];
    let islands = Islands::of(&model.circuit, &edits);
    let group = |pin: u16| {
        let nodes = model.places.cavities.get(&("X20".to_owned(), pin));
        nodes.map(|nodes| islands.group(nodes.mating_side))
    };
    let chassis = Some(islands.group(GROUND));
    let mut words = Vec::new();
    for (at, &one) in pins.iter().enumerate() {
        for &other in &pins[at + 1..] {
            if group(one).is_none() || group(one) == group(other) || group(one) == chassis {
                words.push(format!("{one} and {other} joined"));
            }
        }
    }
    if words.is_empty() { "apart".into() } else { words.join(", ").into() }
}

/// Its checks.
#[must_use]
pub fn checks() -> Vec<Check> {
    let mut checks = Vec::new();
    let mut add = |what: String, source, theirs: Value, ours: Ours, test| {
        checks.push(Check {
            what,
            source,
            status: Status::Read,
            theirs,
            limit: Limit::Same,
            ours,
            test,
        });
    };
    for (pin, what, colour, size) in PINS {
        let wanted = format!("{colour}, {size} mm²");
        let ours: Ours = Box::new(move || wire(pin));
        add(format!("pin {pin}, its core"), PAGE, wanted.into(), ours, "cores");
        let ours: Ours = Box::new(move || function(pin));
        add(format!("pin {pin}, what for"), PAGE, what.into(), ours, "functions");
    }
    let ours: Ours = Box::new(|| function(12));
    add("pin 12, reserved".to_owned(), PAGE, "nothing".into(), ours, "functions");
    let ours: Ours = Box::new(|| joined(&[3, 11, 13]));
    let what = "returns 3, 11 and 13 in the harness".to_owned();
    add(what, QUOTED, "apart".into(), ours, "what_is_not_joined");
    let ours: Ours = Box::new(|| joined(&[5, 7]));
    let what = "tail lamps 5 and 7 in the harness".to_owned();
    add(what, QUOTED, "apart".into(), ours, "what_is_not_joined");
    checks
}

crate::checked!(cores, functions, what_is_not_joined);

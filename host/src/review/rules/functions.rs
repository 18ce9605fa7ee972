//! Functions: can a reading verify them, and is it said when they are on?

use std::collections::BTreeSet;

use loomproof_core::circuit::{GROUND, NodeId, Part as Element};

use crate::plan::model::{End, Job, Terminal};
use crate::review::finding::{Finding, Level, source};
use crate::review::network::{Gate, Network, What};
use crate::review::part::Part;

/// The nodes that a function's place stands for.
pub fn nodes_of(place: &str, job: &Job, network: &Network) -> Vec<NodeId> {
    let mut nodes = Vec::new();
    for (end, node) in &network.ends {
        let written = end.to_string();
        let thing = written.split(':').next().unwrap_or_default();
        let stem = thing
            .strip_suffix("-A")
            .or_else(|| thing.strip_suffix("-B"));
        let short = written
            .strip_suffix(":1")
            .filter(|_| matches!(end, End::Plug(..)));
        if written == place || thing == place || stem == Some(place) || short == Some(place) {
            nodes.push(*node);
        }
    }
    nodes.extend(network.bodies.get(place));
    for branch in &network.branches {
        let ours = match &branch.what {
            What::Lead(lead) => job.leads[*lead].name == place,
            What::Load(load) => job.electrics.loads[*load].name == place,
            _ => false,
        };
        if ours {
            nodes.extend([branch.a, branch.b]);
        }
    }
    nodes
}

/// What hangs together with some nodes. Dead: as the harness lies there with
/// everything off; otherwise through every contact, diode and fuse.
pub fn net(start: &[NodeId], network: &Network, dead: bool) -> BTreeSet<NodeId> {
    let mut net: BTreeSet<NodeId> = start.iter().copied().collect();
    loop {
        let before = net.len();
        for branch in &network.branches {
            let passes = match branch.part {
                Element::Wire { .. } => {
                    !dead || matches!(branch.gate, Gate::Open | Gate::Relay(_, false))
                }
                Element::Diode(_) => !dead && !matches!(branch.what, What::Suppression(_)),
                _ => false,
            };
            if !passes {
                continue;
            }
            for (here, there) in [(branch.a, branch.b), (branch.b, branch.a)] {
                if here != GROUND && net.contains(&here) {
                    net.insert(there);
                }
            }
        }
        if net.len() == before {
            return net;
        }
    }
}

/// Checks every function.
pub fn check(part: &Part<'_>, found: &mut Vec<Finding>) {
    let job = part.job;
    let network = part.with.network;
    for function in &job.functions {
        for place in &function.seen_at {
            if let Some(why) = unverifiable(place, job, network) {
                let say = format!("No reading can verify {} at {place}: {why}.", function.name);
                let fix = "name a place that a probe lead can touch: a cavity, a part's terminal, the tapped conductor";
                let finding = Finding::new(
                    "function-not-verifiable",
                    Level::Wrong,
                    source::READING,
                    place,
                    say,
                    fix,
                );
                found.push(finding);
            }
        }
        let drawing = part
            .wishes
            .iter()
            .any(|wish| wish.functions.contains(&function.name));
        let stated = job.electrics.on_when.contains_key(&function.name);
        if stated && !drawing {
            let say = format!(
                "{} says when it is on, but nothing that draws current is at {}.",
                function.name,
                function.seen_at.join(", ")
            );
            let fix = "state the consumer as [load.NAME], and name it or its cavity in `seen_at`";
            found.push(Finding::new(
                "function-without-load",
                Level::Note,
                source::PRACTICE,
                &function.name,
                say,
                fix,
            ));
        } else if !stated && drawing {
            let say = format!(
                "The plan does not say when {} is to be on; whether it is ever fed by a back way cannot be told.",
                function.name
            );
            let fix = "state it: on_when = \"ignition == on\", with [switch.ignition] declared";
            found.push(Finding::new(
                "function-not-stated",
                Level::Note,
                source::PRACTICE,
                &function.name,
                say,
                fix,
            ));
        }
    }
    for (drawing, wish) in network.drawing.iter().zip(&part.wishes) {
        if let (What::Load(load), true) = (&drawing.what, wish.functions.is_empty()) {
            let load = &job.electrics.loads[*load].name;
            let say = format!("Load {load} belongs to no function.");
            let fix = format!("name {load} in a function's `seen_at`");
            found.push(Finding::new(
                "load-without-function",
                Level::Note,
                source::PRACTICE,
                load,
                say,
                fix,
            ));
        }
    }
}

/// Why no reading can verify a place, if so.
fn unverifiable(place: &str, job: &Job, network: &Network) -> Option<&'static str> {
    let nodes = nodes_of(place, job, network);
    let led = |node: &NodeId| {
        network
            .branches
            .iter()
            .any(|branch| branch.a == *node || branch.b == *node)
    };
    if !nodes.iter().any(led) {
        return Some("nothing of the harness is there");
    }
    let net = net(&nodes, network, true);
    let mut points = 0;
    for (end, node) in &network.ends {
        let touched = matches!(end, End::Cavity(..) | End::Part(..));
        points += usize::from(touched && net.contains(node));
    }
    for conductor in &job.conductors {
        let here = network
            .bodies
            .get(&conductor.name)
            .is_some_and(|node| net.contains(node));
        if here && conductor.data_bus {
            return Some("it hangs on a data bus, which is never driven");
        }
        points += if here { conductor.at.len() } else { 0 };
    }
    points += usize::from(net.contains(&GROUND));
    let loads = job.electrics.loads.iter().filter(|load| load.name == place);
    let grounded = loads
        .clone()
        .any(|load| load.between.1 == Terminal::Chassis);
    match points {
        0 => Some("there is no point of it that a probe lead can touch"),
        1 if !grounded => Some("there is only one point of it that a probe lead can touch"),
        _ => None,
    }
}

//! Fuses against wires and loads, leads without a fuse, shorts.

use std::collections::BTreeMap;

use loomproof_core::circuit::{GROUND, Part as Element};

use crate::review::finding::{Finding, Level, source};
use crate::review::network::{Fused, What};
use crate::review::part::{Part, state_words};
use crate::review::peaks::Peaks;
use crate::review::route::{Step, conductor, from_feed, words};
use crate::review::wire::{carries, recommended, whole};

/// Without a stated fuse, less than this is not looked at as a short (common
/// practice).
const NO_SHORT: f64 = 30.0;

/// An unfused stretch may be this long (common practice).
const UNFUSED: f64 = 0.3;

/// A metric size counts as the AWG it is sold beside, 0.5 mm² as 20 and
/// 0.75 mm² as 18, which carry up to 7 % more (common practice).
const NEAR: f64 = 1.07;

/// A fuse carries this share of its rating for ever (common practice).
const LASTING: f64 = 0.8;

/// A fuse stands this many times its rating for 0.1 s (ISO 8820-3, see
/// [`source::INRUSH`]).
const INRUSH: f64 = 6.0;

/// A feed whose fuse is not stated, and one without a fuse, as amperes.
const NOT_STATED: f64 = 1e6;
const BARE: f64 = f64::INFINITY;

/// Checks fuses and what they protect.
pub fn check(part: &mut Part<'_>, peaks: &Peaks, found: &mut Vec<Finding>) {
    wires(part, found);
    for (branch, peak) in part.with.network.branches.iter().zip(&peaks.branches) {
        if peaks.in_short(part, branch.a, branch.b) {
            continue;
        }
        if let What::Fuse(fuse) = branch.what {
            let fuse = &part.job.fuses[fuse];
            let place = format!("fuse {}", fuse.name);
            loaded(part, &fuse.name, &place, fuse.rating.0, peak, found);
        }
    }
    for (at, branch) in part.with.network.branches.iter().enumerate() {
        let What::Fuse(fuse) = branch.what else {
            continue;
        };
        let fuse = &part.job.fuses[fuse];
        let cold = peaks.cold[at];
        if cold > INRUSH * fuse.rating.0 {
            let say = format!(
                "Cold filaments draw {cold:.0} A through fuse {} ({} A) for a moment.",
                fuse.name, fuse.rating.0
            );
            let fix = "a larger fuse with a wire that fits it, or fewer lamps on it";
            let finding = Finding::new(
                "fuse-inrush",
                Level::Note,
                source::INRUSH,
                &fuse.name,
                say,
                fix,
            );
            found.push(
                finding
                    .value("inrush", cold, "A")
                    .value("fuse", fuse.rating.0, "A"),
            );
        }
    }
    for (feed, peak) in part.with.network.feeds.iter().zip(&peaks.feeds) {
        if peaks.in_short(part, feed.node, feed.node) {
            continue;
        }
        if let (Fused::By(rating), None, None) = (feed.fuse, feed.most, &feed.consumer) {
            let place = format!(
                "the vehicle's fuse before {}",
                conductor(&feed.name, part.job)
            );
            loaded(part, &feed.name, &place, rating.0, peak, found);
        }
    }
}

fn loaded(
    part: &Part<'_>,
    place: &str,
    what: &str,
    rating: f64,
    peak: &crate::review::peaks::Peak,
    found: &mut Vec<Finding>,
) {
    if peak.amperes <= LASTING * rating {
        return;
    }
    let state = part.state_at(peak);
    let when = state_words(&state);
    let (level, origin, say) = if peak.amperes > rating {
        let say = format!("{what} ({rating} A) carries {:.1} A {when}.", peak.amperes);
        (Level::Wrong, source::FUSE_CURVE, say)
    } else {
        let say = format!(
            "{what} ({rating} A) carries {:.1} A {when}, more than {:.0} % of its rating.",
            peak.amperes,
            LASTING * 100.0
        );
        (Level::Note, source::PRACTICE, say)
    };
    let say = crate::diagnosis::words::capital(&say);
    let fix = "a larger fuse where every wire behind it allows that, or a feed of its own for part of the load";
    let finding = Finding::new("fuse-load", level, origin, place, say, fix);
    found.push(
        finding
            .value("current", peak.amperes, "A")
            .value("fuse", rating, "A")
            .state(state),
    );
}

/// Battery plus joined to chassis by metal alone. Islands with a short are
/// noted: what else flows there means nothing.
pub fn shorts(part: &mut Part<'_>, peaks: &mut Peaks, found: &mut Vec<Finding>) {
    for feed in 0..peaks.feeds.len() {
        let it = &part.with.network.feeds[feed];
        let peak = &peaks.feeds[feed];
        let least = match it.fuse {
            Fused::By(rating) => rating.0,
            Fused::NotStated | Fused::Bare => NO_SHORT,
        };
        let (Some(setting), None, true) = (&peak.setting, &it.consumer, peak.amperes > least)
        else {
            continue;
        };
        let Some(home) = part.with.home(it.node) else {
            continue;
        };
        let solution = part.with.solve(home, setting);
        let route = from_feed(&part.with, part.with.volts(home, solution), setting, feed);
        let metal = route.0.iter().all(|step| match *step {
            Step::Along(branch, _) => !matches!(
                part.with.network.branches[branch].part,
                Element::Resistor { .. } | Element::Load { .. }
            ),
            _ => true,
        });
        if !metal {
            continue;
        }
        peaks.shorted.insert(home);
        let state = part.state(setting);
        let name = conductor(&it.name, part.job);
        let say = format!(
            "{name} is joined to chassis {}: a short.",
            state_words(&state)
        );
        let fix = "open this route: plus and chassis meet there without a load between them";
        let finding = Finding::new("short", Level::Wrong, source::COMPUTED, &it.name, say, fix);
        let route = words(&route, &part.with, part.job);
        found.push(
            finding
                .value("current", peak.amperes, "A")
                .route(route)
                .state(state),
        );
    }
}

/// The largest fuse through which a short at each node can be fed: the widest
/// way from any feed, over everything that is metal when it is closed.
fn protection(part: &Part<'_>) -> Vec<(f64, Option<usize>)> {
    let network = part.with.network;
    let mut best: Vec<(f64, Option<usize>)> = vec![(0.0, None); usize::from(network.nodes)];
    let mut queue: Vec<usize> = Vec::new();
    for (number, feed) in network.feeds.iter().enumerate() {
        if feed.consumer.is_some() {
            continue;
        }
        let width = match feed.fuse {
            Fused::By(rating) => rating.0,
            Fused::NotStated => NOT_STATED,
            Fused::Bare => BARE,
        };
        let node = usize::from(feed.node.0);
        if width > best[node].0 {
            best[node] = (width, Some(number));
            queue.push(node);
        }
    }
    let mut at_node: Vec<Vec<usize>> = vec![Vec::new(); usize::from(network.nodes)];
    for (number, branch) in network.branches.iter().enumerate() {
        at_node[usize::from(branch.a.0)].push(number);
        at_node[usize::from(branch.b.0)].push(number);
    }
    while let Some(node) = queue.pop() {
        let (width, feed) = best[node];
        for &number in &at_node[node] {
            let branch = &network.branches[number];
            let forward = usize::from(branch.a.0) == node;
            let passes = match branch.part {
                Element::Wire { .. } => !matches!(branch.what, What::ToChassis(_)),
                Element::Diode(_) => forward && !matches!(branch.what, What::Suppression(_)),
                _ => false,
            };
            let next = if forward { branch.b } else { branch.a };
            if !passes || next == GROUND {
                continue;
            }
            let width = match branch.what {
                What::Fuse(fuse) => width.min(part.job.fuses[fuse].rating.0),
                What::Switch(switch) => part.job.electrics.switches[switch]
                    .fused
                    .map_or(width, |limit| width.min(limit.0)),
                _ => width,
            };
            let next = usize::from(next.0);
            if width > best[next].0 {
                best[next] = (width, feed);
                queue.push(next);
            }
        }
    }
    best
}

/// Leads of one size behind one fuse, between the table's fuse and its breaker.
struct AboveTable {
    width: f64,
    table: f64,
    most: f64,
    leads: Vec<String>,
}

/// Every lead against the fuse that protects it.
fn wires(part: &Part<'_>, found: &mut Vec<Finding>) {
    let best = protection(part);
    let mut not_stated: Vec<usize> = Vec::new();
    let mut above_table: BTreeMap<(String, String), AboveTable> = BTreeMap::new();
    for branch in &part.with.network.branches {
        let What::Lead(lead) = branch.what else {
            continue;
        };
        let lead = &part.job.leads[lead];
        let (a, b) = (best[usize::from(branch.a.0)], best[usize::from(branch.b.0)]);
        let (width, feed) = if a.0 >= b.0 { a } else { b };
        let Some(feed) = feed else { continue };
        let from = conductor(&part.with.network.feeds[feed].name, part.job);
        let (most, table) = (carries(lead.size).0, recommended(lead.size).0);
        if width == BARE {
            let level = if lead.length.0 > UNFUSED {
                Level::Wrong
            } else {
                Level::Note
            };
            let say = format!(
                "Lead {} ({}, {} m) is fed from {from} without a fuse.",
                lead.name, lead.size_text, lead.length.0
            );
            let fix = format!(
                "a fuse of at most {most:.0} A within {UNFUSED} m of the source; where there is one, state it: fused = \"… A\""
            );
            let finding = Finding::new(
                "lead-unfused",
                level,
                source::FUSE_PLACE,
                &lead.name,
                say,
                fix,
            );
            found.push(
                finding
                    .value("length", lead.length.0, "m")
                    .value("carries", most, "A"),
            );
        } else if width == NOT_STATED {
            if !not_stated.contains(&feed) {
                not_stated.push(feed);
            }
        } else if width > most * NEAR {
            let say = format!(
                "Lead {} ({}) is protected by {width} A; its size may be protected by at most {most:.1} A.",
                lead.name, lead.size_text
            );
            let fix = format!(
                "a fuse of at most {most:.0} A, or {} mm2 and more",
                whole(width)
            );
            let finding = Finding::new(
                "wire-fuse",
                Level::Wrong,
                source::WIRE_FUSE,
                &lead.name,
                say,
                fix,
            );
            found.push(
                finding
                    .value("fuse", width, "A")
                    .value("carries", most, "A"),
            );
        } else if width > table * NEAR {
            let key = (lead.size_text.clone(), width.to_string());
            let group = above_table.entry(key).or_insert(AboveTable {
                width,
                table,
                most,
                leads: Vec::new(),
            });
            group.leads.push(lead.name.clone());
        }
    }
    for ((size, _), group) in above_table {
        let AboveTable {
            width,
            table,
            most,
            leads,
        } = group;
        let place = leads.join(", ");
        let verb = if leads.len() == 1 { "is" } else { "are" };
        let say = format!(
            "{place} ({size}) {verb} protected by {width} A: above the table's fuse of {table:.1} A, within its breaker of {most:.1} A (a metric size may take 7 % more)."
        );
        let fix =
            "fine for a lead that lies free; in a thick loom take a smaller fuse or a thicker lead";
        let finding = Finding::new("wire-fuse", Level::Note, source::WIRE_FUSE, place, say, fix);
        found.push(finding.value("fuse", width, "A").value("table", table, "A"));
    }
    for feed in not_stated {
        let name = &part.with.network.feeds[feed].name;
        let say = format!(
            "The plan does not say which fuse is before {}; wires behind it are not compared with one.",
            conductor(name, part.job)
        );
        let fix = "state it: fused = \"10 A\"";
        found.push(Finding::new(
            "fuse-not-stated",
            Level::Note,
            source::PRACTICE,
            name,
            say,
            fix,
        ));
    }
}

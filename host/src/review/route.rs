//! The way that current takes through a consumer, as a fitter follows it.

use loomproof_core::circuit::{GROUND, NodeId};

use super::islands::{Islands, Setting};
use super::network::{Across, Branch, What};
use crate::plan::model::{End, Job};

/// One step of a route.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Step {
    /// Out of battery plus through a feed.
    From(usize),
    /// Through a branch; `true` when from its first node to its second.
    Along(usize, bool),
    /// Into chassis.
    Chassis,
}

/// A route from battery plus to chassis.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Route(pub Vec<Step>);

/// Follows the strongest current through a consumer, up to battery plus and
/// down to chassis.
#[must_use]
pub fn through_consumer(
    islands: &Islands<'_>,
    volts: &[f64],
    setting: &Setting,
    across: Across,
) -> Route {
    let Some(home) = islands.home_of(across) else {
        return Route::default();
    };
    let mut steps = Vec::new();
    let end = match across {
        Across::Feed(feed) => {
            steps.push(Step::From(feed));
            islands.network.feeds[feed].node
        }
        Across::Branch(branch) => {
            let forward = islands.across(volts, across).0 >= 0.0;
            let Branch { a, b, .. } = islands.network.branches[branch];
            let (from, to) = if forward { (a, b) } else { (b, a) };
            steps = upstream(islands, home, volts, setting, from, branch);
            steps.push(Step::Along(branch, forward));
            to
        }
    };
    let last = match steps.last() {
        Some(Step::Along(branch, _)) => Some(*branch),
        _ => None,
    };
    steps.extend(downstream(islands, home, volts, setting, end, last));
    Route(steps)
}

/// Follows the strongest current from a feed down to chassis.
#[must_use]
pub fn from_feed(islands: &Islands<'_>, volts: &[f64], setting: &Setting, feed: usize) -> Route {
    through_consumer(islands, volts, setting, Across::Feed(feed))
}

/// Branches at a node that let current pass, with the current away from it.
fn away(
    islands: &Islands<'_>,
    home: usize,
    volts: &[f64],
    setting: &Setting,
    node: NodeId,
) -> Vec<(usize, bool, f64)> {
    let mut found = Vec::new();
    for &number in &islands.list[home].branches {
        let branch = &islands.network.branches[number];
        if (branch.a != node && branch.b != node) || !setting.lets(&branch.gate) {
            continue;
        }
        let forward = branch.a == node;
        let current = islands.current(volts, number).0;
        found.push((number, forward, if forward { current } else { -current }));
    }
    found
}

fn upstream(
    islands: &Islands<'_>,
    home: usize,
    volts: &[f64],
    setting: &Setting,
    mut node: NodeId,
    through: usize,
) -> Vec<Step> {
    let mut steps = Vec::new();
    let mut used = vec![through];
    while node != GROUND {
        let feeds = islands.list[home].feeds.iter().filter(|&&feed| {
            let feed = &islands.network.feeds[feed];
            feed.node == node && setting.lets(&feed.gate)
        });
        let best_feed = feeds
            .map(|&feed| (feed, islands.fed(volts, feed).0))
            .max_by(|a, b| a.1.total_cmp(&b.1));
        let branches = away(islands, home, volts, setting, node);
        let best = branches
            .into_iter()
            .filter(|(branch, ..)| !used.contains(branch))
            .min_by(|a, b| a.2.total_cmp(&b.2));
        match (best_feed, best) {
            (Some((feed, current)), best) if best.is_none_or(|best| current >= -best.2) => {
                steps.push(Step::From(feed));
                break;
            }
            (_, Some((branch, forward, current))) if current < 0.0 => {
                used.push(branch);
                steps.push(Step::Along(branch, !forward));
                let it = &islands.network.branches[branch];
                node = if forward { it.b } else { it.a };
            }
            _ => break,
        }
    }
    steps.reverse();
    steps
}

fn downstream(
    islands: &Islands<'_>,
    home: usize,
    volts: &[f64],
    setting: &Setting,
    mut node: NodeId,
    through: Option<usize>,
) -> Vec<Step> {
    let mut steps = Vec::new();
    let mut used: Vec<usize> = through.into_iter().collect();
    while node != GROUND {
        let best = away(islands, home, volts, setting, node)
            .into_iter()
            .filter(|(branch, ..)| !used.contains(branch))
            .max_by(|a, b| a.2.total_cmp(&b.2));
        match best {
            Some((branch, forward, current)) if current > 0.0 => {
                used.push(branch);
                steps.push(Step::Along(branch, forward));
                let it = &islands.network.branches[branch];
                node = if forward { it.b } else { it.a };
            }
            _ => return steps,
        }
    }
    steps.push(Step::Chassis);
    steps
}

/// The name of a branch in a sentence.
#[must_use]
pub fn name(what: &What, job: &Job) -> String {
    match what {
        What::Lead(lead) => {
            let lead = &job.leads[*lead];
            format!("{} ({})", lead.name, lead.colour)
        }
        What::Tap(name) => format!("tap {name}"),
        What::Mating(at) => at.clone(),
        What::Way(way) => format!("plug {way}"),
        What::Fuse(fuse) => format!("fuse {}", job.fuses[*fuse].name),
        What::Coil(relay) => format!("coil of {}", job.relays[*relay].name),
        What::Suppression(relay) => format!("part across the coil of {}", job.relays[*relay].name),
        What::Contact(relay, make) => {
            format!(
                "{} 30-{}",
                job.relays[*relay].name,
                if *make { "87" } else { "87a" }
            )
        }
        What::Diode(name) => format!("diode {name}"),
        What::Lamp(lamp) => format!("lamp {}", job.lamps[*lamp].name),
        What::Load(load) => job.electrics.loads[*load].name.clone(),
        What::Switch(switch) => format!("switch {}", job.electrics.switches[*switch].name),
        What::Stretch(name) => conductor(name, job),
        What::Own(name) => format!("the vehicle's own consumer on {}", conductor(name, job)),
        What::ToChassis(name) => format!("{} (switched to chassis)", conductor(name, job)),
        What::Ring(name) => format!("ring {name}"),
    }
}

/// A conductor or pin with its function.
#[must_use]
pub fn conductor(name: &str, job: &Job) -> String {
    let conductors = job.conductors.iter().map(|it| (&it.name, &it.function));
    let pins = job.electrics.pins.iter().map(|it| (&it.name, &it.function));
    let function = conductors.chain(pins).find(|(own, _)| *own == name);
    match function.and_then(|(_, function)| function.as_ref()) {
        Some(function) => format!("{name} ({function})"),
        None => name.to_owned(),
    }
}

/// The route in words, one place after the other.
#[must_use]
pub fn words(route: &Route, islands: &Islands<'_>, job: &Job) -> Vec<String> {
    let mut words: Vec<String> = Vec::new();
    let mut say = |word: String| {
        if words.last() != Some(&word) {
            words.push(word);
        }
    };
    for step in &route.0 {
        match *step {
            Step::From(feed) => {
                let feed = &islands.network.feeds[feed];
                say("battery plus".to_owned());
                match &feed.consumer {
                    Some(what) => say(name(what, job)),
                    None => say(conductor(&feed.name, job)),
                }
            }
            Step::Along(branch, forward) => {
                let branch = &islands.network.branches[branch];
                say(name(&branch.what, job));
                let to = if forward { branch.b } else { branch.a };
                if let Some(end) = islands.network.ends.iter().find(|(_, node)| **node == to)
                    && !matches!(end.0, End::Tap(_) | End::Ring(_) | End::Plug(..))
                {
                    say(end.0.to_string());
                } else if let Some((name, _)) =
                    islands.network.bodies.iter().find(|(_, node)| **node == to)
                {
                    say(conductor(name, job));
                }
            }
            Step::Chassis => say("chassis".to_owned()),
        }
    }
    words
}

/// What metal drops along a route, in volts: leads, joints, contacts, fuses.
#[must_use]
pub fn dropped(route: &Route, islands: &Islands<'_>, volts: &[f64]) -> f64 {
    let metal = route.0.iter().filter_map(|step| match *step {
        Step::Along(branch, _) => Some(branch),
        _ => None,
    });
    metal
        .filter(|&branch| {
            let part = &islands.network.branches[branch].part;
            matches!(part, loomproof_core::circuit::Part::Wire { .. })
        })
        .map(|branch| {
            let branch = &islands.network.branches[branch];
            (islands.voltage(volts, branch.a) - islands.voltage(volts, branch.b)).abs()
        })
        .sum()
}

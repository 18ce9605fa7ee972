//! Where a diode would break a route, proved by another search.

use loomproof_core::circuit::{Junction, Part as Element};

use crate::review::islands::Islands;
use crate::review::network::{Network, What};
use crate::review::part::{FED, Part, WORKS};
use crate::review::route::{Route, Step};
use crate::review::states::{Cluster, Visit, search};

/// Most combinations of a cluster for which diodes are tried.
const TRY_DIODES: u128 = 256;

/// A diode that never carries as much is a cut, in amperes (common practice).
const CONDUCTS: f64 = 1e-3;

/// What breaks the route: a diode that is proved by another search to stop it
/// without stopping anything that should work, or general advice.
pub(super) fn diode(
    part: &mut Part<'_>,
    cluster: &Cluster,
    visits: &[Visit],
    number: usize,
    route: &Route,
) -> String {
    let job = part.job;
    let general = "break this route: a feed, a ground or a switch of its own for one of the two, a diode, or a relay contact in the way";
    let small = cluster
        .switches
        .iter()
        .map(|&at| job.electrics.switches[at].states.len() as u128)
        .product::<u128>()
        <= TRY_DIODES;
    if !small {
        return general.to_owned();
    }
    // Of all that cure, the lead that carries least where all is as it should be.
    let mut best: Option<(f64, usize, bool)> = None;
    for step in &route.0 {
        let Step::Along(branch, forward) = *step else {
            continue;
        };
        let What::Lead(lead) = part.with.network.branches[branch].what else {
            continue;
        };
        let mut network: Network = part.with.network.clone();
        let it = &mut network.branches[branch];
        // The anode where this current comes out: it is blocked.
        if forward {
            std::mem::swap(&mut it.a, &mut it.b);
        }
        it.part = Element::Diode(Junction::SILICON);
        if cures(part, &network, cluster, visits, (number, branch)) {
            let carried = carried(part, visits, number, branch);
            if best.is_none_or(|(least, ..)| carried < least - 1e-6) {
                best = Some((carried, lead, forward));
            }
        }
    }
    let Some((_, lead, forward)) = best else {
        return general.to_owned();
    };
    let lead = &job.leads[lead];
    let towards = if forward { &lead.from } else { &lead.to };
    format!(
        "break this route: for example a diode in {}, cathode towards {towards} (tried: it stops this and keeps everything else); or a feed, ground or contact of its own",
        lead.name
    )
}

/// The most that a branch carries in the states in which a consumer is as it
/// should be, in amperes.
fn carried(part: &mut Part<'_>, visits: &[Visit], number: usize, branch: usize) -> f64 {
    let supply = part.with.supply.0;
    let node = part.with.network.branches[branch].a;
    let Some(home) = part.with.home(node) else {
        return 0.0;
    };
    let mut most = 0.0_f64;
    for visit in visits {
        let on = part.wishes[number].on(&visit.setting) == Some(true);
        if on || part.across(number, &visit.setting).abs() < FED * supply {
            let solution = part.with.solve(home, &visit.setting);
            let volts = part.with.volts(home, solution);
            most = most.max(part.with.current(volts, branch).0.abs());
        }
    }
    most
}

/// Whether the diode in a branch stops what feeds a consumer, without stopping
/// a relay or a function, and is more than a cut: it conducts in some state.
fn cures(
    part: &Part<'_>,
    network: &Network,
    cluster: &Cluster,
    before: &[Visit],
    (number, branch): (usize, usize),
) -> bool {
    let supply = part.with.supply.0;
    let mut islands = Islands::new(network, part.with.supply);
    let found = search(&mut islands, cluster, part.job, TRY_DIODES as usize);
    let used = |visits: &[Visit]| visits.iter().fold(0, |bits, it| bits | it.setting.relays);
    let home = islands.home(network.branches[branch].a);
    let conducts = home.is_some_and(|home| {
        found.visits.iter().any(|visit| {
            let solution = islands.solve(home, &visit.setting);
            islands.current(islands.volts(home, solution), branch).0 > CONDUCTS
        })
    });
    if used(&found.visits) != used(before) || !conducts {
        return false;
    }
    let all = part.drawing_in(cluster);
    found.visits.iter().all(|visit| {
        all.iter().all(|&other| {
            let across = network.drawing[other].across;
            let Some(home) = islands.home_of(across) else {
                return true;
            };
            let solution = islands.solve(home, &visit.setting);
            let volts = islands
                .across(islands.volts(home, solution), across)
                .0
                .abs();
            match part.wishes[other].on(&visit.setting) {
                Some(true) => volts > WORKS * supply,
                Some(false) => volts < FED * supply || other != number,
                None if other == number => {
                    let twin = &network.drawing[other].what;
                    let off = part
                        .without
                        .network
                        .drawing
                        .iter()
                        .all(|it| it.what != *twin);
                    off || volts < FED * supply || was_on(part, other, visit)
                }
                None => true,
            }
        })
    })
}

/// Whether the vehicle's own consumer is on by itself in a state.
fn was_on(part: &Part<'_>, number: usize, visit: &Visit) -> bool {
    let network = part.without.network;
    let what = &part.with.network.drawing[number].what;
    let Some(twin) = network.drawing.iter().find(|it| it.what == *what) else {
        return false;
    };
    let mut islands = Islands::new(network, part.with.supply);
    let Some(home) = islands.home_of(twin.across) else {
        return false;
    };
    let solution = islands.solve(home, &visit.setting);
    islands
        .across(islands.volts(home, solution), twin.across)
        .0
        .abs()
        > FED * part.with.supply.0
}

//! Back-feed routes: what is fed, held on or robbed in a state where it should
//! not be, found by search over the states.

use super::diodes::diode;
use crate::plan::model::Job;
use crate::review::finding::{Finding, Level, source};
use crate::review::islands::{Setting, bit};
use crate::review::network::What;
use crate::review::part::{FED, Part, WORKS, state_words};
use crate::review::route::{Route, name, through_consumer, words};
use crate::review::states::{Cluster, Visit};

/// What a consumer does in the states of its cluster.
#[derive(Default)]
struct Seen<'v> {
    fed_though_off: Vec<(&'v Visit, f64)>,
    dead_though_on: Vec<(&'v Visit, f64)>,
    back_fed: Vec<(&'v Visit, f64)>,
    robbed: Vec<(&'v Visit, f64)>,
}

/// Looks at every consumer in every state.
pub fn check(part: &mut Part<'_>, found: &mut Vec<Finding>) {
    let searches = std::mem::take(&mut part.searches);
    for (cluster, search) in &searches {
        for number in part.drawing_in(cluster) {
            let seen = watch(part, number, &search.visits);
            report(part, cluster, number, &seen, &search.visits, found);
        }
        if let Some(setting) = &search.chatter {
            let state = part.state(setting);
            let relays = cluster
                .relays
                .iter()
                .map(|&at| part.job.relays[at].name.as_str());
            let place = relays.collect::<Vec<_>>().join(", ");
            let say = format!(
                "{place} pulls in and lets go without end {}.",
                state_words(&state)
            );
            let fix = "feed the coil from a point that its own contact does not switch";
            let finding = Finding::new(
                "relay-chatter",
                Level::Wrong,
                source::COMPUTED,
                place,
                say,
                fix,
            );
            found.push(finding.state(state));
        }
        super::grounds::check(part, cluster, &search.visits, found);
    }
    part.searches = searches;
}

fn watch<'v>(part: &mut Part<'_>, number: usize, visits: &'v [Visit]) -> Seen<'v> {
    let supply = part.with.supply.0;
    let drawing = part.with.network.drawing[number].clone();
    let mut seen = Seen::default();
    if matches!(drawing.what, What::Coil(_)) {
        return seen;
    }
    let twin = part
        .without
        .network
        .drawing
        .iter()
        .position(|it| it.what == drawing.what);
    for visit in visits {
        let volts = part.across(number, &visit.setting).abs();
        match part.wishes[number].on(&visit.setting) {
            Some(false) if volts > FED * supply => seen.fed_though_off.push((visit, volts)),
            Some(true) if volts < WORKS * supply => seen.dead_though_on.push((visit, volts)),
            Some(_) => {}
            None if drawing.of_vehicle && part.wishes[number].functions.is_empty() => {
                let Some(twin) = twin else { continue };
                let before = before(part, twin, &visit.setting);
                if before < FED * supply && volts > FED * supply {
                    seen.back_fed.push((visit, volts));
                } else if before > 0.8 * supply && volts < WORKS * supply {
                    seen.robbed.push((visit, volts));
                }
            }
            None => {}
        }
    }
    seen
}

/// Voltage across the vehicle's own consumer without the harness.
fn before(part: &mut Part<'_>, twin: usize, setting: &Setting) -> f64 {
    let across = part.without.network.drawing[twin].across;
    let Some(home) = part.without.home_of(across) else {
        return 0.0;
    };
    let solution = part.without.solve(home, setting);
    let volts = part.without.volts(home, solution);
    part.without.across(volts, across).0.abs()
}

/// Place and words of a consumer.
pub(super) fn consumer(what: &What, job: &Job) -> (String, String) {
    let place = match what {
        What::Load(load) => job.electrics.loads[*load].name.clone(),
        What::Lamp(lamp) => job.lamps[*lamp].name.clone(),
        What::Own(own) => own.clone(),
        other => name(other, job),
    };
    let mut words = name(what, job);
    if let What::Load(load) = what
        && let Some(place) = &job.electrics.loads[*load].place
    {
        words = format!("{words} ({place})");
    }
    (place, words)
}

fn report(
    part: &mut Part<'_>,
    cluster: &Cluster,
    number: usize,
    seen: &Seen<'_>,
    visits: &[Visit],
    found: &mut Vec<Finding>,
) {
    let job = part.job;
    let what = part.with.network.drawing[number].what.clone();
    let (place, who) = consumer(&what, job);
    let functions = part.wishes[number].functions.join(", ");
    let who = crate::diagnosis::words::capital(&who);
    let (held, fed): (Vec<_>, Vec<_>) = seen
        .fed_though_off
        .iter()
        .partition(|(visit, _)| off_twin(visit, seen, visits).is_some());
    if let Some((visit, volts)) = fed.first() {
        let (route, steps) = shown(part, number, &visit.setting);
        let state = part.state(&visit.setting);
        let say = format!(
            "{who} gets {volts:.1} V {}, where {functions} should be off.",
            state_words(&state)
        );
        let fix = diode(part, cluster, visits, number, &steps);
        let origin = source::COMPUTED;
        let finding = Finding::new("sneak-feed", Level::Wrong, origin, place.clone(), say, fix);
        found.push(
            finding
                .value("voltage", *volts, "V")
                .value("states", fed.len() as f64, "states")
                .route(route)
                .state(state),
        );
    }
    if let Some((visit, volts)) = held.first() {
        // What holds is the current through the coil of a relay that is off
        // when the switches are set from rest.
        let twin = off_twin(visit, seen, visits).map_or(0, |twin| twin.setting.relays);
        let network = part.with.network;
        let coil = network.drawing.iter().position(|it| match it.what {
            What::Coil(relay) => bit(relay) & visit.setting.relays & !twin != 0,
            _ => false,
        });
        let (route, steps) = shown(part, coil.unwrap_or(number), &visit.setting);
        let state = part.state(&visit.setting);
        let by = coil.map_or(String::new(), |coil| {
            format!(
                ": what flows through the {} holds it",
                name(&network.drawing[coil].what, job)
            )
        });
        let say = format!(
            "{who} stays on ({volts:.1} V) {} once it was on, where {functions} should be off{by}.",
            state_words(&state)
        );
        let fix = diode(part, cluster, visits, number, &steps);
        let origin = source::COMPUTED;
        let finding = Finding::new("held-on", Level::Wrong, origin, place.clone(), say, fix);
        found.push(
            finding
                .value("voltage", *volts, "V")
                .value("states", held.len() as f64, "states")
                .route(route)
                .state(state),
        );
    }
    if let Some((visit, volts)) = seen.dead_though_on.first() {
        let state = part.state(&visit.setting);
        let say = format!(
            "{who} gets only {volts:.1} V {}, where {functions} should be on.",
            state_words(&state)
        );
        let fix = "follow it from battery plus to chassis in the plan: what opens, or drops the voltage, in this state? Or put the function's `on_when` right";
        let finding = Finding::new(
            "not-fed",
            Level::Wrong,
            source::COMPUTED,
            place.clone(),
            say,
            fix,
        );
        let (route, _) = shown(part, number, &visit.setting);
        found.push(
            finding
                .value("voltage", *volts, "V")
                .value("states", seen.dead_though_on.len() as f64, "states")
                .route(if *volts > 1e-3 { route } else { Vec::new() })
                .state(state),
        );
    }
    if let Some((visit, volts)) = seen.back_fed.first() {
        let state = part.state(&visit.setting);
        let (route, steps) = shown(part, number, &visit.setting);
        let say = format!(
            "{who} gets {volts:.1} V through the harness {}; without the harness it is off then.",
            state_words(&state)
        );
        let fix = format!(
            "{}; where that is meant, name {place} in the function's `seen_at`",
            diode(part, cluster, visits, number, &steps)
        );
        let finding = Finding::new(
            "back-feed",
            Level::Wrong,
            source::COMPUTED,
            place.clone(),
            say,
            fix,
        );
        found.push(
            finding
                .value("voltage", *volts, "V")
                .value("states", seen.back_fed.len() as f64, "states")
                .route(route)
                .state(state),
        );
    }
    if let Some((visit, volts)) = seen.robbed.first() {
        let state = part.state(&visit.setting);
        let say = format!(
            "{who} gets only {volts:.1} V {}; without the harness it is on then.",
            state_words(&state)
        );
        let fix = "take the new function off this conductor, or drive it through a relay whose coil the conductor can bear";
        let finding = Finding::new("robbed", Level::Wrong, source::COMPUTED, place, say, fix);
        found.push(finding.value("voltage", *volts, "V").state(state));
    }
}

/// The state in which the same switches find the consumer off when they are
/// set from rest, if this one is only reached by another way.
fn off_twin<'v>(visit: &Visit, seen: &Seen<'_>, visits: &'v [Visit]) -> Option<&'v Visit> {
    if visit.straight {
        return None;
    }
    let mut twins = visits
        .iter()
        .filter(|it| it.straight && it.setting.switches == visit.setting.switches);
    twins.find(|it| {
        let mut fed = seen.fed_though_off.iter();
        !fed.any(|(same, _)| same.setting == it.setting)
    })
}

/// The route of the current through a consumer, in words and steps.
fn shown(part: &mut Part<'_>, number: usize, setting: &Setting) -> (Vec<String>, Route) {
    let across = part.with.network.drawing[number].across;
    let Some(home) = part.with.home_of(across) else {
        return (Vec::new(), Route::default());
    };
    let solution = part.with.solve(home, setting);
    let route = through_consumer(&part.with, part.with.volts(home, solution), setting, across);
    (words(&route, &part.with, part.job), route)
}

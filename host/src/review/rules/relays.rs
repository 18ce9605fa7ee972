//! Relays: suppression, coil voltage, contacts.

use crate::plan::model::Suppression;
use crate::review::finding::{Finding, Level, source};
use crate::review::network::{RATED, What};
use crate::review::part::{Part, state_words};
use crate::review::peaks::Peaks;
use crate::review::route::conductor;
use crate::review::states::coil_volts;
use loomproof_core::copper::COEFFICIENT;

/// A suppression diode that sees more than this forwards is the wrong way
/// round (half of a silicon junction's 0.7 V).
const FORWARD: f64 = 0.35;

/// Checks every relay.
pub fn check(part: &mut Part<'_>, peaks: &Peaks, found: &mut Vec<Finding>) {
    let job = part.job;
    for (number, relay) in job.relays.iter().enumerate() {
        let name = relay.name.as_str();
        let (rated, operates, releases) = coil_volts(job, number);
        if relay.suppression == Suppression::None {
            let say = format!("Nothing limits the spike when the coil of {name} is switched off.");
            let fix = format!(
                "a relay with a diode (anode on 85) or a resistor across its coil; say so: suppression = \"diode\"{}",
                driver(part, number)
            );
            found.push(Finding::new(
                "coil-unsuppressed",
                Level::Wrong,
                source::SPIKE,
                name,
                say,
                fix,
            ));
        }
        if (rated.0 / job.supply.0 - 1.0).abs() > 0.3 {
            let say = format!(
                "The coil of {name} is made for {} V; the vehicle has {} V.",
                rated.0, job.supply.0
            );
            let fix = format!("a relay with a coil for {} V", job.supply.0);
            let finding =
                Finding::new("coil-volts", Level::Wrong, source::PRACTICE, name, say, fix);
            found.push(
                finding
                    .value("coil", rated.0, "V")
                    .value("supply", job.supply.0, "V"),
            );
        }
        coil(part, number, operates.0, releases.0, found);
        contacts(part, number, peaks, found);
    }
}

/// ", as it is driven by an output …" where it is.
fn driver(part: &Part<'_>, relay: usize) -> String {
    let network = part.with.network;
    let coil = network
        .branches
        .iter()
        .find(|branch| branch.what == What::Coil(relay));
    let Some(home) = coil.and_then(|coil| part.with.home(coil.a)) else {
        return String::new();
    };
    let mut outputs = part.with.list[home]
        .feeds
        .iter()
        .map(|&feed| &network.feeds[feed]);
    let output = outputs.find(|feed| feed.most.is_some());
    output.map_or(String::new(), |feed| {
        format!(
            "; {} may not stand the spike",
            conductor(&feed.name, part.job)
        )
    })
}

/// The coil's voltage in every state.
fn coil(part: &mut Part<'_>, relay: usize, operates: f64, releases: f64, found: &mut Vec<Finding>) {
    let job = part.job;
    let name = job.relays[relay].name.as_str();
    let network = part.with.network;
    let Some(number) = network
        .drawing
        .iter()
        .position(|it| it.what == What::Coil(relay))
    else {
        return;
    };
    // Copper: a warm coil needs more voltage for the same current.
    let warm = 1.0 + COEFFICIENT * (job.electrics.service.0 - RATED.0);
    let searches = std::mem::take(&mut part.searches);
    let mut weak = None;
    let mut reversed = None;
    let mut forward = false;
    for (cluster, search) in &searches {
        if !cluster.relays.contains(&relay) || !part.drawing_in(cluster).contains(&number) {
            continue;
        }
        for visit in &search.visits {
            let volts = part.across(number, &visit.setting);
            let strength = volts.abs();
            forward |= volts > releases;
            if strength >= releases && strength < operates * warm {
                let worse = weak.as_ref().is_none_or(|(most, _)| strength > *most);
                if worse {
                    weak = Some((strength, visit.setting.clone()));
                }
            }
            if job.relays[relay].suppression == Suppression::Diode && volts < -FORWARD {
                reversed.get_or_insert_with(|| visit.setting.clone());
            }
        }
    }
    part.searches = searches;
    if let Some((volts, setting)) = weak {
        let state = part.state(&setting);
        let say = format!(
            "The coil of {name} gets {volts:.1} V {}: it lets go below {releases:.1} V and pulls in at {:.1} V when warm, so it may do either.",
            state_words(&state),
            operates * warm
        );
        let fix = "give the coil the full supply in the states in which it is to pull in, and nothing in the others";
        let finding = Finding::new("coil-half-fed", Level::Wrong, source::COIL, name, say, fix);
        found.push(
            finding
                .value("voltage", volts, "V")
                .value("pulls in", operates * warm, "V")
                .value("lets go", releases, "V")
                .state(state),
        );
    }
    // A relay that is fed the right way at times is fitted the right way.
    if let Some(setting) = reversed.filter(|_| !forward) {
        let state = part.state(&setting);
        let say = format!(
            "86 of {name} is fed from chassis and 85 from plus {}: the diode across its coil conducts.",
            state_words(&state)
        );
        let fix = format!("exchange the leads at {name}:85 and {name}:86: plus belongs on 86");
        found.push(
            Finding::new(
                "coil-reversed",
                Level::Wrong,
                source::TERMINALS,
                name,
                say,
                fix,
            )
            .state(state),
        );
    }
}

fn contacts(part: &Part<'_>, relay: usize, peaks: &Peaks, found: &mut Vec<Finding>) {
    let job = part.job;
    let name = &job.relays[relay].name;
    let ratings = job.electrics.relays.get(name).copied().unwrap_or_default();
    for (make, rating, word) in [
        (true, ratings.contact, "87"),
        (false, ratings.break_contact, "87a"),
    ] {
        let branches = part.with.network.branches.iter();
        let Some(at) = branches
            .clone()
            .position(|branch| branch.what == What::Contact(relay, make))
        else {
            continue;
        };
        let peak = &peaks.branches[at];
        let it = &part.with.network.branches[at];
        if peak.amperes < 1e-3 || peaks.in_short(part, it.a, it.b) {
            continue;
        }
        let state = part.state_at(peak);
        let place = format!("{name}:{word}");
        let key = if make { "contact" } else { "break_contact" };
        let Some(rating) = rating else {
            if peak.amperes > 1.0 {
                let say = format!(
                    "Contact 30-{word} of {name} carries {:.1} A; the plan does not say what it is made for.",
                    peak.amperes
                );
                let fix = format!("state it: {key} = \"30 A\"");
                let finding = Finding::new(
                    "contact-not-stated",
                    Level::Note,
                    source::PRACTICE,
                    place,
                    say,
                    fix,
                );
                found.push(finding.value("current", peak.amperes, "A").state(state));
            }
            continue;
        };
        let cold = peaks.cold[at];
        if peak.amperes > rating.0 {
            let say = format!(
                "Contact 30-{word} of {name} is made for {} A and carries {:.1} A {}.",
                rating.0,
                peak.amperes,
                state_words(&state)
            );
            let fix = "a relay with a stronger contact, or the load on two relays";
            let finding = Finding::new(
                "contact-load",
                Level::Wrong,
                source::COMPUTED,
                place,
                say,
                fix,
            );
            found.push(
                finding
                    .value("current", peak.amperes, "A")
                    .value("contact", rating.0, "A")
                    .state(state),
            );
        } else if cold > rating.0 {
            let say = format!(
                "Cold filaments draw {cold:.0} A through contact 30-{word} of {name} ({} A) for a moment.",
                rating.0
            );
            let fix = "see that the relay's datasheet allows this lamp load";
            let finding = Finding::new(
                "contact-inrush",
                Level::Note,
                source::INRUSH,
                place,
                say,
                fix,
            );
            found.push(
                finding
                    .value("inrush", cold, "A")
                    .value("contact", rating.0, "A"),
            );
        }
    }
}

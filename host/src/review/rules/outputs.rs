//! Outputs of the vehicle's modules and switches against what is taken.

use crate::review::finding::{Finding, Level, source};
use crate::review::network::What;
use crate::review::part::{Part, state_words};
use crate::review::peaks::{Peak, Peaks};
use crate::review::route::conductor;

/// Checks every conductor and pin with a stated limit.
pub fn check(part: &Part<'_>, peaks: &Peaks, found: &mut Vec<Finding>) {
    let network = part.with.network;
    for (feed, peak) in network.feeds.iter().zip(&peaks.feeds) {
        if let (Some(most), None, false) = (
            feed.most,
            &feed.consumer,
            peaks.in_short(part, feed.node, feed.node),
        ) {
            beyond(part, &feed.name, most.0, peak, found);
        }
    }
    let job = part.job;
    for (branch, peak) in network.branches.iter().zip(&peaks.branches) {
        let What::ToChassis(name) = &branch.what else {
            continue;
        };
        let pins = job
            .electrics
            .pins
            .iter()
            .map(|pin| (&pin.name, &pin.behaviour));
        let known = job.electrics.behaviours.iter().chain(pins);
        let most = known
            .filter(|(own, _)| *own == name)
            .find_map(|(_, it)| it.most);
        if let (Some(most), false) = (most, peaks.in_short(part, branch.a, branch.b)) {
            beyond(part, name, most.0, peak, found);
        }
    }
}

fn beyond(part: &Part<'_>, name: &str, most: f64, peak: &Peak, found: &mut Vec<Finding>) {
    if peak.amperes <= most {
        return;
    }
    let state = part.state_at(peak);
    let say = format!(
        "{} is asked for {:.2} A {}; the plan allows {most} A.",
        conductor(name, part.job),
        peak.amperes,
        state_words(&state)
    );
    let fix = "switch the load by a relay with a feed of its own, its coil on this output; or another output";
    let finding = Finding::new(
        "output-load",
        Level::Wrong,
        source::COMPUTED,
        name,
        say,
        fix,
    );
    found.push(
        finding
            .value("current", peak.amperes, "A")
            .value("most", most, "A")
            .state(state),
    );
}

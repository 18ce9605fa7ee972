//! Current and voltage drop in every lead, and what reaches the loads.

use schemars::JsonSchema;
use serde::Serialize;

use crate::review::finding::{Finding, Level, source};
use crate::review::network::{Across, What, copper_of};
use crate::review::part::{Part, state_words};
use crate::review::peaks::Peaks;
use crate::review::route::name;
use crate::review::wire::{carries, whole};

/// The most that a lead carries, over all states.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct LeadLine {
    /// The lead.
    pub lead: String,
    /// Its size as written.
    pub size: String,
    /// Its length in metres.
    pub length_m: f64,
    /// The strongest current, in amperes.
    pub amperes: f64,
    /// What its copper drops at that current, in volts.
    pub drop_v: f64,
    /// Resistance of its copper at the temperature in service, in ohms.
    pub ohms: f64,
    /// The state in which that is.
    pub state: String,
}

/// Allowed drop in metal between battery plus and chassis through a load.
fn allowed(supply: f64) -> f64 {
    if supply > 18.0 { 1.0 } else { 0.5 }
}

/// Every lead with its strongest current.
#[must_use]
pub fn lines(part: &Part<'_>, peaks: &Peaks) -> Vec<LeadLine> {
    let job = part.job;
    let branches = part.with.network.branches.iter().zip(&peaks.branches);
    let leads = branches.filter_map(|(branch, peak)| match branch.what {
        What::Lead(lead) => Some((lead, peak)),
        _ => None,
    });
    leads
        .map(|(lead, peak)| {
            let ohms = copper_of(job, lead).0;
            let it = &job.leads[lead];
            let round = |value: f64, to: f64| (value * to).round() / to;
            LeadLine {
                lead: it.name.clone(),
                size: it.size_text.clone(),
                length_m: it.length.0,
                amperes: round(peak.amperes, 1e4),
                drop_v: round(peak.amperes * ohms, 1e5),
                ohms: round(ohms, 1e6),
                state: peak
                    .setting
                    .as_ref()
                    .map_or(String::new(), |setting| state_words(&part.state(setting))),
            }
        })
        .collect()
}

/// Leads that carry too much, loads that get too little.
pub fn check(part: &Part<'_>, peaks: &Peaks, found: &mut Vec<Finding>) {
    let job = part.job;
    for (branch, peak) in part.with.network.branches.iter().zip(&peaks.branches) {
        let What::Lead(lead) = branch.what else {
            continue;
        };
        let lead = &job.leads[lead];
        let most = carries(lead.size);
        if peak.amperes <= most.0 || peaks.in_short(part, branch.a, branch.b) {
            continue;
        }
        let state = part.state_at(peak);
        let say = format!(
            "Lead {} ({}) carries {:.1} A {}; its size carries {:.1} A.",
            lead.name,
            lead.size_text,
            peak.amperes,
            state_words(&state),
            most.0
        );
        let fix = format!("a thicker lead: {} mm2 or more", whole(peak.amperes));
        let finding = Finding::new(
            "wire-current",
            Level::Wrong,
            source::WIRE_FUSE,
            &lead.name,
            say,
            fix,
        );
        found.push(
            finding
                .value("current", peak.amperes, "A")
                .value("carries", most.0, "A")
                .state(state),
        );
    }
    for (&number, (setting, volts, dropped)) in &peaks.served {
        let drawing = &part.with.network.drawing[number];
        let home = part.with.home_of(drawing.across);
        if home.is_some_and(|home| peaks.shorted.contains(&home)) {
            continue;
        }
        let (place, needs) = match drawing.what {
            What::Load(load) => {
                let load = &job.electrics.loads[load];
                (load.name.clone(), load.needs)
            }
            What::Lamp(lamp) => (job.lamps[lamp].name.clone(), None),
            _ => continue,
        };
        let state = part.state(setting);
        let limit = allowed(job.supply.0);
        let worst = worst_lead(part, peaks, drawing.across);
        let fix = worst.map_or_else(
            || "thicker or shorter leads on its way there and back".to_owned(),
            |(lead, drop)| format!("a thicker or shorter {lead}, which alone drops {drop:.2} V"),
        );
        if let Some(needs) = needs.filter(|needs| *volts < needs.0) {
            let say = format!(
                "{} gets {volts:.2} V {}; it needs {} V.",
                name(&drawing.what, job),
                state_words(&state),
                needs.0
            );
            let finding = Finding::new(
                "load-volts",
                Level::Wrong,
                source::COMPUTED,
                place,
                say,
                fix,
            );
            found.push(
                finding
                    .value("voltage", *volts, "V")
                    .value("needs", needs.0, "V")
                    .value("drop in metal", *dropped, "V")
                    .state(state),
            );
        } else if needs.is_none() && *dropped > limit {
            let say = format!(
                "On the way through {} {dropped:.2} V are lost in leads and joints {}; {limit} V are allowed.",
                name(&drawing.what, job),
                state_words(&state)
            );
            let finding = Finding::new("voltage-drop", Level::Wrong, source::DROP, place, say, fix);
            found.push(
                finding
                    .value("drop in metal", *dropped, "V")
                    .value("allowed", limit, "V")
                    .value("voltage", *volts, "V")
                    .state(state),
            );
        }
    }
}

/// The lead in the island of a consumer whose copper drops most.
fn worst_lead(part: &Part<'_>, peaks: &Peaks, across: Across) -> Option<(String, f64)> {
    let home = part.with.home_of(across)?;
    let branches = part.with.list[home].branches.iter();
    let leads = branches.filter_map(|&at| match part.with.network.branches[at].what {
        What::Lead(lead) => {
            let drop = peaks.branches[at].amperes * copper_of(part.job, lead).0;
            Some((part.job.leads[lead].name.clone(), drop))
        }
        _ => None,
    });
    leads.max_by(|a, b| a.1.total_cmp(&b.1))
}

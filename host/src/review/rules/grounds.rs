//! Grounds that several things share.

use loomproof_core::circuit::Part as Element;
use loomproof_core::units::Ohms;

use super::sneak::consumer;
use crate::review::finding::{Finding, Level, source};
use crate::review::islands::Setting;
use crate::review::network::What;
use crate::review::part::{FED, Part, state_words};
use crate::review::route::{through_consumer, words};
use crate::review::states::{Cluster, Visit};

/// Most states in which each ground is opened.
const TRY_GROUNDS: usize = 64;

/// Opens each shared ground in turn: what is then fed through what shares it?
pub(super) fn check(
    part: &mut Part<'_>,
    cluster: &Cluster,
    visits: &[Visit],
    found: &mut Vec<Finding>,
) {
    let job = part.job;
    let supply = part.with.supply.0;
    let drawing = part.drawing_in(cluster);
    for &home in &cluster.islands {
        let rings: Vec<(usize, String)> = part.with.list[home]
            .branches
            .iter()
            .filter_map(|&at| match &part.with.network.branches[at].what {
                What::Ring(ring) => Some((at, ring.clone())),
                _ => None,
            })
            .collect();
        for (ring_at, ring) in rings {
            let mut worst: Option<(f64, usize, Setting, Vec<f64>)> = None;
            for visit in visits.iter().take(TRY_GROUNDS) {
                let open = |at: usize, own: Element| {
                    if at == ring_at {
                        Element::Wire {
                            ohms: Ohms(1e12),
                            spread: Ohms(0.0),
                        }
                    } else {
                        own
                    }
                };
                let volts = part.with.fresh(home, &visit.setting, &open);
                for &number in &drawing {
                    let it = &part.with.network.drawing[number];
                    if part.with.home_of(it.across) != Some(home) {
                        continue;
                    }
                    let opened = part.with.across(&volts, it.across).0.abs();
                    let whole = part.across(number, &visit.setting).abs();
                    if whole < FED * supply
                        && opened > 0.25 * supply
                        && worst
                            .as_ref()
                            .is_none_or(|(most, ..)| opened > *most + 1e-6)
                    {
                        worst = Some((opened, number, visit.setting.clone(), volts.clone()));
                    }
                }
            }
            let Some((opened, number, setting, volts)) = worst else {
                continue;
            };
            let it = part.with.network.drawing[number].clone();
            let route = through_consumer(&part.with, &volts, &setting, it.across);
            let (_, who) = consumer(&it.what, job);
            let state = part.state(&setting);
            let say = format!(
                "When ring {ring} comes loose, {who} gets {opened:.1} V {} through what shares this ground.",
                state_words(&state)
            );
            let fix = "give one of the two a ground of its own, or make this one sure: bare metal, a lock washer, checked after the trim is on";
            let finding = Finding::new(
                "shared-ground",
                Level::Note,
                source::COMPUTED,
                ring,
                say,
                fix,
            );
            found.push(
                finding
                    .value("voltage", opened, "V")
                    .route(words(&route, &part.with, job))
                    .state(state),
            );
        }
    }
}

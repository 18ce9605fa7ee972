//! The diagnosis solves a hypothesis as trees and chords, the judge solves the
//! circuit by star–mesh elimination: both must give the same bands, for every
//! fault of every fixture plan.

use std::collections::BTreeMap;

use loomproof::circuit::build;
use loomproof::diagnosis::predict::Predictor;
use loomproof::fault::catalogue;
use loomproof::hookup::propose;
use loomproof::plan::Plan;
use loomproof_core::expect::{Meshed, expect, quantities};
use loomproof_core::scan::first_pass;
use loomproof_core::solve::{Workspace, room};
use loomproof_core::wire::Place;
use loomproof_tests::skip::top;

/// Greatest difference of a mean, in volts, and of a standard deviation, as a
/// fraction.
const VOLTS: f64 = 1e-9;
const SIGMA: f64 = 1e-6;

#[test]
fn trees_and_meshes_give_the_same_bands() {
    let mut work = Box::new(Workspace::new(vec![0.0; room(900)]));
    let mut worst = (0.0_f64, 0.0_f64);
    let mut compared = 0;
    for (plan, place, stride) in [
        ("smallest", Place::Vehicle, 1),
        ("socket-13-pin", Place::Vehicle, 1),
        ("bakery-van", Place::Vehicle, 1),
        ("bakery-van", Place::Bench, 3),
        ("bench-64", Place::Bench, 9),
    ] {
        let path = top().join(format!("fixtures/plans/{plan}.toml"));
        let plan = Plan::load(&path).unwrap();
        let job = plan.resolve(&BTreeMap::new()).unwrap();
        let hookup = propose(&job, place, 64).unwrap();
        let model = build(&job, &hookup).unwrap();
        let layout = model.layout();
        let steps: Vec<_> = first_pass(&layout).collect();
        let predictor = Predictor::new(&model);
        for fault in catalogue::all(&job, &hookup).iter().step_by(stride) {
            let Some(edits) = fault.edits(&model) else {
                continue;
            };
            let touched = predictor.touched(&edits);
            for planned in &steps {
                for quantity in quantities(&planned.step) {
                    let read = predictor.read_in(quantity);
                    if !read.iter().any(|island| touched.contains(island)) {
                        continue;
                    }
                    let mut islands = touched.clone();
                    islands.extend(read);
                    let reach = predictor.reach(&islands);
                    let mut meshed = Meshed {
                        work: &mut work,
                        elements: &predictor.elements(&reach, &edits),
                    };
                    let meshed =
                        expect(&mut meshed, &model.circuit, &planned.step, quantity).unwrap();
                    let tree = predictor
                        .altered(&reach, &edits)
                        .band(&planned.step, quantity)
                        .unwrap();
                    let volts = (meshed.low.0 - tree.low.0)
                        .abs()
                        .max((meshed.high.0 - tree.high.0).abs());
                    let sigma = (meshed.sigma.0 / tree.sigma.0 - 1.0).abs();
                    assert!(
                        volts < VOLTS && sigma < SIGMA,
                        "{fault}: {quantity:?}\n{meshed:?}\n{tree:?}"
                    );
                    worst = (worst.0.max(volts), worst.1.max(sigma));
                    compared += 1;
                }
            }
        }
    }
    println!(
        "{compared} bands: worst difference {:.1e} V, standard deviation {:.1e}",
        worst.0, worst.1
    );
    assert!(compared > 10_000);
}

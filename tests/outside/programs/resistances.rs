//! Random resistor networks by networkx and scipy, beside core, the bench and the
//! bench with its network reduced.

use std::collections::BTreeSet;

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use serde_json::json;

use super::NETWORKS;
use super::python::ask;
use crate::outside::networks::{farthest, graph};
use crate::solvers::Graph;

/// Networks, and pairs of points of each.
const DRAWN: (u64, usize) = (200, 5);

/// A connected network without parallel edges (networkx's graphs have none).
fn drawn(seed: u64) -> (Graph, Vec<(usize, usize)>) {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let points = rng.random_range(3..=40_usize);
    let mut joined = BTreeSet::new();
    for b in 1..points {
        joined.insert((rng.random_range(0..b), b));
    }
    for _ in 0..rng.random_range(0..2 * points) {
        let (a, b) = (rng.random_range(0..points), rng.random_range(0..points));
        if a != b {
            joined.insert((a.min(b), a.max(b)));
        }
    }
    let edges: Vec<_> = joined
        .into_iter()
        .map(|(a, b)| (a, b, 10_f64.powf(rng.random_range(0.0..4.0))))
        .collect();
    let pair = |rng: &mut ChaCha8Rng| {
        let a = rng.random_range(0..points);
        (a, (a + rng.random_range(1..points)) % points)
    };
    let pairs = (0..DRAWN.1).map(|_| pair(&mut rng)).collect();
    (graph(points, &edges), pairs)
}

#[test]
fn random_networks() {
    let all: Vec<_> = (0..DRAWN.0).map(drawn).collect();
    let question = |(graph, pairs): &(Graph, Vec<(usize, usize)>)| {
        let edges: Vec<_> = graph
            .edges
            .iter()
            .map(|(a, b, r)| json!([a, b, r.0]))
            .collect();
        json!({"points": graph.vertices, "edges": edges, "pairs": pairs})
    };
    let questions = all.iter().map(question).collect();
    let Some(answers) = ask("resistances.py", &questions) else {
        return;
    };
    let mut theirs = answers.as_array().unwrap().iter();
    let mut worst = [0.0_f64; 2];
    let mut count = 0;
    for (graph, pairs) in &all {
        for &(a, b) in pairs {
            let answer = theirs.next().unwrap();
            let found = graph.resistance(a, b);
            for (at, worst) in worst.iter_mut().enumerate() {
                let theirs = answer[at].as_f64().unwrap();
                let off = (farthest(found, theirs) / theirs - 1.0).abs();
                assert!(
                    off < NETWORKS.limit,
                    "{a}–{b}: {found:?} beside {answer} in {graph:?}"
                );
                *worst = worst.max(off);
            }
            count += 1;
        }
    }
    let [networkx, scipy] = worst;
    println!("{count} resistances, worst off networkx {networkx:.1e}, off scipy {scipy:.1e}");
    assert_eq!((count, theirs.next()), (NETWORKS.cases, None));
}

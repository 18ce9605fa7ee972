//! Complete graphs 2/n, cycles k(n−k)/n, Foster's sum over the edges n−1, the
//! ladder that climbs to the golden ratio, star and delta: closed forms,
//! computed beforehand (*ran*).

use loomproof_core::units::Ohms;

use super::check::Check;
use super::networks::{exact, graph};
use crate::solvers::Graph;

const SOURCE: &str = "closed form, computed with networkx";

fn complete(n: usize) -> Graph {
    Graph::of_ones(n, (0..n).flat_map(|b| (0..b).map(move |a| (a, b))))
}

fn cycle(n: usize) -> Graph {
    Graph::of_ones(n, (0..n).map(|k| (k, (k + 1) % n)))
}

/// The sum of R(edge)/r(edge), by each solver; edges unequal over six decades
/// where asked for.
fn foster(n: usize, unequal: bool) -> Vec<f64> {
    let chords = (0..n)
        .map(|k| (k, (k + 1) % n))
        .chain((0..n).map(|k| (k, (k + 2) % n)));
    let mut graph = Graph::of_ones(n, chords);
    if unequal {
        for (at, edge) in graph.edges.iter_mut().enumerate() {
            edge.2 = Ohms(10_f64.powf((at * 7 % 13) as f64 * 0.5 - 2.0));
        }
    }
    let mut sum = vec![0.0; 3];
    for &(a, b, ohms) in &graph.edges {
        for (sum, seen) in sum.iter_mut().zip(graph.resistance(a, b)) {
            *sum += seen / ohms.0;
        }
    }
    sum
}

/// Rungs and rails of 1 Ω; vertex 0 is the lower rail, the last the entry.
fn ladder(rungs: usize) -> Vec<f64> {
    let edges = (0..rungs).flat_map(|k| [(k + 1, if k == 0 { rungs + 1 } else { k }), (k + 1, 0)]);
    Graph::of_ones(rungs + 2, edges)
        .resistance(rungs + 1, 0)
        .to_vec()
}

/// Its checks.
#[must_use]
pub fn checks() -> Vec<Check> {
    let mut checks = Vec::new();
    let mut add = |what: String, theirs, test, found: Box<dyn Fn() -> Vec<f64>>| {
        checks.push(exact(what, SOURCE, theirs, test, found));
    };
    for n in [2, 3, 5, 12, 40] {
        let what = format!("complete graph of {n}, 1 Ω: 2/n, Ω");
        let found = move || complete(n).resistance(0, n - 1).to_vec();
        add(what, 2.0 / n as f64, "complete_graphs", Box::new(found));
    }
    for n in [3, 4, 7, 30] {
        // The farthest of all chords, as a share of its closed form.
        let what = format!("cycle of {n}, 1 Ω, every chord beside k(n−k)/n");
        let chords = move || {
            let cycle = cycle(n);
            let one = |k: usize| {
                let theirs = (k * (n - k)) as f64 / n as f64;
                cycle.resistance(0, k).map(|ohms| ohms / theirs)
            };
            (1..n).flat_map(one).collect()
        };
        add(what, 1.0, "cycles", Box::new(chords));
    }
    for n in [5, 9, 20] {
        for (unequal, how) in [(false, "1 Ω"), (true, "10 mΩ to 10 kΩ")] {
            let what = format!("Foster's sum over the edges, {n} vertices of {how}: n − 1");
            let found = move || foster(n, unequal);
            add(what, n as f64 - 1.0, "fosters_sum", Box::new(found));
        }
    }
    let ladders = [2.0, 5.0 / 3.0, 13.0 / 8.0, 34.0 / 21.0, 89.0 / 55.0];
    for (rungs, theirs) in (1..).zip(ladders) {
        let what = format!("ladder of {rungs} rungs, 1 Ω, Ω");
        add(what, theirs, "ladders", Box::new(move || ladder(rungs)));
    }
    let golden = f64::midpoint(1.0, 5_f64.sqrt());
    let what = "ladder of 40 rungs, 1 Ω: the golden ratio, Ω".to_owned();
    add(what, golden, "ladders", Box::new(|| ladder(40)));
    // r1 = Rab·Rca/ΣR and so on; between two corners of the delta the star has
    // the sum of two arms.
    let (ab, bc, ca) = (3.0, 47.0, 1200.0);
    let arm = move |x: f64, y: f64| x * y / (ab + bc + ca);
    let star = [arm(ab, ca), arm(ab, bc), arm(bc, ca)];
    for (from, to, name) in [(0, 1, "a–b"), (1, 2, "b–c"), (2, 0, "c–a")] {
        let what = format!("delta of 3, 47 and 1200 Ω, {name}: the two arms of its star, Ω");
        let delta = move || {
            let delta = graph(3, &[(0, 1, ab), (1, 2, bc), (2, 0, ca)]);
            delta.resistance(from, to).to_vec()
        };
        add(what, star[from] + star[to], "star_and_delta", Box::new(delta));
    }
    checks
}

crate::checked!(complete_graphs, cycles, fosters_sum, ladders, star_and_delta);

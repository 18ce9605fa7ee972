//! Core's solve and the bench's solver against networks whose resistances are
//! known exactly.
//!
//! Sources and status as in `fixtures/reference/README.md`, "Network theory".
//! *ran*: computed beforehand with ngspice, networkx or lcapy, none of which
//! is used here.

use loomproof_core::circuit::Junction;
use loomproof_core::solve::{DIODE_SHUNT, THERMAL};
use loomproof_core::units::{Ohms, Volts};
use loomproof_tests::solvers::{Device, Graph, Net};

/// The limit on every error: the closed forms are exact.
const LIMIT: f64 = 1e-10;

/// Worst relative error of core, of the bench, of the bench reduced.
#[derive(Debug, Default)]
struct Worst([f64; 3], usize);

impl Worst {
    fn hold(&mut self, what: &str, found: [f64; 3], exact: f64) {
        for (worst, (who, found)) in self
            .0
            .iter_mut()
            .zip(["core", "bench", "bench reduced"].iter().zip(found))
        {
            let error = (found / exact - 1.0).abs();
            assert!(
                error < LIMIT,
                "{what}: {who} says {found}, exact is {exact}"
            );
            *worst = worst.max(error);
        }
        self.1 += 1;
    }

    fn print(&self, what: &str) {
        let [core, bench, reduced] = self.0;
        println!(
            "{what}: {} values, worst error against the closed forms: core {core:.1e}, bench {bench:.1e}, bench reduced {reduced:.1e}",
            self.1
        );
    }
}

/// Two vertices are joined where their squared distance is `squared`.
fn solid(vertices: &[[f64; 3]], squared: f64) -> Graph {
    let far =
        |a: &[f64; 3], b: &[f64; 3]| -> f64 { a.iter().zip(b).map(|(x, y)| (x - y).powi(2)).sum() };
    let pairs = (0..vertices.len()).flat_map(|b| (0..b).map(move |a| (a, b)));
    let edges: Vec<_> = pairs
        .filter(|(a, b)| (far(&vertices[*a], &vertices[*b]) - squared).abs() < 1e-9)
        .collect();
    Graph::of_ones(vertices.len(), edges)
}

fn cube_corners() -> Vec<[f64; 3]> {
    let sign = |bit: usize| if bit & 1 == 1 { 1.0 } else { -1.0 };
    (0..8)
        .map(|n| [sign(n), sign(n >> 1), sign(n >> 2)])
        .collect()
}

/// All even permutations of (0, ±a, ±b).
fn rectangles(a: f64, b: f64) -> Vec<[f64; 3]> {
    let signs = [(a, b), (a, -b), (-a, b), (-a, -b)];
    signs
        .iter()
        .flat_map(|&(a, b)| [[0.0, a, b], [b, 0.0, a], [a, b, 0.0]])
        .collect()
}

fn golden() -> f64 {
    (1.0 + 5_f64.sqrt()) / 2.0
}

/// Every pair of vertices, by graph distance. *ran*
fn by_distance(worst: &mut Worst, name: &str, graph: &Graph, edges: usize, values: &[f64]) {
    assert_eq!(graph.edges.len(), edges, "{name} has {edges} edges");
    let mut seen = vec![false; values.len()];
    for from in 0..graph.vertices {
        for (to, &distance) in graph.distances(from).iter().enumerate() {
            if to != from {
                let found = graph.resistance(from, to);
                worst.hold(&format!("{name} {from}–{to}"), found, values[distance - 1]);
                seen[distance - 1] = true;
            }
        }
    }
    assert!(seen.iter().all(|seen| *seen), "{name} has every distance");
}

#[test]
fn platonic_solids_of_one_ohm_edges() {
    let mut worst = Worst::default();
    let g = golden();
    let tetrahedron: Vec<_> = cube_corners()
        .into_iter()
        .filter(|c| c.iter().product::<f64>() > 0.0)
        .collect();
    let octahedron: Vec<_> = (0..6)
        .map(|n| {
            std::array::from_fn(|axis| {
                if axis == n / 2 {
                    1.0 - 2.0 * (n % 2) as f64
                } else {
                    0.0
                }
            })
        })
        .collect();
    let mut dodecahedron = cube_corners();
    dodecahedron.extend(rectangles(g, 1.0 / g));
    let w = &mut worst;
    by_distance(w, "tetrahedron", &solid(&tetrahedron, 8.0), 6, &[1.0 / 2.0]);
    // Edge, face diagonal, body diagonal.
    by_distance(
        w,
        "cube",
        &solid(&cube_corners(), 4.0),
        12,
        &[7.0 / 12.0, 3.0 / 4.0, 5.0 / 6.0],
    );
    by_distance(
        w,
        "octahedron",
        &solid(&octahedron, 2.0),
        12,
        &[5.0 / 12.0, 1.0 / 2.0],
    );
    by_distance(
        w,
        "icosahedron",
        &solid(&rectangles(1.0, g), 4.0),
        30,
        &[11.0 / 30.0, 7.0 / 15.0, 1.0 / 2.0],
    );
    by_distance(
        w,
        "dodecahedron",
        &solid(&dodecahedron, (2.0 / g).powi(2)),
        30,
        &[19.0 / 30.0, 9.0 / 10.0, 16.0 / 15.0, 17.0 / 15.0, 7.0 / 6.0],
    );
    worst.print("solids");
}

/// 12 and 18 Ω above, 18 and 12 Ω below, 6 Ω across, 10 V: *ran*; the example
/// is from *Lessons in Electric Circuits* I, ch. 10, *memory*.
#[test]
fn unbalanced_bridge() {
    let mut worst = Worst::default();
    let bridge = Graph {
        vertices: 4,
        edges: [
            (0, 1, 12.0),
            (0, 2, 18.0),
            (1, 3, 18.0),
            (2, 3, 12.0),
            (1, 2, 6.0),
        ]
        .map(|(a, b, r)| (a, b, Ohms(r)))
        .to_vec(),
    };
    worst.hold("bridge", bridge.resistance(0, 3), 102.0 / 7.0);
    // The nodes at 10 V: 5.29412 V (90/17) and 4.70588 V (80/17).
    let source = 1e-9;
    let net = Net {
        nodes: 3,
        devices: vec![
            Device::Source(1, Volts(10.0), Ohms(source)),
            Device::Resistor(1, 2, Ohms(12.0)),
            Device::Resistor(1, 3, Ohms(18.0)),
            Device::Resistor(2, 0, Ohms(18.0)),
            Device::Resistor(3, 0, Ohms(12.0)),
            Device::Resistor(2, 3, Ohms(6.0)),
        ],
    };
    for (name, volts) in [("core", net.core()), ("bench", net.bench())] {
        assert!((volts[1] - 5.29412).abs() < 5e-6, "{name}: {volts:?}");
        assert!((volts[2] - 4.70588).abs() < 5e-6, "{name}: {volts:?}");
    }
    worst.print("bridge");
}

/// Complete graphs 2/n, cycles k(n−k)/n, Foster's sum over edges n−1: *ran*.
#[test]
fn complete_graphs_cycles_and_fosters_sum() {
    let mut worst = Worst::default();
    for n in [2, 3, 5, 12, 40] {
        let complete = Graph::of_ones(n, (0..n).flat_map(|b| (0..b).map(move |a| (a, b))));
        worst.hold(
            &format!("K{n}"),
            complete.resistance(0, n - 1),
            2.0 / n as f64,
        );
    }
    for n in [3, 4, 7, 30] {
        let cycle = Graph::of_ones(n, (0..n).map(|k| (k, (k + 1) % n)));
        for k in 1..n {
            let exact = (k * (n - k)) as f64 / n as f64;
            worst.hold(&format!("cycle {k} of {n}"), cycle.resistance(0, k), exact);
        }
    }
    // Foster's theorem holds for any weights: Σ R(edge)/r(edge) = n − 1.
    for n in [5_usize, 9, 20] {
        let chords = (0..n)
            .map(|k| (k, (k + 1) % n))
            .chain((0..n).map(|k| (k, (k + 2) % n)));
        let mut graph = Graph::of_ones(n, chords);
        for unequal in [false, true] {
            if unequal {
                // Values over six decades.
                for (at, edge) in graph.edges.iter_mut().enumerate() {
                    edge.2 = Ohms(10_f64.powf((at * 7 % 13) as f64 * 0.5 - 2.0));
                }
            }
            let mut sum = [0.0; 3];
            for &(a, b, ohms) in &graph.edges {
                for (sum, seen) in sum.iter_mut().zip(graph.resistance(a, b)) {
                    *sum += seen / ohms.0;
                }
            }
            worst.hold(&format!("Foster {n}"), sum, n as f64 - 1.0);
        }
    }
    worst.print("graphs");
}

/// The 1 Ω ladder: 2, 5/3, 13/8, 34/21, 89/55 → φ: *ran*.
#[test]
fn a_ladder_climbs_to_the_golden_ratio() {
    let mut worst = Worst::default();
    let ladder = |rungs: usize| {
        let edges =
            (0..rungs).flat_map(|k| [(k + 1, if k == 0 { rungs + 1 } else { k }), (k + 1, 0)]);
        // Vertex 0 is the lower rail, the last vertex the entry.
        Graph::of_ones(rungs + 2, edges).resistance(rungs + 1, 0)
    };
    for (rungs, exact) in [2.0, 5.0 / 3.0, 13.0 / 8.0, 34.0 / 21.0, 89.0 / 55.0]
        .into_iter()
        .enumerate()
    {
        worst.hold(&format!("{} rungs", rungs + 1), ladder(rungs + 1), exact);
    }
    worst.hold("40 rungs", ladder(40), golden());
    worst.print("ladder");
}

/// The example of networkx's documentation of `resistance_distance`: *read, ran*.
#[test]
fn five_vertices_from_a_graph_library() {
    let mut worst = Worst::default();
    let edges = [(1, 2), (1, 3), (1, 4), (3, 4), (3, 5), (4, 5)].map(|(a, b)| (a - 1, b - 1));
    worst.hold("R13", Graph::of_ones(5, edges).resistance(0, 2), 0.625);
    worst.print("five vertices");
}

/// What no pivoting solver can hold in double precision: milliohms behind a
/// blocked diode. Core keeps every digit; the exact voltage follows from the
/// two currents that must cancel (Shockley's law, derived here).
#[test]
fn milliohms_behind_a_blocked_diode() {
    let junction = Junction::SILICON;
    let mut devices = vec![
        Device::Source(1, Volts(3.3), Ohms(725.0)),
        Device::Diode(2, 1, junction),
        Device::Resistor(12, 0, Ohms(1e8)),
    ];
    devices.extend((2..12).map(|n| Device::Resistor(n, n + 1, Ohms(1e-3))));
    let volts = Net { nodes: 12, devices }.core();
    // The chain is one node at v: I(v − 3.3 V) leaves it, v/100 MΩ leaves it.
    let slope = junction.emission * THERMAL;
    let left = |v: f64| {
        let across = v - (3.3 - v / 1e8 * 725.0);
        junction.saturation.0 * ((across / slope).exp() - 1.0) + DIODE_SHUNT * across + v / 1e8
    };
    let (mut low, mut high) = (0.0, 3.3);
    for _ in 0..200 {
        let v = 0.5 * (low + high);
        if left(v) > 0.0 { high = v } else { low = v }
    }
    let error = (volts[11] / low - 1.0).abs();
    println!("behind a blocked diode: {low} V, core {error:.1e} off");
    assert!(error < 1e-6, "{} against {low}", volts[11]);
}

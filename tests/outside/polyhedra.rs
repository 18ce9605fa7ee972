//! Regular polyhedra with 1 Ω edges, by graph distance: computed beforehand with
//! networkx and lcapy, neither of which is used here (*ran*).

use super::check::Check;
use super::networks::exact;
use crate::solvers::Graph;

const SOURCE: &str = "computed with networkx and lcapy";

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

fn tetrahedron() -> Graph {
    let corners: Vec<_> = cube_corners()
        .into_iter()
        .filter(|c| c.iter().product::<f64>() > 0.0)
        .collect();
    solid(&corners, 8.0)
}

fn cube() -> Graph {
    solid(&cube_corners(), 4.0)
}

fn octahedron() -> Graph {
    let on_axis = |n: usize, axis: usize| {
        if axis == n / 2 {
            1.0 - 2.0 * (n % 2) as f64
        } else {
            0.0
        }
    };
    let corners: Vec<_> = (0..6)
        .map(|n| std::array::from_fn(|axis| on_axis(n, axis)))
        .collect();
    solid(&corners, 2.0)
}

fn golden() -> f64 {
    f64::midpoint(1.0, 5_f64.sqrt())
}

fn icosahedron() -> Graph {
    solid(&rectangles(1.0, golden()), 4.0)
}

fn dodecahedron() -> Graph {
    let mut corners = cube_corners();
    corners.extend(rectangles(golden(), 1.0 / golden()));
    solid(&corners, (2.0 / golden()).powi(2))
}

/// The resistance of every pair of vertices so many edges apart, by each solver.
fn at(graph: &Graph, steps: usize) -> Vec<f64> {
    let mut found = Vec::new();
    for from in 0..graph.vertices {
        for (to, distance) in graph.distances(from).into_iter().enumerate() {
            if to != from && distance == steps {
                found.extend(graph.resistance(from, to));
            }
        }
    }
    found
}

type Solid = (&'static str, usize, fn() -> Graph, &'static [f64]);

/// Name, edges, graph, and ohms one, two … edges apart.
const SOLIDS: [Solid; 5] = [
    ("tetrahedron", 6, tetrahedron, &[1.0 / 2.0]),
    // Edge, face diagonal, body diagonal.
    ("cube", 12, cube, &[7.0 / 12.0, 3.0 / 4.0, 5.0 / 6.0]),
    ("octahedron", 12, octahedron, &[5.0 / 12.0, 1.0 / 2.0]),
    (
        "icosahedron",
        30,
        icosahedron,
        &[11.0 / 30.0, 7.0 / 15.0, 1.0 / 2.0],
    ),
    (
        "dodecahedron",
        30,
        dodecahedron,
        &[19.0 / 30.0, 9.0 / 10.0, 16.0 / 15.0, 17.0 / 15.0, 7.0 / 6.0],
    ),
];

/// Its checks.
#[must_use]
pub fn checks() -> Vec<Check> {
    let mut checks = Vec::new();
    for (name, edges, graph, ohms) in SOLIDS {
        for (steps, &theirs) in (1..).zip(ohms) {
            let what = format!("{name}, {edges} edges of 1 Ω, {steps} apart, Ω");
            checks.push(exact(what, SOURCE, theirs, "every_pair_of_vertices", move || {
                let graph = graph();
                // A wrong drawing is no polyhedron.
                let whole = graph.edges.len() == edges;
                let farther = graph.distances(0).into_iter().max() == Some(ohms.len());
                if whole && farther { at(&graph, steps) } else { Vec::new() }
            }));
        }
    }
    checks
}

crate::checked!(every_pair_of_vertices);

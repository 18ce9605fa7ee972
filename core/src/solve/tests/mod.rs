use super::mesh::entry;
use super::*;
use crate::circuit::{Circuit, Junction};
use crate::units::Amperes;
use std::vec;

fn wire(ohms: f64) -> Part {
    Part::Wire {
        ohms: Ohms(ohms),
        spread: Ohms(0.0),
    }
}

/// Resistance between two nodes, by a 1 V source behind 1 Ω.
fn between(circuit: &Circuit<64>, a: NodeId, b: NodeId) -> f64 {
    let mut work = Workspace::new(vec![0.0; room(32)]);
    let ties = [
        Attachment {
            node: a,
            volts: Volts(1.0),
            ohms: Ohms(1.0),
            spread: Ohms(0.0),
        },
        Attachment {
            node: b,
            volts: Volts(0.0),
            ohms: Ohms(1.0),
            spread: Ohms(0.0),
        },
    ];
    let island = island(&mut work, circuit.elements(), &ties, a, Corner::Most).unwrap();
    let (va, vb) = (island.volts(a).0, island.volts(b).0);
    (va - vb) / vb
}

fn graph(nodes: usize, edges: &[(usize, usize, f64)]) -> (Circuit<64>, std::vec::Vec<NodeId>) {
    let mut circuit = Circuit::new();
    let ids: std::vec::Vec<_> = (0..nodes).map(|_| circuit.node().unwrap()).collect();
    for &(a, b, ohms) in edges {
        circuit.add(ids[a], ids[b], wire(ohms)).unwrap();
    }
    (circuit, ids)
}

#[test]
fn unbalanced_bridge() {
    // fixtures/reference/README.md, network theory: 102/7 Ω (ngspice, networkx, lcapy).
    let (circuit, n) = graph(
        4,
        &[
            (0, 1, 12.0),
            (0, 2, 18.0),
            (1, 3, 18.0),
            (2, 3, 12.0),
            (1, 2, 6.0),
        ],
    );
    assert!((between(&circuit, n[0], n[3]) - 102.0 / 7.0).abs() < 1e-9);
}

#[test]
fn cube_of_one_ohm() {
    // fixtures/reference/README.md: edge 7/12, face 3/4, body 5/6.
    let mut edges = vec![];
    for a in 0..8_usize {
        for bit in [1, 2, 4] {
            if a & bit == 0 {
                edges.push((a, a | bit, 1.0));
            }
        }
    }
    let (circuit, n) = graph(8, &edges);
    for (other, ohms) in [(1, 7.0 / 12.0), (3, 3.0 / 4.0), (7, 5.0 / 6.0)] {
        assert!((between(&circuit, n[0], n[other]) - ohms).abs() < 1e-9);
    }
}

#[test]
fn floating_island_is_said_to_float() {
    let (circuit, n) = graph(2, &[(0, 1, 1.0)]);
    let mut work = Workspace::new(vec![0.0; room(8)]);
    let island = island(&mut work, circuit.elements(), &[], n[0], Corner::Most).unwrap();
    assert!(island.floats());
}

#[test]
fn an_island_larger_than_the_workspace_is_refused() {
    let edges: std::vec::Vec<_> = (0..9).map(|i| (i, i + 1, 1.0)).collect();
    let (circuit, n) = graph(10, &edges);
    let mut work = Workspace::new(vec![0.0; room(9)]);
    let result = island(&mut work, circuit.elements(), &[], n[0], Corner::Most);
    assert_eq!(result.err(), Some(SolveError::TooLarge));
}

#[test]
fn diode_current_satisfies_the_shockley_equation() {
    let mut circuit: Circuit<4> = Circuit::new();
    let a = circuit.node().unwrap();
    let junction = Junction {
        saturation: Amperes(1e-9),
        emission: 1.8,
        spread: Volts(0.0),
    };
    circuit.add(a, GROUND, Part::Diode(junction)).unwrap();
    let mut work = Workspace::new(vec![0.0; room(4)]);
    for (volts, ohms) in [
        (3.3, 725.0),
        (3.3, 122_000.0),
        (100.0, 0.1),
        (-3.3, 725.0),
        (0.1, 10.0),
    ] {
        let tie = [Attachment {
            node: a,
            volts: Volts(volts),
            ohms: Ohms(ohms),
            spread: Ohms(0.0),
        }];
        let island = island(&mut work, circuit.elements(), &tie, a, Corner::Most).unwrap();
        let v = island.volts(a).0;
        let through = (volts - v) / ohms;
        let wanted = 1e-9 * libm::expm1(v / (1.8 * THERMAL));
        assert!(
            (through - wanted).abs() <= 1e-6 * through.abs() + 1e-11,
            "{volts} V behind {ohms} Ω: {through} against {wanted}"
        );
    }
}

#[test]
fn variance_agrees_with_finite_differences() {
    let build = |r1: f64, r2: f64| {
        let mut circuit: Circuit<8> = Circuit::new();
        let a = circuit.node().unwrap();
        let b = circuit.node().unwrap();
        circuit
            .add(
                a,
                b,
                Part::Wire {
                    ohms: Ohms(r1),
                    spread: Ohms(1.0),
                },
            )
            .unwrap();
        circuit
            .add(
                b,
                GROUND,
                Part::Resistor {
                    ohms: Ohms(r2),
                    spread: Ohms(3.0),
                },
            )
            .unwrap();
        (circuit, a, b)
    };
    let drop = |r1: f64, r2: f64, rs: f64| {
        let (circuit, a, b) = build(r1, r2);
        let mut work = Workspace::new(vec![0.0; room(4)]);
        let tie = [Attachment {
            node: a,
            volts: Volts(3.3),
            ohms: Ohms(rs),
            spread: Ohms(5.0),
        }];
        let island = island(&mut work, circuit.elements(), &tie, a, Corner::Most).unwrap();
        island.volts(a).0 - island.volts(b).0
    };
    let (circuit, a, b) = build(50.0, 100.0);
    let mut work = Workspace::new(vec![0.0; room(4)]);
    let tie = [Attachment {
        node: a,
        volts: Volts(3.3),
        ohms: Ohms(725.0),
        spread: Ohms(5.0),
    }];
    let mut island = island(&mut work, circuit.elements(), &tie, a, Corner::Most).unwrap();
    let Sensitivity { variance, .. } = island.sensitivity(&tie, a, Some(b));
    let h = 1e-3;
    let d1 = (drop(50.0 + h, 100.0, 725.0) - drop(50.0 - h, 100.0, 725.0)) / (2.0 * h) * 1.0;
    let d2 = (drop(50.0, 100.0 + h, 725.0) - drop(50.0, 100.0 - h, 725.0)) / (2.0 * h) * 3.0;
    let ds = (drop(50.0, 100.0, 725.0 + h) - drop(50.0, 100.0, 725.0 - h)) / (2.0 * h) * 5.0;
    let wanted = d1 * d1 + d2 * d2 + ds * ds;
    assert!(
        (variance / wanted - 1.0).abs() < 1e-4,
        "{variance} against {wanted}"
    );
}

fn tie(node: NodeId, volts: f64, ohms: f64) -> Attachment {
    Attachment {
        node,
        volts: Volts(volts),
        ohms: Ohms(ohms),
        spread: Ohms(0.0),
    }
}

#[test]
fn a_load_is_solved_at_the_end_that_is_asked_for() {
    let mut circuit: Circuit<4> = Circuit::new();
    let a = circuit.node().unwrap();
    let (least, most) = (Ohms(100.0), Ohms(300.0));
    circuit.add(a, GROUND, Part::Load { least, most }).unwrap();
    let mut work = Workspace::new(vec![0.0; room(2)]);
    for (corner, volts) in [(Corner::Least, 0.5), (Corner::Most, 0.75)] {
        let ties = [tie(a, 1.0, 100.0)];
        let island = island(&mut work, circuit.elements(), &ties, a, corner).unwrap();
        assert!((island.volts(a).0 - volts).abs() < 1e-12);
    }
}

/// 10 Ω between a driven lead and one that is held low, and an unknown load at each.
fn loaded_joint(least: Ohms, most: Ohms) -> (Circuit<64>, [NodeId; 2]) {
    let (mut circuit, n) = graph(2, &[(0, 1, 10.0)]);
    for node in [n[0], n[1]] {
        circuit
            .add(node, GROUND, Part::Load { least, most })
            .unwrap();
    }
    (circuit, [n[0], n[1]])
}

#[test]
fn some_loads_are_solved_at_one_end_and_the_others_at_the_other() {
    let (circuit, [a, b]) = loaded_joint(Ohms(1e3), Ohms(1e6));
    let mut work = Workspace::new(vec![0.0; room(2)]);
    let ties = [tie(a, 3.3, 725.0), tie(b, 0.0, 725.0)];
    for (first, second) in [(false, false), (true, false), (false, true), (true, true)] {
        let mut loads = Loads::default();
        for (number, conducts) in [first, second].into_iter().enumerate() {
            if conducts {
                loads.insert(number);
            }
        }
        let corner = Corner::LeastOf(loads);
        let island = island(&mut work, circuit.elements(), &ties, a, corner).unwrap();
        // By hand: the source and the load at `a` as one source, behind 10 Ω the rest.
        let end = |conducts| if conducts { 1e3 } else { 1e6 };
        let beside = |x: f64, y: f64| x * y / (x + y);
        let source = beside(725.0, end(first));
        let current = 3.3 * source / 725.0 / (source + 10.0 + beside(725.0, end(second)));
        let across = island.volts(a).0 - island.volts(b).0;
        assert!((across - 10.0 * current).abs() < 1e-12, "{across}");
    }
}

#[test]
fn loads_on_either_side_sway_a_difference_either_way() {
    let (least, most) = (Ohms(9e5), Ohms(1e6));
    let (circuit, [a, b]) = loaded_joint(least, most);
    let mut work = Workspace::new(vec![0.0; room(2)]);
    let ties = [tie(a, 3.3, 725.0), tie(b, 0.0, 725.0)];
    let mut across = |corner| {
        let mut island = island(&mut work, circuit.elements(), &ties, a, corner).unwrap();
        let volts = island.volts(a).0 - island.volts(b).0;
        (volts, island.sensitivity(&ties, a, Some(b)).sway)
    };
    let (volts, sway) = across(Corner::Most);
    let least_of = |which| {
        let mut loads = Loads::default();
        loads.insert(which);
        loads
    };
    assert_eq!((sway.lowering, sway.raising), (least_of(0), least_of(1)));
    let (lower, _) = across(Corner::LeastOf(sway.lowering));
    let (higher, _) = across(Corner::LeastOf(sway.raising));
    // So small a change is one of first order, to a thousandth.
    assert!(((volts - lower) / sway.down - 1.0).abs() < 1e-3, "{sway:?}");
    assert!(((higher - volts) / sway.up - 1.0).abs() < 1e-3, "{sway:?}");
    assert!(sway.up > 1e-8 && sway.down > 1e-8);
}

#[test]
fn a_load_with_a_number_too_high_is_left_out() {
    let mut loads = Loads::default();
    loads.insert(128);
    loads.insert(usize::MAX);
    assert_eq!(loads, Loads::default());
    loads.insert(127);
    assert!(loads.contains(127) && !loads.contains(128) && !loads.contains(usize::MAX));
}

#[test]
fn without_a_current_every_node_stands_at_the_one_source() {
    let (circuit, n) = graph(4, &[(0, 1, 1.0), (2, 3, 1.0)]);
    let mut work = Workspace::new(vec![0.0; room(4)]);
    let ties = [tie(n[1], 2.5, 725.0)];
    let mut lone = island(&mut work, circuit.elements(), &ties, n[0], Corner::Most).unwrap();
    assert_eq!(
        (lone.len(), lone.is_empty(), lone.floats()),
        (2, false, false)
    );
    assert_eq!(lone.elements().count(), 1);
    assert_eq!((lone.volts(n[0]).0, lone.volts(n[1]).0), (2.5, 2.5));
    assert_eq!(lone.volts(n[2]).0, 0.0, "of another island");
    assert!(lone.contains(n[1]) && !lone.contains(n[2]) && !lone.contains(GROUND));
    // Against chassis and against another island its resistance shows, within it nothing.
    let still = |seen| Sensitivity {
        variance: 0.0,
        seen: Ohms(seen),
        sway: Sway::default(),
    };
    assert_eq!(lone.sensitivity(&ties, n[0], None), still(725.0));
    assert_eq!(lone.sensitivity(&ties, n[0], Some(n[2])), still(725.0));
    assert_eq!(lone.sensitivity(&ties, n[0], Some(n[1])), still(0.0));
    let mut other = island(&mut work, circuit.elements(), &ties, n[2], Corner::Most).unwrap();
    assert!(other.floats() && !other.contains(n[0]));
    assert_eq!(other.sensitivity(&ties, n[2], None), still(f64::INFINITY));
}

#[test]
fn the_resistance_seen_is_that_of_what_is_in_parallel() {
    let (mut circuit, n) = graph(2, &[(0, 1, 30.0)]);
    circuit.add(n[1], GROUND, wire(60.0)).unwrap();
    let mut work = Workspace::new(vec![0.0; room(4)]);
    let ties = [tie(n[0], 1.0, 90.0)];
    let mut island = island(&mut work, circuit.elements(), &ties, n[0], Corner::Most).unwrap();
    // 90 beside 30 + 60; 60 beside 30 + 90; 30 beside 90 + 60.
    for (plus, minus, ohms) in [
        (n[0], None, 45.0),
        (n[1], None, 40.0),
        (n[0], Some(n[1]), 25.0),
    ] {
        let Sensitivity { seen, .. } = island.sensitivity(&ties, plus, minus);
        let seen = seen.0;
        assert!((seen - ohms).abs() < 1e-9, "{seen} of {ohms}");
    }
}

#[test]
fn what_nothing_conducts_to_is_singular() {
    let (circuit, n) = graph(2, &[(0, 1, 1.0)]);
    let mut elements = circuit.elements().to_vec();
    elements[0].part = wire(f64::INFINITY);
    let mut work = Workspace::new(vec![0.0; room(4)]);
    let ties = [tie(n[0], 1.0, 1.0), tie(n[0], 1.0, 1.0)];
    let result = island(&mut work, &elements, &ties, n[0], Corner::Most);
    assert_eq!(result.err(), Some(SolveError::Singular));
}

#[test]
fn a_source_that_is_not_a_number_is_not_solved() {
    let (mut circuit, n) = graph(2, &[(0, 1, 1.0)]);
    circuit.add(n[1], GROUND, wire(1.0)).unwrap();
    let mut work = Workspace::new(vec![0.0; room(4)]);
    for volts in [f64::NAN, f64::INFINITY] {
        let ties = [tie(n[0], volts, 1.0)];
        let result = island(&mut work, circuit.elements(), &ties, n[0], Corner::Most);
        assert_eq!(result.err(), Some(SolveError::Singular), "{volts} V");
    }
}

#[test]
fn a_companion_touches_the_diode_where_it_stands() {
    let junction = Junction::SILICON;
    let scale = junction.emission * THERMAL;
    let through = |v: f64| junction.saturation.0 * libm::expm1(v / scale) + DIODE_SHUNT * v;
    for volts in [-3.0, -0.1, 0.0, 0.3, 0.6, 0.8] {
        let (conductance, current) = companion(&junction, volts);
        let h = 1e-5;
        let slope = (through(volts + h) - through(volts - h)) / (2.0 * h);
        assert!(
            (conductance / slope - 1.0).abs() < 1e-5,
            "{volts}: {conductance} {slope}"
        );
        let wanted = through(volts);
        let found = conductance * volts + current;
        assert!(
            (found - wanted).abs() <= 1e-9 * wanted.abs() + 1e-18,
            "{volts}"
        );
    }
}

#[test]
fn a_junction_does_not_jump() {
    let junction = Junction::SILICON;
    let scale = junction.emission * THERMAL;
    // Below the critical voltage, and in small steps, it goes where it is wanted.
    for (wanted, held) in [(-5.0, 0.7), (0.3, 0.0), (0.75, 0.74)] {
        assert_eq!(limit(wanted, held, &junction), wanted);
    }
    let near = |found: f64, wanted: f64| (found / wanted - 1.0).abs() < 1e-12;
    let up = limit(3.3, 0.7, &junction);
    assert!(near(up, 0.7 + scale * libm::log(1.0 + 2.6 / scale)));
    assert!(near(
        limit(3.3, 0.0, &junction),
        scale * libm::log(3.3 / scale)
    ));
    // From far above down to where it still conducts: to the critical voltage.
    let critical = limit(0.9, 5.0, &junction);
    let wanted = scale * libm::log(scale / (2.0_f64.sqrt() * junction.saturation.0));
    assert!(near(critical, wanted), "{critical} of {wanted}");
}

mod junctions;

#[test]
fn a_matrix_has_as_many_numbers_as_a_triangle() {
    // Triangular numbers.
    for (nodes, numbers) in [(0, 0), (1, 1), (2, 3), (4, 10), (100, 5_050)] {
        assert_eq!(room(nodes), numbers);
    }
}

#[test]
fn an_island_that_just_fits_is_solved() {
    let edges: std::vec::Vec<_> = (0..9).map(|i| (i, i + 1, 1.0)).collect();
    let (circuit, n) = graph(10, &edges);
    let mut work = Workspace::new(vec![0.0; room(10)]);
    let ties = [tie(n[0], 11.0, 1.0), tie(n[9], 0.0, 1.0)];
    let island = island(&mut work, circuit.elements(), &ties, n[0], Corner::Most).unwrap();
    for (k, node) in n.iter().enumerate() {
        // Eleven equal resistors in a row.
        assert!((island.volts(*node).0 - (10 - k) as f64).abs() < 1e-9);
    }
}

#[test]
fn chassis_joins_no_islands() {
    let (mut circuit, n) = graph(2, &[]);
    circuit.add(n[0], GROUND, wire(100.0)).unwrap();
    circuit.add(GROUND, n[1], wire(300.0)).unwrap();
    let mut work = Workspace::new(vec![0.0; room(4)]);
    let ties = [tie(n[0], 1.0, 100.0), tie(n[1], 1.0, 100.0)];
    for (at, volts) in [(0, 0.5), (1, 0.75)] {
        let island = island(&mut work, circuit.elements(), &ties, n[at], Corner::Most).unwrap();
        assert_eq!((island.len(), island.elements().count()), (1, 1));
        assert!(!island.contains(n[1 - at]) && !island.floats());
        assert!((island.volts(n[at]).0 - volts).abs() < 1e-12);
    }
}

#[test]
fn an_element_from_chassis_ties_an_island_as_one_to_it_does() {
    for turned in [false, true] {
        let (mut circuit, n) = graph(1, &[]);
        let (a, b) = if turned {
            (GROUND, n[0])
        } else {
            (n[0], GROUND)
        };
        circuit.add(a, b, wire(100.0)).unwrap();
        let mut work = Workspace::new(vec![0.0; room(1)]);
        let island = island(&mut work, circuit.elements(), &[], n[0], Corner::Most).unwrap();
        assert!(!island.floats());
        assert_eq!(island.volts(n[0]).0, 0.0);
    }
}

#[test]
fn a_tree_gets_no_new_entries() {
    // Four branches of three wires at a hub that comes first: by its number it
    // would be eliminated first, and mesh its neighbours.
    let edges: std::vec::Vec<_> = (0..4)
        .flat_map(|branch| {
            let first = 1 + 3 * branch;
            [
                (0, first, 1.0),
                (first, first + 1, 1.0),
                (first + 1, first + 2, 1.0),
            ]
        })
        .collect();
    let (circuit, n) = graph(13, &edges);
    let mut work = Workspace::new(vec![0.0; room(13)]);
    let ties = [tie(n[3], 8.0, 1.0), tie(n[6], 0.0, 1.0)];
    let island = island(&mut work, circuit.elements(), &ties, n[0], Corner::Most).unwrap();
    assert!((island.volts(n[0]).0 - 4.0).abs() < 1e-9);
    let filled = (0..13)
        .flat_map(|row| (0..row).map(move |column| (row, column)))
        .filter(|(row, column)| entry(&island.work.matrix, *row, *column) != 0.0)
        .count();
    assert_eq!(filled, edges.len());
}

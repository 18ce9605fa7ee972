//! The network solution against closed forms (values that were run with other
//! programs; fixtures/reference/README.md, "Network theory").

use crate::bench::island::{Driven, islands, targets};
use crate::bench::network::{Element, Law, Netlist};

/// Node voltages with node 0 at 0 V, solved as a whole.
fn solve(netlist: &Netlist) -> Vec<f64> {
    let place = |node: usize| node.checked_sub(1);
    let solved = netlist
        .equations(netlist.nodes, &place)
        .solve()
        .expect("solves");
    std::iter::once(0.0)
        .chain(solved.volts.iter().copied())
        .collect()
}

/// Resistance between node 0 and `node` of 1 Ω edges.
fn resistance(edges: &[(usize, usize)], node: usize) -> f64 {
    let nodes = edges.iter().map(|(a, b)| *a.max(b)).max().expect("edges");
    let mut netlist = Netlist {
        nodes,
        elements: vec![],
    };
    for (a, b) in edges {
        netlist.resistor(*a, *b, 1.0);
    }
    netlist.add(Element::Current(node, 1.0));
    solve(&netlist)[node]
}

fn close(value: f64, expected: f64) {
    assert!(
        (value - expected).abs() < 1e-9 * expected.abs().max(1.0),
        "{value}, not {expected}"
    );
}

#[test]
fn divider() {
    let mut netlist = Netlist::default();
    let (top, tap) = (netlist.node(), netlist.node());
    netlist.add(Element::Source(top, 10.0, 1e-3));
    netlist.resistor(top, tap, 300.0 - 1e-3);
    netlist.resistor(tap, 0, 100.0);
    close(solve(&netlist)[tap], 2.5);
}

#[test]
fn unbalanced_bridge() {
    // 12 and 18 Ω above, 18 and 12 Ω below, 6 Ω across: 102/7 Ω.
    let mut netlist = Netlist::default();
    let (top, left, right) = (netlist.node(), netlist.node(), netlist.node());
    netlist.resistor(top, left, 12.0);
    netlist.resistor(top, right, 18.0);
    netlist.resistor(left, 0, 18.0);
    netlist.resistor(right, 0, 12.0);
    netlist.resistor(left, right, 6.0);
    netlist.add(Element::Current(top, 10.0 / (102.0 / 7.0)));
    let volts = solve(&netlist);
    close(volts[top], 10.0);
    close(volts[left], 90.0 / 17.0);
    close(volts[right], 80.0 / 17.0);
}

#[test]
fn cube_of_one_ohm() {
    let edges: Vec<(usize, usize)> = (0..8_usize)
        .flat_map(|a| [1, 2, 4].into_iter().map(move |bit| (a, a ^ bit)))
        .filter(|(a, b)| a < b)
        .collect();
    for (corner, ohms) in [(1, 7.0 / 12.0), (3, 3.0 / 4.0), (7, 5.0 / 6.0)] {
        close(resistance(&edges, corner), ohms);
    }
}

#[test]
fn complete_graphs_cycles_and_ladder() {
    for n in 3..8_usize {
        let complete: Vec<_> = (0..n)
            .flat_map(|a| (a + 1..n).map(move |b| (a, b)))
            .collect();
        close(resistance(&complete, 1), 2.0 / n as f64);
        let cycle: Vec<_> = (0..n).map(|a| (a, (a + 1) % n)).collect();
        for k in 1..n {
            close(resistance(&cycle, k), (k * (n - k)) as f64 / n as f64);
        }
    }
    // 1 Ω ladder, rungs to node 0: 2, 5/3, 13/8, 34/21, 89/55.
    for (sections, ohms) in [2.0, 5.0 / 3.0, 13.0 / 8.0, 34.0 / 21.0, 89.0 / 55.0]
        .iter()
        .enumerate()
    {
        let mut edges = vec![];
        for section in 1..=sections + 1 {
            edges.push((section + 1, section));
            edges.push((section, 0));
        }
        close(resistance(&edges, sections + 2), *ohms);
    }
    // Edges 12 13 14 34 35 45 of 1 Ω: R13 = 0.625.
    close(
        resistance(&[(1, 2), (1, 0), (1, 4), (0, 4), (0, 5), (4, 5), (0, 3)], 1),
        0.625,
    );
}

#[test]
fn diode_operating_points() {
    let law = Law::silicon(293.15, 0.0);
    for (volts, ohms) in [
        (3.3, 725.0),
        (3.3, 100_000.0),
        (24.0, 0.5),
        (0.2, 725.0),
        (-3.3, 725.0),
    ] {
        let mut netlist = Netlist::default();
        let (anode, cathode) = (netlist.node(), netlist.node());
        netlist.add(Element::Source(anode, volts, ohms));
        netlist.add(Element::Diode(anode, cathode, law));
        netlist.resistor(cathode, 0, 10.0);
        let solved = solve(&netlist);
        let across = solved[anode] - solved[cathode];
        let series = (volts - solved[anode]) / ohms;
        // Shockley's law and the resistor's, independently of the iteration.
        let diode = law.saturation * ((across / law.slope).exp() - 1.0) + across * 1e-10;
        assert!(
            (series - diode).abs() < 1e-9 + 1e-5 * series.abs(),
            "{volts} V: {series} A, {diode} A"
        );
        close(solved[cathode], series * 10.0);
    }
    // Small-signal silicon at about 1 mA.
    let at_1_ma = law.slope * (1e-3 / law.saturation + 1.0_f64).ln();
    assert!((0.55..0.65).contains(&at_1_ma), "{at_1_ma}");
}

#[test]
fn many_diodes_and_strong_sources_still_settle() {
    // A bridge rectifier with 36 V behind half an ohm, both ways round.
    for volts in [36.0, -36.0] {
        let law = Law::silicon(293.15, 0.0);
        let mut netlist = Netlist::default();
        let n: Vec<usize> = (0..3).map(|_| netlist.node()).collect();
        netlist.add(Element::Source(n[0], volts, 0.5));
        for (anode, cathode) in [(n[0], n[1]), (0, n[1]), (n[2], n[0]), (n[2], 0)] {
            netlist.add(Element::Diode(anode, cathode, law));
        }
        netlist.resistor(n[1], n[2], 100.0);
        let solved = solve(&netlist);
        let load = solved[n[1]] - solved[n[2]];
        assert!((33.0..35.0).contains(&load), "{load}");
    }
}

#[test]
fn islands_are_reduced_without_loss() {
    // A ladder of 40 inner nodes between two leads, a third lead apart.
    let mut netlist = Netlist::default();
    let leads = [netlist.node(), netlist.node(), netlist.node()];
    let mut last = leads[0];
    for step in 0..40 {
        let next = netlist.node();
        netlist.resistor(last, next, 0.01 + f64::from(step) * 0.003);
        netlist.resistor(next, 0, 500.0 + f64::from(step));
        last = next;
    }
    netlist.resistor(last, leads[1], 5.0);
    netlist.resistor(leads[2], 0, 1e9);
    let parts = islands(&netlist, &leads).expect("reduces");
    assert_eq!(parts.len(), 2);
    let part = parts
        .iter()
        .find(|part| part.ports.len() == 2)
        .expect("two leads");
    let first = part
        .ports
        .iter()
        .position(|port| *port == Some(0))
        .expect("lead 0");
    let mut drives = vec![None; 2];
    drives[first] = Some((3.3, 725.0));
    let driven = Driven {
        island: part,
        drives,
        sensed: vec![None; 2],
        held: true,
    };
    let reduced = &targets(&[driven], None).expect("solves")[0].volts;

    netlist.add(Element::Source(leads[0], 3.3, 725.0));
    let whole = solve(&netlist);
    close(reduced[first], whole[leads[0]]);
    close(reduced[1 - first], whole[leads[1]]);
}

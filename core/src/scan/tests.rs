use super::*;
use crate::circuit::{Circuit, GROUND, Junction, NodeId, Part};
use crate::units::Ohms;
use std::vec;
use std::vec::Vec;

/// Two two-lead nets, a lead on chassis, and a diode from net one to a fourth net.
fn layout() -> (Circuit<32>, Layout) {
    let mut circuit = Circuit::new();
    let n: Vec<NodeId> = (0..6).map(|_| circuit.node().unwrap()).collect();
    let w = |c: &mut Circuit<32>, a, b| c.wire(a, b, Ohms(0.1), Ohms(0.01)).unwrap();
    w(&mut circuit, n[0], n[1]);
    w(&mut circuit, n[2], n[3]);
    w(&mut circuit, n[4], GROUND);
    circuit
        .add(n[1], n[5], Part::Diode(Junction::SILICON))
        .unwrap();
    for (lead, node) in n.iter().enumerate() {
        circuit.clip(LeadId(lead as u8), *node).unwrap();
    }
    let layout = Layout::of(&circuit, &[]);
    (circuit, layout)
}

#[test]
fn of_two_passive_nets_the_earlier_is_the_source() {
    let mut circuit = Circuit::<16>::new();
    for lead in 0..6 {
        let node = circuit.node().unwrap();
        if lead % 2 == 1 {
            let before = NodeId(node.0 - 1);
            circuit.wire(before, node, Ohms(0.1), Ohms(0.01)).unwrap();
        }
        circuit.clip(LeadId(lead), node).unwrap();
    }
    let layout = Layout::of(&circuit, &[]);
    let isolation = first_pass(&layout).filter_map(|planned| match planned.purpose {
        Purpose::Isolation(lead) => Some((lead.0, planned.step.low)),
        _ => None,
    });
    let held: Vec<(u8, Vec<u8>)> = isolation
        .map(|(lead, low)| (lead, low.iter().map(|lead| lead.0).collect()))
        .collect();
    assert_eq!(held, [(0, vec![2, 4]), (2, vec![4]), (4, vec![])]);
}

#[test]
fn first_pass_covers_each_net_each_joint_and_each_component() {
    let (_, layout) = layout();
    let purposes: Vec<_> = first_pass(&layout).map(|p| p.purpose).collect();
    let l = LeadId;
    assert_eq!(
        purposes,
        [
            Purpose::Continuity(l(0), Some(l(1))),
            Purpose::Continuity(l(2), Some(l(3))),
            Purpose::Continuity(l(4), None),
            Purpose::Isolation(l(0)),
            Purpose::Isolation(l(2)),
            Purpose::Isolation(l(5)),
            Purpose::Across(l(0), l(5)),
            Purpose::Across(l(5), l(0)),
        ]
    );
}

#[test]
fn a_resistor_is_measured_one_way_round() {
    let mut circuit: Circuit<8> = Circuit::new();
    let n: Vec<NodeId> = (0..2).map(|_| circuit.node().unwrap()).collect();
    let (ohms, spread) = (Ohms(680.0), Ohms(7.0));
    circuit
        .add(n[0], n[1], Part::Resistor { ohms, spread })
        .unwrap();
    for (lead, node) in n.iter().enumerate() {
        circuit.clip(LeadId(lead as u8), *node).unwrap();
    }
    let layout = Layout::of(&circuit, &[]);
    let purposes = first_pass(&layout).map(|planned| planned.purpose);
    let across: Vec<_> = purposes
        .filter(|purpose| matches!(purpose, Purpose::Across(..)))
        .collect();
    assert_eq!(across, [Purpose::Across(LeadId(0), LeadId(1))]);
}

#[test]
fn one_source_and_no_active_net_held_low() {
    let (_, layout) = layout();
    for planned in first_pass(&layout) {
        assert_eq!(planned.step.high.len(), 1);
        if let Purpose::Isolation(_) = planned.purpose {
            assert!(planned.step.low.iter().all(|lead| !layout.active(lead)));
        }
    }
}

#[test]
fn a_walk_reads_every_other_lead_once() {
    let (_, layout) = layout();
    let leads: Vec<_> = walk(&layout, LeadId(2))
        .flat_map(|p| p.step.senses)
        .map(|s| s.lead.0)
        .collect();
    assert_eq!(leads, [0, 1, 2, 3, 4, 5]);
}

#[test]
fn who_holds_a_net_low_and_who_is_read_instead() {
    let (_, layout) = layout();
    let step = |lead| isolation(&layout, LeadId(lead)).unwrap().step;
    // 0 and 5 share an island with a diode; 4 is on chassis.
    let lows = |lead| step(lead).low.iter().map(|l| l.0).collect::<Vec<_>>();
    assert_eq!((lows(0), lows(2), lows(5)), (vec![2], vec![], vec![2]));
    assert!(isolation(&layout, LeadId(4)).is_none());
    assert!(isolation(&layout, LeadId(1)).is_none());
    for lead in [0, 2, 5] {
        let senses: Vec<_> = step(lead).senses.iter().map(|s| s.lead.0).collect();
        assert_eq!(senses, [lead]);
        assert_eq!(step(lead).samples, COARSE);
    }
}

/// Two module inputs, one of them behind a diode, and a plain lead.
fn inputs() -> Layout {
    let mut circuit: Circuit<8> = Circuit::new();
    let n: Vec<NodeId> = (0..4).map(|_| circuit.node().unwrap()).collect();
    let load = Part::Load {
        least: Ohms(1e4),
        most: Ohms(1e6),
    };
    circuit.add(n[0], GROUND, load).unwrap();
    circuit.add(n[1], GROUND, load).unwrap();
    let diode = Part::Diode(Junction::SILICON);
    circuit.add(n[3], n[1], diode).unwrap();
    for (lead, node) in n.iter().enumerate() {
        circuit.clip(LeadId(lead as u8), *node).unwrap();
    }
    Layout::of(&circuit, &[])
}

#[test]
fn what_is_slow_is_waited_for() {
    let layout = inputs();
    let waits = |leads: &[u8]| {
        let leads: Vec<_> = leads.iter().map(|l| LeadId(*l)).collect();
        settle(&layout, &leads)
    };
    assert_eq!(waits(&[2]), SETTLE);
    assert_eq!(waits(&[0]), SETTLE_LOADED);
    assert_eq!(waits(&[1]), SETTLE_POLAR);
    assert_eq!(waits(&[2, 0]), SETTLE_LOADED);
    // Read behind the pull, because neither is held low for the other.
    let step = isolation(&layout, LeadId(0)).unwrap().step;
    let pulled: Vec<_> = step.senses.iter().skip(1).map(|s| s.lead.0).collect();
    assert_eq!(pulled, [1, 3]);
    assert_eq!(step.pulled, SETTLE_PULLED);
}

#[test]
fn a_walk_over_many_leads_reads_each_once_in_steps_that_fit() {
    let mut circuit: Circuit<128> = Circuit::new();
    for lead in 0..100 {
        let node = circuit.node().unwrap();
        circuit.clip(LeadId(lead), node).unwrap();
        if lead % 7 == 0 {
            let (least, most) = (Ohms(1e4), Ohms(1e6));
            circuit
                .add(node, GROUND, Part::Load { least, most })
                .unwrap();
        }
    }
    let layout = Layout::of(&circuit, &[]);
    let mut read = Vec::new();
    for planned in walk(&layout, LeadId(3)) {
        assert_eq!(planned.purpose.leads(), (LeadId(3), None));
        let senses = &planned.step.senses;
        assert!(!senses.is_empty() && senses.len() <= MAX_SENSES);
        for sense in senses {
            let plain = sense.lead == LeadId(3);
            assert_eq!(sense.mode == SenseMode::Plain, plain);
            let slow = planned.step.pulled == SETTLE_PULLED;
            assert_eq!(layout.loaded(sense.lead), slow, "{:?}", sense.lead);
        }
        read.extend(senses.iter().map(|s| s.lead.0));
    }
    read.sort_unstable();
    assert_eq!(read, (0..100).collect::<Vec<_>>());
}

#[test]
fn ohms_by_the_voltage_between() {
    let half = Volts(instrument::REFERENCE.0 / 2.0);
    assert!((path_ohms(2, half).0 / (2.0 * instrument::SOURCE.0) - 1.0).abs() < 1e-12);
    assert!((path_ohms(1, half).0 / instrument::SOURCE.0 - 1.0).abs() < 1e-12);
    let nearly = |off: f64| Volts(instrument::REFERENCE.0 * (1.0 - off));
    assert_eq!(path_ohms(2, nearly(4e-4)).0, f64::INFINITY);
    // 2 · 725 Ω · (1 − 6e-4) / 6e-4.
    let most = path_ohms(2, nearly(6e-4)).0;
    assert!((most / (1450.0 * (1.0 / 6e-4 - 1.0)) - 1.0).abs() < 1e-9);
    assert!(path_ohms(2, Volts(-1e-3)).0 < 0.0);
    assert_eq!(pair_ohms(Volts(-1e-3)).0, 0.0);
    assert_eq!(pair_ohms(half), path_ohms(2, half));
}

#[test]
fn a_pair_reads_up_to_six_more() {
    let (_, layout) = layout();
    let also: Vec<_> = (0..12).map(LeadId).collect();
    let planned = pair(&layout, LeadId(2), LeadId(3), &also);
    assert_eq!(planned.purpose.leads(), (LeadId(2), Some(LeadId(3))));
    let senses: Vec<_> = planned.step.senses.iter().map(|s| s.lead.0).collect();
    assert_eq!(senses, [2, 3, 0, 1, 4, 5, 6, 7]);
    assert!(planned.step.high.contains(LeadId(2)) && planned.step.high.len() == 1);
    assert!(planned.step.low.contains(LeadId(3)) && planned.step.low.len() == 1);
    assert_eq!(planned.step.samples, FINE);
}

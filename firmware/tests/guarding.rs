//! Guarding dead joints.

mod fake;

use fake::{Rig, World, set};
use loomproof_core::units::{Farads, Micros};
use loomproof_core::wire::{Break, Guard, LeadId, Place, Refusal, Reply, Request};
use loomproof_firmware::guard::{shortest, shortest_alone};

fn guard(low: &[u8], watched: &[u8], span: u32) -> Request {
    Request::Guard(Guard {
        low: set(low),
        watched: set(watched),
        span: Micros(span),
    })
}

struct Guarded {
    breaks: Vec<Break>,
    more: u8,
    took: u32,
    round: u32,
}

fn guarded(rig: &mut Rig, request: &Request) -> Guarded {
    match rig.ask(request) {
        Reply::Guarded {
            breaks,
            more,
            took,
            round,
            ..
        } => Guarded {
            breaks: breaks.to_vec(),
            more,
            took: took.0,
            round: round.0,
        },
        other => panic!("{other:?}"),
    }
}

/// Every lead has a joint to chassis, 50 mΩ, on 1 nF of wiring and the probe's own.
fn grounded(banks: usize, khz: u64) -> Rig {
    let mut world = World::new(banks);
    world.khz = khz;
    for net in &mut world.nets {
        net.source = Some((0.0, 0.05));
        net.farads = 1.15e-9;
    }
    Rig::new(world)
}

/// The joint of a lead becomes `ohms` from `at` on, for so many µs.
fn opens(world: &mut World, lead: u8, ohms: f64, (at, lasts): (u64, u64)) {
    world.after(at, move |w| w.net(lead).source = Some((0.0, ohms)));
    world.after(at + lasts, move |w| w.net(lead).source = Some((0.0, 0.05)));
}

#[test]
fn the_shortest_certain_dropout_is_caught_in_every_phase() {
    let most: Vec<u8> = (0..16).collect();
    for khz in [8_000, 10_000] {
        let lasts = u64::from(shortest(16, Farads(1e-9), khz as u32).0);
        assert!(lasts <= 100, "{lasts} µs at {khz} kHz");
        // Looks at other leads come every 0.7 ms: all phases of those as well.
        for phase in 0..300 {
            let mut rig = grounded(1, khz);
            assert_eq!(rig.ask(&Request::Arm(Place::Vehicle)), Reply::Armed);
            let at = 2_000 + phase * 5;
            opens(&mut rig.world.borrow_mut(), 9, 1e9, (at, lasts));
            let g = guarded(&mut rig, &guard(&[], &most, 6_000));
            assert_eq!(g.breaks.len(), 1, "phase {phase}, {lasts} µs at {khz} kHz");
            let found = g.breaks[0];
            assert_eq!((found.lead, found.count), (LeadId(9), 1), "phase {phase}");
            assert!(!found.open_at_end && g.more == 0);
            assert!(u64::from(found.longest.0) <= lasts + 60, "{found:?}");
            rig.must_be_safe();
        }
    }
}

#[test]
fn more_leads_need_longer_and_are_as_certain() {
    for banks in [2_usize, 4, 8] {
        let leads = banks as u8 * 16;
        let lasts = u64::from(shortest(leads, Farads(1e-9), 8_000).0);
        let all: Vec<u8> = (0..leads).collect();
        let mut missed = 0;
        for phase in 0..12 {
            let mut rig = grounded(banks, 8_000);
            assert_eq!(rig.ask(&Request::Arm(Place::Bench)), Reply::Armed);
            opens(
                &mut rig.world.borrow_mut(),
                leads - 1,
                1e9,
                (4_000 + phase * 61, lasts),
            );
            let g = guarded(&mut rig, &guard(&[], &all, 6_000));
            missed += usize::from(g.breaks.is_empty());
            assert!(g.round <= loomproof_firmware::guard::round(leads, 8_000).0 + 2);
        }
        assert_eq!(missed, 0, "{leads} leads, {lasts} µs");
    }
}

#[test]
fn good_joints_make_no_breaks_and_what_stays_open_is_said() {
    let mut rig = grounded(2, 10_000);
    rig.arm();
    let watched: Vec<u8> = (1..32).collect();
    let g = guarded(&mut rig, &guard(&[0], &watched, 100_000));
    assert_eq!(g.breaks, []);
    assert!((100_000..100_100).contains(&g.took));
    // Three leads, opening for different times; one for good.
    rig.arm();
    {
        let mut world = rig.world.borrow_mut();
        opens(&mut world, 4, 1e9, (20_000, 1_000));
        opens(&mut world, 4, 1e9, (50_000, 3_000));
        opens(&mut world, 20, 300e3, (60_000, 500));
        opens(&mut world, 7, 1e9, (80_000, 1_000_000));
        // Far below what is certain: a joint of 1 kΩ is closed.
        opens(&mut world, 11, 1_000.0, (30_000, 5_000));
    }
    let g = guarded(&mut rig, &guard(&[], &watched, 100_000));
    let leads: Vec<_> = g.breaks.iter().map(|found| found.lead.0).collect();
    assert_eq!(leads, [4, 20, 7]);
    let [four, twenty, seven] = g.breaks[..] else {
        panic!()
    };
    assert_eq!((four.count, twenty.count, seven.count), (2, 1, 1));
    assert!(four.longest.0.abs_diff(3_000) < 200 && !four.open_at_end);
    assert!(twenty.longest.0.abs_diff(500) < 200);
    assert!(seven.open_at_end && seven.longest.0.abs_diff(20_000) < 1_000);
    assert!(four.first < twenty.first && twenty.first < seven.first);
    rig.must_be_safe();
}

#[test]
fn a_joint_that_is_open_from_the_start_and_more_than_there_is_room_for() {
    let mut rig = Rig::leads(2);
    rig.arm();
    // Nothing holds any of 20 leads.
    let watched: Vec<u8> = (0..20).collect();
    let g = guarded(&mut rig, &guard(&[31], &watched, 10_000));
    assert_eq!((g.breaks.len(), g.more), (16, 4));
    for found in &g.breaks {
        assert_eq!((found.count, found.open_at_end), (1, true), "{found:?}");
        assert!(found.first.0 < 300 && found.longest.0 > 9_000, "{found:?}");
    }
    rig.must_be_safe();
    // What the pulls charged is gone: the next one is carried out at once.
    let again = guarded(&mut rig, &guard(&[31], &watched, 1_000));
    assert_eq!(again.breaks.len(), 16);
}

#[test]
fn a_low_lead_holds_six_and_the_drive_stays_within_its_limit() {
    let mut rig = Rig::leads(1);
    for lead in 1..7 {
        rig.world.borrow_mut().join(0, lead);
    }
    rig.arm();
    let g = guarded(&mut rig, &guard(&[0], &[1, 2, 3, 4, 5, 6], 5_000));
    assert_eq!(g.breaks, []);
    let volts = rig.world.borrow().nets[0].volts;
    assert!(volts.abs() < 0.2, "{volts} V left");
}

#[test]
fn one_lead_alone_sees_a_kilohm() {
    for low in [&[][..], &[1], &[1, 2]] {
        for khz in [8_000, 10_000] {
            let lasts = u64::from(shortest_alone(khz as u32).0);
            assert!(lasts <= 100, "{lasts} µs");
            for phase in 0..100 {
                // 3.3 V through 725 Ω; leads 1 and 2 are beyond the joint of lead 0.
                let mut world = World::new(1);
                world.khz = khz;
                world.net(0).farads = 1.15e-9;
                let held = match low.len() {
                    0 => 0.05,
                    n => 725.0 / n as f64,
                };
                world.net(0).source = None;
                let mut rig = Rig::new(world);
                rig.arm();
                {
                    let mut world = rig.world.borrow_mut();
                    world.net(0).source = Some((0.0, held));
                    let at = 3_000 + phase * 9;
                    world.after(at, move |w| w.net(0).source = Some((0.0, held + 1_000.0)));
                    world.after(at + lasts, move |w| w.net(0).source = Some((0.0, held)));
                    // 200 Ω more is not open.
                    world.after(5_000, move |w| w.net(0).source = Some((0.0, held + 200.0)));
                }
                let g = guarded(&mut rig, &guard(low, &[0], 8_000));
                assert_eq!(g.breaks.len(), 1, "phase {phase} at {khz} kHz, low {low:?}");
                assert_eq!(g.breaks[0].count, 1);
                assert!(!g.breaks[0].open_at_end);
                rig.must_be_safe();
            }
        }
    }
}

#[test]
fn live_leads_end_it() {
    // On a watched lead, beyond the comparators: they let go.
    let mut rig = grounded(2, 10_000);
    rig.arm();
    rig.world
        .borrow_mut()
        .after(20_000, |w| w.net(3).source = Some((12.0, 1.0)));
    let began = rig.world.borrow().ns;
    let reply = rig.ask(&guard(&[], &[3, 4], 250_000));
    assert_eq!(reply, Reply::Refused(Refusal::Tripped));
    let took = (rig.world.borrow().ns - began) / 1_000;
    assert!(took < 20_100 + 100, "{took} µs");
    rig.must_be_safe();
    // Less than that, on another lead: within a look at each of the 32.
    let mut rig = grounded(2, 10_000);
    rig.arm();
    rig.world
        .borrow_mut()
        .after(20_000, |w| w.net(30).source = Some((3.7, 1.0)));
    let began = rig.world.borrow().ns;
    let reply = rig.ask(&guard(&[], &[3, 4], 250_000));
    let Reply::Refused(Refusal::Live(LeadId(30), mv)) = reply else {
        panic!("{reply:?}")
    };
    assert!((3_600..3_800).contains(&mv));
    let took = (rig.world.borrow().ns - began) / 1_000;
    assert!(took < 20_000 + 32 * 1_000, "{took} µs");
    rig.must_be_safe();
    // A lead alone, lifted beyond the reference: within a millisecond.
    let mut rig = grounded(1, 10_000);
    rig.arm();
    rig.world
        .borrow_mut()
        .after(20_000, |w| w.net(3).source = Some((3.8, 1.0)));
    let began = rig.world.borrow().ns;
    let reply = rig.ask(&guard(&[], &[3], 250_000));
    assert!(
        matches!(reply, Reply::Refused(Refusal::Live(LeadId(3), _))),
        "{reply:?}"
    );
    let took = (rig.world.borrow().ns - began) / 1_000;
    assert!(took < 20_000 + 1_500, "{took} µs");
    rig.must_be_safe();
}

#[test]
fn it_needs_leave_and_its_limits() {
    let mut rig = Rig::leads(4);
    let request = guard(&[0], &[1], 100);
    assert_eq!(rig.ask(&request), Reply::Refused(Refusal::NotArmed));
    assert_eq!(rig.ask(&Request::Arm(Place::Vehicle)), Reply::Armed);
    let many: Vec<u8> = (1..34).collect();
    let refused = rig.ask(&guard(&[0], &many, 100));
    assert_eq!(refused, Reply::Refused(Refusal::TooManySources));
    // That does not end the leave.
    let g = guarded(&mut rig, &guard(&[0], &many[..32], 100));
    assert_eq!(g.breaks.len(), 16);
    let live = Rig::leads(1);
    live.world.borrow_mut().net(2).source = Some((1.0, 10.0));
    let mut live = live;
    assert!(matches!(
        live.ask(&Request::Arm(Place::Bench)),
        Reply::Refused(Refusal::Live(..))
    ));
}

#[test]
fn the_pulls_are_off_afterwards() {
    let mut rig = grounded(1, 10_000);
    rig.arm();
    guarded(&mut rig, &guard(&[], &[1, 2], 100));
    let Reply::Readings { readings, .. } = rig.ask(&Request::Step(fake::step(&[0], &[1], &[0, 1])))
    else {
        panic!("no readings")
    };
    assert_eq!(readings.len(), 2);
    // The chips stand as arming left them.
    assert!(matches!(rig.ask(&Request::Arm(Place::Bench)), Reply::Armed));
    let world = rig.world.borrow();
    let on = world.writes.iter().rev().find_map(|(cs, bytes)| {
        (*cs == fake::Cs::Drive && bytes.get(1) == Some(&0x0A))
            .then(|| bytes.get(2).copied())
            .flatten()
    });
    assert_eq!(on, Some(8));
}

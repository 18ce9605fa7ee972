//! The request machine and its steps on the fake instrument.

mod fake;

use fake::{Rig, ask_step, readings, refused, step, volts};
use loomproof_core::units::{MicroVolts, Micros};
use loomproof_core::wire::{
    LeadId, Place, Reading, Refusal, Reply, Request, Sense, SenseMode, Step,
};

#[test]
fn a_step_reads_what_the_wiring_gives() {
    let mut rig = Rig::leads(5);
    rig.world.borrow_mut().join(3, 66);
    rig.world.borrow_mut().join(3, 7);
    rig.arm();
    let half = readings(ask_step(&mut rig, step(&[3], &[66], &[3, 7, 66, 8])));
    for reading in &half[..3] {
        assert!((volts(*reading) - 1.65).abs() < 1e-3, "{reading:?}");
    }
    assert_eq!(half[3], Reading::Volts(MicroVolts(0)));
    // Nothing pulls it down: all codes full.
    let open = readings(ask_step(&mut rig, step(&[12], &[], &[12])));
    assert!(matches!(
        open[0],
        Reading::Above | Reading::Volts(MicroVolts(3_299_000..))
    ));
    let pulled = Step {
        settle: Micros(1_000),
        pulled: Micros(1_000),
        senses: [SenseMode::PullUp, SenseMode::PullDown]
            .map(|mode| Sense {
                lead: LeadId(9),
                mode,
            })
            .into_iter()
            .collect(),
        ..step(&[], &[], &[])
    };
    let pulled = readings(ask_step(&mut rig, pulled));
    assert!(matches!(
        pulled[0],
        Reading::Above | Reading::Volts(MicroVolts(3_298_000..))
    ));
    assert!(volts(pulled[1]) < 0.01, "{pulled:?}");
}

#[test]
fn steps_that_are_not_allowed() {
    let mut rig = Rig::leads(4);
    assert_eq!(
        refused(ask_step(&mut rig, step(&[1], &[2], &[3]))),
        Refusal::NotArmed
    );
    assert_eq!(rig.ask(&Request::Arm(Place::Vehicle)), Reply::Armed);
    let mut refuse = |step: Step| refused(ask_step(&mut rig, step));
    assert_eq!(
        refuse(step(&[64], &[], &[])),
        Refusal::NoSuchLead(LeadId(64))
    );
    assert_eq!(
        refuse(step(&[], &[127], &[])),
        Refusal::NoSuchLead(LeadId(127))
    );
    assert_eq!(
        refuse(step(&[], &[], &[200])),
        Refusal::NoSuchLead(LeadId(200))
    );
    assert_eq!(refuse(step(&[1, 2], &[], &[])), Refusal::TooManySources);
    assert_eq!(refuse(step(&[1], &[1], &[])), Refusal::BadStep);
    assert_eq!(
        refuse(Step {
            samples: 0,
            ..step(&[1], &[], &[1])
        }),
        Refusal::BadStep
    );
    assert_eq!(
        refuse(Step {
            samples: 65,
            ..step(&[1], &[], &[1])
        }),
        Refusal::BadStep
    );
    let long = |us| Step {
        settle: Micros(us),
        pulled: Micros(us),
        ..step(&[1], &[], &[1, 2, 3, 4])
    };
    assert_eq!(refuse(long(2_000_001)), Refusal::BadStep);
    let many = Step {
        senses: step(&[], &[], &[0; 11]).senses,
        ..long(2_000_000)
    };
    assert_eq!(refuse(many), Refusal::BadStep, "more than 10 s together");
    // None of these ends the permission.
    readings(ask_step(&mut rig, step(&[1], &[2, 3, 4], &[1])));
    rig.arm();
    readings(ask_step(&mut rig, step(&[1, 2, 3, 40], &[5], &[1])));
    assert_eq!(
        refused(ask_step(&mut rig, step(&[1, 2, 3, 4, 5], &[], &[]))),
        Refusal::TooManySources
    );
}

#[test]
fn permission_ends_in_silence() {
    let mut rig = Rig::leads(1);
    rig.arm();
    for _ in 0..3 {
        rig.sleep(2_900_000);
        readings(ask_step(&mut rig, step(&[1], &[2], &[1])));
    }
    rig.sleep(3_000_001);
    assert_eq!(
        refused(ask_step(&mut rig, step(&[1], &[], &[]))),
        Refusal::NotArmed
    );
    rig.arm();
    rig.sleep(3_000_001);
    rig.probe.poll();
    rig.world.borrow_mut().ns -= 2_000_000_000; // even if the clock lied afterwards
    assert_eq!(
        refused(ask_step(&mut rig, step(&[1], &[], &[]))),
        Refusal::NotArmed
    );
    rig.arm();
    assert_eq!(rig.ask(&Request::Release), Reply::Released);
    assert_eq!(
        refused(ask_step(&mut rig, step(&[1], &[], &[]))),
        Refusal::NotArmed
    );
    rig.arm();
    rig.hello();
    assert_eq!(
        refused(ask_step(&mut rig, step(&[1], &[], &[]))),
        Refusal::NotArmed
    );
}

#[test]
fn a_repeated_request_is_not_acted_on_again() {
    let mut rig = Rig::leads(1);
    rig.arm();
    let request = Rig::bytes(500, &Request::Step(step(&[1], &[2], &[1])));
    let first = rig.send(&request);
    rig.reset_counts();
    assert_eq!(rig.send(&request), first);
    assert_eq!(rig.world.borrow().bits, 0);
    // After a hello the same number is a new request.
    rig.hello();
    assert_ne!(rig.send(&request), first);
}

#[test]
fn another_request_under_the_same_number_is_a_new_one() {
    let mut rig = Rig::leads(1);
    rig.arm();
    rig.world.borrow_mut().join(1, 2);
    let of = |sensed| Rig::bytes(500, &Request::Step(step(&[1], &[], &[sensed])));
    let (joined, apart) = (rig.send(&of(2)), rig.send(&of(3)));
    assert_ne!(joined, apart, "the reading of lead 2 given out for lead 3");
    assert_eq!(rig.send(&of(3)), apart);
}

#[test]
fn bytes_come_in_any_chunks_and_garbage_gets_no_answer() {
    let mut rig = Rig::leads(1);
    let request = Rig::bytes(1, &Request::Survey);
    let mut heard = vec![];
    for byte in &request {
        heard.extend(rig.send(&[*byte]));
    }
    assert!(!heard.is_empty());
    let mut broken = request.clone();
    broken[2] ^= 4;
    assert!(rig.send(&broken).is_empty());
    assert!(rig.send(&[0, 0, 7, 7, 7, 0]).is_empty());
    assert!(rig.send(&vec![9; 4_000]).is_empty());
    assert!(rig.send(&[0]).is_empty());
    // A reply is not a request.
    assert!(rig.send(&heard).is_empty());
    let both = [
        Rig::bytes(2, &Request::Release),
        Rig::bytes(3, &Request::Release),
    ]
    .concat();
    let replies = rig.send(&both);
    assert_eq!(replies.iter().filter(|byte| **byte == 0).count(), 2);
}

#[test]
fn a_trip_lets_go_within_the_step_and_is_cleared_by_arming() {
    let mut rig = Rig::leads(2);
    rig.arm();
    rig.world
        .borrow_mut()
        .after(20_000, |world| world.net(30).source = Some((12.0, 1.0)));
    let before = rig.world.borrow().ns;
    let slow = Step {
        settle: Micros(500_000),
        pulled: Micros(500_000),
        ..step(&[1], &[2], &[1])
    };
    assert_eq!(refused(ask_step(&mut rig, slow.clone())), Refusal::Tripped);
    let took = (rig.world.borrow().ns - before) / 1_000;
    assert!((20_000..22_000).contains(&took), "let go after {took} µs");
    assert_eq!(refused(ask_step(&mut rig, slow)), Refusal::NotArmed);
    let refusal = refused(rig.ask(&Request::Arm(Place::Bench)));
    assert!(
        matches!(refusal, Refusal::Live(LeadId(30), _)),
        "{refusal:?}"
    );
    rig.world.borrow_mut().net(30).source = None;
    rig.sleep(1_000);
    // The trip reset the chips; arming sets them up again.
    rig.arm();
    rig.world.borrow_mut().join(1, 2);
    let read = readings(ask_step(&mut rig, step(&[1], &[2], &[1])));
    assert!((volts(read[0]) - 1.65).abs() < 1e-3, "{read:?}");
    // Tripped while idle.
    rig.world.borrow_mut().net(30).source = Some((-3.0, 1.0));
    rig.sleep(100);
    rig.probe.poll();
    assert_eq!(
        refused(ask_step(&mut rig, step(&[1], &[2], &[1]))),
        Refusal::NotArmed
    );
}

#[test]
fn the_watch_goes_round_and_breaks_off() {
    for khz in [1_000, 4_000, 10_000] {
        let mut rig = Rig::leads(4);
        rig.world.borrow_mut().khz = khz;
        rig.arm();
        rig.reset_counts();
        let slow = Step {
            settle: Micros(20_000),
            pulled: Micros(20_000),
            samples: 64,
            ..step(&[1], &[2], &[1, 2, 5, 6])
        };
        readings(ask_step(&mut rig, slow.clone()));
        let watched = rig.world.borrow().watched.clone();
        assert!(watched.len() > 80, "{} looks", watched.len());
        for pair in watched.windows(2) {
            let gap = pair[1].1 - pair[0].1;
            assert!(gap <= 1_000_000, "{gap} ns between looks at {khz} kHz");
        }
        // What is read is looked at too, at the ends of its span.
        let others = watched
            .iter()
            .map(|(lead, _)| *lead)
            .filter(|lead| ![1, 2, 5, 6].contains(lead));
        let mut leads: Vec<_> = others.take(60).collect();
        leads.sort_unstable();
        let expected: Vec<u8> = (0..64)
            .filter(|lead| ![1, 2, 5, 6].contains(lead))
            .collect();
        assert_eq!(leads, expected, "each once in turn");
        // 3.7 V is below the comparators; seen within one round.
        let start = rig.world.borrow().ns;
        rig.world
            .borrow_mut()
            .after(10_000, |world| world.net(40).source = Some((3.7, 10.0)));
        let refusal = refused(ask_step(&mut rig, slow));
        assert!(
            matches!(refusal, Refusal::Live(LeadId(40), 3_600..)),
            "{refusal:?}"
        );
        let took = (rig.world.borrow().ns - start) / 1_000;
        assert!(took < 10_000 + 61_000, "{took} µs at {khz} kHz");
    }
}

#[test]
fn broken_chips_and_a_broken_bus_refuse() {
    let mut rig = Rig::leads(2);
    rig.arm();
    rig.world.borrow_mut().gate[1].deaf = true;
    assert_eq!(
        refused(ask_step(&mut rig, step(&[17], &[], &[17]))),
        Refusal::Hardware
    );
    rig.world.borrow_mut().gate[1].deaf = false;
    rig.arm();
    rig.world.borrow_mut().drive[0].deaf = true;
    assert_eq!(
        refused(ask_step(&mut rig, step(&[1], &[], &[1]))),
        Refusal::Hardware
    );
    assert_eq!(
        refused(rig.ask(&Request::Arm(Place::Bench))),
        Refusal::Hardware
    );
    rig.world.borrow_mut().drive[0].deaf = false;
    // Wherever the bus fails: a refusal, and all let go once it is back.
    for transfer in 1..70 {
        rig.arm();
        rig.world.borrow_mut().fails_in = Some(transfer);
        let reply = rig.ask(&Request::Step(step(&[1], &[18], &[1, 2, 3])));
        let failed = rig.world.borrow().fails_in == Some(0);
        rig.world.borrow_mut().fails_in = None;
        if failed {
            assert_eq!(refused(reply), Refusal::Hardware, "transfer {transfer}");
        }
        assert_eq!(rig.ask(&Request::Release), Reply::Released);
        rig.must_be_safe();
    }
}

//! The probe shows its chips and channels, and stays safe while it does; it keeps what
//! the clips were nulled to.

mod fake;

use fake::{FakeProbe, Rig};
use loomproof_core::wire::{
    Channel, ClipOhms, LeadId, Nulls, Place, Refusal, Reply, Request, ZERO_CONVERSIONS,
};

#[test]
fn chips_and_sense_bus_are_shown_without_a_lead() {
    let mut rig = Rig::leads(2);
    rig.reset_counts();
    let Reply::Inspected(seen) = rig.ask(&Request::Inspect) else {
        panic!("inspected");
    };
    assert_eq!((seen.drive, seen.gate, seen.select), (0b11, 0b11, 0b1));
    assert!(!seen.tripped);
    assert!((seen.shift.0 - 1_650_000).abs() < 100, "{seen:?}");
    // The fake's bus has no capacitance: on nothing it is nowhere but at its pull.
    assert!(seen.lit <= ZERO_CONVERSIONS);
    rig.must_be_safe();
    let gates: Vec<u16> = rig
        .world
        .borrow()
        .writes
        .iter()
        .filter(|(cs, bytes)| *cs == fake::Cs::Gate && bytes.len() == 4 && bytes[1] == 0)
        .map(|(_, bytes)| u16::from_le_bytes([bytes[2], bytes[3]]))
        .collect();
    assert!(
        gates.iter().all(|direction| *direction == u16::MAX),
        "{gates:?}"
    );
    rig.world.borrow_mut().drive[1].deaf = true;
    let Reply::Inspected(seen) = rig.ask(&Request::Inspect) else {
        panic!("inspected");
    };
    assert_eq!((seen.drive, seen.gate), (0b01, 0b11));
    rig.world.borrow_mut().net(3).source = Some((12.0, 10.0));
    rig.sleep(100);
    let Reply::Inspected(seen) = rig.ask(&Request::Inspect) else {
        panic!("inspected");
    };
    assert!(seen.tripped);
    rig.must_be_safe();
}

#[test]
fn a_channel_is_proved_only_when_armed() {
    let mut rig = Rig::leads(1);
    let prove = Request::Prove(Channel::Lead(LeadId(5)));
    assert_eq!(rig.ask(&prove), Reply::Refused(Refusal::NotArmed));
    rig.arm();
    let Reply::Proved(proof) = rig.ask(&prove) else {
        panic!("proved");
    };
    rig.must_be_safe();
    assert!(proof.pin_high && proof.pin_low, "{proof:?}");
    let near = |uv: i32, volts: f64| (f64::from(uv) * 1e-6 - volts).abs() < 0.02;
    assert!(near(proof.high_down.0, 3.3 * 100.0 / 122.7), "{proof:?}");
    assert!(
        near(proof.idle_down.0, 0.0) && near(proof.open_down.0, 0.0),
        "{proof:?}"
    );
    assert!(near(proof.low_up.0, 3.3 * 22.7 / 122.7), "{proof:?}");
    assert!(matches!(
        rig.ask(&Request::Prove(Channel::Chassis)),
        Reply::Proved(_)
    ));
    let beyond = rig.ask(&Request::Prove(Channel::Lead(LeadId(16))));
    assert_eq!(beyond, Reply::Refused(Refusal::NoSuchLead(LeadId(16))));
    // An inspection ends the permission.
    assert!(matches!(rig.ask(&Request::Inspect), Reply::Inspected(_)));
    assert_eq!(rig.ask(&prove), Reply::Refused(Refusal::NotArmed));
}

#[test]
fn a_lead_that_turns_live_during_its_proof_is_let_go_of() {
    let mut refused = 0;
    for volts in [12.0, -12.0, 3.8, -0.4, 0.3] {
        for other in [5, 9] {
            // A proof lasts about 6 ms.
            for at in (0..9_000).step_by(250) {
                let mut rig = Rig::leads(1);
                rig.arm();
                rig.world.borrow_mut().after(at, move |world| {
                    world.net(other).source = Some((volts, 10.0));
                });
                // Between the look and the closing no probe can know.
                let forgiven = |world: &mut fake::World| world.violations.clear();
                rig.world.borrow_mut().after(at + 60, forgiven);
                let reply = rig.ask(&Request::Prove(Channel::Lead(LeadId(5))));
                rig.must_be_safe();
                match reply {
                    Reply::Proved(_) => {}
                    Reply::Refused(Refusal::Live(..) | Refusal::Tripped) => refused += 1,
                    other => panic!("{other:?}"),
                }
                // And whatever it was, nothing is closed onto it afterwards.
                let again = rig.ask(&Request::Prove(Channel::Lead(LeadId(other))));
                if rig.world.borrow().net_is_live(other) {
                    assert!(
                        matches!(again, Reply::Refused(_)),
                        "{volts} V at {at} µs: {again:?}"
                    );
                }
                rig.must_be_safe();
            }
        }
    }
    assert!(refused > 100, "only {refused} proofs were broken off");
}

#[test]
fn what_the_clips_were_nulled_to_is_given_back() {
    let mut rig = Rig::leads(3);
    let asked = |rig: &mut Rig, first| match rig.ask(&Request::Nulls(LeadId(first))) {
        Reply::Nulls(nulls) => nulls,
        other => panic!("{other:?}"),
    };
    assert_eq!(asked(&mut rig, 0).clips, [ClipOhms::NONE; 32]);
    assert_eq!(asked(&mut rig, 32).clips.len(), 16, "48 leads");
    let nulls = Nulls {
        first: LeadId(30),
        clips: [ClipOhms(1_000), ClipOhms(1_100)].into_iter().collect(),
    };
    let kept = rig.ask(&Request::Keep(nulls.clone()));
    assert!(matches!(kept, Reply::Nulls(all) if all.clips.starts_with(&nulls.clips)));
    assert_eq!(asked(&mut rig, 31).clips[0], ClipOhms(1_100));
    assert_eq!(asked(&mut rig, 200).clips.len(), 0);
    // It may be asked for at any time: the permission stays.
    rig.arm();
    asked(&mut rig, 0);
    assert!(matches!(rig.ask(&Request::Arm(Place::Bench)), Reply::Armed));
    let _: &FakeProbe = &rig.probe;
}

//! What is looked at before anything may be driven, on the fake instrument.

mod fake;

use fake::{Rig, World, ask_step, readings, refused, step};
use loomproof_core::units::Micros;
use loomproof_core::wire::{ChassisCheck, LeadId, PROTOCOL, Place, Refusal, Reply, Request, Step};

#[test]
fn leads_are_counted() {
    for banks in [0, 1, 3, 4, 8] {
        let mut rig = Rig::leads(banks);
        let hello = rig.hello();
        assert_eq!(usize::from(hello.leads), banks * 16);
        assert_eq!(
            (hello.protocol, hello.board.as_str(), hello.serial.as_str()),
            (PROTOCOL, "fake", "7")
        );
        rig.must_be_safe();
    }
    let mut gap = World::new(4);
    gap.gate[2].deaf = true;
    assert_eq!(Rig::new(gap).hello().leads, 32, "contiguous from address 0");
    assert_eq!(
        refused(Rig::leads(0).ask(&Request::Survey)),
        Refusal::Hardware
    );
    assert_eq!(
        refused(Rig::leads(0).ask(&Request::Arm(Place::Bench))),
        Refusal::Hardware
    );
}

#[test]
fn a_probe_that_was_left_driving_lets_go_at_start() {
    let mut rig = Rig::leads(2);
    rig.arm();
    // Pull the plug in the middle of a step: start again on the same chips.
    let world = rig.world.clone();
    world
        .borrow_mut()
        .after(5_000, |world| world.fails_in = Some(1));
    let slow = Step {
        settle: Micros(50_000),
        pulled: Micros(50_000),
        ..step(&[1], &[2], &[1])
    };
    assert_eq!(refused(rig.ask(&Request::Step(slow))), Refusal::Hardware);
    assert!(
        !world.borrow().closed().is_empty(),
        "the bus is dead, nothing can be let go"
    );
    world.borrow_mut().fails_in = None;
    rig.reset();
    rig.must_be_safe();
}

#[test]
fn a_survey_looks_at_every_lead_twice() {
    let mut rig = Rig::leads(5);
    rig.world.borrow_mut().net(70).source = Some((3.0, 100.0));
    rig.world.borrow_mut().net(2).source = Some((-0.3, 100.0));
    rig.sleep(1_000);
    let Reply::Survey { looks, chassis } = rig.ask(&Request::Survey) else {
        panic!("no survey")
    };
    assert_eq!(chassis, ChassisCheck::Agree);
    assert_eq!(looks.len(), 80);
    for (lead, look) in looks.iter().enumerate() {
        let expected = match lead {
            70 => 3.0 * 23_000.0 / 23_100.0 * 1e3,
            2 => -0.3 * 23_000.0 / 23_100.0 * 1e3,
            _ => 0.0,
        };
        for mv in [look.first_mv, look.second_mv] {
            assert!(
                (f64::from(mv) - expected).abs() < 3.0,
                "lead {lead}: {mv} mV"
            );
        }
    }
    rig.must_be_safe();
    assert_eq!(
        refused(ask_step(&mut rig, step(&[1], &[], &[]))),
        Refusal::NotArmed
    );
}

#[test]
fn a_shift_that_is_off_does_not_shift_the_looks() {
    let survey = |shift: f64| {
        let mut rig = Rig::leads(1);
        rig.world.borrow_mut().shift = shift;
        rig.world.borrow_mut().net(3).source = Some((0.18, 10.0));
        rig.sleep(100);
        rig.ask(&Request::Survey)
    };
    for shift in [1.65, 1.65 * 0.999, 1.65 * 1.001, 1.65 * 1.009] {
        let Reply::Survey { looks, .. } = survey(shift) else {
            panic!("no survey at {shift} V");
        };
        for (lead, look) in looks.iter().enumerate() {
            let expected = if lead == 3 { 180 } else { 0 };
            // 0.1 % would be 38 mV, and take lead 3 over the limit of 200 mV.
            assert!((look.first_mv - expected).abs() <= 2, "{lead}: {look:?}");
            assert!((look.second_mv - expected).abs() <= 2, "{lead}: {look:?}");
        }
    }
    assert_eq!(refused(survey(1.65 * 1.02)), Refusal::Hardware);
    assert_eq!(refused(survey(1.65 * 0.98)), Refusal::Hardware);
}

#[test]
fn live_and_moving_leads_and_chassis_refuse_to_arm() {
    let arm = |change: fn(&mut World)| {
        let mut rig = Rig::leads(4);
        change(&mut rig.world.borrow_mut());
        rig.sleep(1_000);
        let refusal = refused(rig.ask(&Request::Arm(Place::Vehicle)));
        rig.must_be_safe();
        assert_eq!(
            refused(ask_step(&mut rig, step(&[1], &[], &[]))),
            Refusal::NotArmed
        );
        refusal
    };
    let live = arm(|world| world.net(9).source = Some((0.25, 100.0)));
    assert!(
        matches!(live, Refusal::Live(LeadId(9), 247..=251)),
        "{live:?}"
    );
    // Above the comparators: the trip holds the drive chips in reset, but the
    // lead is still named.
    let live = arm(|world| world.net(9).source = Some((12.0, 1.0)));
    assert!(
        matches!(live, Refusal::Live(LeadId(9), 11_990..=12_010)),
        "{live:?}"
    );
    let apart = arm(|world| world.chassis = (0.0, f64::INFINITY));
    assert_eq!(apart, Refusal::Chassis(ChassisCheck::Apart(3_299)));
    let apart = arm(|world| world.chassis = (0.0, 20.0));
    assert!(
        matches!(apart, Refusal::Chassis(ChassisCheck::Apart(93..=95))),
        "{apart:?}"
    );
    let voltage = arm(|world| world.chassis = (-1.0, 1.0));
    assert!(
        matches!(
            voltage,
            Refusal::Chassis(ChassisCheck::Voltage(-1_002..=-998))
        ),
        "{voltage:?}"
    );
}

#[test]
fn a_probe_started_on_a_live_lead_names_it_and_recovers() {
    let mut world = World::new(2);
    world.net(5).source = Some((12.0, 1.0));
    world.net(5).volts = 12.0;
    world.latched = true;
    let mut rig = Rig::new(world);
    assert_eq!(rig.hello().leads, 64, "as many as one select chip can read");
    let refusal = refused(rig.ask(&Request::Arm(Place::Vehicle)));
    assert!(
        matches!(refusal, Refusal::Live(LeadId(5), 11_900..=12_100)),
        "{refusal:?}"
    );
    rig.world.borrow_mut().net(5).source = None;
    rig.world.borrow_mut().net(5).volts = 0.0;
    assert_eq!(rig.hello().leads, 32, "counted once the trip is cleared");
    rig.arm();
}

/// Two looks see a level that goes to and fro in one of two cases, whatever its period:
/// that is what permission to drive is worth, and why the watch goes on while driving.
#[test]
fn a_lead_that_goes_to_and_fro_is_mostly_refused() {
    let mut refused = 0;
    let halves: Vec<u64> = (700..2_700).step_by(53).collect();
    for half in &halves {
        let mut rig = Rig::leads(4);
        rig.world.borrow_mut().net(20).source = Some((0.15, 100.0));
        for round in 0..400 {
            let volts = if round % 2 == 0 { -0.1 } else { 0.15 };
            let turn = move |world: &mut World| world.net(20).source = Some((volts, 100.0));
            rig.world.borrow_mut().after(half * round, turn);
        }
        rig.sleep(1_000);
        match rig.ask(&Request::Arm(Place::Vehicle)) {
            Reply::Armed => {}
            Reply::Refused(Refusal::Moves(LeadId(20), ..)) => refused += 1,
            other => panic!("{other:?}"),
        }
    }
    println!("{refused} of {}", halves.len());
    assert!(2 * refused > halves.len(), "{refused} of {}", halves.len());
}

#[test]
fn stored_charge_is_waited_out_but_a_source_is_not() {
    let mut rig = Rig::leads(1);
    for (lead, farads) in [(1, 100e-9), (2, 5e-6)] {
        let mut world = rig.world.borrow_mut();
        world.net(lead).farads = farads;
        world.net(lead).volts = 3.0;
    }
    let before = rig.world.borrow().ns;
    rig.arm();
    let took = rig.world.borrow().ns - before;
    assert!((50_000_000..900_000_000).contains(&took), "{took} ns");
    // The same before a step: charge that a test left behind.
    rig.world.borrow_mut().net(1).volts = 2.0;
    readings(ask_step(&mut rig, step(&[1], &[], &[])));
    rig.world.borrow_mut().net(1).source = Some((2.0, 1_000.0));
    rig.sleep(10_000);
    let refusal = refused(ask_step(&mut rig, step(&[0], &[1], &[])));
    assert!(
        matches!(refusal, Refusal::Live(LeadId(1), 1_900..=2_000)),
        "{refusal:?}"
    );
    assert_eq!(
        refused(ask_step(&mut rig, step(&[0], &[], &[]))),
        Refusal::NotArmed
    );
}

//! The request machine and the interlock on the fake instrument.

mod fake;

use fake::{Rig, World, set, step};
use loomproof_core::units::{MicroVolts, Micros};
use loomproof_core::wire::{
    ChassisCheck, LeadId, PROTOCOL, Place, Reading, Refusal, Reply, Request, Sense, SenseMode, Step,
};

fn refused(reply: Reply) -> Refusal {
    match reply {
        Reply::Refused(refusal) => refusal,
        other => panic!("not refused: {other:?}"),
    }
}

fn readings(reply: Reply) -> Vec<Reading> {
    match reply {
        Reply::Readings { readings, .. } => readings.to_vec(),
        other => panic!("no readings: {other:?}"),
    }
}

fn volts(reading: Reading) -> f64 {
    match reading {
        Reading::Volts(level) => level.volts().value(),
        other => panic!("not settled in the span: {other:?}"),
    }
}

fn ask_step(rig: &mut Rig, step: Step) -> Reply {
    let reply = rig.ask(&Request::Step(step));
    rig.must_be_safe();
    reply
}

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
fn creeping_readings_are_waited_for_and_then_said() {
    let creep = |farads: f64| {
        let mut rig = Rig::leads(1);
        rig.world.borrow_mut().net(1).farads = farads;
        // The plan says 100 µs.
        rig.arm();
        let step = Step {
            low: set(&[]),
            ..step(&[1], &[], &[1, 2])
        };
        let before = rig.world.borrow().ns;
        let read = readings(ask_step(&mut rig, step.clone()));
        let took = (rig.world.borrow().ns - before) / 1_000_000;
        // What the step charged is empty again: the next one does not find it live.
        assert_eq!(readings(ask_step(&mut rig, step)).len(), read.len());
        (read[0], read[1], took)
    };
    // τ = 725 Ω · 2 µF = 1.5 ms: given time it is right.
    let (reading, other, took) = creep(2e-6);
    assert!(
        matches!(
            reading,
            Reading::Above | Reading::Volts(MicroVolts(3_299_500..))
        ),
        "{reading:?}"
    );
    assert_eq!(other, Reading::Volts(MicroVolts(0)));
    assert!((5..120).contains(&took), "{took} ms");
    // τ = 0.36 s: not within the probe's patience.
    let (reading, other, took) = creep(500e-6);
    assert!(
        matches!(reading, Reading::NotSettled(MicroVolts(1_000_000..))),
        "{reading:?}"
    );
    assert_eq!(other, Reading::Volts(MicroVolts(0)));
    // Its patience, and up to a second held low until the capacitor is empty.
    assert!((390..2_000).contains(&took), "{took} ms");
}

/// A reading is right or said not to be, whatever the capacitance of the wiring: from a
/// lead alone to what hardly moves while it is looked at.
#[test]
fn no_capacitor_is_taken_for_something_else() {
    let right = |reading: Reading, volts: f64| match reading {
        Reading::NotSettled(_) => true,
        Reading::Above => volts > 3.299,
        Reading::Below => false,
        Reading::Volts(level) => (f64::from(level.0) / 1e6 - volts).abs() < 1.5e-3,
    };
    let read = |farads: f64, charge: f64, step: Step| {
        let mut rig = Rig::leads(1);
        rig.arm();
        rig.world.borrow_mut().net(1).farads = farads;
        rig.world.borrow_mut().net(1).volts = charge;
        readings(ask_step(&mut rig, step))[0]
    };
    let plain = |samples| Step {
        samples,
        settle: Micros(80),
        ..step(&[1], &[], &[1])
    };
    let mut farads = 100e-12;
    while farads < 1.5e-3 {
        for samples in [1, 2, 3, 16] {
            if samples < 3 && farads > 0.6e-3 {
                // 3.3 V through 725 Ω moves it by less than their noise.
                continue;
            }
            let reading = read(farads, 0.0, plain(samples));
            assert!(right(reading, 3.3), "{farads} F, {samples}: {reading:?}");
            // What the plan allows for is settled, and so is what takes ten times as long.
            let settled = !matches!(reading, Reading::NotSettled(_));
            assert!(settled || farads > 100e-9, "{farads} F: {reading:?}");
        }
        // What a lead keeps of the step before runs off through the pull.
        let mut pulled = Step {
            pulled: Micros(3_100),
            ..plain(2)
        };
        pulled.high = set(&[3]);
        pulled.senses[0].mode = SenseMode::PullDown;
        let reading = read(farads, 0.15, pulled);
        // 0.15 V on more than that moves by less than the noise.
        let known = farads < 7e-6;
        assert!(!known || right(reading, 0.0), "{farads} F: {reading:?}");
        farads *= 1.1;
    }
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

/// What a step makes of lead 40 when it comes to stand at so many volts, behind
/// so many ohms and on so many farads, in the middle of it, and how long it takes, µs.
fn comes_to(volts: f64, ohms: f64, farads: f64, sensed: &[u8]) -> (Reply, u64) {
    let mut rig = Rig::leads(4);
    rig.arm();
    rig.world.borrow_mut().after(10_000, move |world| {
        *world.net(40) = fake::Net {
            volts,
            farads,
            source: Some((volts, ohms)),
        };
    });
    let slow = Step {
        settle: Micros(20_000),
        pulled: Micros(20_000),
        samples: 64,
        ..step(&[1], &[2], sensed)
    };
    let start = rig.world.borrow().ns;
    let reply = ask_step(&mut rig, slow);
    let took = (rig.world.borrow().ns - start) / 1_000;
    (reply, took)
}

#[test]
fn leakage_runs_off_a_floating_net_but_a_source_holds_or_returns() {
    let (_, undisturbed) = comes_to(0.0, 10.0, 200e-12, &[1, 2, 5, 6]);
    // 10 nA on 13 m of lead, and the same on the plus side (100 nA, so that the
    // 1 GΩ of the fake wiring leaves it outside the limit).
    for (volts, ohms, farads) in [(-0.3, 30e6, 1.3e-9), (3.7, 37e6, 1.3e-9)] {
        let (reply, took) = comes_to(volts, ohms, farads, &[1, 2, 5, 6]);
        readings(reply);
        assert!(
            took < undisturbed + 40_000,
            "{took} µs, {undisturbed} without"
        );
        let (reply, _) = comes_to(volts, ohms, farads, &[1, 2, 5, 40]);
        readings(reply);
    }
    for (volts, ohms, farads) in [
        (-0.3, 10.0, 200e-12),
        (-0.3, 1e3, 1.3e-9),
        (-0.4, 10e3, 1.3e-9),
        (3.7, 500.0, 1.3e-9),
        // Below the limit while the divider loads it, but back within 1 ms.
        (-0.3, 30e3, 2e-9),
    ] {
        for sensed in [&[1, 2, 5, 6], &[1, 2, 5, 40]] {
            let (reply, took) = comes_to(volts, ohms, farads, sensed);
            let refusal = refused(reply);
            assert!(
                matches!(refusal, Refusal::Live(LeadId(40), _)),
                "{volts} V behind {ohms} Ω: {refusal:?}"
            );
            // One round of the watch; what is sensed, when it is read.
            let most = if sensed.contains(&40) {
                undisturbed
            } else {
                72_000
            };
            assert!(took < most, "{took} µs: {volts} V behind {ohms} Ω");
        }
    }
    // Before driving a source need only lift the lead that the divider loads.
    let mut rig = Rig::leads(4);
    rig.world.borrow_mut().net(40).source = Some((0.5, 10e3));
    rig.sleep(1_000);
    let refusal = refused(rig.ask(&Request::Arm(Place::Vehicle)));
    assert!(
        matches!(refusal, Refusal::Live(LeadId(40), 345..=350)),
        "{refusal:?}"
    );
}

#[test]
fn many_floating_nets_do_not_hold_a_step_up() {
    let took = |leaky: bool| {
        let mut rig = Rig::leads(4);
        rig.arm();
        if leaky {
            // 10 nA on each of 40 bare probe leads with 1 m of wire.
            for lead in 20..60 {
                rig.world.borrow_mut().net(lead).source = Some((-0.3, 30e6));
            }
        }
        let slow = Step {
            settle: Micros(20_000),
            pulled: Micros(20_000),
            samples: 64,
            ..step(&[1], &[2], &[1, 2, 5, 6])
        };
        let start = rig.world.borrow().ns;
        for _ in 0..3 {
            let read = readings(ask_step(&mut rig, slow.clone()));
            assert!(matches!(read[0], Reading::Above | Reading::Volts(_)));
        }
        (rig.world.borrow().ns - start) / 1_000
    };
    let (calm, leaky) = (took(false), took(true));
    // In each step each lead may make what is read settle anew once.
    assert!(leaky <= calm + 3 * 40 * 20_500, "{leaky} µs, {calm} calm");
}

#[test]
fn a_sensed_lead_beyond_the_span_is_looked_at() {
    let mut rig = Rig::leads(1);
    rig.arm();
    rig.world.borrow_mut().net(5).source = Some((-0.4, 10.0));
    rig.sleep(100);
    let refusal = refused(ask_step(&mut rig, step(&[1], &[2], &[5])));
    assert!(
        matches!(refusal, Refusal::Live(LeadId(5), -402..=-398)),
        "{refusal:?}"
    );
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

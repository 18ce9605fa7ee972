//! How long a step waits for its readings, on the fake instrument.

mod fake;

use fake::{Rig, ask_step, readings, refused, set, step};
use loomproof_core::units::{MicroVolts, Micros};
use loomproof_core::wire::{LeadId, Place, Reading, Refusal, Reply, Request, SenseMode, Step};

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

//! What comes and goes by the clock, at exact times.

use crate::bench::hal::Shared;
use crate::bench::testing::{Rig, at, fault, hookup, job};
use crate::bench::tests::powered::{clips, on, plain, switch, two_feeds};
use crate::bench::{Bench, Device, Upset, upset};
use crate::fault::Joint;
use crate::plan::model::{Side::Mating, *};
use loomproof_core::units::{Hertz, PerMinute, Percent};
use loomproof_core::wire::{LeadId, Place};
use std::time::Instant;

fn signalled(signal: Signal) -> Job {
    let mut job = two_feeds();
    let known = job.electrics.behaviours.get_mut("K1").expect("stated");
    known.signal = signal;
    job
}

fn powered(job: &Job, upsets: &[&str]) -> Bench {
    let upsets: Vec<Upset> = upsets
        .iter()
        .map(|text| upset::parse(text, job).expect("an upset"))
        .collect();
    Bench::powered(job, &clips(), &[], &upsets, &plain(16)).expect("a bench")
}

/// A lead, which follows its wiring within nanoseconds.
fn high(bench: &Bench, lead: u8) -> bool {
    bench.lead_volts(LeadId(lead)).expect("a lead").value() > 6.0
}

/// The wiring itself, to the nanosecond.
fn fed(bench: &Bench, cavity: u16) -> bool {
    let place = format!("X1:{cavity}");
    bench.stands_at(&place).expect("a place").value() > 6.0
}

#[test]
fn a_flashing_feed_comes_and_goes_to_the_nanosecond() {
    let job = signalled(Signal::Flashing {
        rate: PerMinute(90.0),
        duty: Percent(50.0),
    });
    let mut bench = powered(&job, &[]);
    bench.wait(123_456);
    bench.set_switch("one", "on").expect("a switch");
    bench.set_switch("two", "on").expect("a switch");
    let begun = bench.now_ns();
    // 90 a minute: 666,666,666.67 ns, half of it on, on first.
    for turn in 0..5_u64 {
        let rise = begun + (turn * 2_000_000_000 + 1) / 3;
        let fall = begun + (turn * 2_000_000_000 + 1_000_000_000 + 1) / 3;
        for (edge, before, after) in [(rise, false, true), (fall, true, false)] {
            if edge > begun {
                bench.wait(edge - 1 - bench.now_ns());
                assert_eq!(fed(&bench, 1), before, "before {edge}");
                bench.wait(1);
            }
            assert_eq!(fed(&bench, 1), after, "at {edge}");
            assert!(fed(&bench, 2), "the other is steady");
            bench.wait(100);
            assert_eq!(high(&bench, 0), after, "100 ns after {edge}");
        }
    }
    // Off and on again it begins anew.
    bench.set_switch("one", "off").expect("a switch");
    bench.wait(50_000_000);
    assert!(!fed(&bench, 1));
    bench.set_switch("one", "on").expect("a switch");
    bench.wait(333_333_332);
    assert!(fed(&bench, 1));
    bench.wait(1);
    assert!(!fed(&bench, 1));
}

#[test]
fn a_dimmed_feed_is_on_for_its_part_of_the_time() {
    let job = signalled(Signal::Dimmed {
        rate: Hertz(1_000.0),
        duty: Percent(40.0),
    });
    let mut bench = powered(&job, &[]);
    bench.set_switch("one", "on").expect("a switch");
    bench.wait(1_000);
    let mut on = 0;
    for _ in 0..10_000 {
        on += u32::from(high(&bench, 0));
        bench.wait(2_000);
    }
    assert_eq!(on, 4_000, "40 % of 20 periods");
    // A quarter of a second has 500 edges, and passing them costs little.
    let begun = Instant::now();
    bench.wait(250_000_000);
    println!("250 ms of 1 kHz in {:?}", begun.elapsed());
    assert!(begun.elapsed().as_secs() < 2);
    assert!(high(&bench, 0), "a whole number of periods later");
}

#[test]
fn edges_are_passed_in_transfers_as_well() {
    let job = signalled(Signal::Dimmed {
        rate: Hertz(20_000.0),
        duty: Percent(50.0),
    });
    let bench = Shared::new(powered(&job, &[]));
    bench.set_switch("one", "on").expect("a switch");
    bench.0.borrow_mut().wait(1_000);
    let mut seen = Vec::new();
    // 25 bytes at 8 MHz take 25 µs: half a period.
    for _ in 0..6 {
        let mut data = [0x41; 25];
        bench.0.borrow_mut().transfer(Device::Select, &mut data);
        seen.push(high(&bench.0.borrow(), 0));
    }
    assert_eq!(seen, [false, true, false, true, false, true]);
}

#[test]
fn a_watched_lead_shows_the_duty_through_the_converter() {
    let job = signalled(Signal::Dimmed {
        rate: Hertz(200.0),
        duty: Percent(30.0),
    });
    let mut bench = powered(&job, &[]);
    bench.set_switch("one", "on").expect("a switch");
    let mut rig = Rig::on(bench);
    rig.select(Some(0), crate::bench::testing::Mode::Wide);
    let (mut on, mut looks) = (0, 0);
    let begun = rig.bench.now_ns();
    while rig.bench.now_ns() < begun + 100_000_000 {
        let volts = (f64::from(rig.convert()) * 3.3 / 65_536.0 - 1.65) * 23.0;
        on += u32::from(volts > 6.0);
        looks += 1;
    }
    let duty = f64::from(on) / f64::from(looks);
    println!("{looks} looks, {duty:.4} of them high");
    assert!(looks > 5_000 && (duty - 0.3).abs() < 0.003, "{duty}");
}

#[test]
fn wrong_rates_and_low_supplies_show() {
    let job = signalled(Signal::Flashing {
        rate: PerMinute(90.0),
        duty: Percent(50.0),
    });
    let mut bench = powered(&job, &["wrong-rate@K1,rate=150", "voltage@K2,volts=7"]);
    bench.set_switch("one", "on").expect("a switch");
    bench.set_switch("two", "on").expect("a switch");
    // 150 a minute: 400 ms.
    bench.wait(199_999_999);
    assert!(fed(&bench, 1));
    bench.wait(1);
    assert!(!fed(&bench, 1));
    bench.wait(200_000_000);
    assert!(fed(&bench, 1));
    let low = bench.stands_at("K2").expect("a place").value();
    assert!((low - 7.0 * 5.0 / (5.0 + 0.028)).abs() < 1e-6, "{low}");
}

#[test]
fn a_joint_opens_at_its_times_with_the_battery_on() {
    let job = two_feeds();
    let mut bench = powered(&job, &["intermittent@T1,gap=300us,every=2s"]);
    bench.set_switch("one", "on").expect("a switch");
    // Without spread the first gap is half-way: at 1 s.
    for (edge, closed) in [
        (1_000_000_000, false),
        (1_000_300_000, true),
        (3_000_000_000, false),
        (3_000_300_000, true),
    ] {
        bench.wait(edge - 1 - bench.now_ns());
        assert_eq!(fed(&bench, 1), !closed, "before {edge}");
        bench.wait(1);
        assert_eq!(fed(&bench, 1), closed, "at {edge}");
        // A lead that is let go keeps its charge for much longer than that.
        assert!(high(&bench, 0));
    }
}

/// W6 from X1:3 to X2:1, driven high at one end and low at the other.
#[test]
fn a_joint_opens_at_its_times_in_a_dead_test() {
    let job = job();
    let clips = hookup(Place::Vehicle, &[("X1", 3, Mating), ("X2", 1, Mating)]);
    let source = 680.0 + 35.0 + 10.0;
    for (text, open) in [
        ("intermittent@X1:3,gap=300us,every=2s", 3.3),
        // 3.3 V over two sources, two clips and 1 kΩ more.
        (
            "intermittent@X1:3,gap=300us,every=2s,ohms=1000",
            3.3 * (1.0 - source / (2.0 * source + 1_000.0)),
        ),
    ] {
        let upsets = [upset::parse(text, &job).expect("an upset")];
        let bench = Bench::upset(&job, &clips, &[], &upsets, &plain(16)).expect("a bench");
        let mut rig = Rig::on(bench);
        rig.drive(&[0], &[1]);
        let bench = &mut rig.bench;
        let volts = |bench: &Bench| bench.lead_volts(LeadId(0)).expect("a lead").value();
        for begin in [1_000_000_000, 3_000_000_000_u64] {
            bench.wait(begin - 1 - bench.now_ns());
            assert!((volts(bench) - 1.65).abs() < 0.01, "{}", volts(bench));
            bench.wait(1 + 30_000);
            assert!((volts(bench) - open).abs() < 0.01, "{}", volts(bench));
            bench.wait(300_000 - 30_001);
            assert!((volts(bench) - open).abs() < 0.01, "{}", volts(bench));
            bench.wait(30_001);
            assert!((volts(bench) - 1.65).abs() < 0.01, "{}", volts(bench));
        }
        assert!(!bench.tripped());
    }
}

#[test]
fn gaps_begin_at_seeded_times_and_repeat_with_their_seed() {
    let job = two_feeds();
    let upsets = [upset::parse("intermittent@T1,gap=1ms,every=2s", &job).expect("an upset")];
    let first = |seed: u64| {
        let settings = crate::bench::Settings {
            seed,
            spread: true,
            ..plain(16)
        };
        let mut bench = Bench::powered(&job, &clips(), &[], &upsets, &settings).expect("a bench");
        bench.set_switch("one", "on").expect("a switch");
        while bench.stands_at("X1:1").expect("a place").value() > 6.0 {
            bench.wait(1_000_000);
            assert!(bench.now_ns() < 2_100_000_000, "none within two seconds");
        }
        bench.now_ns()
    };
    let times: Vec<u64> = (1..6).map(first).collect();
    assert_eq!(first(3), times[2]);
    assert!(times.windows(2).all(|pair| pair[0] != pair[1]), "{times:?}");
}

#[test]
fn a_relay_rides_over_a_short_gap_and_not_over_a_long_one() {
    let mut job = job();
    job.electrics.switches = vec![switch("key")];
    job.electrics.pins = vec![Pin {
        name: "C1".into(),
        at: ("X1".into(), 1),
        function: None,
        load: Load::None,
        behaviour: Behaviour {
            plus_when: on("key"),
            ..Behaviour::UNKNOWN
        },
    }];
    // The coil's other end to chassis.
    let grounded = Behaviour {
        chassis_when: Some(States::Always),
        ..Behaviour::UNKNOWN
    };
    job.electrics.pins.push(Pin {
        name: "C2".into(),
        at: ("X1".into(), 2),
        function: None,
        load: Load::None,
        behaviour: grounded,
    });
    for (gap, drops) in [("300us", false), ("10ms", true)] {
        let text = format!("intermittent@S1,lead=W4,gap={gap},every=2s");
        let upsets = [upset::parse(&text, &job).expect("an upset")];
        let mut bench = Bench::powered(&job, &clips(), &[], &upsets, &plain(16)).expect("a bench");
        bench.set_switch("key", "on").expect("a switch");
        assert_eq!(bench.pulled_in("R1"), Some(true));
        bench.wait(1_000_000_100);
        assert_eq!(bench.pulled_in("R1"), Some(!drops), "{gap}");
        bench.wait(20_000_000);
        assert_eq!(bench.pulled_in("R1"), Some(true), "{gap}: afterwards");
    }
}

#[test]
fn a_joint_that_is_open_anyway_stays_open() {
    let job = two_feeds();
    let upsets = [upset::parse("intermittent@T1,gap=1ms,every=2s", &job).expect("an upset")];
    let open = [fault::open(Joint::At(End::Tap("T1".into())))];
    let mut bench = Bench::powered(&job, &clips(), &open, &upsets, &plain(16)).expect("a bench");
    bench.set_switch("one", "on").expect("a switch");
    for _ in 0..3 {
        assert!(bench.stands_at("X1:1").expect("a place").value().abs() < 1e-6);
        bench.wait(1_000_000_100);
    }
    assert_eq!(at("X1", 1).to_string(), "X1:1");
}

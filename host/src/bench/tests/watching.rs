//! The probe watches this bench: live wiring that switches, joints that shake, leads
//! that nothing holds. Tolerances and noise are on.

use crate::bench::testing::{at, conductor, connector, empty_job, fault, hookup, lead};
use crate::bench::{Bench, Settings};
use crate::fault::Fault;
use crate::link::{Link, Loopback, Session, VirtualProbe};
use crate::plan::model::{End, Job, Lead, Load, Ring, RingOn, Side::Mating};
use loomproof_core::units::Metres;
use loomproof_core::units::{Farads, MicroVolts, Micros, MilliVolts, Ohms};
use loomproof_core::wire::{
    Break, Feel, Guard, LeadId, LeadSet, Place, Reading, Reply, Request, Seen, Watch,
};
use loomproof_firmware::guard::shortest;

/// The lead that something switches.
const SWITCHED: LeadId = LeadId(15);

/// X1 with fifteen leads to a chassis ring, and one of 10 m (1 nF) to X2:1. P1 to P16
/// sit on them; P17 hangs free, P18 is on a conductor of 10 kΩ.
fn job() -> Job {
    let range = Load::Range {
        least: Ohms(10_000.0),
        most: Ohms(10_000.0),
    };
    let mut leads: Vec<Lead> = (1..16)
        .map(|n| lead(&format!("W{n}"), at("X1", n), End::Ring("G1".into())))
        .collect();
    leads.push(Lead {
        length: Metres(10.0),
        ..lead("W16", at("X1", 16), at("X2", 1))
    });
    Job {
        connectors: vec![
            connector("X1", 17, true),
            connector("X2", 1, true),
            connector("FB", 2, false),
        ],
        conductors: vec![conductor("K1", "FB", 1, range)],
        leads,
        rings: vec![Ring {
            name: "G1".into(),
            on: RingOn::Chassis,
            place: None,
        }],
        ..empty_job()
    }
}

fn session(volts: f64, seed: u64) -> Session<Loopback> {
    let mut points: Vec<(&str, u16, _)> = (1..=17).map(|n| ("X1", n, Mating)).collect();
    points.push(("FB", 1, Mating));
    let faults: [Fault; 1] = [fault::live(at("X2", 1), volts)];
    let settings = Settings {
        seed,
        leads: 32,
        ..Settings::default()
    };
    let hookup = hookup(Place::Vehicle, &points);
    let bench = Bench::new(&job(), &hookup, &faults, &settings).expect("a bench");
    VirtualProbe::new(bench).session().expect("a session")
}

/// Lets something happen to the bench between requests.
fn on_bench<R>(session: &Session<Loopback>, act: impl FnOnce(&mut Bench) -> R) -> R {
    act(&mut session.transport().probe().bench().0.borrow_mut())
}

/// Switches the source at these times, µs from now; it is on before.
fn switches(session: &Session<Loopback>, times: impl IntoIterator<Item = (u64, bool)>) {
    on_bench(session, |bench| {
        let now = bench.now_ns();
        for (us, on) in times {
            bench.switch_live_at(now + us * 1_000, on);
        }
    });
}

fn leads(range: std::ops::Range<u8>) -> LeadSet {
    range.map(LeadId).collect()
}

fn guarded(session: &mut Session<Loopback>, watched: LeadSet, span: u32) -> Vec<Break> {
    let request = Request::Guard(Guard {
        low: LeadSet::EMPTY,
        watched,
        span: Micros(span),
    });
    match session.exchange(&request).expect("an answer") {
        Reply::Guarded { breaks, more, .. } => {
            assert_eq!(more, 0);
            breaks.to_vec()
        }
        other => panic!("{other:?}"),
    }
}

#[test]
fn dropouts_of_100_microseconds_are_caught_in_every_phase() {
    assert!(shortest(16, Farads(1e-9), 8_000) <= Micros(100));
    for phase in 0..60 {
        let mut session = session(0.0, phase + 1);
        let armed = session.exchange(&Request::Arm(Place::Vehicle)).unwrap();
        assert_eq!(armed, Reply::Armed);
        // A source of 0 V is the joint to chassis; the bench's leads have 1.1 nF in all.
        let opens = 2_000 + phase * 23;
        switches(&session, [(opens, false), (opens + 100, true)]);
        let breaks = guarded(&mut session, leads(0..16), 6_000);
        let [one] = breaks[..] else {
            panic!("phase {phase}: {breaks:?}")
        };
        assert_eq!((one.lead, one.count), (SWITCHED, 1), "phase {phase}");
        assert!(!one.open_at_end && one.longest <= Micros(160), "{one:?}");
        on_bench(&session, |bench| {
            assert!(bench.most_drive().value() < 5e-3);
            assert_eq!(bench.counters().early_reads, 0);
            assert!(bench.trouble().is_none());
        });
    }
}

#[test]
fn good_joints_are_quiet_for_a_second_and_one_alone_is_seen_as_well() {
    let mut session = session(0.0, 7);
    session.exchange(&Request::Arm(Place::Vehicle)).unwrap();
    for _ in 0..4 {
        assert_eq!(guarded(&mut session, leads(0..16), 250_000), []);
    }
    switches(&session, [(4_000, false), (4_100, true), (9_000, false)]);
    let breaks = guarded(&mut session, leads(15..16), 20_000);
    let [one] = breaks[..] else {
        panic!("{breaks:?}")
    };
    assert_eq!((one.lead, one.count, one.open_at_end), (SWITCHED, 2, true));
}

fn seen(session: &mut Session<Loopback>, of: &[LeadId]) -> (Vec<Seen>, Micros) {
    let request = Request::Watch(Watch {
        leads: of.iter().copied().collect(),
        low: MilliVolts(4_000),
        high: MilliVolts(8_000),
        span: Micros(250_000),
    });
    match session.exchange(&request).expect("an answer") {
        Reply::Watched { seen, at, .. } => (seen.to_vec(), at),
        other => panic!("{other:?}"),
    }
}

#[test]
fn pulse_width_to_a_hundredth_of_the_period() {
    for period in [1_000_u64, 1_100, 5_000, 20_000] {
        for duty in [50, 200, 500, 950] {
            let mut session = session(12.0, period + duty);
            let on = period * duty / 1_000;
            let times = (0..260_000 / period)
                .flat_map(|n| [(n * period + 40, true), (n * period + 40 + on, false)]);
            switches(&session, times);
            let (seen, _) = seen(&mut session, &[SWITCHED]);
            let found = seen[0].duty_permille().expect("it rises");
            let took = seen[0].period().expect("it rises").0;
            // What the source leaves on 1 nF runs off through 23 kΩ: 25 µs, and 28 more
            // from 12 V to the lower limit. An open collector's fall, not a look's.
            let late = 1_000.0 * 25.0e-6 * 3.0_f64.ln() / (period as f64 * 1e-6);
            let off = f64::from(found) - duty as f64 - late;
            println!("{period} µs, {duty} ‰: {found} ‰, {took} µs, off by {off:.1} ‰");
            if duty < 950 || period > 1_100 {
                assert!(off.abs() <= 10.0, "{found} ‰ of {duty} ‰ at {period} µs");
                assert!(
                    (f64::from(took) / period as f64 - 1.0).abs() < 0.002,
                    "{took}"
                );
            }
        }
    }
}

#[test]
fn flashing_in_windows() {
    for millihertz in [500_u64, 1_500, 3_000] {
        let period = 1_000_000_000 / millihertz;
        let mut session = session(12.0, millihertz);
        let times = (0..6_000_000 / period).flat_map(|n| {
            [
                (n * period + 50_000, true),
                (n * period + 50_000 + period / 2, false),
            ]
        });
        switches(&session, std::iter::once((1, false)).chain(times));
        let mut rises = vec![];
        for _ in 0..22 {
            let (seen, at) = seen(&mut session, &[LeadId(0), SWITCHED]);
            assert_eq!((seen[0].rises, seen[0].most.0.abs() < 20), (0, true));
            if seen[1].rises == 1 {
                rises.push(at.0 + seen[1].first_rise.0);
            }
        }
        assert!(rises.len() >= 3, "{millihertz} mHz: {rises:?}");
        for pair in rises.windows(2) {
            assert!(
                u64::from(pair[1] - pair[0]).abs_diff(period) < 100,
                "{rises:?}"
            );
        }
    }
}

#[test]
fn what_nothing_holds_is_felt_in_noise() {
    for seed in 1..9 {
        let mut session = session(12.0, seed);
        let leads: LeadSet = [0, 15, 16, 17].map(LeadId).into_iter().collect();
        let request = Request::Feel(Feel {
            leads,
            // 122 kΩ into 10 nF of a module and its wiring, 12 time constants.
            pulled: Micros(150_000),
        });
        let Reply::Felt(felt) = session.exchange(&request).unwrap() else {
            panic!("not felt")
        };
        let level = |reading| match reading {
            Reading::Volts(MicroVolts(uv)) => f64::from(uv) * 1e-6,
            Reading::Above => 3.3,
            other => panic!("{other:?}"),
        };
        let pulled: Vec<_> = felt
            .iter()
            .map(|felt| felt.pulled.map(|(down, up)| (level(down), level(up))))
            .collect();
        let [chassis, live, free, held] = pulled[..] else {
            panic!("{felt:?}")
        };
        assert!(
            (felt[1].wide.0 - 12_000).abs() < 150 && live.is_none(),
            "{felt:?}"
        );
        let (down, up) = free.unwrap();
        assert!(down < 0.01 && up > 3.29, "free: {down} {up}");
        let (down, up) = chassis.unwrap();
        assert!(
            down < 0.01 && (up - 3.3 * 22.0 / 122.0).abs() < 0.01,
            "{down} {up}"
        );
        let (down, up) = held.unwrap();
        assert!(
            down < 0.01 && (up - 3.3 * 32.0 / 132.0).abs() < 0.02,
            "{down} {up}"
        );
    }
}

//! Watching and feeling without driving, on live wiring too.

mod fake;

use fake::{Rig, World, set};
use loomproof_core::units::{MicroVolts, Micros, MilliVolts};
use loomproof_core::wire::{
    Feel, Felt, LeadId, LeadSet, MAX_WATCHED, Place, Reading, Refusal, Reply, Request, Seen, Watch,
};

fn watch(leads: &[u8], span: u32) -> Request {
    Request::Watch(Watch {
        leads: set(leads),
        low: MilliVolts(4_000),
        high: MilliVolts(8_000),
        span: Micros(span),
    })
}

struct Watched {
    seen: Vec<Seen>,
    took: u32,
    round: u32,
}

fn watched(rig: &mut Rig, leads: &[u8], span: u32) -> Watched {
    match rig.ask(&watch(leads, span)) {
        Reply::Watched {
            seen, took, round, ..
        } => Watched {
            seen: seen.to_vec(),
            took: took.0,
            round: round.0,
        },
        other => panic!("{other:?}"),
    }
}

/// A 12 V signal on a lead, high for `on` of every `period` µs, from `phase` on.
fn signal(world: &mut World, lead: u8, (period, on, phase): (u64, u64, u64), for_us: u64) {
    world.net(lead).source = Some((0.0, 10.0));
    let mut at = phase;
    while at < for_us {
        world.after(at, move |w| w.net(lead).source = Some((12.0, 10.0)));
        world.after(at + on, move |w| w.net(lead).source = Some((0.0, 10.0)));
        at += period;
    }
}

#[test]
fn live_wiring_is_watched_and_nothing_is_driven() {
    let mut rig = Rig::leads(2);
    rig.world.borrow_mut().net(3).source = Some((12.6, 0.5));
    rig.world.borrow_mut().net(17).source = Some((-12.0, 0.5));
    rig.sleep(1_000);
    rig.reset_counts();
    let w = watched(&mut rig, &[3, 4, 17], 10_000);
    assert_eq!(w.seen.len(), 3);
    for (seen, mv) in w.seen.iter().zip([12_600, 0, -12_000]) {
        for level in [seen.least, seen.mean, seen.most] {
            assert!((level.0 - mv).abs() < 10, "{level:?} instead of {mv} mV");
        }
        assert_eq!((seen.rises, seen.falls), (0, 0));
        assert_eq!(seen.high_at_end, mv > 8_000);
        assert_eq!(seen.high_for.0, if mv > 8_000 { w.took } else { 0 });
        assert!(
            seen.looks * w.round >= w.took,
            "{w:?}",
            w = (seen.looks, w.round, w.took)
        );
    }
    assert!((10_000..10_100).contains(&w.took), "{}", w.took);
    // Three leads: each look takes a conversion and a transfer.
    assert!((30..40).contains(&w.round), "{}", w.round);
    rig.must_be_safe();
    let world = rig.world.borrow();
    let closing = world.writes.iter().find(|(cs, bytes)| {
        matches!(cs, fake::Cs::Gate) && matches!(bytes[..], [_, 0, a, b] if a & b != 0xFF)
    });
    assert_eq!(closing, None, "a disconnect was closed");
}

#[test]
fn pulse_width_is_measured_to_a_hundredth_of_the_period() {
    println!("period µs  duty ‰  measured ‰  period measured µs");
    for period in [1_000, 1_100, 2_500, 5_000, 20_000] {
        for duty in [50, 100, 333, 500, 900, 950] {
            for phase in [100, 137] {
                let mut rig = Rig::leads(1);
                let on = period * duty / 1_000;
                signal(&mut rig.world.borrow_mut(), 5, (period, on, phase), 260_000);
                let w = watched(&mut rig, &[5], 250_000);
                let seen = w.seen[0];
                let found = seen.duty_permille().expect("it rises") as i64;
                let took = seen.period().expect("it rises").0;
                if phase == 100 {
                    println!("{period:9}  {duty:6}  {found:10}  {took}");
                }
                let true_duty = (on * 1_000 / period) as i64;
                assert!((found - true_duty).abs() <= 10, "{found} of {duty}");
                let off = f64::from(took) / period as f64 - 1.0;
                assert!(off.abs() < 0.002, "{took} µs instead of {period} µs");
                // A phase is seen to within the time between two looks.
                for (phase, is) in [
                    (seen.longest_high, on),
                    (seen.shortest_high, on),
                    (seen.longest_low, period - on),
                ] {
                    let off = u64::from(phase.0).abs_diff(is);
                    assert!(off <= u64::from(w.round) + 1, "{phase:?} instead of {is}");
                }
            }
        }
    }
}

#[test]
fn flashing_is_put_together_from_windows() {
    // 1 Hz, 40 %: windows one after the other, joined by the probe's clock.
    let mut rig = Rig::leads(1);
    signal(
        &mut rig.world.borrow_mut(),
        2,
        (1_000_000, 400_000, 30_000),
        5_000_000,
    );
    let mut rises = vec![];
    let mut falls = vec![];
    while rig.world.borrow().ns < 4_500_000_000 {
        let Reply::Watched { seen, at, .. } = rig.ask(&watch(&[2, 3], 250_000)) else {
            panic!("not watched");
        };
        let lamp = seen[0];
        if lamp.rises == 1 {
            rises.push(at.0.wrapping_add(lamp.first_rise.0));
        }
        if lamp.falls == 1 {
            falls.push(at.0.wrapping_add(lamp.first_edge.0));
        }
        assert!(lamp.rises + lamp.falls <= 1);
        assert_eq!(seen[1].rises, 0);
    }
    assert_eq!((rises.len(), falls.len()), (5, 5));
    for pair in rises.windows(2) {
        // The clock wraps.
        let period = pair[1].wrapping_sub(pair[0]);
        assert!(period.abs_diff(1_000_000) < 50, "{rises:?} {falls:?}");
    }
    for (rise, fall) in rises.iter().zip(&falls) {
        assert!(fall.wrapping_sub(*rise).abs_diff(400_000) < 50);
    }
}

#[test]
fn what_cannot_be_watched_is_refused() {
    let mut rig = Rig::leads(2);
    let refusals = [
        (watch(&[], 100), Refusal::BadStep),
        (watch(&(0..17).collect::<Vec<_>>(), 100), Refusal::BadStep),
        (watch(&[1], 250_001), Refusal::BadStep),
        (watch(&[1, 32], 100), Refusal::NoSuchLead(LeadId(32))),
        (feel(&[], 100), Refusal::BadStep),
        (feel(&[100], 100), Refusal::NoSuchLead(LeadId(100))),
        (feel(&[1], 4_000_001), Refusal::BadStep),
        (feel(&[1, 2], u32::MAX), Refusal::BadStep),
        (
            Request::Watch(Watch {
                leads: set(&[1]),
                low: MilliVolts(2),
                high: MilliVolts(1),
                span: Micros(1),
            }),
            Refusal::BadStep,
        ),
    ];
    for (request, refusal) in refusals {
        assert_eq!(rig.ask(&request), Reply::Refused(refusal), "{request:?}");
    }
    let all: LeadSet = (0..MAX_WATCHED as u8).map(LeadId).collect();
    let most: Vec<u8> = all.iter().map(|lead| lead.0).collect();
    assert_eq!(watched(&mut rig, &most, 250_000).seen.len(), MAX_WATCHED);
    // A window of nothing is one round.
    let w = watched(&mut rig, &[4], 0);
    assert_eq!((w.seen[0].looks, w.took), (1, 0));
}

#[test]
fn watching_and_feeling_disarm() {
    for request in [watch(&[1], 100), feel(&[1], 100)] {
        let mut rig = Rig::leads(1);
        rig.arm();
        rig.ask(&request);
        let step = Request::Step(fake::step(&[0], &[1], &[0]));
        assert_eq!(rig.ask(&step), Reply::Refused(Refusal::NotArmed));
        assert_eq!(rig.ask(&Request::Arm(Place::Vehicle)), Reply::Armed);
    }
}

fn feel(leads: &[u8], pulled: u32) -> Request {
    Request::Feel(Feel {
        leads: set(leads),
        pulled: Micros(pulled),
    })
}

fn level(reading: Reading) -> f64 {
    match reading {
        Reading::Volts(MicroVolts(uv)) => f64::from(uv) * 1e-6,
        Reading::Above => 3.3,
        other => panic!("{other:?}"),
    }
}

#[test]
fn what_nothing_holds_follows_both_pulls() {
    let mut rig = Rig::leads(1);
    {
        let mut world = rig.world.borrow_mut();
        world.net(1).source = Some((0.0, 0.2));
        world.net(2).source = Some((0.0, 10_000.0));
        world.net(3).source = Some((12.0, 2_000.0));
        world.net(4).source = Some((3.0, 100.0));
        world.net(5).farads = 1e-6;
        world.net(6).source = Some((-0.6, 1_000.0));
    }
    rig.sleep(1_000_000);
    // 122 kΩ into 200 pF: 12 time constants are 300 µs.
    let Reply::Felt(felt) = rig.ask(&feel(&[0, 1, 2, 3, 4, 5, 6], 300)) else {
        panic!("not felt");
    };
    let pulled = |felt: &Felt| felt.pulled.map(|(down, up)| (level(down), level(up)));
    let near = |(down, up): (f64, f64), want: (f64, f64)| {
        assert!(
            (down - want.0).abs() < 0.01 && (up - want.1).abs() < 0.01,
            "{down} {up}"
        );
    };
    near(pulled(&felt[0]).unwrap(), (0.0, 3.3));
    near(pulled(&felt[1]).unwrap(), (0.0, 3.3 * 22.0 / 122.0));
    near(pulled(&felt[2]).unwrap(), (0.0, 3.3 * 32.0 / 132.0));
    // 12 V behind 2 kΩ and the divider.
    assert!((felt[3].wide.0 - 11_040).abs() < 20, "{:?}", felt[3]);
    assert_eq!(felt[3].pulled, None);
    near(
        pulled(&felt[4]).unwrap(),
        (3.0 * 100.0 / 122.1, 3.0 + 0.3 * 22.1 / 122.1),
    );
    // Much slower than was said: it says so, and is not taken for held.
    assert!(
        matches!(felt[5].pulled, Some((_, Reading::NotSettled(_)))),
        "{:?}",
        felt[5]
    );
    assert!(felt[6].wide.0 < -500 && felt[6].pulled.is_none());
    rig.must_be_safe();
}

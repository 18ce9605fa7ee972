//! The predicted cost of a step is what the fake instrument counts.

mod fake;

use fake::{Rig, step};
use loomproof_core::units::Micros;
use loomproof_core::wire::{LeadId, LeadSet, Reply, Request, Sense, SenseMode, Step};
use loomproof_firmware::cost;
use loomproof_firmware::settling::{firsts, may_be_filling, recovery};
use proptest::prelude::*;

/// Runs steps on a healthy probe and compares bits and waits, step by step.
fn compare(banks: usize, steps: &[Step]) {
    let mut rig = Rig::leads(banks);
    {
        // Slightly off both ends of the span, so that no edge looks are taken.
        let mut world = rig.world.borrow_mut();
        for net in &mut world.nets {
            net.source = Some((0.1, 1e3));
            net.volts = 0.1;
        }
    }
    rig.arm();
    for step in steps {
        rig.reset_counts();
        let before = rig.world.borrow().ns;
        let reply = rig.ask(&Request::Step(step.clone()));
        let Reply::Readings { readings, .. } = &reply else {
            panic!("{reply:?}");
        };
        let doubtful = |at: &usize| may_be_filling(step, step.senses[*at], readings[*at]);
        let again: Vec<usize> = firsts(step).filter(doubtful).collect();
        let expected = cost::step(step, &again);
        let world = rig.world.borrow();
        let looks = world.watched.len() as u64;
        let watch = cost::watch(step);
        assert_eq!(
            world.bits,
            u64::from(expected.bits.0) + looks * u64::from(watch.bits.0),
            "bits of {step:?}"
        );
        // What the bus needs to recover after a look is part of a wait that goes on.
        let most = u64::from(expected.wait.0) + looks * u64::from(watch.wait.0);
        let least = most - looks * u64::from(recovery(step).0);
        let waited = world.waited_ns / 1_000;
        assert!(
            (least..=most).contains(&waited),
            "{waited} of {least} to {most} µs in {step:?}"
        );
        let took = (world.ns - before) / 1_000;
        assert!(took <= u64::from(cost::longest(step, 10_000).0));
        let clear = expected.time(10_000);
        assert!(took >= u64::from(clear.0) - 1, "{took} against {clear:?}");
    }
}

#[test]
fn a_plain_step() {
    let step = step(&[3], &[0], &[3, 0, 7]);
    let cost = cost::step(&step, &[]);
    // 32·(4+2) + 32·4 for the bank; looks 2·32 + 3·16; readings 3·(32 + 16·9), the
    // first with 16·3 more; off 32.
    assert_eq!(cost.bits.0, 192 + 128 + 112 + 528 + 48 + 32);
    // Looks; the first reading 100 + 4 without the 6 of reading back, the others 55 + 23;
    // discharge.
    assert_eq!(cost.wait.0, 6 + 6 + 9 + 98 + 2 * 78 + 3 * 72 + 33);
    let again = cost::step(&step, &[0]);
    assert_eq!(again.bits.0 - cost.bits.0, 32 + 16 * 5);
    assert_eq!(again.wait.0 - cost.wait.0, 78 + 36);
    compare(1, &[step.clone(), step]);
}

#[test]
fn no_readings_and_no_drive() {
    compare(
        1,
        &[
            step(&[1], &[2], &[]),
            step(&[], &[], &[5]),
            step(&[], &[], &[]),
        ],
    );
}

#[test]
fn a_long_wait_with_many_looks() {
    let slow = Step {
        settle: Micros(20_000),
        pulled: Micros(20_000),
        ..step(&[1], &[2], &[1, 2])
    };
    compare(4, &[slow]);
}

fn any_step(leads: u8) -> impl Strategy<Value = Step> {
    let lead = 0..leads;
    let mode = prop::sample::select(vec![
        SenseMode::Plain,
        SenseMode::PullDown,
        SenseMode::PullUp,
    ]);
    let sense = (0..leads.min(64), mode).prop_map(|(lead, mode)| Sense {
        lead: LeadId(lead),
        mode,
    });
    (
        prop::collection::vec(lead.clone(), 0..4),
        prop::collection::vec(lead, 0..6),
        prop::collection::vec(sense, 0..8),
        0_u32..4_000,
        1_u8..=64,
    )
        .prop_map(|(high, low, senses, settle, samples)| {
            let high: LeadSet = high.into_iter().map(LeadId).collect();
            let low = low
                .into_iter()
                .map(LeadId)
                .filter(|lead| !high.contains(*lead))
                .collect();
            let senses = senses.into_iter().collect();
            Step {
                high,
                low,
                settle: Micros(settle),
                pulled: Micros(settle),
                samples,
                senses,
            }
        })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(40))]
    #[test]
    fn any_steps_in_any_order(steps in prop::collection::vec(any_step(64), 1..5)) {
        compare(4, &steps);
    }
}

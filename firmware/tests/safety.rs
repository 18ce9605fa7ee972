//! Whatever is asked in whatever order while leads go live and dead: nothing
//! is closed onto a live lead, and nothing stays closed.

mod fake;

use fake::{Rig, set};
use loomproof_core::units::Micros;
use loomproof_core::wire::{LeadId, Place, Request, Sense, SenseMode, Step};
use proptest::prelude::*;

#[derive(Debug, Clone)]
enum Act {
    Ask(Request),
    Hello,
    Garbage(Vec<u8>),
    Sleep(u64),
    Poll,
    /// A source on a lead, or none, so many microseconds from now.
    Source(u8, Option<f64>, u64),
    Charge(u8, f64),
    BusFails(u32),
}

fn act() -> impl Strategy<Value = Act> {
    // Few leads, so that they meet; rarely one that there is not.
    let lead = || prop_oneof![30 => 0_u8..8, 5 => 8_u8..32, 1 => 32_u8..34];
    let sense = (lead(), any::<bool>()).prop_map(|(lead, pull)| Sense {
        lead: LeadId(lead),
        mode: if pull {
            SenseMode::PullDown
        } else {
            SenseMode::Plain
        },
    });
    let step = (
        prop::collection::vec(lead(), 0..3),
        prop::collection::vec(lead(), 0..4),
        prop::collection::vec(sense, 0..5),
        0_u32..20_000,
        0_u8..20,
    )
        .prop_map(|(high, low, senses, settle, samples)| {
            Act::Ask(Request::Step(Step {
                high: set(&high),
                low: set(&low),
                settle: Micros(settle),
                pulled: Micros(settle),
                samples,
                senses: senses.into_iter().collect(),
            }))
        });
    let volts = prop::option::of(prop::sample::select(vec![-12.0, -0.4, 0.3, 3.0, 3.8, 12.0]));
    prop_oneof![
        6 => step,
        3 => prop::sample::select(vec![Place::Bench, Place::Vehicle])
            .prop_map(|place| Act::Ask(Request::Arm(place))),
        1 => Just(Act::Ask(Request::Survey)),
        1 => Just(Act::Ask(Request::Release)),
        1 => Just(Act::Hello),
        1 => prop::collection::vec(any::<u8>(), 0..60).prop_map(Act::Garbage),
        1 => (0_u64..4_000_000).prop_map(Act::Sleep),
        1 => Just(Act::Poll),
        4 => (0_u8..8, volts, prop_oneof![Just(0), 0_u64..30_000]).prop_map(|(l, v, at)| Act::Source(l, v, at)),
        1 => (0_u8..32, 0.0..3.3).prop_map(|(lead, volts)| Act::Charge(lead, volts)),
        1 => (1_u32..400).prop_map(Act::BusFails),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(150))]
    #[test]
    fn nothing_closes_onto_a_live_lead_or_stays_closed(acts in prop::collection::vec(act(), 1..25)) {
        let mut rig = Rig::leads(2);
        for lead in [4, 5, 20] {
            rig.world.borrow_mut().join(3, lead);
        }
        rig.world.borrow_mut().net(7).farads = 100e-9;
        for act in acts {
            match act {
                Act::Ask(request) => {
                    rig.ask(&request);
                }
                Act::Hello => drop(rig.hello()),
                Act::Garbage(bytes) => prop_assert!(rig.send(&[&bytes[..], &[0]].concat()).is_empty()),
                Act::Sleep(us) => rig.sleep(us),
                Act::Poll => rig.probe.poll(),
                Act::Source(lead, volts, at) => rig.world.borrow_mut().after(at, move |world| {
                    world.net(lead).source = volts.map(|volts| (volts, 10.0));
                }),
                Act::Charge(lead, volts) => rig.world.borrow_mut().net(lead).volts = volts,
                Act::BusFails(transfers) => {
                    // While the bus is dead nobody can let go; once it is back, a
                    // release must.
                    rig.world.borrow_mut().fails_in = Some(transfers);
                    let _ = rig.ask(&Request::Arm(Place::Bench));
                    rig.world.borrow_mut().fails_in = None;
                    let _ = rig.ask(&Request::Release);
                }
            }
            rig.must_be_safe();
        }
    }
}

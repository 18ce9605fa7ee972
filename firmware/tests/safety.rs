//! Whatever is asked in whatever order while leads go live and dead, the probe
//! starts anew and the host falls silent: nothing is closed onto a live lead,
//! nothing stays closed, and one request has one answer.

mod fake;

use fake::{Rig, set};
use loomproof_core::units::Micros;
use loomproof_core::wire::frame::{Deframer, MAX_FRAME};
use loomproof_core::wire::{
    Channel, ClipOhms, Fetch, Forget, LeadId, Nulls, Page, Place, Refusal, Reply, Request, Sense,
    SenseMode, Step,
};
use proptest::prelude::*;

#[derive(Debug, Clone)]
enum Act {
    Ask(Request),
    /// The last request once more.
    Repeat,
    /// Another request under the number of the last one, as a second program may send.
    SameNumber(Request),
    Hello,
    Garbage(Vec<u8>),
    Sleep(u64),
    Poll,
    /// The host is gone: nothing is heard for longer than a permission lasts.
    Silence,
    /// The firmware starts anew.
    Reset,
    /// The firmware starts anew while the chips are driven: the bus is cut off
    /// after so many transfers of a step.
    ResetWithin(u32),
    /// A source on a lead, or none, so many microseconds from now.
    Source(u8, Option<f64>, u64),
    Charge(u8, f64),
    BusFails(u32),
}

/// A lead: few, so that they meet; rarely one that there is not.
fn lead() -> impl Strategy<Value = u8> {
    prop_oneof![30 => 0_u8..8, 5 => 8_u8..32, 1 => 32_u8..34, 1 => Just(u8::MAX)]
}

fn place() -> impl Strategy<Value = Place> {
    prop::sample::select(vec![Place::Bench, Place::Vehicle])
}

fn step() -> impl Strategy<Value = Step> {
    let modes = vec![SenseMode::Plain, SenseMode::PullDown, SenseMode::PullUp];
    let sense = (lead(), prop::sample::select(modes)).prop_map(|(lead, mode)| Sense {
        lead: LeadId(lead),
        mode,
    });
    (
        prop::collection::vec(lead(), 0..3),
        prop::collection::vec(lead(), 0..4),
        prop::collection::vec(sense, 0..5),
        // Rarely longer than is allowed.
        prop_oneof![20 => 0_u32..20_000, 1 => any::<u32>()],
        0_u8..20,
    )
        .prop_map(|(high, low, senses, settle, samples)| Step {
            high: set(&high),
            low: set(&low),
            settle: Micros(settle),
            pulled: Micros(settle),
            samples,
            senses: senses.into_iter().collect(),
        })
}

fn nulls() -> impl Strategy<Value = Nulls> {
    let clips = prop::collection::vec(any::<u16>(), 0..32);
    (lead(), clips).prop_map(|(first, clips)| Nulls {
        first: LeadId(first),
        clips: clips.into_iter().map(ClipOhms).collect(),
    })
}

/// One line for each request that there is.
fn request() -> impl Strategy<Value = Request> {
    prop_oneof![
        9 => step().prop_map(Request::Step),
        5 => place().prop_map(Request::Arm),
        1 => Just(Request::Survey),
        1 => Just(Request::Release),
        1 => Just(Request::Inspect),
        3 => lead().prop_map(|lead| Request::Prove(Channel::Lead(LeadId(lead)))),
        1 => Just(Request::Prove(Channel::Chassis)),
        1 => lead().prop_map(|lead| Request::Nulls(LeadId(lead))),
        1 => nulls().prop_map(Request::Keep),
        1 => Just(Request::Plan),
        1 => (0_u32..3, prop::collection::vec(any::<u8>(), 0..4)).prop_map(|(at, bytes)| {
            Request::Load(Page { at: at * 128, bytes: bytes.into_iter().collect() })
        }),
        1 => (0_u8..20, 0_u32..600).prop_map(|(slot, at)| Request::Result(Fetch { slot, at })),
        1 => (0_u8..20, 0_u32..3).prop_map(|(slot, number)| Request::Forget(Forget { slot, number })),
    ]
}

fn act() -> impl Strategy<Value = Act> {
    let volts = prop::option::of(prop::sample::select(vec![-12.0, -0.4, 0.3, 3.0, 3.8, 12.0]));
    prop_oneof![
        12 => request().prop_map(Act::Ask),
        2 => Just(Act::Repeat),
        1 => request().prop_map(Act::SameNumber),
        1 => Just(Act::Hello),
        1 => prop::collection::vec(any::<u8>(), 0..60).prop_map(Act::Garbage),
        1 => (0_u64..4_000_000).prop_map(Act::Sleep),
        1 => Just(Act::Poll),
        1 => Just(Act::Silence),
        1 => Just(Act::Reset),
        1 => (1_u32..200).prop_map(Act::ResetWithin),
        4 => (0_u8..8, volts, prop_oneof![Just(0), 0_u64..30_000]).prop_map(|(l, v, at)| Act::Source(l, v, at)),
        1 => (0_u8..32, 0.0..3.3).prop_map(|(lead, volts)| Act::Charge(lead, volts)),
        1 => (1_u32..400).prop_map(Act::BusFails),
    ]
}

/// The one reply among these bytes.
fn reply(heard: &[u8]) -> Reply {
    let mut deframer = Deframer::<MAX_FRAME>::new();
    let (taken, frame) = deframer.feed(heard);
    assert_eq!(taken, heard.len(), "one reply");
    let frame = frame.expect("a reply").expect("a good frame");
    frame.reply().expect("a reply")
}

/// A request that drives wherever it is allowed to.
fn any_step() -> Request {
    Request::Step(fake::step(&[9], &[10], &[9]))
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
        // The last request and what was said to it.
        let mut last: Option<(Vec<u8>, Vec<u8>)> = None;
        for act in acts {
            match act {
                Act::Ask(request) => {
                    rig.seq = rig.seq.wrapping_add(1);
                    let bytes = Rig::bytes(rig.seq, &request);
                    let heard = rig.send(&bytes);
                    let ends = matches!(request, Request::Release | Request::Survey | Request::Inspect);
                    reply(&heard);
                    last = Some((bytes, heard));
                    if ends {
                        prop_assert_eq!(rig.ask(&any_step()), Reply::Refused(Refusal::NotArmed));
                        last = None;
                    }
                }
                Act::Repeat => if let Some((bytes, before)) = &last {
                    rig.reset_counts();
                    prop_assert_eq!(&rig.send(bytes), before);
                    // It was not acted on: nothing was measured.
                    let world = rig.world.borrow();
                    prop_assert!(world.writes.iter().all(|(cs, _)| *cs != fake::Cs::Adc));
                },
                Act::SameNumber(request) => {
                    let bytes = Rig::bytes(rig.seq, &request);
                    let heard = rig.send(&bytes);
                    reply(&heard);
                    last = Some((bytes, heard));
                }
                Act::Hello => {
                    drop(rig.hello());
                    last = None;
                }
                Act::Garbage(bytes) => prop_assert!(rig.send(&[&bytes[..], &[0]].concat()).is_empty()),
                Act::Sleep(us) => rig.sleep(us),
                Act::Poll => rig.probe.poll(),
                Act::Silence => {
                    rig.sleep(3_000_001);
                    rig.probe.poll();
                    rig.must_be_safe();
                    prop_assert_eq!(rig.ask(&any_step()), Reply::Refused(Refusal::NotArmed));
                    last = None;
                }
                Act::Reset => {
                    rig.reset();
                    rig.must_be_safe();
                    prop_assert_eq!(rig.ask(&any_step()), Reply::Refused(Refusal::NotArmed));
                    last = None;
                }
                Act::ResetWithin(transfers) => {
                    let _ = rig.ask(&Request::Arm(Place::Bench));
                    rig.world.borrow_mut().fails_in = Some(transfers);
                    let _ = rig.ask(&any_step());
                    rig.world.borrow_mut().fails_in = None;
                    rig.reset();
                    last = None;
                }
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
                    last = None;
                }
            }
            rig.must_be_safe();
        }
    }
}

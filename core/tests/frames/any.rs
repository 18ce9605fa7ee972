//! Any message, any bytes and any damage (proptest).

use loomproof_core::units::{MicroVolts, Micros, MilliVolts};
use loomproof_core::wire::frame::{Deframer, MAX_FRAME};
use loomproof_core::wire::*;
use proptest::prelude::*;

use super::parts::{broken, guarded, inspection, proof, seen, text, watch};
use super::{Message, decode, receive};

fn lead() -> impl Strategy<Value = LeadId> {
    any::<u8>().prop_map(LeadId)
}

fn chassis() -> impl Strategy<Value = ChassisCheck> {
    prop_oneof![
        Just(ChassisCheck::Agree),
        any::<i32>().prop_map(ChassisCheck::Voltage),
        any::<i32>().prop_map(ChassisCheck::Apart),
    ]
}

fn reading() -> impl Strategy<Value = Reading> {
    prop_oneof![
        any::<i32>().prop_map(|v| Reading::Volts(MicroVolts(v))),
        any::<i32>().prop_map(|v| Reading::NotSettled(MicroVolts(v))),
        Just(Reading::Above),
        Just(Reading::Below),
    ]
}

fn refusal() -> impl Strategy<Value = Refusal> {
    prop_oneof![
        (lead(), any::<i32>()).prop_map(|(l, v)| Refusal::Live(l, v)),
        (lead(), any::<i32>(), any::<i32>()).prop_map(|(l, a, b)| Refusal::Moves(l, a, b)),
        chassis().prop_map(Refusal::Chassis),
        lead().prop_map(Refusal::NoSuchLead),
        prop::sample::select(vec![
            Refusal::Tripped,
            Refusal::NotArmed,
            Refusal::TooManySources,
            Refusal::BadStep,
            Refusal::Hardware,
            Refusal::Memory,
        ]),
    ]
}

fn step() -> impl Strategy<Value = Step> {
    let mode = prop::sample::select(vec![
        SenseMode::Plain,
        SenseMode::PullDown,
        SenseMode::PullUp,
    ]);
    let sense = (lead(), mode).prop_map(|(lead, mode)| Sense { lead, mode });
    let senses = prop::collection::vec(sense, 0..=MAX_SENSES);
    (
        any::<[u8; 16]>(),
        any::<[u8; 16]>(),
        any::<u32>(),
        any::<u8>(),
        senses,
    )
        .prop_map(|(high, low, settle, samples, senses)| Step {
            high: LeadSet(high),
            low: LeadSet(low),
            settle: Micros(settle),
            pulled: Micros(settle),
            samples,
            senses: senses.into_iter().collect(),
        })
}

fn message() -> impl Strategy<Value = Message> {
    let look = (any::<i32>(), any::<i32>()).prop_map(|(first_mv, second_mv)| Look {
        first_mv,
        second_mv,
    });
    let hello = (
        any::<u16>(),
        any::<u8>(),
        "[ -~]{0,32}",
        "é{0,16}",
        "[0-9.]{0,32}",
    )
        .prop_map(|(protocol, leads, board, serial, build)| Hello {
            protocol,
            leads,
            board: text(&board),
            serial: text(&serial),
            build: text(&build),
        });
    prop_oneof![
        Just(Message::HelloRequest),
        hello.prop_map(Message::HelloReply),
        step().prop_map(|step| Message::Request(Request::Step(step))),
        prop::sample::select(vec![
            Message::Request(Request::Survey),
            Message::Request(Request::Arm(Place::Bench)),
            Message::Request(Request::Arm(Place::Vehicle)),
            Message::Request(Request::Release),
            Message::Request(Request::Inspect),
            Message::Reply(Reply::Armed),
            Message::Reply(Reply::Released),
        ]),
        (prop::collection::vec(look, 0..=MAX_LEADS), chassis()).prop_map(|(looks, chassis)| {
            Message::Reply(Reply::Survey {
                looks: looks.into_iter().collect(),
                chassis,
            })
        }),
        (
            prop::collection::vec(reading(), 0..=MAX_SENSES),
            any::<u32>()
        )
            .prop_map(|(readings, at)| {
                let readings = readings.into_iter().collect();
                Message::Reply(Reply::Readings {
                    readings,
                    at: Micros(at),
                })
            }),
        refusal().prop_map(|refusal| Message::Reply(Reply::Refused(refusal))),
        prop_oneof![Just(Channel::Chassis), lead().prop_map(Channel::Lead)]
            .prop_map(|channel| Message::Request(Request::Prove(channel))),
        any::<i32>().prop_map(|uv| Message::Reply(Reply::Inspected(inspection(uv)))),
        any::<i32>().prop_map(|uv| Message::Reply(Reply::Proved(proof(uv)))),
        nulls().prop_map(|nulls| Message::Request(Request::Keep(nulls))),
        nulls().prop_map(|nulls| Message::Reply(Reply::Nulls(nulls))),
        lead().prop_map(|first| Message::Request(Request::Nulls(first))),
        watching(),
    ]
}

fn watching() -> impl Strategy<Value = Message> {
    let set = || any::<[u8; 16]>().prop_map(LeadSet);
    let many = 0..=MAX_WATCHED;
    let pulled = prop::option::of((reading(), reading()));
    let felt = (any::<i32>(), pulled).prop_map(|(wide, pulled)| Felt {
        wide: MilliVolts(wide),
        pulled,
    });
    prop_oneof![
        (set(), any::<u32>())
            .prop_map(|(leads, us)| Message::Request(Request::Watch(watch(leads, us)))),
        (set(), any::<u32>()).prop_map(|(leads, us)| Message::Request(Request::Feel(Feel {
            leads,
            pulled: Micros(us),
        }))),
        (set(), set(), any::<u32>()).prop_map(|(low, watched, us)| Message::Request(
            Request::Guard(Guard {
                low,
                watched,
                span: Micros(us),
            })
        )),
        (
            prop::collection::vec(any::<u32>().prop_map(seen), many.clone()),
            any::<u32>()
        )
            .prop_map(|(seen, us)| Message::Reply(Reply::Watched {
                seen: seen.into_iter().collect(),
                at: Micros(us),
                took: Micros(us),
                round: Micros(us),
            })),
        prop::collection::vec(felt, many.clone())
            .prop_map(|felt| Message::Reply(Reply::Felt(felt.into_iter().collect()))),
        (
            prop::collection::vec(any::<u32>().prop_map(broken), many),
            any::<u32>()
        )
            .prop_map(|(breaks, us)| Message::Reply(guarded(breaks.into_iter().collect(), us))),
    ]
}

fn nulls() -> impl Strategy<Value = Nulls> {
    let clips = prop::collection::vec(any::<u16>().prop_map(ClipOhms), 0..=CLIPS_A_MESSAGE);
    (lead(), clips).prop_map(|(first, clips)| Nulls {
        first,
        clips: clips.into_iter().collect(),
    })
}

proptest! {
    #[test]
    fn any_message_comes_back(seq: u16, message in message()) {
        let frame = message.encode(seq);
        prop_assert_eq!(frame.iter().position(|byte| *byte == 0), Some(frame.len() - 1));
        prop_assert_eq!(receive(&frame), [Ok((seq, message))]);
    }

    #[test]
    fn any_bytes_give_errors_or_messages(bytes in prop::collection::vec(any::<u8>(), 0..3000)) {
        let ends = bytes.iter().filter(|byte| **byte == 0).count();
        prop_assert!(receive(&bytes).len() <= ends);
    }

    #[test]
    fn chunks_make_no_difference(
        messages in prop::collection::vec((any::<u16>(), message()), 0..6),
        cut in 1_usize..40,
    ) {
        let stream: std::vec::Vec<u8> =
            messages.iter().flat_map(|(seq, message)| message.encode(*seq)).collect();
        let mut deframer = Deframer::<MAX_FRAME>::new();
        let mut seen = vec![];
        for mut chunk in stream.chunks(cut) {
            while !chunk.is_empty() {
                let (taken, frame) = deframer.feed(chunk);
                seen.extend(frame.map(|frame| frame.and_then(decode)));
                chunk = &chunk[taken..];
            }
        }
        let sent: std::vec::Vec<_> = messages.into_iter().map(Ok).collect();
        prop_assert_eq!(seen, sent);
    }

    #[test]
    fn one_changed_byte_never_gives_another_message(
        seq: u16, message in message(), at: prop::sample::Index, change in 1_u8..,
    ) {
        let mut frame = message.encode(seq);
        let at = at.index(frame.len());
        frame[at] ^= change;
        frame.push(0);
        let heard: std::vec::Vec<_> = receive(&frame).into_iter().flatten().collect();
        prop_assert!(heard.is_empty(), "{heard:?}");
    }

    #[test]
    fn one_lost_byte_never_gives_another_message(
        seq: u16, message in message(), at: prop::sample::Index,
    ) {
        let mut frame = message.encode(seq);
        // The zero byte alone may be lost: the next one ends the frame.
        frame.remove(at.index(frame.len() - 1));
        let heard: std::vec::Vec<_> = receive(&frame).into_iter().flatten().collect();
        prop_assert!(heard.is_empty(), "{heard:?}");
    }

    #[test]
    fn garbage_and_a_zero_byte_do_not_harm_what_follows(
        garbage in prop::collection::vec(any::<u8>(), 0..2000), seq: u16, message in message(),
    ) {
        let mut stream = garbage;
        stream.push(0);
        stream.extend(message.encode(seq));
        prop_assert_eq!(receive(&stream).pop(), Some(Ok((seq, message))));
    }
}

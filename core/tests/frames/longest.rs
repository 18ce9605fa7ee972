//! Every message at its longest fits the buffers.

use heapless::Vec;
use loomproof_core::units::{MicroVolts, Micros, MilliVolts};
use loomproof_core::wire::frame::{MAX_FRAME, MAX_REQUEST_FRAME};
use loomproof_core::wire::*;

use super::parts::{broken, full_nulls, guarded, inspection, proof, seen, text, watch};
use super::{Message, receive};

/// Those about what the probe carries along, at their longest.
fn longest_carried() -> [Message; 8] {
    let page = || Vec::from([u8::MAX; PAGE]);
    [
        Message::Request(Request::Plan),
        Message::Request(Request::Load(Page {
            at: u32::MAX,
            bytes: page(),
        })),
        Message::Request(Request::Result(Fetch {
            slot: u8::MAX,
            at: u32::MAX,
        })),
        Message::Request(Request::Forget(Forget {
            slot: u8::MAX,
            number: u32::MAX,
        })),
        Message::Reply(Reply::Plan {
            room: u32::MAX,
            carried: Carried::Plan {
                check: u32::MAX,
                length: u32::MAX,
            },
        }),
        Message::Reply(Reply::Loaded { next: u32::MAX }),
        Message::Reply(Reply::Result(Piece {
            slots: u8::MAX,
            number: Some(u32::MAX),
            length: u32::MAX,
            bytes: page(),
        })),
        Message::Reply(Reply::Forgotten),
    ]
}

/// Every message at its longest.
fn longest() -> std::vec::Vec<Message> {
    let full = LeadSet([0xFF; MAX_LEADS / 8]);
    let look = Look {
        first_mv: i32::MIN,
        second_mv: i32::MIN,
    };
    let chassis = ChassisCheck::Apart(i32::MIN);
    let sense = Sense {
        lead: LeadId(u8::MAX),
        mode: SenseMode::PullUp,
    };
    let name = text(&"é".repeat(16));
    let mut all = vec![
        Message::HelloRequest,
        Message::HelloReply(Hello {
            protocol: u16::MAX,
            leads: u8::MAX,
            board: name.clone(),
            serial: name.clone(),
            build: name,
        }),
        Message::Request(Request::Survey),
        Message::Request(Request::Arm(Place::Vehicle)),
        Message::Request(Request::Release),
        Message::Request(Request::Step(Step {
            high: full,
            low: full,
            settle: Micros(u32::MAX),
            pulled: Micros(u32::MAX),
            samples: u8::MAX,
            senses: Vec::from([sense; MAX_SENSES]),
        })),
        Message::Reply(Reply::Survey {
            looks: Vec::from([look; MAX_LEADS]),
            chassis,
        }),
        Message::Reply(Reply::Armed),
        Message::Reply(Reply::Readings {
            readings: Vec::from([Reading::NotSettled(MicroVolts(i32::MIN)); MAX_SENSES]),
            at: Micros(u32::MAX),
        }),
        Message::Reply(Reply::Released),
        Message::Request(Request::Inspect),
        Message::Request(Request::Prove(Channel::Lead(LeadId(u8::MAX)))),
        Message::Request(Request::Nulls(LeadId(u8::MAX))),
        Message::Request(Request::Keep(full_nulls())),
        Message::Reply(Reply::Inspected(inspection(i32::MIN))),
        Message::Reply(Reply::Proved(proof(i32::MIN))),
        Message::Reply(Reply::Nulls(full_nulls())),
        Message::Request(Request::Watch(watch(full, u32::MAX))),
        Message::Request(Request::Feel(Feel {
            leads: full,
            pulled: Micros(u32::MAX),
        })),
        Message::Request(Request::Guard(Guard {
            low: full,
            watched: full,
            span: Micros(u32::MAX),
        })),
        Message::Reply(Reply::Watched {
            seen: Vec::from([seen(0x8000_0000); MAX_WATCHED]),
            at: Micros(u32::MAX),
            took: Micros(u32::MAX),
            round: Micros(u32::MAX),
        }),
        Message::Reply(Reply::Felt(Vec::from(
            [Felt {
                wide: MilliVolts(i32::MIN),
                pulled: Some((
                    Reading::NotSettled(MicroVolts(i32::MIN)),
                    Reading::NotSettled(MicroVolts(i32::MIN)),
                )),
            }; MAX_WATCHED],
        ))),
        Message::Reply(guarded(
            Vec::from([broken(u32::MAX); MAX_WATCHED]),
            u32::MAX,
        )),
    ];
    all.extend(longest_carried());
    all.extend(
        [
            Refusal::Live(LeadId(u8::MAX), i32::MIN),
            Refusal::Moves(LeadId(u8::MAX), i32::MIN, i32::MIN),
            Refusal::Chassis(chassis),
            Refusal::NoSuchLead(LeadId(u8::MAX)),
            Refusal::Hardware,
        ]
        .map(|refusal| Message::Reply(Reply::Refused(refusal))),
    );
    all
}

#[test]
fn every_message_at_its_longest_fits() {
    let sizes = |wanted: fn(&Message) -> bool| {
        longest()
            .iter()
            .filter(|message| wanted(message))
            .map(|message| message.encode(u16::MAX).len())
            .max()
            .expect("not empty")
    };
    let any = sizes(|_| true);
    assert!(
        any <= MAX_FRAME && any + 16 > MAX_FRAME,
        "largest frame is {any}"
    );
    let asked = sizes(|m| matches!(m, Message::HelloRequest | Message::Request(_)));
    assert!(
        asked <= MAX_REQUEST_FRAME,
        "largest request frame is {asked}"
    );
    for message in longest() {
        assert_eq!(receive(&message.encode(7)), [Ok((7, message))]);
    }
}

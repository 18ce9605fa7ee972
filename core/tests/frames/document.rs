//! The bytes in `docs/wire-format.md` are those that are sent.

use heapless::Vec;
use loomproof_core::units::{MicroVolts, Micros, MilliVolts};
use loomproof_core::wire::*;

use super::parts::{broken, guarded, inspection, proof, seen, text};
use super::{Message, receive};

/// The messages whose bytes stand in `docs/wire-format.md`, by the name there.
fn golden() -> [(&'static str, Message); 32] {
    let lead = LeadId;
    let hello = Hello {
        protocol: 4,
        leads: 64,
        board: text("emulated"),
        serial: text("0001"),
        build: text("0.1.0"),
    };
    let step = Step {
        high: [lead(3)].into_iter().collect(),
        low: [lead(0), lead(17)].into_iter().collect(),
        settle: Micros(300),
        pulled: Micros(3_100),
        samples: 16,
        senses: Vec::from_slice(&[
            Sense {
                lead: lead(3),
                mode: SenseMode::Plain,
            },
            Sense {
                lead: lead(9),
                mode: SenseMode::PullUp,
            },
        ])
        .expect("two fit"),
    };
    let readings = Reply::Readings {
        readings: Vec::from_slice(&[
            Reading::Volts(MicroVolts(1_650_000)),
            Reading::NotSettled(MicroVolts(-1)),
            Reading::Above,
        ])
        .expect("three fit"),
        at: Micros(1_000_000),
    };
    let survey = Reply::Survey {
        looks: Vec::from_slice(&[
            Look {
                first_mv: 0,
                second_mv: 1,
            },
            Look {
                first_mv: -12_000,
                second_mv: 12_600,
            },
        ])
        .expect("two fit"),
        chassis: ChassisCheck::Agree,
    };
    let nulls = Nulls {
        first: lead(32),
        clips: Vec::from_slice(&[ClipOhms(1_012), ClipOhms::NONE]).expect("two fit"),
    };
    let refused = |refusal| Message::Reply(Reply::Refused(refusal));
    [
        ("hello request", Message::HelloRequest),
        ("hello reply", Message::HelloReply(hello)),
        ("request survey", Message::Request(Request::Survey)),
        (
            "request arm",
            Message::Request(Request::Arm(Place::Vehicle)),
        ),
        ("request step", Message::Request(Request::Step(step))),
        ("request release", Message::Request(Request::Release)),
        ("reply survey", Message::Reply(survey)),
        ("reply armed", Message::Reply(Reply::Armed)),
        ("reply readings", Message::Reply(readings)),
        ("reply released", Message::Reply(Reply::Released)),
        ("reply refused", refused(Refusal::Live(lead(4), 12_000))),
        ("request inspect", Message::Request(Request::Inspect)),
        (
            "request prove",
            Message::Request(Request::Prove(Channel::Lead(lead(16)))),
        ),
        ("request nulls", Message::Request(Request::Nulls(lead(32)))),
        (
            "request keep",
            Message::Request(Request::Keep(nulls.clone())),
        ),
        (
            "reply inspected",
            Message::Reply(Reply::Inspected(inspection(1_650_000))),
        ),
        ("reply proved", Message::Reply(Reply::Proved(proof(-1)))),
        ("reply nulls", Message::Reply(Reply::Nulls(nulls))),
        (
            "request watch",
            Message::Request(Request::Watch(Watch {
                leads: [lead(3), lead(9)].into_iter().collect(),
                low: MilliVolts(4_000),
                high: MilliVolts(8_000),
                span: Micros(250_000),
            })),
        ),
        (
            "request feel",
            Message::Request(Request::Feel(Feel {
                leads: [lead(3)].into_iter().collect(),
                pulled: Micros(3_100),
            })),
        ),
        (
            "request guard",
            Message::Request(Request::Guard(Guard {
                low: [lead(0)].into_iter().collect(),
                watched: [lead(3), lead(17)].into_iter().collect(),
                span: Micros(100_000),
            })),
        ),
        (
            "reply watched",
            Message::Reply(Reply::Watched {
                seen: Vec::from_slice(&[seen(1_000)]).expect("one fits"),
                at: Micros(1_000_000),
                took: Micros(250_010),
                round: Micros(12),
            }),
        ),
        (
            "reply felt",
            Message::Reply(Reply::Felt(
                Vec::from_slice(&[
                    Felt {
                        wide: MilliVolts(12_000),
                        pulled: None,
                    },
                    Felt {
                        wide: MilliVolts(-1),
                        pulled: Some((Reading::Volts(MicroVolts(-1)), Reading::Above)),
                    },
                ])
                .expect("two fit"),
            )),
        ),
        (
            "reply guarded",
            Message::Reply(guarded(
                Vec::from_slice(&[broken(1_000)]).expect("one fits"),
                100,
            )),
        ),
        ("request plan", Message::Request(Request::Plan)),
        (
            "request load",
            Message::Request(Request::Load(Page {
                at: 256,
                bytes: Vec::from_slice(&[0, 1, 255]).expect("three fit"),
            })),
        ),
        (
            "request result",
            Message::Request(Request::Result(Fetch { slot: 3, at: 512 })),
        ),
        (
            "request forget",
            Message::Request(Request::Forget(Forget {
                slot: 3,
                number: 40,
            })),
        ),
        (
            "reply plan",
            Message::Reply(Reply::Plan {
                room: 262_144,
                carried: Carried::Plan {
                    check: 0x0102_0304,
                    length: 20_000,
                },
            }),
        ),
        ("reply loaded", Message::Reply(Reply::Loaded { next: 512 })),
        (
            "reply result",
            Message::Reply(Reply::Result(Piece {
                slots: 16,
                number: Some(40),
                length: 1_000,
                bytes: Vec::from_slice(&[0, 1, 255]).expect("three fit"),
            })),
        ),
        ("reply forgotten", Message::Reply(Reply::Forgotten)),
    ]
}

const GOLDEN_SEQ: u16 = 0x0102;

fn hex(bytes: &[u8]) -> std::string::String {
    let pairs: std::vec::Vec<_> = bytes.iter().map(|byte| format!("{byte:02x}")).collect();
    pairs.join(" ")
}

#[test]
fn the_document_holds_the_bytes_that_are_sent() {
    let document = include_str!("../../../docs/wire-format.md");
    let lines: std::vec::Vec<_> = document
        .lines()
        .skip_while(|line| !line.starts_with("```golden"))
        .skip(1)
        .take_while(|line| !line.starts_with("```"))
        .filter_map(|line| line.split_once(": "))
        .map(|(name, bytes)| (name.trim(), bytes.trim()))
        .collect();
    let sent = golden().map(|(name, message)| (name, hex(&message.encode(GOLDEN_SEQ))));
    let written: std::vec::Vec<_> = sent.iter().map(|(n, b)| (*n, b.as_str())).collect();
    assert_eq!(lines, written, "docs/wire-format.md and the code disagree");
    // And the other way: the document's bytes decode to the messages.
    for ((_, bytes), (_, message)) in lines.iter().zip(golden()) {
        let bytes: std::vec::Vec<u8> = bytes
            .split(' ')
            .map(|pair| u8::from_str_radix(pair, 16).expect("hex"))
            .collect();
        assert_eq!(receive(&bytes), [Ok((GOLDEN_SEQ, message))]);
    }
}

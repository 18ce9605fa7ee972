//! Frames over a byte stream: sizes, golden bytes, damage and recovery.

use heapless::{String, Vec};
use loomproof_core::units::{MicroVolts, Micros, MilliVolts};
use loomproof_core::wire::frame::{
    Deframer, Frame, FrameError, Kind, MAX_FRAME, MAX_REQUEST_FRAME, encode_hello_reply,
    encode_hello_request, encode_reply, encode_request,
};
use loomproof_core::wire::*;
use proptest::prelude::*;

/// A frame with its message decoded, to compare.
#[derive(Debug, Clone, PartialEq)]
#[allow(clippy::large_enum_variant, reason = "few exist at a time")]
enum Message {
    HelloRequest,
    HelloReply(Hello),
    Request(Request),
    Reply(Reply),
}

impl Message {
    fn encode(&self, seq: u16) -> std::vec::Vec<u8> {
        let mut out = [0; MAX_FRAME];
        match self {
            Self::HelloRequest => encode_hello_request(seq, &mut out),
            Self::HelloReply(hello) => encode_hello_reply(seq, hello, &mut out),
            Self::Request(request) => encode_request(seq, request, &mut out),
            Self::Reply(reply) => encode_reply(seq, reply, &mut out),
        }
        .expect("every message fits")
        .to_vec()
    }
}

fn decode(frame: Frame<'_>) -> Result<(u16, Message), FrameError> {
    let message = match frame.kind {
        Kind::HelloRequest => frame.hello_request().map(|()| Message::HelloRequest),
        Kind::HelloReply => frame.hello_reply().map(Message::HelloReply),
        Kind::Request => frame.request().map(Message::Request),
        Kind::Reply => frame.reply().map(Message::Reply),
    };
    message.map(|message| (frame.seq, message))
}

fn receive(bytes: &[u8]) -> std::vec::Vec<Result<(u16, Message), FrameError>> {
    let mut deframer = Deframer::<MAX_FRAME>::new();
    bytes
        .iter()
        .filter_map(|byte| deframer.push(*byte).map(|frame| frame.and_then(decode)))
        .collect()
}

fn text(text: &str) -> String<32> {
    text.try_into().expect("short text")
}

fn full_nulls() -> Nulls {
    Nulls {
        first: LeadId(u8::MAX),
        clips: Vec::from([ClipOhms(u16::MAX); CLIPS_A_MESSAGE]),
    }
}

fn inspection(uv: i32) -> Inspection {
    let level = MicroVolts(uv);
    Inspection {
        drive: 0x0F,
        gate: 0x0F,
        select: 0x01,
        tripped: false,
        shift: level,
        up: level,
        down: level,
        lit: 2_048,
    }
}

fn proof(uv: i32) -> Proof {
    let level = MicroVolts(uv);
    Proof {
        pin_high: true,
        pin_low: true,
        shared: level,
        idle_up: level,
        idle_down: level,
        open_up: level,
        open_down: level,
        high_up: level,
        high_down: level,
        low_up: level,
        off_down: level,
    }
}

fn seen(micros: u32) -> Seen {
    let (level, span) = (MilliVolts((micros as i32).wrapping_neg()), Micros(micros));
    Seen {
        least: level,
        most: level,
        mean: level,
        looks: micros,
        high_at_start: true,
        high_at_end: false,
        rises: u16::MAX,
        falls: u16::MAX,
        high_for: span,
        first_edge: span,
        last_edge: span,
        first_rise: span,
        last_rise: span,
        high_between: span,
        shortest_low: span,
        longest_low: span,
        shortest_high: span,
        longest_high: span,
    }
}

fn watch(leads: LeadSet, micros: u32) -> Watch {
    Watch {
        leads,
        low: MilliVolts(i32::MIN),
        high: MilliVolts(i32::MIN),
        span: Micros(micros),
    }
}

fn guarded(breaks: Breaks, micros: u32) -> Reply {
    Reply::Guarded {
        breaks,
        more: 112,
        at: Micros(micros),
        took: Micros(micros),
        round: Micros(micros),
    }
}

fn broken(micros: u32) -> Break {
    Break {
        lead: LeadId(5),
        count: micros as u16,
        first: Micros(micros),
        longest: Micros(micros),
        open_at_end: true,
    }
}

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
    let document = include_str!("../../docs/wire-format.md");
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

/// A frame made by hand, without the encoder under test.
fn by_hand(payload: &[u8]) -> std::vec::Vec<u8> {
    let check = crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC).checksum(payload);
    let whole = [payload, &check.to_le_bytes()].concat();
    let mut out = vec![0; whole.len() + 8];
    let used = cobs::encode(&whole, &mut out);
    out.truncate(used);
    out.push(0);
    out
}

#[test]
fn a_hello_of_another_version_is_still_understood() {
    let frame = by_hand(b"\x01\x05\x00LOOM\x39\x30\x10\x04pico\x01A\x00");
    let hello = Hello {
        protocol: 12_345,
        leads: 16,
        board: text("pico"),
        serial: text("A"),
        build: text(""),
    };
    assert_eq!(receive(&frame), [Ok((5, Message::HelloReply(hello)))]);
}

#[test]
fn what_is_not_a_message_is_an_error() {
    let error = |payload: &[u8]| match receive(&by_hand(payload)).as_slice() {
        [Err(error)] => *error,
        other => panic!("{other:?}"),
    };
    assert_eq!(
        error(b"\x01\0\0MOOL\x01\0\x10\0\0\0"),
        FrameError::NotAProbe
    );
    assert_eq!(error(b"\x00\0\0LOOMS"), FrameError::Trailing);
    assert_eq!(error(b"\x02\0\0\x03\x00"), FrameError::Trailing);
    assert_eq!(error(b"\x02\0\0\x0f"), FrameError::Body);
    assert_eq!(error(b"\x02\0\0"), FrameError::Body);
    assert_eq!(error(b"\x09\0\0"), FrameError::UnknownKind(9));
    assert_eq!(receive(&[5, 1, 0]), [Err(FrameError::Coding)]);
    assert_eq!(receive(&[3, 1, 2, 0]), [Err(FrameError::TooShort)]);
    let mut deframer = Deframer::<MAX_FRAME>::new();
    let frame = Message::Reply(Reply::Armed).encode(1);
    let (_, frame) = deframer.feed(&frame);
    let frame = frame.expect("a frame").expect("a good one");
    assert_eq!(frame.request(), Err(FrameError::WrongKind(Kind::Reply)));
    let mut small = [0; 8];
    assert_eq!(
        encode_request(1, &Request::Survey, &mut small),
        Err(FrameError::Buffer)
    );
    assert_eq!(
        encode_request(1, &Request::Survey, &mut []),
        Err(FrameError::Buffer)
    );
}

#[test]
fn an_oversized_frame_is_dropped_up_to_the_next_zero() {
    let good = Message::Request(Request::Survey).encode(9);
    let mut stream = vec![1; 5_000];
    stream.push(0);
    stream.extend(&good);
    assert_eq!(
        receive(&stream),
        [
            Err(FrameError::TooLong),
            Ok((9, Message::Request(Request::Survey)))
        ]
    );
}

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

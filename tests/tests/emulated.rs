//! The compiled Cortex-M firmware in QEMU.
#![cfg(unix)]

use loomproof_tests::qemu::{self, Emulated};
use loomproof_tests::tunnel::Wired;
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::{Duration, Instant};

/// Keeps what is written to MCP23S17 registers IODIRA (0), IODIRB (1) and OLATA (0x14).
#[derive(Default)]
struct Expanders {
    /// Per device (drive, gate) and address: IODIRA, IODIRB, OLATA.
    registers: [[[u8; 3]; 8]; 2],
    /// Whether lead 0 was driven at any time.
    driven: bool,
}

struct Recorder(Arc<Mutex<Expanders>>);

impl Wired for Recorder {
    fn transfer(&mut self, device: u8, bytes: &mut [u8]) {
        let mut chips = self.0.lock().unwrap();
        let address = usize::from(bytes[0] >> 1 & 7);
        for (offset, value) in bytes[2..].iter().enumerate() {
            let at = match usize::from(bytes[1]) + offset {
                0 => 0,
                1 => 1,
                0x14 => 2,
                other => panic!("register {other:#x}"),
            };
            chips.registers[usize::from(device)][address][at] = *value;
        }
        let on = |chip: [u8; 3]| chip[0] & 1 == 0 && chip[2] & 1 == 1;
        chips.driven |= on(chips.registers[0][0]) && on(chips.registers[1][0]);
    }
    fn wait_ns(&mut self, _: u64) {}
    fn tripped(&mut self) -> bool {
        false
    }
    fn set_rearm(&mut self, _: bool) {}
    fn now_ns(&mut self) -> u64 {
        0
    }
}

#[test]
fn a_firmware_that_panics_lets_go_and_says_so() {
    let Some((qemu, elf)) = qemu::installed(qemu::PANICS_ELF) else {
        return;
    };
    let chips = Arc::new(Mutex::new(Expanders::default()));
    let recorder = Recorder(Arc::clone(&chips));
    let board = Emulated::start(&qemu, &elf, move || recorder).unwrap();
    let deadline = Instant::now() + Duration::from_secs(20);
    while !board.log().contains("let go of all leads") {
        assert!(Instant::now() < deadline, "the log says: {:?}", board.log());
        thread::sleep(Duration::from_millis(20));
    }
    assert!(board.log().contains("on purpose"), "{:?}", board.log());
    board.stop().unwrap();
    let chips = chips.lock().unwrap();
    assert!(chips.driven, "the lead was driven before");
    for (device, addresses) in chips.registers.iter().enumerate() {
        for (address, chip) in addresses.iter().enumerate() {
            assert_eq!(
                chip[..2],
                [0xFF, 0xFF],
                "device {device}, address {address}"
            );
        }
    }
}

mod same_answers {
    use super::*;
    use loomproof::bench::{Bench, Settings};
    use loomproof::fault::Fault;
    use loomproof::link::{Link, LinkError, VirtualProbe, connect};
    use loomproof_core::units::{Micros, MilliVolts};
    use loomproof_core::wire::{Feel, Guard, LeadId, PROTOCOL, Place, Reply, Request, Watch};
    use loomproof_tests::jobs;

    fn bench(seed: u64, faults: &[Fault]) -> Bench {
        let settings = Settings {
            seed,
            leads: 16,
            ..Settings::default()
        };
        Bench::new(&jobs::two_wires(), &jobs::clips(), faults, &settings).unwrap()
    }

    fn run(link: &mut dyn Link) -> Vec<Reply> {
        jobs::script()
            .iter()
            .map(|request| link.exchange(request).unwrap())
            .collect()
    }

    #[test]
    fn the_emulated_board_gives_the_same_bytes_as_the_process() {
        let Some((qemu, elf)) = qemu::installed(qemu::ELF) else {
            return;
        };
        for (seed, faults) in [(1, vec![]), (2, vec![jobs::corroded_tap()])] {
            let its = faults.clone();
            let board = Emulated::start(&qemu, &elf, move || bench(seed, &its)).unwrap();
            let mut session = connect(board.port()).unwrap();
            assert_eq!(session.hello().protocol, PROTOCOL);
            assert_eq!(session.hello().board.as_str(), "emulated-m3");
            assert_eq!(session.hello().leads, 16);
            let start = Instant::now();
            let replies = run(&mut session);
            let traffic = board.traffic();
            println!("seed {seed}: {:.2?}, {traffic:?}", start.elapsed());
            let here = run(&mut VirtualProbe::new(bench(seed, &faults)).session().unwrap());
            assert_eq!(
                jobs::from_first_step(replies),
                jobs::from_first_step(here),
                "seed {seed}; the board's log: {:?}",
                board.log()
            );
            drop(session);
            board.stop().unwrap();
        }
    }

    /// Watching, feeling and guarding, the second as the first leaves it.
    fn while_it_lasts(link: &mut dyn Link) -> Vec<Reply> {
        let leads = |range: std::ops::Range<u8>| range.map(LeadId).collect();
        let requests = [
            Request::Watch(Watch {
                leads: leads(0..3),
                low: MilliVolts(4_000),
                high: MilliVolts(8_000),
                span: Micros(5_000),
            }),
            Request::Feel(Feel {
                leads: leads(0..4),
                pulled: Micros(3_000),
            }),
            Request::Arm(Place::Vehicle),
            Request::Guard(Guard {
                low: leads(0..1),
                watched: leads(1..8),
                span: Micros(5_000),
            }),
            Request::Guard(Guard {
                low: leads(0..1),
                watched: leads(1..2),
                span: Micros(5_000),
            }),
        ];
        let ask = |request| match link.exchange(request).unwrap() {
            Reply::Watched {
                seen, took, round, ..
            } => Reply::Watched {
                seen,
                at: Micros(0),
                took,
                round,
            },
            Reply::Guarded {
                breaks,
                more,
                took,
                round,
                ..
            } => Reply::Guarded {
                breaks,
                more,
                at: Micros(0),
                took,
                round,
            },
            other => other,
        };
        requests.iter().map(ask).collect()
    }

    #[test]
    fn the_emulated_board_watches_feels_and_guards() {
        let Some((qemu, elf)) = qemu::installed(qemu::ELF) else {
            return;
        };
        let board = Emulated::start(&qemu, &elf, || bench(3, &[])).unwrap();
        let mut session = connect(board.port()).unwrap();
        run(&mut session);
        let start = Instant::now();
        let replies = while_it_lasts(&mut session);
        println!("{:.2?}: {replies:?}", start.elapsed());
        let mut here = VirtualProbe::new(bench(3, &[])).session().unwrap();
        run(&mut here);
        assert_eq!(replies, while_it_lasts(&mut here), "{:?}", board.log());
        assert!(matches!(replies[0], Reply::Watched { .. }));
        assert!(matches!(replies[1], Reply::Felt(_)));
        assert_eq!(replies[2], Reply::Armed);
        for reply in &replies[3..] {
            assert!(matches!(reply, Reply::Guarded { .. }), "{reply:?}");
        }
        drop(session);
        board.stop().unwrap();
    }

    #[test]
    fn a_board_that_is_switched_off_in_mid_scan_is_reported() {
        let Some((qemu, elf)) = qemu::installed(qemu::ELF) else {
            return;
        };
        let board = Emulated::start(&qemu, &elf, || bench(1, &[])).unwrap();
        let port = board.port().to_string();
        let mut session = connect(&port).unwrap();
        for request in &jobs::script()[..3] {
            session.exchange(request).unwrap();
        }
        board.stop().unwrap();
        let start = Instant::now();
        let error = session.exchange(&jobs::script()[3]).err().unwrap();
        assert!(
            start.elapsed() < Duration::from_secs(2),
            "{:?}",
            start.elapsed()
        );
        assert!(matches!(error, LinkError::Unplugged { .. }), "{error:?}");
        assert!(
            error.to_string().starts_with(&format!("{port}: ")),
            "{error}"
        );
    }
}

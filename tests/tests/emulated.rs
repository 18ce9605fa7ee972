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
    let Some((qemu, elf)) = qemu::installed(qemu::PANICS_ELF) else { return };
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
            assert_eq!(chip[..2], [0xFF, 0xFF], "device {device}, address {address}");
        }
    }
}

//! Both ends of the tunnel to the emulated board, without QEMU: what the
//! board asks for reaches the bench in the same order and with the same
//! outcome as without a tunnel.

#[allow(dead_code)]
#[path = "../../firmware/boards/emulated/src/tunnel.rs"]
mod board;

use board::{Delay, Line, Rearm, Spi, Trip, Tunnel};
use embedded_hal::delay::DelayNs;
use embedded_hal::digital::{InputPin, OutputPin};
use embedded_hal::spi::{Operation, SpiDevice};
use loomproof_tests::tunnel::{OutOfStep, Server, Wired};
use proptest::prelude::*;
use std::cell::RefCell;
use std::collections::VecDeque;

/// Answers every byte with its complement, plus the device number.
#[derive(Debug, Default, Clone, PartialEq)]
struct Model {
    seen: Vec<String>,
    now: u64,
    high: bool,
}

impl Wired for Model {
    fn transfer(&mut self, device: u8, bytes: &mut [u8]) {
        self.seen.push(format!("{device}: {bytes:02x?}"));
        self.now += 1000 * bytes.len() as u64;
        for byte in bytes {
            *byte = (!*byte).wrapping_add(device);
        }
    }
    fn wait_ns(&mut self, ns: u64) {
        self.now += ns;
    }
    fn tripped(&mut self) -> bool {
        !self.high
    }
    fn set_rearm(&mut self, high: bool) {
        self.seen.push(format!("rearm {high}"));
        self.high = high;
    }
    fn now_ns(&mut self) -> u64 {
        self.now
    }
}

/// The line between the two ends, which hands over in pieces of three bytes.
#[derive(Default)]
struct Wire {
    server: Server,
    model: Model,
    answers: VecDeque<u8>,
}

impl Line for &RefCell<Wire> {
    fn put(&mut self, bytes: &[u8]) {
        let wire = &mut *self.borrow_mut();
        for piece in bytes.chunks(3) {
            wire.answers
                .extend(wire.server.receive(piece, &mut wire.model).unwrap());
        }
    }
    fn get(&mut self) -> u8 {
        self.borrow_mut()
            .answers
            .pop_front()
            .expect("the board waits for a byte that never comes")
    }
}

#[test]
fn reads_come_back_and_writes_wait_for_them() {
    let wire = RefCell::default();
    let tunnel = RefCell::new(Tunnel::new(&wire));
    let mut drive = Spi::new(&tunnel, 0);
    let mut adc = Spi::new(&tunnel, 3);

    drive.write(&[0x40, 0x14, 0x01]).unwrap();
    Delay(&tunnel).delay_ns(700);
    assert_eq!(
        wire.borrow().server.answers,
        0,
        "a write alone asks for no answer"
    );
    assert!(wire.borrow().model.seen.is_empty());

    let mut into = [0; 2];
    adc.transaction(&mut [
        Operation::Write(&[0x0F]),
        Operation::DelayNs(50),
        Operation::Read(&mut into),
    ])
    .unwrap();
    assert_eq!(into, [0x02, 0x02], "the complement of 0, plus 3");
    assert_eq!(wire.borrow().server.answers, 1);
    assert_eq!(
        wire.borrow().model.seen,
        ["0: [40, 14, 01]", "3: [0f, 00, 00]"]
    );

    let mut both = [0x55, 0xAA];
    adc.transfer_in_place(&mut both).unwrap();
    assert_eq!(both, [0xAD, 0x58]);
    let mut got = [0; 3];
    drive.transfer(&mut got, &[1]).unwrap();
    assert_eq!(got, [0xFE, 0xFF, 0xFF]);
    assert_eq!(
        tunnel.borrow_mut().now_ns(),
        3000 + 700 + 3000 + 50 + 2000 + 3000
    );
}

#[test]
fn pins_and_clock_are_as_of_now() {
    let wire = RefCell::default();
    let tunnel = RefCell::new(Tunnel::new(&wire));
    let (mut trip, mut rearm) = (Trip(&tunnel), Rearm(&tunnel));
    assert!(trip.is_high().unwrap());
    assert!(!trip.is_low().unwrap());
    assert_eq!(
        wire.borrow().server.answers,
        1,
        "nothing happened in between"
    );
    rearm.set_high().unwrap();
    assert!(trip.is_low().unwrap());
    rearm.set_low().unwrap();
    assert!(trip.is_high().unwrap());
    assert_eq!(wire.borrow().model.seen, ["rearm true", "rearm false"]);
    // Longer than a 32-bit number of nanoseconds, in two pieces.
    Delay(&tunnel).delay_ns(u32::MAX);
    Delay(&tunnel).delay_ns(u32::MAX);
    assert_eq!(tunnel.borrow_mut().now_ns(), 2 * u64::from(u32::MAX));
}

#[test]
fn more_than_the_buffer_holds_goes_out_in_order() {
    let wire = RefCell::default();
    let tunnel = RefCell::new(Tunnel::new(&wire));
    for n in 0..200u8 {
        Spi::new(&tunnel, n % 3).write(&[n; 9]).unwrap();
    }
    tunnel.borrow_mut().now_ns();
    let expected: Vec<_> = (0..200u8)
        .map(|n| format!("{}: {:02x?}", n % 3, [n; 9]))
        .collect();
    assert_eq!(wire.borrow().model.seen, expected);
    assert!(
        Spi::new(&tunnel, 0).write(&[0; 65]).is_err(),
        "longer than a transfer may be"
    );
}

#[test]
fn a_stream_out_of_step_is_reported() {
    let mut model = Model::default();
    assert_eq!(
        Server::default().receive(&[0x1F, 0x77], &mut model),
        Err(OutOfStep(0x77))
    );
    assert_eq!(
        Server::default().receive(&[0x11, 2], &mut model),
        Err(OutOfStep(0x11))
    );
    assert_eq!(
        Server::default().receive(&[0x04], &mut model),
        Err(OutOfStep(0x04))
    );
}

proptest! {
    /// Whatever comes, in whatever pieces: the same outcome as in one piece.
    #[test]
    fn pieces_do_not_matter(bytes: Vec<u8>, piece in 1usize..9) {
        let at_once = Server::default().receive(&bytes, &mut Model::default());
        let (mut server, mut model) = (Server::default(), Model::default());
        let mut out = Ok(Vec::new());
        for piece in bytes.chunks(piece) {
            if let Ok(so_far) = &mut out {
                match server.receive(piece, &mut model) {
                    Ok(more) => so_far.extend(more),
                    Err(error) => out = Err(error),
                }
            }
        }
        prop_assert_eq!(out, at_once);
    }
}

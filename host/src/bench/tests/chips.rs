//! The chips, byte by byte.

use crate::bench::chips::{CONVERSION_NS, Converter, Expander, clock};
use crate::bench::defect::Defects;
use crate::bench::front_end::{Chips, Pin, State};

fn send(chips: &mut [Expander], bytes: &[u8]) -> Vec<u8> {
    let mut data = bytes.to_vec();
    clock(chips, &mut data, &[]);
    data
}

fn bank() -> Vec<Expander> {
    (0..4).map(Expander::new).collect()
}

#[test]
fn reset_state_is_all_inputs() {
    let mut chips = bank();
    let data = send(&mut chips[..1], &[&[0x41, 0x00][..], &[0; 22]].concat());
    let mut expected = vec![0xFF, 0xFF, 0xFF, 0xFF];
    expected.extend([0; 20]);
    assert_eq!(data, expected);
}

#[test]
fn without_hardware_address_all_answer_to_address_0() {
    let mut chips = bank();
    send(&mut chips, &[0x40, 0x14, 0xA5, 0x5A]);
    assert!(chips.iter().all(|chip| chip.latch() == 0x5AA5));
    // Address 1 is nobody's yet.
    send(&mut chips, &[0x42, 0x14, 0, 0]);
    assert_eq!(send(&mut chips, &[0x43, 0x14, 0, 0]), [0xFF; 4]);
    assert!(chips.iter().all(|chip| chip.latch() == 0x5AA5));
    // One write of IOCON sets all of them.
    send(&mut chips, &[0x40, 0x0A, 0x08]);
    send(&mut chips, &[0x44, 0x14, 0x12, 0x34]);
    let latches: Vec<u16> = chips.iter().map(Expander::latch).collect();
    assert_eq!(latches, [0x5AA5, 0x5AA5, 0x3412, 0x5AA5]);
    assert_eq!(send(&mut chips, &[0x45, 0x14, 0, 0])[2..], [0x12, 0x34]);
    // A missing chip leaves the line high, and so does a strange opcode.
    assert_eq!(send(&mut chips, &[0x49, 0x14, 0, 0]), [0xFF; 4]);
    assert_eq!(send(&mut chips, &[0x51, 0x14, 0, 0]), [0xFF; 4]);
}

#[test]
fn where_several_answer_a_zero_wins() {
    let mut chips = bank();
    send(&mut chips[..1], &[0x40, 0x14, 0xF0]);
    send(&mut chips[1..], &[0x40, 0x14, 0x3C]);
    assert_eq!(send(&mut chips, &[0x41, 0x14, 0])[2], 0x30);
}

#[test]
fn the_address_runs_on_and_wraps_unless_seqop() {
    let mut chips = bank();
    send(&mut chips[..1], &[0x40, 0x15, 0x77, 0x0F]);
    assert_eq!(chips[0].latch(), 0x7700);
    assert_eq!(chips[0].outputs(), 0x00F0);
    send(&mut chips[..1], &[0x40, 0x0B, 0x20]);
    // IOCON is one register at two addresses.
    assert_eq!(send(&mut chips[..1], &[0x41, 0x0A, 0])[2], 0x20);
    send(&mut chips[..1], &[0x40, 0x14, 1, 2, 3, 4]);
    assert_eq!(chips[0].latch(), 0x0403);
    // BANK cannot be set here.
    send(&mut chips[..1], &[0x40, 0x0A, 0xFF]);
    assert_eq!(send(&mut chips[..1], &[0x41, 0x0A, 0])[2], 0x7E);
}

#[test]
fn ports_read_the_pins() {
    let mut chips = vec![Expander::new(0)];
    // Port A outputs 0xC3; port B inputs, low nibble inverted.
    send(&mut chips, &[0x40, 0x00, 0x00, 0xFF, 0x00, 0x0F]);
    send(&mut chips, &[0x40, 0x12, 0xC3]);
    assert_eq!(chips[0].latch(), 0x00C3);
    let mut data = [0x41, 0x12, 0, 0];
    clock(&mut chips, &mut data, &[0x55FF]);
    assert_eq!(data, [0xFF, 0xFF, 0xC3, 0x5A]);
    // Results of interrupts cannot be written, settings can.
    send(&mut chips, &[0x40, 0x04, 0x11, 0x22]);
    send(&mut chips, &[0x40, 0x0E, 9, 9, 9, 9]);
    assert_eq!(send(&mut chips, &[0x41, 0x04, 0, 0])[2..], [0x11, 0x22]);
    assert_eq!(
        send(&mut chips, &[0x41, 0x0E, 0, 0, 0, 0])[2..],
        [0, 0, 0, 0]
    );
    chips[0].reset();
    assert_eq!((chips[0].latch(), chips[0].outputs()), (0, 0));
}

#[test]
fn short_transfers_do_nothing() {
    let mut chips = vec![Expander::new(0)];
    assert!(send(&mut chips, &[]).is_empty());
    assert_eq!(send(&mut chips, &[0x40]), [0xFF]);
    assert_eq!(send(&mut chips, &[0x40, 0x14]), [0xFF, 0xFF]);
    assert_eq!(chips[0].latch(), 0);
    // There is no register at 0x16.
    assert_eq!(send(&mut chips, &[0x41, 0x16, 1])[2], 0);
}

#[test]
fn the_converter_gives_the_sample_of_the_release_before() {
    let mut converter = Converter::default();
    let mut data = [0, 0];
    assert!(!converter.transfer(&mut data, 0));
    assert_eq!(data, [0, 0]);
    converter.release(0xBEEF, 1_000);
    let mut data = [0; 3];
    assert!(!converter.transfer(&mut data, 1_000 + CONVERSION_NS));
    assert_eq!(data, [0xBE, 0xEF, 0xFF]);
    converter.release(0x1234, 20_000);
    // One nanosecond early: the bits of the conversion before, and the running one is lost.
    assert!(converter.transfer(&mut data, 20_000 + CONVERSION_NS - 1));
    assert_eq!(data, [0xBE, 0xEF, 0xFF]);
    assert!(!converter.transfer(&mut data, 60_000));
    assert_eq!(data, [0xBE, 0xEF, 0xFF]);
}

#[test]
fn pins_become_drive_and_sense() {
    let mut drive: Vec<Expander> = (0..5).map(Expander::new).collect();
    let (mut gate, mut select) = (drive.clone(), drive[..2].to_vec());
    for chips in [&mut drive, &mut gate, &mut select] {
        send(chips, &[0x40, 0x0A, 0x08]);
    }
    // Lead 17 high, lead 24 low, lead 18 driven behind an open disconnect,
    // lead 19 closed but not driven, lead 20 closed with pull-up.
    send(&mut drive, &[0x42, 0x14, 0b0000_0110, 0]);
    send(&mut drive, &[0x42, 0x00, 0b1111_1001, 0xFE]);
    send(&mut drive, &[0x42, 0x0C, 0b0001_0000]);
    send(&mut gate, &[0x42, 0x14, 0b0001_1010, 0x01]);
    send(&mut gate, &[0x42, 0x00, 0b1110_0101, 0xFE]);
    // Multiplexers 0 and 3 at address 5, pull-up; lead 66 on the second chip, C2.
    send(&mut select, &[0x40, 0x14, 0b1100_1101, 0b1001]);
    send(&mut select, &[0x42, 0x14, 0b0010_0010, 0b1]);
    send(&mut select, &[0x40, 0x00, 0, 0]);
    send(&mut select, &[0x42, 0x00, 0, 0]);
    let state = State::of(Chips {
        drive: &drive,
        gate: &gate,
        select: &select,
        live: &[],
        defects: &Defects::default(),
    });
    let driven: Vec<(usize, Pin)> = state
        .channels
        .iter()
        .enumerate()
        .filter(|(_, channel)| channel.pin != Pin::Off)
        .map(|(lead, channel)| (lead, channel.pin))
        .collect();
    assert_eq!(
        driven,
        [
            (17, Pin::High),
            (20, Pin::Pulled),
            (24, Pin::Low),
            (80, Pin::High)
        ]
    );
    let sensed: Vec<usize> = (0..=80)
        .filter(|lead| state.channels[*lead].sensed)
        .collect();
    assert_eq!(sensed, [5, 29, 66, 80]);
    assert!(state.up && !state.down && !state.wide);
}

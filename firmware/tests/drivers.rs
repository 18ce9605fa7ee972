//! The chip drivers, to the byte.

use embedded_hal_mock::eh1::delay::NoopDelay;
use embedded_hal_mock::eh1::spi::{Mock, Transaction};
use loomproof_core::units::Micros;
use loomproof_core::wire::{LeadId, LeadSet};
use loomproof_firmware::ads8866::Ads8866;
use loomproof_firmware::front_end::{FrontEnd, FrontError};
use loomproof_firmware::mcp23s17::{Expanders, Register};
use loomproof_firmware::route::{Load, Route};

type Front = FrontEnd<Mock<u8>, Mock<u8>, Mock<u8>, Mock<u8>, NoopDelay>;

fn write(bytes: &[u8]) -> Vec<Transaction<u8>> {
    vec![
        Transaction::transaction_start(),
        Transaction::write_vec(bytes.to_vec()),
        Transaction::transaction_end(),
    ]
}

fn read(sent: &[u8], reply: &[u8]) -> Vec<Transaction<u8>> {
    vec![
        Transaction::transaction_start(),
        Transaction::write_vec(sent.to_vec()),
        Transaction::read_vec(reply.to_vec()),
        Transaction::transaction_end(),
    ]
}

fn sample(code: [u8; 2]) -> Vec<Transaction<u8>> {
    vec![
        Transaction::transaction_start(),
        Transaction::read_vec(code.to_vec()),
        Transaction::transaction_end(),
    ]
}

#[test]
fn expander_words_go_port_a_first() {
    let mut spi = Mock::new(
        &[
            write(&[0x4A, 0x14, 0x34, 0x12]),
            read(&[0x4F, 0x00], &[0xFE, 0x7F]),
        ]
        .concat(),
    );
    let mut chips = Expanders::new(spi.clone());
    chips.write(5, Register::Latch, 0x1234).unwrap();
    assert_eq!(chips.read(7, Register::Direction), Ok(0x7FFE));
    spi.done();
}

#[test]
fn addresses_are_enabled_at_every_address() {
    let sent: Vec<_> = (0..8)
        .flat_map(|n| write(&[0x40 | n << 1, 0x0A, 0x08]))
        .collect();
    let mut spi = Mock::new(&sent);
    Expanders::new(spi.clone()).enable_addresses().unwrap();
    spi.done();
}

#[test]
fn a_chip_is_present_when_it_keeps_two_patterns() {
    let probe = |second: &[u8]| {
        let mut spi = Mock::new(
            &[
                write(&[0x42, 0x14, 0xA5, 0x5A]),
                read(&[0x43, 0x14], &[0xA5, 0x5A]),
                write(&[0x42, 0x14, 0x5A, 0xA5]),
                read(&[0x43, 0x14], second),
                write(&[0x42, 0x14, 0x00, 0x00]),
            ]
            .concat(),
        );
        let present = Expanders::new(spi.clone()).present(1, 0);
        spi.done();
        present
    };
    assert_eq!(probe(&[0x5A, 0xA5]), Ok(true));
    assert_eq!(
        probe(&[0xA5, 0x5A]),
        Ok(false),
        "a bus that echoes the first"
    );
    assert_eq!(probe(&[0xFF, 0xFF]), Ok(false), "no chip");
}

#[test]
fn the_converter_lags_by_one() {
    let mut spi = Mock::new(&[sample([0x12, 0x34]), sample([0xFF, 0xFE])].concat());
    let mut adc = Ads8866::new(spi.clone());
    assert_eq!(adc.sample(), Ok(0x1234));
    assert_eq!(adc.next(&mut NoopDelay::new(), Micros(0)), Ok(0xFFFE));
    spi.done();
}

/// The chips of a probe with one bank, mocked from behind discovery on.
struct Mocks {
    drive: Mock<u8>,
    gate: Mock<u8>,
    select: Mock<u8>,
    adc: Mock<u8>,
}

fn discovered(
    drive: Vec<Transaction<u8>>,
    gate: Vec<Transaction<u8>>,
    select: Vec<Transaction<u8>>,
    adc: Vec<Transaction<u8>>,
) -> (Front, Mocks) {
    let enable: Vec<_> = (0..8)
        .flat_map(|n| write(&[0x40 | n << 1, 0x0A, 0x08]))
        .collect();
    let inputs: Vec<_> = (0..8)
        .flat_map(|n| write(&[0x40 | n << 1, 0x00, 0xFF, 0xFF]))
        .collect();
    let present = |address: u8, rest: u8| {
        let out = 0x40 | address << 1;
        [
            write(&[out, 0x14, 0xA5, 0x5A]),
            read(&[out | 1, 0x14], &[0xA5, 0x5A]),
            write(&[out, 0x14, 0x5A, 0xA5]),
            read(&[out | 1, 0x14], &[0x5A, 0xA5]),
            write(&[out, 0x14, rest, rest]),
        ]
        .concat()
    };
    let absent = |address: u8, rest: u8| {
        let out = 0x40 | address << 1;
        [
            write(&[out, 0x14, 0xA5, 0x5A]),
            read(&[out | 1, 0x14], &[0xFF, 0xFF]),
            write(&[out, 0x14, 0x5A, 0xA5]),
            read(&[out | 1, 0x14], &[0xFF, 0xFF]),
            write(&[out, 0x14, rest, rest]),
        ]
        .concat()
    };
    let outputs = [
        write(&[0x40, 0x14, 0, 0]),
        write(&[0x40, 0x00, 0, 0]),
        write(&[0x42, 0x14, 0, 0]),
        write(&[0x42, 0x00, 0, 0]),
    ]
    .concat();
    let mocks = Mocks {
        drive: Mock::new(&[enable.clone(), inputs.clone(), present(0, 0), drive].concat()),
        gate: Mock::new(
            &[
                enable.clone(),
                inputs,
                present(0, 0xFF),
                absent(1, 0xFF),
                gate,
            ]
            .concat(),
        ),
        select: Mock::new(
            &[
                enable.clone(),
                write(&[0x40, 0x00, 0xFF, 0xFF]),
                present(0, 0),
                write(&[0x42, 0x00, 0xFF, 0xFF]),
                absent(1, 0),
                enable,
                outputs,
                select,
            ]
            .concat(),
        ),
        adc: Mock::new(&adc),
    };
    let mut front = FrontEnd::new(
        mocks.drive.clone(),
        mocks.gate.clone(),
        mocks.select.clone(),
        mocks.adc.clone(),
        NoopDelay::new(),
    );
    front.discover(false).unwrap();
    assert_eq!(front.leads(), 16);
    (front, mocks)
}

impl Mocks {
    fn done(mut self) {
        self.drive.done();
        self.gate.done();
        self.select.done();
        self.adc.done();
    }
}

fn set(leads: &[u8]) -> LeadSet {
    leads.iter().copied().map(LeadId).collect()
}

#[test]
fn a_pattern_and_letting_go_to_the_byte() {
    let cycle = [
        write(&[0x40, 0x00, 0xFC, 0xFE]),
        read(&[0x41, 0x00], &[0xFC, 0xFE]),
    ]
    .concat();
    let open = [
        write(&[0x40, 0x00, 0xFF, 0xFF]),
        read(&[0x41, 0x00], &[0xFF, 0xFF]),
    ]
    .concat();
    let (mut front, mocks) = discovered(
        // The second time the latch is as it was and is not written.
        [
            write(&[0x40, 0x14, 0x02, 0x00]),
            cycle.clone(),
            open.clone(),
            cycle.clone(),
            open.clone(),
        ]
        .concat(),
        [cycle.clone(), open.clone(), cycle, open].concat(),
        vec![],
        vec![],
    );
    for _ in 0..2 {
        front.drive(&set(&[1]), &set(&[0, 8])).unwrap();
        front.let_go().unwrap();
    }
    mocks.done();
}

#[test]
fn a_disconnect_that_stays_closed_is_noticed_and_never_driven_over() {
    let (mut front, mocks) = discovered(
        [
            write(&[0x40, 0x00, 0xFE, 0xFF]),
            read(&[0x41, 0x00], &[0xFE, 0xFF]),
            write(&[0x40, 0x00, 0xFF, 0xFF]),
            read(&[0x41, 0x00], &[0xFF, 0xFF]),
        ]
        .concat(),
        [
            write(&[0x40, 0x00, 0xFE, 0xFF]),
            read(&[0x41, 0x00], &[0xFE, 0xFF]),
            write(&[0x40, 0x00, 0xFF, 0xFF]),
            read(&[0x41, 0x00], &[0xFE, 0xFF]),
        ]
        .concat(),
        vec![],
        vec![],
    );
    front.drive(&LeadSet::EMPTY, &set(&[0])).unwrap();
    assert_eq!(front.let_go(), Err(FrontError::ReadBack));
    assert_eq!(
        front.drive(&LeadSet::EMPTY, &set(&[1])),
        Err(FrontError::ReadBack)
    );
    mocks.done();
}

#[test]
fn one_write_routes_a_lead() {
    let (mut front, mocks) = discovered(
        vec![],
        vec![],
        [
            write(&[0x40, 0x14, 0x0B, 0x02]), // lead 11, pull-up
            write(&[0x40, 0x14, 0x23, 0x02]), // the same through the wide divider
            write(&[0x40, 0x14, 0x00, 0x00]),
        ]
        .concat(),
        vec![],
    );
    front.go(Route::Lead(LeadId(11), Load::PullUp)).unwrap();
    front.go(Route::Lead(LeadId(11), Load::PullUp)).unwrap();
    front.go(Route::Lead(LeadId(11), Load::Wide)).unwrap();
    front.go(Route::Off).unwrap();
    mocks.done();
    // Leads from 64 up: switch on the second chip, load on the first.
    assert_eq!(
        Route::Lead(LeadId(127), Load::PullDown).ports(),
        [0x10, 0x8007]
    );
    assert_eq!(Route::Lead(LeadId(64), Load::Plain).ports(), [0, 0x0100]);
    assert_eq!(Route::ChassisDriven(Load::Plain).ports(), [0xC0, 0]);
}

#[test]
fn looks_overlap_routing_and_conversion() {
    let (mut front, mocks) = discovered(
        vec![],
        vec![],
        [
            write(&[0x40, 0x14, 0x22, 0x01]),
            write(&[0x40, 0x14, 0x21, 0x02]),
        ]
        .concat(),
        // Thrown away; lead 2 at 0 V; lead 9 at full scale.
        [
            sample([0xAB, 0xCD]),
            sample([0x80, 0x00]),
            sample([0xFF, 0xFF]),
        ]
        .concat(),
    );
    let mut seen = vec![];
    front
        .look_each(&set(&[9, 2]), |lead, mv| seen.push((lead.0, mv)))
        .unwrap();
    assert_eq!(seen, [(2, 0), (9, 37_949)]);
    mocks.done();
}

//! The drawing, the list of nets and the bill of materials are what the
//! netlist makes, and the netlist holds together.

use loomproof_tests::schematic::Schematic;
use loomproof_tests::skip;
use std::collections::{BTreeMap, BTreeSet};
use std::fs;

const AGAIN: &str = "run `cargo run --release -p loomproof-tests --example schematic`";

fn document(name: &str) -> String {
    fs::read_to_string(skip::top().join("docs").join(name)).expect(name)
}

#[test]
fn what_is_kept_is_what_the_netlist_makes() {
    let schematic = Schematic::load().expect("a netlist");
    assert!(
        document("probe/schematic.svg") == schematic.svg(),
        "{AGAIN}"
    );
    assert!(
        document("probe/nets-16.txt") == schematic.net_list(16),
        "{AGAIN}"
    );
    assert!(
        document("probe-hardware.md").contains(&schematic.bill()),
        "{AGAIN}"
    );
    // Every part that has pins is in the drawing.
    for part in schematic.parts.iter().filter(|part| !part.pins.is_empty()) {
        let label = format!(">{}  {}<", part.name, part.kind);
        assert!(schematic.svg().contains(&label), "{label}");
    }
}

#[test]
fn every_net_has_two_ends_at_every_size() {
    let schematic = Schematic::load().expect("a netlist");
    for leads in [16, 32, 64, 128] {
        assert_eq!(
            schematic.loose(leads),
            Vec::<String>::new(),
            "{leads} leads"
        );
        let nets = schematic.nets(leads);
        let tips = nets.keys().filter(|net| net.starts_with("LEAD#")).count();
        assert_eq!(tips, leads);
    }
    // A pin that is left out is found.
    let mut broken = schematic.clone();
    for part in broken.parts.iter_mut().filter(|part| part.name == "R3") {
        part.pins.retain(|(pin, _)| pin == "2");
        part.pins[0].1 = "SOMEWHERE#".to_owned();
    }
    assert!(broken.loose(16).contains(&"SOMEWHERE#0".to_owned()));
}

/// Resistors and diodes of the deck that ngspice runs, and of the netlist:
/// the same parts between the same nets.
#[test]
fn the_deck_is_of_this_netlist() {
    let deck = document("probe/lead.cir");
    let subcircuit = |name: &str| {
        let start = deck.find(&format!(".subckt {name} ")).expect(name);
        deck[start..]
            .split(".ends")
            .next()
            .expect("its end")
            .to_owned()
    };
    let lead = subcircuit("input");
    let mut spice = BTreeSet::new();
    for line in lead.lines() {
        let words: Vec<_> = line.split_whitespace().collect();
        // `r3p` and the like are leakage within the diodes.
        if let [name, a, b, ..] = words[..]
            && (name.starts_with('r') || name.starts_with('d'))
            && !name.ends_with('p')
        {
            spice.insert((name[..1].to_owned(), a.to_owned(), b.to_owned()));
        }
    }
    let names = BTreeMap::from([
        ("LEAD#", "lead"),
        ("D#", "d"),
        ("S#", "s"),
        ("OV", "ov"),
        ("UV", "uv"),
        ("CP", "cp"),
        ("CN", "cn"),
    ]);
    let schematic = Schematic::load().expect("a netlist");
    let mut ours = BTreeSet::new();
    for part in schematic.parts.iter().filter(|part| part.block == "lead") {
        let pin = |name: &str| {
            let net = part.pins.iter().find(|(pin, _)| pin == name);
            net.and_then(|(_, net)| names.get(net.as_str()))
                .map(|net| (*net).to_owned())
        };
        for (what, a, b) in [("r", "1", "2"), ("d", "A1", "K1"), ("d", "A2", "K2")] {
            if let (Some(a), Some(b)) = (pin(a), pin(b)) {
                ours.insert((what.to_owned(), a, b));
            }
        }
    }
    assert_eq!(ours, spice);
    assert_eq!(ours.len(), 6, "R1, R3, two BAV199");
}

/// The board's pins in the netlist are those of its source.
#[test]
fn the_controller_has_the_pins_that_the_firmware_uses() {
    let schematic = Schematic::load().expect("a netlist");
    let controller = schematic
        .parts
        .iter()
        .find(|part| part.name == "U16")
        .expect("U16");
    let net = |pin: u32| {
        let pin = format!("GP{pin}");
        let found = controller.pins.iter().find(|(name, _)| *name == pin);
        found
            .map(|(_, net)| net.as_str())
            .unwrap_or_else(|| panic!("{pin}"))
    };
    let source = skip::top().join("firmware/boards/rp2040/src/main.rs");
    let source = fs::read_to_string(source).expect("the board's source");
    for (words, pin, name) in [
        ("drive: device!(pins.gpio5)", 5, "/DRIVE"),
        ("gate: device!(pins.gpio6)", 6, "/GATE"),
        ("select: device!(pins.gpio7)", 7, "/SELECT"),
        ("adc: device!(pins.gpio8)", 8, "/ADC"),
        ("trip: pins.gpio9", 9, "TRIP"),
        ("rearm: pins.gpio10", 10, "REARM"),
        ("hold = pins.gpio11", 11, "HOLD"),
        ("pins.gpio3.reconfigure()", 3, "MOSI"),
        ("pins.gpio4.reconfigure()", 4, "MISO"),
        ("pins.gpio2.reconfigure()", 2, "SCK"),
        ("select: output!(pins.gpio12)", 12, "LCDRS"),
        ("enable: output!(pins.gpio13)", 13, "LCDE"),
        ("output!(pins.gpio14),", 14, "LCD4"),
        ("output!(pins.gpio15),", 15, "LCD5"),
        ("output!(pins.gpio16),", 16, "LCD6"),
        ("output!(pins.gpio17),", 17, "LCD7"),
        ("next: pins.gpio18.", 18, "/NEXT"),
        ("repeat: pins.gpio19.", 19, "/REPEAT"),
        ("green: output!(pins.gpio20)", 20, "GREEN"),
        ("red: output!(pins.gpio21)", 21, "RED"),
        ("beeper: output!(pins.gpio22)", 22, "BEEP"),
    ] {
        assert!(source.contains(words), "{words}");
        assert_eq!(net(pin), name);
    }
}

/// Nothing but the isolator and the isolated converter joins the computer's
/// side of USB to anything: C1 sits on the chassis.
#[test]
fn usb_touches_the_probe_nowhere() {
    let schematic = Schematic::load().expect("a netlist");
    let nets = schematic.nets(64);
    for net in ["USBGND", "VBUS", "PLUG"] {
        for pin in &nets[net] {
            let part = pin.split('.').next().expect("a part");
            let part = schematic.parts.iter().find(|known| known.name == part);
            let kind = &part.expect("a part of the netlist").kind;
            assert!(
                ["ADuM3160 class USB isolator", "isolated converter 5 V, 1 W"]
                    .contains(&kind.as_str()),
                "{net} goes to {pin}, {kind}"
            );
        }
    }
}

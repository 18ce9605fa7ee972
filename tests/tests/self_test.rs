//! Every fault of the probe's chips, on every kind of channel, is named by the
//! self-test; a healthy probe passes it.

use loomproof::bench::{Bare, Bench, Defect, Settings};
use loomproof::link::VirtualProbe;
use loomproof::probe::self_test::{Shown, full};
use loomproof::probe::words::words;

fn tested(defects: &[&str], seed: u64, leads: u8) -> Shown {
    let settings = Settings {
        seed,
        leads,
        defects: defects
            .iter()
            .map(|text| Defect::parse(text).unwrap())
            .collect(),
        ..Settings::default()
    };
    let bench = Bench::bare(Bare::Free, &settings).unwrap();
    let mut link = VirtualProbe::new(bench).session().unwrap();
    let shown = full(&mut link).unwrap();
    let bench = link.transport().probe().bench().0.borrow();
    assert!(bench.trouble().is_none());
    assert_eq!(bench.counters().early_reads, 0);
    shown
}

fn said(shown: &Shown) -> String {
    let words = shown.troubles.iter().map(|trouble| words(trouble).say);
    words.collect::<Vec<_>>().join("\n")
}

/// What the self-test did not name.
#[derive(Default)]
struct Named {
    tried: usize,
    wrong: Vec<String>,
}

impl Named {
    /// The self-test says this and nothing else.
    fn names(&mut self, defect: &str, leads: u8, expected: &str) {
        let shown = tested(&[defect], 3, leads);
        let said = said(&shown);
        self.tried += 1;
        if !said.contains(expected) || shown.troubles.len() != 1 {
            let most: Vec<&str> = said.lines().take(4).collect();
            self.wrong.push(format!(
                "{defect} with {leads} leads: expected {expected:?}, got {} findings: {} (refused: {:?})",
                shown.troubles.len(),
                most.join(" / "),
                shown.refused
            ));
        }
    }

    fn all(self, tried: usize) {
        assert!(self.wrong.is_empty(), "{}", self.wrong.join("\n"));
        assert_eq!(self.tried, tried);
    }
}

#[test]
fn a_healthy_probe_passes() {
    for leads in [16, 48, 64, 128] {
        let seeds = if leads == 64 { 40 } else { 6 };
        for seed in 0..seeds {
            let shown = tested(&[], seed, leads);
            assert!(shown.healthy(), "seed {seed}, {leads} leads: {shown:?}");
            assert_eq!(shown.tested.len(), usize::from(leads) + 1);
            let pairs = usize::from(leads) * (usize::from(leads) - 1) / 2;
            assert_eq!(shown.pairs, pairs);
        }
    }
}

#[test]
fn every_fault_of_a_lead_is_named_on_leads_of_every_kind() {
    let mut named = Named::default();
    // First and last of a bank, of a multiplexer, of a half, of the probe.
    for lead in [1_u8, 2, 8, 9, 16, 17, 33, 64, 65, 100, 128] {
        let leads = if lead > 64 { 128 } else { 64 };
        let of = |kind: &str| format!("{kind}@P{lead}");
        let lead_words = format!("Lead {lead} ");
        let mut check = |kind: &str, words: &str| {
            named.names(&of(kind), leads, &format!("{lead_words}{words}"));
        };
        check(
            "disconnect-open",
            "cannot drive: its disconnect does not close",
        );
        check("disconnect-closed", "is not let go of");
        check("sense-open", "cannot be read");
        check("sense-closed", "never leaves the sense bus");
        named.names(
            &format!("leak@P{lead},na=100"),
            leads,
            &format!("{lead_words}leaks"),
        );
        named.names(
            &format!("leak@P{lead},na=-100"),
            leads,
            &format!("{lead_words}leaks"),
        );
        let (bank, pin) = ((lead - 1) / 16, (lead - 1) % 16);
        let pin = format!("{}{}", if pin < 8 { 'A' } else { 'B' }, pin % 8);
        for (defect, words) in [
            (format!("pin-low@drive{bank}:{pin}"), "cannot drive high"),
            (format!("pin-high@drive{bank}:{pin}"), "cannot drive low"),
            (
                format!("pin-low@gate{bank}:{pin}"),
                "cannot drive: its disconnect does not close",
            ),
            (format!("pin-high@gate{bank}:{pin}"), "is not let go of"),
        ] {
            named.names(&defect, leads, &format!("{lead_words}{words}"));
        }
        let (a, b) = (lead.min(leads - 1), lead.min(leads - 1) + 1);
        for (ohms, words) in [
            (1, "less than 2 kΩ"),
            (20_000, "about 20 kΩ"),
            (10_000_000, "about 10 MΩ"),
        ] {
            let defect = format!("joined@P{a},with=P{b},ohms={ohms}");
            named.names(
                &defect,
                leads,
                &format!("Lead {a} and lead {b} are joined by {words}"),
            );
        }
    }
    named.all(143);
}

#[test]
fn leads_far_apart_that_are_joined_are_named() {
    let mut named = Named::default();
    for (a, b) in [(1, 64), (5, 13), (30, 47)] {
        let defect = format!("joined@P{a},with=P{b},ohms=1000000");
        named.names(
            &defect,
            64,
            &format!("Lead {a} and lead {b} are joined by about 1 MΩ"),
        );
    }
    named.all(3);
}

#[test]
fn the_chassis_lead_is_tested_like_a_lead() {
    let mut named = Named::default();
    for (defect, words) in [
        ("disconnect-open@C2", "C2 does not change"),
        ("disconnect-closed@C2", "C2 does not change"),
        ("sense-open@C2", "C2 cannot be read"),
        ("sense-closed@C2", "held at 0 V"),
        ("pin-low@select0:A6", "C2 cannot be read"),
        ("pin-high@select0:A6", "held at 0 V"),
        ("pin-low@select0:A7", "C2 does not change"),
        ("pin-high@select0:A7", "C2 does not change"),
    ] {
        named.names(defect, 64, words);
    }
    named.all(8);
}

#[test]
fn every_pin_of_the_sense_select_is_named() {
    let mut named = Named::default();
    for (half, leads) in [(0_u8, 64_u8), (0, 128), (1, 128)] {
        for line in 0..3 {
            for (kind, level) in [("low", "low"), ("high", "high")] {
                named.names(
                    &format!("pin-{kind}@select{half}:A{line}"),
                    leads,
                    &format!("Address line A{line} of sense select chip {half} stays {level}"),
                );
            }
        }
        for mux in 0..8_u8 {
            let first = u16::from(half) * 64 + u16::from(mux) * 8 + 1;
            let eight = format!("eads {first} to {}", first + 7);
            named.names(
                &format!("pin-low@select{half}:B{mux}"),
                leads,
                &format!("L{eight} cannot be read"),
            );
            named.names(
                &format!("pin-high@select{half}:B{mux}"),
                leads,
                &format!("multiplexer of l{eight} is always enabled"),
            );
        }
    }
    for (defect, words) in [
        ("pin-low@select0:A3", "pull-up does not reach"),
        ("pin-high@select0:A3", "pull-up does not switch off"),
        ("pin-low@select0:A4", "pull-down does not reach"),
        ("pin-high@select0:A4", "pull-down does not switch off"),
        ("pin-low@select0:A5", "The wide range rests at"),
        ("pin-high@select0:A5", "wide divider does not switch off"),
    ] {
        named.names(defect, 64, words);
    }
    named.all(72);
}

#[test]
fn every_chip_and_line_that_is_silent_is_named() {
    let mut named = Named::default();
    for bank in 0..4_u8 {
        let leads = format!("(leads {} to {})", bank * 16 + 1, bank * 16 + 16);
        named.names(
            &format!("deaf@drive{bank}"),
            64,
            &format!("Drive chip {bank} does not answer {leads}"),
        );
        named.names(
            &format!("deaf@gate{bank}"),
            64,
            &format!("Disconnect chip {bank} does not answer {leads}"),
        );
    }
    named.names("deaf@select0", 64, "No sense select chip answers");
    named.names("deaf@select0", 128, "Sense select chip 0 does not answer");
    named.names("deaf@select1", 128, "Sense select chip 1 does not answer");
    for level in ["low", "high"] {
        named.names(&format!("line-{level}@drive"), 64, "No drive chip answers");
        named.names(
            &format!("line-{level}@gate"),
            64,
            "No disconnect chip answers",
        );
        named.names(
            &format!("line-{level}@select"),
            64,
            "No sense select chip answers",
        );
        named.names(&format!("line-{level}@adc"), 64, "The converter gives");
    }
    named.names(
        "tripped@comparators",
        64,
        "The comparators hold all drive off",
    );
    named.all(20);
}

#[test]
fn the_converter_is_named_from_half_a_percent_and_half_a_millivolt_on() {
    let mut named = Named::default();
    for (percent, words) in [
        ("0.5", "high: its gain"),
        ("1", "high: its gain"),
        ("3", "high: its gain"),
        ("-0.5", "low: its gain"),
        ("-1", "low: its gain"),
        ("-3", "low: its gain"),
    ] {
        named.names(&format!("gain@adc,percent={percent}"), 64, words);
    }
    named.names(
        "reference@adc,percent=3",
        64,
        "2.9 % low: its gain, or its reference",
    );
    named.names(
        "reference@adc,percent=-3",
        64,
        "high: its gain, or its reference",
    );
    named.names("offset@adc,mv=0.6", 64, "mV at 0 V");
    named.names("offset@adc,mv=5", 64, "reads 5.0 mV at 0 V");
    named.names("offset@adc,mv=-0.5", 64, "too low");
    named.names("offset@adc,mv=-5", 64, "too low");
    named.all(12);
}

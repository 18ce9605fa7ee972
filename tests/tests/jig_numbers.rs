//! The numbers of bench jigs as the probe reads them, over the spread of probes, clips and
//! resistors: always the right one, and with a dirty contact never another.

use loomproof::bench::{Bench, OnJig, Settings};
use loomproof::jig::code::{LEADS, MOST, STEPS};
use loomproof::jig::{Code, Identity};
use loomproof::link::VirtualProbe;
use loomproof_core::units::Ohms;
use loomproof_core::wire::LeadId;

fn read(resistors: [(LeadId, Ohms); 3], seed: u64, leads: u8) -> Identity {
    let settings = Settings {
        seed,
        leads,
        code: resistors.to_vec(),
        ..Settings::default()
    };
    let bench = Bench::jig(&OnJig::default(), &settings).unwrap();
    let mut link = VirtualProbe::new(bench).session().unwrap();
    Identity::read(&mut link).unwrap()
}

fn all() -> impl Iterator<Item = Code> {
    (1..=MOST).filter_map(Code::new)
}

#[test]
fn every_number_is_read_with_resistors_of_one_percent() {
    for (code, seed) in all().zip(0_u64..) {
        for off in [0.99, 1.01] {
            let resistors = code
                .resistors()
                .map(|(lead, ohms)| (lead, Ohms(ohms.0 * off)));
            let leads = if seed % 2 == 0 { 16 } else { 128 };
            assert_eq!(read(resistors, seed, leads), Identity::Jig(code), "{code}");
        }
    }
}

#[test]
fn a_step_is_read_far_within_its_window() {
    // The window is 10 %; resistors may take 1 %, ageing contacts the rest.
    let mut worst: f64 = 0.0;
    for step in STEPS {
        for seed in 0..12 {
            let resistors = LEADS.map(|lead| (lead, step));
            let settings = Settings {
                seed,
                leads: 16,
                code: resistors.to_vec(),
                ..Settings::default()
            };
            let bench = Bench::jig(&OnJig::default(), &settings).unwrap();
            let mut link = VirtualProbe::new(bench).session().unwrap();
            for lead in LEADS {
                let ohms = loomproof::jig::code::to_chassis(&mut link, lead)
                    .unwrap()
                    .unwrap();
                worst = worst.max((ohms.0 / step.0 - 1.0).abs());
            }
        }
    }
    println!("worst {:.1} % off", worst * 100.0);
    assert!((0.001..0.05).contains(&worst), "{worst}");
}

#[test]
fn dirt_at_a_contact_is_never_another_jig() {
    let (mut refused, mut read_all_the_same) = (0, 0);
    for (code, seed) in all().step_by(5).zip(0_u64..) {
        for at in 0..LEADS.len() {
            for dirt in [15.0, 50.0, 90.0, 250.0, 700.0, 3_000.0, 1e6] {
                let mut resistors = code.resistors();
                resistors[at].1.0 += dirt;
                match read(resistors, seed, 16) {
                    Identity::Jig(there) => {
                        assert_eq!(there, code, "{dirt} Ω at {}", LEADS[at]);
                        read_all_the_same += 1;
                    }
                    Identity::Nothing => panic!("{code}: two resistors are there"),
                    Identity::NoCode(_) => refused += 1,
                }
            }
        }
    }
    assert!(
        refused > 200 && read_all_the_same > 50,
        "{refused}, {read_all_the_same}"
    );
}

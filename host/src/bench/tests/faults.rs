//! Each fault changes what it should, and only where the vehicle and the side
//! that is touched let it be seen.

use crate::bench::testing::{Mode, Rig, at, fault, hookup, job, part};
use crate::bench::{Bench, BenchError, Settings};
use crate::fault::spell::parse;
use crate::fault::{Fault, Joint, Touches};
use crate::plan::model::{End, Half, Side};
use loomproof_core::units::Ohms;
use loomproof_core::wire::Place;

use Side::{Mating, Wire};

const QUIET: Settings = Settings {
    seed: 1,
    leads: 16,
    spread: false,
    noise: false,
    spi_hz: 8_000_000,
    defects: Vec::new(),
    code: Vec::new(),
};

/// Ohms between a driven lead and what pulls it down, by its own reading.
fn ohms(volts: f64) -> f64 {
    725.0 * volts / (3.3 - volts)
}

/// Leads 0… on these points, in the vehicle.
fn rig(points: &[(&str, u16, Side)], faults: &[Fault]) -> Rig {
    Rig::new(&job(), &hookup(Place::Vehicle, points), faults, &QUIET)
}

/// Lead 0 driven high, lead 1 low: ohms between them, by the difference of the
/// two readings; above 100 kΩ `None`.
fn between(rig: &mut Rig) -> Option<f64> {
    rig.drive(&[0], &[1]);
    let (high, low) = (rig.read(0, Mode::Plain), rig.read(1, Mode::Plain));
    let current = low / 725.0;
    (current > 3.3 / 100e3).then(|| (high - low) / current)
}

fn straight(faults: &[Fault]) -> Option<f64> {
    between(&mut rig(&[("X1", 3, Mating), ("X2", 1, Mating)], faults))
}

#[test]
fn a_good_lead_is_copper_and_joints() {
    // 1 m of 0.5 mm² (34.5 mΩ), two crimps, two contacts, two clips.
    let expected = 0.017_241 / 0.5 + 2.0 * (0.002 + 0.004) + 2.0 * 0.10;
    let ohms = straight(&[]).expect("joined");
    assert!(
        (ohms - expected).abs() < 0.03,
        "{ohms}, not {expected}: within the converter's steps"
    );
}

#[test]
fn opens_and_added_ohms() {
    let x1 = || Joint::At(at("X1", 3));
    for joint in [x1(), Joint::At(at("X2", 1)), Joint::Along("W6".into())] {
        assert_eq!(straight(&[fault::open(joint.clone())]), None, "{joint:?}");
        let more = straight(&[fault::high_resistance(joint, 8.0)]).expect("joined");
        assert!((more - 8.25).abs() < 0.05, "{more}");
    }
    for joint in [
        Joint::Mating("D1".into()),
        Joint::At(End::Plug("D1".into(), Half::A, 1)),
        Joint::At(part("F1", "2")),
    ] {
        let over = [("X1", 7, Mating), ("X2", 2, Mating)];
        assert!(between(&mut rig(&over, &[])).is_some_and(|ohms| ohms < 0.5));
        assert_eq!(between(&mut rig(&over, &[fault::open(joint)])), None);
    }
    let coil = [("X1", 1, Mating), ("X1", 2, Mating)];
    let splice = |lead: &str| fault::open(Joint::Splice("S1".into(), lead.into()));
    for lead in ["W3", "W4"] {
        assert_eq!(between(&mut rig(&coil, &[splice(lead)])), None);
    }
}

#[test]
fn an_open_crimp_shows_from_the_wire_side_an_unseated_terminal_does_not() {
    let behind = [("X1", 3, Wire), ("X2", 1, Wire)];
    let unseated = || [fault::unseated("X1", 3)];
    assert!(between(&mut rig(&behind, &unseated())).is_some());
    assert_eq!(straight(&unseated()), None);
    let open = [fault::open(Joint::At(at("X1", 3)))];
    assert_eq!(between(&mut rig(&behind, &open)), None);
}

#[test]
fn moved_and_exchanged_terminals() {
    let moved = || [fault::wrong_cavity("X1", 3, 9)];
    assert_eq!(straight(&moved()), None);
    for side in [Mating, Wire] {
        assert!(between(&mut rig(&[("X1", 9, side), ("X2", 1, side)], &moved())).is_some());
        assert_eq!(
            between(&mut rig(&[("X1", 3, side), ("X2", 1, side)], &moved())),
            None
        );
    }
    let exchanged = || [fault::exchanged("X1", 3, 6)];
    assert_eq!(straight(&exchanged()), None);
    assert!(
        between(&mut rig(
            &[("X1", 6, Mating), ("X2", 1, Mating)],
            &exchanged()
        ))
        .is_some()
    );
}

#[test]
fn a_tap_shows_from_the_far_end_of_its_conductor() {
    let far = [("X1", 4, Mating), ("FB", 2, Mating)];
    let neighbour = [("X1", 4, Mating), ("FB", 3, Mating)];
    // 2 kΩ of load from K1 to chassis.
    let mut good = rig(&far, &[]);
    good.drive(&[0], &[]);
    let load = ohms(good.read(0, Mode::Plain));
    assert!((load - 2_000.0).abs() < 5.0, "{load}");
    assert!(between(&mut good).is_some_and(|ohms| ohms < 1.0));
    assert_eq!(between(&mut rig(&neighbour, &[])), None);

    let missed = [fault::tap_missed("T1")];
    assert_eq!(between(&mut rig(&far, &missed)), None);
    let wrong = [fault::tap_neighbour("T1", "K2")];
    assert_eq!(between(&mut rig(&far, &wrong)), None);
    assert!(between(&mut rig(&neighbour, &wrong)).is_some());
}

#[test]
fn shorts_and_touching_caps() {
    let short = fault::short("W6", Touches::Lead("W7".into()));
    let capped = [("X1", 6, Mating), ("X2", 1, Mating)];
    assert_eq!(between(&mut rig(&capped, &[])), None);
    assert!(between(&mut rig(&capped, &[short])).is_some_and(|ohms| ohms < 0.7));
    let touching = fault::cap_touching("W7", Touches::Lead("W6".into()));
    assert!(between(&mut rig(&capped, &[touching])).is_some_and(|ohms| ohms < 0.7));
    for fault in [
        fault::short("W6", Touches::Chassis),
        fault::cap_touching("W7", Touches::Chassis),
    ] {
        let point = [(
            "X1",
            if matches!(fault, Fault::Short(..)) {
                3
            } else {
                6
            },
            Mating,
        )];
        let mut grounded = rig(&point, std::slice::from_ref(&fault));
        grounded.drive(&[0], &[]);
        assert!(ohms(grounded.read(0, Mode::Plain)) < 0.6);
        // On the bench there is no chassis to touch.
        let bench = hookup(Place::Bench, &point);
        let mut free = Rig::new(&job(), &bench, &[fault], &QUIET);
        free.drive(&[0], &[]);
        assert!(free.read(0, Mode::Plain) > 3.29);
    }
}

#[test]
fn on_the_bench_the_vehicle_is_absent() {
    let points = [("X1", 4, Mating), ("X1", 5, Mating), ("FB", 2, Mating)];
    for (place, grounded) in [(Place::Vehicle, true), (Place::Bench, false)] {
        let mut rig = Rig::new(&job(), &hookup(place, &points), &[], &QUIET);
        for lead in 0..3 {
            rig.drive(&[lead], &[]);
            let volts = rig.read(lead, Mode::Plain);
            assert_eq!(volts < 3.2, grounded, "lead {lead}: {volts} V");
        }
    }
}

#[test]
fn a_coil_diode_conducts_one_way() {
    let points = [("X1", 1, Mating), ("X1", 2, Mating)];
    let mut one = rig(&points, &[]);
    // 86 positive: the diode blocks, the coil's 85 Ω are left.
    let blocked = between(&mut one).expect("joined");
    assert!((blocked - 85.3).abs() < 0.3, "{blocked}");
    // 85 positive: at 2.15 mA 85 Ω drop 0.18 V, less than the diode needs.
    one.drive(&[1], &[0]);
    let small = one.read(1, Mode::Plain) - one.read(0, Mode::Plain);
    assert!((0.15..0.2).contains(&small), "{small}");
    // With the coil's lead open the diode alone is gone too.
    let mut job = job();
    job.diodes.push(crate::plan::model::Diode {
        name: "D5".into(),
        place: None,
    });
    job.leads.push(crate::bench::testing::lead(
        "W11",
        at("X1", 8),
        part("D5", "A"),
    ));
    job.leads.push(crate::bench::testing::lead(
        "W12",
        part("D5", "K"),
        at("X1", 9),
    ));
    let points = hookup(Place::Vehicle, &[("X1", 8, Mating), ("X1", 9, Mating)]);
    let mut alone = Rig::new(&job, &points, &[], &QUIET);
    alone.drive(&[0], &[1]);
    let drop = alone.read(0, Mode::Plain) - alone.read(1, Mode::Plain);
    let current = (3.3 - drop) / 1450.0;
    let expected = 1.9 * 0.025_26 * (current / 4e-9_f64).ln();
    assert!(
        (drop - expected).abs() < 0.002,
        "{drop} V, not {expected} V"
    );
    alone.drive(&[1], &[0]);
    assert!(alone.read(1, Mode::Plain) - alone.read(0, Mode::Plain) > 3.29);
}

#[test]
fn what_does_not_fit_the_plan_is_named() {
    let says = |fault: Fault| -> String {
        let hookup = hookup(Place::Vehicle, &[]);
        match Bench::new(&job(), &hookup, std::slice::from_ref(&fault), &QUIET) {
            Ok(_) => panic!("{fault:?} was taken"),
            Err(error) => error.to_string(),
        }
    };
    assert!(says(fault::open(Joint::At(at("X1", 8)))).contains("lead that ends at X1:8"));
    assert!(says(fault::unseated("X9", 1)).contains("harness terminal X9:1"));
    assert!(says(fault::wrong_cavity("X1", 3, 4)).contains("cavity X1:4 is taken"));
    assert!(says(fault::wrong_cavity("X1", 3, 11)).contains("cavity X1:11"));
    assert!(says(fault::exchanged("X1", 3, 9)).contains("harness terminal X1:9"));
    assert!(says(fault::tap_missed("T2")).contains("tap T2"));
    assert!(says(fault::tap_neighbour("T1", "K3")).contains("conductor K3"));
    assert!(says(fault::tap_neighbour("T1", "K1")).contains("should be on"));
    assert!(says(fault::short("W6", Touches::Lead("W99".into()))).contains("lead W99"));
    assert!(says(fault::short("W6", Touches::Lead("W6".into()))).contains("cannot touch itself"));
    assert!(says(fault::cap_touching("W6", Touches::Chassis)).contains("no capped end"));
    assert!(says(fault::live(part("R1", "87a"), 12.0)).contains("R1:87a"));
    assert!(says(fault::high_resistance(Joint::Along("W6".into()), f64::NAN)).contains("ohms"));
    assert!(
        says(fault::open(Joint::Splice("S1".into(), "W6".into()))).contains("lead W6 in splice S1")
    );
}

#[test]
fn settings_and_hookup_that_do_not_fit() {
    let new = |points: &[(&str, u16, Side)], leads: u8| {
        Bench::new(
            &job(),
            &hookup(Place::Vehicle, points),
            &[],
            &Settings { leads, ..QUIET },
        )
        .err()
    };
    assert_eq!(new(&[], 24), Some(BenchError::Leads(24)));
    assert_eq!(new(&[], 0), Some(BenchError::Leads(0)));
    assert_eq!(new(&[], 144), Some(BenchError::Leads(144)));
    assert_eq!(new(&[], 128), None);
    assert!(new(&[("X1", 11, Mating)], 16).is_some_and(|e| e.to_string().contains("X1:11")));
    let many = [("X1", 1, Wire); 17];
    assert!(new(&many, 16).is_some_and(|e| e.to_string().contains("P17")));
}

#[test]
fn whole_connectors_are_moved() {
    let spelled = |text: &str| [parse(text, &job()).expect("a fault")];
    let joined = |cavity: u16, end: (&'static str, u16), faults: &[Fault]| {
        between(&mut rig(
            &[("X1", cavity, Mating), (end.0, end.1, Mating)],
            faults,
        ))
        .is_some()
    };
    // One row of ten: 3 is mirrored by 8, and with seven leads 8 stays empty by
    // the plan. W6 runs from X1:3 to X2:1, W8 from X1:7 to X2:2.
    for (text, w6, w8) in [
        ("mirrored@X1", 8, 4),
        ("shifted@X1,by=1", 4, 8),
        ("mirrored@X2", 3, 7),
    ] {
        let faults = spelled(text);
        let (first, second) = match text {
            "mirrored@X2" => (("X2", 4), ("X2", 3)),
            _ => (("X2", 1), ("X2", 2)),
        };
        assert!(joined(w6, first, &faults), "{text}");
        assert!(joined(w8, second, &faults), "{text}");
        assert!(!joined(3, ("X2", 1), &faults), "{text}");
    }
    assert!(
        parse("shifted@X1,by=-1", &job()).is_err(),
        "1 would fall off"
    );
}

#[test]
fn an_occupied_cavity_leads_to_chassis_in_the_vehicle() {
    let faults = [parse("occupied@X1:3,ohms=50", &{
        let mut job = job();
        job.connectors[0].of_harness = false;
        job
    })
    .expect("a fault")];
    for (place, grounded) in [(Place::Vehicle, true), (Place::Bench, false)] {
        let points = hookup(place, &[("X2", 1, Mating)]);
        let mut rig = Rig::new(&job(), &points, &faults, &QUIET);
        rig.drive(&[0], &[]);
        let volts = rig.read(0, Mode::Plain);
        assert_eq!((ohms(volts) - 50.0).abs() < 1.0, grounded, "{volts} V");
    }
}

#[test]
fn parts_are_turned_or_not_there() {
    let spelled = |text: &str| [parse(text, &job()).expect("a fault")];
    let coil = [("X1", 1, Mating), ("X1", 2, Mating)];
    assert_eq!(between(&mut rig(&coil, &spelled("missing@R1"))), None);
    let fuse = [("X1", 7, Mating), ("X2", 2, Mating)];
    for text in ["missing@F1", "blown@F1"] {
        assert_eq!(between(&mut rig(&fuse, &spelled(text))), None, "{text}");
    }
    // A coil of 10 kΩ leaves its diode to be seen: 86 positive blocks, and
    // conducts when it is turned.
    let mut weak = job();
    weak.relays[0].coil = Ohms(10_000.0);
    for (faults, conducts) in [(&[][..], false), (&spelled("reversed@R1"), true)] {
        let points = hookup(Place::Vehicle, &coil);
        let mut rig = Rig::new(&weak, &points, faults, &QUIET);
        rig.drive(&[0], &[1]);
        let volts = rig.read(0, Mode::Plain) - rig.read(1, Mode::Plain);
        assert_eq!(volts < 1.0, conducts, "{volts} V");
    }
}

#[test]
fn probe_leads_sit_where_they_were_put() {
    let spelled = |text: &str| [parse(text, &job()).expect("a fault")];
    // Leads 0 to 2 on both ends of W6, and on X1:4.
    let points = [("X1", 3, Mating), ("X2", 1, Mating), ("X1", 4, Mating)];
    let joined = |text: &str, a: u8, b: u8| {
        let mut rig = rig(&points, &spelled(text));
        rig.drive(&[a], &[b]);
        let current = rig.read(b, Mode::Plain) / 725.0;
        current > 1e-3
    };
    assert!(joined("clip-off@X1:4", 0, 1));
    assert!(!joined("clip-off@X1:3", 0, 1));
    let exchanged = "clips-exchanged@X1:3,with=X1:4";
    assert!(!joined(exchanged, 0, 1) && joined(exchanged, 2, 1));
    let beside = "clip-misplaced@X1:4,to=X1:3";
    assert!(joined(beside, 0, 1) && joined(beside, 2, 1) && joined(beside, 0, 2));
    let away = "clip-misplaced@X1:3,to=X1:2";
    assert!(!joined(away, 0, 1));
}

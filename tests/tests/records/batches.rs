//! From a batch to its vehicles and back, in both stores.

use std::collections::{BTreeMap, BTreeSet};

use jiff::Timestamp;
use loomproof::records::batch::{Batch, Runs, Vehicle};
use loomproof::records::record::{Record, Sealed, Subject, Test, taken_text};
use loomproof::records::sqlite::Access;
use loomproof_tests::records::Maker;

use crate::stores::Place;

/// A run of a day, of this unit, vehicle and batch.
fn run(of: &Record, day: i64, names: [Option<&str>; 3], bench: bool) -> Sealed {
    let mut record = of.clone();
    let at = 1_760_000_000 + day * 86_400;
    record.taken = taken_text(Timestamp::from_second(at).unwrap());
    record.run = format!("{day:016x}");
    record.simulated = false;
    record.place = if bench { "bench" } else { "vehicle" }.to_owned();
    let [unit, vehicle, batch] = names.map(|name| name.map(str::to_owned));
    record.subject = Subject {
        who: None,
        vehicle,
        unit,
        batch,
    };
    Sealed::new(record).unwrap()
}

fn numbers(runs: &Runs) -> (i64, i64, i64) {
    (runs.runs, runs.first.number, runs.last.number)
}

/// Numbers of records in the order they are kept: the day plus one.
fn shop() -> Vec<Sealed> {
    let maker = Maker::new();
    let (pass, faults) = (maker.record(1).record, maker.record(7).record);
    // What is followed is the head of a record, not what the test read.
    let other = |test: Test| {
        let mut record = pass.clone();
        (record.test, record.format) = (test, 2);
        record
    };
    let (checked, back) = (other(Test::Live), other(Test::Comeback));
    let b = Some("B-17");
    let mut all = vec![
        // U1: two tries on the bench, into V1, then out of it and into V2.
        run(&faults, 0, [Some("U1"), None, b], true),
        run(&pass, 1, [Some("U1"), None, b], true),
        // The fitter does not name the batch again.
        run(&pass, 2, [Some("U1"), Some("V1"), None], false),
        run(&checked, 3, [Some("U1"), Some("V1"), None], false),
        run(&pass, 4, [Some("U1"), Some("V2"), None], false),
        // U2: never left the bench.
        run(&pass, 5, [Some("U2"), None, b], true),
        // U3: made for V3, which nobody has seen it in.
        run(&pass, 6, [Some("U3"), Some("V3"), b], true),
        // Another U1, of another batch, in a vehicle of its own.
        run(&pass, 7, [Some("U1"), Some("V9"), Some("B-18")], false),
        // Nobody read the number of the unit.
        run(&faults, 8, [None, Some("V4"), b], false),
        // Comebacks: of V1 and V4, of V9 (none of ours), and of V5 (no harness known).
        run(&back, 9, [None, Some("V1"), None], false),
        run(&back, 10, [None, Some("V4"), None], false),
        run(&back, 11, [None, Some("V9"), None], false),
        run(&back, 12, [None, Some("V5"), None], false),
    ];
    // A practice of U2 on the virtual bench is no vehicle of it.
    let mut simulated = run(&pass, 13, [Some("U2"), Some("V7"), b], false).record;
    simulated.simulated = true;
    all.push(Sealed::new(simulated).unwrap());
    // U4: in a vehicle, whichever.
    all.push(run(&pass, 14, [Some("U4"), None, b], false));
    all
}

#[test]
fn from_a_batch_every_vehicle_it_went_into() {
    let all = shop();
    for place in Place::both() {
        place.open(Access::Write).keep_all(&all).unwrap();
        let mut store = place.open(Access::Read);
        assert_eq!(store.batch("B-16", false).unwrap(), None);
        let Batch {
            units,
            vehicles,
            without_unit_vehicles,
            ..
        } = store.batch("B-17", false).unwrap().unwrap();
        let names: Vec<&str> = units.iter().map(|unit| unit.unit.as_str()).collect();
        assert_eq!(names, ["U1", "U2", "U3", "U4"]);
        let [one, two, three, four] = &units[..] else {
            panic!("{units:#?}");
        };
        let bench = one.bench.as_ref().unwrap();
        assert_eq!(numbers(bench), (2, 1, 2));
        assert_eq!(bench.first.verdict, "faults");
        assert!(bench.first.faults.contains("open@"), "{bench:?}");
        assert_eq!(bench.last.verdict, "pass");
        let been: Vec<_> = one
            .vehicles
            .iter()
            .map(|fitted| (fitted.vehicle.as_str(), numbers(&fitted.runs)))
            .collect();
        assert_eq!(been, [("V1", (2, 3, 4)), ("V2", (1, 5, 5))]);
        assert_eq!((one.last.number, one.last.test.as_str()), (5, "ringout"));
        assert_eq!(one.other_batches, ["B-18"]);
        assert_eq!((two.vehicles.len(), two.last.number), (0, 6));
        assert_eq!(numbers(four.unnamed_vehicle.as_ref().unwrap()), (1, 15, 15));
        assert!(four.vehicles.is_empty() && one.unnamed_vehicle.is_none());
        assert!(!three.vehicles[0].in_vehicle && one.vehicles[0].in_vehicle);
        let batch = store.batch("B-17", false).unwrap().unwrap();
        assert_eq!(batch.never_fitted, ["U2", "U3"]);
        assert_eq!((batch.without_unit, batch.not_counted), (1, 1));
        assert_eq!(without_unit_vehicles.len(), 1);
        assert_eq!(without_unit_vehicles[0].vehicle, "V4");
        let back: Vec<_> = vehicles
            .iter()
            .map(|one| {
                let back: Vec<i64> = one.comebacks.iter().map(|seen| seen.number).collect();
                (one.vehicle.as_str(), back)
            })
            .collect();
        let wanted = [
            ("V1", vec![10]),
            ("V2", vec![]),
            ("V3", vec![]),
            ("V4", vec![11]),
        ];
        assert_eq!(back, wanted);
        // The practice alone.
        let batch = store.batch("B-17", true).unwrap().unwrap();
        assert_eq!(batch.not_counted, 6);
        let of: Vec<&str> = batch
            .vehicles
            .iter()
            .map(|one| one.vehicle.as_str())
            .collect();
        assert_eq!(of, ["V7"]);
    }
}

#[test]
fn from_a_vehicle_its_harnesses_and_their_batches() {
    let all = shop();
    for place in Place::both() {
        place.open(Access::Write).keep_all(&all).unwrap();
        let mut store = place.open(Access::Read);
        assert_eq!(store.vehicle("V8", false).unwrap(), None);
        let mut of = |vehicle: &str| -> Vehicle { store.vehicle(vehicle, false).unwrap().unwrap() };
        let one = of("V1");
        let [part] = &one.units[..] else {
            panic!("{one:#?}");
        };
        assert_eq!(part.unit.as_deref(), Some("U1"));
        // Its runs in the vehicle name none: both are told.
        assert_eq!(part.batches, ["B-17", "B-18"]);
        assert_eq!(numbers(part.bench.as_ref().unwrap()), (2, 1, 2));
        assert_eq!(numbers(&part.fitted.runs), (2, 3, 4));
        assert_eq!(part.other_vehicles, ["V2", "V9"]);
        assert_eq!(one.comebacks.len(), 1);
        // Its run names its batch: the other U1 is another harness.
        let nine = of("V9");
        assert_eq!(nine.units[0].batches, ["B-18"]);
        assert_eq!(nine.units[0].bench, None);
        let four = of("V4");
        assert_eq!(four.units[0].unit, None);
        assert_eq!(four.units[0].batches, ["B-17"]);
        let five = of("V5");
        assert_eq!((five.units.len(), five.comebacks.len()), (0, 1));
        assert_eq!(of("V7").not_counted, 1);
    }
}

/// Every batch of many records, against the records gone through one by one.
#[test]
fn every_batch_is_as_its_records_say() {
    let maker = Maker::new();
    let all: Vec<Sealed> = (0..600).map(|n| maker.record(n * 97)).collect();
    let mut wanted: BTreeMap<&str, BTreeMap<&str, BTreeSet<&str>>> = BTreeMap::new();
    for one in &all {
        let subject = &one.record.subject;
        let batch = wanted.entry(subject.batch.as_deref().unwrap()).or_default();
        let unit = batch.entry(subject.unit.as_deref().unwrap()).or_default();
        unit.extend(subject.vehicle.as_deref());
    }
    assert!(wanted.len() > 100);
    for place in Place::both() {
        let mut store = place.open(Access::Write);
        store.keep_all(&all).unwrap();
        for (name, units) in &wanted {
            let batch = store.batch(name, false).unwrap().unwrap();
            let found: BTreeMap<&str, BTreeSet<&str>> = batch
                .units
                .iter()
                .map(|unit| {
                    let been = unit.vehicles.iter().map(|own| own.vehicle.as_str());
                    (unit.unit.as_str(), been.collect())
                })
                .collect();
            assert_eq!(found, *units, "{name}");
            for vehicle in units.values().flatten() {
                let back = store.vehicle(vehicle, false).unwrap().unwrap();
                let part = &back.units[0];
                assert_eq!(part.batches, [*name], "{vehicle}");
                assert!(units[part.unit.as_deref().unwrap()].contains(vehicle));
            }
        }
    }
}

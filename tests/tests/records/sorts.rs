//! Records of every sort of test, in both stores; those of earlier layouts.

use loomproof::records::compare::{comparable, compare};
use loomproof::records::filter::Filter;
use loomproof::records::record::{Record, RecordError, Sealed, Subject, Test};
use loomproof::records::reported::Reported;
use loomproof::records::shop::Counted;
use loomproof::records::sqlite::Access;
use loomproof::records::transfer::{from_json, to_json};
use loomproof_tests::records::{comeback, live, ring_out, wiggle};
use loomproof_tests::skip::top;

use crate::stores::Place;

fn named(mut record: Record) -> Sealed {
    record.subject = Subject {
        vehicle: Some("V1".to_owned()),
        ..Subject::default()
    };
    Sealed::new(record).unwrap()
}

#[test]
fn every_sort_of_test_is_kept_and_told_again() {
    let all = [
        named(ring_out("smallest", &[], 1)),
        named(live(&[], usize::MAX)),
        named(live(&["blown@F1"], 3)),
        named(wiggle("intermittent@X10:2,gap=2ms,every=40ms")),
        named(comeback()),
    ];
    let tests: Vec<Test> = all.iter().map(|one| one.record.test).collect();
    assert_eq!(
        tests,
        [
            Test::Ringout,
            Test::Live,
            Test::Live,
            Test::Wiggle,
            Test::Comeback
        ]
    );
    let [_, whole, part, shaken, back] = &all;
    assert!(!whole.record.broken_off && part.record.broken_off && back.record.broken_off);
    assert_eq!(
        (back.record.probe.as_ref(), back.record.simulated),
        (None, false)
    );
    let places: Vec<&str> = shaken
        .record
        .found
        .iter()
        .map(|it| it.place.as_str())
        .collect();
    assert!(places.contains(&"X10:2"), "{places:?}");
    for place in Place::both() {
        let mut store = place.open(Access::Write);
        store.keep_all(&all).unwrap();
        let checked = store.check().unwrap();
        assert_eq!((checked.records, checked.wrong.as_slice()), (5, &[][..]));
        for (number, sealed) in (1..).zip(&all) {
            let stored = store.get(&format!("{number}")).unwrap();
            assert_eq!(stored.sealed, *sealed);
            let told = stored.sealed.record.reported().unwrap();
            let words = told.render();
            let begins = match (&told, number) {
                (Reported::Ringout(_) | Reported::Live(_), 1 | 2) => "PASS",
                (Reported::Live(_), _) => "",
                (Reported::Wiggle(_), _) => "Wiggle test of",
                (Reported::Comeback(_), _) => "NOT DECIDED yet",
                _ => panic!("{number}"),
            };
            assert!(words.starts_with(begins), "{words}");
            assert_eq!(
                words.contains("Broken off after 3 of"),
                number == 3,
                "{words}"
            );
        }
        let of = |test| Filter {
            test: Some(test),
            ..Filter::default()
        };
        assert_eq!(store.count(&of(Test::Live)).unwrap(), 2);
        let lines = store.list(&of(Test::Comeback), 9).unwrap();
        assert_eq!((lines.len(), lines[0].test.as_str()), (1, "comeback"));
        // The shop counts harnesses that were rung out, and nothing twice.
        let shop = store
            .shop(&Counted {
                simulated: true,
                most: 9,
                title: None,
            })
            .unwrap();
        assert_eq!(shop.plans.len(), 1, "{shop:#?}");
        assert_eq!((shop.plans[0].runs, shop.plans[0].first_pass), (1, 1));
        assert!(shop.faults.is_empty() && shop.not_counted == 0, "{shop:#?}");
        // Only what read the same can be compared.
        let (rung, a, b) = (
            store.get("1").unwrap(),
            store.get("2").unwrap(),
            store.get("3").unwrap(),
        );
        let why = comparable(&rung, &a).unwrap_err();
        assert!(
            why.contains("record 1 is a ring-out and record 2 is a live check"),
            "{why}"
        );
        comparable(&a, &b).unwrap();
        let compared = compare(&a, &b);
        assert!(compared.paths.is_empty());
        assert!(
            compared
                .functions
                .iter()
                .any(|it| it.then == "works" && it.now != "works"),
            "{compared:#?}"
        );
        assert!(
            compared.differs.iter().any(|it| it.contains("broken off")),
            "{compared:#?}"
        );
        // Out and in again, byte for byte.
        let mut out = Vec::new();
        assert!(
            to_json(&mut store, &Filter::default(), &mut out)
                .unwrap()
                .is_empty()
        );
        for other in Place::both() {
            let mut there = other.open(Access::Write);
            assert_eq!(from_json(&mut there, &mut out.as_slice()).unwrap().new, 5);
            assert_eq!(there.check().unwrap().head, checked.head);
        }
    }
}

/// A ring-out's bytes are those that earlier versions read; the other tests' say that
/// they need a newer one.
#[test]
fn layouts_are_those_of_the_tests() {
    let ringout = named(ring_out("smallest", &[], 1));
    assert_eq!(ringout.record.format, 1);
    assert!(!String::from_utf8_lossy(ringout.bytes()).contains("broken_off"));
    let shaken = named(wiggle("intermittent@X10:2,gap=2ms,every=40ms"));
    assert_eq!(shaken.record.format, 2);
    for (sealed, format) in [(&ringout, 2), (&shaken, 1), (&shaken, 3)] {
        let mut record = sealed.record.clone();
        record.format = format;
        let wrong = Sealed::new(record).unwrap();
        let error = Sealed::open(wrong.bytes().to_vec(), wrong.digest).unwrap_err();
        assert_eq!(error, RecordError::Format(format));
    }
}

/// Two ring-outs that were kept before there were records of other tests.
#[test]
fn records_of_the_first_layout_are_read_as_before() {
    let kept = std::fs::read(top().join("fixtures/records/layout-1.json")).unwrap();
    for place in Place::both() {
        let mut store = place.open(Access::Write);
        assert_eq!(from_json(&mut store, &mut kept.as_slice()).unwrap().new, 2);
        store.keep(&named(comeback())).unwrap();
        let checked = store.check().unwrap();
        assert_eq!((checked.records, checked.wrong.as_slice()), (3, &[][..]));
        let (a, b) = (store.get("1").unwrap(), store.get("2").unwrap());
        assert!(a.sealed.record.ringout().is_ok());
        comparable(&a, &b).unwrap();
        let compared = compare(&a, &b);
        assert!(!compared.paths.is_empty() && !compared.new.is_empty());
        let mut out = Vec::new();
        let filter = Filter {
            test: Some(Test::Ringout),
            ..Filter::default()
        };
        to_json(&mut store, &filter, &mut out).unwrap();
        assert_eq!(out, kept, "byte for byte");
    }
}

//! The schemas of what `records --format json` prints and of a record are made
//! from the types, and what is really printed fits them.

use loomproof::commands::records::Shown;
use loomproof::records::compare::compare;
use loomproof::records::filter::Filter;
use loomproof::records::record::{Record, Sealed};
use loomproof::records::shop::Counted;
use loomproof::records::sqlite::Access;
use loomproof::records::transfer::to_json;
use loomproof::records::whereabouts::Whereabouts;
use loomproof_tests::records::ring_out;
use loomproof_tests::schemas::{fits, is_made_of, validator};
use serde_json::{Value, json};

const RECORDS: &str = "schemas/records.schema.json";
const RECORD: &str = "schemas/record.schema.json";

#[test]
fn the_schemas_are_those_of_the_types() {
    is_made_of::<Shown>(RECORDS);
    is_made_of::<Record>(RECORD);
}

#[test]
fn what_is_printed_fits_and_what_is_spoiled_does_not() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("r.sqlite").display().to_string();
    let place = Whereabouts::of(Some(&file)).unwrap();
    let mut store = place.open(Access::Write).unwrap();
    for faults in [&[][..], &["high-resistance@G1,ohms=2"], &["open@W24"]] {
        let mut record = ring_out("bakery-van", faults, 2);
        record.subject.unit = Some("U1".to_owned());
        record.subject.vehicle = Some("V1".to_owned());
        record.subject.batch = Some("B-17".to_owned());
        store.keep(&Sealed::new(record).unwrap()).unwrap();
    }
    let (one, other) = (store.get("1").unwrap(), store.get("2").unwrap());
    let shown = [
        Shown::List {
            place: store.place().to_owned(),
            records: store.count(&Filter::default()).unwrap(),
            lines: store.list(&Filter::default(), 5).unwrap(),
        },
        Shown::record(&one),
        Shown::Compare(Box::new(compare(&one, &other))),
        Shown::Shop(
            store
                .shop(&Counted {
                    simulated: true,
                    most: 5,
                    title: None,
                })
                .unwrap(),
        ),
        Shown::Batch(store.batch("B-17", true).unwrap().unwrap()),
        Shown::Vehicle(store.vehicle("V1", true).unwrap().unwrap()),
        Shown::Check {
            place: store.place().to_owned(),
            checked: store.check().unwrap(),
            head_found: Some(true),
        },
    ];
    let schema = validator(RECORDS);
    let mut seen = Vec::new();
    for shown in shown {
        let mut value = serde_json::to_value(&shown).unwrap();
        fits(&schema, &value);
        seen.push(value["shows"].as_str().unwrap().to_owned());
        value["shows"] = json!("nothing");
        assert!(!schema.is_valid(&value), "{:?}", seen.last());
    }
    assert_eq!(
        seen,
        [
            "list", "record", "compare", "shop", "batch", "vehicle", "check"
        ]
    );
    // Every record of an export.
    let mut out = Vec::new();
    to_json(&mut store, &Filter::default(), &mut out).unwrap();
    let export: Value = serde_json::from_slice(&out).unwrap();
    let schema = validator(RECORD);
    let records = export["records"].as_array().unwrap();
    assert_eq!(records.len(), 3);
    for item in records {
        fits(&schema, &item["record"]);
        for (key, bad) in [
            ("verdict", json!("good")),
            ("format", json!("1")),
            ("paths", json!([{"from": "X1:1"}])),
            ("simulated", json!(0)),
        ] {
            let mut spoiled = item["record"].clone();
            spoiled[key] = bad;
            assert!(!schema.is_valid(&spoiled), "{key}");
        }
    }
}

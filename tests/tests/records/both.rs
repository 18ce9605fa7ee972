//! What every store does.

use std::collections::{BTreeMap, BTreeSet};

use loomproof::records::database::StoreError;
use loomproof::records::filter::Filter;
use loomproof::records::record::Sealed;
use loomproof::records::shop::Counted;
use loomproof::records::sqlite::Access;
use loomproof::records::transfer::{Imported, Table, TransferError, from_json, to_csv, to_json};
use loomproof::ringout::report::Verdict;
use loomproof_tests::records::{Maker, ring_out};
use std::process::{Command, Stdio};

use crate::stores::Place;

/// Whether a record is one that a filter finds.
type Fits = dyn Fn(&Sealed) -> bool;

fn some(numbers: std::ops::Range<u32>) -> Vec<Sealed> {
    let maker = Maker::new();
    numbers.map(|number| maker.record(number)).collect()
}

#[test]
fn what_was_kept_is_found_again_and_nothing_twice() {
    let all = some(0..30);
    for place in Place::both() {
        let mut store = place.open(Access::Write);
        for (at, sealed) in all.iter().enumerate() {
            let kept = store.keep(sealed).unwrap();
            assert_eq!(kept.number, at as i64 + 1);
            assert!(!kept.already);
        }
        let again = store.keep(&all[4]).unwrap();
        assert_eq!((again.number, again.already), (5, true));
        let mut store = place.open(Access::Read);
        assert_eq!(store.count(&Filter::default()).unwrap(), 30);
        let lines = store.list(&Filter::default(), 7).unwrap();
        let numbers: Vec<i64> = lines.iter().map(|line| line.number).collect();
        assert_eq!(numbers, [30, 29, 28, 27, 26, 25, 24], "the latest first");
        for which in [
            "5".to_owned(),
            all[4].digest.short(),
            all[4].digest.to_string(),
        ] {
            let found = store.get(&which).unwrap();
            assert_eq!(found.sealed, all[4], "{which}");
        }
        for which in ["31", "0", "ffffffffffff", "no"] {
            let error = store.get(which).unwrap_err();
            assert!(matches!(error, StoreError::NoSuch(_)), "{which}: {error}");
        }
        let checked = store.check().unwrap();
        assert_eq!((checked.records, checked.wrong.as_slice()), (30, &[][..]));
    }
}

#[test]
fn filters_let_through_what_they_say() {
    let all = some(0..60);
    for place in Place::both() {
        let mut store = place.open(Access::Write);
        store.keep_all(&all).unwrap();
        let text = |text: &str| Some(text.to_owned());
        let middle = all[30].record.at().unwrap();
        let filters: Vec<(Filter, Box<Fits>)> = vec![
            (
                Filter {
                    title: text("Plan 2"),
                    ..Filter::default()
                },
                Box::new(|one| one.record.title == "Plan 2"),
            ),
            (
                Filter {
                    who: text("Bo"),
                    verdict: Some(Verdict::Faults),
                    ..Filter::default()
                },
                Box::new(|one| {
                    one.record.subject.who.as_deref() == Some("Bo")
                        && one.record.verdict == Verdict::Faults
                }),
            ),
            (
                Filter {
                    since: Some(middle),
                    ..Filter::default()
                },
                Box::new(move |one| one.record.at().unwrap() >= middle),
            ),
            (
                Filter {
                    until: Some(middle),
                    vehicle: text("V8"),
                    ..Filter::default()
                },
                Box::new(move |one| {
                    one.record.at().unwrap() < middle
                        && one.record.subject.vehicle.as_deref() == Some("V8")
                }),
            ),
            (
                Filter {
                    unit: text("U3' OR 1=1 --"),
                    ..Filter::default()
                },
                Box::new(|_| false),
            ),
        ];
        for (filter, wanted) in filters {
            let wanted: BTreeSet<String> = all
                .iter()
                .filter(|one| wanted(one))
                .map(|one| one.digest.to_string())
                .collect();
            let lines = store.list(&filter, 1000).unwrap();
            let found: BTreeSet<String> = lines.into_iter().map(|line| line.digest).collect();
            assert_eq!(found, wanted, "{filter:?}");
            assert_eq!(store.count(&filter).unwrap(), wanted.len() as i64);
        }
    }
}

/// The shop's numbers, counted anew from the records one by one.
#[test]
fn the_shop_counts_right_in_whatever_order_records_come() {
    let maker = Maker::new();
    let mut all: Vec<Sealed> = (0..200).map(|n| maker.record(n * 1009)).collect();
    // Several runs of a harness, out of order.
    all.extend((0..40).map(|n| maker.record(n * 1009 + 30_000)));
    all.reverse();
    let mut first: BTreeMap<(String, String), &Sealed> = BTreeMap::new();
    let mut faults: BTreeMap<(String, String), i64> = BTreeMap::new();
    for one in &all {
        let unit = one.record.subject.unit.clone().unwrap();
        let earliest = first.entry((one.record.title.clone(), unit)).or_insert(one);
        if one.record.taken < earliest.record.taken {
            *earliest = one;
        }
        for found in &one.record.found {
            let key = (one.record.title.clone(), found.place.clone());
            *faults.entry(key).or_default() += i64::from(found.permille);
        }
    }
    for place in Place::both() {
        let mut store = place.open(Access::Write);
        store.keep_all(&all).unwrap();
        let shop = store
            .shop(&Counted {
                most: 1000,
                ..Counted::default()
            })
            .unwrap();
        assert_eq!(shop.plans.len(), 5);
        for plan in &shop.plans {
            let of = first.iter().filter(|((title, _), _)| *title == plan.title);
            let passed = of
                .clone()
                .filter(|(_, one)| one.record.verdict == Verdict::Pass);
            assert_eq!(plan.subjects, of.count() as i64, "{}", plan.title);
            assert_eq!(plan.first_pass, passed.count() as i64, "{}", plan.title);
            assert_eq!(plan.unnamed, 0);
        }
        let counted: BTreeMap<(String, String), i64> = shop
            .faults
            .iter()
            .map(|fault| ((fault.title.clone(), fault.place.clone()), fault.permille))
            .collect();
        assert_eq!(counted, faults);
        // 30000 hours and half an ohm lie between the two runs of a harness.
        assert!(!shop.drift.is_empty());
        for drift in &shop.drift {
            let rise = drift.last_uohm.0 - drift.first_uohm.0;
            assert_eq!(rise % 500_000, 0, "{drift:?}");
            let months = 30_000.0 / (24.0 * 30.0) * (rise / 500_000) as f64;
            let wanted = (rise as f64 / months).round() as i64;
            assert!(
                (drift.per_month_uohm.unwrap().0 - wanted).abs() <= 1,
                "{drift:?}"
            );
        }
        let none = store
            .shop(&Counted {
                simulated: true,
                most: 10,
                title: None,
            })
            .unwrap();
        assert!(none.plans.is_empty() && none.faults.is_empty() && none.drift.is_empty());
        assert_eq!(none.not_counted, all.len() as i64);
    }
}

#[test]
fn an_export_taken_in_elsewhere_is_the_same_and_nothing_twice() {
    let all = some(0..25);
    for (from, to) in Place::both()
        .into_iter()
        .zip(Place::both().into_iter().rev())
    {
        let mut store = from.open(Access::Write);
        store.keep_all(&all).unwrap();
        let mut file = Vec::new();
        assert!(
            to_json(&mut store, &Filter::default(), &mut file)
                .unwrap()
                .is_empty()
        );
        let mut other = to.open(Access::Write);
        other.keep(&all[3]).unwrap();
        let imported = from_json(&mut other, &mut file.as_slice()).unwrap();
        assert_eq!(
            imported,
            Imported {
                new: 24,
                already: 1
            }
        );
        let imported = from_json(&mut other, &mut file.as_slice()).unwrap();
        assert_eq!(
            imported,
            Imported {
                new: 0,
                already: 25
            }
        );
        for sealed in &all {
            let found = other.get(&sealed.digest.to_string()).unwrap();
            assert_eq!(found.sealed, *sealed);
        }
        assert_eq!(other.check().unwrap().wrong, []);
        // A byte that was altered on the way is told, and nothing is taken in.
        let third = Place::file();
        let mut third = third.open(Access::Write);
        let text = String::from_utf8(file).unwrap();
        let spoiled = text.replacen("\"who\":\"Bo\"", "\"who\":\"Bp\"", 1);
        assert_ne!(text, spoiled);
        let error = from_json(&mut third, &mut spoiled.as_bytes()).unwrap_err();
        assert!(
            matches!(error, TransferError::Record { at: 2, .. }),
            "{error}"
        );
        for not in ["", "{}", "[1]", "{\"loomproof_records\":2,\"records\":[]}"] {
            let error = from_json(&mut third, &mut not.as_bytes()).unwrap_err();
            assert!(matches!(error, TransferError::NotAnExport(_)), "{error}");
        }
        assert_eq!(third.count(&Filter::default()).unwrap(), 0);
    }
}

#[test]
fn a_table_holds_every_run_and_no_formula() {
    let maker = Maker::new();
    let mut record = maker.record(1).record;
    record.title = "=HYPERLINK(\"http://x\")".to_owned();
    record.subject.who = Some("@Ann, \"the\" fitter".to_owned());
    let odd = Sealed::new(record).unwrap();
    for place in Place::both() {
        let mut store = place.open(Access::Write);
        store.keep_all(&[odd.clone(), maker.record(7)]).unwrap();
        for (table, wanted) in [
            (Table::Runs, 2),
            (
                Table::Paths,
                odd.record.paths.len() + maker.record(7).record.paths.len(),
            ),
        ] {
            let mut out = Vec::new();
            to_csv(&mut store, &Filter::default(), table, &mut out).unwrap();
            let mut reader = csv::Reader::from_reader(out.as_slice());
            let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
            assert_eq!(rows.len(), wanted);
            assert_eq!(&rows[0][3], "'=HYPERLINK(\"http://x\")");
            assert_eq!(&rows[0][5], "'@Ann, \"the\" fitter");
            for cell in rows.iter().flat_map(|row| row.iter()) {
                assert!(!cell.starts_with(['=', '+', '@', '\t']), "{cell}");
            }
        }
    }
}

/// A writer in a process of its own: keeps records until it is done or killed,
/// and says each number when it is on the disk. Not a test of its own.
#[test]
#[ignore = "started by the other tests"]
fn writer() {
    use std::io::Write as _;
    let Ok(address) = std::env::var("RECORDS_ADDRESS") else {
        return;
    };
    let from: u32 = std::env::var("RECORDS_FROM").unwrap().parse().unwrap();
    let count: u32 = std::env::var("RECORDS_COUNT").unwrap().parse().unwrap();
    let record = Maker::new();
    let place = loomproof::records::whereabouts::Whereabouts::of(Some(&address)).unwrap();
    let mut store = place.open(Access::Write).unwrap();
    // Past the test harness's capture.
    let mut out = std::io::stderr();
    for number in from..from + count {
        let sealed = record.record(number);
        store.keep(&sealed).unwrap();
        // In one piece, so that a kill leaves no half of it.
        let line = format!("kept {}\n", sealed.digest);
        out.write_all(line.as_bytes()).unwrap();
    }
}

/// Starts the writer.
pub fn writer_command(address: &str, from: u32, count: u32) -> Command {
    let mut command = Command::new(std::env::current_exe().unwrap());
    command
        .args([
            "--exact",
            "both::writer",
            "--ignored",
            "--nocapture",
            "--test-threads=1",
        ])
        .env("RECORDS_ADDRESS", address)
        .env("RECORDS_FROM", from.to_string())
        .env("RECORDS_COUNT", count.to_string())
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::piped());
    command
}

#[test]
fn four_writers_at_once_lose_nothing() {
    for place in Place::both() {
        let children: Vec<_> = (0..4)
            .map(|at| {
                writer_command(&place.address, at * 1000, 40)
                    .spawn()
                    .unwrap()
            })
            .collect();
        let mut said = BTreeSet::new();
        for child in children {
            let output = child.wait_with_output().unwrap();
            assert!(output.status.success());
            let text = String::from_utf8(output.stderr).unwrap();
            said.extend(
                text.lines()
                    .filter_map(|line| line.strip_prefix("kept "))
                    .map(str::to_owned),
            );
        }
        assert_eq!(said.len(), 160);
        let mut store = place.open(Access::Read);
        let lines = store.list(&Filter::default(), 1000).unwrap();
        let found: BTreeSet<String> = lines.into_iter().map(|line| line.digest).collect();
        assert_eq!(found, said);
        assert_eq!(store.check().unwrap().wrong, []);
    }
}

#[test]
fn drift_points_to_the_joint_that_was_spoiled() {
    let then = ring_out("bakery-van", &[], 3);
    let now = ring_out(
        "bakery-van",
        &[
            "high-resistance@G1,ohms=1.2",
            "high-resistance@S3,lead=W18,ohms=0.9",
        ],
        3,
    );
    let again = ring_out("bakery-van", &[], 4);
    let (then, now, again) = (
        Sealed::new(then).unwrap(),
        Sealed::new(now).unwrap(),
        Sealed::new(again).unwrap(),
    );
    for place in Place::both() {
        let mut store = place.open(Access::Write);
        store
            .keep_all(&[then.clone(), now.clone(), again.clone()])
            .unwrap();
        let (a, b, c) = (
            store.get("1").unwrap(),
            store.get("2").unwrap(),
            store.get("3").unwrap(),
        );
        let compared = loomproof::records::compare::compare(&b, &a);
        assert_eq!(
            (compared.earlier.number, compared.later.number),
            (1, 2),
            "by time"
        );
        let mut joints: Vec<(bool, bool, f64)> = compared
            .suggests
            .iter()
            .map(|one| {
                let names = |what: &str| one.joints.iter().any(|joint| joint == what);
                (
                    names("G1"),
                    names("S3,lead=W18"),
                    one.rise_uohm.unwrap().0 as f64 / 1e6,
                )
            })
            .collect();
        joints.sort_by(|a, b| a.2.total_cmp(&b.2));
        let [(false, true, splice), (true, false, ground)] = joints[..] else {
            panic!("{:#?}", compared.suggests);
        };
        assert!((splice - 0.9).abs() < 0.15, "{splice}");
        assert!((ground - 1.2).abs() < 0.15, "{ground}");
        assert_eq!(compared.unexplained, Vec::<String>::new());
        // Other clips, other noise: nothing drifted.
        let compared = loomproof::records::compare::compare(&a, &c);
        assert!(
            compared.paths.iter().all(|path| path.change == "same"),
            "{compared:#?}"
        );
        assert_eq!(compared.suggests, []);
    }
}

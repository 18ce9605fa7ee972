//! A record that was altered by one byte is told.

use loomproof::records::database::StoreError;
use loomproof::records::filter::Filter;
use loomproof::records::record::{Digest, Sealed};
use loomproof::records::sqlite::Access;
use loomproof_tests::records::Maker;

use crate::stores::Place;

fn filled(place: &Place, count: u32) -> Vec<Sealed> {
    let maker = Maker::new();
    let all: Vec<Sealed> = (0..count).map(|number| maker.record(number)).collect();
    place.open(Access::Write).keep_all(&all).unwrap();
    all
}

/// The numbers that a check finds wrong.
fn wrong(place: &Place) -> Vec<i64> {
    let checked = place.open(Access::Read).check().unwrap();
    checked.wrong.iter().map(|wrong| wrong.number).collect()
}

#[test]
fn every_byte_of_a_record_counts() {
    for place in Place::both() {
        filled(&place, 5);
        let body = place.body(3);
        let step = if place.address.starts_with("postgres") {
            97
        } else {
            13
        };
        for at in (0..body.len()).step_by(step).chain([body.len() - 1]) {
            let mut spoiled = body.clone();
            spoiled[at] ^= 1 << (at % 8);
            place.set_body(3, &spoiled);
            assert!(wrong(&place).contains(&3), "byte {at} of {}", body.len());
            let error = place.open(Access::Read).get("3").unwrap_err();
            assert!(
                matches!(error, StoreError::Record { number: 3, .. }),
                "{error}"
            );
        }
        for longer in [
            [body.clone(), vec![0]].concat(),
            body[..body.len() - 1].to_vec(),
        ] {
            place.set_body(3, &longer);
            assert!(wrong(&place).contains(&3));
        }
        place.set_body(3, &body);
        assert_eq!(wrong(&place), Vec::<i64>::new());
    }
}

#[test]
fn the_list_and_the_chain_count_too() {
    for place in Place::both() {
        filled(&place, 6);
        for (column, other) in [
            ("title", "'Plan 9'"),
            ("unit", "'U9'"),
            ("vehicle", "NULL"),
            ("batch", "'b'"),
            ("who", "'Anna'"),
            ("verdict", "'refused'"),
            ("faults", "'open@X9:1'"),
            ("plan_digest", "'0'"),
            ("place", "'bench'"),
            ("test", "'live'"),
            ("simulated", "1"),
            ("taken_ms", "taken_ms + 1"),
            ("link", "digest"),
            ("digest", "link"),
        ] {
            // Record 3 is the third of 0, 1, 2: a pass with a vehicle.
            let keep =
                format!("CREATE TABLE kept AS SELECT {column} AS it FROM record WHERE seq = 3");
            place.alter(&keep);
            place.alter(&format!(
                "UPDATE record SET {column} = {other} WHERE seq = 3"
            ));
            let found = wrong(&place);
            assert!(found.contains(&3), "{column}: {found:?}");
            place.alter(&format!(
                "UPDATE record SET {column} = (SELECT it FROM kept) WHERE seq = 3; DROP TABLE kept"
            ));
            assert_eq!(wrong(&place), Vec::<i64>::new(), "{column}");
        }
        let head = Digest::parse(&place.open(Access::Read).check().unwrap().head).unwrap();
        assert!(place.open(Access::Read).passes(head).unwrap());
        // The last one taken out: only the head tells.
        place.alter("DELETE FROM record WHERE seq = 6");
        assert_eq!(wrong(&place), Vec::<i64>::new());
        assert!(!place.open(Access::Read).passes(head).unwrap());
        // One from between.
        place.alter("DELETE FROM record WHERE seq = 3");
        assert!(wrong(&place).contains(&4));
        // With the numbers closed up again: the chain tells.
        place.alter("UPDATE record SET seq = seq - 1 WHERE seq = 4");
        place.alter("UPDATE record SET seq = seq - 1 WHERE seq = 5");
        assert!(wrong(&place).contains(&3));
    }
}

/// Any byte of the whole file: it is told, or nothing that was kept changed.
#[test]
fn no_byte_of_the_file_changes_a_record_silently() {
    let place = Place::file();
    let all = filled(&place, 12);
    let path = std::path::Path::new(&place.address);
    let whole = std::fs::read(path).unwrap();
    let mut told = 0;
    let mut tried = 0;
    for at in (0..whole.len()).step_by(211) {
        let mut spoiled = whole.clone();
        spoiled[at] ^= 0x10;
        std::fs::write(path, &spoiled).unwrap();
        tried += 1;
        let found = loomproof::records::whereabouts::Whereabouts::of(Some(&place.address))
            .unwrap()
            .open(Access::Read)
            .and_then(|mut store| {
                let checked = store.check()?;
                let mut kept = Vec::new();
                store.walk::<StoreError>(&Filter::default(), &mut |_, stored| {
                    kept.extend(stored.map(|stored| stored.sealed));
                    Ok(())
                })?;
                Ok((checked, kept))
            });
        match found {
            Err(_) => told += 1,
            Ok((checked, _)) if !checked.wrong.is_empty() => told += 1,
            Ok((_, kept)) => assert_eq!(kept, all, "byte {at}"),
        }
    }
    // The others lie in indexes, counts, and room that is not used.
    println!("{told} of {tried} altered bytes told, the others bear on no record");
    assert!(told > 40, "{told} of {tried}");
}

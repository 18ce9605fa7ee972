//! Plots of the records: what they draw is what the records say, in both stores.

use std::collections::BTreeMap;

use jiff::civil::date;
use jiff::tz::TimeZone;
use loomproof::records::course::CourseError;
use loomproof::records::filter::Filter;
use loomproof::records::plot;
use loomproof::records::record::Sealed;
use loomproof::records::sqlite::Access;
use loomproof::ringout::report::Verdict;
use loomproof_tests::records::Maker;

use crate::stores::Place;

fn of_unit(unit: &str) -> Filter {
    Filter {
        unit: Some(unit.to_owned()),
        ..Filter::default()
    }
}

/// How often a piece of text is there.
fn count(text: &str, piece: &str) -> usize {
    text.matches(piece).count()
}

/// Begin and end of every element fit; nothing is taken from elsewhere.
fn is_whole(picture: &str) {
    let mut open = Vec::new();
    for piece in picture.split('<').skip(1) {
        let (tag, _) = piece.split_once('>').expect("a tag");
        match tag.strip_prefix('/') {
            Some(name) => assert_eq!(open.pop(), Some(name), "{picture}"),
            None => open.push(tag.split_whitespace().next().unwrap()),
        }
    }
    assert!(open.is_empty(), "{open:?}");
    for elsewhere in ["href", "url(", "<script", "<style", "<image"] {
        assert!(!picture.contains(elsewhere), "{elsewhere}");
    }
    assert!(picture.contains("<title id=\"plot-title\">"));
    assert!(picture.contains("<desc id=\"plot-words\">"));
}

#[test]
fn a_harness_over_time_is_drawn_path_by_path() {
    let maker = Maker::new();
    // Four runs of one harness, the second of them with faults (Maker: every seventh).
    let all: Vec<Sealed> = [9, 30_009, 60_009, 90_009]
        .into_iter()
        .map(|n| maker.record(n))
        .collect();
    let passed = all
        .iter()
        .filter(|one| one.record.verdict == Verdict::Pass)
        .count();
    assert_eq!(passed, 3);
    let paths = all[0].record.paths.len();
    for place in Place::both() {
        let mut store = place.open(Access::Write);
        store.keep_all(&all).unwrap();
        store.keep(&maker.record(10)).unwrap();
        let course = store.course(&of_unit("U9"), false).unwrap();
        assert_eq!((course.runs.len(), course.other_plan), (4, 0));
        let first = &course.tracks[0];
        assert_eq!(first.path, all[0].record.paths[0].name(), "it creeps");
        let ends = |one: &Sealed| one.record.paths[0].ohms.unwrap();
        let last = all.iter().rfind(|one| one.record.verdict == Verdict::Pass);
        assert_eq!(first.ends(), Some((ends(&all[0]), ends(last.unwrap()))));
        assert!(first.rise() > first.telling, "{first:?}");
        let picture = plot::drift(&course, "unit <U9> & more", &TimeZone::UTC);
        is_whole(&picture);
        assert_eq!(count(&picture, "<polyline"), course.tracks.len());
        assert_eq!(course.tracks.len() + course.unread.len(), paths);
        assert_eq!(count(&picture, "<circle"), passed * paths);
        // A square or a cross for what the run with faults read of these paths.
        let read = all[1].record.paths.iter();
        let read = read.filter(|path| course.tracks.iter().any(|own| own.path == path.name()));
        let drawn = count(&picture, "width=\"8\"") + count(&picture, "l8 8m0");
        assert_eq!((drawn, drawn > 0), (read.count(), true));
        assert_eq!(count(&picture, "▲ rose"), 1);
        assert!(picture.contains("unit &lt;U9&gt; &amp; more"), "{picture}");
        let name = &first.path;
        assert!(picture.contains(&format!("{name}: ")), "in words");
        // Of whom nothing is kept, and which of two plans.
        let error = store.course(&of_unit("U7"), false).unwrap_err();
        assert!(matches!(error, CourseError::Nothing), "{error}");
        let error = store.course(&of_unit("U9"), true).unwrap_err();
        assert!(matches!(error, CourseError::Nothing), "{error}");
        let mut other = maker.record(9).record;
        other.title = "Plan B".to_owned();
        other.run = "b".to_owned();
        store.keep(&Sealed::new(other).unwrap()).unwrap();
        let error = store.course(&of_unit("U9"), false).unwrap_err();
        assert!(error.to_string().contains("Plan 4; Plan B"), "{error}");
        let filter = Filter {
            title: Some("Plan B".to_owned()),
            ..of_unit("U9")
        };
        assert_eq!(store.course(&filter, false).unwrap().runs.len(), 1);
    }
}

#[test]
fn months_and_kinds_are_counted_from_every_record() {
    let maker = Maker::new();
    let mut all: Vec<Sealed> = (0..300).map(|n| maker.record(n * 31)).collect();
    all.extend((0..30).map(|n| maker.record(n * 31 + 30_000)));
    let zone = TimeZone::fixed(jiff::tz::offset(5));
    let mut firsts: BTreeMap<&str, &Sealed> = BTreeMap::new();
    for one in &all {
        let unit = one.record.subject.unit.as_deref().unwrap();
        let first = firsts.entry(unit).or_insert(one);
        if one.record.taken < first.record.taken {
            *first = one;
        }
    }
    let mut wanted: BTreeMap<(i16, i8), (i64, i64)> = BTreeMap::new();
    for one in firsts.values() {
        let at = one.record.at().unwrap().to_zoned_datetime(zone.clone());
        let own = wanted.entry((at.year(), at.month())).or_default();
        own.0 += 1;
        own.1 += i64::from(one.record.verdict == Verdict::Pass);
    }
    let faults: i64 = all
        .iter()
        .flat_map(|one| &one.record.found)
        .map(|found| i64::from(found.permille))
        .sum();
    for place in Place::both() {
        let mut store = place.open(Access::Write);
        store.keep_all(&all).unwrap();
        let months = store.months(None, false, &zone).unwrap();
        let found: BTreeMap<(i16, i8), (i64, i64)> = months
            .iter()
            .map(|own| ((own.year, own.month), (own.subjects, own.passed)))
            .collect();
        assert_eq!(found, wanted);
        assert!(found.len() > 5, "{found:?}");
        let picture = plot::monthly(&months, "all plans");
        is_whole(&picture);
        for own in &months {
            let day = date(own.year, own.month, 1).strftime("%Y-%m").to_string();
            let say = format!("{day}: {} of {} right", own.passed, own.subjects);
            assert!(picture.contains(&say), "{say}");
        }
        let kinds = store.kinds(None, false).unwrap();
        assert_eq!(kinds.iter().map(|own| own.permille).sum::<i64>(), faults);
        let picture = plot::faults(&kinds, "all plans");
        is_whole(&picture);
        assert_eq!(count(&picture, "<rect"), 1 + kinds.len());
        // One plan has a part of it, and simulated harnesses none.
        let part = store.months(Some("Plan 2"), false, &zone).unwrap();
        let sum = |months: &[loomproof::records::course::Month]| -> i64 {
            months.iter().map(|own| own.subjects).sum()
        };
        assert!(sum(&part) > 0 && sum(&part) < sum(&months));
        assert!(store.months(None, true, &zone).unwrap().is_empty());
        let none = plot::faults(&store.kinds(None, true).unwrap(), "none");
        is_whole(&none);
        assert!(none.contains("No fault is kept."));
    }
}

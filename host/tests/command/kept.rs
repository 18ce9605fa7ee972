//! `live`, `wiggle` and `comeback` keep their runs as `ringout` does, and a comeback
//! goes by the record from the day of fitting.

use serde_json::Value;

use crate::recorded::Bench;

const VAN: &str = "fixtures/plans/bakery-van.toml";
const FEW: [&str; 4] = ["--at", "FB", "--at", "X1"];

fn verb<'a>(verb: &'a str, more: &[&'a str]) -> Vec<&'a str> {
    [&[verb, VAN, "--defaults", "--probe", "virtual"], more].concat()
}

#[test]
fn each_is_kept_as_it_was_printed_and_told_again() {
    let bench = Bench::new();
    let who = ["--who", "Ann", "--vehicle", "V1", "--format", "json"];
    let fault = ["--fault", "intermittent@X1:3,gap=2ms,every=50ms"];
    let runs = [
        verb("live", &FEW),
        verb("wiggle", &[&fault[..], &["--for", "0.5"]].concat()),
        verb("comeback", &["--fault", "blown@F1"]),
    ];
    let printed: Vec<Value> = (1..)
        .zip(&runs)
        .map(|(number, args)| {
            let run = bench.run(&[&args[..], &who].concat());
            run.speaks(&[&format!("Kept as record {number} (")]);
            run.json()
        })
        .collect();
    let lines = bench.json(&["records", "list"]);
    assert_eq!(lines["records"], 3);
    for ((number, test), printed) in (1..).zip(["live", "wiggle", "comeback"]).zip(&printed) {
        let which = format!("{number}");
        let shown = bench.json(&["records", "show", &which]);
        let record = &shown["record"];
        assert_eq!(record["report"], *printed, "{test}");
        assert_eq!(
            (&record["test"], &record["verdict"]),
            (&test.into(), &printed["verdict"])
        );
        assert_eq!(
            (&record["subject"]["who"], &record["simulated"]),
            (&"Ann".into(), &true.into())
        );
        let only = bench.json(&["records", "list", "--test", test]);
        assert_eq!(
            (&only["records"], &only["lines"][0]["number"]),
            (&1.into(), &number.into())
        );
        // In the words of the verb, below the record's own.
        let text = bench.run(&["records", "show", &which]);
        assert_eq!(text.status, 0, "{text:#?}");
        let title = printed["title"].as_str().unwrap();
        for words in [title, "The record is as it was kept.", "Vehicle: V1"] {
            assert!(text.out.contains(words), "{words}: {}", text.out);
        }
        bench
            .run(&["sheet", VAN, "--record", &which])
            .fails(2, &["a sheet is made of a ring-out"]);
    }
    let found = &bench.json(&["records", "show", "2"])["record"]["found"];
    let places: Vec<&str> = found
        .as_array()
        .unwrap()
        .iter()
        .filter_map(|it| it["place"].as_str())
        .collect();
    assert!(places.contains(&"X1:3"), "{found}");
    // The chain holds, and everything goes out and in again.
    assert_eq!(bench.run(&["records", "check"]).status, 0);
    let (file, there) = (bench.file("all.json"), Bench::new());
    bench.run(&["records", "export", "--format", "json", "--to", &file]);
    assert!(
        there
            .run(&["records", "import", &file])
            .out
            .contains("3 records taken in")
    );
    let table = there.run(&["records", "export", "--format", "csv"]).out;
    for test in ["live", "wiggle", "comeback"] {
        assert!(table.contains(&format!(",{test},")), "{table}");
    }
    // What reads different things is not compared.
    bench.run(&["records", "compare", "1", "2"]).fails(
        2,
        &["a live check", "a wiggle test", "only two of the same test"],
    );
}

/// Two live checks: what worked then and does not now.
#[test]
fn two_live_checks_are_put_beside_each_other() {
    let bench = Bench::new();
    bench.run(&verb("live", &[]));
    bench.run(&verb("live", &["--fault", "blown@F1"]));
    let text = bench.run(&["records", "compare", "1", "2"]);
    assert_eq!(text.status, 0, "{text:#?}");
    assert!(
        text.out.contains("chiller: works then, fails now"),
        "{}",
        text.out
    );
    assert!(!text.out.contains("paths changed"), "{}", text.out);
}

#[test]
fn what_is_not_wanted_or_cannot_be_kept_is_not() {
    let bench = Bench::new();
    for args in [
        verb("live", &FEW),
        verb("wiggle", &["--for", "0.1"]),
        verb("comeback", &[]),
    ] {
        let silent = bench.run(&[&args[..], &["--store", "none"]].concat());
        assert!(!silent.err.contains("Kept"), "{silent:#?}");
        bench
            .run(&[&args[..], &["--store", "/dev/null/r.sqlite"]].concat())
            .fails(2, &["/dev/null/r.sqlite"]);
        bench
            .run(&[&args[..], &["--unit", "a\nb"]].concat())
            .fails(2, &["--unit", "line break"]);
    }
    bench
        .run(&["records", "list"])
        .fails(2, &["there are no records yet"]);
}

/// A passed ring-out in the vehicle makes what only happens while fitting unlikely, and
/// nobody's but somebody else's work.
#[test]
fn a_comeback_goes_by_the_record_from_the_day_of_fitting() {
    let bench = Bench::new();
    bench
        .run(&["ringout", VAN, "--defaults"])
        .speaks(&["Kept as record 1"]);
    bench.run(&["ringout", VAN, "--defaults", "--where", "bench"]);
    bench.run(&["ringout", VAN, "--defaults", "--fault", "blown@F1"]);
    bench.run(&verb("live", &FEW));
    let hidden = [
        "--fault",
        "wrong-cavity@X1:3,to=X1:4",
        "--format",
        "json",
        "--store",
    ];
    let store = bench.file("r.sqlite");
    let back =
        |more: &[&str]| bench.run(&verb("comeback", &[&hidden[..], &[&store], more].concat()));
    // Of what only happens while fitting.
    let whose = |report: &Value| -> Vec<String> {
        let fitting = [
            "wrong-cavity",
            "exchanged",
            "mirrored",
            "shifted",
            "missing",
        ];
        let groups = report["groups"].as_array().unwrap().iter();
        let sets = groups.flat_map(|group| group["sets"].as_array().unwrap());
        let all = sets.flat_map(|set| set.as_array().unwrap());
        let own = all.filter(|one| fitting.contains(&one["kind"].as_str().unwrap()));
        own.map(|one| one["whose"].as_str().unwrap().to_owned())
            .collect()
    };
    let without = back(&[]);
    assert!(
        whose(&without.json()).contains(&"ours".to_owned()),
        "{without:#?}"
    );
    let with = back(&["--record", "1"]);
    with.speaks(&["it passed"]);
    let own = whose(&with.json());
    assert!(
        own.iter().all(|whose| whose == "somebody-else") && !own.is_empty(),
        "{with:#?}"
    );
    for (record, why) in [
        ("2", "rung out on the bench, before it was fitted"),
        ("3", "it did not pass"),
        ("4", "it is a live check, not a ring-out"),
    ] {
        let run = back(&["--record", record]);
        run.speaks(&[why, "nothing is taken from it"]);
        assert!(whose(&run.json()).contains(&"ours".to_owned()), "{record}");
    }
    back(&["--record", "99"]).fails(2, &["no record 99"]);
    bench.ring_out(&[]);
    let other = bench.json(&["records", "list"])["lines"][0]["number"].to_string();
    back(&["--record", &other]).fails(2, &["of another plan or variant"]);
}

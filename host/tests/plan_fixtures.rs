//! The plans in `fixtures/`: those that are accepted, those that are refused,
//! and whatever chance makes of them.

use loomproof::plan::model::{End, Half, Job, Side, Suppression};
use loomproof::plan::{Plan, read, render};
use proptest::prelude::*;
use std::collections::BTreeMap;
use std::fmt::Write;
use std::path::Path;

fn answers(pairs: &[(&str, &str)]) -> BTreeMap<String, String> {
    let pairs = pairs.iter();
    pairs
        .map(|(k, v)| ((*k).to_owned(), (*v).to_owned()))
        .collect()
}

fn fixture(name: &str) -> Plan {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../fixtures/plans");
    Plan::load(&path.join(name)).unwrap_or_else(|rejected| panic!("{rejected}"))
}

#[test]
fn the_bakery_van_resolves_in_every_variant() {
    let plan = fixture("bakery-van.toml");
    assert_eq!(plan.check_variants(100), Ok(4));
    assert_eq!(plan.keep_off().collect::<Vec<_>>(), ["XR"]);
    let names: Vec<&str> = plan.options().iter().map(|o| o.name.as_str()).collect();
    assert_eq!(names, ["second-battery", "rear-door"]);
    let usual = plan.resolve(&BTreeMap::new()).unwrap();
    let other = answers(&[("second-battery", "yes"), ("rear-door", "sliding")]);
    let other = plan.resolve(&other).unwrap();
    let has = |job: &Job, lead: &str| job.leads.iter().any(|l| l.name == lead);
    assert!(has(&usual, "W3") && !has(&usual, "W4") && has(&usual, "W24"));
    assert!(!has(&other, "W3") && has(&other, "W4") && has(&other, "W25"));
    assert!(usual.leads.iter().any(|lead| lead.to == End::Cap));
    assert_eq!(usual.relays[0].suppression, Suppression::Diode);
    let plug = End::Plug("P1".to_owned(), Half::B, 2);
    assert!(usual.leads.iter().any(|lead| lead.from == plug));
    assert!(usual.connectors.iter().all(|c| c.name != "XR"), "keep off");
    let colours = ["BN", "OG", "VT", "GY", "PK", "YE"];
    let conductors = usual.conductors.iter().filter_map(|c| c.colour.as_deref());
    for colour in usual
        .leads
        .iter()
        .map(|l| l.colour.as_str())
        .chain(conductors)
    {
        assert!(
            colour.split('/').all(|code| colours.contains(&code)),
            "{colour}"
        );
    }
}

#[test]
fn the_socket_keeps_its_returns_apart() {
    let plan = fixture("socket-13-pin.toml");
    assert_eq!(plan.check_variants(100), Ok(2));
    let job = plan.resolve(&BTreeMap::new()).unwrap();
    let mut pins = BTreeMap::new();
    for lead in &job.leads {
        if let End::Cavity(name, pin) = &lead.from {
            assert_eq!(name, "X20");
            pins.insert(*pin, (lead.colour.as_str(), lead.size.value()));
        }
    }
    // ISO 11446, a connector maker's page (read).
    let expected = [
        (1, "YE", 1.5),
        (2, "BU", 1.5),
        (3, "WH", 2.5),
        (4, "GN", 1.5),
        (5, "BN", 1.5),
        (6, "RD", 1.5),
        (7, "BK", 1.5),
        (8, "PK", 1.5),
        (9, "OG", 2.5),
        (10, "GY", 2.5),
        (11, "WH/BK", 2.5),
        (13, "WH/RD", 2.5),
    ];
    let expected: BTreeMap<u16, _> = expected.map(|(pin, c, s)| (pin, (c, s))).into();
    assert_eq!(pins, expected, "pin 12 stays empty");
    assert!(
        job.splices.is_empty(),
        "returns 3, 11 and 13 are not joined"
    );
}

#[test]
fn the_bench_harness_has_64_points() {
    let job = fixture("bench-64.toml").resolve(&BTreeMap::new()).unwrap();
    let ends = job.leads.iter().flat_map(|lead| [&lead.from, &lead.to]);
    let cavities = ends.filter(|end| matches!(end, End::Cavity(..))).count();
    assert_eq!(cavities, 64);
    assert!(job.leads.len() >= 32 && job.diodes.len() == 2);
    assert!(
        job.connectors
            .iter()
            .all(|c| c.of_harness && c.access == Side::Mating)
    );
}

fn sample_plans() -> Vec<String> {
    ["smallest", "bakery-van", "socket-13-pin"]
        .map(|name| fixture(&format!("{name}.toml")).source().to_owned())
        .to_vec()
}

/// Reads and, where that works, resolves and shows: nothing may panic, every
/// problem has a place inside the text.
fn exercise(text: &str) -> Result<(), TestCaseError> {
    match read("any", text) {
        Ok(plan) => {
            if let Err(problems) = plan.resolve(&BTreeMap::new()) {
                prop_assert!(!plan.render(&problems, false).is_empty());
            }
        }
        Err(problems) => {
            prop_assert!(!problems.is_empty());
            for place in problems.iter().filter_map(|p| p.at.as_ref()) {
                prop_assert!(text.get(place.span.clone()).is_some());
                prop_assert!(place.line >= 1 && place.column >= 1);
            }
            prop_assert!(!render(&problems, "any", text, false).is_empty());
        }
    }
    Ok(())
}

proptest! {
    #[test]
    fn any_text_is_read_or_refused(text in "(?s).{0,300}") {
        exercise(&text)?;
    }

    #[test]
    fn any_tables_are_read_or_refused(
        lines in prop::collection::vec(
            r#"\[(lead|tap|connector|conductor|relay|option|function|splice)\.[A-C][1-3]\]|(from|to|on|at|when|face|cavities|choices|seen_at|coil|plan|length) = ("[A-C][1-3](:[0-9]{1,2})?"|[0-9]{1,3}|\[\[1, 2\], \[3\]\]|"1 m"|"A1 == yes"|true|\{ a = 1 \})"#,
            0..30,
        )
    ) {
        exercise(&lines.join("\n"))?;
    }

    #[test]
    fn mutated_plans_are_read_or_refused(
        which in 0_usize..3,
        edits in prop::collection::vec((any::<prop::sample::Index>(), 0_usize..12, "(?s).{0,3}"), 1..6),
    ) {
        let mut text: Vec<char> = sample_plans()[which].chars().collect();
        for (at, remove, insert) in edits {
            let at = at.index(text.len() + 1);
            let end = (at + remove).min(text.len());
            text.splice(at..end, insert.chars());
        }
        exercise(&text.into_iter().collect::<String>())?;
    }
}

/// Each broken plan is refused with exactly the text beside it. Set
/// `LOOMPROOF_BLESS=1` to write the text anew; then read the change.
#[test]
fn broken_plans_say_what_is_wrong() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../fixtures/broken-plans");
    let bless = std::env::var_os("LOOMPROOF_BLESS").is_some();
    let mut seen = 0;
    let mut wrong = String::new();
    for entry in std::fs::read_dir(&folder).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_none_or(|extension| extension != "toml") {
            continue;
        }
        seen += 1;
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        let text = std::fs::read_to_string(&path).unwrap();
        let problems = match read(&name, &text) {
            Err(problems) => problems,
            Ok(plan) => plan.check_variants(64).expect_err(&name),
        };
        let shown = render(&problems, &name, &text, false);
        let expected = path.with_extension("expected");
        if bless {
            std::fs::write(&expected, &shown).unwrap();
        } else if std::fs::read_to_string(&expected).ok().as_deref() != Some(shown.as_str()) {
            let _ = write!(wrong, "{name} now says:\n{shown}\n");
        }
    }
    assert!(seen >= 40, "only {seen} broken plans");
    assert!(wrong.is_empty(), "{wrong}");
}

#[test]
fn five_mistakes_give_five_problems() {
    let path =
        Path::new(env!("CARGO_MANIFEST_DIR")).join("../fixtures/broken-plans/five-mistakes.toml");
    assert_eq!(Plan::load(&path).unwrap_err().problems.len(), 5);
}

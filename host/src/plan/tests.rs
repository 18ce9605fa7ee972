//! Tests of the plan reader as a whole.

use super::model::{End, Half, Load, RingOn, Side, Suppression};
use super::{Class, Plan, Problem, only_unsafe, read, render, starter};
use loomproof_core::units::{Celsius, Metres, Ohms, Volts};
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

/// A plan around some tables: a connector X1, and lead W1 from X1:1 to G1.
fn around(tables: &str) -> String {
    format!(
        "plan = 1\ntitle = \"t\"\n[connector.X1]\ncavities = 6\nrows = 2\n[ring.G1]\non = \"chassis\"\n\
         [lead.W1]\ncolour = \"BN\"\nsize = \"1 mm2\"\nlength = \"1 m\"\nfrom = \"X1:1\"\nto = \"G1\"\n\
         {tables}\n"
    )
}

/// A lead between two ends, with more keys.
fn lead(name: &str, from: &str, to: &str, more: &str) -> String {
    format!(
        "[lead.{name}]\ncolour = \"BN\"\nsize = \"1 mm2\"\nlength = \"1 m\"\nfrom = \"{from}\"\nto = \"{to}\"\n{more}\n"
    )
}

fn good(text: &str) -> Plan {
    read("test.toml", text).unwrap_or_else(|p| panic!("{}", render(&p, "test.toml", text, false)))
}

fn bad(text: &str) -> Vec<Problem> {
    read("test.toml", text).expect_err("this plan should not be accepted")
}

/// The only problem of a plan around these tables.
fn one(tables: &str) -> Problem {
    let text = around(tables);
    let mut problems = bad(&text);
    assert_eq!(
        problems.len(),
        1,
        "{}",
        render(&problems, "test.toml", &text, false)
    );
    problems.remove(0)
}

fn fixture(name: &str) -> Plan {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../fixtures/plans");
    Plan::load(&path.join(name)).unwrap_or_else(|rejected| panic!("{rejected}"))
}

#[test]
fn reads_the_smallest_plan() {
    let plan = good(starter());
    let job = plan.resolve(&BTreeMap::new()).unwrap();
    assert_eq!(job.title, "Two wires and a tap");
    assert_eq!((job.supply, job.temperature), (Volts(12.0), Celsius(20.0)));
    assert_eq!(job.leads[0].from, End::Cavity("X1".to_owned(), 4));
    assert_eq!(job.leads[0].to, End::Tap("T1".to_owned()));
    assert_eq!(job.leads[1].to, End::Ring("G1".to_owned()));
    assert_eq!(job.leads[1].size_text, "20 AWG");
    assert!((job.leads[1].size.value() - 0.518).abs() < 0.001);
    assert_eq!(job.conductors[0].at, [("FB".to_owned(), 2)]);
    assert_eq!(job.conductors[0].length, Metres(2.0));
    let unknown = Load::Range {
        least: Ohms(1e3),
        most: Ohms(10e6),
    };
    assert_eq!(job.conductors[0].load, unknown);
    let face = [[Some(1), Some(2), Some(3)], [Some(4), Some(5), Some(6)]];
    assert_eq!(job.connectors[0].face, face.map(|row| row.to_vec()));
    assert_eq!(job.connectors[0].access, Side::Wire);
    assert_eq!(job.rings[0].on, RingOn::Chassis);
    assert_eq!(job.digest.len(), 64);
}

#[test]
fn keeps_file_order_not_alphabetical_order() {
    let text = around(&(lead("Z1", "X1:2", "cap", "") + &lead("A1", "X1:3", "cap", "")));
    let job = good(&text).resolve(&BTreeMap::new()).unwrap();
    let names: Vec<&str> = job.leads.iter().map(|lead| lead.name.as_str()).collect();
    assert_eq!(names, ["W1", "Z1", "A1"]);
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
    let has = |job: &super::model::Job, lead: &str| job.leads.iter().any(|l| l.name == lead);
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

#[test]
fn restraint_and_high_voltage_are_refused() {
    let untouched = "[connector.XR]\ncavities = 2\nrestraint = true\n";
    good(&around(untouched));
    for flag in ["restraint", "high_voltage"] {
        let connector = format!("[connector.XR]\ncavities = 2\n{flag} = true\n");
        let touching = [
            lead("W2", "XR:1", "X1:2", ""),
            lead("W2", "X1:2", "XR:1", "when = \"o\"")
                + "[option.o]\nask = \"o?\"\ndefault = \"no\"\n",
            "[conductor.K1]\nat = \"XR:2\"\n".to_owned(),
            "[conductor.K1]\nat = [\"X1:4\", \"XR:2\"]\n[tap.T1]\non = \"K1\"\n".to_owned()
                + &lead("W2", "T1", "X1:2", ""),
        ];
        for tables in touching {
            let problems = bad(&around(&format!("{connector}{tables}")));
            assert!(only_unsafe(&problems), "{problems:?}");
            assert!(problems.iter().all(|p| p.also.is_some()));
        }
        // With a plain mistake beside it, both are listed.
        let mixed = around(&format!("{connector}{}", lead("W2", "XR:1", "X1:9", "")));
        let problems = bad(&mixed);
        assert!(!only_unsafe(&problems));
        assert!(problems.iter().any(|p| p.class == Class::Unsafe));
        assert!(problems.iter().any(|p| p.class == Class::Plan));
    }
    assert!(!only_unsafe(&[]));
}

#[test]
fn a_data_bus_is_tapped_only_with_a_reason() {
    let bus = |why: &str| {
        let tap = format!(
            "[conductor.K1]\nat = \"X1:4\"\ndata_bus = true\n[tap.T1]\non = \"K1\"\n{why}\n"
        );
        tap + &lead("W2", "T1", "X1:2", "")
    };
    let problem = one(&bus(""));
    assert_eq!(problem.class, Class::Unsafe);
    assert!(problem.help.unwrap().contains("why = "));
    let job = good(&around(&bus("why = \"speed signal, listen only\"")));
    assert!(job.resolve(&BTreeMap::new()).unwrap().conductors[0].data_bus);
    // A data-bus connector makes its conductors part of the bus.
    let connector =
        "[connector.XD]\ncavities = 4\ndata_bus = true\n[conductor.K1]\nat = \"XD:1\"\n";
    let job = good(&around(connector)).resolve(&BTreeMap::new()).unwrap();
    assert!(job.conductors[0].data_bus);
    let problem = one(&format!("{connector}{}", lead("W2", "XD:2", "X1:2", "")));
    assert_eq!(problem.class, Class::Unsafe);
}

#[test]
fn supply_is_12_or_24_volts() {
    let with = |supply: &str| {
        around("").replace("[connector", &format!("supply = \"{supply}\"\n[connector"))
    };
    let job = good(&with("24 V")).resolve(&BTreeMap::new()).unwrap();
    assert_eq!(job.supply, Volts(24.0));
    assert!(!only_unsafe(&bad(&with("6 V"))));
    assert!(only_unsafe(&bad(&with("48 V"))));
}

#[test]
fn variants_are_checked_when_the_options_are_answered() {
    let option = "[option.door]\nask = \"Which door?\"\nchoices = [\"hinged\", \"sliding\"]\n";
    // Two leads for one cavity, never at the same time: fine.
    let apart = lead("W2", "X1:2", "cap", "when = \"door == hinged\"")
        + &lead("W3", "X1:2", "cap", "when = \"door == sliding\"");
    let plan = good(&around(&format!("{option}{apart}")));
    assert_eq!(plan.check_variants(10), Ok(2));
    // At the same time in one variant: refused there, fine elsewhere.
    let clash =
        lead("W2", "X1:2", "cap", "") + &lead("W3", "X1:2", "cap", "when = \"door == sliding\"");
    let plan = good(&around(&format!("{option}{clash}")));
    assert!(plan.resolve(&answers(&[("door", "hinged")])).is_ok());
    let problems = plan.resolve(&answers(&[("door", "sliding")])).unwrap_err();
    assert!(
        problems[0]
            .message
            .contains("lead W3 ends at X1:2, where lead W2 is")
    );
    // An end that is not there in this variant.
    let gone = "[splice.S1]\nwhen = \"door == hinged\"\n".to_owned()
        + &lead("W2", "X1:2", "S1", "")
        + &lead("W3", "X1:3", "S1", "when = \"door == hinged\"");
    let plan = good(&around(&format!("{option}{gone}")));
    let problems = plan.check_variants(10).unwrap_err();
    assert_eq!(problems.len(), 1);
    let message = "lead W2 needs `S1`, which is not there with door = sliding";
    assert_eq!(problems[0].message, message);
    // A splice that loses its second lead.
    let lost = "[splice.S1]\n".to_owned()
        + &lead("W2", "X1:2", "S1", "")
        + &lead("W3", "X1:3", "S1", "when = \"door == hinged\"");
    let plan = good(&around(&format!("{option}{lost}")));
    let problems = plan.resolve(&answers(&[("door", "sliding")])).unwrap_err();
    assert_eq!(
        problems[0].message,
        "splice S1 has only one lead with door = sliding"
    );
}

#[test]
fn answers_are_checked() {
    let option = "[option.door]\nask = \"Which door?\"\nchoices = [\"hinged\", \"roller shutter\"]\n\
                  [option.lock]\nask = \"A lock?\"\nwhen = \"door == hinged\"\n";
    let plan = good(&around(option));
    let problems = plan.resolve(&BTreeMap::new()).unwrap_err();
    assert_eq!(problems.len(), 1, "the lock is not asked for yet");
    assert_eq!(
        problems[0].message,
        "option `door` is not answered: Which door?"
    );
    let help = "add --answer door=hinged or --answer 'door=roller shutter'";
    assert_eq!(problems[0].help.as_deref(), Some(help));
    assert_eq!(
        plan.open_questions(&answers(&[("door", "hinged")]))[0].name,
        "lock"
    );
    assert!(
        plan.resolve(&answers(&[("door", "roller shutter")]))
            .is_ok()
    );
    let wrong = answers(&[("door", "slidng"), ("dor", "hinged")]);
    let problems = plan.resolve(&wrong).unwrap_err();
    let messages: Vec<&str> = problems.iter().map(|p| p.message.as_str()).collect();
    assert!(
        messages.contains(&"this plan has no option `dor`"),
        "{messages:?}"
    );
    assert!(messages.contains(&"option `door` cannot be answered by `slidng`"));
    let help = problems
        .iter()
        .find_map(|p| p.help.as_deref().filter(|h| h.contains("mean")));
    assert_eq!(help, Some("did you mean `door`?"));
}

#[test]
fn places_count_lines_and_characters_from_one() {
    let text = around("[tap.T1]\non = \"K1\"\nplace = \"über\"\nplce = \"ü\"");
    let problems = bad(&text);
    let unknown = problems
        .iter()
        .find(|p| p.message.contains("plce"))
        .unwrap();
    let at = unknown.at.as_ref().unwrap();
    assert_eq!(&text[at.span.clone()], "plce");
    let line = text
        .lines()
        .position(|line| line.starts_with("plce"))
        .unwrap()
        + 1;
    assert_eq!((at.line, at.column), (line, 1));
    assert_eq!(unknown.help.as_deref(), Some("did you mean `place`?"));
    let text = around("[splice.S1]\nplace = \"über\"\nwhen = 'äöü == yes'");
    let at = bad(&text)[1].at.clone().unwrap();
    assert_eq!(&text[at.span.clone()], "äöü");
    assert_eq!(at.column, 9);
    let shown = render(&bad(&text), "test.toml", &text, false);
    assert!(
        shown.contains(&format!("--> test.toml:{}:9", at.line)),
        "{shown}"
    );
}

#[test]
fn colour_is_for_terminals() {
    let text = around("[tap.T1]\non = \"K1\"");
    let problems = bad(&text);
    assert!(!render(&problems, "t", &text, false).contains('\u{1b}'));
    assert!(render(&problems, "t", &text, true).contains('\u{1b}'));
}

#[test]
fn files_that_cannot_be_read_say_so() {
    let folder = tempfile::tempdir().unwrap();
    let say = |path: &Path| Plan::load(path).unwrap_err().to_string();
    assert!(say(&folder.path().join("no.toml")).contains("cannot read"));
    assert!(say(folder.path()).contains("is a folder"));
    let latin = folder.path().join("latin.toml");
    std::fs::write(&latin, b"plan = 1\ntitle = \"T\xfcr\"\n").unwrap();
    assert!(say(&latin).contains("line 2 holds a byte that is not UTF-8"));
    let long = folder.path().join("long.toml");
    std::fs::write(&long, vec![b'#'; super::MOST_BYTES + 1]).unwrap();
    assert!(say(&long).contains("longer than 1 MiB"));
}

#[test]
fn totals_are_capped() {
    let mut many = String::new();
    for n in 0..super::MOST_LEADS {
        many += &lead(&format!("L{n}"), "X1:2", "cap", "");
    }
    let text = around(&many);
    let problems = bad(&text);
    assert!(
        problems
            .iter()
            .any(|p| p.message == "this plan has 513 lead tables")
    );
    let problem = one("[connector.X2]\ncavities = 129");
    assert!(problem.help.unwrap().contains("from 1 to 128"));
}

#[test]
fn deep_nesting_is_refused_before_it_hurts() {
    for text in [
        "a = ".to_owned() + &"[".repeat(200_000),
        "a.".repeat(200_000) + "a = 1",
        "[".to_owned() + &"a.".repeat(200_000) + "a]",
        "a = {b = ".repeat(100_000),
    ] {
        let problems = bad(&text);
        assert!(problems[0].message.contains("nested too deeply"));
    }
}

#[test]
fn a_broken_line_is_reported_once_beside_the_rest() {
    let text = around(
        "[lead.W2]\ncolour = BN\nsize = \"1 mm3\"\nlength = \"1 m\"\nfrom = \"X1:2\"\nto = \"cap\"",
    );
    let problems = bad(&text);
    let lines: Vec<_> = problems
        .iter()
        .map(|p| p.at.as_ref().unwrap().line)
        .collect();
    let first = text.lines().position(|line| line == "colour = BN").unwrap() + 1;
    assert_eq!(lines, [first, first + 1]);
}

#[test]
fn an_explicit_face_is_checked() {
    let face = |face: &str| format!("[connector.X2]\ncavities = 5\nface = {face}\n");
    let job = good(&around(&face("[[1, 2, 3], [4, 0, 5]]")));
    let job = job.resolve(&BTreeMap::new()).unwrap();
    assert_eq!(job.connectors[1].face[1], [Some(4), None, Some(5)]);
    let ragged = good(&around(&face("[[1, 2, 3], [4, 5]]"))).resolve(&BTreeMap::new());
    assert_eq!(
        ragged.unwrap().connectors[1].face[1],
        [Some(4), Some(5), None]
    );
    for (rows, message) in [
        ("[[1, 2, 3], [4, 4, 5]]", "shows cavity 4 twice"),
        ("[[1, 2, 3], [4]]", "does not show cavity 5"),
        ("[[1, 2, 3], [4, 5, 6]]", "a cavity that is not there"),
        ("[1, 2]", "not a list of rows"),
    ] {
        assert!(one(&face(rows)).message.contains(message), "{rows}");
    }
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
    assert!(seen >= 12, "only {seen} broken plans");
    assert!(wrong.is_empty(), "{wrong}");
}

#[test]
fn five_mistakes_give_five_problems() {
    let path =
        Path::new(env!("CARGO_MANIFEST_DIR")).join("../fixtures/broken-plans/five-mistakes.toml");
    assert_eq!(Plan::load(&path).unwrap_err().problems.len(), 5);
}

//! Tests of the plan reader as a whole.

use super::model::{End, Load, RingOn, Side};
use super::{Class, Plan, Problem, only_unsafe, read, render, starter};
use loomproof_core::units::{Celsius, Metres, Ohms, Volts};
use std::collections::BTreeMap;
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

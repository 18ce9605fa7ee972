//! Each rule once where it speaks and once where it is silent.

use std::collections::BTreeSet;

use loomproof::review::rules::ALL;
use loomproof::review::{Level, Settings, review as review_in};

use crate::support::{around, lead, only, plan, reviewed, rules, says, top};

/// A feed through X1:1, a load at X2:1 and X2:2, a ground: nothing wrong.
fn sound() -> String {
    around(
        &("[pin.C1]\nat = \"X1:1\"\nplus_when = \"key\"\nfused = \"5 A\"\n\
           [load.L1]\nbetween = [\"X2:1\", \"X2:2\"]\ndraws = \"2 A\"\n\
           [function.f]\nswitch_on = \"key\"\nseen_at = [\"L1\"]\non_when = \"key\"\n"
            .to_owned()
            + &lead("W1", "X1:1", "X2:1", "0.75 mm2", "1 m")
            + &lead("W2", "X2:2", "G1", "0.75 mm2", "1 m").replace("BN", "GY")),
    )
}

#[test]
fn a_sound_plan_has_no_finding() {
    let review = reviewed(&sound());
    assert_eq!(review.findings, [], "{:#?}", review.findings);
}

#[test]
fn ends_that_meet_nothing() {
    let text = sound()
        + "[plug.P1]\n[relay.R1]\ncoil = \"85 ohm\"\nsuppression = \"diode\"\n[fuse.F1]\nrating = \"5 A\"\n[splice.S1]\n"
        + &lead("W3", "X1:2", "P1-A", "1 mm2", "1 m")
        + &lead("W4", "X1:3", "R1:86", "1 mm2", "1 m")
        + &lead("W5", "X1:4", "R1:30", "1 mm2", "1 m")
        + &lead("W6", "X1:5", "F1:2", "1 mm2", "1 m")
        + &lead("W7", "X1:6", "S1", "1 mm2", "1 m")
        + &lead("W8", "S1", "cap", "1 mm2", "1 m");
    let review = reviewed(&text);
    let wrong: BTreeSet<String> = rules(&review, Level::Wrong).into_iter().collect();
    let expected =
        ["P1-A:1", "R1:86", "R1:30", "F1:2", "W7, W8"].map(|it| format!("dead-end@{it}"));
    assert_eq!(wrong, expected.into());
}

#[test]
fn loads_where_no_lead_ends() {
    let review = reviewed(&sound().replace("[\"X2:1\", \"X2:2\"]", "[\"X2:1\", \"X2:3\"]"));
    assert_eq!(only(&review, "dead-end").place, "X2:3");
    assert!(says(&review, "not-fed"));
}

#[test]
fn cavities_of_which_nothing_is_said() {
    let text = sound() + &lead("W3", "X1:2", "X2:3", "1 mm2", "1 m");
    let review = reviewed(&text);
    assert_eq!(only(&review, "cavity-not-proved").place, "X1:2");
    assert_eq!(only(&review, "nothing-plugged").place, "X2:3");
}

#[test]
fn functions_that_no_reading_verifies() {
    let bus = "[connector.X3]\ncavities = 4\n[conductor.K1]\nat = \"X3:1\"\ndata_bus = true\n[tap.T1]\non = \"K1\"\nwhy = \"listens\"\n";
    let function =
        |place: &str| format!("[function.g]\nswitch_on = \"g\"\nseen_at = [\"{place}\"]\n");
    let with =
        |place: &str| sound() + bus + &lead("W3", "T1", "X2:4", "1 mm2", "1 m") + &function(place);
    let review = reviewed(&with("T1"));
    assert!(
        only(&review, "function-not-verifiable")
            .say
            .contains("data bus")
    );
    let review = reviewed(&with("X2:7"));
    assert!(
        only(&review, "function-not-verifiable")
            .say
            .contains("nothing of the harness")
    );
    let review = reviewed(&with("X2:1"));
    assert!(!says(&review, "function-not-verifiable"));
    // A spare that is capped has one end only.
    let spare = sound() + &lead("W3", "X2:5", "cap", "1 mm2", "1 m") + &function("W3");
    assert!(
        only(&reviewed(&spare), "function-not-verifiable")
            .say
            .contains("only one point")
    );
}

#[test]
fn functions_of_which_the_states_are_not_said() {
    let review = reviewed(&sound().replace("on_when = \"key\"\n", ""));
    assert_eq!(only(&review, "function-not-stated").place, "f");
    let review = reviewed(&sound().replace("seen_at = [\"L1\"]", "seen_at = [\"W1\"]"));
    assert_eq!(only(&review, "function-without-load").place, "f");
    assert_eq!(only(&review, "load-without-function").place, "L1");
}

fn sides(left: &str, right: &str) -> String {
    let half = |side: &str, k: &str, cavity: u16, other: &str| {
        format!(
            "[conductor.K{k}]\nat = \"X3:{cavity}\"\nfunction = \"{side} indicator\"\n[tap.T{k}]\non = \"K{k}\"\n\
             [function.f{k}]\nswitch_on = \"{side} indicator\"\nseen_at = [\"X2:{other}\"]\n"
        )
    };
    sound()
        + "[connector.X3]\ncavities = 4\n"
        + &half("left", "1", 1, "5")
        + &half("right", "2", 2, "6")
        + &lead("W5", "X2:5", left, "1 mm2", "1 m")
        + &lead("W6", "X2:6", right, "1 mm2", "1 m")
}

#[test]
fn left_and_right_that_look_exchanged() {
    let review = reviewed(&sides("T1", "T2"));
    assert!(!says(&review, "left-right"), "{:#?}", review.findings);
    let review = reviewed(&sides("T2", "T1"));
    let finding = only(&review, "left-right");
    assert_eq!(
        (finding.level, finding.place.as_str()),
        (Level::Wrong, "X2:5, X2:6")
    );
    // One alone is only noted: perhaps that is what the job wants.
    let single = sides("T1", "T2").replace(
        "function = \"left indicator\"",
        "function = \"right repeater\"",
    );
    assert_eq!(only(&reviewed(&single), "left-right").level, Level::Note);
}

#[test]
fn colours_that_clash() {
    let with = |own: &str, beside: &str, lead_colour: &str| {
        sound()
            + &format!(
                "[connector.X3]\ncavities = 4\n[conductor.K1]\nat = \"X3:1\"\ncolour = \"{own}\"\n\
                 [conductor.K2]\nat = \"X3:2\"\ncolour = \"{beside}\"\n[tap.T1]\non = \"K1\"\n"
            )
            + &lead("W5", "T1", "X2:5", "1 mm2", "1 m").replace("BN", lead_colour)
    };
    let review = reviewed(&with("OG/GY", "VT", "VT"));
    assert_eq!(only(&review, "colour-clash").place, "W5");
    assert!(!says(
        &reviewed(&with("OG/GY", "VT", "OG/GY")),
        "colour-clash"
    ));
    assert!(!says(&reviewed(&with("OG/GY", "VT", "PK")), "colour-clash"));
    let review = reviewed(&with("VT", "VT", "PK"));
    assert_eq!(only(&review, "conductor-colour-twice").level, Level::Note);
    // W1 and W5 are both brown at X2.
    let review = reviewed(&with("OG/GY", "VT", "BN"));
    assert_eq!(only(&review, "lead-colour-twice").place, "X2");
}

/// A colour clash between a lead and a conductor that are never there
/// together is none; where they are, its variants are told.
#[test]
fn clashes_are_told_with_their_variants() {
    let text = |own: &str, other: &str| {
        sound()
            + "[option.door]\nask = \"door?\"\nchoices = [\"hinged\", \"sliding\"]\n[option.bar]\nask = \"bar?\"\n\
               [connector.X3]\ncavities = 4\n[conductor.K1]\nat = \"X3:1\"\ncolour = \"OG\"\n\
               [conductor.K2]\nat = \"X3:2\"\ncolour = \"VT\"\nwhen = \""
            + other
            + "\"\n[tap.T1]\non = \"K1\"\n[tap.T2]\non = \"K1\"\n"
            + &lead("W5", "T1", "X2:5", "1 mm2", "1 m").replace("BN", "VT")
            + &format!("when = \"{own}\"\n")
            + &lead("W6", "T1", "X2:5", "1 mm2", "1 m").replace("BN", "PK")
            + &format!("when = \"not ({own})\"\n")
            + &lead("W7", "T2", "X2:6", "1 mm2", "1 m").replace("BN", "GY")
    };
    assert!(!says(
        &reviewed(&text("door == hinged", "door == sliding")),
        "colour-clash"
    ));
    let review = reviewed(&text("door == hinged", "bar"));
    let variants = &only(&review, "colour-clash").variants;
    assert_eq!(variants.len(), 1);
    assert_eq!(
        (variants[0]["door"].as_str(), variants[0]["bar"].as_str()),
        ("hinged", "yes")
    );
}

#[test]
fn every_variant_is_looked_at() {
    // The third answer to the second question makes the mistake.
    let text = sound()
        + "[option.a]\nask = \"a?\"\n[option.b]\nask = \"b?\"\nchoices = [\"x\", \"y\", \"z\"]\nwhen = \"a\"\n"
        + "[plug.P1]\nways = 2\n"
        + &lead("W5", "X1:5", "P1-A:1", "1 mm2", "1 m")
        + &lead("W6", "P1-B:1", "X2:6", "1 mm2", "1 m")
        + "when = \"not (b == z)\"\n"
        + &lead("W7", "P1-B:2", "X2:6", "1 mm2", "1 m")
        + "when = \"b == z\"\n";
    let review = reviewed(&text);
    assert_eq!(review.variants.variants, 4, "no, and yes with x, y, z");
    assert!(review.variants.complete);
    let ends: Vec<_> = review
        .findings
        .iter()
        .filter(|it| it.rule == "dead-end")
        .collect();
    assert_eq!(ends.len(), 2);
    for finding in ends {
        assert_eq!(finding.variants.len(), 1, "{finding:?}");
        assert_eq!(finding.variants[0]["b"], "z");
    }
    // With the answer given, only that is looked at.
    let plan = plan(&text);
    let settings = Settings {
        fixed: [("a".to_owned(), "no".to_owned())].into(),
        ..Settings::default()
    };
    let one = review_in(&plan, &settings).unwrap();
    assert_eq!(one.variants.variants, 1);
    assert!(!says(&one, "dead-end"));
}

#[test]
fn a_variant_that_does_not_resolve_is_a_plan_error() {
    let text = sound()
        + "[option.a]\nask = \"a?\"\n"
        + &lead("W5", "X1:5", "X2:5", "1 mm2", "1 m")
        + &lead("W6", "X1:5", "X2:6", "1 mm2", "1 m")
        + "when = \"a\"\n";
    let plan = plan(&text);
    let problems = review_in(&plan, &Settings::default()).unwrap_err();
    assert_eq!(problems.len(), 1, "{problems:?}");
    assert!(
        problems[0]
            .message
            .contains("lead W6 ends at X1:5, where lead W5 is")
    );
    let all_gone = text.replace("to = \"X2:1\"\n", "to = \"X2:1\"\nwhen = \"a\"\n");
    assert!(review_in(&crate::support::plan(&all_gone), &Settings::default()).is_err());
}

/// docs/review.md lists the rules as they are, and every rule that a plan in
/// `fixtures/` brings up is one of them.
#[test]
fn the_documented_rules_are_the_rules() {
    let text = std::fs::read_to_string(top().join("docs/review.md")).unwrap();
    let rows: Vec<&str> = text
        .lines()
        .filter(|line| line.starts_with("| `"))
        .collect();
    let wanted: Vec<String> = ALL
        .iter()
        .map(|(rule, level, meaning)| format!("| `{rule}` | {level} | {meaning} |"))
        .collect();
    assert_eq!(rows, wanted);
    for folder in ["plans", "sneak"] {
        for entry in std::fs::read_dir(top().join("fixtures").join(folder)).unwrap() {
            let path = entry.unwrap().path();
            if path.extension().is_some_and(|it| it == "toml") {
                let review = reviewed(&std::fs::read_to_string(&path).unwrap());
                for finding in review.findings {
                    assert!(
                        ALL.iter().any(|(rule, ..)| *rule == finding.rule),
                        "{}",
                        finding.rule
                    );
                }
            }
        }
    }
}

//! Reading, writing and reading a plan again changes nothing.

use std::fmt::Write as _;

use loomproof::plan::{Plan, read, render};
use loomproof::review::{Settings, review};
use proptest::prelude::*;

use crate::support::{lead, plan, top};

/// Writes and reads again: the same content, and the same text when written
/// once more. The resolved job is the same too.
fn same(first: &Plan) -> Result<(), TestCaseError> {
    let text = first.to_toml();
    let second = read("written.toml", &text).map_err(|p| {
        TestCaseError::fail(format!("{text}\n{}", render(&p, "written", &text, false)))
    })?;
    prop_assert!(first.same_content(&second), "{text}");
    prop_assert_eq!(second.to_toml(), text);
    let jobs = [first, &second].map(|plan| plan.resolve(&Default::default()));
    if let [Ok(mut a), Ok(b)] = jobs {
        a.digest.clone_from(&b.digest);
        prop_assert_eq!(a, b);
    }
    Ok(())
}

#[test]
fn the_plans_of_the_project() {
    let mut seen = 0;
    for folder in ["plans", "sneak"] {
        for entry in std::fs::read_dir(top().join("fixtures").join(folder)).unwrap() {
            let path = entry.unwrap().path();
            if path.extension().is_some_and(|it| it == "toml") {
                same(&Plan::load(&path).unwrap()).unwrap();
                seen += 1;
            }
        }
    }
    assert!(seen >= 20);
}

/// Content is told apart: any change of a value is seen.
#[test]
fn other_plans_are_not_the_same() {
    let text = std::fs::read_to_string(top().join("fixtures/plans/bakery-van.toml")).unwrap();
    let first = plan(&text);
    for (from, to) in [
        ("\"0.9 m\"", "\"0.8 m\""),
        ("fused = \"25 A\"", "fused = \"30 A\""),
        ("draws = \"9 A\"", "draws = \"108 W\""),
        ("on_when = \"ignition\"", "on_when = \"not ignition\""),
        ("place = \"bulkhead, left\"", "place = \"bulkhead, right\""),
        ("\"55 degC\"", "\"56 degC\""),
    ] {
        assert!(text.contains(from), "{from}");
        assert!(
            !first.same_content(&plan(&text.replacen(from, to, 1))),
            "{from}"
        );
    }
}

/// A piece of text as people write it, with what a writer has to escape.
fn words() -> impl Strategy<Value = String> {
    "[ -~äöü€]{0,12}[!-~äöü€]".prop_filter("not only spaces", |text| !text.trim().is_empty())
}

fn number(least: f64, most: f64) -> impl Strategy<Value = f64> {
    (0.0..1.0_f64, any::<bool>()).prop_map(move |(share, rough)| {
        let value = least + share * (most - least);
        if rough {
            (value * 100.0).round().max(1.0) / 100.0
        } else {
            value
        }
    })
}

/// A plan with every sort of table and random values.
fn plans() -> impl Strategy<Value = String> {
    let size = prop_oneof![
        number(0.1, 100.0).prop_map(|mm2| format!("{mm2} mm2")),
        (0_u8..=36).prop_map(|n| format!("{n} AWG")),
    ];
    let draw = prop_oneof![
        number(0.01, 900.0).prop_map(|a| format!("{a} A")),
        number(0.01, 900.0).prop_map(|w| format!("{w} W")),
        number(1.0, 1e6).prop_map(|r| format!("{r} ohm")),
    ];
    let load = prop_oneof![
        Just("none".to_owned()),
        Just("unknown".to_owned()),
        (number(1.0, 1e3), number(1e3, 1e8)).prop_map(|(a, b)| format!("{a} ohm to {b} ohm")),
        number(1.0, 1e4).prop_map(|a| format!("{a} kohm")),
    ];
    let states = prop_oneof![
        Just("always".to_owned()),
        Just("key".to_owned()),
        Just("not (key or gear == 'in reverse') and (key or not gear == out)".to_owned()),
        Just("key == on and gear == out or key == off".to_owned()),
    ];
    let when = prop_oneof![
        Just(String::new()),
        Just("when = \"o\"\n".to_owned()),
        Just("when = \"not (o and kind == 'a b')\"\n".to_owned()),
    ];
    (
        (words(), words(), words()),
        (
            size.clone(),
            size,
            number(0.01, 900.0),
            number(-40.0, 140.0),
        ),
        (draw.clone(), draw, load),
        (states.clone(), states, when),
        (1_u16..6, any::<[bool; 6]>(), number(1.0, 100.0)),
    )
        .prop_map(|(text, copper, electric, logic, rest)| {
            compose(text, copper, electric, logic, rest)
        })
}

type Rest = (u16, [bool; 6], f64);

fn compose(
    (title, place, ask): (String, String, String),
    (size, other, length, degrees): (String, String, f64, f64),
    (draws, own, load): (String, String, String),
    (states, more, when): (String, String, String),
    (rows, flags, amperes): Rest,
) -> String {
    let quoted = |text: &str| toml::Value::String(text.to_owned()).to_string();
    let flag = |at: usize, yes: &str| {
        if flags[at] {
            format!("{yes}\n")
        } else {
            String::new()
        }
    };
    let mut text = format!(
        "plan = 1\ntitle = {}\nsupply = \"{}\"\ntemperature = \"{degrees} degC\"\n",
        quoted(&title),
        if flags[0] { "24 V" } else { "12 V" }
    );
    let _ = write!(
        text,
        "[option.o]\nask = {}\n{}[option.kind]\nask = \"?\"\nchoices = [\"a b\", \"c\"]\ndefault = \"c\"\nwhen = \"o\"\n\
         [switch.key]\n[switch.gear]\nstates = [\"out\", \"in reverse\"]\nbetween = [\"X2:1\", \"battery plus\"]\n{}\
         [connector.X1]\ncavities = 12\nrows = {rows}\nplace = {}\n{}{}[connector.X2]\ncavities = 5\nface = [[1, 0, 2], [3, 4, 5]]\nwith = \"harness\"\n\
         [connector.XR]\ncavities = 2\nrestraint = true\n\
         [conductor.K1]\nat = [\"X1:1\", \"X1:2\"]\nload = \"{load}\"\n{}size = \"{other}\"\nlength = \"{length} m\"\n{}plus_when = \"{states}\"\ndraws = \"{own}\"\nother_end = \"K2\"\n\
         [conductor.K2]\nat = \"X1:3\"\nchassis_when = \"{more}\"\nmost = \"{amperes} A\"\n{when}\
         [pin.C1]\nat = \"X1:4\"\nload = \"{load}\"\nfused = \"{amperes} A\"\n[tap.T1]\non = \"K1\"\nwhy = {}\n\
         [splice.S1]\n[ring.G1]\non = \"battery plus\"\nfused = \"{amperes} A\"\n[plug.P1]\n[plug.P2]\nways = 3\nplace = {}\n\
         [relay.R1]\ncoil = \"85 ohm\"\nsuppression = \"{}\"\n{}operates = \"7.1 V\"\n[diode.D1]\n[lamp.L1]\npower = \"{amperes} W\"\nvolts = \"12 V\"\n[fuse.F1]\nrating = \"{amperes} A\"\n\
         [load.M1]\nbetween = [\"X2:2\", \"chassis\"]\ndraws = \"{draws}\"\n{}{when}\
         [function.f]\nswitch_on = {}\nseen_at = [\"X2:2\", \"M1\", \"K1\"]\non_when = \"{more}\"\n{when}",
        quoted(&ask),
        flag(1, "default = \"yes\""),
        flag(2, "closed_in = [\"out\", \"in reverse\"]"),
        quoted(&place),
        flag(3, "access = \"mating side\""),
        if flags[4] {
            "open_for = [\"T1\", \"X2\"]\nplugged_for = \"all\"\n"
        } else {
            "plugged_for = [\"G1\"]\n"
        },
        flag(5, "through = \"X1\""),
        flag(4, "data_bus = true"),
        quoted(&ask),
        quoted(&place),
        if flags[5] { "diode" } else { "470 ohm" },
        flag(1, "contacts = \"changeover\""),
        flag(2, "sort = \"lamp\""),
        quoted(&title),
    );
    let ends = [
        ("S1", "T1"),
        ("S1", "P1-A"),
        ("P1-B", "R1:86"),
        ("R1:85", "G1"),
        ("X2:2", "P2-B:3"),
        ("X2:3", "cap"),
    ];
    for (n, (from, to)) in ends.iter().enumerate() {
        text += &lead(&format!("W{n}"), from, to, &size, &format!("{length} m"));
    }
    text
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(256))]

    #[test]
    fn any_plan_survives(text in plans()) {
        let first = read("any.toml", &text)
            .map_err(|p| TestCaseError::fail(format!("{text}\n{}", render(&p, "any", &text, false))))?;
        same(&first)?;
        // And a review of it comes to an end.
        if let Ok(review) = review(&first, &Settings::default()) {
            prop_assert!(!review.findings.iter().any(|it| it.rule == "not-computed"));
            prop_assert!(!loomproof::review::text::text(&review).is_empty());
        }
    }
}

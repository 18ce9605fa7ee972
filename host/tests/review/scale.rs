//! How much is looked at, and how long it takes.

use std::fmt::Write as _;
use std::time::{Duration, Instant};

use loomproof::plan::read;
use loomproof::review::{Settings, review};

use crate::support::{around, lead, plan, reviewed};

/// A plan with 128 test points and 12 options: eight harness connectors of 16
/// cavities, each option with leads, loads and functions of its own.
fn large() -> String {
    let mut text = String::from(
        "plan = 1\ntitle = \"large\"\n[connector.XV]\ncavities = 64\nrows = 4\n[connector.XW]\ncavities = 64\nrows = 4\n",
    );
    for n in 1..=8 {
        let _ = write!(
            text,
            "[connector.X{n}]\ncavities = 16\nrows = 2\nwith = \"harness\"\naccess = \"mating side\"\n"
        );
    }
    for n in 1..=12 {
        let _ = write!(
            text,
            "[option.o{n}]\nask = \"o{n}?\"\n[switch.s{n}]\n[ring.G{n}]\non = \"chassis\"\n[splice.S{n}]\n"
        );
    }
    for point in 0..64_u16 {
        let group = point % 12 + 1;
        let (x, cavity) = (point / 8 + 1, (point % 8) * 2 + 1);
        let v = point + 1;
        let _ = write!(
            text,
            "[pin.C{v}]\nat = \"XV:{v}\"\nplus_when = \"s{group}\"\nfused = \"5 A\"\n\
             [load.L{v}]\nbetween = [\"X{x}:{cavity}\", \"X{x}:{}\"]\ndraws = \"1 A\"\n{}\
             [function.f{v}]\nswitch_on = \"s{group}\"\nseen_at = [\"L{v}\"]\non_when = \"s{group}\"\n{}",
            cavity + 1,
            if point % 3 == 0 {
                format!("when = \"o{group}\"\n")
            } else {
                String::new()
            },
            if point % 3 == 0 {
                format!("when = \"o{group}\"\n")
            } else {
                String::new()
            },
        );
        text += &lead(
            &format!("P{v}"),
            &format!("XV:{v}"),
            &format!("X{x}:{cavity}"),
            "0.75 mm2",
            "1.5 m",
        );
        text += &lead(
            &format!("M{v}"),
            &format!("X{x}:{}", cavity + 1),
            &format!("S{group}"),
            "0.75 mm2",
            "1.5 m",
        );
    }
    for n in 1..=12 {
        text += &lead(
            &format!("W{n}"),
            &format!("S{n}"),
            &format!("G{n}"),
            "4 mm2",
            "0.5 m",
        );
        let other = n % 12 + 1;
        text += &lead(&format!("V{n}"), &format!("XW:{n}"), "cap", "1 mm2", "1 m");
        let _ = writeln!(text, "when = \"o{n} and not o{other}\"");
    }
    text
}

#[test]
fn a_128_point_plan_with_12_options_in_less_than_a_second() {
    let text = large();
    // The best of three: other tests run beside this one.
    let mut best = Duration::MAX;
    for _ in 0..3 {
        let start = Instant::now();
        let plan = read("large.toml", &text).unwrap_or_else(|p| panic!("{p:#?}"));
        let review = review(&plan, &Settings::default()).unwrap_or_else(|p| panic!("{p:#?}"));
        best = best.min(start.elapsed());
        assert_eq!(review.variants.variants, 4096);
        assert!(review.variants.complete && review.states.complete);
        assert!(review.variants.looked_at >= 2 * 12, "{:?}", review.variants);
        assert_eq!(review.leads.len(), 128 + 24);
    }
    println!("128 points, 12 options: {best:?}");
    let limit = if cfg!(debug_assertions) { 10 } else { 1 };
    assert!(best < Duration::from_secs(limit), "{best:?}");
}

/// A chain of relays: each switch feeds a coil, each contact the next feed.
/// All of it is one cluster of `n` switches and `n` relays.
fn chain(n: usize) -> String {
    let mut text = String::from(
        "[pin.C0]\nat = \"X1:1\"\nplus_when = \"always\"\nfused = \"10 A\"\n[splice.S0]\n[splice.SG]\n",
    );
    text += &lead("F0", "X1:1", "S0", "2.5 mm2", "1 m");
    text += &lead("GL", "SG", "G1", "2.5 mm2", "1 m");
    text += "[connector.XS]\ncavities = 60\nwith = \"harness\"\n";
    for k in 1..=n {
        let (a, b, before) = (2 * k - 1, 2 * k, k - 1);
        let _ = write!(
            text,
            "[switch.s{k}]\nbetween = [\"XS:{a}\", \"XS:{b}\"]\n[relay.R{k}]\ncoil = \"85 ohm\"\nsuppression = \"diode\"\n[splice.S{k}]\n"
        );
        text += &lead(
            &format!("A{k}"),
            &format!("S{before}"),
            &format!("XS:{a}"),
            "1 mm2",
            "1 m",
        );
        text += &lead(
            &format!("B{k}"),
            &format!("XS:{b}"),
            &format!("R{k}:86"),
            "1 mm2",
            "1 m",
        );
        text += &lead(&format!("D{k}"), &format!("R{k}:85"), "SG", "1 mm2", "1 m");
        text += &lead(
            &format!("E{k}"),
            &format!("S{before}"),
            &format!("R{k}:30"),
            "1 mm2",
            "1 m",
        );
        text += &lead(
            &format!("H{k}"),
            &format!("R{k}:87"),
            &format!("S{k}"),
            "1 mm2",
            "1 m",
        );
    }
    text += "[load.LAST]\nbetween = [\"X2:1\", \"X2:2\"]\ndraws = \"1 A\"\n";
    text += &lead("Y1", &format!("S{n}"), "X2:1", "1 mm2", "1 m");
    text += &lead("Y2", "X2:2", "SG", "1 mm2", "1 m");
    let all: Vec<String> = (1..=n).map(|k| format!("s{k}")).collect();
    let _ = write!(
        text,
        "[function.last]\nswitch_on = \"all\"\nseen_at = [\"LAST\"]\non_when = \"{}\"\n",
        all.join(" and ")
    );
    around(&text)
}

/// The states are all combinations of switches, each with the relay states
/// that can be reached: 2^n here, as nothing holds itself. Up to twenty
/// switches and relays together, and the time that takes.
#[test]
fn the_states_grow_with_the_switches_and_not_with_the_relays() {
    let mut last = Duration::ZERO;
    println!("switches relays combinations looked-at solved time");
    for n in [1, 2, 4, 6, 8, 10] {
        let text = chain(n);
        let start = Instant::now();
        let review = reviewed(&text);
        last = start.elapsed();
        let states = &review.states;
        println!(
            "{n:8} {n:6} {:12} {:9} {:6} {last:?}",
            states.combinations, states.looked_at, states.solved
        );
        assert_eq!((states.switches, states.relays), (n, n));
        assert_eq!(states.combinations, 1 << n);
        assert_eq!(states.looked_at, 1 << n);
        assert!(states.complete);
        assert!(
            !review
                .findings
                .iter()
                .any(|it| matches!(it.rule, "sneak-feed" | "held-on" | "not-fed")),
            "{:#?}",
            review.findings
        );
    }
    let limit = if cfg!(debug_assertions) { 60 } else { 10 };
    assert!(last < Duration::from_secs(limit), "{last:?}");
}

/// Twenty of each in one chain are more than a million states: so many as are asked for
/// are looked at, the review says so, and nothing false comes of it.
#[test]
fn twenty_switches_and_twenty_relays_in_one_chain() {
    let plan = plan(&chain(20));
    let settings = Settings {
        most_states: 1000,
        ..Settings::default()
    };
    let review = review(&plan, &settings).unwrap();
    let states = &review.states;
    assert_eq!((states.switches, states.relays), (20, 20));
    assert_eq!(states.combinations, 1 << 20);
    assert!(!states.complete);
    assert!((5..=1000).contains(&states.looked_at), "{states:?}");
    let false_ones = ["sneak-feed", "held-on", "back-feed", "short"];
    let wrong = review.findings.iter();
    let wrong = wrong.filter(|it| false_ones.contains(&it.rule));
    assert_eq!(wrong.count(), 0, "{:#?}", review.findings);
}

/// Twenty switches that share no wire cost twenty times two states.
#[test]
fn switches_without_a_common_wire_are_searched_apart() {
    let mut tables = String::new();
    for k in 1..=20 {
        let _ = write!(
            tables,
            "[switch.s{k}]\n[connector.XA{k}]\ncavities = 1\n[connector.XB{k}]\ncavities = 2\nwith = \"harness\"\n[pin.C{k}]\nat = \"XA{k}:1\"\nplus_when = \"s{k}\"\nfused = \"5 A\"\n\
             [load.L{k}]\nbetween = [\"XB{k}:1\", \"chassis\"]\ndraws = \"1 A\"\n"
        );
        tables += &lead(
            &format!("W{k}"),
            &format!("XA{k}:1"),
            &format!("XB{k}:1"),
            "1 mm2",
            "1 m",
        );
    }
    let review = reviewed(&around(&tables).replace("[ring.G1]\non = \"chassis\"\n", ""));
    assert_eq!(review.states.combinations, 40);
    assert_eq!(review.states.switches, 1);
}

/// Past the limit a covering set is taken, and said so.
#[test]
fn past_the_limit_a_covering_set_is_taken_and_said() {
    let plan = plan(&chain(8));
    let settings = Settings {
        most_states: 100,
        ..Settings::default()
    };
    let review = review(&plan, &settings).unwrap();
    assert!(!review.states.complete);
    assert!(review.states.looked_at >= 5, "{:?}", review.states);
    let text = loomproof::review::text::text(&review);
    let words = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        words.contains("every pair of switch states occurs, not all"),
        "{text}"
    );
    // Options: one part that 13 of them concern.
    let mut tables = String::from("[plug.P1]\nways = 30\n");
    for n in 1..=13 {
        let _ = writeln!(tables, "[option.o{n}]\nask = \"o{n}?\"");
        tables += &lead(
            &format!("A{n}"),
            &format!("XA:{n}"),
            &format!("P1-A:{n}"),
            "1 mm2",
            "1 m",
        );
        let _ = writeln!(tables, "when = \"o{n}\"");
        tables += &lead(
            &format!("B{n}"),
            &format!("P1-B:{n}"),
            &format!("XB:{n}"),
            "1 mm2",
            "1 m",
        );
        let _ = writeln!(tables, "when = \"o{n}\"");
    }
    tables += "[connector.XA]\ncavities = 20\n[connector.XB]\ncavities = 20\nwith = \"harness\"\n";
    tables += &lead("Z1", "X1:1", "G1", "1 mm2", "1 m");
    let review = reviewed(&around(&tables));
    assert_eq!(review.variants.variants, 8192);
    assert!(!review.variants.complete);
    assert!(
        (5..200).contains(&review.variants.looked_at),
        "{:?}",
        review.variants
    );
}

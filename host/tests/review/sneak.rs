//! Small plans with a known back-feed route or none: all found, no false ones.

use std::collections::BTreeSet;

use loomproof::review::{Level, Review};

use crate::support::{reviewed, top};

/// The rules that this is about.
const FAMILY: [&str; 8] = [
    "sneak-feed",
    "held-on",
    "not-fed",
    "back-feed",
    "robbed",
    "relay-chatter",
    "short",
    "shared-ground",
];

/// What a plan's head says that is to be found.
fn expected(text: &str) -> BTreeSet<String> {
    let lines = text
        .lines()
        .filter_map(|line| line.strip_prefix("# expect: "));
    lines
        .filter(|line| *line != "nothing")
        .map(str::to_owned)
        .collect()
}

fn found(review: &Review) -> BTreeSet<String> {
    let family = review
        .findings
        .iter()
        .filter(|it| FAMILY.contains(&it.rule));
    family
        .map(|it| {
            let note = if it.level == Level::Note { "note " } else { "" };
            format!("{note}{}@{}", it.rule, it.place)
        })
        .collect()
}

#[test]
fn all_are_found_and_no_false_ones() {
    let (mut plans, mut with, mut without) = (0, 0, 0);
    for entry in std::fs::read_dir(top().join("fixtures/sneak")).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_none_or(|extension| extension != "toml") {
            continue;
        }
        let text = std::fs::read_to_string(&path).unwrap();
        assert!(text.contains("# expect: "), "{}", path.display());
        let review = reviewed(&text);
        assert_eq!(found(&review), expected(&text), "{}", path.display());
        assert!(review.states.complete && review.variants.complete);
        for finding in review
            .findings
            .iter()
            .filter(|it| FAMILY.contains(&it.rule))
        {
            if matches!(finding.rule, "relay-chatter" | "not-fed" | "robbed") {
                continue;
            }
            let route = &finding.route;
            assert_eq!(
                route.first().map(String::as_str),
                Some("battery plus"),
                "{finding:?}"
            );
            assert_eq!(
                route.last().map(String::as_str),
                Some("chassis"),
                "{finding:?}"
            );
            assert!(route.len() > 3, "{finding:?}");
            if finding.rule == "held-on" {
                let coil = |step: &String| step.starts_with("coil of R");
                assert!(
                    route.iter().any(coil),
                    "what holds it is shown: {finding:?}"
                );
            }
        }
        plans += 1;
        if expected(&text).iter().any(|it| !it.starts_with("note ")) {
            with += 1;
        } else {
            without += 1;
        }
    }
    assert!(
        plans >= 16 && with >= 9 && without >= 6,
        "{plans}: {with}, {without}"
    );
}

/// The diode that is proposed is put in: the finding is gone, everything that
/// should work does.
#[test]
fn the_proposed_diode_cures() {
    let path = top().join("fixtures/sneak/06-indicators-joined.toml");
    let text = std::fs::read_to_string(path).unwrap();
    let review = reviewed(&text);
    let fix = &review
        .findings
        .iter()
        .find(|it| it.place == "K1")
        .unwrap()
        .fix;
    assert!(fix.contains("a diode in W3, cathode towards S1"), "{fix}");
    let lead = "from = \"T1\"\nto = \"S1\"";
    assert!(text.contains(lead));
    let mut cured = text.replace(lead, "from = \"T1\"\nto = \"D1:A\"");
    cured += "\n[diode.D1]\n[lead.W9]\ncolour = \"VT/GY\"\nsize = \"1 mm2\"\nlength = \"0.1 m\"\nfrom = \"D1:K\"\nto = \"S1\"\n";
    let left: Vec<String> = found(&reviewed(&cured)).into_iter().collect();
    assert_eq!(left, ["back-feed@K2"], "right is still lit by left");
}

/// The classic of the demo: the bay-light switch pulls the rear-door switch's
/// wire to chassis.
#[test]
fn the_vans_route_is_shown_in_its_variants() {
    let text = std::fs::read_to_string(top().join("fixtures/plans/bakery-van.toml")).unwrap();
    let review = reviewed(&text);
    let wrong: Vec<_> = review
        .findings
        .iter()
        .filter(|it| it.level == Level::Wrong)
        .collect();
    assert_eq!(wrong.len(), 2, "{wrong:#?}");
    for (finding, place, door) in [(wrong[0], "K5", "hinged"), (wrong[1], "K6", "sliding")] {
        assert_eq!((finding.rule, finding.place.as_str()), ("back-feed", place));
        let answers = finding.variants.iter().flatten().collect::<Vec<_>>();
        assert_eq!(answers, [(&"rear-door".to_owned(), &door.to_owned())]);
        assert_eq!(finding.state["bay-light"], "on");
        assert!(
            finding.route.contains(&"switch bay-light".to_owned()),
            "{:?}",
            finding.route
        );
    }
}
